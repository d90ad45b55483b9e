package terrain

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/bits"
	"sync"

	"github.com/paulmach/orb"

	"route/internal/finding"
)

// node is a cell in the search: its cost to the tank and its height side by
// side, so that one access brings both.
type node struct {
	cost uint32
	z    float32
}

// Costs with a meaning of their own. The tank costs tankCost, so that 0 can
// stand for cells that are never entered; those have the height NaN as well.
const (
	neverEntered = 0
	tankCost     = 1
	notReached   = math.MaxUint32
)

// Cells of border around the grid that are never entered, so that no step
// needs a test for the edge: a knight's move goes two cells far.
const border = 2

// Field holds the least laying cost from every cell to the tank. It does not
// change once made and may be used by many goroutines.
type Field struct {
	grid       *Grid
	tank       orb.Point
	nodes      []node // with the border around, tile by tile
	wide, high int    // cells with the border
	tiles      int    // in a row of tiles
	end        int    // index of the tank's cell
	price      *pricing
	steps      *[kinds]steps
	class      []uint8 // of ground, by node; nil when all ground is alike
	tolls      *tolls  // nil without crossed lines
	// Cells that cost less are settled, all others are not known.
	settledBelow uint64

	mu    sync.Mutex
	known map[int]way // of cells that were asked for, and of those on their way
}

// FieldOptions narrow a search. The zero value searches everything.
type FieldOptions struct {
	// Targets ends the search once all of these places are settled. Places
	// outside the grid or on ground that is never entered do not count. nil
	// searches the whole grid.
	Targets []orb.Point
	// MaxCost leaves out all that costs more, in the unit of LayingCost. 0 is
	// no limit.
	MaxCost float64
	// Heights fills in the heights of a row of cells, NaN where unknown, in
	// place of Grid.Z, which is then nil: a grid of a hundred million cells need
	// not be held twice. nil reads Grid.Z.
	Heights func(row int, z []float32)
}

// FromTank finds the least laying cost from every cell of the grid to the
// tank, by the paths of 16 neighbours (the steps of a king and of a knight in
// chess). A knight's move pays for the ground between the cells that it jumps
// over and is not made where one of them may not be entered; a diagonal step
// is not made between two cells that may not be entered. Against the straight
// line on even ground such paths are up to 2.75 % too long; Route takes that
// out.
//
// The search is exact for these steps: Dijkstra's algorithm with the buckets
// of Denardo and Fox (1979), as wide as the cheapest step, on costs rounded to
// about 1/512 of it. It is the same whatever the machine. It takes 8 bytes a cell.
//
// A tank outside the grid or on ground that is never entered is a
// *finding.Fault.
func FromTank(ctx context.Context, grid *Grid, tank orb.Point, c LayingCost) (*Field, error) {
	return FromTankTo(ctx, grid, tank, c, FieldOptions{})
}

// FromTankTo is FromTank with options.
func FromTankTo(ctx context.Context, grid *Grid, tank orb.Point, c LayingCost, o FieldOptions) (*Field, error) {
	cells := grid.Cols * grid.Rows
	if err := c.Ground.check(cells); err != nil {
		return nil, err
	}
	if o.Heights == nil && len(grid.Z) != cells || c.Forbidden != nil && len(c.Forbidden) != cells {
		panic("terrain: the grid and its cells do not fit together")
	}
	price, err := newPricing(c, grid.CellM)
	if err != nil {
		return nil, err
	}
	f := newField(grid, tank, price)
	lowest, highest := f.fill(c.Forbidden, o.Heights)
	f.layGround(c.Ground)
	f.newTolls(c.Crossed)
	end, ok := f.index(tank)
	switch {
	case !ok:
		return nil, &finding.Fault{Code: "tank_outside", Text: "the tank lies outside the terrain that was read",
			Hint: "check the tank's coordinates, or give terrain that reaches as far as the tank"}
	case f.nodes[end].cost == neverEntered:
		return nil, &finding.Fault{Code: "tank_no_ground", Text: "at the tank the terrain has no height, or the land may not be entered",
			Hint: "move the tank, fill the gap in the terrain, or change the land that is kept out"}
	}
	f.end = end
	if err := f.search(ctx, float64(highest)-float64(lowest), o); err != nil {
		return nil, err
	}
	return f, nil
}

// fill copies the heights into nodes and gives their range.
func (f *Field) fill(forbidden []bool, read func(row int, z []float32)) (lowest, highest float32) {
	g := f.grid
	var heights []float32
	if read != nil {
		heights = make([]float32, g.Cols)
	}
	closed := node{cost: neverEntered, z: float32(math.NaN())}
	for i := range f.nodes {
		f.nodes[i] = closed
	}
	lowest, highest = math.MaxFloat32, -math.MaxFloat32
	for row := range g.Rows {
		if read != nil {
			read(row, heights)
		} else {
			heights = g.Z[row*g.Cols : (row+1)*g.Cols]
		}
		for col, z := range heights {
			if !(abs(z) < math.MaxFloat32) || forbidden != nil && forbidden[row*g.Cols+col] {
				continue
			}
			f.nodes[f.at(col+border, row+border)] = node{cost: notReached, z: z}
			lowest, highest = min(lowest, z), max(highest, z)
		}
	}
	return lowest, highest
}

// layGround copies the classes of the ground.
func (f *Field) layGround(c *GroundClasses) {
	if c == nil {
		return
	}
	f.class = make([]uint8, len(f.nodes))
	for row := range f.grid.Rows {
		for col, class := range c.Of[row*f.grid.Cols : (row+1)*f.grid.Cols] {
			f.class[f.at(col+border, row+border)] = class
		}
	}
}

// index gives the node of a point.
func (f *Field) index(p orb.Point) (int, bool) {
	col, row, ok := f.grid.Cell(p)
	if !ok {
		return 0, false
	}
	return f.at(col+border, row+border), true
}

// settled says whether the least cost of a node is known.
func (f *Field) settled(i int) bool {
	cost := f.nodes[i].cost
	return cost != neverEntered && uint64(cost) < f.settledBelow
}

// errRange stops a search whose integer costs would not fit into 32 bits. It
// takes factors that differ many thousand times, or absurd relief.
var errRange = errors.New("terrain: the laying costs on this ground differ too much to be searched: bring the factors of the slope classes closer together")

// search settles the nodes bucket by bucket. A bucket is as wide as the
// cheapest step, so no step leads from a node to another one of its bucket,
// and the order within a bucket does not matter.
func (f *Field) search(ctx context.Context, rangeM float64, o FieldOptions) error {
	dearest := f.price.dearestStep(rangeM)
	if f.tolls != nil {
		dearest += f.tolls.dearest
	}
	if dearest > 1<<30 {
		return errRange
	}
	ring := 1
	for ring < int(dearest)>>bucketShift+3 {
		ring *= 2
	}
	q := newQueue(ring)
	limit := uint64(notReached) - uint64(dearest) - 1<<bucketShift - 1
	hitsLimit := true
	if m := o.MaxCost * f.price.units; o.MaxCost > 0 && m < float64(limit) {
		limit, hitsLimit = uint64(m)+tankCost, false
	}
	targets := f.targets(o.Targets)
	f.nodes[f.end].cost = tankCost
	q.push(uint32(f.end), tankCost>>bucketShift)
	for b := 0; q.size > 0; b++ {
		start := uint64(b) << bucketShift
		f.settledBelow = start
		if start > limit {
			if hitsLimit {
				return errRange
			}
			return nil
		}
		if b&63 == 0 {
			if err := ctx.Err(); err != nil {
				return fmt.Errorf("terrain: the search for delivery routes was stopped: %w", err)
			}
		}
		if o.Targets != nil {
			for len(targets) > 0 && f.settled(targets[len(targets)-1]) {
				targets = targets[:len(targets)-1]
			}
			if len(targets) == 0 {
				return nil
			}
		}
		for p := q.take(b); p != nil; p = q.take(b) {
			if f.class == nil && f.tolls == nil {
				f.expandEven(q, p.entries[:p.used], b)
			} else {
				f.expand(q, p.entries[:p.used], b)
			}
			q.release(p)
		}
	}
	f.settledBelow = notReached
	return nil
}

// targets lists the nodes of those places that can be reached at all.
func (f *Field) targets(places []orb.Point) []int {
	var list []int
	for _, p := range places {
		if i, ok := f.index(p); ok && f.nodes[i].cost != neverEntered {
			list = append(list, i)
		}
	}
	return list
}

// queue is a ring of buckets of nodes. A node may be in several; it counts in
// the one that its present cost belongs to. The buckets share their memory,
// piece by piece, so that it stays small and in the processor's caches.
type queue struct {
	top  []*pieceOfBucket // the last piece of each bucket
	free *pieceOfBucket
	mask int
	size int // entries in all buckets
}

type pieceOfBucket struct {
	below   *pieceOfBucket
	used    int
	entries [252]uint32
}

func newQueue(ring int) *queue { return &queue{top: make([]*pieceOfBucket, ring), mask: ring - 1} }

func (q *queue) push(i uint32, bucket int) {
	p := q.top[bucket&q.mask]
	if p == nil || p.used == len(p.entries) {
		p = q.addPiece(bucket)
	}
	p.entries[p.used] = i
	p.used++
	q.size++
}

func (q *queue) addPiece(bucket int) *pieceOfBucket {
	p := q.free
	if p == nil {
		p = new(pieceOfBucket)
	} else {
		q.free = p.below
	}
	b := bucket & q.mask
	p.below, q.top[b] = q.top[b], p
	return p
}

// take removes and gives the last piece of a bucket, nil when it is empty. The
// caller gives it back with release.
func (q *queue) take(bucket int) *pieceOfBucket {
	b := bucket & q.mask
	p := q.top[b]
	if p != nil {
		q.top[b] = p.below
		q.size -= p.used
	}
	return p
}

func (q *queue) release(p *pieceOfBucket) {
	p.used, p.below, q.free = 0, q.free, p
}

// expand settles nodes of a bucket and offers their neighbours a way.
func (f *Field) expand(q *queue, entries []uint32, b int) {
	nodes := f.nodes
	for _, entry := range entries {
		u := int(entry)
		from := nodes[u].cost
		if int(from>>bucketShift) != b {
			continue // found a cheaper way in the meantime
		}
		s := f.stepsOf(u)
		for open := f.worthwhile(u, s); open != 0; open &= open - 1 {
			k := bits.TrailingZeros32(open) & 15
			if w, ok := f.stepCost(u, k, s); ok {
				f.offer(q, u+s.to[k], from+w)
			}
		}
	}
}

// expandEven is expand where all ground is alike and no line is crossed. The
// three kinds of step stand one after the other, and a knight's halves are priced
// here, because neither the choice by kind nor knightStep is inlined: a tenth to a
// fifth of the time.
func (f *Field) expandEven(q *queue, entries []uint32, b int) {
	nodes, price := f.nodes, f.price
	for _, entry := range entries {
		u := int(entry)
		from := nodes[u]
		if int(from.cost>>bucketShift) != b {
			continue // found a cheaper way in the meantime
		}
		s := f.stepsOf(u)
		open := f.worthwhile(u, s)
		for ; open&(1<<firstDiagonal-1) != 0; open &= open - 1 {
			v := u + s.to[bits.TrailingZeros32(open)&15]
			if w, ok := price.straightStep(from.z, nodes[v].z); ok {
				f.offer(q, v, from.cost+w)
			}
		}
		for ; open&(1<<firstKnight-1) != 0; open &= open - 1 {
			k := bits.TrailingZeros32(open) & 15
			if nodes[u+s.a[k]].cost == neverEntered && nodes[u+s.b[k]].cost == neverEntered {
				continue
			}
			v := u + s.to[k]
			if w, ok := price.diagonalStep(from.z, nodes[v].z); ok {
				f.offer(q, v, from.cost+w)
			}
		}
		for ; open != 0; open &= open - 1 {
			k := bits.TrailingZeros32(open) & 15
			v := u + s.to[k]
			mid := (nodes[u+s.a[k]].z + nodes[u+s.b[k]].z) * 0.5
			if first, ok := price.halfStep(abs(mid - from.z)); ok {
				if second, ok := price.halfStep(abs(nodes[v].z - mid)); ok {
					f.offer(q, v, from.cost+uint32(first+second+0.5))
				}
			}
		}
	}
}

// worthwhile gives the set of steps whose ends cost more than the least that
// such a step leads to. This leaves out all that is settled or never entered.
// It has no branches: they would be guessed wrong too often.
func (f *Field) worthwhile(u int, s *steps) uint32 {
	nodes, to := f.nodes, &s.to
	from := uint64(nodes[u].cost)
	bound := &f.price.least[0]
	if f.class != nil {
		bound = &f.price.least[f.class[u]]
	}
	least := from + uint64(bound.straight)
	open := (least-uint64(nodes[u+to[0]].cost))>>63 |
		(least-uint64(nodes[u+to[1]].cost))>>63<<1 |
		(least-uint64(nodes[u+to[2]].cost))>>63<<2 |
		(least-uint64(nodes[u+to[3]].cost))>>63<<3
	least = from + uint64(bound.diagonal)
	open |= (least-uint64(nodes[u+to[4]].cost))>>63<<4 |
		(least-uint64(nodes[u+to[5]].cost))>>63<<5 |
		(least-uint64(nodes[u+to[6]].cost))>>63<<6 |
		(least-uint64(nodes[u+to[7]].cost))>>63<<7
	least = from + uint64(bound.knight)
	open |= (least-uint64(nodes[u+to[8]].cost))>>63<<8 |
		(least-uint64(nodes[u+to[9]].cost))>>63<<9 |
		(least-uint64(nodes[u+to[10]].cost))>>63<<10 |
		(least-uint64(nodes[u+to[11]].cost))>>63<<11 |
		(least-uint64(nodes[u+to[12]].cost))>>63<<12 |
		(least-uint64(nodes[u+to[13]].cost))>>63<<13 |
		(least-uint64(nodes[u+to[14]].cost))>>63<<14 |
		(least-uint64(nodes[u+to[15]].cost))>>63<<15
	return uint32(open)
}

// stepCost is the cost of step k from a node, fees included; false where it
// cannot be made.
func (f *Field) stepCost(u, k int, s *steps) (uint32, bool) {
	w, ok := f.groundCost(u, k, s)
	if ok && f.tolls != nil {
		w += f.stepToll(u, k)
	}
	return w, ok
}

// groundCost is the cost of step k from a node without fees; false where it
// cannot be made.
func (f *Field) groundCost(u, k int, s *steps) (uint32, bool) {
	if f.class != nil {
		return f.classedCost(u, k, s)
	}
	nodes := f.nodes
	from, to := nodes[u].z, nodes[u+s.to[k]].z
	switch {
	case k < firstDiagonal:
		return f.price.straightStep(from, to)
	case k < firstKnight:
		if nodes[u+s.a[k]].cost == neverEntered && nodes[u+s.b[k]].cost == neverEntered {
			return 0, false
		}
		return f.price.diagonalStep(from, to)
	}
	return f.price.knightStep(from, to, nodes[u+s.a[k]].z, nodes[u+s.b[k]].z)
}

// classedCost is groundCost where the ground has classes: the factor runs
// straight from one middle to the next, as the height does.
func (f *Field) classedCost(u, k int, s *steps) (uint32, bool) {
	nodes, factor := f.nodes, &f.price.factor
	from, to := nodes[u].z, nodes[u+s.to[k]].z
	here, there := factor[f.class[u]], factor[f.class[u+s.to[k]]]
	switch {
	case k < firstDiagonal:
		return f.price.over(from, to, (here+there)*0.5, straight)
	case k < firstKnight:
		if nodes[u+s.a[k]].cost == neverEntered && nodes[u+s.b[k]].cost == neverEntered {
			return 0, false
		}
		return f.price.over(from, to, (here+there)*0.5, diagonal)
	}
	return f.price.knightOver(from, to, nodes[u+s.a[k]].z, nodes[u+s.b[k]].z, here, there, (factor[f.class[u+s.a[k]]]+factor[f.class[u+s.b[k]]])*0.5)
}

// offer gives a node a cheaper cost and its place in the queue. It is small so
// that the compiler inlines it: a third of the offers is no better.
func (f *Field) offer(q *queue, v int, cost uint32) {
	if cost < f.nodes[v].cost {
		f.accept(q, v, cost)
	}
}

func (f *Field) accept(q *queue, v int, cost uint32) {
	old := f.nodes[v].cost
	f.nodes[v].cost = cost
	if bucket := cost >> bucketShift; bucket != old>>bucketShift || old == notReached {
		q.push(uint32(v), int(bucket))
	}
}

// next gives the node that follows on the cheapest way to the tank, by the
// last in the order of steps where several are equally cheap. The node must be
// settled and not be the tank's.
func (f *Field) next(u int) (v, k int) {
	from, s := f.nodes[u].cost, f.stepsOf(u)
	for k := len(s.to) - 1; k >= 0; k-- {
		v := u + s.to[k]
		cost := f.nodes[v].cost
		if cost == neverEntered || cost >= from {
			continue
		}
		if w, ok := f.stepCost(u, k, s); ok && cost+w == from {
			return v, k
		}
	}
	panic("terrain: a settled cell has no way to the tank")
}
