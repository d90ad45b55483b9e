package terrain

import (
	"context"
	"math"
	"runtime"
	"sync"
	"sync/atomic"

	"github.com/paulmach/orb"

	"route/internal/profile"
)

// MaxCells is the largest grid that can be sampled and searched: the search
// counts cells in 32 bits.
const MaxCells = 1 << 31

// Sample reads a ground into a grid of square cells: the heights at the cells'
// centres, NaN where the ground has none. The grid begins at the north-western
// corner of the area and is made of whole cells, so it may stand out over the
// area in the south and the east by less than a cell. Rows are read in
// parallel; the result does not depend on that.
//
// The area must not be empty, the cell size must be above 0, and there must be
// no more than MaxCells cells.
func Sample(g profile.Ground, area orb.Bound, cellM float64) *Grid {
	grid, _ := SampleContext(context.Background(), g, area, cellM)
	return grid
}

// SampleContext is Sample that stops when the context ends; it then gives the
// context's error.
func SampleContext(ctx context.Context, g profile.Ground, area orb.Bound, cellM float64) (*Grid, error) {
	width, height := area.Max[0]-area.Min[0], area.Max[1]-area.Min[1]
	if !(width > 0 && height > 0 && cellM > 0) {
		panic("terrain: the area to sample is empty")
	}
	// The tolerance keeps 10 m in cells of 0.1 m at 100 cells.
	cols, rows := math.Ceil(width/cellM-1e-6), math.Ceil(height/cellM-1e-6)
	if !(cols*rows <= MaxCells) {
		panic("terrain: the area to sample has too many cells")
	}
	grid := &Grid{CellM: cellM, Cols: max(1, int(cols)), Rows: max(1, int(rows))}
	grid.Bound = orb.Bound{
		Min: orb.Point{area.Min[0], area.Max[1] - float64(grid.Rows)*cellM},
		Max: orb.Point{area.Min[0] + float64(grid.Cols)*cellM, area.Max[1]},
	}
	grid.Z = make([]float32, grid.Cols*grid.Rows)
	err := inParallel(ctx, grid.Rows, func(row int) {
		line := grid.Z[row*grid.Cols : (row+1)*grid.Cols]
		for col := range line {
			z, ok := g.At(grid.Centre(col, row))
			if !ok {
				z = math.NaN()
			}
			line[col] = float32(z)
		}
	})
	if err != nil {
		return nil, err
	}
	return grid, nil
}

// inParallel calls a function for every row on all processors, until all are
// done or the context ends.
func inParallel(ctx context.Context, rows int, do func(row int)) error {
	var next atomic.Int64
	var workers sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), rows) {
		workers.Go(func() {
			for {
				row := int(next.Add(1)) - 1
				if row >= rows || ctx.Err() != nil {
					return
				}
				do(row)
			}
		})
	}
	workers.Wait()
	return ctx.Err()
}
