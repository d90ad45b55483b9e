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
	grid   *Grid
	tank   orb.Point
	nodes  []node // with the border around
	stride int
	end    int // index of the tank's cell
	price  *pricing
	steps  *steps
	// Cells that cost less are settled, all others are not known.
	settledBelow uint64

	mu    sync.Mutex
	known map[int]way // of cells that were asked for, and of those on their way
}

// steps holds the index offsets of the 16 neighbours: four straight ones, four
// diagonal ones, eight knight's moves.
type steps struct {
	to [16]int
	// The cells beside a diagonal step, and those that a knight jumps over.
	a, b [16]int
}

// The numbers of the steps of a kind begin here.
const (
	firstDiagonal = 4
	firstKnight   = 8
)

func newSteps(stride int) *steps {
	s := &steps{}
	at := func(dx, dy int) int { return dy*stride + dx }
	copy(s.to[:], []int{at(0, -1), at(-1, 0), at(1, 0), at(0, 1)})
	diagonal, knight := firstDiagonal, firstKnight
	add := func(k *int, to, a, b int) {
		s.to[*k], s.a[*k], s.b[*k] = to, a, b
		*k++
	}
	for _, dy := range [2]int{-1, 1} {
		for _, dx := range [2]int{-1, 1} {
			add(&diagonal, at(dx, dy), at(dx, 0), at(0, dy))
			add(&knight, at(2*dx, dy), at(dx, 0), at(dx, dy))
			add(&knight, at(dx, 2*dy), at(0, dy), at(dx, dy))
		}
	}
	return s
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
	if len(grid.Z) != grid.Cols*grid.Rows || c.Forbidden != nil && len(c.Forbidden) != len(grid.Z) {
		panic("terrain: the grid and its cells do not fit together")
	}
	price, err := newPricing(c, grid.CellM)
	if err != nil {
		return nil, err
	}
	f := &Field{grid: grid, tank: tank, stride: grid.Cols + 2*border, price: price, known: map[int]way{}}
	f.steps = newSteps(f.stride)
	lowest, highest := f.fill(c.Forbidden)
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
func (f *Field) fill(forbidden []bool) (lowest, highest float32) {
	g := f.grid
	f.nodes = make([]node, f.stride*(g.Rows+2*border))
	lowest, highest = math.MaxFloat32, -math.MaxFloat32
	closed := node{cost: neverEntered, z: float32(math.NaN())}
	for i := range border * f.stride { // in the north and the south
		f.nodes[i], f.nodes[len(f.nodes)-1-i] = closed, closed
	}
	for row := range g.Rows {
		heights := g.Z[row*g.Cols : (row+1)*g.Cols]
		line := f.nodes[(row+border)*f.stride:][:f.stride]
		for i := range border { // in the west and the east
			line[i], line[len(line)-1-i] = closed, closed
		}
		line = line[border:][:g.Cols]
		for col, z := range heights {
			if !(abs(z) < math.MaxFloat32) || forbidden != nil && forbidden[row*g.Cols+col] {
				line[col] = closed
				continue
			}
			line[col] = node{cost: notReached, z: z}
			lowest, highest = min(lowest, z), max(highest, z)
		}
	}
	return lowest, highest
}

// index gives the node of a point.
func (f *Field) index(p orb.Point) (int, bool) {
	col, row, ok := f.grid.Cell(p)
	return (row+border)*f.stride + col + border, ok
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
	if dearest > 1<<30 {
		return errRange
	}
	ring := 1
	for ring < int(dearest)>>bucketShift+3 {
		ring *= 2
	}
	q := &queue{buckets: make([][]uint32, ring), mask: ring - 1}
	limit := uint64(notReached) - uint64(dearest) - 1<<bucketShift - 1
	hitsLimit := true
	if m := o.MaxCost / f.price.perMetre * f.price.units; o.MaxCost > 0 && m < float64(limit) {
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
		f.expand(q, b)
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
// the one that its present cost belongs to.
type queue struct {
	buckets [][]uint32
	mask    int
	size    int // entries in all buckets
}

func (q *queue) push(i uint32, bucket int) {
	b := bucket & q.mask
	q.buckets[b] = append(q.buckets[b], i)
	q.size++
}

// expand settles the nodes of a bucket and offers their neighbours a way.
func (f *Field) expand(q *queue, b int) {
	nodes := f.nodes
	entries := q.buckets[b&q.mask]
	for _, entry := range entries {
		u := int(entry)
		from := nodes[u].cost
		if int(from>>bucketShift) != b {
			continue // found a cheaper way in the meantime
		}
		for open := f.worthwhile(u); open != 0; open &= open - 1 {
			k := bits.TrailingZeros32(open) & 15
			if w, ok := f.stepCost(u, k); ok {
				f.offer(q, u+f.steps.to[k], from+w)
			}
		}
	}
	q.size -= len(entries)
	q.buckets[b&q.mask] = entries[:0]
}

// worthwhile gives the set of steps whose ends cost more than the least that
// such a step leads to. This leaves out all that is settled or never entered.
// It has no branches: they would be guessed wrong too often.
func (f *Field) worthwhile(u int) uint32 {
	nodes, to := f.nodes, &f.steps.to
	from := uint64(nodes[u].cost)
	var open uint64
	least := from + uint64(f.price.leastStraight)
	for k := range firstDiagonal {
		open |= (least - uint64(nodes[u+to[k]].cost)) >> 63 << k
	}
	least = from + uint64(f.price.leastDiagonal)
	for k := firstDiagonal; k < firstKnight; k++ {
		open |= (least - uint64(nodes[u+to[k]].cost)) >> 63 << k
	}
	least = from + uint64(f.price.leastKnight)
	for k := firstKnight; k < len(to); k++ {
		open |= (least - uint64(nodes[u+to[k]].cost)) >> 63 << k
	}
	return uint32(open)
}

// stepCost is the cost of step k from a node; false where it cannot be made.
func (f *Field) stepCost(u, k int) (uint32, bool) {
	nodes, s := f.nodes, f.steps
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

// offer gives a node a cheaper cost and its place in the queue.
func (f *Field) offer(q *queue, v int, cost uint32) {
	old := f.nodes[v].cost
	if cost >= old {
		return
	}
	f.nodes[v].cost = cost
	if bucket := cost >> bucketShift; bucket != old>>bucketShift || old == notReached {
		q.push(uint32(v), int(bucket))
	}
}

// next gives the node that follows on the cheapest way to the tank, by the
// last in the order of steps where several are equally cheap. The node must be
// settled and not be the tank's.
func (f *Field) next(u int) (v, k int) {
	from := f.nodes[u].cost
	for k := len(f.steps.to) - 1; k >= 0; k-- {
		v := u + f.steps.to[k]
		cost := f.nodes[v].cost
		if cost == neverEntered || cost >= from {
			continue
		}
		if w, ok := f.stepCost(u, k); ok && cost+w == from {
			return v, k
		}
	}
	panic("terrain: a settled cell has no way to the tank")
}
