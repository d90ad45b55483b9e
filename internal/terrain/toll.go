package terrain

import (
	"math"

	"github.com/paulmach/orb"
)

// CrossedLine is a line that costs a fee to cross: a road, a creek, a fence.
// The fee is charged each time the pipe passes from one side of the line to
// the other; an area is given as its border with half the fee, which the pipe
// pays on the way in and on the way out.
type CrossedLine struct {
	Line orb.LineString
	Fee  float64 // in the unit of LayingCost; not negative
	// Source marks the creek that pipes start from: a place on it may stand on
	// either bank, so that leaving it from there costs nothing.
	Source bool
}

// quad is the square between four cells' middles, by its north-western one.
type quad struct{ x, y int32 }

// piece is a part of a crossed line no longer than a cell.
type piece struct {
	a, b place
	line int32
}

// tolls knows the crossed lines near every step.
type tolls struct {
	lines  []CrossedLine
	fee    []uint32 // by line, as an integer cost
	pieces []piece
	quads  map[quad][]int32
	// near has a bit for each node of which a step might meet a piece.
	near    []uint64
	sources bool
	dearest float64 // bounds what one step pays
}

// newTolls cuts the lines into pieces and finds the squares that they pass.
func (f *Field) newTolls(lines []CrossedLine) {
	t := &tolls{lines: lines, quads: map[quad][]int32{}, near: make([]uint64, (len(f.nodes)+63)/64)}
	for n, line := range lines {
		fee := line.Fee * f.price.units
		if !(fee >= 0) {
			panic("terrain: the fee of a crossing is negative")
		}
		// Beyond 32 bits the search refuses the costs anyway.
		t.fee = append(t.fee, uint32(math.Min(fee+0.5, math.MaxUint32)))
		t.sources = t.sources || line.Source
		for i := 1; i < len(line.Line); i++ {
			f.cutToll(t, f.place(line.Line[i-1]), f.place(line.Line[i]), int32(n))
		}
	}
	if len(t.pieces) == 0 {
		return
	}
	for _, in := range t.quads {
		sum := 0.0
		for _, k := range in {
			sum += float64(t.fee[t.pieces[k].line])
		}
		t.dearest = math.Max(t.dearest, 2*sum) // a knight passes two squares
	}
	for q := range t.quads {
		for y := int(q.y) - 1; y <= int(q.y)+2; y++ {
			for x := int(q.x) - 1; x <= int(q.x)+2; x++ {
				if x >= 0 && y >= 0 && x < f.wide && y < f.high {
					i := f.at(x, y)
					t.near[i>>6] |= 1 << (i & 63)
				}
			}
		}
	}
	f.tolls = t
}

// cutToll cuts one stretch of a line and enters its pieces, those off the grid
// left out.
func (f *Field) cutToll(t *tolls, a, b place, line int32) {
	steps := int(math.Ceil(math.Hypot(b.x-a.x, b.y-a.y))) + 1
	last := a
	for k := 1; k <= steps; k++ {
		next := b
		if k < steps {
			s := float64(k) / float64(steps)
			next = place{a.x + s*(b.x-a.x), a.y + s*(b.y-a.y)}
		}
		const hair = 1e-9
		x0, x1 := math.Floor(math.Min(last.x, next.x)-hair), math.Floor(math.Max(last.x, next.x)+hair)
		y0, y1 := math.Floor(math.Min(last.y, next.y)-hair), math.Floor(math.Max(last.y, next.y)+hair)
		if x0 >= 0 && y0 >= 0 && x1 < float64(f.wide) && y1 < float64(f.high) {
			// A piece that ends on a line between middles belongs to both sides.
			for y := y0; y <= y1; y++ {
				for x := x0; x <= x1; x++ {
					q := quad{int32(x), int32(y)}
					t.quads[q] = append(t.quads[q], int32(len(t.pieces)))
				}
			}
			t.pieces = append(t.pieces, piece{last, next, line})
		}
		last = next
	}
}

// sideOf says on which side of the line from a to b a place lies; a place on
// it counts as on the left.
func sideOf(a, b, p place) bool {
	return (b.x-a.x)*(p.y-a.y)-(b.y-a.y)*(p.x-a.x) >= 0
}

// reachOfSource is how far from a place on the creek, in cells, the creek is
// not charged: as far as the middles of the cells beside its own.
const reachOfSource = 2.2

// over calls visit for each crossed line that the stretch from a to b passes
// over. The stretch lies in one square between cells' middles. With a start,
// sources are not met near it.
func (t *tolls) over(a, b place, start *place, visit func(line int)) {
	q := quad{int32(math.Floor((a.x + b.x) / 2)), int32(math.Floor((a.y + b.y) / 2))}
	for _, k := range t.quads[q] {
		p := &t.pieces[k]
		if sideOf(a, b, p.a) == sideOf(a, b, p.b) || sideOf(p.a, p.b, a) == sideOf(p.a, p.b, b) {
			continue
		}
		if start != nil && t.lines[p.line].Source && math.Hypot((p.a.x+p.b.x)/2-start.x, (p.a.y+p.b.y)/2-start.y) < reachOfSource {
			continue
		}
		visit(int(p.line))
	}
}

// nearToll says whether a stretch in one square between cells' middles might meet
// a crossed line. It is asked for every square of every chord, and much quicker
// than a look for the square itself.
func (f *Field) nearToll(a, b place) bool {
	i := f.at(int((a.x+b.x)/2), int((a.y+b.y)/2))
	return f.tolls.near[i>>6]>>(i&63)&1 != 0
}

// charge is the sum of the fees of a part of a step in integer costs.
func (t *tolls) charge(a, b place) uint32 {
	sum := uint64(0)
	t.over(a, b, nil, func(line int) { sum += uint64(t.fee[line]) })
	return uint32(min(sum, math.MaxUint32))
}

// stepToll is what step k from a node pays for the lines that it passes over.
func (f *Field) stepToll(u, k int) uint32 {
	t := f.tolls
	if t.near[u>>6]>>(u&63)&1 == 0 {
		return 0
	}
	s := f.stepsOf(u)
	a, b := f.placeOf(u), f.placeOf(u+s.to[k])
	if k < firstKnight {
		return t.charge(a, b)
	}
	mid := place{(a.x + b.x) / 2, (a.y + b.y) / 2}
	return t.charge(a, mid) + t.charge(mid, b)
}

// money turns an integer cost into the unit of LayingCost.
func (p *pricing) money(units uint32) float64 { return float64(units) / p.units }

// startOf gives the node that the way from a place begins at: that of its
// cell, or, on a creek that costs a fee to cross, the one of a cell beside it
// on the cheaper bank. ok is false where there is no way.
func (f *Field) startOf(from orb.Point) (u int, ok bool) {
	u, ok = f.index(from)
	if !ok || f.nodes[u].cost == neverEntered {
		return 0, false
	}
	t := f.tolls
	if t == nil || !t.sources || t.near[u>>6]>>(u&63)&1 == 0 {
		return u, f.settled(u)
	}
	first := vertex{place: f.place(from), first: true}
	first.z = f.endHeight(first.place)
	best, least := -1, math.Inf(1)
	try := func(v int) {
		if !f.settled(v) {
			return
		}
		end := vertex{place: f.placeOf(v), z: float64(f.nodes[v].z)}
		if cost := f.price.money(f.nodes[v].cost) + f.linkCost(first, end); cost < least {
			best, least = v, cost
		}
	}
	try(u)
	s := f.stepsOf(u)
	for k := range firstKnight {
		if _, ok := f.groundCost(u, k, s); ok {
			try(u + s.to[k])
		}
	}
	return best, best >= 0
}
