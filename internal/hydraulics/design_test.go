package hydraulics

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// design is a random ram that a person might build, and some that nobody
// should.
type design struct {
	in     Installation
	length float64
	vc     float64
}

// randomDesign draws one; every number is spread over the range of the trade
// and somewhat beyond.
func randomDesign(rng *rand.Rand, pipes []Product) design {
	logU := func(lo, hi float64) float64 { return lo * math.Pow(hi/lo, rng.Float64()) }
	fluid, err := Water(274+25*rng.Float64(), 2500*rng.Float64())
	if err != nil {
		panic(err)
	}
	drive := pipes[rng.IntN(len(pipes))].Pipe
	h := logU(0.3, 15)
	r := Ram{
		WasteValveK: 1 + 9*rng.Float64(), DeliveryValveK: 1 + 8*rng.Float64(), EntranceK: 0.2 + 1.5*rng.Float64(),
		CloseTimeS: 0.06 * rng.Float64(), OpenTimeS: 0.06 * rng.Float64(), VolumetricFactor: 0.4 + 0.6*rng.Float64(),
		SlipM3: 6e-3 * drive.Area() * rng.Float64(), RecoilHeadM: 8,
	}
	in := Installation{Fluid: fluid, SourceM: h, Drive: Run{Pipe: drive, LengthM: h * logU(1.5, 12)}, Ram: r, LiftM: h * logU(1.2, 30), Pumps: 1}
	v, err := r.ClosingVelocityFor(fluid, drive, in.Drive.LengthM, h, 0.25+0.7*rng.Float64())
	if err != nil {
		panic(err)
	}
	return design{in: in, length: in.Drive.LengthM, vc: v}
}

func metalPipes() (list []Product) {
	for _, p := range Products() {
		if p.Pipe.Rigid {
			list = append(list, p)
		}
	}
	return list
}

const designs = 100_000

// What the reference says must hold for every design, over many: section 6 and
// the limits of section 3.4.
func TestDesignProperties(t *testing.T) {
	const seed = 11
	rng := rand.New(rand.NewPCG(seed, 0))
	pipes := Products()
	feasible := 0
	for i := range designs {
		d := randomDesign(rng, pipes)
		h := d.in.SourceM
		ram, drive := d.in.Ram, d.in.Drive.Pipe
		got, err := ram.Cycle(d.in.Fluid, drive, d.length, h, d.in.LiftM, d.vc)
		var (
			weak *WeakBeatError
			none *NoDeliveryError
		)
		if errors.As(err, &none) {
			// Nothing is delivered only above the shut-off head, or where slip
			// is as large as the beat.
			ram.SlipM3 = 0
			_, err := ram.Cycle(d.in.Fluid, drive, d.length, h, d.in.LiftM, d.vc)
			if d.in.LiftM < none.ShutoffHead*(1-1e-12) && errors.As(err, &none) {
				t.Fatalf("seed %d design %d: nothing delivered at %g m, shut-off head %g m", seed, i, d.in.LiftM, none.ShutoffHead)
			}
			continue
		}
		if err != nil && !errors.As(err, &weak) {
			t.Fatalf("seed %d design %d: %v", seed, i, err)
		}
		feasible++
		fail := func(what string, values ...float64) {
			t.Helper()
			t.Fatalf("seed %d design %d: %s %v\n%+v\n%+v", seed, i, what, values, d, got)
		}
		if got.DriveFlow != got.WasteFlow+got.DeliveredFlow {
			fail("drive flow is not waste plus delivered", got.DriveFlow, got.WasteFlow, got.DeliveredFlow)
		}
		if d.in.LiftM >= got.ShutoffHeadM {
			fail("delivery above the shut-off head")
		}
		if !(got.DeliveredFlow > 0 && got.WasteFlow > 0 && got.PeriodS > 0) {
			fail("a flow or the period is not positive")
		}
		// A beat cannot give back more than the acceleration put in. Recoil
		// draws water back up the pipe, which the model books as free; that is
		// worth at most the recoil's own head.
		accel := got.Lambda * got.Lambda / -math.Log1p(-got.Lambda*got.Lambda)
		if got.EfficiencyRankine > accel*(1+1e-9) {
			fail("Rankine efficiency above that of the acceleration", got.EfficiencyRankine, accel)
		}
		// More lift, less water.
		up, err := ram.Cycle(d.in.Fluid, drive, d.length, h, d.in.LiftM*1.03, d.vc)
		if (err == nil || errors.As(err, &weak)) && up.DeliveredFlow >= got.DeliveredFlow {
			fail("more lift delivers more", up.DeliveredFlow, got.DeliveredFlow)
		}
		// More drive head at the same closing velocity, no less water.
		more := h * 1.03
		if more < d.in.LiftM {
			up, err = ram.Cycle(d.in.Fluid, drive, d.length, more, d.in.LiftM, d.vc)
			if err != nil && !errors.As(err, &weak) {
				fail("more drive head fails: " + err.Error())
			}
			if up.DeliveredFlow < got.DeliveredFlow*(1-1e-12) {
				fail("more drive head delivers less", up.DeliveredFlow, got.DeliveredFlow)
			}
		}
	}
	t.Logf("seed %d: %d designs, %d feasible", seed, designs, feasible)
	if feasible < designs/2 {
		t.Errorf("only %d of %d designs are feasible: the sample proves too little", feasible, designs)
	}
}

// What makes TunedTo single-valued: the drive flow rises with the closing
// velocity, from λ 0.2 to 0.9.
func TestDriveFlowRisesWithClosingVelocity(t *testing.T) {
	const seed = 12
	rng := rand.New(rand.NewPCG(seed, 0))
	pipes := Products()
	fell := 0
	for i := range designs / 10 {
		d := randomDesign(rng, pipes)
		r := d.in.Ram
		last := 0.0
		for lambda := 0.2; lambda <= 0.9; lambda += 0.02 {
			v := r.velocityAt(d.in.Fluid, d.in.Drive.Pipe, d.length, d.in.SourceM, lambda)
			c, err := r.columnAt(d.in.Fluid, d.in.Drive.Pipe, d.length, v)
			if err != nil {
				t.Fatal(err)
			}
			b := c.beat(d.in.SourceM, d.in.LiftM)
			if q := b.waste + b.delivered; q <= last {
				fell++
				t.Errorf("seed %d design %d: drive flow falls from %g to %g at λ %.2f (lift ratio %.1f, μ %.1f)", seed, i, last, q, lambda, d.in.LiftM/d.in.SourceM, c.wave*v/(Gravity*d.in.LiftM))
				break
			} else {
				last = q
			}
		}
		if fell > 5 {
			t.FailNow()
		}
	}
}

// The solved level is the highest one that a dense scan finds, or neither
// finds one.
func TestRunningFindsTheHighestLevel(t *testing.T) {
	const seed = 13
	rng := rand.New(rand.NewPCG(seed, 0))
	pipes := metalPipes()
	all := Products()
	found, none, lower := 0, 0, 0
	for i := range 4000 {
		d := randomDesign(rng, pipes)
		in := d.in
		in.Pumps = 1 + rng.IntN(3)
		in.Supply = Run{Pipe: all[rng.IntN(len(all))].Pipe, LengthM: 5 * math.Pow(60, rng.Float64()), MinorK: 3 * rng.Float64()}
		if rng.IntN(3) > 0 { // otherwise most draw far too much
			in.Supply.Pipe.Inside = in.Drive.Pipe.Inside * (0.9 + 0.9*rng.Float64()) * math.Sqrt(float64(in.Pumps))
		}
		in.Delivery = Run{Pipe: all[rng.IntN(len(all))].Pipe, LengthM: 10 * math.Pow(60, rng.Float64())}
		r := in.ram()
		c, err := r.columnAt(in.Fluid, in.Drive.Pipe, in.Drive.LengthM, d.vc)
		if err != nil {
			t.Fatal(err)
		}
		s := in.solver()
		s.c = c
		s.needed = c.ka * sq(d.vc/latestLambda) / (2 * Gravity)
		const steps = 3000
		scan, ok := 0.0, false
		g := func(h float64) float64 { return in.SourceM - in.Supply.loss(&in.Fluid, s.flow(h)) - h }
		var top float64
		for k := 0; k <= steps; k++ {
			h := in.SourceM - (in.SourceM-s.needed)*float64(k)/steps
			if g(h) >= 0 {
				scan, ok = h, true
				top = in.SourceM - (in.SourceM-s.needed)*float64(max(k-1, 0))/steps
				break
			}
		}
		o, err := in.Running(d.vc)
		var level *NoRunningLevelError
		var weak *WeakBeatError
		switch {
		case errors.As(err, &level):
			none++
			if ok {
				t.Fatalf("seed %d case %d: no level found, the scan has %g of %g m", seed, i, scan, in.SourceM)
			}
		case err == nil || errors.As(err, &weak):
			found++
			if !ok { // a hill narrower than the scan: the level must hold by itself
				lower++
				if math.Abs(g(o.LevelM)) > 1e-8*in.SourceM {
					t.Fatalf("seed %d case %d: level %g m does not balance", seed, i, o.LevelM)
				}
				continue
			}
			if o.LevelM < scan-1e-9*in.SourceM || o.LevelM > top+1e-9*in.SourceM {
				t.Fatalf("seed %d case %d: level %.9g m, the scan has one between %.9g and %.9g m", seed, i, o.LevelM, scan, top)
			}
			lossS, err := HeadLoss(in.Fluid, in.Supply.Pipe, in.Supply.LengthM, o.DriveTotal, in.Supply.MinorK)
			if err != nil {
				t.Fatal(err)
			}
			lossD, err := HeadLoss(in.Fluid, in.Delivery.Pipe, in.Delivery.LengthM, o.DeliveredTotal, in.Delivery.MinorK)
			if err != nil {
				t.Fatal(err)
			}
			balance := in.SourceM - lossS - o.LevelM
			lift := in.LiftM + lossD - o.DeliveryHeadM
			if math.Abs(balance) > 1e-8*in.SourceM || math.Abs(lift) > 1e-8*o.DeliveryHeadM {
				t.Fatalf("seed %d case %d: level off by %g m, delivery head off by %g m", seed, i, balance, lift)
			}
		}
	}
	t.Logf("seed %d: %d levels found, %d have none, %d hills narrower than the scan", seed, found, none, lower)
	if found < 500 || none < 100 {
		t.Error("the sample is lopsided")
	}
}

// TunedTo draws exactly what it is asked for, and its two errors say which way
// it misses.
func TestTunedToDrawsTheFlow(t *testing.T) {
	const seed = 14
	rng := rand.New(rand.NewPCG(seed, 0))
	pipes := metalPipes()
	hit, little, much := 0, 0, 0
	for i := range 5000 {
		d := randomDesign(rng, pipes)
		in := d.in
		in.Pumps = 1 + rng.IntN(2)
		in.Supply = Run{Pipe: Pipe{Inside: in.Drive.Pipe.Inside * 1.6, Roughness: 1e-5}, LengthM: 30}
		in.Delivery = Run{Pipe: Pipe{Inside: in.Drive.Pipe.Inside * 0.5, Roughness: 1e-5}, LengthM: 100}
		want := float64(in.Pumps) * in.Drive.Pipe.Area() * d.vc * (0.4 + 0.5*rng.Float64())
		o, err := in.TunedTo(want, [2]float64{0.3, 0.85})
		var tuning *TuningError
		switch {
		case err == nil:
			hit++
			if relative(o.DriveTotal, want) > 1e-8 || o.Lambda < 0.3-1e-9 || o.Lambda > 0.85+1e-9 {
				t.Fatalf("seed %d case %d: draws %g, asked for %g, λ %g", seed, i, o.DriveTotal, want, o.Lambda)
			}
			loss, err := HeadLoss(in.Fluid, in.Supply.Pipe, in.Supply.LengthM, o.DriveTotal, 0)
			if b := in.SourceM - loss - o.LevelM; err != nil || math.Abs(b) > 1e-8*in.SourceM {
				t.Fatalf("seed %d case %d: level off by %g m, %v", seed, i, b, err)
			}
			// Running at that closing velocity finds the same state, if the
			// state is the upper one.
			if again, err := in.Running(o.ClosingVelocity); err == nil && again.LevelM < o.LevelM*(1-1e-7) {
				t.Fatalf("seed %d case %d: running finds a lower level %g than %g", seed, i, again.LevelM, o.LevelM)
			}
		case errors.As(err, &tuning) && tuning.TooLittle():
			little++
		case errors.As(err, &tuning):
			much++
		}
	}
	t.Logf("seed %d: %d drawn, %d too little, %d too much", seed, hit, little, much)
	if hit < 1000 || little == 0 || much == 0 {
		t.Error("the sample is lopsided")
	}
}

// Installations that make no sense end in an error or in finite numbers, never
// in a panic.
func TestNonsenseIsRefused(t *testing.T) {
	const seed = 15
	rng := rand.New(rand.NewPCG(seed, 0))
	all := Products()
	wild := func() float64 {
		switch rng.IntN(12) {
		case 0:
			return 0
		case 1:
			return -1
		case 2:
			return math.NaN()
		case 3:
			return math.Inf(1)
		}
		return math.Pow(10, 8*rng.Float64()-4)
	}
	run := func() Run {
		if rng.IntN(3) == 0 {
			return Run{}
		}
		return Run{Pipe: all[rng.IntN(len(all))].Pipe, LengthM: wild(), MinorK: math.Abs(wild())}
	}
	fluid := cold(t)
	answered := 0
	for i := range 30_000 {
		drive := all[rng.IntN(len(all))].Pipe
		in := Installation{Fluid: fluid, SourceM: wild(), LiftM: wild(), Supply: run(), Delivery: run(), Drive: Run{Pipe: drive, LengthM: wild()}, Ram: DefaultRam(drive.Inside), Pumps: rng.IntN(4)}
		check := func(o Operation, err error) {
			if err != nil {
				return
			}
			answered++
			for _, v := range []float64{o.DriveTotal, o.DeliveredTotal, o.LevelM, o.DeliveryHeadM, o.PeriodS, o.EfficiencyRankine, o.Mu} {
				if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
					t.Fatalf("seed %d case %d: %+v from %+v", seed, i, o, in)
				}
			}
		}
		check(in.Running(wild()))
		check(in.AtTuning(rng.Float64()))
		check(in.TunedTo(wild()*1e-3, [2]float64{0.3, 0.8}))
		if _, err := in.StuckOpen(wild()); err == nil {
			answered++
		}
	}
	t.Logf("seed %d: %d answers", seed, answered)
	if answered < 100 {
		t.Error("nearly everything is refused: the test proves little")
	}
}
