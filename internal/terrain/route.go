package terrain

import (
	"cmp"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"route/internal/finding"
)

// Route gives the cheapest way from a place to the tank with the steps of the
// grid pulled out of it: vertices are left out wherever a straight line
// between others costs no more over the ground that it crosses itself. The
// cost and the crest never rise above those of the way from cell to cell, and
// the line goes over no cell that may not be entered. Vertices remain, or are put in, at the
// bends, at the high and low points, and as many as it takes for a straight
// line between two of them to stay within PocketM of the ground.
//
// A place that has no way to the tank is a *finding.Fault.
func (f *Field) Route(from orb.Point) (Path, error) {
	start, ok := f.startOf(from)
	if !ok {
		return Path{}, &finding.Fault{Code: "no_delivery_route",
			Text: "there is no way over the ground from here to the tank",
			Hint: "land that may not be entered, ground that is too steep, or a gap in the terrain lies between: change the land, the slope classes or the terrain"}
	}
	way := f.way(start, from)
	return f.describe(f.pull(way, f.crest(way))), nil
}

// vertex is a place on a line with its height and the cost of the stretch
// that leads to it.
type vertex struct {
	place
	z    float64
	cost float64
	// first marks the place that the way begins at.
	first bool
}

// way lists the cheapest way from cell to cell, between the places asked for.
// These may lie anywhere in their cells and are joined to the cells' middles.
func (f *Field) way(start int, from orb.Point) []vertex {
	first := f.place(from)
	line := []vertex{{place: first, z: f.endHeight(first), first: true}}
	for u := start; ; u, _ = f.next(u) {
		v := vertex{place: f.placeOf(u), z: float64(f.nodes[u].z)}
		last := line[len(line)-1]
		if u == start {
			v.cost = f.linkCost(last, v)
		} else {
			v.cost = f.chordCost(last, v, noBounds)
		}
		line = append(line, v)
		if u == f.end {
			break
		}
	}
	tank := vertex{place: f.place(f.tank)}
	tank.z = f.endHeight(tank.place)
	tank.cost = f.linkCost(line[len(line)-1], tank)
	return append(line, tank)
}

// linkCost prices the way between a place and the middle of its own cell, or
// of one beside it: at the dearest class where it is steeper than all.
func (f *Field) linkCost(a, b vertex) float64 {
	run, factor := math.Hypot(b.x-a.x, b.y-a.y)*f.grid.CellM, (f.groundAt(a.place)+f.groundAt(b.place))/2
	cost := f.price.cost(run, b.z-a.z, factor)
	if math.IsInf(cost, 1) {
		dearest := 0.0
		for _, c := range f.price.classes {
			dearest = math.Max(dearest, c.factor)
		}
		cost = (f.price.pipeM + f.price.perMetre*dearest*factor) * math.Hypot(run, b.z-a.z)
	}
	if f.tolls != nil {
		f.passes(a, b, func(line int, _ place) { cost += f.tolls.lines[line].Fee })
	}
	return cost
}

// pullWindow is how many vertices ahead a pass looks for a straight line.
const pullWindow = 24

// pull takes out vertices in passes. Each pass finds the cheapest line through
// the vertices that skips fewer than pullWindow at a time, which leaves about
// one in so many; the next pass then looks as many times further. It ends when
// nothing can be left out any more. No stretch that is new goes over ground
// above the given crest.
func (f *Field) pull(line []vertex, crestM float64) []vertex {
	for {
		shorter := f.pullOnce(line, crestM)
		if len(shorter) == len(line) {
			return line
		}
		line = shorter
	}
}

// pullOnce is one pass. Of lines that cost the same, that with the longer last
// stretch is kept.
func (f *Field) pullOnce(line []vertex, crestM float64) []vertex {
	type step struct {
		cost  float64 // from the start
		chord float64
		from  int
	}
	best := make([]step, len(line))
	for j := 1; j < len(line); j++ {
		b := step{best[j-1].cost + line[j].cost, line[j].cost, j - 1}
		for i := j - 2; i >= max(0, j-pullWindow); i-- {
			// Equal within the rounding of the sums counts as not higher.
			most := b.cost*(1+1e-12) - best[i].cost
			chord := f.chordCost(line[i], line[j], bounds{most, crestM})
			if chord <= most {
				b = step{best[i].cost + chord, chord, i}
			}
		}
		best[j] = b
	}
	var shorter []vertex
	for j := len(line) - 1; ; j = best[j].from {
		v := line[j]
		v.cost = best[j].chord
		shorter = append(shorter, v)
		if j == 0 {
			break
		}
	}
	for i, j := 0, len(shorter)-1; i < j; i, j = i+1, j-1 {
		shorter[i], shorter[j] = shorter[j], shorter[i]
	}
	return shorter
}

// spot is a point of a line's long profile.
type spot struct {
	at     orb.Point
	s, z   float64 // horizontal distance from the start, ground
	vertex bool    // keep it
}

// profile reads the ground along a line wherever it crosses from cell to cell.
func (f *Field) profile(line []vertex) []spot {
	spots := []spot{{at: f.point(line[0].place), z: line[0].z, vertex: true}}
	s := 0.0
	for i := 1; i < len(line); i++ {
		a, b := line[i-1], line[i]
		run := math.Hypot(b.x-a.x, b.y-a.y) * f.grid.CellM
		crossings(a.place, b.place, func(t float64, p place) bool {
			// Only a link to the middle of a border cell meets missing ground.
			if z := f.height(p); !math.IsNaN(z) {
				spots = append(spots, spot{at: f.point(p), s: s + t*run, z: z})
			}
			return true
		})
		s += run
		spots = append(spots, spot{at: f.point(b.place), s: s, z: b.z, vertex: true})
	}
	return spots
}

// crest is the highest ground along a line.
func (f *Field) crest(line []vertex) float64 {
	highest := math.Inf(-1)
	for _, s := range f.profile(line) {
		highest = math.Max(highest, s.z)
	}
	return highest
}

// describe measures a line and chooses its vertices.
func (f *Field) describe(line []vertex) Path {
	spots := f.profile(line)
	p := Path{CrestM: f.crest(line)}
	for i := 1; i < len(spots); i++ {
		p.LengthM += math.Hypot(spots[i].s-spots[i-1].s, spots[i].z-spots[i-1].z)
	}
	for _, v := range line[1:] {
		p.Cost += v.cost
	}
	p.Laid, p.Crossings = f.laid(line)
	high, low := pockets(spots)
	for _, i := range append(append([]int(nil), high...), low...) {
		spots[i].vertex = true
	}
	keepShape(spots)
	kept := make([]int, len(spots)) // vertex number of a spot
	for i, s := range spots {
		if !s.vertex {
			continue
		}
		kept[i] = len(p.Line)
		p.Line = append(p.Line, s.at)
		p.ZM = append(p.ZM, s.z)
	}
	for _, i := range high {
		p.HighAt = append(p.HighAt, kept[i])
	}
	for _, i := range low {
		p.LowAt = append(p.LowAt, kept[i])
	}
	return p
}

// passes calls visit for each crossed line that the straight line from a to b
// passes over, in order.
func (f *Field) passes(a, b vertex, visit func(line int, at place)) {
	if f.tolls == nil {
		return
	}
	last := a.place
	stretch := func(p place) {
		at := place{(last.x + p.x) / 2, (last.y + p.y) / 2}
		f.tolls.over(last, p, a.exempt(), func(line int) { visit(line, at) })
		last = p
	}
	crossings(a.place, b.place, func(_ float64, p place) bool {
		stretch(p)
		return true
	})
	stretch(b.place)
}

// laid measures a line by the classes of the ground that it lies on, and lists
// what it passes over.
func (f *Field) laid(line []vertex) ([]Laid, []Crossing) {
	type kind struct{ slope, ground int }
	lengths := map[kind]float64{}
	var over []Crossing
	along := 0.0
	for i := 1; i < len(line); i++ {
		a, b := line[i-1], line[i]
		run := math.Hypot(b.x-a.x, b.y-a.y) * f.grid.CellM
		lastT, last, lastZ := 0.0, a.place, a.z
		stretch := func(t float64, p place, z float64) {
			length := math.Hypot((t-lastT)*run, z-lastZ)
			slope := f.price.slopeClass((t-lastT)*run, z-lastZ)
			if slope < 0 { // only on the links at the ends
				slope = len(f.price.classes) - 1
			}
			for _, end := range [2]place{last, p} {
				f.shares(end, func(class int, share float64) { lengths[kind{slope, class}] += share * length / 2 })
			}
			if f.tolls != nil {
				at := place{(last.x + p.x) / 2, (last.y + p.y) / 2}
				f.tolls.over(last, p, a.exempt(), func(line int) {
					over = append(over, Crossing{Line: line, At: f.point(at), AlongM: along + length/2})
				})
			}
			along += length
			lastT, last, lastZ = t, p, z
		}
		crossings(a.place, b.place, func(t float64, p place) bool {
			if z := f.height(p); !math.IsNaN(z) {
				stretch(t, p, z)
			}
			return true
		})
		stretch(1, b.place, b.z)
	}
	var list []Laid
	for k, length := range lengths {
		if length > 0 {
			list = append(list, Laid{Slope: k.slope, Ground: k.ground, LengthM: length})
		}
	}
	slices.SortFunc(list, func(a, b Laid) int { return cmp.Or(cmp.Compare(a.Slope, b.Slope), cmp.Compare(a.Ground, b.Ground)) })
	return list, over
}

// shares gives the classes of the ground at a place with their shares.
func (f *Field) shares(p place, visit func(class int, share float64)) {
	if f.class == nil {
		visit(0, 1)
		return
	}
	x0, y0 := math.Floor(p.x), math.Floor(p.y)
	u, v := p.x-x0, p.y-y0
	for _, c := range [4]struct {
		dx, dy int
		share  float64
	}{{0, 0, (1 - u) * (1 - v)}, {1, 0, u * (1 - v)}, {0, 1, (1 - u) * v}, {1, 1, u * v}} {
		if c.share > 0 {
			visit(int(f.class[f.at(int(x0)+c.dx, int(y0)+c.dy)]), c.share)
		}
	}
}
