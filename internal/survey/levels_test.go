package survey

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"route/internal/finding"
)

func reduced(t testing.TB, content string) Levelled {
	t.Helper()
	book, err := ReadLevels("levels.csv", strings.NewReader(content))
	if err != nil {
		t.Fatal(err)
	}
	return book.Reduce()
}

// A classic exercise: "consecutive readings were taken with a dumpy level
// along a chain line at a common interval of 15 m; the first reading was at a
// chainage of 165 m where the RL is 98.085; the instrument was shifted after
// the fourth and ninth readings: 3.150, 2.245, 1.125, 0.860, 3.125, 2.760,
// 1.835, 1.470, 1.965, 1.225, 2.390, 3.035 m" (Punmia, Surveying I; from
// memory). The levels and the check are worked by hand: ΣBS 7.500, ΣFS 5.860.
const chainLine = `# booked on site
Point, Back Sight (m), Intermediate (m), Fore Sight (m), BM (m), Chainage (m), Remarks
, 3.150,      ,      , 98.085, 165, start
, ,      2.245,      ,       , 180,
, ,      1.125,      ,       , 195,
, 3.125,      , 0.860,       , 210, moved
, ,      2.760,      ,       , 225,
, ,      1.835,      ,       , 240,
, ,      1.470,      ,       , 255,
, 1.225,      , 1.965,       , 270, moved
, ,      2.390,      ,       , 285,
, ,           , 3.035,       , 300, end
`

func TestReduceTheChainLine(t *testing.T) {
	l := reduced(t, chainLine)
	want := []float64{98.085, 98.990, 100.110, 100.375, 100.740, 101.665, 102.030, 101.535, 100.370, 99.725}
	setUp := []int{1, 1, 1, 1, 2, 2, 2, 2, 3, 3}
	for i, p := range l.Points {
		if math.Abs(p.LevelM-want[i]) > 1e-9 || p.SetUp != setUp[i] || p.StationM != 165+15*float64(i) || p.Line != 3+i {
			t.Errorf("line %d, station %v: level %.4f from set-up %d, want %.3f from %d", p.Line, p.StationM, p.LevelM, p.SetUp, want[i], setUp[i])
		}
	}
	if l.SetUps != 3 || l.Closed() || !l.Good() || len(l.Findings) != 1 || l.Findings[0].Code != "levels_open" {
		t.Errorf("%d set-ups, misclosure %v, %v", l.SetUps, l.MisclosureM, l.Findings)
	}
}

// The same line levelled back to its start: 12 mm too high at the end, with
// two set-ups there and two back. Each takes a quarter of it; by hand.
func TestMisclosureIsTakenOutBySetUps(t *testing.T) {
	const book = `point,bs_m,is_m,fs_m,station
A,1.500,,,0 m
B,,1.000,,20 m
C,1.200,,0.500,300 m
D,1.000,,1.700,900 m
E,1.600,,0.700,600 m
A,,,2.388,0 m
`
	l := reduced(t, book)
	if math.Abs(l.MisclosureM-0.012) > 1e-9 {
		t.Fatalf("misclosure %v", l.MisclosureM)
	}
	// The way is 1.8 km: 12 mm·√1.8 = 16.1 mm.
	if math.Abs(l.AllowedM-0.012*math.Sqrt(1.8)) > 1e-12 || !l.Good() || len(l.Findings) != 0 {
		t.Errorf("allowed %v, %v", l.AllowedM, l.Findings)
	}
	for i, want := range []float64{0, 0.500 - 0.003, 1.000 - 0.003, 0.500 - 0.006, 0.800 - 0.009, 0} {
		if math.Abs(l.Points[i].LevelM-want) > 1e-9 {
			t.Errorf("%s: %.4f, want %.4f", l.Points[i].Point, l.Points[i].LevelM, want)
		}
	}
	bad := reduced(t, strings.Replace(book, "2.388", "2.360", 1))
	if bad.Good() || len(bad.Findings) != 1 || bad.Findings[0].Code != "levels_misclosure" || bad.Findings[0].Line != 7 {
		t.Errorf("a misclosure of 40 mm: %+v", bad.Findings)
	}
}

func TestSecondBenchmarkCloses(t *testing.T) {
	l := reduced(t, "point,bs,is,fs,known\nBM1,2 m,,,50 m\nP,,1.5 m,,\nBM2,,,1 m,50.996 m\n")
	if math.Abs(l.MisclosureM-0.004) > 1e-9 || math.Abs(l.Points[2].LevelM-50.996) > 1e-9 || math.Abs(l.AllowedM-0.005) > 1e-12 {
		t.Errorf("misclosure %v of %v allowed, end %v", l.MisclosureM, l.AllowedM, l.Points[2].LevelM)
	}
}

// Rise and fall as booked, with one slip in the arithmetic of line 4.
func TestBookedArithmeticIsChecked(t *testing.T) {
	const book = `point,bs (ft),is (ft),fs (ft),rise (ft),fall (ft),rl (ft)
A,5.00,,,,,100.00
B,,4.00,,1.00,,101.00
C,,6.00,,,2.10,98.90
A,,,5.00,1.00,,100.00
`
	l := reduced(t, book)
	if len(l.Findings) != 1 || l.Findings[0].Code != "levels_arithmetic" || l.Findings[0].Line != 4 {
		t.Fatalf("%+v", l.Findings)
	}
	if v := l.Findings[0].Values; math.Abs(v[0].SI+2.1*0.3048) > 1e-9 || math.Abs(v[1].SI+2*0.3048) > 1e-9 {
		t.Errorf("booked %v, sighted %v", v[0], v[1])
	}
}

// Random books: the two ways of the trade agree. Heights by the height of
// collimation are those by rise and fall, summed here from reading to reading,
// and ΣBS − ΣFS is the last height less the first.
func TestCollimationAgreesWithRiseAndFall(t *testing.T) {
	const seed = 77
	random := rand.New(rand.NewPCG(seed, 1))
	for range 300 {
		book := "bs (m),is (m),fs (m)\n"
		reading := func() float64 { return math.Round(random.Float64()*4000) / 1000 }
		last := reading()
		book += fmt.Sprintf("%.3f,,\n", last)
		heights := []float64{0}
		back, fore := last, 0.0
		n := 2 + random.IntN(20)
		for i := 1; i <= n; i++ {
			now := reading()
			heights = append(heights, heights[i-1]+last-now)
			last = now
			switch {
			case i == n:
				book += fmt.Sprintf(",,%.3f\n", now)
				fore += now
			case random.IntN(3) == 0:
				last = reading()
				book += fmt.Sprintf("%.3f,,%.3f\n", last, now)
				fore, back = fore+now, back+last
			default:
				book += fmt.Sprintf(",%.3f,\n", now)
			}
		}
		l := reduced(t, book)
		for i, p := range l.Points {
			if math.Abs(p.LevelM-heights[i]) > 1e-9 {
				t.Fatalf("seed %d, point %d: %v, by rise and fall %v\n%s", seed, i, p.LevelM, heights[i], book)
			}
		}
		if end := l.Points[n].LevelM - l.Points[0].LevelM; math.Abs(back-fore-end) > 1e-9 {
			t.Fatalf("seed %d: sums give %v, heights %v", seed, back-fore, end)
		}
	}
}

func TestReadLevelsFaults(t *testing.T) {
	const head = "point,bs (m),is (m),fs (m),lat,lon\n"
	for _, c := range []struct {
		name, content string
		code          string
		line, column  int
	}{
		{"nothing", "", "levels_empty", 0, 0},
		{"a column that nobody knows", "point,bs (m),fs (m),weather\n", "levels_column", 1, 21},
		{"a column twice", "bs (m),fs (m),back sight (m)\n", "levels_column", 1, 15},
		{"no foresight", "bs (m),is (m)\n", "levels_column", 1, 1},
		{"no such unit", "bs (gallons),fs (m)\n", "levels_unit", 1, 1},
		{"no unit", "bs,fs\n1.2,\n", "levels_value", 2, 1},
		{"not a number", head + "A,1.2,,,,\nB,,,x,,\n", "levels_value", 3, 5},
		{"wrong unit", "bs (m),fs (m)\n1432,\n,1200\n", "levels_value", 2, 1},
		{"half a place", head + "A,1.2,,,50,\nB,,,1,,\n", "levels_value", 2, 12},
		{"no such latitude", head + "A,1.2,,,95,3\nB,,,1,,\n", "levels_value", 2, 9},
		{"no backsight", head + "A,,,1.2,,\nB,,,1,,\n", "levels_order", 2, 0},
		{"foresight at the start", head + "A,1,,1.2,,\nB,,,1,,\n", "levels_order", 2, 0},
		{"backsight alone", head + "A,1,,,,\nB,1,,,,\nC,,,1,,\n", "levels_order", 3, 0},
		{"two sights", head + "A,1,,,,\nB,,1,1,,\nC,,,1,,\n", "levels_order", 3, 0},
		{"no sight", head + "A,1,,,,\nB,,,,1,1\nC,,,1,,\n", "levels_order", 3, 0},
		{"ends with a backsight", head + "A,1,,,,\nB,1,,1,,\n", "levels_order", 3, 0},
		{"ends with an intermediate sight", head + "A,1,,,,\nB,,1,,,\n", "levels_order", 3, 0},
		{"one line", head + "A,1,,,,\n", "levels_empty", 0, 0},
		{"quotes", head + "A,\"1\n", "levels_csv", 2, 6},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := ReadLevels("levels.csv", strings.NewReader(c.content))
			var f *finding.Fault
			if !errors.As(err, &f) {
				t.Fatalf("got %v, want a fault", err)
			}
			if f.Code != c.code || f.File != "levels.csv" || f.Line != c.line || c.column > 0 && f.Column != c.column || f.Hint == "" {
				t.Errorf("%s at %d:%d (%v), want %s at %d:%d", f.Code, f.Line, f.Column, f, c.code, c.line, c.column)
			}
		})
	}
}

func FuzzReadLevels(f *testing.F) {
	f.Add(chainLine)
	f.Add("point,bs_ft,is_ft,fs_ft,station (ft)\nA,5.1,,,400\nB,,,3.2,620\n")
	f.Add("\ufeffbs (m),fs (m),known (m),lat,lon\n1,,5,50,9\n,2,4,50.1,9.1\n")
	f.Fuzz(func(t *testing.T, content string) {
		book, err := ReadLevels("levels.csv", strings.NewReader(content))
		var fault *finding.Fault
		if err != nil {
			if !errors.As(err, &fault) {
				t.Errorf("%v is not a fault", err)
			}
			return
		}
		for _, p := range book.Reduce().Points {
			if math.IsNaN(p.LevelM) {
				t.Error("a point without a height")
			}
		}
	})
}
