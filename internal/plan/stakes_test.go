package plan

import (
	"math"
	"testing"

	"route/internal/quantity"
)

// straight makes a laid line of two vertices.
func straight(length, from, to float64) []Vertex {
	return []Vertex{
		{Lon: 0, Lat: 0, AlongM: 0, StationM: 0, GroundM: Number(from), InvertM: Number(from), GradeM: Number(from + 1)},
		{Lon: 0.001, Lat: 0, AlongM: Number(length), StationM: Number(length), GroundM: Number(to), InvertM: Number(to), GradeM: Number(to + 1)},
	}
}

// Counted by hand: a supply pipe of 50 m takes stakes at 20 and 40 m, a drive
// pipe of 20 m none (its only tape length is its end), a delivery pipe of 65 m
// stakes at 20 and 40 m (the one at 60 m is within a third of a tape of the
// tank).
func TestStakesByHandCount(t *testing.T) {
	l := &Layout{
		Intake:      Intake{WaterM: 101},
		Supply:      &Supply{PipeRun{Path: straight(50, 100.8, 100)}},
		Drive:       Drive{PipeRun: PipeRun{Path: straight(20, 100, 98)}},
		Delivery:    Delivery{PipeRun: PipeRun{Path: straight(65, 98, 120)}},
		Standpipe:   &Standpipe{HeightM: 2, RunningLevelM: 100.9, Place: Place{GroundM: 100}},
		SettlingBox: &SettlingBox{AlongM: 25, WaterM: 100.7},
		Pump:        Pump{OutletM: 98},
		Tank:        Tank{InletM: 122},
	}
	stakes := stakesOf(l, quantity.SI)
	want := []struct {
		label string
		along float64
		level float64
	}{
		{"INTAKE", 0, 100.8}, {"S1", 20, 100.48}, {"BOX", 25, 100.7}, {"S2", 40, 100.16}, {"STANDPIPE", 50, 100},
		{"PUMP", 70, 98}, {"L1", 90, 98 + 22*20.0/65}, {"L2", 110, 98 + 22*40.0/65}, {"TANK", 135, 122},
	}
	if len(stakes) != len(want) {
		t.Fatalf("%d stakes, want %d: %+v", len(stakes), len(want), stakes)
	}
	last := 0.0
	for i, w := range want {
		s := stakes[i]
		if s.Label != w.label || math.Abs(float64(s.InvertM)-w.level) > 1e-9 || math.Abs(float64(s.AlongM)-w.along) > 1e-9 {
			t.Errorf("stake %d: %s at %.2f, level %.3f; want %s at %.2f, level %.3f", i, s.Label, float64(s.AlongM), float64(s.InvertM), w.label, w.along, w.level)
		}
		if fall := 101 - w.level; math.Abs(float64(s.FallIntakeM)-fall) > 1e-9 {
			t.Errorf("%s: fall since the intake %.3f, want %.3f", s.Label, float64(s.FallIntakeM), fall)
		}
		if i > 0 && math.Abs(float64(s.FallLastM)-(last-w.level)) > 1e-9 {
			t.Errorf("%s: fall since the last %.3f, want %.3f", s.Label, float64(s.FallLastM), last-w.level)
		}
		last = w.level
	}
}

func TestStakesInFeetStandEveryFiftyFeet(t *testing.T) {
	l := &Layout{Drive: Drive{PipeRun: PipeRun{Path: straight(40, 10, 8)}}, Delivery: Delivery{PipeRun: PipeRun{Path: straight(1, 8, 8)}}}
	for _, s := range stakesOf(l, quantity.US) {
		if s.Label == "D1" && math.Abs(float64(s.AlongM)-15.24) > 1e-9 { // NIST SP 811: 50 ft = 15.24 m
			t.Errorf("D1 at %v m", s.AlongM)
		}
	}
}
