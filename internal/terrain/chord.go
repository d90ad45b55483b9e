package terrain

import (
	"math"

	"github.com/paulmach/orb"
)

// A line over the ground is priced stretch by stretch between its crossings
// with the lines that join the cells' middles, with the height on such a line
// taken straight between its two middles. Over a single step this is the price
// of the step, so that chords and steps are weighed with one measure.

// place is a point in units of cells, counted from the middle of the node with
// index 0, x to the east and y to the south.
type place struct{ x, y float64 }

func (f *Field) place(p orb.Point) place {
	g := f.grid
	return place{(p[0]-g.Bound.Min[0])/g.CellM - 0.5 + border, (g.Bound.Max[1]-p[1])/g.CellM - 0.5 + border}
}

func (f *Field) point(p place) orb.Point {
	g := f.grid
	return orb.Point{g.Bound.Min[0] + (p.x+0.5-border)*g.CellM, g.Bound.Max[1] - (p.y+0.5-border)*g.CellM}
}

func (f *Field) placeOf(i int) place {
	x, y := f.columnRow(i)
	return place{float64(x), float64(y)}
}

// height gives the ground at a place: exactly at a cell's middle, straight
// between two middles on the line that joins them, and bilinear in between.
// It is NaN where one of the heights that it needs is that of a cell that is
// never entered.
func (f *Field) height(p place) float64 {
	return between(p, func(x, y int) float64 { return float64(f.nodes[f.at(x, y)].z) })
}

// groundAt gives the factor of the ground at a place, in the same way.
func (f *Field) groundAt(p place) float64 {
	if f.class == nil {
		return 1
	}
	return between(p, func(x, y int) float64 { return float64(f.price.factor[f.class[f.at(x, y)]]) })
}

// between gives a value at a place from those at cells' middles.
func between(p place, at func(x, y int) float64) float64 {
	x0, y0 := math.Floor(p.x), math.Floor(p.y)
	u, v := p.x-x0, p.y-y0
	x, y := int(x0), int(y0)
	z := at(x, y)
	switch {
	case u == 0 && v == 0:
		return z
	case v == 0:
		return z + u*(at(x+1, y)-z)
	case u == 0:
		return z + v*(at(x, y+1)-z)
	}
	north := z + u*(at(x+1, y)-z)
	south := at(x, y+1)
	south += u * (at(x+1, y+1) - south)
	return north + v*(south-north)
}

// endHeight is the height at an end of a line, which may lie anywhere in its
// cell: beside cells that are never entered it is that of the cell itself.
func (f *Field) endHeight(p place) float64 {
	if z := f.height(p); !math.IsNaN(z) {
		return z
	}
	return float64(f.nodes[f.at(int(math.Round(p.x)), int(math.Round(p.y)))].z)
}

// crossings calls visit at the crossings of the line from a to b with the
// lines between the middles, in order, a and b themselves left out, until it
// returns false. t runs from 0 to 1.
func crossings(a, b place, visit func(t float64, p place) bool) {
	nextX, stepX := crossing(a.x, b.x)
	nextY, stepY := crossing(a.y, b.y)
	dx, dy := b.x-a.x, b.y-a.y
	for {
		tx, ty := math.Inf(1), math.Inf(1)
		if stepX != 0 {
			tx = (nextX - a.x) / dx
		}
		if stepY != 0 {
			ty = (nextY - a.y) / dy
		}
		t := math.Min(tx, ty)
		if !(t < 1-1e-12) {
			return
		}
		p := place{a.x + t*dx, a.y + t*dy}
		// Crossings of both kinds that fall together are one at a middle.
		if tx <= t+1e-12 {
			p.x = nextX
			nextX += stepX
		}
		if ty <= t+1e-12 {
			p.y = nextY
			nextY += stepY
		}
		if !visit(t, p) {
			return
		}
	}
}

// crossing gives the first whole number strictly beyond from on the way to to,
// and the step to the next; the step is 0 when the way does not move.
func crossing(from, to float64) (next, step float64) {
	switch {
	case to > from:
		return math.Floor(from) + 1, 1
	case to < from:
		return math.Ceil(from) - 1, -1
	}
	return 0, 0
}

// blockedCorner says whether the way between two neighbouring crossings is a
// diagonal step between two cells that are never entered.
func (f *Field) blockedCorner(a, b place) bool {
	if math.Abs(a.x-b.x) != 1 || math.Abs(a.y-b.y) != 1 || a.x != math.Floor(a.x) || a.y != math.Floor(a.y) {
		return false
	}
	return f.never(a.x, b.y) && f.never(b.x, a.y)
}

func (f *Field) never(x, y float64) bool {
	return f.nodes[f.at(int(x), int(y))].cost == neverEntered
}

// bounds limit the straight lines that are of interest.
type bounds struct {
	cost   float64 // dearer ones are not
	crestM float64 // nor those over higher ground
}

var noBounds = bounds{math.Inf(1), math.Inf(1)}

// chordCost prices the straight line from a to b. It is infinite where the
// line would enter a closed cell, ground that is too steep, or ground above
// the crest of the bounds. It gives up once the price is certain to pass that
// of the bounds: what is left costs at least the cheapest class on the level.
func (f *Field) chordCost(a, b vertex, most bounds) float64 {
	run := math.Hypot(b.x-a.x, b.y-a.y) * f.grid.CellM
	total, lastT, last := 0.0, 0.0, f.spotOn(a)
	crossings(a.place, b.place, func(t float64, p place) bool {
		next := ground{p, f.height(p), f.groundAt(p)}
		if !(next.z <= most.crestM) || f.blockedCorner(last.place, p) { // also where z is no number
			total = math.Inf(1)
			return false
		}
		total += f.stretchCost(a, last, next, (t-lastT)*run)
		lastT, last = t, next
		return total+(1-t)*run*f.price.cheapest <= most.cost
	})
	if f.blockedCorner(last.place, b.place) {
		return math.Inf(1)
	}
	return total + f.stretchCost(a, last, f.spotOn(b), (1-lastT)*run)
}

// ground is a place with its height and the factor of its ground.
type ground struct {
	place
	z, factor float64
}

func (f *Field) spotOn(v vertex) ground { return ground{v.place, v.z, f.groundAt(v.place)} }

// stretchCost prices a stretch between two neighbouring crossings of a line
// that begins at a vertex, fees included.
func (f *Field) stretchCost(from vertex, a, b ground, runM float64) float64 {
	cost := f.price.cost(runM, b.z-a.z, (a.factor+b.factor)/2)
	if f.tolls != nil && f.nearToll(a.place, b.place) {
		f.tolls.over(a.place, b.place, from.exempt(), func(line int) { cost += f.tolls.lines[line].Fee })
	}
	return cost
}

// exempt is the place near which sources are not charged on a line from here.
func (v *vertex) exempt() *place {
	if v.first {
		return &v.place
	}
	return nil
}
