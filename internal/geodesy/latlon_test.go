package geodesy

import (
	"errors"
	"math"
	"strings"
	"testing"

	"route/internal/finding"
)

// Degrees worked out by hand from degrees, minutes and seconds.
func TestParseLatLon(t *testing.T) {
	for _, c := range []struct {
		text     string
		lat, lon float64
	}{
		{"0.01234, -150.25", 0.01234, -150.25},
		{"0.01234,-150.25", 0.01234, -150.25},
		{"  0.01234 -150.25 ", 0.01234, -150.25},
		{"(0.01234, -150.25)", 0.01234, -150.25},
		{"0.01234; -150.25", 0.01234, -150.25},
		{"−12.5, +30", -12.5, 30},
		{"12.5S, 30E", -12.5, 30},
		{"12.5 s 30 e", -12.5, 30},
		{"S12.5 E30", -12.5, 30},
		{"30E, 12.5S", -12.5, 30},
		{"W150.25 N0.5", 0.5, -150.25},
		{"lat 12.5, lon -30", 12.5, -30},
		{"12°30'N, 150°15'W", 12.5, -150.25},
		{"12° 30′ 36″ N, 150° 15′ 18″ W", 12.51, -150.255},
		{"12°30'36\"N 150°15'18\"W", 12.51, -150.255},
		{"12 30 36 N, 150 15 18 W", 12.51, -150.255},
		{"12:30:36, -150:15:18", 12.51, -150.255},
		{"12º30’36”N, 150º15’18”W", 12.51, -150.255},
		{"12 30.6 N, 150 15.3 W", 12.51, -150.255},
		{"-0°30', 0°45'", -0.5, 0.75},
		{"90, 180", 90, 180},
		{"-90, -180", -90, -180},
	} {
		got, err := ParseLatLon(c.text)
		if err != nil {
			t.Errorf("ParseLatLon(%q): %v", c.text, err)
			continue
		}
		if math.Abs(got.Lat-c.lat) > 1e-12 || math.Abs(got.Lon-c.lon) > 1e-12 {
			t.Errorf("ParseLatLon(%q) = %v, want latitude %g, longitude %g", c.text, got, c.lat, c.lon)
		}
	}
}

func TestParseLatLonRefuses(t *testing.T) {
	for _, c := range []struct{ text, code, says string }{
		{"-150.25, 0.01234", "swapped_position", "look swapped"},
		{"12.5E, 30N, 5", "bad_position", "comma"},
		{"30E, 40E", "swapped_position", "letters"},
		{"30N, 40S", "swapped_position", "letters"},
		{"91, 200", "bad_position", "latitude 91"},
		{"45, 181", "bad_position", "longitude 181"},
		{"512345.1, 4512345.2", "bad_position", "eastings and northings"},
		{"12,5, 150,25", "bad_position", "comma"},
		{"12,5; 150,25", "bad_position", "comma"},
		{"45.5", "bad_position", "comma between"},
		{"", "bad_position", "comma between"},
		{",", "bad_position", "missing"},
		{"45.5,", "bad_position", "missing"},
		{"N,E", "bad_position", "missing"},
		{"-45 S, 30", "bad_position", "sign"},
		{"NaN, 30", "bad_position", "not a number"},
		{"Inf, 30", "bad_position", "INF"},
		{"12°60', 30", "bad_position", "60"},
		{"12.5°30', 30", "bad_position", "decimals"},
		{"12 30 36 12, 30", "bad_position", "left over"},
		{"12x, 30", "bad_position", "X"},
		{"48.85 O, 2.35", "bad_position", "O"},
		{strings.Repeat("1", 300) + ", 2", "bad_position", "too long"},
	} {
		got, err := ParseLatLon(c.text)
		var fault *finding.Fault
		if !errors.As(err, &fault) {
			t.Errorf("ParseLatLon(%q) = %v, %v; want a *finding.Fault", c.text, got, err)
			continue
		}
		if fault.Code != c.code || !strings.Contains(fault.Text, c.says) || fault.Hint == "" {
			t.Errorf("ParseLatLon(%q): code %q, %q; want code %q and %q in it", c.text, fault.Code, fault.Text, c.code, c.says)
		}
		if !math.IsNaN(got.Lat) || !math.IsNaN(got.Lon) {
			t.Errorf("ParseLatLon(%q) gave %v beside its error, want NaN", c.text, got)
		}
	}
}

func FuzzParseLatLon(f *testing.F) {
	for _, s := range []string{"0.01234, -150.25", "12°30'36\"N 150°15'18\"W", "S12.5 E30", "12 30 36 N, 150 15 18 W", "N,E", ",", "W", "1e5,2"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		p, err := ParseLatLon(s)
		if err != nil {
			var fault *finding.Fault
			if !errors.As(err, &fault) || fault.Text == "" || fault.Hint == "" {
				t.Fatalf("ParseLatLon(%q): %v is not a whole *finding.Fault", s, err)
			}
			return
		}
		if !p.Valid() || p.Lon > 180 {
			t.Fatalf("ParseLatLon(%q) = %v", s, p)
		}
	})
}
