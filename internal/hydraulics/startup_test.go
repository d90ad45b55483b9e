package hydraulics

import (
	"errors"
	"math"
	"testing"
)

// Filling an even slope: behind the front the fall grows with the length, so
// once friction rules the velocity is that of a full pipe on that slope.
func TestFillTime(t *testing.T) {
	f := cold(t)
	p := product(t, "PE100 SDR 11 DN63").Pipe
	const length, slope = 200.0, 0.03
	run := length * math.Cos(math.Asin(slope))
	l := Line{Station: []float64{0, run}, Invert: []float64{0, -length * slope}, Pipe: []Pipe{p}}
	got, err := FillTime(f, l, 0.05)
	if err != nil {
		t.Fatal(err)
	}
	q, err := FlowFor(f, p, length, length*slope, 0)
	if err != nil {
		t.Fatal(err)
	}
	if full := length * p.Area() / q; got < full || got > 1.15*full {
		t.Errorf("%.0f s, a full pipe would pass its own volume in %.0f s", got, full)
	}
	var bad *RangeError
	l = Line{Station: []float64{0, 50, 100}, Invert: []float64{-1, 0.2, -3}, Pipe: []Pipe{p, p}}
	if _, err := FillTime(f, l, 0.05); !errors.As(err, &bad) {
		t.Errorf("a hump above the source fills: %v", err)
	}
}

func TestOverflow(t *testing.T) {
	in := standpipeSystem(t)
	if q, err := in.Overflow(2.8); q != 0 || err != nil {
		t.Errorf("%v, %v over a standpipe that is higher than the source", q, err)
	}
	q, err := in.Overflow(2.0)
	if err != nil {
		t.Fatal(err)
	}
	loss, err := HeadLoss(in.Fluid, in.Supply.Pipe, 100, q, 1)
	if err != nil || math.Abs(loss-0.5) > 1e-9 {
		t.Errorf("the overflow %v m³/s uses %v m of 0.5 m", q, loss)
	}
}

// The simulation from an empty delivery pipe, with its own valves, air and
// columns, against the closed-form estimates.
func TestStartingAgainstSimulation(t *testing.T) {
	in := standpipeSystem(t)
	in.Supply = Run{}
	in.SourceM = 2.5
	in.Delivery = Run{Pipe: product(t, "PE100 SDR 11 DN32").Pipe, LengthM: 80}
	const air = 6e-3
	start, err := in.Starting(1.2, air)
	if err != nil {
		t.Fatal(err)
	}
	s := Simulation{Installation: in, ClosingVelocity: 1.2, EmptyDelivery: true, VesselAirM3: air * 10.3 / 30.3, WarmUpS: 1500, MeasureS: 30}
	r := simulate(t, s)
	t.Logf("strokes %.0f shut, %.0f open, tank after %.0f s; simulated %d strokes, alone after %.0f s, tank after %.0f s", start.StrokesShut, start.StrokesOpen, start.TankAfterS, r.HandStrokes, r.RunsAloneS, r.TankReachedS)
	if math.IsNaN(r.TankReachedS) {
		t.Fatal("no water at the tank in the simulation")
	}
	if relative(start.TankAfterS, r.TankReachedS) > 0.35 {
		t.Errorf("tank after %.0f s, simulated %.0f s", start.TankAfterS, r.TankReachedS)
	}
	if relative(r.TankFlow, r.DeliveredFlow) > 0.03 {
		t.Errorf("in steady running %.3f L/min leave the delivery valve and %.3f L/min the pipe", r.DeliveredFlow*60e3, r.TankFlow*60e3)
	}
}
