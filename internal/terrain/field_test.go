package terrain

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/paulmach/orb"
	"gonum.org/v1/gonum/graph/path"
	"gonum.org/v1/gonum/graph/simple"

	"route/internal/finding"
)

// seeded gives a random source and prints its seed.
func seeded(t *testing.T) *rand.Rand {
	t.Helper()
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	return rand.New(rand.NewPCG(seed, 0))
}

// gridOf makes a grid of cells of the given size with heights from a formula
// of east and north, the south-western corner at the origin.
func gridOf(cols, rows int, cellM float64, z func(e, n float64) float64) *Grid {
	g := &Grid{Bound: orb.Bound{Max: orb.Point{float64(cols) * cellM, float64(rows) * cellM}}, CellM: cellM, Cols: cols, Rows: rows}
	for row := range rows {
		for col := range cols {
			p := g.Centre(col, row)
			g.Z = append(g.Z, float32(z(p[0], p[1])))
		}
	}
	return g
}

// randomGrid is small, rough, partly in whole metres so that ties happen, with
// gaps and forbidden cells.
func randomGrid(rng *rand.Rand) (*Grid, LayingCost) {
	cols, rows := 1+rng.IntN(14), 1+rng.IntN(14)
	rough, whole := math.Pow(10, rng.Float64()*2-1), rng.IntN(2) == 0
	base := [...]float64{50, 0, -400}[rng.IntN(3)] // also below sea level
	g := gridOf(cols, rows, [...]float64{0.5, 1, 3}[rng.IntN(3)], func(e, n float64) float64 {
		z := base + rng.NormFloat64()*rough
		if whole {
			z = math.Round(z)
		}
		return z
	})
	c := LayingCost{PerMetre: 0.5 + rng.Float64()}
	switch rng.IntN(3) {
	case 0:
		c.SlopeClasses = []SlopeClass{{0.2, 1 + rng.Float64()}, {1, 3 * rng.Float64()}, {math.Inf(1), 2 + rng.Float64()}}
	case 1:
		c.SlopeClasses = []SlopeClass{{0.5, 1}, {2, 7}}
	}
	if rng.IntN(2) == 0 {
		c.PipePerMetre = 3 * rng.Float64()
	}
	if rng.IntN(2) == 0 {
		c.Ground = &GroundClasses{Factor: []float64{1, 0.3 + rng.Float64(), 1 + 5*rng.Float64()}}
		for range g.Z {
			c.Ground.Of = append(c.Ground.Of, uint8(rng.IntN(3)))
		}
	}
	for range rng.IntN(4) {
		line := CrossedLine{Fee: 30 * rng.Float64()}
		for range 2 + rng.IntN(4) {
			line.Line = append(line.Line, orb.Point{(1.2*rng.Float64() - 0.1) * float64(cols) * g.CellM, (1.2*rng.Float64() - 0.1) * float64(rows) * g.CellM})
		}
		c.Crossed = append(c.Crossed, line)
	}
	if holes := rng.IntN(4); holes > 0 {
		c.Forbidden = make([]bool, len(g.Z))
		for i := range g.Z {
			if rng.IntN(12) < holes {
				if rng.IntN(2) == 0 {
					g.Z[i] = float32(math.NaN())
				} else {
					c.Forbidden[i] = true
				}
			}
		}
	}
	return g, c
}

// open says whether a cell may be entered.
func open(g *Grid, c LayingCost, col, row int) bool {
	if col < 0 || row < 0 || col >= g.Cols || row >= g.Rows {
		return false
	}
	i := row*g.Cols + col
	return !math.IsNaN(float64(g.Z[i])) && (c.Forbidden == nil || !c.Forbidden[i])
}

// stepOf is the rule of FromTank for one step, written down anew with
// coordinates: the integer cost of a step of the king or the knight.
func stepOf(p *pricing, g *Grid, c LayingCost, col, row, dx, dy int) (uint32, bool) {
	to := func(x, y int) float32 { return g.Z[(row+y)*g.Cols+col+x] }
	on := func(x, y int) float32 { return float32(c.Ground.At(g, col+x, row+y)) }
	if !open(g, c, col+dx, row+dy) {
		return 0, false
	}
	var cost uint32
	var ok bool
	switch dx*dx + dy*dy {
	case 1:
		cost, ok = p.over(to(0, 0), to(dx, dy), (on(0, 0)+on(dx, dy))/2, straight)
	case 2:
		if !open(g, c, col+dx, row) && !open(g, c, col, row+dy) {
			return 0, false
		}
		cost, ok = p.over(to(0, 0), to(dx, dy), (on(0, 0)+on(dx, dy))/2, diagonal)
	case 5:
		ax, ay := dx/2, dy/2 // straight on the long way
		bx, by := dx-ax, dy-ay
		if !open(g, c, col+ax, row+ay) || !open(g, c, col+bx, row+by) {
			return 0, false
		}
		cost, ok = p.knightOver(to(0, 0), to(dx, dy), to(ax, ay), to(bx, by), on(0, 0), on(dx, dy), (on(ax, ay)+on(bx, by))/2)
	}
	if !ok {
		return 0, false
	}
	for _, line := range c.Crossed {
		fee := uint32(line.Fee*p.units + 0.5)
		cost += fee * uint32(meetings(line.Line, g.Centre(col, row), g.Centre(col+dx, row+dy)))
	}
	return cost, true
}

// meetings counts the places where a straight line meets a line, by solving
// for them (Cramer's rule).
func meetings(line orb.LineString, a, b orb.Point) int {
	n := 0
	for i := 1; i < len(line); i++ {
		p, q := line[i-1], line[i]
		ux, uy, vx, vy := b[0]-a[0], b[1]-a[1], q[0]-p[0], q[1]-p[1]
		d := ux*vy - uy*vx
		s := ((p[0]-a[0])*vy - (p[1]-a[1])*vx) / d
		t := ((p[0]-a[0])*uy - (p[1]-a[1])*ux) / d
		if s > 0 && s < 1 && t > 0 && t < 1 {
			n++
		}
	}
	return n
}

// The costs equal those of Dijkstra's algorithm in gonum on a graph of the
// same steps, to the last unit, on small random grids with gaps, forbidden
// cells, ties, steep ground, classes of ground and lines with a fee.
func TestFieldEqualsDijkstraOfGonum(t *testing.T) {
	rng := seeded(t)
	for range 600 {
		g, c := randomGrid(rng)
		p, err := newPricing(c, g.CellM)
		if err != nil {
			t.Fatal(err)
		}
		w := simple.NewWeightedUndirectedGraph(0, math.Inf(1))
		for i := range g.Z {
			w.AddNode(simple.Node(i))
		}
		for i := range g.Z {
			col, row := i%g.Cols, i/g.Cols
			for dy := -2; dy <= 2; dy++ {
				for dx := -2; dx <= 2; dx++ {
					if !open(g, c, col, row) {
						continue
					}
					if cost, ok := stepOf(p, g, c, col, row, dx, dy); ok {
						w.SetWeightedEdge(w.NewWeightedEdge(simple.Node(i), simple.Node(i+dy*g.Cols+dx), float64(cost)))
					}
				}
			}
		}
		tank := rng.IntN(len(g.Z))
		f, err := FromTank(context.Background(), g, g.Centre(tank%g.Cols, tank/g.Cols), c)
		if !open(g, c, tank%g.Cols, tank/g.Cols) {
			var fault *finding.Fault
			if !errors.As(err, &fault) || fault.Code != "tank_no_ground" {
				t.Fatalf("a tank on closed ground gave %v", err)
			}
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		tree := path.DijkstraFrom(simple.Node(tank), w)
		for i := range g.Z {
			col, row := i%g.Cols, i/g.Cols
			want := tree.WeightTo(int64(i))
			u, _ := f.index(g.Centre(col, row))
			got := math.Inf(1)
			if f.settled(u) {
				got = float64(f.nodes[u].cost - tankCost)
			}
			if got != want {
				t.Fatalf("cell %d,%d of %d×%d: cost %g, gonum %g", col, row, g.Cols, g.Rows, got, want)
			}
		}
	}
}

// One step costs what the definition says, in float64: length along the slope
// times the factor of its class, a knight's move in two halves over the mean
// height of the cells that it jumps over.
func TestStepCostsAreTheDefinition(t *testing.T) {
	rng := seeded(t)
	classes := []SlopeClass{{0.15, 1.5}, {0.3, 2}, {math.Inf(1), 4}}
	const cell = 2.0
	p, err := newPricing(LayingCost{SlopeClasses: classes}, cell)
	if err != nil {
		t.Fatal(err)
	}
	cost := func(run, dz float64) float64 {
		for _, c := range classes {
			if math.Abs(dz)/run <= c.MaxGrade {
				return math.Hypot(run, dz) * c.Factor
			}
		}
		return math.NaN()
	}
	check := func(kind string, got uint32, ok bool, want float64) {
		t.Helper()
		units := want / 1.5 / cell * unitCost // a straight flat step costs unitCost
		if !ok || math.Abs(float64(got)-units) > 0.6+1e-6*units {
			t.Errorf("%s step: %d units, %v; by definition %g", kind, got, ok, units)
		}
	}
	for range 2000 {
		a, b, m, n := rng.Float64()*3, rng.Float64()*3, rng.Float64()*3, rng.Float64()*3
		edge := false // of a class: the two sides differ in rounding
		near := func(run, dz float64) {
			for _, c := range classes {
				edge = edge || math.Abs(math.Abs(dz)/run-c.MaxGrade) < 1e-3
			}
		}
		mid, half := (m+n)/2, cell*math.Sqrt(5)/2
		near(cell, b-a)
		near(cell*math.Sqrt2, b-a)
		near(half, mid-a)
		near(half, b-mid)
		if edge {
			continue
		}
		got, ok := p.straightStep(float32(a), float32(b))
		check("straight", got, ok, cost(cell, b-a))
		got, ok = p.diagonalStep(float32(a), float32(b))
		check("diagonal", got, ok, cost(cell*math.Sqrt2, b-a))
		got, ok = p.knightStep(float32(a), float32(b), float32(m), float32(n))
		check("knight", got, ok, cost(half, mid-a)+cost(half, b-mid))
	}
}

// widestGap is the greatest angle between neighbouring steps of 16 directions
// on a tilted plane, in the plane itself.
func widestGap(tilt [2]float64) float64 {
	around := [][2]float64{{1, 0}, {2, 1}, {1, 1}, {1, 2}, {0, 1}, {-1, 2}, {-1, 1}, {-2, 1}, {-1, 0}}
	widest := 0.0
	for i := 1; i < len(around); i++ {
		a, b := around[i-1], around[i]
		za, zb := tilt[0]*a[0]+tilt[1]*a[1], tilt[0]*b[0]+tilt[1]*b[1]
		dot := a[0]*b[0] + a[1]*b[1] + za*zb
		widest = math.Max(widest, math.Acos(dot/math.Hypot(math.Hypot(a[0], a[1]), za)/math.Hypot(math.Hypot(b[0], b[1]), zb)))
	}
	return widest
}

// On a plane the ways of 16 neighbours are up to 1/cos(θ/2) longer than the
// straight line, where θ is the widest angle between neighbouring steps
// (elementary geometry): 26.57° and 2.75 % on level ground, a little more
// where the plane is tilted.
func TestElongationOnAPlane(t *testing.T) {
	for _, tilt := range [][2]float64{{0, 0}, {0.1, 0}, {0.05, -0.2}} {
		limit := 1/math.Cos(widestGap(tilt)/2) + 0.0005 // and the rounding of the costs
		if tilt == [2]float64{} && math.Abs(limit-1.0275-0.0005) > 1e-4 {
			t.Fatalf("on level ground the theory gives %g", limit)
		}
		g := gridOf(201, 201, 1, func(e, n float64) float64 { return 10 + tilt[0]*e + tilt[1]*n })
		tank := g.Centre(100, 100)
		f, err := FromTank(context.Background(), g, tank, LayingCost{})
		if err != nil {
			t.Fatal(err)
		}
		worst := 1.0
		for row := range g.Rows {
			for col := range g.Cols {
				p := g.Centre(col, row)
				run := math.Hypot(p[0]-tank[0], p[1]-tank[1])
				if run < 20 {
					continue
				}
				dz := tilt[0]*(p[0]-tank[0]) + tilt[1]*(p[1]-tank[1])
				straight := math.Hypot(run, dz)
				cost, ok := f.Cost(p)
				length, _, _ := f.Reach(p)
				if !ok || length < straight*(1-1e-6) || length > straight*limit || cost < straight*0.999 || cost > straight*limit {
					t.Fatalf("tilt %v: from %v to the tank %g m, straight %g m, cost %g", tilt, p, length, straight, cost)
				}
				worst = math.Max(worst, length/straight)
			}
		}
		t.Logf("tilt %v: worst elongation %.2f %%", tilt, (worst-1)*100)
		if worst < 1.02 {
			t.Errorf("tilt %v: the worst elongation of %g is below the theory of steps", tilt, worst)
		}
	}
}

// A wall is passed at its gate only, whatever its direction, also when it is
// no thicker than a line of cells that meet at their corners.
func TestWallsAreNotTunnelled(t *testing.T) {
	const n = 41
	for _, closedBy := range []string{"forbidden", "void"} {
		for name, wall := range map[string]func(col, row int) bool{
			"upright":       func(col, row int) bool { return col == n/2 },
			"level":         func(col, row int) bool { return row == n/2 },
			"diagonal":      func(col, row int) bool { return col == row },
			"anti-diagonal": func(col, row int) bool { return col+row == n-1 },
			"like a knight": func(col, row int) bool { return row == (col+n/2)/2 },
		} {
			for _, gate := range []bool{false, true} {
				g := gridOf(n, n, 1, func(e, n float64) float64 { return 5 })
				c := LayingCost{}
				for i := range g.Z {
					col, row := i%n, i/n
					if !wall(col, row) || gate && min(col, row) < 3 {
						continue
					}
					if closedBy == "void" {
						g.Z[i] = float32(math.NaN())
						continue
					}
					if c.Forbidden == nil {
						c.Forbidden = make([]bool, len(g.Z))
					}
					c.Forbidden[i] = true
				}
				// Far from both walls and on either side of all of them.
				tank, from := g.Centre(30, 2), g.Centre(10, n-3)
				f, err := FromTank(context.Background(), g, tank, c)
				if err != nil {
					t.Fatal(err)
				}
				_, _, reached := f.Reach(from)
				if reached != gate {
					t.Errorf("%s %s wall: reached %v with a gate %v", closedBy, name, reached, gate)
				}
				if !reached {
					continue
				}
				p, err := f.Route(from)
				if err != nil {
					t.Fatal(err)
				}
				for i := 1; i < len(p.Line); i++ {
					a, b := p.Line[i-1], p.Line[i]
					for k := 0; k <= 400; k++ {
						s := float64(k) / 400
						col, row, _ := g.Cell(orb.Point{a[0] + s*(b[0]-a[0]), a[1] + s*(b[1]-a[1])})
						x, y := a[0]+s*(b[0]-a[0]), a[1]+s*(b[1]-a[1])
						onCorner := math.Abs(x-math.Round(x)) < 1e-6 && math.Abs(y-math.Round(y)) < 1e-6
						if !open(g, c, col, row) && !onCorner {
							t.Fatalf("%s %s wall: the line from %v to %v crosses cell %d,%d", closedBy, name, a, b, col, row)
						}
					}
				}
			}
		}
	}
}

// A way costs the same in both directions.
func TestWaysAreSymmetric(t *testing.T) {
	rng := seeded(t)
	for range 60 {
		g, c := randomGrid(rng)
		a, b := g.Centre(rng.IntN(g.Cols), rng.IntN(g.Rows)), g.Centre(rng.IntN(g.Cols), rng.IntN(g.Rows))
		there, err := FromTank(context.Background(), g, a, c)
		if err != nil {
			continue
		}
		back, err := FromTank(context.Background(), g, b, c)
		if err != nil {
			continue
		}
		costA, okA := there.Cost(b)
		costB, okB := back.Cost(a)
		if costA != costB || okA != okB {
			t.Fatalf("%v to %v costs %g (%v), back %g (%v)", a, b, costA, okA, costB, okB)
		}
	}
}

// Reach gives the length and the crest of a way that exists and costs what the
// field says: on random ground with a factor of 1 the length is the cost.
func TestReachIsTheWayThatTheCostBelongsTo(t *testing.T) {
	rng := seeded(t)
	for range 100 {
		g, c := randomGrid(rng)
		c = LayingCost{PerMetre: 1, Forbidden: c.Forbidden}
		tank := g.Centre(rng.IntN(g.Cols), rng.IntN(g.Rows))
		f, err := FromTank(context.Background(), g, tank, c)
		if err != nil {
			continue
		}
		crests, err := CrestMin(context.Background(), g, tank, c.Forbidden)
		if err != nil {
			t.Fatal(err)
		}
		for i := range g.Z {
			p := g.Centre(i%g.Cols, i/g.Cols)
			length, crest, ok := f.Reach(p)
			cost, okCost := f.Cost(p)
			lowest, okCrest := crests.At(p)
			if ok != okCost || ok != okCrest {
				t.Fatalf("reach %v, cost %v, crest %v", ok, okCost, okCrest)
			}
			if !ok {
				continue
			}
			if math.Abs(length-cost) > 0.001*cost+1e-9 {
				t.Fatalf("length %g, cost %g", length, cost)
			}
			tankZ := f.endHeight(f.place(tank))
			if crest < math.Max(float64(g.Z[i]), tankZ) || crest < lowest {
				t.Fatalf("crest %g below the ends %g and %g or the lowest possible %g", crest, g.Z[i], tankZ, lowest)
			}
		}
	}
}

// A ridge with a pass: where going over costs more than going round, the way
// goes round, and where the detour is long enough it goes over.
func TestTheWayGoesRoundARidgeWhenThatIsCheaper(t *testing.T) {
	// A ridge along the east axis, 100 m long in the north-south sense is not
	// needed: 40 m high, 10 m wide, open west of e = 100.
	g := gridOf(300, 201, 1, func(e, n float64) float64 {
		if e < 100 {
			return 0
		}
		return 40 * math.Max(0, 1-math.Abs(n-100.5)/10)
	})
	steep := LayingCost{SlopeClasses: []SlopeClass{{0.5, 1}, {math.Inf(1), 3}}}
	f, err := FromTank(context.Background(), g, g.Centre(140, 40), steep)
	if err != nil {
		t.Fatal(err)
	}
	// Over: 20 m on the map at a grade of 4 with factor 3, 2·√(10²+40²)·3 =
	// 247, and 100 m of flat ground: 347. Round the end at e = 100: twice the
	// hypotenuse of 40.5 and about 60, 145.
	p, err := f.Route(g.Centre(140, 160))
	if err != nil {
		t.Fatal(err)
	}
	round := math.Hypot(40.5, 70.5) + math.Hypot(40.5, 50.5) // by the corner of the ridge's foot
	if p.CrestM > 1 || p.Cost > 1.02*round || p.Cost < math.Hypot(40.5, 60)*2-5 {
		t.Errorf("the way costs %g over a crest of %g m; round the ridge it is about %g", p.Cost, p.CrestM, round)
	}
	// From e = 290 the way round is at least 2·190 = 380 m; straight over at
	// one place and along: the tank is moved there too.
	f, err = FromTank(context.Background(), g, g.Centre(290, 40), steep)
	if err != nil {
		t.Fatal(err)
	}
	p, err = f.Route(g.Centre(290, 160))
	if err != nil {
		t.Fatal(err)
	}
	if over := 2*math.Hypot(10, 40)*3 + 100; p.CrestM < 38 || math.Abs(p.Cost-over) > 0.02*over {
		t.Errorf("the way costs %g over a crest of %g m; straight over it is %g", p.Cost, p.CrestM, over)
	}
	if len(p.HighAt) != 1 || len(p.LowAt) != 0 {
		t.Errorf("over a ridge there are high points %v and low points %v, want one and none", p.HighAt, p.LowAt)
	}
}

func TestTheSearchEndsWithItsTargets(t *testing.T) {
	rng := seeded(t)
	g := hills(300)
	tank := g.Centre(150, 150)
	full, err := FromTank(context.Background(), g, tank, benchCost())
	if err != nil {
		t.Fatal(err)
	}
	for range 20 {
		var targets []orb.Point
		for range 1 + rng.IntN(4) {
			targets = append(targets, g.Centre(100+rng.IntN(100), 100+rng.IntN(100)))
		}
		f, err := FromTankTo(context.Background(), g, tank, benchCost(), FieldOptions{Targets: append(targets, orb.Point{-1e6, 0})})
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range targets {
			if c, ok := f.Cost(p); !ok || c != first(full.Cost(p)) {
				t.Fatalf("the target %v costs %g, %v; in the whole field %g", p, c, ok, first(full.Cost(p)))
			}
			if l, crest, ok := f.Reach(p); !ok || l != first3(full.Reach(p)) || crest < 0 {
				t.Fatalf("the target %v is reached over %g m, in the whole field %g", p, l, first3(full.Reach(p)))
			}
		}
		if _, ok := f.Cost(g.Centre(0, 0)); ok {
			t.Fatal("a far corner was settled although all targets lie in the middle")
		}
		limit := first(full.Cost(targets[0]))
		near, err := FromTankTo(context.Background(), g, tank, benchCost(), FieldOptions{MaxCost: limit * 1.001})
		if err != nil {
			t.Fatal(err)
		}
		for i := 0; i < len(g.Z); i += 37 {
			p := g.Centre(i%g.Cols, i/g.Cols)
			want, _ := full.Cost(p)
			got, ok := near.Cost(p)
			if ok && got != want || !ok && want < limit || ok && want > limit*1.001+2 {
				t.Fatalf("with a limit of %g, %v costs %g, %v; in the whole field %g", limit, p, got, ok, want)
			}
		}
	}
}

func first(v float64, _ bool) float64 { return v }

func first3(v, _ float64, _ bool) float64 { return v }

// The same search gives the same costs and lines every time.
func TestTheFieldIsTheSameEveryTime(t *testing.T) {
	g := hills(200)
	tank, from := g.Centre(20, 30), g.Centre(180, 160)
	var last *Field
	var line orb.LineString
	for range 3 {
		f, err := FromTank(context.Background(), g, tank, benchCost())
		if err != nil {
			t.Fatal(err)
		}
		p, err := f.Route(from)
		if err != nil {
			t.Fatal(err)
		}
		if last != nil {
			for i := range f.nodes {
				if f.nodes[i].cost != last.nodes[i].cost {
					t.Fatalf("cell %d costs %d and then %d", i, last.nodes[i].cost, f.nodes[i].cost)
				}
			}
			if !line.Equal(p.Line) {
				t.Fatalf("the lines differ: %v and %v", line, p.Line)
			}
		}
		last, line = f, p.Line
	}
}

func TestTheSearchStopsWithTheContext(t *testing.T) {
	g := hills(1500)
	ctx, cancel := context.WithCancel(context.Background())
	stopped := make(chan time.Duration, 1)
	go func() {
		time.Sleep(20 * time.Millisecond)
		cancel()
		at := time.Now()
		<-ctx.Done()
		stopped <- time.Since(at)
	}()
	at := time.Now()
	_, err := FromTank(ctx, g, g.Centre(1, 1), benchCost())
	if !errors.Is(err, context.Canceled) {
		t.Fatalf("the search ended with %v after %v", err, time.Since(at))
	}
	<-stopped
	done, cancelled := context.WithCancel(context.Background())
	cancelled()
	if _, err := CrestMin(done, g, g.Centre(1, 1), nil); !errors.Is(err, context.Canceled) {
		t.Errorf("the search for crests ended with %v", err)
	}
	if _, err := SampleContext(done, plane{}, orb.Bound{Max: orb.Point{10, 10}}, 1); !errors.Is(err, context.Canceled) {
		t.Errorf("sampling ended with %v", err)
	}
}

// A cost that does not fit is refused, not wrapped round; up to there it is
// right: a strip of ground that rises and falls by 1 m a cell, at a factor of
// 100,000 against level ground, costs the same for each cell.
func TestCostsThatDoNotFitAreRefused(t *testing.T) {
	c := LayingCost{SlopeClasses: []SlopeClass{{0.01, 1}, {math.Inf(1), 1e5}}}
	for _, n := range []int{20, 50, 58, 59, 60} {
		g := gridOf(n, 1, 1, func(e, _ float64) float64 { return float64(int(e) % 2) })
		f, err := FromTank(context.Background(), g, g.Centre(0, 0), c)
		each := 1e5 * math.Sqrt2
		// 514 units a metre at factor 1.
		if fits := float64(n-1)*each*514 < math.MaxUint32; !fits {
			if !errors.Is(err, errRange) {
				t.Errorf("%d cells: %v, want a refusal", n, err)
			}
			continue
		}
		if err != nil {
			if float64(n+2)*each*514 < math.MaxUint32 { // room for one step of the dearest kind is kept
				t.Errorf("%d cells: %v", n, err)
			}
			continue
		}
		if got, ok := f.Cost(g.Centre(n-1, 0)); !ok || math.Abs(got-float64(n-1)*each) > 1e-4*got {
			t.Errorf("%d cells cost %g, want %g", n, got, float64(n-1)*each)
		}
	}
}

func TestFieldRefusesWhatItCannotSearch(t *testing.T) {
	g := gridOf(5, 5, 1, func(e, n float64) float64 { return e })
	for _, tc := range []struct {
		name string
		tank orb.Point
		cost LayingCost
		code string
	}{
		{"tank outside", orb.Point{9, 9}, LayingCost{}, "tank_outside"},
		{"tank nowhere", orb.Point{math.NaN(), 1}, LayingCost{}, "tank_outside"},
		{"factor 0", orb.Point{1, 1}, LayingCost{SlopeClasses: []SlopeClass{{1, 0}}}, ""},
		{"classes fall", orb.Point{1, 1}, LayingCost{SlopeClasses: []SlopeClass{{1, 1}, {0.5, 1}}}, ""},
		{"negative price", orb.Point{1, 1}, LayingCost{PerMetre: -1}, ""},
		{"absurd factors", orb.Point{1, 1}, LayingCost{SlopeClasses: []SlopeClass{{1, 1e-6}, {2, 1e6}}}, ""},
	} {
		f, err := FromTank(context.Background(), g, tc.tank, tc.cost)
		if err == nil {
			t.Errorf("%s gave %v", tc.name, f)
			continue
		}
		var fault *finding.Fault
		if is := errors.As(err, &fault); is != (tc.code != "") || is && (fault.Code != tc.code || fault.Hint == "") {
			t.Errorf("%s gave %v", tc.name, err)
		}
	}
	f, err := FromTank(context.Background(), g, orb.Point{1, 1}, LayingCost{})
	if err != nil {
		t.Fatal(err)
	}
	var fault *finding.Fault
	if p, err := f.Route(orb.Point{9, 9}); !errors.As(err, &fault) || fault.Code != "no_delivery_route" {
		t.Errorf("a route from outside gave %v, %v", p, err)
	}
	if _, _, ok := f.Reach(orb.Point{9, 9}); ok {
		t.Error("a place outside is reached")
	}
}

// plane is a tilted plane as a ground, with a round gap.
type plane struct{ dzdE, dzdN float64 }

func (p plane) At(at orb.Point) (float64, bool) {
	return 100 + p.dzdE*at[0] + p.dzdN*at[1], math.Hypot(at[0]-3, at[1]-3) > 1.2
}

func (plane) DiffSigma(_, _ orb.Point) float64 { return 0 }

func TestSampleReadsTheMiddlesOfCells(t *testing.T) {
	ground := plane{0.3, -0.7}
	g := Sample(ground, orb.Bound{Min: orb.Point{1, 2}, Max: orb.Point{8.1, 7}}, 0.5)
	if g.Cols != 15 || g.Rows != 10 || g.Bound.Min != (orb.Point{1, 2}) || g.Bound.Max != (orb.Point{8.5, 7}) {
		t.Fatalf("the grid is %d×%d over %v", g.Cols, g.Rows, g.Bound)
	}
	gaps := 0
	for row := range g.Rows {
		for col := range g.Cols {
			// The middle of the north-western cell lies half a cell inside.
			p := orb.Point{1.25 + 0.5*float64(col), 6.75 - 0.5*float64(row)}
			want, ok := ground.At(p)
			got := float64(g.Z[row*g.Cols+col])
			if ok != !math.IsNaN(got) || ok && math.Abs(got-want) > 1e-5 {
				t.Errorf("cell %d,%d is %g high, the ground %g (%v)", col, row, got, want, ok)
			}
			if !ok {
				gaps++
			}
			if c, r, in := g.Cell(p); c != col || r != row || !in {
				t.Errorf("%v lies in cell %d,%d (%v), not %d,%d", p, c, r, in, col, row)
			}
		}
	}
	if gaps == 0 {
		t.Error("the gap was not read")
	}
}

// Many goroutines may ask one field: they get what one alone gets. To be run
// with the race detector.
func TestAFieldMayBeSharedByGoroutines(t *testing.T) {
	g := hills(200)
	shared, err := FromTank(context.Background(), g, g.Centre(150, 150), benchCost())
	if err != nil {
		t.Fatal(err)
	}
	alone, err := FromTank(context.Background(), g, g.Centre(150, 150), benchCost())
	if err != nil {
		t.Fatal(err)
	}
	var group sync.WaitGroup
	for k := range 4 {
		group.Go(func() {
			for i := range 60 {
				p := orb.Point{float64((37*i + 11*k) % 200), float64(3 * i)}
				length, crest, ok := shared.Reach(p)
				route, err := shared.Route(p)
				if !ok || err != nil || length <= 0 || crest < 0 || route.LengthM > length+2 {
					t.Errorf("from %v: %g m over %g m (%v), route %g m, %v", p, length, crest, ok, route.LengthM, err)
				}
			}
		})
	}
	group.Wait()
	for i := range 60 {
		p := orb.Point{float64(37 * i % 200), float64(3 * i)}
		l1, c1, _ := shared.Reach(p)
		l2, c2, _ := alone.Reach(p)
		if math.Abs(l1-l2) > 1e-9 || c1 != c2 {
			t.Fatalf("from %v the shared field gives %g m over %g m, alone %g m over %g m", p, l1, c1, l2, c2)
		}
	}
}
