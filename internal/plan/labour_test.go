package plan

import (
	"math"
	"testing"

	"route/internal/catalog"
)

// By hand: intake 6, supply 100 m at 0.12 = 12, box 6, standpipe 4, two drive
// pipes of 20 m at 0.25 = 10, 7 anchors each at 0.5 = 7, two pumps 16; delivery
// 100 m easy and 50 m at twice = 200 m at 0.05 = 10, trench 200 × 0.3 × 0.2 = 12 m³
// at 1.7 = 20.4; 3 crossings 18; 2 + 4 bends and 2 × (1 + 2) at high and low
// points = 12 at 0.15 = 1.8; tank 3, 10 stakes 1, starting 4. Together 119.2.
func TestLabourByHandCount(t *testing.T) {
	g := &grader{job: &job{}}
	g.l.Stakes = make([]Stake, 10)
	g.labour(&catalog.Layout{SupplyM: 100, SupplyBends: 2, SettlingBox: true, StandpipeM: 2, DriveM: 20, Pumps: 2, DeliveryM: 150, DeliveryBends: 4, HighPoints: 1, LowPoints: 2,
		DeliveryLaid: []catalog.Laid{{LengthM: 100}, {LengthM: 50, Factor: 2}}, TrenchDepthM: 0.3, TrenchWidthM: 0.2, DeliveryCrossed: []catalog.Crossed{{Count: 1}, {Count: 2}}})
	if got := float64(g.l.LabourHours); math.Abs(got-119.2) > 1e-9 {
		t.Errorf("%v hours, by hand 119.2: %+v", got, g.l.Labour)
	}
	for _, line := range g.l.Labour {
		if math.Abs(float64(line.Quantity*line.PerUnit-line.Hours)) > 1e-9 || line.Source == "" {
			t.Errorf("%+v", line)
		}
	}
	if text := g.l.LabourText(); text != "about 120 hours of one person" {
		t.Errorf("%q", text)
	}
}
