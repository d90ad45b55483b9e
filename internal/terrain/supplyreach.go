package terrain

import (
	"math"
)

// SupplyGrade is the hydraulic grade line of a supply pipe at a steady flow,
// less what must lie between it and the pipe's invert (the pipe itself and the
// cover): after a length l the invert may be no higher than HeadM − Slope·l.
type SupplyGrade struct {
	Slope float64 // friction slope
	HeadM float64 // height at the start
}

// SupplyReach holds the shortest supply lines from one station to those below
// it.
type SupplyReach struct {
	From  int
	nodes []reachNode // parents before children
	at    []int32     // of the stations from From on; -1 where no line leads
	long  []float64   // the same stations' lengths; NaN where no line leads

	slopeMin, startM float64
}

// reachNode is a place on a shortest line.
type reachNode struct {
	node, parent int32
	length       float64
	lowest       float64    // that the pipe may lie here
	midLength    float64    // half-way of a knight's move
	midLowest    float64    // -Inf for other moves
	cut          *supplyCut // that it is the end of; nil for other steps
}

// supplyLabel is one way to a node.
type supplyLabel struct {
	length, level float64 // level is the highest that the pipe may have there
	node, parent  int32
}

// supplySearch is the memory of a search.
type supplySearch struct {
	state   []nodeState
	touched []int32
	labels  []supplyLabel
	heap    []heapEntry
	kept    []int32 // of each label, its place among the nodes of the result
	grade   SupplyGrade
	from    int32
	longest float64 // line
	budget  float64 // most that length and way back may add up to
}

// nodeState is what is known of a node: the highest level among the labels
// that were taken, and one label that waits or was taken.
type nodeState struct{ best, length, level float64 }

var unseen = nodeState{math.Inf(-1), math.Inf(1), math.Inf(-1)}

type heapEntry struct {
	length float64
	label  int32
}

// Reach finds the shortest lines from a station to every station below it
// along which a pipe can be laid: each pipe lies on the bed of the creek or
// within the limits of digging and trestles on other ground, falls by the
// least slope all the way, and stays below the grade line.
//
// A line is a walk over the stations (from one to the next), the cells (by the
// moves of a king and of a knight, which goes through the mean height of the
// two cells that it jumps over and enters neither where it is forbidden; no
// diagonal between two cells that are) and between a station and the nine
// cells around it, unless its own is forbidden. For these lines the result is exact. Its labels are a
// length and the highest level y at which the pipe can lie,
//
//	y = min(y before − least slope · step, ground + trestle)
//
// which must not be below ground − dig; nor must the grade line. (That is all: a
// pipe at the lower of y and the grade line falls by the least slope, for both
// do when the friction slope is no less than that; and where it is less, the
// grade line is the lower one nowhere, because y starts no higher than it.) A
// shorter and higher label allows all that a longer and lower one does, so that
// labels taken in the order of length need only be kept when they are higher
// than all before at their node: a station, where the pipe lies on the bed, has
// one.
//
// Beside the creek a line is given up where even the shortest way on to any
// station would leave it longer than the creek down to there, less the saving
// that the rules ask for. A line that saves so much is never given up; one that
// goes round a place of the creek that stands above the grade line, and is
// longer for it, is not found.
func (g *SupplyGround) Reach(from int, grade SupplyGrade) *SupplyReach {
	if g.rules.CutsOnly {
		return g.byCuts(from, grade)
	}
	s := g.scratch.Get().(*supplySearch)
	defer g.scratch.Put(s)
	r := &SupplyReach{From: from, slopeMin: g.rules.SlopeMin, startM: g.creek.BedM[from]}
	if g.closed(from) {
		return r
	}
	s.start(g.n+len(g.cells), grade)
	s.from, s.longest, s.budget = int32(from), g.rules.LengthMaxM, -g.rules.LeastSavingM-g.along[from]
	if g.within != nil {
		s.budget = g.within.lengthM
	}
	s.begin(int32(from), 0)
	var reached []int32
	g.search(s, func(at int32, first bool) {
		if node := int(s.labels[at].node); node < g.n && node > from {
			reached = append(reached, at)
		}
	})
	r.keep(g, s, reached)
	return r
}

// search settles the labels in the order of length; visit is called with each
// that is kept, and whether it is the first at its node.
func (g *SupplyGround) search(s *supplySearch, visit func(at int32, first bool)) {
	for len(s.heap) > 0 {
		at := s.pop()
		l := s.labels[at]
		known := &s.state[l.node]
		if l.level <= known.best {
			continue // one that is no longer is as high
		}
		visit(at, math.IsInf(known.best, -1))
		known.best = l.level
		if int(l.node) < g.n {
			g.fromStation(s, at)
		} else {
			g.fromCell(s, at)
		}
	}
}

// begin starts a search at a station.
func (s *supplySearch) begin(station int32, length float64) {
	s.touched = append(s.touched, station)
	s.labels = append(s.labels, supplyLabel{length, math.Inf(1), station, -1})
	s.push(heapEntry{length, int32(len(s.labels) - 1)})
}

func (s *supplySearch) start(nodes int, grade SupplyGrade) {
	for _, v := range s.touched {
		s.state[v] = unseen
	}
	for len(s.state) < nodes {
		s.state = append(s.state, unseen)
	}
	s.touched, s.labels, s.heap, s.kept = s.touched[:0], s.labels[:0], s.heap[:0], s.kept[:0]
	s.grade = grade
}

// offer tries to come to a node with a length and a level, from a label.
func (g *SupplyGround) offer(s *supplySearch, to, at int32, length, level float64) {
	lowest, highest := g.limits(to)
	if level < lowest || !(lowest <= s.grade.HeadM-s.grade.Slope*length) || length > s.longest {
		return
	}
	if int(to) >= g.n && g.wayBack != nil && length+g.wayBack[int(to)-g.n] > s.budget {
		return // the creek is shorter, wherever the line comes back to it
	}
	level = math.Min(level, highest)
	known := &s.state[to]
	if level <= known.best || known.length <= length && known.level >= level {
		return
	}
	if math.IsInf(known.length, 1) {
		s.touched = append(s.touched, to)
	}
	if length <= known.length {
		known.length, known.level = length, level
	}
	s.labels = append(s.labels, supplyLabel{length, level, to, at})
	s.push(heapEntry{length, int32(len(s.labels) - 1)})
}

// fromStation takes the steps from a station: on down the creek, and out of it.
func (g *SupplyGround) fromStation(s *supplySearch, at int32) {
	l := s.labels[at]
	k := int(l.node)
	level := g.creek.BedM[k]
	if l.parent < 0 {
		level = math.Min(level, s.grade.HeadM)
	}
	if g.open[k] {
		g.offer(s, int32(k+1), at, l.length+(g.creek.AlongM[k+1]-g.creek.AlongM[k]), level)
	}
	for _, to := range g.links[k] {
		g.offer(s, to.node, at, l.length+to.length, level-g.rules.SlopeMin*to.length)
	}
}

// fromCell takes the steps from a cell to the cells around it and to the
// stations in and beside it.
func (g *SupplyGround) fromCell(s *supplySearch, at int32) {
	l := s.labels[at]
	cell := &g.cells[int(l.node)-g.n]
	size, least := g.grid.CellM, g.rules.SlopeMin
	id, here := g.id, int(cell.at)
	for k, move := range supplyMoves {
		to := id[here+move.dy*g.stride+move.dx]
		if to < 0 {
			continue
		}
		dz := g.cells[int(to)-g.n].z - cell.z
		switch {
		case k < firstDiagonal:
			step := math.Sqrt(size*size + dz*dz)
			g.offer(s, to, at, l.length+step, l.level-least*step)
		case k < firstKnight:
			if id[here+move.dx] < 0 && id[here+move.dy*g.stride] < 0 {
				continue
			}
			step := math.Sqrt(2*size*size + dz*dz)
			g.offer(s, to, at, l.length+step, l.level-least*step)
		default:
			first, second := g.halves(cell, to, move)
			if first.length < 0 {
				continue
			}
			mid := first.z
			length, level := l.length+first.length, l.level-least*first.length
			if level < mid-g.rules.DigM || !(mid-g.rules.DigM <= s.grade.HeadM-s.grade.Slope*length) {
				continue
			}
			level = math.Min(level, mid+g.rules.TrestleM)
			g.offer(s, to, at, length+second.length, level-least*second.length)
		}
	}
	for _, to := range g.backTo[int(l.node)-g.n] {
		if to.node > s.from {
			g.offer(s, to.node, at, l.length+to.length, l.level-least*to.length)
		}
	}
}

// halfMove is half of a knight's move: its length and the height half-way.
type halfMove struct{ length, z float64 }

// halves parts a knight's move at the mean height of the two cells that it
// jumps over; the length is negative where one of them is not entered.
func (g *SupplyGround) halves(cell *supplyCell, to int32, move supplyMove) (first, second halfMove) {
	here := int(cell.at)
	// The two cells: one beside, one diagonally on.
	ax, ay := move.dx/2, move.dy/2
	bx, by := ax, ay
	if ax == 0 {
		bx = move.dx
	} else {
		by = move.dy
	}
	a, b := g.id[here+ay*g.stride+ax], g.id[here+by*g.stride+bx]
	if a < 0 || b < 0 {
		return halfMove{length: -1}, halfMove{}
	}
	mid := (g.cells[int(a)-g.n].z + g.cells[int(b)-g.n].z) / 2
	run2 := g.grid.CellM * g.grid.CellM * 5 / 4
	up, on := mid-cell.z, g.cells[int(to)-g.n].z-mid
	return halfMove{math.Sqrt(run2 + up*up), mid}, halfMove{math.Sqrt(run2 + on*on), mid}
}

type supplyMove struct{ dx, dy int }

// supplyMoves are the moves to the 16 neighbours: straight, diagonal, knight's.
var supplyMoves = [16]supplyMove{
	{0, -1}, {-1, 0}, {1, 0}, {0, 1},
	{-1, -1}, {1, -1}, {-1, 1}, {1, 1},
	{-2, -1}, {-1, -2}, {1, -2}, {2, -1}, {-2, 1}, {-1, 2}, {1, 2}, {2, 1},
}

// push and pop keep the labels in the order of length, those of equal length
// in the order in which they were found.
func (s *supplySearch) push(e heapEntry) {
	s.heap = append(s.heap, e)
	i := len(s.heap) - 1
	for i > 0 {
		up := (i - 1) / 4
		if !e.before(s.heap[up]) {
			break
		}
		s.heap[i] = s.heap[up]
		i = up
	}
	s.heap[i] = e
}

func (s *supplySearch) pop() int32 {
	top := s.heap[0].label
	n := len(s.heap) - 1
	e := s.heap[n]
	s.heap = s.heap[:n]
	if n == 0 {
		return top
	}
	i := 0
	for {
		first := 4*i + 1
		if first >= n {
			break
		}
		least := first
		for k := first + 1; k < min(first+4, n); k++ {
			if s.heap[k].before(s.heap[least]) {
				least = k
			}
		}
		if !s.heap[least].before(e) {
			break
		}
		s.heap[i] = s.heap[least]
		i = least
	}
	s.heap[i] = e
	return top
}

func (e heapEntry) before(o heapEntry) bool {
	return e.length < o.length || e.length == o.length && e.label < o.label
}

// keep copies the lines to the stations that were reached.
func (r *SupplyReach) keep(g *SupplyGround, s *supplySearch, reached []int32) {
	last := r.From
	for range s.labels {
		s.kept = append(s.kept, -1)
	}
	for _, at := range reached {
		last = max(last, int(s.labels[at].node))
		for ; at >= 0 && s.kept[at] < 0; at = s.labels[at].parent {
			s.kept[at] = 0
		}
	}
	r.at = make([]int32, last-r.From+1)
	for k := range r.at {
		r.at[k] = -1
	}
	for at, kept := range s.kept {
		if kept < 0 {
			continue
		}
		l := s.labels[at]
		s.kept[at] = int32(len(r.nodes))
		v := reachNode{node: l.node, parent: -1, length: l.length, midLowest: math.Inf(-1)}
		v.lowest, _ = g.limits(l.node)
		if l.parent >= 0 {
			v.parent = s.kept[l.parent]
			g.midWay(&v, s.labels[l.parent])
		}
		if int(l.node) < g.n {
			r.at[int(l.node)-r.From] = s.kept[at]
		}
		r.nodes = append(r.nodes, v)
	}
	r.measure()
}

// midWay fills in what lies half-way of a knight's move.
func (g *SupplyGround) midWay(v *reachNode, before supplyLabel) {
	if int(v.node) < g.n || int(before.node) < g.n {
		return
	}
	cell := &g.cells[int(before.node)-g.n]
	dx, dy := g.apart(cell.at, g.cells[int(v.node)-g.n].at)
	if dx*dx+dy*dy != 5 {
		return
	}
	first, _ := g.halves(cell, v.node, supplyMove{dx, dy})
	v.midLength, v.midLowest = before.length+first.length, first.z-g.rules.DigM
}

// apart is how far two places of the window lie apart, in cells.
func (g *SupplyGround) apart(a, b int32) (dx, dy int) {
	return int(b)%g.stride - int(a)%g.stride, int(b)/g.stride - int(a)/g.stride
}

// Length is the length of the shortest line to a station; ok is false where
// there is none.
func (r *SupplyReach) Length(to int) (lengthM float64, ok bool) {
	k := to - r.From
	if k <= 0 || k >= len(r.long) {
		return 0, false
	}
	return r.long[k], r.long[k] >= 0
}

// measure fills in the lengths.
func (r *SupplyReach) measure() {
	r.long = make([]float64, len(r.at))
	for k, at := range r.at {
		if r.long[k] = math.NaN(); at >= 0 {
			r.long[k] = r.nodes[at].length
		}
	}
}

// End is the last station that is reached; From when there is none.
func (r *SupplyReach) End() int { return r.From + max(len(r.long), 1) - 1 }

// KeepLengths forgets all but the lengths, a tenth of the memory: after it no
// line can be drawn, nor another grade line be held against the lines.
func (r *SupplyReach) KeepLengths() { r.nodes, r.at = nil, nil }

// Serves says whether the lines of this reach are also the shortest under a
// grade line that lies nowhere higher: for every station, either its line
// stays below that one, too, or the station itself stands above it even at this
// length, so that no line leads there. memory may be nil.
func (r *SupplyReach) Serves(grade SupplyGrade, memory []bool) (bool, []bool) {
	memory = append(memory[:0], make([]bool, len(r.nodes))...)
	if grade.Slope < r.slopeMin && grade.HeadM < r.startM {
		return false, memory // the start is lower, not only the grade line
	}
	for k := range r.nodes {
		v := &r.nodes[k]
		if v.parent < 0 {
			memory[k] = true
			continue
		}
		below := memory[v.parent] && v.midLowest <= grade.HeadM-grade.Slope*v.midLength
		if v.cut != nil {
			below = below && v.cut.below(grade, r.nodes[v.parent].length)
		}
		memory[k] = below && v.lowest <= grade.HeadM-grade.Slope*v.length
	}
	for _, at := range r.at {
		if at > 0 && !memory[at] && r.nodes[at].lowest <= grade.HeadM-grade.Slope*r.nodes[at].length {
			return false, memory
		}
	}
	return true, memory
}
