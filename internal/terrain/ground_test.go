package terrain

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// randomPolygon is a star around a centre: simple, and often not convex.
func randomPolygon(r *rand.Rand, cx, cy, size float64) orb.Polygon {
	n := 3 + r.IntN(8)
	ring := make(orb.Ring, 0, n+1)
	for i := range n {
		a := 2 * math.Pi * (float64(i) + 0.8*r.Float64()) / float64(n)
		d := size * (0.3 + 0.7*r.Float64())
		ring = append(ring, orb.Point{cx + d*math.Cos(a), cy + d*math.Sin(a)})
	}
	return orb.Polygon{append(ring, ring[0])}
}

// The cells that CellsInside visits are those whose centre orb's own test of a point
// in a polygon finds inside.
func TestCellsInsideAreThoseWhoseCentreIsInside(t *testing.T) {
	const seed = 11
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	for range 300 {
		g := &Grid{Bound: orb.Bound{Min: orb.Point{-3, 7}, Max: orb.Point{37, 47}}, CellM: 2, Cols: 20, Rows: 20}
		poly := randomPolygon(r, 17+10*r.NormFloat64(), 27+10*r.NormFloat64(), 5+15*r.Float64())
		cells := make([]bool, g.Cols*g.Rows)
		g.CellsInside(poly, func(i int) { cells[i] = true })
		for row := range g.Rows {
			for col := range g.Cols {
				p := orb.Point{g.Bound.Min[0] + (float64(col)+0.5)*2, g.Bound.Max[1] - (float64(row)+0.5)*2}
				if want := planar.PolygonContains(poly, p); cells[row*g.Cols+col] != want {
					t.Fatalf("cell %d,%d of %v: got %v, want %v", col, row, poly, !want, want)
				}
			}
		}
	}
}
