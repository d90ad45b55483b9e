// Package terrain finds ways over the ground: the cheapest delivery line from
// every place to the tank, its crest, and what it looks like from above.
package terrain

import "github.com/paulmach/orb"

// Grid is a regular raster of heights in the site's frame. Row 0 is the
// northern edge; the height at (col, row) stands at the cell's centre.
type Grid struct {
	Bound      orb.Bound // of the whole cells
	CellM      float64
	Cols, Rows int
	Z          []float32 // row-major, NaN where unknown
}

// LayingCost is what one metre of pipe over the ground costs, in any one
// unit (money, or metres of flat ground).
type LayingCost struct {
	PerMetre float64
	// SlopeClass gives the factor on PerMetre for ground as steep as the
	// class: the first class whose MaxGrade is not exceeded counts. Grade is
	// rise over run along the pipe.
	SlopeClasses []SlopeClass
	// Forbidden cells are never entered; nil when all are allowed.
	Forbidden []bool
}

// SlopeClass is one step of the laying cost.
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
}
