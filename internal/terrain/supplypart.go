package terrain

import (
	"context"
	"math"

	"github.com/paulmach/orb"
)

// Between is the ground between two stations of this one with every way over
// its cells by which a line from the one to the other could be as short as a
// length; what a line saves against the creek on its way does not count. Its
// first station is from.
func (g *SupplyGround) Between(ctx context.Context, from, to int, lengthM float64) (*SupplyGround, error) {
	part := SupplyCreek{At: g.creek.At[from : to+1], BedM: g.creek.BedM[from : to+1], AlongM: g.creek.AlongM[from : to+1]}
	if g.creek.Closed != nil {
		part.Closed = g.creek.Closed[from : to+1]
	}
	rules := g.rules
	rules.CutsOnly, rules.LengthMaxM = false, math.Min(rules.LengthMaxM, lengthM)
	return newSupplyGround(ctx, g.grid, part, rules, &ellipse{part.At[0], part.At[to-from], lengthM})
}

// straightBack gives every cell the straight line on to the last station as its
// way back: no line is shorter.
func (g *SupplyGround) straightBack() {
	g.wayBack = make([]float64, len(g.cells))
	for k := range g.cells {
		g.wayBack[k] = distance(g.place(int32(g.n+k)), g.within.to)
	}
}

// ellipse holds the places through which a line between two others can lead
// that is no longer than a length.
type ellipse struct {
	from, to orb.Point
	lengthM  float64
}

// holds says whether it holds a place, or one within a radius of it.
func (e *ellipse) holds(at orb.Point, radius float64) bool {
	return distance(e.from, at)+distance(at, e.to)-2*radius <= e.lengthM
}

// bound is a box around it.
func (e *ellipse) bound() orb.Bound {
	apart := distance(e.from, e.to)
	return orb.MultiPoint{e.from, e.to}.Bound().Pad(math.Sqrt(math.Max(e.lengthM*e.lengthM-apart*apart, 0)) / 2)
}

// Among is the ground along a part of the creek with stations of its own among
// those of this one. same gives the station of this ground that a station is,
// -1 for those of its own. It takes little time where the rules leave the creek
// by cuts only and few stations are its own: the other cuts are known.
func (g *SupplyGround) Among(ctx context.Context, creek SupplyCreek, same []int) (*SupplyGround, error) {
	if !g.rules.CutsOnly {
		return NewSupplyGround(ctx, g.grid, creek, g.rules)
	}
	part := &SupplyGround{grid: g.grid, creek: creek, rules: g.rules, n: len(creek.At)}
	part.openSteps()
	part.cuts = make([][]supplyCut, part.n)
	for from := range part.n {
		known := same[from] >= 0
		var cuts []supplyCut
		if known {
			cuts = g.cuts[same[from]]
		}
		for to := from + 1; to < part.n && !part.beyond(from, to); to++ {
			if !known || same[to] < 0 || part.savesUnlike(g, from, to, same) {
				part.addCut(from, to)
				continue
			}
			for len(cuts) > 0 && int(cuts[0].to) < same[to] {
				cuts = cuts[1:]
			}
			if len(cuts) > 0 && int(cuts[0].to) == same[to] {
				c := cuts[0]
				c.to = int32(to)
				part.cuts[from] = append(part.cuts[from], c)
			}
		}
	}
	return part, ctx.Err()
}

// savesUnlike says whether what a cut saves differs from another ground's: a
// station between may change which steps along the creek a pipe can take.
func (g *SupplyGround) savesUnlike(other *SupplyGround, from, to int, same []int) bool {
	here, there := g.along[to]-g.along[from], other.along[same[to]]-other.along[same[from]]
	return math.Abs(here-there) > rounding
}
