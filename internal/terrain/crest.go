package terrain

import (
	"context"
	"fmt"
	"math"
	"math/bits"

	"github.com/paulmach/orb"

	"route/internal/finding"
)

// Crests holds the lowest crest that a way from every cell to the tank can
// have, whatever its length.
type Crests struct {
	grid *Grid
	z    []float32 // row-major; NaN where there is no way
}

// CrestMin finds the lowest possible crest of a way to the tank from every
// cell: the minimax path, by flooding the ground from the tank outwards in the
// order of height (priority-flood, Barnes, Lehman and Mulla 2014). Steps go to
// the 8 neighbours, not between two cells that may not be entered. Heights
// count at the cells' middles. It takes 4 bytes a cell and the queue.
func CrestMin(ctx context.Context, grid *Grid, tank orb.Point, forbidden []bool) (*Crests, error) {
	if len(grid.Z) != grid.Cols*grid.Rows || forbidden != nil && len(forbidden) != len(grid.Z) {
		panic("terrain: the grid and its cells do not fit together")
	}
	c := &Crests{grid: grid, z: make([]float32, len(grid.Z))}
	nan := float32(math.NaN())
	for i := range c.z {
		c.z[i] = nan
	}
	blocked := func(col, row int) bool {
		i := row*grid.Cols + col
		return math.IsNaN(float64(grid.Z[i])) || forbidden != nil && forbidden[i]
	}
	col, row, ok := grid.Cell(tank)
	if !ok || blocked(col, row) {
		return nil, &finding.Fault{Code: "tank_no_ground", Text: "at the tank the terrain has no height, or the land may not be entered",
			Hint: "move the tank, fill the gap in the terrain, or change the land that is kept out"}
	}
	var heap radixHeap
	// Cells that lie no higher than the flood need no queue.
	pit := []int{row*grid.Cols + col}
	c.z[pit[0]] = grid.Z[pit[0]]
	for n := 0; ; n++ {
		if n&0xfffff == 0 && ctx.Err() != nil {
			return nil, fmt.Errorf("terrain: the search for crests was stopped: %w", ctx.Err())
		}
		var u int
		switch {
		case len(pit) > 0:
			u = pit[len(pit)-1]
			pit = pit[:len(pit)-1]
		case heap.size > 0:
			u = int(uint32(heap.pop()))
		default:
			return c, nil
		}
		x, y, level := u%grid.Cols, u/grid.Cols, c.z[u]
		for dy := -1; dy <= 1; dy++ {
			for dx := -1; dx <= 1; dx++ {
				vx, vy := x+dx, y+dy
				if uint(vx) >= uint(grid.Cols) || uint(vy) >= uint(grid.Rows) {
					continue
				}
				v := vy*grid.Cols + vx
				// Set already, also for the cell itself.
				if !math.IsNaN(float64(c.z[v])) || blocked(vx, vy) || dx != 0 && dy != 0 && blocked(vx, y) && blocked(x, vy) {
					continue
				}
				if z := grid.Z[v]; z > level {
					c.z[v] = z
					heap.push(uint64(orderedBits(z))<<32 | uint64(v))
				} else {
					c.z[v] = level
					pit = append(pit, v)
				}
			}
		}
	}
}

// At gives the lowest possible crest of a way from a place to the tank in
// metres; ok is false where there is no way.
func (c *Crests) At(from orb.Point) (crestM float64, ok bool) {
	col, row, ok := c.grid.Cell(from)
	if !ok {
		return 0, false
	}
	z := float64(c.z[row*c.grid.Cols+col])
	return z, !math.IsNaN(z)
}

// orderedBits maps a float32 to an integer in the same order.
func orderedBits(z float32) uint32 {
	b := math.Float32bits(z)
	if b>>31 != 0 {
		return ^b
	}
	return b | 1<<31
}

// radixHeap is a priority queue for keys of which none that is pushed is below
// the last that was popped (Ahuja, Mehlhorn, Orlin and Tarjan 1990).
type radixHeap struct {
	buckets [65][]uint64
	last    uint64
	size    int
}

func (h *radixHeap) push(key uint64) {
	b := bits.Len64(key ^ h.last)
	h.buckets[b] = append(h.buckets[b], key)
	h.size++
}

func (h *radixHeap) pop() uint64 {
	b := 0
	for len(h.buckets[b]) == 0 {
		b++
	}
	if b > 0 {
		least := h.buckets[b][0]
		for _, k := range h.buckets[b] {
			least = min(least, k)
		}
		h.last = least
		for _, k := range h.buckets[b] {
			to := bits.Len64(k ^ least)
			h.buckets[to] = append(h.buckets[to], k)
		}
		h.buckets[b] = h.buckets[b][:0]
	}
	h.size--
	n := len(h.buckets[0]) - 1
	key := h.buckets[0][n]
	h.buckets[0] = h.buckets[0][:n]
	return key
}
