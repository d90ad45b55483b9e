package dem

import (
	"math"
	"math/rand/v2"
	"testing"
)

// roofs are the heights of houses, 8 to 16 m long and wide and 4 to 9 m high to
// the ridge, that cover about a share of the cells: walls of three fifths of the
// height, and a roof of even slope to both sides.
func roofs(r *rand.Rand, cols, rows int, cover float64) []float64 {
	add := make([]float64, cols*rows)
	for range int(-math.Log(1-cover) * float64(cols*rows) / (12 * 12)) {
		x, y, long, wide, h := r.IntN(cols), r.IntN(rows), 8+r.IntN(9), 8+r.IntN(9), 4+5*r.Float64()
		for j := y; j < min(rows, y+wide); j++ {
			slope := 1 - math.Abs(float64(j-y)+0.5-float64(wide)/2)/(float64(wide)/2)
			for i := x; i < min(cols, x+long); i++ {
				add[j*cols+i] = math.Max(add[j*cols+i], h*(0.6+0.4*slope))
			}
		}
	}
	return add
}

// The share from which on a raster is taken for a surface model was set on the
// collection's models and on trees over two of its places. Here it is held
// against what had no part in that: a 1 m model of New Zealand as it is, and
// trees and roofs put on that and on both lidar models of Cole Creek. Trees over
// a tenth and roofs over a fifth must be seen; less is logged.
func TestSurfaceShareOnOtherGround(t *testing.T) {
	const seed = 45
	for _, g := range []struct {
		path  string
		unitM float64
	}{
		{"pathologies/as_found/nz_lerc_cog_mostly_nodata_1m.tiff", 1},
		{"cole_creek_ne/dem_2006_1m_zft.tif", 0.3048},
		{"cole_creek_ne/dem_2010_1m_zft.tif", 0.3048},
	} {
		r := rand.New(rand.NewPCG(seed, 1))
		c, cols, rows := ground(t, g.path)
		if x := textureOf(c, cols, rows, g.unitM, 1); x.surface(1) || x.cells == 0 {
			t.Errorf("%s as it is: %+v", g.path, x)
		} else {
			t.Logf("%s as it is: %.2f %% stands out", g.path, 100*x.bumps)
		}
		for _, cover := range []float64{0.05, 0.1, 0.2} {
			for k, add := range [][]float64{trees(r, cols, rows, cover), roofs(r, cols, rows, cover)} {
				name := []string{"trees", "roofs"}[k]
				x := textureOf(c.changed(cols, func(i, j int, z float64) float64 { return z + add[j*cols+i]/g.unitM }), cols, rows, g.unitM, 1)
				t.Logf("seed %d, %s, %s over %.0f %%: %.1f %% stands out", seed, g.path, name, 100*cover, 100*x.bumps)
				if cover >= []float64{0.1, 0.2}[k] && !x.surface(1) {
					t.Errorf("seed %d, %s: %s over %.0f %% are not seen", seed, g.path, name, 100*cover)
				}
			}
		}
	}
}
