package survey

import (
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"

	"route/internal/finding"
	"route/internal/geodesy"
)

// walker simulates a walk with a receiver: it moves along a line in the frame
// and records a fix every stepM, stepM seconds after the last, with normal
// errors.
type walker struct {
	frame  *geodesy.Frame
	rng    *rand.Rand
	sigmaM float64
	now    time.Time
	timed  bool
	leg    []Fix
	truth  []orb.Point
}

func newWalker(t *testing.T, seed uint64, sigmaM float64) *walker {
	t.Logf("seed %d", seed)
	f, err := geodesy.NewFrame(geodesy.LonLat{Lon: -150.25, Lat: 46.5}, 0)
	if err != nil {
		t.Fatal(err)
	}
	return &walker{frame: f, rng: rand.New(rand.NewPCG(seed, 7)), sigmaM: sigmaM, timed: true,
		now: time.Date(2024, 5, 1, 8, 0, 0, 0, time.UTC)}
}

// creek is a meandering line, x to the east.
func creek(x float64) orb.Point { return orb.Point{x, 15 * math.Sin(x/25)} }

func (w *walker) at(p orb.Point, seconds float64) {
	w.truth = append(w.truth, p)
	p[0] += w.sigmaM * w.rng.NormFloat64()
	p[1] += w.sigmaM * w.rng.NormFloat64()
	w.now = w.now.Add(time.Duration(seconds * float64(time.Second)))
	f := Fix{LonLat: w.frame.ToLonLat(p), EleM: math.NaN(), HDOP: math.NaN()}
	if w.timed {
		f.Time = w.now
	}
	w.leg = append(w.leg, f)
}

// along walks from one x to another.
func (w *walker) along(from, to float64) {
	n := int(math.Abs(to-from) / 3)
	for i := range n + 1 {
		w.at(creek(from+(to-from)*float64(i)/float64(n)), 4)
	}
}

func (w *walker) clean(t *testing.T) (orb.LineString, map[string]finding.Finding) {
	t.Helper()
	legs, fs, err := Clean(Track{Legs: [][]Fix{w.leg}}, w.frame, CleanOptions{SigmaM: max(3, w.sigmaM)})
	if err != nil {
		t.Fatal(err)
	}
	line := orb.LineString{}
	for _, l := range legs {
		line = append(line, l...)
	}
	got := map[string]finding.Finding{}
	for _, f := range fs {
		got[f.Code] = f
		t.Log(f.Code, f.Text, f.Values)
	}
	return line, got
}

// covers says how far the furthest place of the creek between two x is from
// the nearest point of the line.
func covers(line orb.LineString, from, to float64) float64 {
	worst := 0.0
	for x := from; x <= to; x++ {
		best := math.Inf(1)
		for i := 1; i < len(line); i++ {
			d := planar.DistanceFromSegmentSquared(line[i-1], line[i], creek(x))
			best = min(best, d)
		}
		worst = max(worst, math.Sqrt(best))
	}
	return worst
}

func length(line orb.LineString) float64 {
	l := 0.0
	for i := 1; i < len(line); i++ {
		l += distance(line[i-1], line[i])
	}
	return l
}

// trueLength of the creek between two x.
func trueLength(from, to float64) float64 {
	l := 0.0
	for x := from; x < to; x += 0.25 {
		l += distance(creek(x), creek(x+0.25))
	}
	return l
}

// TestCleanLeavesAWalkAlone: a plain walk loses nothing.
func TestCleanLeavesAWalkAlone(t *testing.T) {
	for _, sigma := range []float64{0.5, 3, 7} {
		w := newWalker(t, 1, sigma)
		w.along(0, 600)
		line, got := w.clean(t)
		if len(got) != 0 || len(line) != len(w.leg) {
			t.Errorf("σ %g m: %d of %d fixes left, findings %v", sigma, len(line), len(w.leg), got)
		}
	}
}

// TestCleanToAndFro: the walker goes back 60 m and on again, three times.
func TestCleanToAndFro(t *testing.T) {
	for _, sigma := range []float64{0.5, 3, 5} {
		w := newWalker(t, 2, sigma)
		w.along(0, 200)
		w.along(200, 140)
		w.along(140, 350)
		w.along(350, 280)
		w.along(280, 600)
		line, got := w.clean(t)
		if _, ok := got["track_to_and_fro"]; !ok {
			t.Errorf("σ %g m: not noticed", sigma)
		}
		if c := covers(line, 5, 595); c > 4*sigma+3 {
			t.Errorf("σ %g m: the cleaned line leaves the creek uncovered by %.1f m", sigma, c)
		}
		if sigma < 1 {
			if l, want := length(line), trueLength(0, 600); math.Abs(l/want-1) > 0.05 {
				t.Errorf("cleaned to %.0f m, the creek is %.0f m long, %.0f m were walked", l, want, length(w.truth))
			}
		}
	}
}

// TestCleanOutAndBack: down the creek and back along it, with and without a
// head start.
func TestCleanOutAndBack(t *testing.T) {
	for _, c := range []struct {
		name      string
		walk      func(w *walker)
		from, to  float64
		wantFound string
	}{
		{"all the way", func(w *walker) { w.along(0, 400); w.along(400, 5) }, 0, 400, "track_retraced"},
		{"half the way", func(w *walker) { w.along(0, 400); w.along(400, 230) }, 0, 400, "track_retraced"},
		{"begins in the middle", func(w *walker) { w.along(150, 0); w.along(0, 400) }, 0, 400, "track_retraced"},
		{"both", func(w *walker) { w.along(150, 0); w.along(0, 400); w.along(400, 300) }, 0, 400, "track_retraced"},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := newWalker(t, 3, 3)
			c.walk(w)
			line, got := w.clean(t)
			if _, ok := got[c.wantFound]; !ok {
				t.Errorf("not noticed: %v", got)
			}
			if d := covers(line, c.from+8, c.to-8); d > 15 {
				t.Errorf("leaves %.1f m of the creek", d)
			}
			if got, want := distance(line[0], line[len(line)-1]), distance(creek(c.from), creek(c.to)); got < want-20 {
				t.Errorf("ends are %.0f m apart, want %.0f", got, want)
			}
		})
	}
}

// TestCleanLoop: down the creek and back over the hill.
func TestCleanLoop(t *testing.T) {
	w := newWalker(t, 4, 3)
	w.along(0, 400)
	for a := 0.0; a <= math.Pi; a += 0.02 {
		w.at(orb.Point{200 + 200*math.Cos(a), -20 - 150*math.Sin(a)}, 4)
	}
	line, got := w.clean(t)
	if _, ok := got["track_is_a_loop"]; !ok {
		t.Errorf("not noticed: %v", got)
	}
	if d := covers(line, 5, 390); d > 15 {
		t.Errorf("leaves %.1f m of the creek", d)
	}
}

// TestCleanHalts: ten minutes at one place with wandering fixes.
func TestCleanHalts(t *testing.T) {
	for _, timed := range []bool{true, false} {
		w := newWalker(t, 5, 2)
		w.timed = timed
		w.along(0, 200)
		for range 300 {
			w.at(creek(200), 2)
		}
		w.along(203, 400)
		line, got := w.clean(t)
		if _, ok := got["track_halts"]; !ok {
			t.Errorf("not noticed: %v", got)
		}
		if n := (400/3 + 1); len(line) > n+12 {
			t.Errorf("%d fixes left of %d, about %d were walked", len(line), len(w.leg), n)
		}
		if d := covers(line, 3, 397); d > 12 {
			t.Errorf("leaves %.1f m of the creek", d)
		}
	}
}

// TestCleanJumps: single wild fixes and a burst of them, the first fix among
// them.
func TestCleanJumps(t *testing.T) {
	for _, timed := range []bool{true, false} {
		w := newWalker(t, 6, 2)
		w.timed = timed
		if timed {
			w.at(orb.Point{900, 900}, 2)
		}
		w.along(0, 200)
		w.at(orb.Point{200, 400}, 2)
		w.along(203, 300)
		if timed {
			for i := range 8 {
				w.at(orb.Point{float64(300 + 60*i), -500}, 2)
			}
		}
		w.along(303, 500)
		line, _ := w.clean(t)
		for _, p := range line {
			if math.Abs(p[1]) > 30 || p[0] > 510 {
				t.Errorf("the fix at %v is still there", p)
			}
		}
		if d := covers(line, 3, 497); d > 12 {
			t.Errorf("leaves %.1f m of the creek", d)
		}
	}
}

// TestCleanRest: repeats, poor precision, places a day.s drive away,
// silence.
func TestCleanRest(t *testing.T) {
	w := newWalker(t, 7, 1)
	w.along(0, 300)
	w.leg = append(w.leg, w.leg[len(w.leg)-1], w.leg[len(w.leg)-1])
	w.leg[10].HDOP = 20
	w.leg[20].LonLat = geodesy.LonLat{Lon: -149, Lat: 46.5} // 96 km
	w.now = w.now.Add(10 * time.Minute)
	w.along(900, 1000)
	legs, fs, err := Clean(Track{Legs: [][]Fix{w.leg}}, w.frame, CleanOptions{})
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]bool{}
	for _, f := range fs {
		got[f.Code] = true
	}
	for _, code := range []string{"fixes_repeated", "fixes_imprecise", "fixes_astray", "track_gaps"} {
		if !got[code] {
			t.Errorf("no %s among %v", code, got)
		}
	}
	if len(legs) != 2 || len(legs[0]) != len(w.leg)-4-len(legs[1]) {
		t.Errorf("%d legs", len(legs))
	}
}

func TestCleanRefuses(t *testing.T) {
	w := newWalker(t, 8, 2)
	for range 200 {
		w.at(creek(0), 2)
	}
	_, _, err := Clean(Track{Legs: [][]Fix{w.leg}}, w.frame, CleanOptions{})
	if codeOf(err) != "track_stands_still" {
		t.Errorf("a receiver on a table gives %v", err)
	}
	far := []Fix{{LonLat: geodesy.LonLat{Lon: 1, Lat: 40}}, {LonLat: geodesy.LonLat{Lon: 2, Lat: 40}}}
	_, _, err = Clean(Track{Route: true, Legs: [][]Fix{far}}, w.frame, CleanOptions{})
	if codeOf(err) != "track_too_wide" {
		t.Errorf("a route across a country gives %v", err)
	}
}

// TestCleanDeviceTracks: real recordings come through with most of their line,
// and the walk out and back in the Columbus logger's file (110 m and back to
// within 12 m in eleven minutes, by its coordinates) is cut to the way out.
func TestCleanDeviceTracks(t *testing.T) {
	root := os.Getenv("ROUTE_TERRAIN")
	if root == "" {
		t.Skip("ROUTE_TERRAIN is not set: no device files")
	}
	read := func(name string) (Track, *geodesy.Frame) {
		r, err := os.Open(filepath.Join(root, "gpx", name))
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		f, err := ReadGPX(name, r)
		if err != nil {
			t.Fatal(err)
		}
		tr, _, err := f.Choose("")
		if err != nil {
			t.Fatal(err)
		}
		frame, err := geodesy.NewFrame(tr.Legs[0][0].LonLat, 0)
		if err != nil {
			t.Fatal(err)
		}
		return tr, frame
	}
	tr, frame := read("gpsbabel/24173415.gpx")
	legs, fs, err := Clean(tr, frame, CleanOptions{SigmaM: 3})
	if err != nil {
		t.Fatal(err)
	}
	all := orb.LineString{}
	for _, l := range legs {
		all = append(all, l...)
	}
	codes := map[string]bool{}
	for _, f := range fs {
		codes[f.Code] = true
	}
	if d := distance(all[0], all[len(all)-1]); d < 90 || d > 130 || !codes["track_retraced"] {
		t.Errorf("out and back: ends %.0f m apart, %v", d, codes)
	}
	for _, name := range []string{"gpxpy/Mojstrovka.gpx", "gpxpy/korita-zbevnica.gpx", "gpsbabel/garmin-oregon-700-output.gpx", "go-gpx/mystic_basin_trail.gpx"} {
		tr, frame := read(name)
		legs, _, err := Clean(tr, frame, CleanOptions{})
		if err != nil {
			t.Fatal(name, err)
		}
		l := 0.0
		for _, leg := range legs {
			l += length(leg)
		}
		t.Logf("%s: %.0f m of %.0f m left in %d legs", name, l, tr.LengthM(), len(legs))
		if l > tr.LengthM()*1.02 {
			t.Errorf("%s: longer than before", name)
		}
	}
}

// TestIsotonicMean: the min–max formula of isotonic regression (Barlow,
// Bartholomew, Bremner and Brunk 1972, from memory): fit_i is the greatest
// over a ≤ i of the least over b ≥ i of the mean of y_a … y_b.
func TestIsotonicMean(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 0))
	for range 2000 {
		y := make([]float64, 1+rng.IntN(12))
		for i := range y {
			y[i] = float64(rng.IntN(6))
		}
		fit := isotonicMean(y)
		for i := range y {
			want := math.Inf(-1)
			for a := 0; a <= i; a++ {
				low := math.Inf(1)
				for b := i; b < len(y); b++ {
					sum := 0.0
					for _, v := range y[a : b+1] {
						sum += v
					}
					low = min(low, sum/float64(b-a+1))
				}
				want = max(want, low)
			}
			if math.Abs(fit[i]-want) > 1e-9 {
				t.Fatalf("seed 11: %v gives %v, want %v at %d", y, fit, want, i)
			}
		}
	}
}

// TestCompareHeights: feet read as metres, ellipsoidal heights (54 m is the
// geoid height in the collection's height.gpx pair), and nothing to say.
func TestCompareHeights(t *testing.T) {
	leg := make([]Fix, 40)
	for i := range leg {
		leg[i] = Fix{LonLat: geodesy.LonLat{Lon: float64(i) * 1e-4, Lat: 45}, EleM: 300 + float64(i) + 3*math.Sin(float64(i))}
	}
	for _, c := range []struct {
		name string
		z    func(i float64) float64
		code string
	}{
		{"feet", func(i float64) float64 { return (300 + i) / 0.3048 }, "terrain_in_feet"},
		{"ellipsoid", func(i float64) float64 { return 300 + i - 54 }, "heights_ellipsoidal"},
		{"the same", func(i float64) float64 { return 301 + i }, ""},
	} {
		got, fs := CompareHeights(Track{Legs: [][]Fix{leg}}, func(p geodesy.LonLat) (float64, bool) { return c.z(p.Lon * 1e4), true })
		code := ""
		for _, f := range fs {
			code = f.Code
		}
		if code != c.code || got.Fixes != 40 {
			t.Errorf("%s: %q with %+v", c.name, code, got)
		}
	}
}
