package geodesy

import (
	"fmt"
	"math"
	"strconv"

	"github.com/paulmach/orb"
)

// Frame is the flat metric frame of a site: a transverse Mercator projection
// through its origin, scaled up to the height of the ground by
// k0 = 1 + h/R with R the Gaussian mean radius at the origin, so that lengths
// in it are lengths on the ground. Easting and northing are zero at the origin.
//
// A length differs from the one on the ground by (E/R)²/2, which is 0.05 ppm
// 2 km east or west of the origin; by 0.16 ppm for each metre that the ground
// stands off the frame's height; and, because one R serves all directions, by
// up to 0.5 ppm for each 1000 m of height.
//
// A Frame is immutable and safe for concurrent use.
type Frame struct {
	origin  LonLat
	heightM float64
	scale0  float64 // k0
	northM  float64 // unscaled northing of the origin from the equator
}

// NewFrame makes the frame of a site around an origin at a height in metres.
func NewFrame(origin LonLat, heightM float64) (*Frame, error) {
	if !origin.Valid() || math.Abs(origin.Lat) > 89 {
		return nil, fmt.Errorf("no frame can be laid around latitude %g, longitude %g: the latitude must lie between -89 and 89, the longitude between -180 and 360", origin.Lat, origin.Lon)
	}
	if !(heightM > -12e3 && heightM < 9e3) {
		return nil, fmt.Errorf("no frame can be laid at a height of %g m: no ground stands there", heightM)
	}
	_, northM, _ := project(origin.Lat, 0)
	return &Frame{origin, heightM, 1 + heightM/gaussRadius(origin.Lat), northM}, nil
}

// AtHeight is the frame around the same origin at another height in metres,
// for a second pass once the height of the site is known. It panics on a
// height where no ground stands.
func (f *Frame) AtHeight(heightM float64) *Frame {
	g, err := NewFrame(f.origin, heightM)
	if err != nil {
		panic("geodesy: frame at an impossible height")
	}
	return g
}

// Origin is the place of easting and northing zero.
func (f *Frame) Origin() LonLat { return f.origin }

// HeightM is the height in metres at which lengths are true.
func (f *Frame) HeightM() float64 { return f.heightM }

// ToFrame gives easting and northing in metres on the ground, to a few
// nanometres of the projection's definition within 3900 km of the origin.
func (f *Frame) ToFrame(p LonLat) orb.Point {
	x, y, _ := project(p.Lat, fromMeridian(p.Lon, f.origin.Lon))
	return orb.Point{f.scale0 * x, f.scale0 * (y - f.northM)}
}

// ToLonLat is the inverse of ToFrame; the longitude lies between -180 and 180.
func (f *Frame) ToLonLat(p orb.Point) LonLat {
	lat, dLon := unproject(p[0]/f.scale0, p[1]/f.scale0+f.northM)
	return LonLat{Lon: fromMeridian(f.origin.Lon+dLon, 0), Lat: lat}
}

// ScaleAt is a short length in the frame divided by the length on the ground
// at the frame's height, near a point of the frame: 1 at the origin.
func (f *Frame) ScaleAt(p orb.Point) float64 {
	lat, dLon := unproject(p[0]/f.scale0, p[1]/f.scale0+f.northM)
	_, _, scale := project(lat, dLon)
	return scale
}

// PROJ is the frame as a PROJ string, for GDAL and for exported files.
func (f *Frame) PROJ() string {
	number := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	return "+proj=tmerc +lat_0=" + number(f.origin.Lat) + " +lon_0=" + number(f.origin.Lon) +
		" +k_0=" + number(f.scale0) + " +x_0=0 +y_0=0 +datum=WGS84 +units=m +no_defs +type=crs"
}
