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
