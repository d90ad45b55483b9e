package hydraulics

import (
	"context"
	"errors"
	"testing"
)

// Each caution appears on the bad side of its bound and not on the good side.
func TestCautions(t *testing.T) {
	f := cold(t)
	steel := product(t, "steel Sch 40 2 in").Pipe
	sound := func() Installation {
		r := DefaultRam(steel.Inside)
		return Installation{
			Fluid: f, SourceM: 3, Drive: Run{Pipe: steel, LengthM: 15}, Ram: r, LiftM: 21,
			Supply:   Run{Pipe: product(t, "PE100 SDR 11 DN110").Pipe, LengthM: 40, MinorK: 1.5},
			Delivery: Run{Pipe: product(t, "PE100 SDR 11 DN25").Pipe, LengthM: 100},
			FootM:    0.3,
		}
	}
	cautions := func(in Installation, tuning float64) map[string]Caution {
		t.Helper()
		o, err := in.AtTuning(tuning)
		var weak *WeakBeatError
		if err != nil && !errors.As(err, &weak) {
			t.Fatal(err)
		}
		got := map[string]Caution{}
		for _, c := range in.Cautions(o) {
			got[c.Code] = c
		}
		return got
	}
	if got := cautions(sound(), 0.5); len(got) != 0 {
		t.Errorf("a sound design has cautions: %v", got)
	}
	for code, spoil := range map[string]func(*Installation){
		CautionWeakBeat:       func(in *Installation) { in.LiftM = 60 },
		CautionLiftRatio:      func(in *Installation) { in.LiftM = 26 },
		CautionLengthDiameter: func(in *Installation) { in.Drive.LengthM = 7 },
		CautionLengthHead:     func(in *Installation) { in.Drive.LengthM = 25 },
		CautionPlasticDrive:   func(in *Installation) { in.Drive.Pipe = product(t, "PVC Sch 80 2 in").Pipe },
		CautionLowHead:        func(in *Installation) { in.SourceM, in.LiftM = 0.48, 3.4 },
		CautionHighHead:       func(in *Installation) { in.SourceM, in.LiftM = 16, 80 },
		CautionDriveRating:    func(in *Installation) { in.Drive.Pipe.Rating = 100 },
		CautionDeliveryRating: func(in *Installation) { in.Delivery.Pipe.Rating = 20 },
		CautionNoRestart:      func(in *Installation) { in.Supply.Pipe.Inside = 0.038 },
		CautionAirEntry:       func(in *Installation) { in.FootM = 2.9 },
		CautionSelfStart:      func(in *Installation) { in.LiftM = 6 },
		CautionBeatRate:       func(in *Installation) { in.Drive.LengthM = 2 },
		CautionTransition:     func(in *Installation) { in.Delivery.Pipe = product(t, "PE100 SDR 11 DN40").Pipe },
		CautionFastSupply:     func(in *Installation) { in.Supply.Pipe.Inside, in.Supply.LengthM, in.Supply.MinorK = 0.018, 0.1, 0 },
		CautionFastDelivery:   func(in *Installation) { in.Delivery.Pipe.Inside, in.Delivery.LengthM = 0.008, 5 },
	} {
		in := sound()
		spoil(&in)
		got := cautions(in, 0.5)
		if _, ok := got[code]; !ok {
			t.Errorf("no %s in %v", code, got)
		}
	}
}

// Two pumps on one standpipe draw twice through the supply pipe, so each has
// less head; the closed form and the simulation agree on it.
func TestTwoPumpsShareTheStandpipe(t *testing.T) {
	one := standpipeSystem(t)
	one.Supply.Pipe = product(t, "PE100 SDR 11 DN90").Pipe
	two := one
	two.Pumps = 2
	a, err := one.Running(1.2)
	if err != nil {
		t.Fatal(err)
	}
	b, err := two.Running(1.2)
	if err != nil {
		t.Fatal(err)
	}
	if !(b.LevelM < a.LevelM) || b.DriveTotal != 2*b.DriveFlow || b.DeliveredTotal != 2*b.DeliveredFlow {
		t.Errorf("one pump %+v, two %+v", a, b)
	}
	r := simulate(t, Simulation{Installation: two, ClosingVelocity: 1.2, StandpipeBoreM: 0.2, WarmUpS: 60, MeasureS: 60})
	t.Logf("level %.3f m, drawn %.1f, delivered %.2f L/min; simulated %.3f m, %.1f, %.2f L/min", b.LevelM, b.DriveTotal*60e3, b.DeliveredTotal*60e3, r.LevelM, r.DriveFlow*60e3, r.DeliveredFlow*60e3)
	if relative(r.DriveFlow, b.DriveTotal) > 0.1 || relative(r.DeliveredFlow, b.DeliveredTotal) > 0.2 || r.LevelM-b.LevelM > 0.1 || b.LevelM-r.LevelM > 0.1 {
		t.Errorf("simulated %+v", r)
	}
}

// A simulation stops when it is told to.
func TestSimulationIsInterrupted(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	s := gridCase(t)
	if _, err := s.Run(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
	s.Reaches = 1
	var bad *RangeError
	if _, err := s.Run(context.Background()); !errors.As(err, &bad) {
		t.Errorf("one reach: %v", err)
	}
}
