package survey

import (
	"errors"
	"math"
	"strings"
	"testing"

	"route/internal/finding"
)

// alike gives every instrument the same precision; hose is twice as good.
func alike(by string, setUps int, _ float64) float64 {
	if by == "hose" {
		return 0.01
	}
	return 0.02 * math.Sqrt(math.Max(1, float64(setUps)))
}

func levelled(t testing.TB, content string) *CreekLevels {
	t.Helper()
	c, err := ReadCreekLevels("creek.csv", strings.NewReader(content), alike)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func wantLevels(t *testing.T, c *CreekLevels, names string, at, levelM, sigmaM []float64) {
	t.Helper()
	var got []string
	for i, p := range c.Points {
		got = append(got, p.Name)
		if i >= len(at) {
			continue
		}
		if math.Abs(p.StationM-at[i]) > 1e-9 || math.Abs(p.LevelM-c.Points[0].LevelM-levelM[i]) > 1e-9 || math.Abs(p.DropSigmaM-sigmaM[i]) > 1e-9 {
			t.Errorf("%s: at %.4f, level %.5f, sigma %.5f; want %v, %v, %v", p.Name, p.StationM, p.LevelM-c.Points[0].LevelM, p.DropSigmaM, at[i], levelM[i], sigmaM[i])
		}
	}
	if strings.Join(got, " ") != names || len(at) != len(got) {
		t.Errorf("points %v, want %s", got, names)
	}
}

// Drops one after the other add up; by hand. Written from the lower end up, or
// the other way about, they are the same creek.
func TestDropsAddUp(t *testing.T) {
	at, level, sigma := []float64{0, 10, 30, 35}, []float64{0, -0.5, -0.6, -1.8}, []float64{0, 0.02, 0.02, 0.02}
	c := levelled(t, "from,to,distance (m),drop (cm)\nA,B,10,50\nB,C,20,10\nC,D,5,120\n")
	wantLevels(t, c, "A B C D", at, level, sigma)
	if len(c.Findings) != 0 || !c.Taped || c.Places != 0 || c.What != "list of drops" {
		t.Errorf("%+v", c)
	}
	wantLevels(t, levelled(t, "from,to,distance (m),drop (cm)\nC,D,5,120\nB,C,20,10\nA,B,10,50\n"), "A B C D", at, level, sigma)
	wantLevels(t, levelled(t, "from,to,distance (m),drop (cm)\nD,C,5,-120\nC,B,20,-10\nB,A,10,-50\n"), "A B C D", at, level, sigma)
}

// Closed forms of least squares. The same drop taken twice: the mean weighted
// with 1/σ², of standard deviation (Σ 1/σ²)^-½. Two drops and one over both of
// them, alike: each takes a third of the misclosure, and keeps √(2/3) of its
// standard deviation.
func TestDropsAreAdjusted(t *testing.T) {
	c := levelled(t, "from,to,distance,drop,by\nA,B,10 m,0.50 m,\nA,B,12 m,0.53 m,hose\nB,C,8 m,1 m,\n")
	w, h := 1/(0.02*0.02), 1/(0.01*0.01)
	drop := (w*0.50 + h*0.53) / (w + h)
	wantLevels(t, c, "A B C", []float64{0, 11, 19}, []float64{0, -drop, -drop - 1}, []float64{0, 1 / math.Sqrt(w+h), 0.02})

	c = levelled(t, "from,to,distance (m),drop (m)\nA,B,10,0.50\nB,C,10,0.30\nA,C,20,0.83\n")
	s := 0.02 * math.Sqrt(2.0/3)
	wantLevels(t, c, "A B C", []float64{0, 10, 20}, []float64{0, -0.51, -0.82}, []float64{0, s, s})
	if len(c.Findings) != 0 {
		t.Errorf("a misclosure of one and a half sigma is doubted: %v", c.Findings)
	}
	// 20 cm are no chance.
	c = levelled(t, "from,to,distance (m),drop (m)\nA,B,10,0.50\nB,C,10,0.30\nA,C,20,1.00\n")
	if len(c.Findings) != 3 || c.Findings[0].Code != "levels_misclosure" || c.Findings[0].Line != 2 {
		t.Errorf("%v", c.Findings)
	}
}

// A levelling book and the table of its heights are the same creek; what lies
// beside the creek has no distance and is left out, and the way back counts
// once.
func TestCreekFromABook(t *testing.T) {
	const book = `point,bs_m,is_m,fs_m,distance_m
BM,1.000,,,
A,,1.500,,0
B,,2.100,,20
C,0.300,,3.300,45
D,,1.900,,60
A,2.9,,0.1,0
BM,,,2.4,
`
	c := levelled(t, book)
	// By hand: BM 0, A -0.5, B -1.1, C -2.3, D -3.9; the way back: second sight
	// line -2.0, A -2.1?: the misread staff shows as a misclosure.
	if c.What != "levelling book" || len(c.Points) != 4 || len(c.Findings) != 1 || c.Findings[0].Code != "levels_misclosure" {
		t.Fatalf("%+v", c)
	}
	good := strings.NewReplacer("A,2.9,,0.1,0\nBM,,,2.4,\n", "BM,,,-2.3,\n").Replace(book)
	// Height of the line of sight at C: -2.3+0.3 = -2.0; BM at 0 reads -2.0.
	good = strings.Replace(good, "-2.3,", "-2.0,", 1)
	c = levelled(t, good)
	s1, s2 := 0.02, 0.02*math.Sqrt2
	wantLevels(t, c, "A B C D", []float64{0, 20, 45, 60}, []float64{0, -0.6, -1.8, -3.4}, []float64{0, s1, s1, s2})
	if len(c.Findings) != 0 {
		t.Errorf("%v", c.Findings)
	}
	c = levelled(t, "peg,chainage (m),RL (m)\nD,60,96.1\nC,45,97.7\nB,20,98.9\nA,0,99.5\n")
	wantLevels(t, c, "A B C D", []float64{0, 20, 45, 60}, []float64{0, -0.6, -1.8, -3.4}, []float64{0, s1, s1, s1})
	// With coordinates alone the distances are straight: 0.001° of latitude at
	// the equator are 110.574 m (WGS 84: π/180·a(1−e²), to the millimetre).
	c = levelled(t, "point,height,lat,lon\nA,10 m,0.001,7\nB,9 m,0,7\n")
	if c.Taped || c.Places != 2 || math.Abs(c.Points[1].StationM-110.574) > 0.001 {
		t.Errorf("%+v", c)
	}
}

func TestCreekLevelsFaults(t *testing.T) {
	for _, k := range []struct{ name, content, code, says string }{
		{"empty", "", "levels_column", "three tables"},
		{"another table", "date,rain\n1,2\n", "levels_column", "three tables"},
		{"no places", "point,bs (m),fs (m)\nA,1,\nB,,2\n", "levels_off_creek", "distance"},
		{"no unit", "from,to,distance,drop\nA,B,10,1 m\n", "levels_value", "creek.csv:2:5"},
		{"feet for inches", "from,to,distance (m),drop (ft)\nA,B,10,1450\n", "levels_value", "not possible"},
		{"branch", "from,to,distance (m),drop (m)\nA,B,10,1\nB,C,10,1\nB,X,10,1\n", "drops_order", "ends of the line"},
		{"to itself", "from,to,distance (m),drop (m)\nA,A,10,1\n", "levels_value", "itself"},
		{"no name", "from,to,distance (m),drop (m)\nA,,10,1\n", "levels_value", "to where"},
		{"instrument", "from,to,distance (m),drop (m),by\nA,B,10,1,eye\n", "levels_value", "hand_level"},
		{"unknown column", "from,to,distance (m),drop (m),colour\nA,B,10,1,red\n", "levels_column", "colour"},
		{"one place twice", "distance (m),height (m)\n0,10\n5,9\n5,8\n", "levels_same_place", "line 4"},
		{"level", "distance (m),height (m)\n0,10\n5,10\n", "levels_no_fall", "downhill"},
		{"a bad coordinate", "height (m),lat,lon\n10,91,7\n9,0,7\n", "levels_value", "91"},
		{"legs", "from,to,distance (m),drop (m),legs\nA,B,10,1,0\n", "levels_value", "legs"},
	} {
		t.Run(k.name, func(t *testing.T) {
			_, err := ReadCreekLevels("creek.csv", strings.NewReader(k.content), alike)
			var f *finding.Fault
			if !errors.As(err, &f) || f.Code != k.code || f.Hint == "" || !strings.Contains(f.Error()+f.Hint, k.says) {
				t.Errorf("%v", err)
			}
		})
	}
}

// Any text is read or refused with a fault; what is read runs downstream, with
// distances that grow and spreads that are numbers.
func FuzzReadCreekLevels(f *testing.F) {
	for _, seed := range []string{
		chainLine, "from,to,distance (m),drop (m),by,lat,lon,to_lat,to_lon\nA,B,10,1,hose,1,2,,\nB,C,10,1,level,,,1.1,2\nA,C,20,2,,,,,\n",
		"peg,chainage (m),RL (m)\nD,60,96.1\nC,45,97.7\n", "height,lat,lon\n3 m,1,2\n2 m,1,2.1\n", "\ufefffrom,to,distance,drop\nA,B,1 ft,1 in\n", "drop\n",
	} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, content string) {
		c, err := ReadCreekLevels("x.csv", strings.NewReader(content), alike)
		if err != nil {
			var fault *finding.Fault
			if !errors.As(err, &fault) || fault.Code == "" || fault.File == "" {
				t.Fatalf("%v is no fault", err)
			}
			return
		}
		if len(c.Points) < 2 || c.Points[0].StationM != 0 || !(c.Points[0].LevelM > c.Points[len(c.Points)-1].LevelM) {
			t.Fatalf("%+v", c)
		}
		for i, p := range c.Points[1:] {
			if !(p.StationM > c.Points[i].StationM) || !(p.DropSigmaM > 0) || math.IsInf(p.StationM+p.LevelM+p.DropSigmaM, 0) {
				t.Fatalf("%+v", p)
			}
		}
	})
}
