package dem

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/airbusgeo/godal"
	"github.com/paulmach/orb"
)

// A plane tilted by 0.3 along eastings and 0.7 along northings of the raster's
// own plan coordinates: bilinear interpolation is exact on it, so a slip of
// half a cell would show as 0.15 or 0.35 m. Expected heights come from PROJ
// and the formula, not from the package's mapping.
func TestTiltedPlaneIsExact(t *testing.T) {
	plane := func(x, y float64) float64 { return 100 + 0.3*(x-500000) + 0.7*(y-4000000+400) }
	for _, c := range []struct {
		name string
		s    spec
	}{
		{"north_up", spec{gt: [6]float64{500000, 1, 0, 4000000, 0, -1}}},
		{"south_up", spec{gt: [6]float64{500000, 1, 0, 3999700, 0, 1}}},
		{"from_east", spec{gt: [6]float64{500300, -1, 0, 4000000, 0, -1}}},
		{"oblong", spec{gt: [6]float64{500000, 1.25, 0, 4000000, 0, -0.75}}},
		{"point", spec{gt: [6]float64{500000, 1, 0, 4000000, 0, -1}, metadata: map[string]string{"AREA_OR_POINT": "Point"}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := c.s
			s.crs, s.cols, s.rows, s.kind = "EPSG:26910", 300, 300, godal.Float64
			gt := s.gt
			s.z = func(i, j int) float64 {
				return plane(gt[0]+(float64(i)+0.5)*gt[1], gt[3]+(float64(j)+0.5)*gt[5])
			}
			src := open(t, Options{ZUnit: "m"}, s.make(t, "plane.tif"))
			surface, frame := load(t, src, 120)
			r := rand.New(rand.NewPCG(1, 2)) // seed 1, 2
			var points []orb.Point
			for i := 0; i < 2000; i++ {
				points = append(points, orb.Point{(r.Float64()*2 - 1) * 100, (r.Float64()*2 - 1) * 100})
			}
			o := frame.ToFrame(frame.Origin())
			for i := range points {
				points[i] = orb.Point{points[i][0] + o[0], points[i][1] + o[1]}
			}
			x, y := planOf(t, frame, "EPSG:26910", points)
			worst := 0.0
			for i, p := range points {
				z, ok := surface.At(p)
				if !ok {
					t.Fatalf("no height at %v: %v", p, surface.Why(p))
				}
				worst = math.Max(worst, math.Abs(z-plane(x[i], y[i])))
			}
			// A mapping error of 1e-3 cell would be 1 mm here.
			if worst > 1e-3 {
				t.Errorf("worst error %.2g m", worst)
			}
		})
	}
}
