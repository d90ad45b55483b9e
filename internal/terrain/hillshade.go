package terrain

import (
	"context"
	"math"
)

// The light of a hillshade comes from the north-west, half-way up the sky, as
// is the custom on maps.
const (
	sunAzimuthDeg  = 315
	sunAltitudeDeg = 45
)

// Hillshade shades the ground, one byte a cell, row-major as Grid.Z: 1 is in
// the shadow, 255 faces the light, 0 stands for unknown height. The slope is
// that of the 8 neighbours with the weights of Horn (1981); beyond the edge and
// in gaps the cell's own height stands in.
func Hillshade(grid *Grid) []uint8 {
	shade := make([]uint8, len(grid.Z))
	azimuth, altitude := sunAzimuthDeg*math.Pi/180, sunAltitudeDeg*math.Pi/180
	// Direction to the light: east, north, up.
	east, north, up := math.Sin(azimuth)*math.Cos(altitude), math.Cos(azimuth)*math.Cos(altitude), math.Sin(altitude)
	_ = inParallel(context.Background(), grid.Rows, func(row int) {
		for col := range grid.Cols {
			dzdE, dzdN, ok := grid.horn(col, row)
			if !ok {
				continue
			}
			// The normal of the ground is (−dz/dE, −dz/dN, 1).
			cos := (up - east*dzdE - north*dzdN) / math.Sqrt(1+dzdE*dzdE+dzdN*dzdN)
			shade[row*grid.Cols+col] = uint8(math.Round(1 + 254*math.Max(0, cos)))
		}
	})
	return shade
}

// horn gives the gradient at a cell (Horn 1981); ok is false where its height
// is unknown.
func (g *Grid) horn(col, row int) (dzdE, dzdN float64, ok bool) {
	own := float64(g.Z[row*g.Cols+col])
	if math.IsNaN(own) {
		return 0, 0, false
	}
	at := func(dx, dy int) float64 {
		x, y := col+dx, row+dy
		if uint(x) >= uint(g.Cols) || uint(y) >= uint(g.Rows) {
			return own
		}
		if z := float64(g.Z[y*g.Cols+x]); !math.IsNaN(z) {
			return z
		}
		return own
	}
	// Towards an edge or a gap the difference spans one cell instead of two;
	// the halved slope there is accepted.
	nw, n, ne := at(-1, -1), at(0, -1), at(1, -1)
	w, e := at(-1, 0), at(1, 0)
	sw, s, se := at(-1, 1), at(0, 1), at(1, 1)
	dzdE = (ne + 2*e + se - nw - 2*w - sw) / (8 * g.CellM)
	dzdN = (nw + 2*n + ne - sw - 2*s - se) / (8 * g.CellM)
	return dzdE, dzdN, true
}
