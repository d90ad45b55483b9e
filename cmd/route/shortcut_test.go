package main

import (
	"math"
	"testing"
)

// On the winding demo creek, at the same places, a supply pipe that cuts the
// bends is shorter than one on the bed and costs less, and the pump has the same
// head: what the shorter pipe loses less a gate valve takes. It is no shorter than
// the straight line, and the pipe on the bed is as long as the creek is there.
func TestCuttingBendsPays(t *testing.T) {
	l := &handOver(t, "fernhollow").plan.Layouts[0]
	free := &builtAt(t, demo(t, "fernhollow"), l).Layouts[0]
	creek := &builtAt(t, demo(t, "fernhollow"), l, "--set", "supply_route=creek").Layouts[0]
	t.Logf("supply pipe %.1f m, along the creek %.1f m; drive head %.3f and %.3f m; %s and %s", float64(free.Supply.LengthM), float64(creek.Supply.LengthM),
		float64(free.DriveHeadM), float64(creek.DriveHeadM), free.Cost.Total, creek.Cost.Total)
	straight := math.Hypot(float64(free.Standpipe.EastingM-free.Intake.EastingM), float64(free.Standpipe.NorthM-free.Intake.NorthM))
	if along := float64(creek.Standpipe.StationM - creek.Intake.StationM); math.Abs(float64(creek.Supply.LengthM)/along-1) > 0.01 {
		t.Errorf("on the bed the pipe is %.2f m long, the creek %.2f m", float64(creek.Supply.LengthM), along)
	}
	if got := float64(free.Supply.LengthM); got < straight*0.999 || got > 0.95*float64(creek.Supply.LengthM) {
		t.Errorf("cutting the bends, the pipe is %.2f m long; %.2f m straight, %.2f m along the creek", got, straight, float64(creek.Supply.LengthM))
	}
	if math.Abs(float64(free.DriveHeadM-creek.DriveHeadM)) > 0.02 {
		t.Errorf("the drive head is %.3f m, along the creek %.3f m", float64(free.DriveHeadM), float64(creek.DriveHeadM))
	}
	if cents(t, string(free.Cost.Total)) >= cents(t, string(creek.Cost.Total)) {
		t.Errorf("it costs %s, along the creek %s", free.Cost.Total, creek.Cost.Total)
	}
}
