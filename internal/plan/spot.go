package plan

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"route/internal/geodesy"
)

// Spot is what a desk knows of any place on the ground.
type Spot struct {
	Lat, Lon Degrees
	GroundM  Number // null where the terrain has no height
	// StationM is the nearest station of the creek, OffM how far off it is.
	StationM, OffM Number
	Allowed        bool // by the land file
}

// Spot looks at a place in the frame of the desk.
func (d *Desk) Spot(at orb.Point) Spot {
	j := d.measured
	p := j.frame.ToLonLat(at)
	s := Spot{Lat: Degrees(p.Lat), Lon: Degrees(p.Lon), GroundM: Unknown, Allowed: j.land.allows(at)}
	if z, ok := j.ground.At(at); ok {
		s.GroundM = Number(z)
	}
	nearest := math.Inf(1)
	for k, q := range j.creek.Points {
		if off := dist(at, q); off < nearest {
			nearest, s.StationM = off, Number(j.creek.Stations[k])
		}
	}
	s.OffM = Number(nearest)
	return s
}

// LatLon is the place as the tank is given, latitude first.
func (s *Spot) LatLon() string { return fmt.Sprintf("%.7f,%.7f", float64(s.Lat), float64(s.Lon)) }

// Tank is where the desk's tank stands, in its frame.
func (d *Desk) Tank() orb.Point { return d.measured.tank }

// ToFrame gives easting and northing, in metres of the desk's frame, of a place
// in degrees.
func (d *Desk) ToFrame(lon, lat float64) (e, n float64) {
	p := d.measured.frame.ToFrame(geodesy.LonLat{Lon: lon, Lat: lat})
	return p[0], p[1]
}

// PinStations are the places that the desk's site pins, by their keys below
// pins:, in metres along the creek; unknown where there is to be none.
func (d *Desk) PinStations() (map[string]Number, error) {
	stations := map[string]Number{}
	for _, p := range d.measured.site.Pins.each() {
		stations[p.key] = Unknown
		if p.pin.None {
			continue
		}
		s, err := d.measured.stationOf(p.pin.Place)
		if err != nil {
			return nil, err
		}
		stations[p.key] = Number(s)
	}
	return stations, nil
}

// SameCreek says whether a plan follows the same creek line as the desk, station
// by station.
func (d *Desk) SameCreek(p *Plan) bool {
	creek := d.measured.creek
	if len(p.Creek.Stations) != creek.Len() {
		return false
	}
	for _, k := range []int{0, creek.Len() - 1} {
		s := &p.Creek.Stations[k]
		e, n := d.ToFrame(float64(s.Lon), float64(s.Lat))
		if dist(creek.Points[k], orb.Point{e, n}) > 0.05 {
			return false
		}
	}
	return true
}
