package hydraulics

import (
	"math"
	"testing"
)

// A flow stopped at once in a frictionless pipe: Joukowsky's rise a·v/g, and
// back to it after exactly 4L/a (Wylie & Streeter, closed form).
func TestColumnIsJoukowsky(t *testing.T) {
	f, p := cold(t), product(t, "steel Sch 40 2 in").Pipe
	const length, driveHead, v, reaches = 20.0, 5.0, 1.0, 10
	c := newWaterColumn(f, p, length, 0, driveHead, reaches)
	for i := range c.flow {
		c.flow[i] = v * p.Area()
	}
	c.energy0, c.storage0 = c.energy(), c.storage()
	rise := WaveSpeed(f, p) * v / Gravity
	for step := 1; step <= 8*reaches; step++ {
		cp, _, cm, bm := c.interior()
		up := (driveHead - cm) / bm
		c.finish(driveHead, up, cp, 0)
		want := driveHead + rise
		if (step-1)/(2*reaches)%2 == 1 {
			want = driveHead - rise
		}
		if got := c.head[reaches]; math.Abs(got-want) > 1e-9*rise {
			t.Fatalf("step %d: head %g m at the valve, want %g m", step, got, want)
		}
	}
	if got, want := 8*reaches*c.dt, 2*4*length/WaveSpeed(f, p); relative(got, want) > 1e-12 {
		t.Errorf("two periods take %g s, want %g s", got, want)
	}
	if e := c.volIn - c.volOut - (c.storage() - c.storage0); math.Abs(e) > 1e-12*p.Area()*length {
		t.Errorf("volume off by %g m³", e)
	}
	if e := c.in - c.out - (c.energy() - c.energy0); math.Abs(e) > 1e-9*c.energy0 {
		t.Errorf("energy off by %g", e)
	}
}

// Steady flow under friction: the grade line is straight and the loss is
// Darcy–Weisbach's, whatever the grid.
func TestColumnLosesAsDarcy(t *testing.T) {
	f, p := cold(t), product(t, "steel Sch 40 2 in").Pipe
	const length, driveHead, ff = 30.0, 4.0, 0.03
	for _, reaches := range []int{4, 16, 64} {
		c := newWaterColumn(f, p, length, ff, driveHead, reaches)
		for range 4000 * reaches / 4 { // open end, until steady
			cp, bp, cm, bm := c.interior()
			c.finish(driveHead, (driveHead-cm)/bm, 0, cp/bp)
		}
		v := c.flow[reaches] / p.Area()
		if want := math.Sqrt(2 * Gravity * driveHead * p.Inside / (ff * length)); relative(v, want) > 1e-6 {
			t.Errorf("%d reaches: %g m/s, want %g m/s", reaches, v, want)
		}
		volume, energy := c.imbalance()
		if volume > 1e-3 || energy > 1e-3 {
			t.Errorf("%d reaches: books off by %.2g of volume, %.2g of energy", reaches, volume, energy)
		}
	}
}

// A rigid column accelerates as v∞·tanh(t/τ): the elastic one swings about it.
func TestColumnAccelerates(t *testing.T) {
	f, p := cold(t), product(t, "steel Sch 40 2 in").Pipe
	const length, driveHead, ff = 12.0, 3.0, 0.03
	c := newWaterColumn(f, p, length, ff, driveHead, 20)
	vMax := math.Sqrt(2 * Gravity * driveHead * p.Inside / (ff * length))
	steps := int(0.5 * vMax * length / (Gravity * driveHead) / c.dt)
	for range steps {
		cp, bp, cm, bm := c.interior()
		c.finish(driveHead, (driveHead-cm)/bm, 0, cp/bp)
	}
	got := c.flow[0] / p.Area()
	want := vMax * math.Tanh(float64(steps)*c.dt*Gravity*driveHead/(vMax*length))
	if math.Abs(got-want) > 1.2*Gravity*driveHead/WaveSpeed(f, p) { // one wave step
		t.Errorf("%g m/s, want %g m/s", got, want)
	}
}
