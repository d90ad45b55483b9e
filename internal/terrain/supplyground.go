package terrain

import (
	"context"
	"math"
	"slices"
	"sync"

	"github.com/paulmach/orb"
)

// SupplyCreek is the creek as a supply pipe sees it: its stations, downstream,
// with the level of a pipe that lies on the bed, which never rises.
type SupplyCreek struct {
	At     []orb.Point
	BedM   []float64
	AlongM []float64 // length along the slope
	Closed []bool    // stations that the pipe may not pass; nil when it may pass all
}

// SupplyRules say where a supply pipe may lie. The zero value allows a pipe
// that lies on the ground and falls, over all ground.
type SupplyRules struct {
	DigM, TrestleM float64 // how far below and above the ground away from the creek
	SlopeMin       float64 // least fall over length
	LengthMaxM     float64 // of the pipe; 0 is no limit
	Forbidden      []bool  // cells that are never entered, row-major; nil when all are allowed
	// LeastSavingM leaves out ground over which no line is shorter than the
	// creek by so much, between any two stations. Negative looks at all ground.
	LeastSavingM float64
	// CutsOnly leaves the creek on straight lines between two stations only,
	// which takes thousands of times less work than every way over the cells.
	// It looks no further along the creek than four times the longest pipe.
	CutsOnly bool
}

// SupplyGround is the ground that supply pipes may be laid over: the creek,
// where the pipe lies on the bed, and the cells beside it through which a line
// could be shorter than the creek. It does not change once made and may be
// used by many goroutines.
type SupplyGround struct {
	grid  *Grid
	creek SupplyCreek
	rules SupplyRules
	n     int // stations; node n is the first cell

	within *ellipse // where the cells lie; nil for everywhere

	open  []bool // whether a pipe may run from a station to the next along the creek
	cells []supplyCell
	id    []int32 // node of a cell of the window with its border, -1 outside the ground
	col0, row0,
	stride int // the window
	links   [][]supplyLink // of each station
	backTo  [][]supplyLink // of each cell, to stations
	cuts    [][]supplyCut  // of each station
	along   []float64      // length along the creek, with closed steps counted twice
	wayBack []float64      // of each cell, less the creek's length down to where it ends; nil when all ground is looked at
	scratch sync.Pool
}

// supplyCell is a cell of the ground.
type supplyCell struct {
	z  float64
	at int32 // index into id
}

// supplyLink joins a station and a cell beside it.
type supplyLink struct {
	node   int32
	length float64
}

// NewSupplyGround finds the ground that matters for supply pipes along a creek
// on a grid.
func NewSupplyGround(ctx context.Context, grid *Grid, creek SupplyCreek, rules SupplyRules) (*SupplyGround, error) {
	return newSupplyGround(ctx, grid, creek, rules, nil)
}

func newSupplyGround(ctx context.Context, grid *Grid, creek SupplyCreek, rules SupplyRules, within *ellipse) (*SupplyGround, error) {
	if len(creek.At) != len(creek.BedM) || len(creek.At) != len(creek.AlongM) || rules.Forbidden != nil && len(rules.Forbidden) != len(grid.Z) {
		panic("terrain: the creek, the grid and their entries do not fit together")
	}
	if rules.LengthMaxM == 0 {
		rules.LengthMaxM = math.Inf(1)
	}
	g := &SupplyGround{grid: grid, creek: creek, rules: rules, within: within, n: len(creek.At)}
	g.scratch.New = func() any { return new(supplySearch) }
	g.openSteps()
	if rules.CutsOnly {
		return g, g.findCuts(ctx)
	}
	if err := g.findCells(ctx); err != nil {
		return nil, err
	}
	g.join()
	switch {
	case within != nil:
		g.straightBack()
	case rules.LeastSavingM >= 0:
		g.narrow()
	}
	return g, ctx.Err()
}

// Stations is how many stations it has.
func (g *SupplyGround) Stations() int { return g.n }

// LeastSaving is how much shorter than the creek a line away from it must be,
// in metres.
func (g *SupplyGround) LeastSaving() float64 { return math.Max(g.rules.LeastSavingM, 0) }

// Leaves says whether a pipe may leave the creek anywhere.
func (g *SupplyGround) Leaves() bool {
	return len(g.cells) > 0 || slices.ContainsFunc(g.cuts, func(c []supplyCut) bool { return len(c) > 0 })
}

func (g *SupplyGround) closed(k int) bool { return g.creek.Closed != nil && g.creek.Closed[k] }

// findCells lists the cells that a line shorter than the creek could cross.
func (g *SupplyGround) findCells(ctx context.Context) error {
	w := g.window()
	g.col0, g.row0, g.stride = w.col0, w.row0, w.cols+2*border
	g.id = make([]int32, g.stride*(w.rows+2*border))
	for i := range g.id {
		g.id[i] = -1
	}
	if w.cols <= 0 || w.rows <= 0 {
		return nil
	}
	blocks := (w.rows + blockCells - 1) / blockCells
	found := make([][]supplyCell, blocks)
	err := inParallel(ctx, blocks, func(b int) {
		found[b] = g.cellsOf(w, g.along, b*blockCells)
	})
	for _, list := range found {
		for _, c := range list {
			g.id[c.at] = int32(g.n + len(g.cells))
			g.cells = append(g.cells, c)
		}
	}
	return err
}

// window is a part of the grid, in cells.
type window struct{ col0, row0, cols, rows int }

// window holds the creek with the ground that a pipe can reach and come back
// from.
func (g *SupplyGround) window() window {
	grid := g.grid
	if g.n == 0 {
		return window{}
	}
	pad := g.rules.LengthMaxM / 2
	if g.rules.LeastSavingM >= 0 { // no line longer than the creek counts
		pad = math.Min(pad, (g.creek.AlongM[g.n-1]-g.creek.AlongM[0])/2)
	}
	b := orb.MultiPoint(g.creek.At).Bound()
	if g.within != nil {
		b, pad = g.within.bound(), g.grid.CellM
	}
	edge := func(v float64, most int) int { return int(math.Min(math.Max(v, 0), float64(most))) }
	col0 := edge(math.Floor((b.Min[0]-pad-grid.Bound.Min[0])/grid.CellM), grid.Cols)
	col1 := edge(math.Ceil((b.Max[0]+pad-grid.Bound.Min[0])/grid.CellM), grid.Cols)
	row0 := edge(math.Floor((grid.Bound.Max[1]-b.Max[1]-pad)/grid.CellM), grid.Rows)
	row1 := edge(math.Ceil((grid.Bound.Max[1]-b.Min[1]+pad)/grid.CellM), grid.Rows)
	return window{col0, row0, col1 - col0, row1 - row0}
}

// openSteps finds the steps along the creek that a pipe may take.
func (g *SupplyGround) openSteps() {
	g.open = make([]bool, g.n)
	for k := range g.n - 1 {
		fall, run := g.creek.BedM[k]-g.creek.BedM[k+1], g.creek.AlongM[k+1]-g.creek.AlongM[k]
		g.open[k] = !g.closed(k) && !g.closed(k+1) && fall >= g.rules.SlopeMin*run
	}
	g.along = g.savingAlong()
}

// savingAlong is the length along the creek with the steps that no pipe may
// take counted twice: a way round them may be so much longer.
func (g *SupplyGround) savingAlong() []float64 {
	along := make([]float64, g.n)
	for k := 1; k < g.n; k++ {
		step := g.creek.AlongM[k] - g.creek.AlongM[k-1]
		if !g.open[k-1] {
			step *= 2
		}
		along[k] = along[k-1] + step
	}
	return along
}

// blockCells is the side of the blocks of cells that are looked at as a whole
// first.
const blockCells = 8

// cellsOf lists the ground's cells in one row of blocks of the window.
func (g *SupplyGround) cellsOf(w window, along []float64, row int) []supplyCell {
	var list []supplyCell
	rows := min(row+blockCells, w.rows)
	for col := 0; col < w.cols; col += blockCells {
		cols := min(col+blockCells, w.cols)
		lowest, highest := math.Inf(1), math.Inf(-1)
		for r := row; r < rows; r++ {
			for c := col; c < cols; c++ {
				if z, ok := g.ground(w.col0+c, w.row0+r); ok {
					lowest, highest = math.Min(lowest, z), math.Max(highest, z)
				}
			}
		}
		if lowest > highest {
			continue
		}
		a, b := g.grid.Centre(w.col0+col, w.row0+row), g.grid.Centre(w.col0+cols-1, w.row0+rows-1)
		if !g.matters(along, orb.Point{(a[0] + b[0]) / 2, (a[1] + b[1]) / 2}, math.Hypot(b[0]-a[0], b[1]-a[1])/2, lowest, highest) {
			continue
		}
		for r := row; r < rows; r++ {
			for c := col; c < cols; c++ {
				z, ok := g.ground(w.col0+c, w.row0+r)
				if ok && g.matters(along, g.grid.Centre(w.col0+c, w.row0+r), 0, z, z) {
					list = append(list, supplyCell{z, int32((r+border)*g.stride + c + border)})
				}
			}
		}
	}
	return list
}

// ground is the height of a cell that may be entered.
func (g *SupplyGround) ground(col, row int) (float64, bool) {
	i := row*g.grid.Cols + col
	z := g.grid.Z[i]
	if !(abs(z) < math.MaxFloat32) || g.rules.Forbidden != nil && g.rules.Forbidden[i] {
		return 0, false
	}
	return float64(z), true
}

// matters says whether a line that counts could lead through a place, or one
// within a radius of it.
func (g *SupplyGround) matters(along []float64, at orb.Point, radius, lowest, highest float64) bool {
	if g.within != nil && !g.within.holds(at, radius) {
		return false
	}
	return g.rules.LeastSavingM < 0 || g.saves(along, at, radius, lowest, highest)
}

// saves says whether a line through a place, or one within a radius of it, can
// be shorter than the creek between some two stations that lie high and low
// enough: straight there and straight back is the shortest that it can be.
func (g *SupplyGround) saves(along []float64, at orb.Point, radius, lowest, highest float64) bool {
	least := g.rules.LeastSavingM
	longest := g.rules.LengthMaxM
	// Stations too far along the creek from the nearest are beyond any pipe.
	const stride = 8
	nearest, off := 0, math.Inf(1)
	for k := 0; k < g.n; k += stride {
		if d := distance(g.creek.At[k], at); d < off {
			nearest, off = k, d
		}
	}
	if off > longest/2+radius+stride*10 && off > longest {
		return false
	}
	reach := 1.5 * longest
	leave := math.Inf(1) // least of along + distance among the stations so far
	for k := range g.n {
		if from := g.creek.AlongM[k] - g.creek.AlongM[nearest]; from < -reach {
			continue
		} else if from > reach {
			break
		}
		d := distance(g.creek.At[k], at) - radius
		if d > longest {
			continue
		}
		if g.creek.BedM[k] <= highest+g.rules.TrestleM && along[k]-d-leave >= least {
			return true
		}
		if g.creek.BedM[k] >= lowest-g.rules.DigM {
			leave = math.Min(leave, along[k]+d)
		}
	}
	return false
}

func distance(a, b orb.Point) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }

// join links each station with the cells around it, its own included.
func (g *SupplyGround) join() {
	g.links = make([][]supplyLink, g.n)
	g.backTo = make([][]supplyLink, len(g.cells))
	for k, at := range g.creek.At {
		col, row, ok := g.grid.Cell(at)
		if !ok || g.closed(k) {
			continue
		}
		if _, ok := g.ground(col, row); !ok {
			continue // the pipe may not leave the creek there
		}
		for dy := -1; dy <= 1; dy++ {
			for dx := -1; dx <= 1; dx++ {
				node := g.nodeAt(col+dx, row+dy)
				if node < 0 {
					continue
				}
				c := &g.cells[int(node)-g.n]
				length := math.Hypot(distance(at, g.grid.Centre(col+dx, row+dy)), c.z-g.creek.BedM[k])
				g.links[k] = append(g.links[k], supplyLink{node, length})
				g.backTo[int(node)-g.n] = append(g.backTo[int(node)-g.n], supplyLink{int32(k), length})
			}
		}
	}
}

// nodeAt is the node of a cell of the grid, -1 where the ground has none.
func (g *SupplyGround) nodeAt(col, row int) int32 {
	c, r := col-g.col0+border, row-g.row0+border
	if c < 0 || r < 0 || c >= g.stride || r*g.stride+c >= len(g.id) {
		return -1
	}
	return g.id[r*g.stride+c]
}

// place is the middle of a cell, or a station.
func (g *SupplyGround) place(node int32) orb.Point {
	if int(node) < g.n {
		return g.creek.At[node]
	}
	at := int(g.cells[int(node)-g.n].at)
	return g.grid.Centre(at%g.stride-border+g.col0, at/g.stride-border+g.row0)
}

// limits gives the lowest and the highest level that a pipe may have at a
// node: on the creek it lies on the bed.
func (g *SupplyGround) limits(node int32) (lowest, highest float64) {
	if int(node) < g.n {
		return g.creek.BedM[node], g.creek.BedM[node]
	}
	z := g.cells[int(node)-g.n].z
	return z - g.rules.DigM, z + g.rules.TrestleM
}
