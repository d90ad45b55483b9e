package geodesy

import (
	"fmt"
	"math"
)

// UTM gives the zone and hemisphere of a place, with the exceptions for
// south-west Norway and Svalbard: NGA.STND.0037 (2014), Universal Grids and
// Grid Reference Systems, section 2. UTM is defined from 80° S to 84° N; a
// place beyond gets the zone of its longitude.
func UTM(p LonLat) (zone int, north bool) {
	lon := fromMeridian(p.Lon, 0)
	if lon >= 180 {
		lon -= 360
	}
	zone = int(math.Floor((lon+180)/6)) + 1
	switch {
	case p.Lat >= 56 && p.Lat < 64 && zone == 31 && lon >= 3:
		zone = 32
	case p.Lat >= 72 && p.Lat < 84 && lon >= 0 && lon < 42:
		switch {
		case lon < 9:
			zone = 31
		case lon < 21:
			zone = 33
		case lon < 33:
			zone = 35
		default:
			zone = 37
		}
	}
	return zone, p.Lat >= 0
}

// ToUTM gives easting and northing in metres in a zone, which need not be the
// place's own, so that one site stays in one zone.
func ToUTM(p LonLat, zone int, north bool) (eastM, northM float64) {
	mustBeZone(zone)
	x, y, _ := project(p.Lat, fromMeridian(p.Lon, float64(6*zone-183)))
	eastM, northM = 0.9996*x+500e3, 0.9996*y
	if !north {
		northM += 10e6
	}
	return eastM, northM
}

// UTMEPSG names the zone's coordinate reference system on WGS 84.
func UTMEPSG(zone int, north bool) string {
	mustBeZone(zone)
	if north {
		return fmt.Sprintf("EPSG:326%02d", zone)
	}
	return fmt.Sprintf("EPSG:327%02d", zone)
}

func mustBeZone(zone int) {
	if zone < 1 || zone > 60 {
		panic("geodesy: UTM zone outside 1 to 60")
	}
}
