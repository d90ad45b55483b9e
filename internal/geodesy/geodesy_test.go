package geodesy

import "testing"

// WGS 84 lengths of one degree of the meridian and of the equator: NGA.STND.0036
// (2014) gives a = 6378137 m, so a degree of the equator is 2πa/360 =
// 111319.49079327 m; the meridian quadrant is 10001965.729 m (C. F. F. Karney,
// Geographiclib documentation of the WGS 84 ellipsoid).
func TestDistanceClosedForms(t *testing.T) {
	for _, c := range []struct {
		a, b          LonLat
		metres, azDeg float64
	}{
		{LonLat{0, 0}, LonLat{1, 0}, 111319.490793274, 90},
		{LonLat{1, 0}, LonLat{0, 0}, 111319.490793274, 270},
		{LonLat{179.5, 0}, LonLat{-179.5, 0}, 111319.490793274, 90},
		{LonLat{10, 0}, LonLat{10, 90}, 10001965.729, 0},
		{LonLat{10, 45}, LonLat{10, 45}, 0, 0},
	} {
		m, az := Distance(c.a, c.b)
		if diff := m - c.metres; diff > 1e-3 || diff < -1e-3 {
			t.Errorf("Distance(%v, %v) = %.6f m, want %.6f", c.a, c.b, m, c.metres)
		}
		if az != c.azDeg {
			t.Errorf("azimuth(%v, %v) = %g, want %g", c.a, c.b, az, c.azDeg)
		}
	}
}
