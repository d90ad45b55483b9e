package profile

import (
	"context"
	"math"

	"github.com/paulmach/orb"
)

// The price of a step from u to v of length l, walking downstream:
//
//	l·(1 + relWeight·(rel_u+rel_v)/2 + pullWeight·(off_v/σ)²) + climbWeight·max(0, z_v−z_u)
//
// Low ground nearby draws the line into the channel, the walked track keeps it
// out of the next valley, and climbing keeps it from crossing bends. The
// three constants were found on simulated valleys; see the tests.
const (
	relWeight   = 8    // per metre above the lowest ground nearby
	pullWeight  = 0.15 // per squared σ off the walked line
	climbWeight = 4    // metres of way per metre climbed

	// voidRelM stands for the unknown height above the lowest ground in a
	// void: dear enough to go round small ones, cheap enough to cross one that
	// lies on the creek.
	voidRelM = 1
)

// lowestPath is the cheapest way from one cell to another (or to any cell for
// which to returns true) through cells at most offMax from the line. Cells of
// equal cost are taken in the order of their numbers, so the result does not
// depend on anything but the input. upstream reverses what counts as a climb.
// ok is false when there is no way.
func (c *corridor) lowestPath(ctx context.Context, from int, to func(int) bool, sigmaM, offMaxM float64, upstream bool) (cells []int, ok bool, err error) {
	cost := make([]float64, len(c.z))
	for i := range cost {
		cost[i] = math.Inf(1)
	}
	came := make([]uint8, len(c.z)) // 1 + the step that led here
	done := make([]bool, len(c.z))
	q := pathQueue{}
	cost[from] = 0
	q.push(pathEntry{0, int32(from)})
	for count := 0; len(q) > 0; count++ {
		if count%4096 == 0 && ctx.Err() != nil {
			return nil, false, ctx.Err()
		}
		e := q.pop()
		u := int(e.cell)
		if done[u] {
			continue
		}
		done[u] = true
		if to(u) {
			return c.walkBack(from, u, came), true, nil
		}
		col, row := c.place(u)
		for k, step := range steps {
			v := c.index(col+step.col, row+step.row)
			if v < 0 || done[v] || float64(c.off[v]) > offMaxM {
				continue
			}
			if d := e.cost + c.stepCost(u, v, step.length*c.cellM, sigmaM, upstream); d < cost[v] {
				cost[v] = d
				came[v] = uint8(k + 1)
				q.push(pathEntry{d, int32(v)})
			}
		}
	}
	return nil, false, nil
}

func (c *corridor) stepCost(u, v int, length, sigmaM float64, upstream bool) float64 {
	relU, relV := float64(c.rel[u]), float64(c.rel[v])
	climb := float64(c.z[v] - c.z[u])
	if upstream {
		climb = -climb
	}
	if relU != relU {
		relU, climb = voidRelM, 0
	}
	if relV != relV {
		relV, climb = voidRelM, 0
	}
	pull := float64(c.off[v]) / sigmaM
	return length*(1+relWeight*(relU+relV)/2+pullWeight*pull*pull) + climbWeight*max(0, climb)
}

var steps = [8]struct {
	col, row int
	length   float64
}{
	{1, 0, 1}, {-1, 0, 1}, {0, 1, 1}, {0, -1, 1},
	{1, 1, math.Sqrt2}, {-1, 1, math.Sqrt2}, {1, -1, math.Sqrt2}, {-1, -1, math.Sqrt2},
}

func (c *corridor) walkBack(from, to int, came []uint8) []int {
	cells := []int{to}
	for u := to; u != from; {
		col, row := c.place(u)
		s := steps[came[u]-1]
		u = c.index(col-s.col, row-s.row)
		cells = append(cells, u)
	}
	for i, j := 0, len(cells)-1; i < j; i, j = i+1, j-1 {
		cells[i], cells[j] = cells[j], cells[i]
	}
	return cells
}

type pathEntry struct {
	cost float64
	cell int32
}

func (e pathEntry) before(o pathEntry) bool {
	return e.cost < o.cost || e.cost == o.cost && e.cell < o.cell
}

// pathQueue is a binary heap, the least entry on top.
type pathQueue []pathEntry

func (q *pathQueue) push(e pathEntry) {
	*q = append(*q, e)
	s := *q
	i := len(s) - 1
	for i > 0 {
		parent := (i - 1) / 2
		if !e.before(s[parent]) {
			break
		}
		s[i] = s[parent]
		i = parent
	}
	s[i] = e
}

func (q *pathQueue) pop() pathEntry {
	s := *q
	top := s[0]
	n := len(s) - 1
	e := s[n]
	s = s[:n]
	*q = s
	if n == 0 {
		return top
	}
	i := 0
	for {
		child := 2*i + 1
		if child >= n {
			break
		}
		if child+1 < n && s[child+1].before(s[child]) {
			child++
		}
		if !s[child].before(e) {
			break
		}
		s[i] = s[child]
		i = child
	}
	s[i] = e
	return top
}

// lowestNear is the lowest known cell within radiusM of p, or the cell
// nearest to p when the ground is unknown all around; -1 outside. Cells
// further than offMaxM from the line do not count.
func (c *corridor) lowestNear(p orb.Point, radiusM, offMaxM float64) int {
	reach := int(radiusM/c.cellM) + 1
	col0, row0 := c.cellIndex(p[0], c.east), c.cellIndex(p[1], c.north)
	best, nearest := -1, -1
	nearestM := math.Inf(1)
	for row := row0 - reach; row <= row0+reach; row++ {
		for col := col0 - reach; col <= col0+reach; col++ {
			i := c.index(col, row)
			if i < 0 || float64(c.off[i]) > offMaxM {
				continue
			}
			d := distance(c.centre(i), p)
			if d < nearestM {
				nearest, nearestM = i, d
			}
			if z := c.z[i]; d <= radiusM && z == z && (best < 0 || z < c.z[best]) {
				best = i
			}
		}
	}
	if best < 0 {
		return nearest
	}
	return best
}

// trace turns a chain of cells into a line without the staircase of its
// eight directions, which would lengthen it by up to 8 %: vertices that lie
// within 0.7 cell of the line between their neighbours are left out (Douglas
// and Peucker 1973). The ends stay.
func (c *corridor) trace(cells []int) orb.LineString {
	line := make(orb.LineString, len(cells))
	for i, cell := range cells {
		line[i] = c.centre(cell)
	}
	return simplified(line, 0.7*c.cellM)
}

// simplified is a copy of the line without the vertices that lie within
// toleranceM of it (Douglas and Peucker 1973).
func simplified(line orb.LineString, toleranceM float64) orb.LineString {
	if len(line) < 3 {
		return line.Clone()
	}
	keep := make([]bool, len(line))
	keep[0], keep[len(line)-1] = true, true
	stack := [][2]int{{0, len(line) - 1}}
	for len(stack) > 0 {
		span := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		furthest, at := toleranceM*toleranceM, -1
		for i := span[0] + 1; i < span[1]; i++ {
			if d2, _ := segmentDistance2(line[span[0]], line[span[1]], line[i]); d2 > furthest {
				furthest, at = d2, i
			}
		}
		if at >= 0 {
			keep[at] = true
			stack = append(stack, [2]int{span[0], at}, [2]int{at, span[1]})
		}
	}
	out := orb.LineString{}
	for i, k := range keep {
		if k {
			out = append(out, line[i])
		}
	}
	return out
}
