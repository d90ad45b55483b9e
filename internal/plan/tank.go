package plan

import (
	"strconv"

	"route/internal/geodesy"
)

// SetTank puts the tank at a place as people write it, latitude first, in
// decimal degrees or in degrees, minutes and seconds. The error is a
// *finding.Fault without a file.
func (s *Site) SetTank(place string) error {
	at, err := geodesy.ParseLatLon(place)
	if err != nil {
		return err
	}
	plain := func(degrees float64) string { return strconv.FormatFloat(degrees, 'f', -1, 64) }
	s.Tank.Waypoint = ""
	if err := s.Set("tank.lat", plain(at.Lat)); err != nil {
		return err
	}
	return s.Set("tank.lon", plain(at.Lon))
}
