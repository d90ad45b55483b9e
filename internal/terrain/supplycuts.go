package terrain

import (
	"context"
	"math"

	"github.com/paulmach/orb"
)

// supplyCut is a straight line from a station to another further down over the
// ground between them, along which a pipe that leaves the bed and comes back to
// it can fall within the limits of digging and trestles.
type supplyCut struct {
	to     int32
	length float64
	need   []needPoint // what it asks of the grade line
	most   float64     // highest level that it asks for
}

// needPoint is a place on a cut where the grade line may be no lower than a
// level.
type needPoint struct{ length, lowest float64 }

// findCuts looks at the straight lines from every station to every other that
// are shorter than the creek.
func (g *SupplyGround) findCuts(ctx context.Context) error {
	g.cuts = make([][]supplyCut, g.n)
	return inParallel(ctx, g.n, func(from int) {
		for to := from + 1; to < g.n && !g.beyond(from, to); to++ {
			g.addCut(from, to)
		}
	})
}

// beyond says whether a station is further along the creek than a line reaches.
func (g *SupplyGround) beyond(from, to int) bool {
	return g.creek.AlongM[to]-g.creek.AlongM[from] > ReachAlong*g.rules.LengthMaxM
}

// addCut looks at the straight line between two stations.
func (g *SupplyGround) addCut(from, to int) {
	if g.closed(from) || g.closed(to) {
		return
	}
	run := distance(g.creek.At[from], g.creek.At[to])
	length := math.Hypot(run, g.creek.BedM[from]-g.creek.BedM[to])
	if length > g.rules.LengthMaxM || length+math.Max(g.rules.LeastSavingM, 0) > g.along[to]-g.along[from] {
		return
	}
	if need, ok := g.cut(from, to, run, length); ok {
		most := math.Inf(-1)
		for _, p := range need {
			most = math.Max(most, p.lowest)
		}
		g.cuts[from] = append(g.cuts[from], supplyCut{int32(to), length, need, most})
	}
}

// ReachAlongM bounds how far along the creek a pipe can lead.
func (g *SupplyGround) ReachAlongM() float64 {
	if g.rules.CutsOnly {
		return ReachAlong * g.rules.LengthMaxM
	}
	return math.Inf(1)
}

// ReachAlong is how many times longer than the longest pipe the creek may be
// where it is left by cuts only.
const ReachAlong = 4

// cutStep is how finely a cut is held against the ground, in cells.
const cutStep = 0.5

// cut lays a pipe along a straight line between two stations.
func (g *SupplyGround) cut(from, to int, run, length float64) (need []needPoint, ok bool) {
	a, b := linePoint{at: g.creek.At[from], station: from}, linePoint{at: g.creek.At[to], station: to}
	steps := max(2, int(math.Ceil(run/(cutStep*g.grid.CellM))))
	if !g.mayFall(from, to, steps, length) {
		return nil, false
	}
	level := g.creek.BedM[from]
	step := length / float64(steps)
	for k := 1; k < steps; k++ {
		t := float64(k) / float64(steps)
		low, high, ok := g.limitsBetween(a, b, orb.Point{a.at[0] + t*(b.at[0]-a.at[0]), a.at[1] + t*(b.at[1]-a.at[1])})
		level = math.Min(level-g.rules.SlopeMin*step, high)
		if !ok || level < low {
			return nil, false
		}
		if !math.IsInf(low, -1) {
			need = withNeed(need, needPoint{float64(k) * step, low})
		}
	}
	bed := g.creek.BedM[to]
	if level-g.rules.SlopeMin*step < bed || !g.mayCross(a.at, b.at) {
		return nil, false
	}
	return withNeed(need, needPoint{length, bed}), true
}

// mayFall looks at a few of the places of a cut that is held against the ground
// in steps: most cuts fail at one of them, which spares the look at all.
func (g *SupplyGround) mayFall(from, to, steps int, length float64) bool {
	a, b := linePoint{at: g.creek.At[from], station: from}, linePoint{at: g.creek.At[to], station: to}
	for _, eighth := range [...]int{4, 2, 6, 1, 7, 3, 5} {
		k := eighth * steps / 8
		if k == 0 {
			continue
		}
		t := float64(k) / float64(steps)
		low, high, ok := g.limitsBetween(a, b, orb.Point{a.at[0] + t*(b.at[0]-a.at[0]), a.at[1] + t*(b.at[1]-a.at[1])})
		if !ok || low > g.creek.BedM[from]-g.rules.SlopeMin*t*length+rounding || high < g.creek.BedM[to]+g.rules.SlopeMin*(1-t)*length-rounding {
			return false
		}
	}
	return true
}

// rounding is far more than the rounding of a height, in metres.
const rounding = 1e-6

// withNeed adds a place further on. Of the places only the corners of their
// upper hull matter: a grade line is straight, and stands above all of them
// where it stands above those.
func withNeed(hull []needPoint, p needPoint) []needPoint {
	for len(hull) > 1 {
		a, b := hull[len(hull)-2], hull[len(hull)-1]
		if (b.lowest-a.lowest)*(p.length-a.length) > (p.lowest-a.lowest)*(b.length-a.length) {
			break
		}
		hull = hull[:len(hull)-1]
	}
	if len(hull) == 1 && p.lowest >= hull[0].lowest {
		hull = hull[:0] // a grade line only falls
	}
	return append(hull, p)
}

// byCuts finds the shortest lines over stations and cuts: as all of them run
// downstream, stations are settled in their order. One length a station is
// enough, for the pipe lies on the bed there, and what comes after asks less of
// a shorter line.
func (g *SupplyGround) byCuts(from int, grade SupplyGrade) *SupplyReach {
	type arrival struct {
		length  float64
		station int32 // before
		cut     int32 // -1 along the creek
	}
	r := &SupplyReach{From: from, slopeMin: g.rules.SlopeMin, startM: g.creek.BedM[from]}
	if g.closed(from) {
		return r
	}
	at := []arrival{{}} // of the stations from from on
	offer := func(to int, a arrival) {
		if a.length > g.rules.LengthMaxM || g.beyond(from, to) {
			return
		}
		for len(at) <= to-from {
			at = append(at, arrival{length: math.Inf(1)})
		}
		if a.length < at[to-from].length {
			at[to-from] = a
		}
	}
	for k := from; k-from < len(at); k++ {
		here := at[k-from].length
		if math.IsInf(here, 1) {
			continue
		}
		if g.open[k] {
			length := here + (g.creek.AlongM[k+1] - g.creek.AlongM[k])
			if g.creek.BedM[k+1] <= grade.HeadM-grade.Slope*length {
				offer(k+1, arrival{length, int32(k), -1})
			}
		}
		if k == from && grade.Slope < g.rules.SlopeMin && grade.HeadM < g.creek.BedM[k] {
			continue // a pipe would have to start lower than the cut is laid
		}
		for c := range g.cuts[k] {
			cut := &g.cuts[k][c]
			if to := int(cut.to) - from; to < len(at) && at[to].length <= here+cut.length {
				continue
			}
			if cut.below(grade, here) {
				offer(int(cut.to), arrival{here + cut.length, int32(k), int32(c)})
			}
		}
	}
	r.at = make([]int32, len(at))
	for i, a := range at {
		r.at[i] = -1
		switch {
		case i == 0:
			r.nodes = append(r.nodes, reachNode{node: int32(from), parent: -1, midLowest: math.Inf(-1)})
		case math.IsInf(a.length, 1):
			continue
		default:
			v := reachNode{node: int32(from + i), parent: r.at[int(a.station)-from], length: a.length, lowest: g.creek.BedM[from+i], midLowest: math.Inf(-1)}
			if a.cut >= 0 {
				v.cut = &g.cuts[a.station][a.cut]
			}
			r.nodes = append(r.nodes, v)
		}
		r.at[i] = int32(len(r.nodes) - 1)
	}
	r.measure()
	return r
}

// below says whether a cut that begins after a length stays below a grade line.
func (c *supplyCut) below(grade SupplyGrade, before float64) bool {
	if c.most <= grade.HeadM-grade.Slope*(before+c.length) {
		return true
	}
	for _, p := range c.need {
		if !(p.lowest <= grade.HeadM-grade.Slope*(before+p.length)) {
			return false
		}
	}
	return true
}
