package plan

import (
	"math"
	"strings"
	"testing"
)

// A place is written as a station with its unit, as LAT,LON or as a waypoint;
// box and standpipe may be left out.
func TestPinsAsTheyAreWritten(t *testing.T) {
	s := NewSite()
	for key, value := range map[string]string{"pins.intake": "394 ft", "pins.settling_box": "none", "pins.standpipe": "41.25, -148.5", "pins.pump": "old weir"} {
		if err := s.Set(key, value); err != nil {
			t.Errorf("%s %q: %v", key, value, err)
		}
	}
	p := s.Pins
	if m := p.Intake.Place.StationM; math.Abs(m-394*0.3048) > 1e-9 { // a foot is 0.3048 m by definition
		t.Errorf("intake at %v m", m)
	}
	if !p.SettlingBox.None || p.Intake.None || p.Standpipe.None || p.Pump.None {
		t.Errorf("only the box is to be left out: %+v", p)
	}
	if at := p.Standpipe.Place; !math.IsNaN(at.StationM) || at.At.Lat != 41.25 || at.At.Lon != -148.5 {
		t.Errorf("standpipe at %+v", at)
	}
	if at := p.Pump.Place; at.Waypoint != "old weir" || !math.IsNaN(at.StationM) {
		t.Errorf("pump at %+v", at)
	}
}

func TestPinsThatMakeNoSense(t *testing.T) {
	for _, c := range []struct{ key, value, says string }{
		{"pins.pump", "55", "lacks its unit"},
		{"pins.pump", "none", "a layout needs one"},
		{"pins.intake", "none", "a layout needs one"},
		{"pins.standpipe", " ", "is empty"},
		{"pins.pump", "41.2", "lacks its unit"},
		{"pins.pump", "41.2,", "41.2"},
		{"pins.pump", "141.2,241.2", "141.2"},
		{"pins.tower", "3 m", "is not a setting"},
	} {
		s := NewSite()
		if err := s.Set(c.key, c.value); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s %q: %v, expected it to say %q", c.key, c.value, err, c.says)
		}
	}
}

func TestPinsInTheSiteFile(t *testing.T) {
	read := func(pins string) (*Site, error) {
		return ReadSite("site.yaml", strings.NewReader("terrain: [g.tif]\ncreek: c.gpx\n"+pins))
	}
	s, err := read("pins: {pump: \"120 m\", standpipe: none, intake: {lat: 41.2, lon: -148.5}}\n")
	if err != nil {
		t.Fatal(err)
	}
	if s.Pins.Pump.Place.StationM != 120 || !s.Pins.Standpipe.None || s.Pins.Intake.Place.At.Lat != 41.2 || s.Pins.SettlingBox != nil {
		t.Errorf("%+v", s.Pins)
	}
	for _, c := range []struct{ pins, says string }{
		{"pins: {pump: 120}\n", "3:14"},
		{"pins: {pump: {lat: 41.2}}\n", "both lat and lon"},
		{"pins: {well: \"3 m\"}\n", "pins.well"},
	} {
		if _, err := read(c.pins); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q: %v, expected it to say %q", c.pins, err, c.says)
		}
	}
}
