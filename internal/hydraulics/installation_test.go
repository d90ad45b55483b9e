package hydraulics

import (
	"math"
	"testing"
)

// standpipeSystem is case 19 of the reference: a source 2.5 m above the valve,
// 100 m of PE100 SDR 11 DN63, a 2 in steel drive pipe of 10 m, 20 m of
// delivery head, K_w 4, no slip.
func standpipeSystem(t testing.TB) Installation {
	r := DefaultRam(0.05248)
	r.SlipM3, r.VolumetricFactor = 0, 1
	return Installation{
		Fluid: cold(t), SourceM: 2.5,
		Supply: Run{Pipe: product(t, "PE100 SDR 11 DN63").Pipe, LengthM: 100},
		Drive:  Run{Pipe: product(t, "steel Sch 40 2 in").Pipe, LengthM: 10},
		Ram:    r, LiftM: 20,
	}
}

// An independent simulation by characteristics settles at a level of 1.44 m
// with 80.6 L/min drawn, 3.67 L/min delivered and 53 beats a minute; the bands
// are those of the reference. Stuck open it passes 118 L/min at 0.44 m.
func TestRunningAgainstSimulation(t *testing.T) {
	in := standpipeSystem(t)
	o, err := in.Running(1.2)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("level %.3f m, drive %.1f L/min, delivered %.2f L/min, %.1f beats/min", o.LevelM, o.DriveTotal*60e3, o.DeliveredTotal*60e3, o.BeatsPerMinute())
	if math.Abs(o.LevelM-1.44) > 0.1 {
		t.Errorf("level %.3f m, want 1.44 ± 0.1", o.LevelM)
	}
	if relative(o.DeliveredTotal*60e3, 3.67) > 0.15 {
		t.Errorf("delivered %.3f L/min, want 3.67 ± 15 %%", o.DeliveredTotal*60e3)
	}
	if relative(o.BeatsPerMinute(), 53) > 0.1 {
		t.Errorf("%.1f beats/min, want 53 ± 10 %%", o.BeatsPerMinute())
	}
	open, err := in.StuckOpen(1.2)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("stuck open: level %.3f m, %.1f L/min, %.3f m/s", open.LevelM, open.Flow*60e3, open.Velocity)
	if math.Abs(open.LevelM-0.44) > 0.05 || relative(open.Flow*60e3, 118) > 0.05 || open.Restarts(1.2) {
		t.Errorf("stuck open: %+v; want 0.44 m, 118 L/min, and no restart at 1.2 m/s", open)
	}
}

// Stuck open, an installation is a plain pipe run: the supply pipe takes its
// loss at the flow of all pumps, the rest drives each drive pipe with its
// entrance, bends and valve. The closing velocity is chosen so that the drive
// pipe's friction is taken at the velocity that comes out.
func TestStuckOpenIsAPlainPipeRun(t *testing.T) {
	for _, pumps := range []int{1, 3} {
		in := standpipeSystem(t)
		in.Pumps, in.Drive.MinorK, in.Supply.MinorK = pumps, 2.5, 1.5
		vc := 1.0
		var open OpenState
		for range 60 { // until 0.6·v_c is the velocity
			var err error
			if open, err = in.StuckOpen(vc); err != nil {
				t.Fatal(err)
			}
			vc = open.Velocity / frictionShare
		}
		supply, err := HeadLoss(in.Fluid, in.Supply.Pipe, 100, open.Flow, 1.5)
		if err != nil {
			t.Fatal(err)
		}
		drive, err := HeadLoss(in.Fluid, in.Drive.Pipe, 10, open.Flow/float64(pumps), 2.5+in.Ram.EntranceK+in.Ram.WasteValveK)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(in.SourceM-supply-drive) > 1e-8 || math.Abs(open.LevelM-drive) > 1e-8 || relative(open.Flow, float64(pumps)*open.Velocity*in.Drive.Pipe.Area()) > 1e-12 {
			t.Errorf("%d pumps: supply takes %.4f m, drive %.4f m of %.4f m, level %.4f m", pumps, supply, drive, in.SourceM, open.LevelM)
		}
	}
}
