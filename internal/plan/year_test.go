package plan

import (
	"math"
	"testing"
)

// By hand: of 8 L/s 40 % may be taken, which are 3.2 L/s; a pump that leaves
// 70 % draws 2.4 L/s, so that 5.6 L/s stay at low flow and 17.6 L/s of 20. It
// draws 40 % of a creek of 6 L/s, and all of one of 2.4 L/s. Tuned up to 300
// L/min it draws 5 L/s of the usual 20.
func TestYearByHand(t *testing.T) {
	p := &Plan{LowFlow: 8, UsualFlow: 20, Take: 3.2, Layouts: []Layout{{CreekLeftShare: 0.7, DeliveredLDay: 1500, DeliveredLDayCorrected: 1400, TunedUpFlowLMin: 300, TunedUpLDay: 2500}}}
	low, usual, tuned, runs, stops := p.Year()
	for _, c := range []struct {
		what      string
		got, want Number
	}{
		{"drawn", low.DrawnLS, 2.4}, {"left at low flow", low.LeftLS, 5.6}, {"left at usual flow", usual.LeftLS, 17.6},
		{"runs as agreed from", runs, 6}, {"stops below", stops, 2.4},
		{"water at low flow", low.DeliveredLDay, 1400}, {"water at usual flow", usual.DeliveredLDay, 1400},
		{"drawn tuned up", tuned.DrawnLS, 5}, {"left tuned up", tuned.LeftLS, 15}, {"water tuned up", tuned.DeliveredLDay, 2500},
	} {
		if !(math.Abs(float64(c.got-c.want)) < 1e-9) {
			t.Errorf("%s: %v, want %v", c.what, c.got, c.want)
		}
	}
	p.UsualFlow = Unknown
	if _, usual, tuned, _, _ := p.Year(); usual.CreekLS.Known() || usual.DeliveredLDay.Known() || tuned.DrawnLS.Known() {
		t.Errorf("without a usual flow: %+v, tuned up %+v", usual, tuned)
	}
	if low, _, _, runs, _ := (&Plan{LowFlow: 8}).Year(); low.DrawnLS.Known() || runs.Known() {
		t.Error("without a layout something is known")
	}
}
