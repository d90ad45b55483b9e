package geodesy

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

func newRand(t *testing.T) *rand.Rand {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	return rand.New(rand.NewPCG(seed, 0))
}

// randomFrame is a frame anywhere that people live, and its origin.
func randomFrame(t *testing.T, rng *rand.Rand) (*Frame, LonLat, float64) {
	origin := LonLat{Lon: 360*rng.Float64() - 180, Lat: 160*rng.Float64() - 80}
	heightM := 4000 * rng.Float64()
	f, err := NewFrame(origin, heightM)
	if err != nil {
		t.Fatal(err)
	}
	return f, origin, heightM
}

// Going out and back gives the same place to 1e-9 degrees and the same point
// to a micrometre.
func TestFrameRoundTrip(t *testing.T) {
	rng := newRand(t)
	for range 5000 {
		f, _, _ := randomFrame(t, rng)
		q := orb.Point{200e3 * (rng.Float64() - 0.5), 200e3 * (rng.Float64() - 0.5)}
		p := f.ToLonLat(q)
		if p.Lon < -180 || p.Lon > 180 {
			t.Fatalf("longitude %g", p.Lon)
		}
		if r := f.ToFrame(p); planar.Distance(q, r) > 1e-6 {
			t.Fatalf("%s: %v comes back as %v", f.PROJ(), q, r)
		}
		p2 := f.ToLonLat(f.ToFrame(p))
		if math.Abs(p2.Lat-p.Lat) > 1e-9 || math.Abs(math.Remainder(p2.Lon-p.Lon, 360)) > 1e-9 {
			t.Fatalf("%s: %v comes back as %v", f.PROJ(), p, p2)
		}
	}
}

// Far from the central meridian the highest terms of both series grow to what
// can be seen; there the inverse still undoes the projection.
func TestSeriesFarOut(t *testing.T) {
	rng := newRand(t)
	worst := 0.0
	for range 5000 {
		lat, dLon := 120*rng.Float64()-60, 110*rng.Float64()-55
		x, y, _ := project(lat, dLon)
		lat2, dLon2 := unproject(x, y)
		worst = max(worst, math.Abs(lat2-lat), math.Abs(dLon2-dLon))
	}
	if worst > 1e-11 {
		t.Errorf("up to 55 degrees out, places come back %.2g degrees off", worst)
	}
	t.Logf("worst %.2g degrees", worst)
}

// Lengths within 2 km of the origin are the geodesic's, raised to the height
// of the ground, to 1 in a million.
func TestFrameLengthsAreGeodesicsRaised(t *testing.T) {
	rng := newRand(t)
	for range 5000 {
		f, origin, heightM := randomFrame(t, rng)
		a := orb.Point{2000 * (rng.Float64() - 0.5), 2000 * (rng.Float64() - 0.5)}
		b := orb.Point{2000 * (rng.Float64() - 0.5), 2000 * (rng.Float64() - 0.5)}
		onEllipsoid, _ := Distance(f.ToLonLat(a), f.ToLonLat(b))
		// Radius of the sphere of the ellipsoid's curvature, from its two
		// principal radii: W. Torge, Geodesy, 3rd ed., section 4.1.3.
		s := math.Sin(origin.Lat * math.Pi / 180)
		meridian := 6378137 * (1 - 0.00669437999014) / math.Pow(1-0.00669437999014*s*s, 1.5)
		across := 6378137 / math.Sqrt(1-0.00669437999014*s*s)
		want := onEllipsoid * (1 + heightM/math.Sqrt(meridian*across))
		if got := planar.Distance(a, b); math.Abs(got-want) > 1e-6*want+1e-6 {
			t.Fatalf("%s: %v to %v is %.6f m in the frame, %.6f m raised", f.PROJ(), a, b, got, want)
		}
	}
}

// ecef gives earth-centred coordinates of a place at an ellipsoidal height:
// EPSG Guidance Note 7-2, method 9602.
func ecef(p LonLat, heightM float64) [3]float64 {
	const a, e2 = 6378137.0, 0.00669437999014
	sinLat, cosLat := math.Sincos(p.Lat * math.Pi / 180)
	sinLon, cosLon := math.Sincos(p.Lon * math.Pi / 180)
	n := a / math.Sqrt(1-e2*sinLat*sinLat)
	return [3]float64{(n + heightM) * cosLat * cosLon, (n + heightM) * cosLat * sinLon, (n*(1-e2) + heightM) * sinLat}
}

// A tape stretched between two points at the frame's height shows the frame's
// length, with the error that the comment on Frame admits: in space, without
// any projection or geodesic.
func TestFrameLengthsAreTapeLengths(t *testing.T) {
	rng := newRand(t)
	for range 5000 {
		f, _, heightM := randomFrame(t, rng)
		a := orb.Point{1000 * (rng.Float64() - 0.5), 1000 * (rng.Float64() - 0.5)}
		b := orb.Point{1000 * (rng.Float64() - 0.5), 1000 * (rng.Float64() - 0.5)}
		p, q := ecef(f.ToLonLat(a), heightM), ecef(f.ToLonLat(b), heightM)
		tape := math.Sqrt((p[0]-q[0])*(p[0]-q[0]) + (p[1]-q[1])*(p[1]-q[1]) + (p[2]-q[2])*(p[2]-q[2]))
		got := planar.Distance(a, b)
		if allowed := (0.55e-6*heightM/1000 + 0.02e-6) * tape; math.Abs(got-tape) > allowed+1e-6 {
			t.Fatalf("%s: %v to %v is %.6f m in the frame, a tape shows %.6f m", f.PROJ(), a, b, got, tape)
		}
	}
}

// ScaleAt is 1 at the origin and agrees with the ratio of a short length in
// the frame to the raised geodesic, in every direction (the projection is
// conformal).
func TestScaleAt(t *testing.T) {
	rng := newRand(t)
	for range 1000 {
		f, origin, heightM := randomFrame(t, rng)
		if k := f.ScaleAt(orb.Point{}); math.Abs(k-1) > 1e-14 {
			t.Fatalf("%s: scale %.16f at the origin", f.PROJ(), k)
		}
		q := orb.Point{100e3 * (rng.Float64() - 0.5), 100e3 * (rng.Float64() - 0.5)}
		sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
		a, b := orb.Point{q[0] - 50*sin, q[1] - 50*cos}, orb.Point{q[0] + 50*sin, q[1] + 50*cos}
		m, _ := Distance(f.ToLonLat(a), f.ToLonLat(b))
		want := 100 / (m * (1 + heightM/gaussRadius(origin.Lat)))
		if got := f.ScaleAt(q); math.Abs(got-want) > 2e-9 {
			t.Fatalf("%s: ScaleAt(%v) = %.12f, lengths give %.12f", f.PROJ(), q, got, want)
		}
	}
}

// East is east and north is north at the origin: azimuths of the geodesic.
func TestFrameIsTheRightWayRound(t *testing.T) {
	f, err := NewFrame(LonLat{Lon: -150, Lat: 45}, 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		p  orb.Point
		az float64
	}{{orb.Point{0, 100}, 0}, {orb.Point{100, 0}, 90}, {orb.Point{0, -100}, 180}, {orb.Point{-100, 0}, 270}} {
		if _, az := Distance(f.Origin(), f.ToLonLat(c.p)); math.Abs(math.Remainder(az-c.az, 360)) > 0.001 {
			t.Errorf("the azimuth of %v is %g, want %g", c.p, az, c.az)
		}
	}
}

func TestAtHeight(t *testing.T) {
	low, err := NewFrame(LonLat{Lon: -150, Lat: 45}, 0)
	if err != nil {
		t.Fatal(err)
	}
	high := low.AtHeight(6378) // about a thousandth of the radius
	if low.HeightM() != 0 || high.HeightM() != 6378 || high.Origin() != low.Origin() {
		t.Errorf("heights %g and %g, origins %v and %v", low.HeightM(), high.HeightM(), low.Origin(), high.Origin())
	}
	p := LonLat{Lon: -149.99, Lat: 45.01}
	a, b := low.ToFrame(p), high.ToFrame(p)
	// 1 + 6378/R with R between the principal radii at 45°, 6367.4 and 6388.8 km.
	if ratio := planar.Distance(orb.Point{}, b) / planar.Distance(orb.Point{}, a); ratio < 1+6378/6388838.0 || ratio > 1+6378/6367381.0 {
		t.Errorf("lengths grow by %.9f", ratio)
	}
}

func TestNewFrameRefuses(t *testing.T) {
	for _, c := range []struct {
		origin  LonLat
		heightM float64
	}{
		{LonLat{0, 91}, 0}, {LonLat{0, 90}, 0}, {LonLat{400, 0}, 0}, {LonLat{math.NaN(), 0}, 0}, {LonLat{0, math.NaN()}, 0},
		{LonLat{0, 0}, 1e5}, {LonLat{0, 0}, math.NaN()}, {LonLat{0, 0}, math.Inf(-1)},
	} {
		if f, err := NewFrame(c.origin, c.heightM); err == nil {
			t.Errorf("NewFrame(%v, %g) = %v, want an error", c.origin, c.heightM, f.PROJ())
		}
	}
}

// Zones by NGA.STND.0037 (2014) section 2: 6° each from 180° W, with the
// exceptions 32V and 31X, 33X, 35X, 37X.
func TestUTMZones(t *testing.T) {
	for _, c := range []struct {
		p     LonLat
		zone  int
		north bool
	}{
		{LonLat{-180, 10}, 1, true}, {LonLat{180, 10}, 1, true}, {LonLat{179.999, -10}, 60, false},
		{LonLat{-0.001, 51}, 30, true}, {LonLat{0, 51}, 31, true}, {LonLat{210, 0}, 6, true},
		{LonLat{2.999, 60}, 31, true}, {LonLat{3, 60}, 32, true}, {LonLat{3, 55.999}, 31, true}, {LonLat{3, 64}, 31, true},
		{LonLat{8.999, 75}, 31, true}, {LonLat{9, 75}, 33, true}, {LonLat{20.999, 75}, 33, true}, {LonLat{21, 75}, 35, true},
		{LonLat{32.999, 75}, 35, true}, {LonLat{33, 75}, 37, true}, {LonLat{41.999, 75}, 37, true}, {LonLat{42, 75}, 38, true}, {LonLat{9, 71.999}, 32, true},
	} {
		if zone, north := UTM(c.p); zone != c.zone || north != c.north {
			t.Errorf("UTM(%v) = %d, %v, want %d, %v", c.p, zone, north, c.zone, c.north)
		}
	}
}

func BenchmarkToFrame(b *testing.B) {
	f, err := NewFrame(LonLat{Lon: -150, Lat: 45}, 300)
	if err != nil {
		b.Fatal(err)
	}
	p := LonLat{Lon: -149.99, Lat: 45.01}
	for b.Loop() {
		f.ToFrame(p)
	}
}

func BenchmarkToLonLat(b *testing.B) {
	f, err := NewFrame(LonLat{Lon: -150, Lat: 45}, 300)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		f.ToLonLat(orb.Point{800, 1100})
	}
}
