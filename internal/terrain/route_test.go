package terrain

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/paulmach/orb"
)

// On a plane every route is the straight line: within 0.6 % of its length,
// along the slope, with no vertex beyond what the ends need.
func TestStringPullingTakesOutTheStepsOnAPlane(t *testing.T) {
	rng := seeded(t)
	for _, tilt := range [][2]float64{{0, 0}, {0.1, 0}, {0.05, -0.2}} {
		z := func(e, n float64) float64 { return 10 + tilt[0]*e + tilt[1]*n }
		g := gridOf(700, 500, 1, z)
		tank := orb.Point{330.3, 211.8}
		f, err := FromTank(context.Background(), g, tank, LayingCost{PerMetre: 2})
		if err != nil {
			t.Fatal(err)
		}
		for range 25 {
			from := orb.Point{1 + 698*rng.Float64(), 1 + 498*rng.Float64()}
			p, err := f.Route(from)
			if err != nil {
				t.Fatal(err)
			}
			dz := z(from[0], from[1]) - z(tank[0], tank[1])
			straight := math.Hypot(math.Hypot(from[0]-tank[0], from[1]-tank[1]), dz)
			if p.LengthM < straight*(1-1e-5) || p.LengthM > straight*1.006 || math.Abs(p.Cost-2*p.LengthM) > 1e-3*p.Cost {
				t.Errorf("tilt %v: from %v the route is %g m and costs %g, straight %g m", tilt, from, p.LengthM, p.Cost, straight)
			}
			if len(p.Line) > 5 || p.Line[0] != from && planarDistance(p.Line[0], from) > 1e-9 || planarDistance(p.Line[len(p.Line)-1], tank) > 1e-9 {
				t.Errorf("tilt %v: from %v the line is %v", tilt, from, p.Line)
			}
			if len(p.HighAt)+len(p.LowAt) > 0 {
				t.Errorf("tilt %v: a plane has high points %v and low points %v", tilt, p.HighAt, p.LowAt)
			}
			for i, at := range p.Line {
				if math.Abs(p.ZM[i]-z(at[0], at[1])) > 1e-3 {
					t.Errorf("tilt %v: vertex %v is %g m high, the plane %g", tilt, at, p.ZM[i], z(at[0], at[1]))
				}
			}
			if want := math.Max(z(from[0], from[1]), z(tank[0], tank[1])); math.Abs(p.CrestM-want) > 1e-3 {
				t.Errorf("tilt %v: the crest is %g m, want %g", tilt, p.CrestM, want)
			}
		}
	}
}

func planarDistance(a, b orb.Point) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }

// integrated prices a line by brute force: the ground is read from a fine
// sampling of the same straight-between-middles surface, without the code
// under test for crossings. hairM widens the slope classes.
func integrated(f *Field, c LayingCost, line orb.LineString, hairM float64) float64 {
	total := 0.0
	for i := 1; i < len(line); i++ {
		a, b := f.place(line[i-1]), f.place(line[i])
		// All t where x or y is whole, by plain enumeration.
		cuts := []float64{0}
		for k := math.Floor(math.Min(a.x, b.x)); k <= math.Max(a.x, b.x)+1; k++ {
			if s := (k - a.x) / (b.x - a.x); s > 1e-9 && s < 1-1e-9 {
				cuts = append(cuts, s)
			}
		}
		for k := math.Floor(math.Min(a.y, b.y)); k <= math.Max(a.y, b.y)+1; k++ {
			if s := (k - a.y) / (b.y - a.y); s > 1e-9 && s < 1-1e-9 {
				cuts = append(cuts, s)
			}
		}
		cuts = append(cuts, 1)
		for j := range cuts { // insertion sort
			for k := j; k > 0 && cuts[k] < cuts[k-1]; k-- {
				cuts[k], cuts[k-1] = cuts[k-1], cuts[k]
			}
		}
		run := planarDistance(line[i-1], line[i])
		height := func(s float64) float64 {
			x, y := a.x+s*(b.x-a.x), a.y+s*(b.y-a.y)
			if r := math.Round(x); math.Abs(x-r) < 1e-7 {
				x = r
			}
			if r := math.Round(y); math.Abs(y-r) < 1e-7 {
				y = r
			}
			return f.endHeight(place{x, y})
		}
		for j := 1; j < len(cuts); j++ {
			if cuts[j]-cuts[j-1] < 1e-12 {
				continue
			}
			d, dz := (cuts[j]-cuts[j-1])*run, math.Abs(height(cuts[j])-height(cuts[j-1]))
			factor := math.NaN()
			for _, s := range c.SlopeClasses {
				if dz <= s.MaxGrade*d*(1+hairM)+hairM {
					factor = s.Factor
					break
				}
			}
			on := 0.0 // mean factor of the ground at both ends
			for _, s := range [2]float64{cuts[j-1], cuts[j]} {
				on += groundOf(f.grid, c.Ground, a.x+s*(b.x-a.x)-border, a.y+s*(b.y-a.y)-border) / 2
			}
			total += (c.PipePerMetre + c.PerMetre*factor*on) * math.Hypot(d, dz)
		}
		for _, over := range c.Crossed {
			total += over.Fee * float64(meetings(over.Line, line[i-1], line[i]))
		}
	}
	return total
}

// groundOf is the factor of the ground at a place in cells: the mean of the
// four cells around, weighted by the areas opposite (bilinear interpolation).
func groundOf(g *Grid, c *GroundClasses, x, y float64) float64 {
	if c == nil {
		return 1
	}
	sum := 0.0
	for row := range g.Rows {
		for col := range g.Cols {
			if w := (1 - math.Abs(x-float64(col))) * (1 - math.Abs(y-float64(row))); w > 0 && math.Abs(x-float64(col)) < 1 && math.Abs(y-float64(row)) < 1 {
				sum += w * c.At(g, col, row)
			}
		}
	}
	return sum
}

// Pulling never raises the cost over that of the steps, on rough random
// ground with gaps and forbidden cells; the stated cost is that of the line,
// integrated independently; and the line enters no closed cell.
func TestPullingNeverRaisesTheCost(t *testing.T) {
	rng := seeded(t)
	var saved, steps float64
	for range 150 {
		g, c := roughGrid(rng)
		tank := g.Centre(rng.IntN(g.Cols), rng.IntN(g.Rows))
		f, err := FromTank(context.Background(), g, tank, c)
		if err != nil {
			continue
		}
		for range 6 {
			from := g.Centre(rng.IntN(g.Cols), rng.IntN(g.Rows))
			cost, ok := f.Cost(from)
			if !ok {
				continue
			}
			p, err := f.Route(from)
			if err != nil {
				t.Fatal(err)
			}
			start, _ := f.index(from)
			raw := 0.0
			for _, v := range f.way(start, from) {
				raw += v.cost
			}
			if math.Abs(raw-cost) > 0.001*cost+1e-9 {
				t.Fatalf("the steps cost %g, the field says %g", raw, cost)
			}
			if p.Cost > raw*(1+1e-9) {
				t.Fatalf("pulled, the way costs %g instead of %g", p.Cost, raw)
			}
			_, crest, _ := f.Reach(from)
			if p.CrestM > crest+1e-4 {
				t.Fatalf("pulled, the way goes over %g m instead of %g m", p.CrestM, crest)
			}
			way := f.way(start, from)
			bends := f.pull(way, f.crest(way))
			line := make(orb.LineString, len(bends))
			for i, v := range bends {
				line[i] = f.point(v.place)
			}
			// A stretch within a hair of the edge of a class may count to either.
			low, high := integrated(f, c, line, 1.1e-4), integrated(f, c, line, 0)
			if p.Cost < low*(1-1e-6) || p.Cost > high*(1+1e-6) {
				t.Fatalf("the line costs %g, integrated %g to %g", p.Cost, low, high)
			}
			checkLaid(t, c, p, line)
			for i := 1; i < len(p.Line); i++ {
				for k := 0; k <= 200; k++ {
					s := (float64(k) + 0.5) / 201
					x := p.Line[i-1][0] + s*(p.Line[i][0]-p.Line[i-1][0])
					y := p.Line[i-1][1] + s*(p.Line[i][1]-p.Line[i-1][1])
					col, row, _ := g.Cell(orb.Point{x, y})
					u, v := x/g.CellM, y/g.CellM
					corner := math.Abs(u-math.Round(u)) < 1e-4 && math.Abs(v-math.Round(v)) < 1e-4
					if !open(g, c, col, row) && !corner {
						t.Fatalf("the line %v enters the closed cell %d,%d", p.Line, col, row)
					}
				}
			}
			saved += raw - p.Cost
			steps += raw
		}
	}
	t.Logf("pulling saved %.2f %% of the cost", 100*saved/steps)
	if saved <= 0 {
		t.Error("pulling saved nothing at all")
	}
}

// checkLaid holds the lengths by class and the crossings of a way against its
// length, its cost and the line.
func checkLaid(t *testing.T, c LayingCost, p Path, line orb.LineString) {
	t.Helper()
	length, cost := 0.0, 0.0
	for _, l := range p.Laid {
		on := 1.0
		if c.Ground != nil {
			on = c.Ground.Factor[l.Ground]
		}
		length += l.LengthM
		cost += l.LengthM * (c.PipePerMetre + c.PerMetre*c.SlopeClasses[l.Slope].Factor*on)
	}
	counts, want := make([]int, len(c.Crossed)), make([]int, len(c.Crossed))
	for _, over := range p.Crossings {
		counts[over.Line]++
		cost += c.Crossed[over.Line].Fee
		if over.AlongM < 0 || over.AlongM > p.LengthM+1e-6 {
			t.Fatalf("a crossing at %g m of %g", over.AlongM, p.LengthM)
		}
	}
	for k, over := range c.Crossed {
		for i := 1; i < len(line); i++ {
			want[k] += meetings(over.Line, line[i-1], line[i])
		}
	}
	if math.Abs(length-p.LengthM) > 1e-6*length || math.Abs(cost-p.Cost) > 1e-6*cost || !slices.Equal(counts, want) {
		t.Fatalf("by classes %g m and a cost of %g with crossings %v; the way has %g m, costs %g and crosses %v", length, cost, counts, p.LengthM, p.Cost, want)
	}
}

// roughGrid is larger than randomGrid and hilly, with patches that are closed.
func roughGrid(rng *rand.Rand) (*Grid, LayingCost) {
	cols, rows := 20+rng.IntN(60), 20+rng.IntN(60)
	a, b, rough := rng.Float64()*6, 3+rng.Float64()*20, rng.Float64()*0.2
	g := gridOf(cols, rows, 1+rng.Float64(), func(e, n float64) float64 {
		return a*math.Sin(e/b)*math.Cos(n/b/1.3) + rough*rng.NormFloat64()
	})
	c := LayingCost{PerMetre: 1 + rng.Float64(), SlopeClasses: []SlopeClass{{0.1, 1}, {0.4, 1.7}, {math.Inf(1), 4}}}
	if rng.IntN(2) == 0 {
		c.PipePerMetre = rng.Float64()
		c.Ground = OrdinaryGround(g)
		c.Ground.Factor = append(c.Ground.Factor, 0.7, 5)
		for range 3 {
			x, y, size := rng.Float64()*float64(cols), rng.Float64()*float64(rows), 3+rng.Float64()*15
			for i := range g.Z {
				if math.Hypot(float64(i%cols)-x, float64(i/cols)-y) < size {
					c.Ground.Of[i] = uint8(1 + int(size)%2)
				}
			}
		}
		for range 3 {
			over := CrossedLine{Fee: 40 * rng.Float64()}
			for range 2 + rng.IntN(5) {
				over.Line = append(over.Line, orb.Point{rng.Float64() * g.Bound.Max[0], rng.Float64() * g.Bound.Max[1]})
			}
			c.Crossed = append(c.Crossed, over)
		}
	}
	if rng.IntN(2) == 0 {
		c.Forbidden = make([]bool, len(g.Z))
		for range rng.IntN(8) {
			x, y, w, h := rng.IntN(cols), rng.IntN(rows), 1+rng.IntN(12), 1+rng.IntN(12)
			for i := range g.Z {
				if i%cols >= x && i%cols < x+w && i/cols >= y && i/cols < y+h {
					c.Forbidden[i] = true
				}
			}
		}
	}
	return g, c
}

// Round the corner of a field that may not be entered the route is within 1 %
// of the two straight lines that touch the corner.
func TestTheRouteIsTautRoundACorner(t *testing.T) {
	const n = 200
	g := gridOf(n, n, 1, func(e, n float64) float64 { return 0 })
	c := LayingCost{Forbidden: make([]bool, n*n)}
	for i := range c.Forbidden {
		c.Forbidden[i] = i%n < 120 && i/n >= 90 && i/n < 110
	}
	for _, ends := range [][4]int{{10, 20, 30, 180}, {60, 40, 20, 190}, {100, 85, 100, 115}, {5, 88, 115, 180}} {
		tank := g.Centre(ends[0], ends[1])
		from := g.Centre(ends[2], ends[3])
		f, err := FromTank(context.Background(), g, tank, c)
		if err != nil {
			t.Fatal(err)
		}
		p, err := f.Route(from)
		if err != nil {
			t.Fatal(err)
		}
		// The nearest middles that may be touched stand off the corners.
		north, south := g.Centre(120, 89), g.Centre(120, 110)
		taut := planarDistance(tank, north) + planarDistance(north, south) + planarDistance(south, from)
		if p.LengthM > taut*1.01 || p.LengthM < taut-2.5 {
			t.Errorf("from %v to %v the route is %g m, taut %g m", from, tank, p.LengthM, taut)
		}
	}
}

// High and low points of a sine are its summits and valleys; noise below the
// threshold makes none.
func TestPocketsOfASine(t *testing.T) {
	rng := seeded(t)
	g := gridOf(400, 21, 1, func(e, _ float64) float64 {
		return 0.05*e + 3*math.Sin(e*2*math.Pi/100) + 0.1*(rng.Float64()-0.5)
	})
	f, err := FromTank(context.Background(), g, g.Centre(395, 10), LayingCost{})
	if err != nil {
		t.Fatal(err)
	}
	p, err := f.Route(g.Centre(5, 10))
	if err != nil {
		t.Fatal(err)
	}
	// dz/de = 0.05 + 3·2π/100·cos = 0 where cos = −0.2653: 26.04 rad of 100,
	// that is e = 29.3 (summit) and 70.7 (valley), every 100 m.
	phase := math.Acos(-0.05/(3*2*math.Pi/100)) * 100 / (2 * math.Pi)
	check := func(kind string, at []int, want []float64) {
		t.Helper()
		if len(at) != len(want) {
			t.Fatalf("%s points at %v, want %v", kind, at, want)
		}
		for i, v := range at {
			if e := p.Line[v][0]; math.Abs(e-want[i]) > 6 {
				t.Errorf("%s point at e = %g, want %g", kind, e, want[i])
			}
		}
	}
	check("high", p.HighAt, []float64{phase, 100 + phase, 200 + phase, 300 + phase})
	check("low", p.LowAt, []float64{100 - phase, 200 - phase, 300 - phase, 400 - phase})
}

func TestPocketsNeedARiseAndAFall(t *testing.T) {
	for _, tc := range []struct {
		z         []float64
		high, low []int
	}{
		{[]float64{0, 1, 2, 3}, nil, nil},
		{[]float64{3, 2, 1, 0}, nil, nil},
		{[]float64{0, 1, 0.5, 3}, []int{1}, []int{2}},
		{[]float64{0, 1, 0.8, 3}, nil, nil},                           // 0.2 m is noise
		{[]float64{0, 1, 0.9, 0.95, 0.75, 3}, nil, nil},               // also in two steps
		{[]float64{0, 1, 0.9, 0.95, 0.69, 3}, []int{1}, []int{4}},     // in two steps more than 0.3 m
		{[]float64{2, 1, 2}, nil, []int{1}},                           // a valley between two ends
		{[]float64{0, 5, 4}, []int{1}, nil},                           // a summit before the tank
		{[]float64{0, 5, 4.9}, nil, nil},                              // hardly one
		{[]float64{0, 0.2, 0, 0.2, 0, 0.2}, nil, nil},                 // nothing but noise
		{[]float64{0, 4, 1, 6, 2, 3, 3}, []int{1, 3}, []int{2, 4}},    //
		{[]float64{1, 1, 0, 0, 1, 1, 0, 0}, []int{4}, []int{2}},       // flat turns count once
		{[]float64{0, 2, 1.9, 2.1, 1.9, 2, 0}, []int{3}, []int(nil)},  // the highest of a rough summit
		{[]float64{2, 0, 0.1, -0.1, 0.1, 0, 2}, []int(nil), []int{3}}, // and the lowest of a valley
	} {
		spots := make([]spot, len(tc.z))
		for i, z := range tc.z {
			spots[i] = spot{s: float64(i), z: z}
		}
		high, low := pockets(spots)
		if !equal(high, tc.high) || !equal(low, tc.low) {
			t.Errorf("%v: high %v and low %v, want %v and %v", tc.z, high, low, tc.high, tc.low)
		}
	}
}

func equal(a, b []int) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// Straight lines between the vertices of a route stay within PocketM of the
// ground, and the length along the slope is that of the ground, here of a
// sine by quadrature.
func TestRouteFollowsTheGround(t *testing.T) {
	z := func(e float64) float64 { return 4 * math.Sin(e/15) }
	g := gridOf(300, 5, 0.5, func(e, _ float64) float64 { return z(e) })
	tank, from := g.Centre(290, 2), g.Centre(3, 2)
	f, err := FromTank(context.Background(), g, tank, LayingCost{})
	if err != nil {
		t.Fatal(err)
	}
	p, err := f.Route(from)
	if err != nil {
		t.Fatal(err)
	}
	length := 0.0
	const d = 1e-3
	for e := from[0]; e < tank[0]; e += d {
		length += math.Hypot(d, z(e+d)-z(e))
	}
	if math.Abs(p.LengthM-length) > 0.001*length {
		t.Errorf("the route is %g m long, the sine %g m", p.LengthM, length)
	}
	for i := 1; i < len(p.Line); i++ {
		a, b := p.Line[i-1][0], p.Line[i][0]
		for k := 0; k <= 50; k++ {
			s := float64(k) / 50
			if d := math.Abs(p.ZM[i-1] + s*(p.ZM[i]-p.ZM[i-1]) - z(a+s*(b-a))); d > PocketM+0.02 {
				t.Fatalf("between e = %g and %g the line is %g m off the ground", a, b, d)
			}
		}
	}
}

func TestRouteWithinOneCell(t *testing.T) {
	g := gridOf(3, 3, 10, func(e, n float64) float64 { return 0 })
	f, err := FromTank(context.Background(), g, orb.Point{11, 12}, LayingCost{})
	if err != nil {
		t.Fatal(err)
	}
	for _, from := range []orb.Point{{14, 16}, {11, 12}} {
		p, err := f.Route(from)
		if want := planarDistance(from, orb.Point{11, 12}); err != nil || len(p.Line) != 2 || math.Abs(p.LengthM-want) > 1e-9 {
			t.Errorf("from %v: %+v, %v; want %g m", from, p, err, want)
		}
	}
}

// A straight line does not slip between two closed cells that meet at their
// corners, alone or in the middle of a longer diagonal; past one of them it
// goes.
func TestChordsDoNotSlipBetweenCorners(t *testing.T) {
	for _, closed := range [][][2]int{{{3, 2}, {2, 3}}, {{3, 2}}, {{2, 3}}} {
		g := gridOf(7, 7, 1, func(e, n float64) float64 { return 0 })
		c := LayingCost{Forbidden: make([]bool, 49)}
		for _, at := range closed {
			c.Forbidden[at[1]*7+at[0]] = true
		}
		f, err := FromTank(context.Background(), g, g.Centre(6, 6), c)
		if err != nil {
			t.Fatal(err)
		}
		for _, ends := range [][2]int{{2, 3}, {0, 3}, {2, 6}, {0, 6}} {
			a, b := vertex{place: f.place(g.Centre(ends[0], ends[0]))}, vertex{place: f.place(g.Centre(ends[1], ends[1]))}
			want := math.Sqrt2 * float64(ends[1]-ends[0])
			if len(closed) == 2 {
				want = math.Inf(1)
			}
			if got := f.chordCost(a, b, noBounds); math.Abs(got-want) > 1e-9 {
				t.Errorf("closed %v: from %d to %d along the diagonal costs %g, want %g", closed, ends[0], ends[1], got, want)
			}
		}
	}
}

// Between the vertices that are kept, no profile is further than PocketM from
// the straight line, whatever it looks like; and few are kept of a line that
// is nearly straight.
func TestKeepShapeStaysWithinItsTolerance(t *testing.T) {
	rng := seeded(t)
	for range 300 {
		spots := make([]spot, 2+rng.IntN(80))
		z, s := 0.0, 0.0
		for i := range spots {
			spots[i] = spot{s: s, z: z}
			z += rng.NormFloat64() * 0.3
			s += rng.Float64() * 2
		}
		spots[0].vertex, spots[len(spots)-1].vertex = true, true
		keepShape(spots)
		a := 0
		for b := 1; b < len(spots); b++ {
			if !spots[b].vertex {
				continue
			}
			for _, at := range spots[a : b+1] {
				line := spots[a].z
				if spots[b].s > spots[a].s {
					line += (at.s - spots[a].s) / (spots[b].s - spots[a].s) * (spots[b].z - spots[a].z)
				}
				if math.Abs(at.z-line) > PocketM+1e-9 {
					t.Fatalf("a spot lies %g m off the line", at.z-line)
				}
			}
			a = b
		}
	}
	even := make([]spot, 200)
	for i := range even {
		even[i] = spot{s: float64(i), z: 0.1*float64(i) + 0.2*rng.Float64()}
	}
	even[0].vertex, even[199].vertex = true, true
	keepShape(even)
	for i, s := range even[1:199] {
		if s.vertex {
			t.Errorf("spot %d of a nearly straight line is kept", i+1)
		}
	}
}

func TestBendsCountsTurns(t *testing.T) {
	p := Path{Line: orb.LineString{{0, 0}, {10, 0}, {20, 1}, {20, 11}, {10, 11}, {10, 11.5}}}
	if got := p.Bends(20); got != 3 {
		t.Errorf("%d bends, by hand 3: 84°, 90° and 90°", got)
	}
	if got := p.Bends(5); got != 4 {
		t.Errorf("%d bends above 5°, by hand 4", got)
	}
}

func BenchmarkRoute(b *testing.B) {
	g := hills(1000)
	f, err := FromTank(context.Background(), g, g.Centre(950, 940), benchCost())
	if err != nil {
		b.Fatal(err)
	}
	b.ResetTimer()
	for b.Loop() {
		if _, err := f.Route(g.Centre(30, 60)); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkReachOfACreek(b *testing.B) {
	g := hills(1000)
	for b.Loop() {
		b.StopTimer()
		f, err := FromTank(context.Background(), g, g.Centre(950, 940), benchCost())
		if err != nil {
			b.Fatal(err)
		}
		b.StartTimer()
		for i := range 5000 {
			f.Reach(orb.Point{float64(i) / 5, 100 + 50*math.Sin(float64(i)/300)})
		}
	}
}
