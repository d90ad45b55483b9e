// Package geodesy knows the ellipsoid, and one flat metric frame for the site.
//
// Longitude and latitude on WGS 84 are a LonLat; a point of the frame is an
// orb.Point of easting and northing in metres on the ground. The two types do
// not mix, so a planar distance between degrees does not compile.
package geodesy

import (
	"math"

	"github.com/tidwall/geodesic"
)

// LonLat is a place in degrees on WGS 84, longitude first.
type LonLat struct{ Lon, Lat float64 }

// The WGS 84 ellipsoid: NGA.STND.0036 (2014), table 3.1.
const (
	semiMajorM     = 6378137.0
	inverseFlatten = 298.257223563
	flattening     = 1 / inverseFlatten
	eccentricity2  = flattening * (2 - flattening)
)

// Valid tells whether the place is finite, its latitude from -90 to 90 and its
// longitude from -180 to 360.
func (p LonLat) Valid() bool {
	return p.Lat >= -90 && p.Lat <= 90 && p.Lon >= -180 && p.Lon <= 360
}

// Distance is the length in metres of the geodesic from a to b on the WGS 84
// ellipsoid, at height zero, and its azimuth at a in degrees clockwise from
// north, from 0 up to 360. The azimuth of a zero distance is 0. It is accurate
// to 15 nanometres for any two places (C. F. F. Karney, Algorithms for
// geodesics, J. Geodesy 87 (2013) 43-55). A place that is not finite gives NaN.
func Distance(a, b LonLat) (metres, azimuthDeg float64) {
	if a == b {
		return 0, 0
	}
	geodesic.WGS84.Inverse(a.Lat, a.Lon, b.Lat, b.Lon, &metres, &azimuthDeg, nil)
	if azimuthDeg < 0 {
		azimuthDeg += 360
	}
	return metres, azimuthDeg
}

// gaussRadius is the mean radius of curvature sqrt(M·N) in metres at a
// latitude: J. P. Snyder, Map Projections - A Working Manual, USGS
// Professional Paper 1395 (1987), eqs. 4-18 to 4-20.
func gaussRadius(latDeg float64) float64 {
	s := math.Sin(latDeg * math.Pi / 180)
	return semiMajorM * math.Sqrt(1-eccentricity2) / (1 - eccentricity2*s*s)
}
