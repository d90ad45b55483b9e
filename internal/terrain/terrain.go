// Package terrain finds ways over the ground: the cheapest delivery line from
// every place to the tank, its crest, and what it looks like from above.
package terrain

import (
	"math"

	"github.com/paulmach/orb"
)

// Grid is a regular raster of heights in the site's frame. Row 0 is the
// northern edge; the height at (col, row) stands at the cell's centre.
type Grid struct {
	Bound      orb.Bound // of the whole cells
	CellM      float64
	Cols, Rows int
	Z          []float32 // row-major, NaN where unknown
}

// Centre is the middle of a cell.
func (g *Grid) Centre(col, row int) orb.Point {
	return orb.Point{g.Bound.Min[0] + (float64(col)+0.5)*g.CellM, g.Bound.Max[1] - (float64(row)+0.5)*g.CellM}
}

// Cell finds the cell that a point lies in; ok is false outside the grid.
// Points on the border between two cells belong to the one in the east or the
// south; the outer border belongs to the grid.
func (g *Grid) Cell(p orb.Point) (col, row int, ok bool) {
	x := (p[0] - g.Bound.Min[0]) / g.CellM
	y := (g.Bound.Max[1] - p[1]) / g.CellM
	if !(x >= 0 && x <= float64(g.Cols) && y >= 0 && y <= float64(g.Rows)) {
		return 0, 0, false
	}
	return min(int(x), g.Cols-1), min(int(y), g.Rows-1), true
}

// LayingCost is what one metre of pipe over the ground costs, in any one
// unit (money, or metres of flat ground).
type LayingCost struct {
	// PerMetre is the cost of laying a metre of pipe, measured along the slope,
	// where the factors are 1. 0 stands for 1 unless PipePerMetre is given.
	PerMetre float64
	// PipePerMetre is the cost of a metre that no factor changes: the pipe.
	PipePerMetre float64
	// SlopeClasses give the factor on PerMetre for ground as steep as the
	// class: the first class whose MaxGrade is not exceeded counts. Grade is
	// rise over run along the pipe. Ground steeper than the last class is not
	// crossed; without classes the factor is 1 everywhere. MaxGrade rises from
	// class to class, and every factor is above 0.
	SlopeClasses []SlopeClass
	// Ground gives one more factor on PerMetre, cell by cell; nil is 1
	// everywhere. Between two cells' middles it changes evenly, as the height
	// does, so that a strip of ground counts with its width whichever way it
	// is crossed.
	Ground *GroundClasses
	// Crossed lines cost a fee each time the pipe passes over them.
	Crossed []CrossedLine
	// Forbidden cells are never entered, row-major as Grid.Z; nil when all are
	// allowed. Cells of unknown height are never entered either.
	Forbidden []bool
}

// SlopeClass is one step of the laying cost. An infinite MaxGrade takes all
// the rest.
type SlopeClass struct{ MaxGrade, Factor float64 }

// Path is a line over the ground, from the asked place to the tank.
type Path struct {
	Line    orb.LineString
	ZM      []float64 // ground at each vertex
	LengthM float64   // along the slope
	Cost    float64   // in the unit of LayingCost
	CrestM  float64   // highest ground on the way
	HighAt  []int     // vertices where air gathers
	LowAt   []int     // vertices that need a drain
	// Laid is how much of the length lies on ground of each slope class and
	// ground class, in the order of these; none is left out that is not 0.
	Laid []Laid
	// Crossings are the places where the line passes over a crossed line, from
	// the start.
	Crossings []Crossing
}

// Laid is a length of pipe on ground of one kind. Where the ground changes
// from cell to cell each takes its share.
type Laid struct {
	Slope, Ground int // numbers of the classes
	LengthM       float64
}

// Crossing is a place where a pipe passes over a crossed line.
type Crossing struct {
	Line   int       // number in LayingCost.Crossed
	At     orb.Point // on the pipe
	AlongM float64   // along the slope from the start
}

// Bends counts the vertices where the line turns in plan by more than
// minDegrees.
func (p Path) Bends(minDegrees float64) int {
	n := 0
	for i := 1; i+1 < len(p.Line); i++ {
		ax, ay := p.Line[i][0]-p.Line[i-1][0], p.Line[i][1]-p.Line[i-1][1]
		bx, by := p.Line[i+1][0]-p.Line[i][0], p.Line[i+1][1]-p.Line[i][1]
		turn := math.Abs(math.Atan2(ax*by-ay*bx, ax*bx+ay*by))
		if turn > minDegrees*math.Pi/180 {
			n++
		}
	}
	return n
}
