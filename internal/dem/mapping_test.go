package dem

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/paulmach/orb"

	"route/internal/geodesy"
)

// The mapping agrees with PROJ itself at random points that it was neither
// fitted to nor checked at, over windows of 10 km and cells of 0.1 m, in all
// kinds of projection, far outside a zone and close to a pole.
func TestMappingAgreesWithPROJ(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6)) // seed 5, 6
	for _, c := range []struct {
		crs      string
		lon, lat float64
		dx       float64 // cell in plan units, about 0.1 m
	}{
		{"EPSG:26910", -123.5, 44, 0.1},  // UTM in its zone
		{"EPSG:26915", -123.5, 44, 0.1},  // UTM 30 degrees outside its zone
		{"EPSG:4326", -120.8, 36, 1e-6},  // degrees
		{"EPSG:4326", 15, 78, 1e-6},      // degrees, far north
		{"EPSG:3857", 25, 69, 0.25},      // Web Mercator
		{"EPSG:2228", -120.8, 36, 0.3},   // Lambert, US survey feet
		{"EPSG:3005", -122, 54, 0.1},     // Albers
		{"EPSG:31287", 11.4, 47.3, 0.1},  // Lambert on another datum
		{"EPSG:23030", -5.7, 40.2, 0.1},  // ED50
		{"EPSG:2193", 173.1, -41.3, 0.1}, // New Zealand
		{"EPSG:4807", 0.5, 46, 1e-6},     // grads from Paris
		{"EPSG:3413", -40, 70, 0.1},      // polar stereographic
		{"EPSG:27700", -3, 54, 0.1},      // British National Grid
		{"EPSG:4267", -100, 40, 1e-6},    // NAD27
		{"EPSG:28992", 5.5, 52, 0.1},     // oblique stereographic
		{"EPSG:21781", 8, 46.8, 0.1},     // Swiss oblique Mercator
	} {
		f := frameAt(t, geodesy.LonLat{Lon: c.lon, Lat: c.lat})
		p, err := newProjector(f.PROJ(), c.crs)
		must(t, err)
		convert := func(e, n []float64) {
			p.convert(e, n)
			for i := range e {
				e[i], n[i] = e[i]/c.dx, n[i]/-c.dx
			}
		}
		domain := around(f, 5000)
		m, err := fitMapping(domain, convert, mapTolerance)
		if err != nil {
			t.Errorf("%s: %v", c.crs, err)
			continue
		}
		const n = 3000
		e, north := make([]float64, n), make([]float64, n)
		var points []orb.Point
		for i := range e {
			points = append(points, orb.Point{domain.Min[0] + r.Float64()*10000, domain.Min[1] + r.Float64()*10000})
			e[i], north[i] = points[i][0], points[i][1]
		}
		convert(e, north)
		worst := 0.0
		for i, q := range points {
			b, u, v := m.patchAt(q)
			x, y := b.at(u, v)
			worst = math.Max(worst, math.Max(math.Abs(x-e[i]), math.Abs(y-north[i])))
		}
		t.Logf("%-11s %d blocks, degree %d, off by %.1e cells at %d other points", c.crs, len(m.blocks), m.blocks[0].degree, worst, n)
		if worst > 1e-3 {
			t.Errorf("%s: off by %.2g cells", c.crs, worst)
		}
		p.close()
	}
}

// A mapping that no polynomial of degree 6 follows is cut into blocks; one
// that is not smooth at all is an error, not a wrong answer.
func TestMappingBlocksAndRefusal(t *testing.T) {
	domain := orb.Bound{Max: orb.Point{1000, 1000}}
	wave := func(e, n []float64) {
		for i := range e {
			e[i], n[i] = e[i]+5*math.Sin(e[i]/50), n[i]+5*math.Cos((e[i]+n[i])/60)
		}
	}
	m, err := fitMapping(domain, wave, mapTolerance)
	must(t, err)
	if len(m.blocks) < 4 {
		t.Errorf("%d blocks", len(m.blocks))
	}
	r := rand.New(rand.NewPCG(7, 8)) // seed 7, 8
	for i := 0; i < 2000; i++ {
		p := orb.Point{r.Float64() * 1000, r.Float64() * 1000}
		e, n := []float64{p[0]}, []float64{p[1]}
		wave(e, n)
		b, u, v := m.patchAt(p)
		x, y := b.at(u, v)
		if math.Abs(x-e[0]) > 1e-3 || math.Abs(y-n[0]) > 1e-3 {
			t.Fatalf("at %v: %v %v, want %v %v", p, x, y, e[0], n[0])
		}
	}
	if _, err := fitMapping(domain, func(e, n []float64) {
		for i := range e {
			e[i] += math.Floor(e[i] / 500)
		}
	}, mapTolerance); err == nil {
		t.Error("a jump was accepted")
	}
	if _, err := fitMapping(domain, func(e, n []float64) { e[3] = math.NaN() }, mapTolerance); err == nil {
		t.Error("a lost point was accepted")
	}
}

// The derivatives of a patch against its own differences.
func TestPatchSlope(t *testing.T) {
	domain := orb.Bound{Min: orb.Point{-500, -300}, Max: orb.Point{700, 900}}
	m, err := fitMapping(domain, func(e, n []float64) {
		for i := range e {
			x, y := e[i], n[i]
			e[i], n[i] = x+1e-4*x*y+1e-7*y*y*y, 2*y-1e-4*x*x+0.1*x
		}
	}, 1e-6)
	must(t, err)
	r := rand.New(rand.NewPCG(9, 10)) // seed 9, 10
	for i := 0; i < 100; i++ {
		x, y := -500+1200*r.Float64(), -300+1200*r.Float64()
		b, u, v := m.patchAt(orb.Point{x, y})
		xE, xN, yE, yN := b.slope(u, v)
		near(t, "dx/dE", xE, 1+1e-4*y, 1e-9)
		near(t, "dx/dN", xN, 1e-4*x+3e-7*y*y, 1e-9)
		near(t, "dy/dE", yE, -2e-4*x+0.1, 1e-9)
		near(t, "dy/dN", yN, 2, 1e-9)
	}
}
