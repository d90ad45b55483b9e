package terrain

import (
	"context"
	"errors"
	"fmt"
	"math"
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
	steps  steps
	// Cells that cost less are settled, all others are not known.
	settledBelow uint64

	mu    sync.Mutex
	known map[int]way // of cells that were asked for, and of those on their way
}

// steps holds the index offsets of the 16 neighbours.
type steps struct {
	straight [4]int
	diagonal [4]struct{ to, a, b int } // a and b lie beside the step
	knight   [8]struct{ to, a, b int } // a and b are jumped over
}

func newSteps(stride int) steps {
	var s steps
	at := func(dx, dy int) int { return dy*stride + dx }
	s.straight = [4]int{at(0, -1), at(-1, 0), at(1, 0), at(0, 1)}
	i, k := 0, 0
	for _, dy := range [2]int{-1, 1} {
		for _, dx := range [2]int{-1, 1} {
			s.diagonal[i].to, s.diagonal[i].a, s.diagonal[i].b = at(dx, dy), at(dx, 0), at(0, dy)
			i++
			s.knight[k].to, s.knight[k].a, s.knight[k].b = at(2*dx, dy), at(dx, 0), at(dx, dy)
			k++
			s.knight[k].to, s.knight[k].a, s.knight[k].b = at(dx, 2*dy), at(0, dy), at(dx, dy)
			k++
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
	nan := float32(math.NaN())
	for i := range f.nodes {
		f.nodes[i].z = nan
	}
	lowest, highest = math.MaxFloat32, -math.MaxFloat32
	for row := range g.Rows {
		heights := g.Z[row*g.Cols : (row+1)*g.Cols]
		line := f.nodes[(row+border)*f.stride+border:][:g.Cols]
		for col, z := range heights {
			if !(abs(z) < math.MaxFloat32) || forbidden != nil && forbidden[row*g.Cols+col] {
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

// centre is the middle of a node's cell.
func (f *Field) centre(i int) orb.Point {
	return f.grid.Centre(i%f.stride-border, i/f.stride-border)
}

// settled says whether the least cost of a node is known.
func (f *Field) settled(i int) bool {
	cost := f.nodes[i].cost
	return cost != neverEntered && uint64(cost) < f.settledBelow
}

// errRange: see the text. It takes terrain of absurd relief or factors that
// differ a million times.
var errRange = errors.New("terrain: the laying costs on this ground differ too much to be searched")

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
	limit := uint64(notReached) - uint64(dearest) - 1
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
	nodes, s, price := f.nodes, &f.steps, f.price
	entries := q.buckets[b&q.mask]
	for _, entry := range entries {
		u := int(entry)
		from := nodes[u]
		if int(from.cost>>bucketShift) != b {
			continue // found a cheaper way in the meantime
		}
		// A neighbour whose cost is not above the least that a step could
		// give needs no closer look: this also passes over all settled and
		// all never entered nodes.
		least := from.cost + price.leastStraight
		for _, d := range s.straight {
			v := u + d
			if nodes[v].cost <= least {
				continue
			}
			if w, ok := price.straightStep(from.z, nodes[v].z); ok {
				f.offer(q, v, from.cost+w)
			}
		}
		least = from.cost + price.leastDiagonal
		for i := range s.diagonal {
			d := &s.diagonal[i]
			v := u + d.to
			if nodes[v].cost <= least || nodes[u+d.a].cost == neverEntered && nodes[u+d.b].cost == neverEntered {
				continue
			}
			if w, ok := price.diagonalStep(from.z, nodes[v].z); ok {
				f.offer(q, v, from.cost+w)
			}
		}
		least = from.cost + price.leastKnight
		for i := range s.knight {
			d := &s.knight[i]
			v := u + d.to
			if nodes[v].cost <= least {
				continue
			}
			if w, ok := price.knightStep(from.z, nodes[v].z, nodes[u+d.a].z, nodes[u+d.b].z); ok {
				f.offer(q, v, from.cost+w)
			}
		}
	}
	q.size -= len(entries)
	q.buckets[b&q.mask] = entries[:0]
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

// next gives the node that follows on the cheapest way to the tank. The
// nearest in the fixed order of steps counts where several are equally cheap.
// The node must be settled and not be the tank's.
func (f *Field) next(u int) int {
	nodes, s, price := f.nodes, &f.steps, f.price
	from := nodes[u]
	for i := range s.knight {
		d := &s.knight[i]
		v := u + d.to
		if c := nodes[v].cost; c != neverEntered && c < from.cost {
			if w, ok := price.knightStep(from.z, nodes[v].z, nodes[u+d.a].z, nodes[u+d.b].z); ok && c+w == from.cost {
				return v
			}
		}
	}
	for i := range s.diagonal {
		d := &s.diagonal[i]
		v := u + d.to
		if c := nodes[v].cost; c != neverEntered && c < from.cost {
			if nodes[u+d.a].cost == neverEntered && nodes[u+d.b].cost == neverEntered {
				continue
			}
			if w, ok := price.diagonalStep(from.z, nodes[v].z); ok && c+w == from.cost {
				return v
			}
		}
	}
	for _, d := range s.straight {
		v := u + d
		if c := nodes[v].cost; c != neverEntered && c < from.cost {
			if w, ok := price.straightStep(from.z, nodes[v].z); ok && c+w == from.cost {
				return v
			}
		}
	}
	panic("terrain: a settled cell has no way to the tank")
}
