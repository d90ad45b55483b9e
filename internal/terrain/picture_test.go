package terrain

import (
	"context"
	"math"
	"testing"

	"github.com/paulmach/orb"
)

// The lowest possible crest equals the one found another way: by halving the
// range of heights until the cells below a threshold just connect a cell with
// the tank, with a plain flood.
func TestCrestMinEqualsThresholdAndFlood(t *testing.T) {
	rng := seeded(t)
	for range 200 {
		g, c := randomGrid(rng)
		tank := rng.IntN(len(g.Z))
		crests, err := CrestMin(context.Background(), g, g.Centre(tank%g.Cols, tank/g.Cols), c.Forbidden)
		if !open(g, c, tank%g.Cols, tank/g.Cols) {
			if err == nil {
				t.Fatal("a tank on closed ground is accepted")
			}
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		connected := func(from int, below float32) bool {
			seen := make([]bool, len(g.Z))
			low := func(col, row int) bool { return open(g, c, col, row) && g.Z[row*g.Cols+col] <= below }
			if !low(from%g.Cols, from/g.Cols) {
				return false
			}
			seen[from] = true
			for list := []int{from}; len(list) > 0; {
				u := list[0]
				list = list[1:]
				if u == tank {
					return true
				}
				x, y := u%g.Cols, u/g.Cols
				for v := range g.Z {
					dx, dy := v%g.Cols-x, v/g.Cols-y
					if dx*dx > 1 || dy*dy > 1 || seen[v] || !low(v%g.Cols, v/g.Cols) {
						continue
					}
					if dx != 0 && dy != 0 && !open(g, c, x+dx, y) && !open(g, c, x, y+dy) {
						continue
					}
					seen[v] = true
					list = append(list, v)
				}
			}
			return false
		}
		for range 5 {
			from := rng.IntN(len(g.Z))
			got, ok := crests.At(g.Centre(from%g.Cols, from/g.Cols))
			if !connected(from, math.MaxFloat32) {
				if ok {
					t.Fatalf("a crest of %g where there is no way", got)
				}
				continue
			}
			// The answer is the height of some cell: halve over all of them.
			low, high := -math.MaxFloat32, math.MaxFloat32
			for _, z := range g.Z {
				if h := float64(z); !math.IsNaN(h) && h > low && h < high {
					if connected(from, z) {
						high = h
					} else {
						low = h
					}
				}
			}
			if !ok || got != high {
				t.Fatalf("lowest crest %g (%v), by threshold and flood %g", got, ok, high)
			}
		}
	}
}

// A plane is shaded with the cosine between its normal and the light, which is
// elementary; 0 stands for gaps alone.
func TestHillshadeOfAPlaneIsTheCosineOfTheLight(t *testing.T) {
	for _, tc := range []struct{ dzdE, dzdN float64 }{{0, 0}, {0.3, 0}, {0, 0.5}, {-1, 1}, {1, -1}, {0.2, -2}} {
		g := gridOf(7, 6, 2, func(e, n float64) float64 { return tc.dzdE*e + tc.dzdN*n })
		g.Z[0] = float32(math.NaN())
		shade := Hillshade(g)
		// The light stands in the north-west, 45° high: (−½, ½, √½).
		length := math.Sqrt(1 + tc.dzdE*tc.dzdE + tc.dzdN*tc.dzdN)
		cos := (0.5*tc.dzdE - 0.5*tc.dzdN + math.Sqrt2/2) / length
		want := 1 + 254*math.Max(0, cos)
		for row := 1; row < g.Rows-1; row++ {
			for col := 1; col < g.Cols-1; col++ {
				if row == 1 && col == 1 {
					continue // beside the gap
				}
				if got := float64(shade[row*g.Cols+col]); math.Abs(got-want) > 0.51 {
					t.Fatalf("a plane of %g east and %g north is shaded %g, want %g", tc.dzdE, tc.dzdN, got, want)
				}
			}
		}
		for i, s := range shade {
			if (s == 0) != (i == 0) {
				t.Errorf("cell %d is shaded %d", i, s)
			}
		}
	}
}

// The contours of a cone are circles round its top, closed, one a level.
func TestContoursOfAConeAreCircles(t *testing.T) {
	const top, slope = 31.0, 0.5
	g := gridOf(141, 141, 1, func(e, n float64) float64 { return top - slope*math.Hypot(e-70.2, n-70.9) })
	circles := 0
	for _, c := range Contours(g, 5) {
		radius := (top - c.LevelM) / slope
		if radius > 69 {
			continue // cut by the edge
		}
		circles++
		if !c.Closed || c.Line[0] != c.Line[len(c.Line)-1] {
			t.Errorf("the contour at %g m is open", c.LevelM)
		}
		length := 0.0
		for i, p := range c.Line {
			// Straight lines between middles lie a little off the cone:
			// by 1/(8r) at most, and the tip is off by half a cell.
			if d := math.Abs(math.Hypot(p[0]-70.2, p[1]-70.9) - radius); d > 0.01+1/(4*radius) {
				t.Fatalf("the contour at %g m is %g m off its circle at %v", c.LevelM, d, p)
			}
			if i > 0 {
				length += planarDistance(c.Line[i-1], p)
			}
		}
		if want := 2 * math.Pi * radius; math.Abs(length-want) > 0.02*want {
			t.Errorf("the contour at %g m is %g m long, its circle %g m", c.LevelM, length, want)
		}
	}
	if circles != 7 { // 0, 5, … 30 m
		t.Errorf("%d circles, want 7", circles)
	}
}

// On a plane there is one straight open line a level, from edge to edge, and
// lines end at a gap.
func TestContoursOfAPlaneAreStraight(t *testing.T) {
	g := gridOf(31, 21, 1, func(e, n float64) float64 { return 0.25*e + 0.001 })
	lines := Contours(g, 1)
	if len(lines) != 7 {
		t.Fatalf("%d lines, want 7: 1 to 7 m", len(lines))
	}
	for i, c := range lines {
		if c.LevelM != float64(i+1) || c.Closed || len(c.Line) != 21 {
			t.Errorf("line %d is at %g m with %d points, closed %v", i, c.LevelM, len(c.Line), c.Closed)
		}
		for _, p := range c.Line {
			if math.Abs(p[0]-(c.LevelM-0.001)/0.25) > 1e-4 {
				t.Errorf("the line at %g m passes %v", c.LevelM, p)
			}
		}
	}
	g.Z[10*31+16] = float32(math.NaN())
	cut := 0
	for _, c := range Contours(g, 1) {
		if c.LevelM == 4 {
			cut++
		}
	}
	if cut != 2 {
		t.Errorf("a gap cuts the line at 4 m into %d pieces, want 2", cut)
	}
}

// In a saddle the mean of the four heights says which two corners hang
// together: at a mean above the level the high ones do, and the lines run
// round the low corners; below it the other way about.
func TestContoursOfASaddle(t *testing.T) {
	for _, tc := range []struct {
		z       [4]float32 // north-west, north-east, south-west, south-east
		cornerX float64    // the east of a corner that a line runs round
		cornerY float64    // and its north
	}{
		{[4]float32{9, 0, 0, 9}, 1.5, 1.5}, // mean 4.5 above 4: round the low north-east
		{[4]float32{5, 0, 0, 5}, 0.5, 1.5}, // mean 2.5 below 4: round the high north-west
		{[4]float32{0, 9, 9, 0}, 0.5, 1.5}, // mean above: round the low north-west
		{[4]float32{0, 5, 5, 0}, 1.5, 1.5}, // mean below: round the high north-east
	} {
		g := &Grid{Bound: orb.Bound{Max: orb.Point{2, 2}}, CellM: 1, Cols: 2, Rows: 2, Z: tc.z[:]}
		lines := Contours(g, 4)
		round := false
		n := 0
		for _, c := range lines {
			if c.LevelM != 4 {
				continue
			}
			n++
			if len(c.Line) != 2 {
				t.Fatalf("%v: a line of %d points", tc.z, len(c.Line))
			}
			// Both ends of a line lie on the two sides that meet at its corner.
			on := func(p orb.Point) bool { return p[0] == tc.cornerX || p[1] == tc.cornerY }
			round = round || on(c.Line[0]) && on(c.Line[1])
		}
		if n != 2 || !round {
			t.Errorf("%v: the lines at 4 m are %v, want one round the corner at %g, %g", tc.z, lines, tc.cornerX, tc.cornerY)
		}
	}
}

// Whatever the ground: every point of a contour lies on its level, a line is
// closed or ends at an edge or a gap, no two points of a line are far apart,
// and the lines of a level part high from low ground: along every row and
// column of middles their number of crossings is that of the changes of side.
func TestContoursPartHighFromLow(t *testing.T) {
	rng := seeded(t)
	for range 200 {
		g, _ := randomGrid(rng)
		crossed := map[float64]int{}
		for _, c := range Contours(g, 3) {
			for i, p := range c.Line {
				if i > 0 && planarDistance(c.Line[i-1], p) > g.CellM*math.Sqrt2+1e-9 {
					t.Fatalf("a jump from %v to %v", c.Line[i-1], p)
				}
			}
			n := len(c.Line)
			if c.Closed {
				n--
			}
			crossed[c.LevelM] += n
		}
		want := map[float64]int{}
		side := func(i, j, squares int) {
			a, b := float64(g.Z[i]), float64(g.Z[j])
			for k := math.Floor(math.Min(a, b)/3) + 1; k*3 <= math.Max(a, b); k++ {
				if squares > 0 {
					want[k*3]++
				}
			}
		}
		whole := func(col, row int) int { // 1 for a square without gaps
			if col < 0 || row < 0 || col+1 >= g.Cols || row+1 >= g.Rows {
				return 0
			}
			i := row*g.Cols + col
			sum := g.Z[i] + g.Z[i+1] + g.Z[i+g.Cols] + g.Z[i+g.Cols+1]
			if math.IsNaN(float64(sum)) {
				return 0
			}
			return 1
		}
		for row := range g.Rows {
			for col := range g.Cols {
				i := row*g.Cols + col
				if col+1 < g.Cols {
					side(i, i+1, whole(col, row)+whole(col, row-1))
				}
				if row+1 < g.Rows {
					side(i, i+g.Cols, whole(col, row)+whole(col-1, row))
				}
			}
		}
		for level, n := range want {
			if crossed[level] != n {
				t.Fatalf("level %g: %d crossings, by counting %d", level, crossed[level], n)
			}
		}
		for level, n := range crossed {
			if want[level] != n {
				t.Fatalf("level %g: %d crossings, by counting %d", level, n, want[level])
			}
		}
	}
}

func BenchmarkHillshade1M(b *testing.B) {
	g := hills(1000)
	for b.Loop() {
		Hillshade(g)
	}
}

func BenchmarkContours1M(b *testing.B) {
	g := hills(1000)
	for b.Loop() {
		Contours(g, 2)
	}
}

func BenchmarkCrestMin1M(b *testing.B) {
	g := hills(1000)
	for b.Loop() {
		if _, err := CrestMin(context.Background(), g, g.Centre(500, 300), nil); err != nil {
			b.Fatal(err)
		}
	}
}
