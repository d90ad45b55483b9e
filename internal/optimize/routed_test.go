package optimize

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/paulmach/orb"

	"route/internal/terrain"
)

// overGround is a problem of up to 8 stations whose creek winds between them
// over a grid of 6 by 6 cells, about as high as the creek.
type overGround struct {
	Problem
	grid  *terrain.Grid
	creek terrain.SupplyCreek
	rules terrain.SupplyRules
}

func randomOverGround(t *testing.T, r *rand.Rand) *overGround {
	p := randomProblem(r)
	n := min(5+r.IntN(4), p.Creek.Len())
	c := p.Creek
	c.Stations, c.Points, c.ZM, c.SlopeM, p.DeliveryAt = c.Stations[:n], c.Points[:n], c.ZM[:n], c.SlopeM[:n], p.DeliveryAt[:n]
	p.ContingencyPart = 0
	wind := 0.0 // the creek is longer than the straight line between stations
	for k := 1; k < n; k++ {
		if r.IntN(2) == 0 {
			wind += 8 * r.Float64()
		}
		c.SlopeM[k] += wind
	}
	bound := orb.MultiPoint(c.Points).Bound().Pad(1)
	const side = 6
	cell := math.Max(bound.Max[0]-bound.Min[0], bound.Max[1]-bound.Min[1]) / side
	g := &terrain.Grid{CellM: cell, Cols: side, Rows: side}
	g.Bound = orb.Bound{Min: bound.Min, Max: orb.Point{bound.Min[0] + side*cell, bound.Min[1] + side*cell}}
	for row := range side {
		for col := range side {
			at, nearest := g.Centre(col, row), 0
			for k := range n {
				if apart(c.Points[k], at) < apart(c.Points[nearest], at) {
					nearest = k
				}
			}
			g.Z = append(g.Z, float32(c.ZM[nearest]+0.8*(r.Float64()-0.4)))
		}
	}
	// As few cells long that every way can be walked.
	p.Limits.SupplyLengthMaxM = math.Min(p.Limits.SupplyLengthMaxM, cell*(2+1.4*r.Float64()))
	p.Limits.DriveLengthMinM, p.Limits.DriveHeadMinM = 1, 0.3*p.Limits.DriveHeadMinM
	o := &overGround{Problem: p, grid: g}
	o.rules = terrain.SupplyRules{DigM: 0.2 + 0.6*r.Float64(), TrestleM: 0.5 * r.Float64(), SlopeMin: p.Limits.SupplySlopeMin, LengthMaxM: p.Limits.SupplyLengthMaxM, LeastSavingM: -1}
	o.creek = terrain.SupplyCreek{At: c.Points, AlongM: c.SlopeM}
	for _, z := range c.ZM {
		o.creek.BedM = append(o.creek.BedM, z-p.Limits.BedDepthM)
	}
	ground, err := terrain.NewSupplyGround(t.Context(), g, o.creek, o.rules)
	if err != nil {
		t.Fatal(err)
	}
	o.Supply = NewSupply(ground)
	return o
}

func apart(a, b orb.Point) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }

// walk tries every simple way of a pipe from a station below a grade line, and
// keeps the shortest to each station. It shares no code with terrain: nodes 0
// to n−1 are the stations, the rest the cells.
func (o *overGround) walk(from int, slope, head float64) []float64 {
	n, g, rules := len(o.creek.At), o.grid, &o.rules
	shortest := make([]float64, n)
	for k := range shortest {
		shortest[k] = math.Inf(1)
	}
	used := make([]bool, n+len(g.Z))
	cellAt := func(col, row int) int {
		if col < 0 || row < 0 || col >= g.Cols || row >= g.Rows {
			return -1
		}
		return row*g.Cols + col
	}
	var at func(node int, length, level float64)
	try := func(node int, z, low, high, step, length, level float64) (float64, float64, bool) {
		length += step
		level = min(level-rules.SlopeMin*step, high, head-slope*length)
		return length, level, level >= low && length <= rules.LengthMaxM
	}
	toCell := func(cell int, step, length, level float64) {
		if z := float64(g.Z[cell]); !used[n+cell] {
			if l, y, ok := try(n+cell, z, z-rules.DigM, z+rules.TrestleM, step, length, level); ok {
				at(n+cell, l, y)
			}
		}
	}
	toStation := func(k int, step, length, level float64) {
		if bed := o.creek.BedM[k]; k > from && !used[k] {
			if l, y, ok := try(k, bed, bed, bed, step, length, level); ok {
				at(k, l, y)
			}
		}
	}
	at = func(node int, length, level float64) {
		used[node] = true
		defer func() { used[node] = false }()
		if node < n {
			shortest[node] = min(shortest[node], length)
			if node+1 < n && o.creek.BedM[node]-o.creek.BedM[node+1] >= rules.SlopeMin*(o.creek.AlongM[node+1]-o.creek.AlongM[node]) {
				// Along the creek the pipe falls as the bed does.
				toStation(node+1, o.creek.AlongM[node+1]-o.creek.AlongM[node], length, math.Inf(1))
			}
		}
		for cell := range g.Z {
			col, row := cell%g.Cols, cell/g.Cols
			z := float64(g.Z[cell])
			link := func(k int) float64 {
				c, r, _ := g.Cell(o.creek.At[k])
				if max(c-col, col-c, r-row, row-r) > 1 {
					return -1
				}
				return math.Hypot(apart(o.creek.At[k], g.Centre(col, row)), z-o.creek.BedM[k])
			}
			if node < n {
				if step := link(node); step >= 0 {
					toCell(cell, step, length, level)
				}
				continue
			}
			here := node - n
			if here == cell {
				for k := range n {
					if step := link(k); step >= 0 {
						toStation(k, step, length, level)
					}
				}
				continue
			}
			dc, dr := col-here%g.Cols, row-here/g.Cols
			switch d := dc*dc + dr*dr; d {
			case 1, 2:
				toCell(cell, math.Hypot(math.Sqrt(float64(d))*g.CellM, z-float64(g.Z[here])), length, level)
			case 5:
				// A knight's move crosses between the cell beside and the one
				// diagonally on, at their mean height.
				beside := cellAt(here%g.Cols+dc/2, here/g.Cols+dr/2)
				on := cellAt(col-dc/2, row-dr/2)
				mid := (float64(g.Z[beside]) + float64(g.Z[on])) / 2
				half := g.CellM * math.Sqrt(5) / 2
				if l, y, ok := try(-1, mid, mid-rules.DigM, mid+rules.TrestleM, math.Hypot(half, mid-float64(g.Z[here])), length, level); ok {
					toCell(cell, math.Hypot(half, z-mid), l, y)
				}
			}
		}
	}
	at(from, 0, min(o.creek.BedM[from], head))
	shortest[from] = math.Inf(1)
	return shortest
}

// routedWays tries every box and standpipe below an intake with the shortest of
// all ways over the ground.
func (o *overGround) routedWays(st *site, f *flow, option *supplyOption, i int) (ways []bruteWay) {
	l, z := &st.Limits, st.Creek.ZM
	slope, loss, outside, ok := pipeValues(st, f, option)
	if !ok {
		return nil
	}
	rise := func(level float64, s int) float64 { return level - z[s] }
	highest := l.StandpipeMaxM - l.StandpipeFreeboardM
	standing := func(box, from int, source, before float64, shortest []float64) {
		for s := from + 1; s < st.n; s++ {
			level, length := source-slope*shortest[s], before+shortest[s]
			if length <= l.SupplyLengthMaxM && rise(level, s) >= l.StandpipeMinM {
				// The gate valve takes what a standpipe cannot hold.
				ways = append(ways, bruteWay{box, s, min(level, z[s]+highest), length, true})
			}
		}
	}
	source := z[i] - loss
	shortest := o.walk(i, slope, source-outside-l.GradeLineCoverM)
	if !option.box {
		standing(-1, i, source, 0, shortest)
		return ways
	}
	st.boxRange().places(i, st.n-1, func(int) bool { return true },
		func(b int) (float64, bool) { return st.Creek.SlopeM[b] - st.Creek.SlopeM[i], true },
		func(b int, _ float64) {
			before := shortest[b]
			if math.IsInf(before, 1) {
				return
			}
			water := min(source-slope*before-l.BoxDropM, z[b]+l.BoxRiseM)
			if water < z[b] {
				return
			}
			if rise(water, b) <= highest {
				ways = append(ways, bruteWay{b, b, water, before, false})
			}
			standing(b, b, water, before, o.walk(b, slope, water-outside-l.GradeLineCoverM))
		})
	return ways
}

// The joint search over intake, settling box, standpipe and pump with supply
// pipes over the ground agrees with trying everything, every way of every pipe
// included, on grids of 6 by 6 cells and up to 8 stations; and so does the same
// search again where some intakes are not allowed, which finds the routes of the
// first one known.
func TestRoutedJointSearchEqualsBruteForce(t *testing.T) {
	const seed = 36
	instances := 400
	if testing.Short() {
		instances = 30
	}
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	feasible, cheap, shortcuts, masked := 0, 0, 0, 0
	for k := range instances {
		o := randomOverGround(t, r)
		along := o.Problem
		along.Supply = nil
		want := o.searchEqualsBruteForce(t, k)
		if !math.IsInf(want.head, -1) {
			feasible++
			o.IntakeAt = randomMask(r, o.Creek.Len(), 3)
			if !math.IsInf(o.searchEqualsBruteForce(t, k).head, -1) {
				masked++
			}
		}
		if !math.IsInf(want.cheap, -1) {
			cheap++
		}
		creek, err := newSite(t.Context(), &along, &Settings{Workers: 2})
		if err != nil {
			t.Fatal(err)
		}
		if other := bruteRun(creek); other.head < want.head-1e-9 || other.cheap < want.cheap {
			shortcuts++
		}
	}
	t.Logf("%d instances: %d feasible, %d of them without some intakes, %d meet the demand, in %d leaving the creek is better", instances, feasible, masked, cheap, shortcuts)
	if !testing.Short() && (feasible < instances/8 || cheap < instances/10 || shortcuts < instances/20 || masked < instances/40) {
		t.Errorf("too few instances say something")
	}
}

// searchEqualsBruteForce holds the three searches of an instance against trying
// everything.
func (o *overGround) searchEqualsBruteForce(t *testing.T, instance int) (want best) {
	t.Helper()
	st, err := newSite(t.Context(), &o.Problem, &Settings{Workers: 2})
	if err != nil {
		t.Fatal(err)
	}
	want = bruteRunOver(st, func(st *site, f *flow, option *supplyOption, i int) []bruteWay {
		return append(o.routedWays(st, f, option, i), creekWays(st, f, option, i)...)
	})
	got := nothing()
	for _, goal := range []Objective{MostHead, MostWater, LeastCost} {
		f := st.seek(t.Context(), goal, bucket{to: st.n, anyClass: true}, nil)
		if f == nil {
			continue
		}
		switch goal {
		case MostHead:
			got.head = f.head
		case MostWater:
			got.water = f.op.DeliveredTotal
		default:
			got.cheap, got.cheapWater = -float64(f.cost), f.op.DeliveredTotal
		}
	}
	if !near(got.head, want.head) || !near(got.water, want.water) || got.cheap != want.cheap || !near(got.cheapWater, want.cheapWater) {
		t.Errorf("instance %d, %s: search %v, brute force %v", instance, describe(&o.Problem), got, want)
	}
	return want
}

// No supply pipe over the ground holds more fall than the bound that the search
// for the least cost gives its length.
func TestFallOverTheGroundIsBounded(t *testing.T) {
	const seed = 37
	instances := few(200)
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 2))
	ways, beyond := 0, 0
	for k := range instances {
		o := randomOverGround(t, r)
		st, err := newSite(t.Context(), &o.Problem, &Settings{Workers: 2})
		if err != nil {
			t.Fatal(err)
		}
		seeker := &seeker{site: st, bucket: bucket{to: st.n, anyClass: true}}
		b := &bucketPrices{seeker: seeker, falls: map[float64]float64{}, first: 0}
		for _, f := range st.flows {
			for s := range st.n {
				for _, routes := range f.routes {
					for _, w := range routes.standing(nil, s) {
						ways++
						z := st.water.z
						if fall := z[w.intake] - z[s]; fall > b.fall(w.length) {
							t.Fatalf("instance %d: %v m of pipe from %d to %d hold %v m, the bound says %v m", k, w.length, w.intake, s, fall, b.fall(w.length))
						}
						if w.length < st.water.s[s]-st.water.s[w.intake] {
							beyond++
						}
					}
				}
			}
		}
	}
	t.Logf("%d ways, %d of them shorter than the creek", ways, beyond)
	if !testing.Short() && beyond < 1000 {
		t.Error("too few ways say something")
	}
}
