package terrain

import (
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// GroundClasses say what the ground is made of, cell by cell: a class number
// for each cell, and for each class how much dearer it is to lay pipe in it.
type GroundClasses struct {
	// Of gives the class of each cell, row-major as Grid.Z.
	Of []uint8
	// Factor is the factor on LayingCost.PerMetre of each class, above 0.
	Factor []float64
}

// OrdinaryGround gives every cell of a grid the class 0 with the factor 1.
func OrdinaryGround(g *Grid) *GroundClasses {
	return &GroundClasses{Of: make([]uint8, g.Cols*g.Rows), Factor: []float64{1}}
}

// At gives the factor of a cell; nil classes have the factor 1 everywhere.
func (c *GroundClasses) At(g *Grid, col, row int) float64 {
	if c == nil {
		return 1
	}
	return c.Factor[c.Of[row*g.Cols+col]]
}

// check says what is wrong with the classes of a grid of so many cells.
func (c *GroundClasses) check(cells int) error {
	if c == nil {
		return nil
	}
	if len(c.Of) != cells {
		panic("terrain: the grid and its ground classes do not fit together")
	}
	for _, f := range c.Factor {
		if !(f > 0 && !math.IsInf(f, 0)) {
			return fmt.Errorf("terrain: a factor of %g for a class of ground is not possible", f)
		}
	}
	if top := int(slices.Max(c.Of)); top >= len(c.Factor) {
		return fmt.Errorf("terrain: cells have the ground class %d, but only %d classes have a factor", top, len(c.Factor))
	}
	return nil
}

// CellsInside calls visit with the index of each cell whose centre lies inside
// a polygon, by the even-odd rule along each row.
func (g *Grid) CellsInside(poly orb.Polygon, visit func(i int)) {
	if len(poly) == 0 {
		return
	}
	bound := poly.Bound()
	first := max(0, int(math.Floor((g.Bound.Max[1]-bound.Max[1])/g.CellM-0.5)))
	last := min(g.Rows-1, int(math.Ceil((g.Bound.Max[1]-bound.Min[1])/g.CellM)))
	var xs []float64
	for row := first; row <= last; row++ {
		y := g.Bound.Max[1] - (float64(row)+0.5)*g.CellM
		xs = xs[:0]
		for _, ring := range poly {
			for i := 1; i < len(ring); i++ {
				p, q := ring[i-1], ring[i]
				if (p[1] <= y) != (q[1] <= y) {
					xs = append(xs, p[0]+(y-p[1])/(q[1]-p[1])*(q[0]-p[0]))
				}
			}
		}
		slices.Sort(xs)
		for i := 1; i < len(xs); i += 2 {
			col := int(math.Max(0, (xs[i-1]-g.Bound.Min[0])/g.CellM+0.5))
			for ; col < g.Cols && g.Bound.Min[0]+(float64(col)+0.5)*g.CellM < xs[i]; col++ {
				visit(row*g.Cols + col)
			}
		}
	}
}

// CellsAlong calls visit with the index of each cell that a line runs through;
// a cell may come several times.
func (g *Grid) CellsAlong(line orb.LineString, visit func(i int)) {
	for i := 1; i < len(line); i++ {
		p, q := line[i-1], line[i]
		steps := int(math.Hypot(q[0]-p[0], q[1]-p[1])/(g.CellM/2)) + 1
		for k := range steps + 1 {
			t := float64(k) / float64(steps)
			col := int(math.Floor((p[0] + t*(q[0]-p[0]) - g.Bound.Min[0]) / g.CellM))
			row := int(math.Floor((g.Bound.Max[1] - p[1] - t*(q[1]-p[1])) / g.CellM))
			if col >= 0 && col < g.Cols && row >= 0 && row < g.Rows {
				visit(row*g.Cols + col)
			}
		}
	}
}
