package hydraulics

import (
	"context"
	"math"
	"testing"
)

// leaky is a simulated installation with a constant head at the vessel, so
// that a leak is its conductance times the root of a known head.
func leaky(t *testing.T, valve, pipe float64) Simulated {
	t.Helper()
	water, err := Water(283.15, 0)
	if err != nil {
		t.Fatal(err)
	}
	steel := product(t, "steel Sch 40 2 in")
	s := Simulation{Installation: Installation{Fluid: water, SourceM: 2, Drive: Run{Pipe: steel.Pipe, LengthM: 10}, Ram: DefaultRam(steel.Pipe.Inside), LiftM: 20},
		ClosingVelocity: 1.2, Reaches: 10, ValveLeak: valve, PipeLeak: pipe}
	out, err := s.Run(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// A leak out of the delivery pipe takes from the tank what an orifice passes,
// and nothing else changes.
func TestPipeLeakIsAnOrifice(t *testing.T) {
	const c = 5e-6
	sound, leak := leaky(t, 0, 0), leaky(t, 0, c)
	if want := sound.TankFlow - c*math.Sqrt(20); math.Abs(leak.TankFlow-want) > 1e-9 {
		t.Errorf("%g reaches the tank, want %g", leak.TankFlow, want)
	}
	if leak.WasteFlow != sound.WasteFlow {
		t.Errorf("waste went from %g to %g", sound.WasteFlow, leak.WasteFlow)
	}
}

// What leaks back through the delivery valve leaves by the waste valve: the
// books of the drive pipe stay closed, and between beats the leak is that of
// an orifice under the vessel's head less that of the pump, most of the time
// nearly all of it.
func TestValveLeakComesBack(t *testing.T) {
	const c = 3e-6
	sound, leak := leaky(t, 0, 0), leaky(t, c, 0)
	if got := leak.WasteFlow + leak.DeliveredFlow; math.Abs(got/leak.DriveFlow-1) > 0.01 {
		t.Errorf("%g drawn, %g let go", leak.DriveFlow, got)
	}
	if lost, want := sound.DeliveredFlow-leak.DeliveredFlow, c*math.Sqrt(20); lost < 0.7*want || lost > 1.1*want {
		t.Errorf("%g lost, an orifice all the time would lose %g", lost, want)
	}
	if leak.VolumeError > 1e-6 {
		t.Errorf("the books miss %g", leak.VolumeError)
	}
}
