package plan

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"route/internal/quantity"
)

// straight makes a laid line of two vertices.
func straight(length, from, to float64) []Vertex {
	return []Vertex{
		{Lon: 0, Lat: 0, AlongM: 0, StationM: 0, GroundM: Number(from), InvertM: Number(from), GradeM: Number(from + 1)},
		{Lon: 0.001, Lat: 0, AlongM: Number(length), StationM: Number(length), GroundM: Number(to), InvertM: Number(to), GradeM: Number(to + 1)},
	}
}

// Counted by hand: a supply pipe of 50 m takes stakes at 20 and 40 m. A drive
// pipe of 20 m takes none of the tape (its only tape length is its end), and
// seven anchors, one every 20/7 m, the first and the last half of that from the
// ends. A delivery pipe of 65 m takes stakes at 20 and 40 m (the one at 60 m is
// within a third of a tape of the tank), and its drain.
func TestStakesByHandCount(t *testing.T) {
	l := &Layout{
		Intake:      Intake{WaterM: 101},
		Supply:      &Supply{PipeRun: PipeRun{Path: straight(50, 100.8, 100)}},
		Drive:       Drive{PipeRun: PipeRun{Path: straight(20, 100, 98)}},
		Delivery:    Delivery{PipeRun: PipeRun{Path: straight(65, 98, 120)}, Drains: []Number{7}, Vents: []Number{40.3}},
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
		{"SUP1", 50 + 10.0/7, 100 - 1.0/7}, {"SUP2", 50 + 30.0/7, 100 - 3.0/7}, {"SUP3", 50 + 50.0/7, 100 - 5.0/7}, {"SUP4", 60, 99},
		{"SUP5", 50 + 90.0/7, 100 - 9.0/7}, {"SUP6", 50 + 110.0/7, 100 - 11.0/7}, {"SUP7", 50 + 130.0/7, 100 - 13.0/7},
		{"PUMP", 70, 98}, {"DRAIN1", 77, 98 + 22*7.0/65}, {"L1", 90, 98 + 22*20.0/65},
		{"VENT1", 110.3, 98 + 22*40.3/65}, // and with it the tape's stake at 40 m
		{"TANK", 135, 122},
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
		if cut := float64(s.GroundM - s.InvertM); math.Abs(float64(s.CutM)-cut) > 1e-9 {
			t.Errorf("%s: cut %.3f, want %.3f", s.Label, float64(s.CutM), cut)
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

// A line of right angles, counted by hand. Going 30 m east, 20 m north and 30 m
// east again it turns left and then right, each time by an elbow; a wobble of
// 0.4 m needs no stake, one of 3 m does.
func TestBendsByHandCount(t *testing.T) {
	at := func(e, n float64) Vertex { return Vertex{EastingM: Number(e), NorthM: Number(n)} }
	path := []Vertex{at(0, 0), at(15, 0.4), at(30, 0), at(30, 20), at(45, 23), at(60, 20), at(61, 20)}
	bends := bendsOf(path)
	want := []bend{{2, 0, true}, {3, 0, true}, {4, 0, false}}
	if len(bends) != len(want) {
		t.Fatalf("%+v", bends)
	}
	deg := func(rad float64) float64 { return rad * 180 / math.Pi }
	rise := deg(math.Atan2(3, 15))
	for i, degrees := range []float64{90 + deg(math.Atan2(0.4, 15)), -(90 - rise), -rise - deg(math.Atan2(3, 16))} {
		if bends[i].vertex != want[i].vertex || bends[i].elbow != want[i].elbow || math.Abs(bends[i].degrees-degrees) > 0.5 {
			t.Errorf("bend %d: %+v, want %+v by %.1f degrees", i, bends[i], want[i], degrees)
		}
	}
}

// Pulled straight from stake to stake, no point of a random line lies further
// beside it than is allowed.
func TestBendsKeepTheLine(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	for range 100 {
		path := []Vertex{{}}
		heading := 0.0
		for range 80 {
			last := path[len(path)-1]
			heading += 0.5 * random.NormFloat64()
			path = append(path, Vertex{EastingM: last.EastingM + Number(math.Cos(heading)), NorthM: last.NorthM + Number(math.Sin(heading))})
		}
		from := 0
		for _, b := range append(bendsOf(path), bend{vertex: len(path) - 1}) {
			for i := from; i <= b.vertex; i++ {
				if off := besideLine(path[i], path[from], path[b.vertex]); off > bendOffM {
					t.Fatalf("vertex %d lies %.2f m beside the line from %d to %d", i, off, from, b.vertex)
				}
			}
			from = b.vertex
		}
	}
}

// What is printed is never more generous than what was computed.
func TestChecksRoundInwards(t *testing.T) {
	for _, c := range []struct {
		system           quantity.System
		below, low, high float64
		want             string
	}{
		{quantity.US, 3.7, 3.6, 3.84, "outlet 12.1 ft below mark; accept 11.9 to 12.5 ft (less: a; more: b)"}, // 12.139, 11.811, 12.598
		{quantity.SI, 3.7, 3.6011, 3.8499, "outlet 3.70 m below mark; accept 3.61 to 3.84 m (less: a; more: b)"},
		{quantity.SI, 3.7, 3.6, math.NaN(), "outlet 3.70 m below mark; accept from 3.60 m (less: a)"},
		{quantity.SI, -20, -25.019, math.NaN(), "outlet 20.00 m above mark; accept up to 25.01 m (more: a)"},
		{quantity.SI, 4.1352, 1, 4.1353, "outlet 4.13 m below mark; accept 1.00 to 4.13 m (less: a; more: b)"}, // at its limit
		{quantity.SI, 1.0012, 1.0011, 1.0039, "outlet 1.002 m below mark; accept 1.002 to 1.003 m (less: a; more: b)"},
	} {
		check := StakeCheck{Of: "outlet", From: "mark", BelowM: Number(c.below), LowM: Number(c.low), HighM: Number(c.high), LowWhy: "a", HighWhy: "b"}
		check.say(c.system)
		if check.Text != c.want {
			t.Errorf("%q, want %q", check.Text, c.want)
		}
	}
}

// The reach of a check against the root of a formula: x² < 2 holds up to √2.
func TestFurthest(t *testing.T) {
	by, why := furthest(func(by float64) string {
		if by*by < 2 {
			return ""
		}
		return "too far"
	}, 10)
	if d := math.Sqrt2 - by; d < 0 || d > 0.001 || why != "too far" {
		t.Errorf("%v, %q", by, why)
	}
	if by, why := furthest(func(float64) string { return "" }, 10); by != 10 || why != "not worked out" {
		t.Errorf("%v, %q", by, why)
	}
}
