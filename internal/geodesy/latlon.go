package geodesy

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"route/internal/finding"
)

// latLonExample is what every message shows.
const latLonExample = `write the latitude, then the longitude in degrees, such as "45.1234, -122.5678" or "45°07'24.2\"N, 122°34'04.1\"W"`

// ParseLatLon reads a place as people write it, latitude first: decimal
// degrees or degrees, minutes and seconds, with a sign or a letter N, S, E, W
// before or after. Letters on both allow either order. The error is a
// *finding.Fault without a file.
func ParseLatLon(s string) (LonLat, error) {
	fail := func(code, text string) (LonLat, error) {
		return LonLat{math.NaN(), math.NaN()}, &finding.Fault{Code: code, Text: text, Hint: latLonExample}
	}
	if len(s) > 200 {
		return fail("bad_position", "the position is too long to be one")
	}
	first, second, problem := splitPair(cleanAngles(s))
	if problem != "" {
		return fail("bad_position", fmt.Sprintf("%q is not a position: %s", s, problem))
	}
	a, err := parseAngle(first)
	if err != nil {
		return fail("bad_position", fmt.Sprintf("%q: the first number cannot be read: %v", s, err))
	}
	b, err := parseAngle(second)
	if err != nil {
		return fail("bad_position", fmt.Sprintf("%q: the second number cannot be read: %v", s, err))
	}
	if a.isLon() && b.isLat() {
		a, b = b, a
	}
	switch {
	case a.isLon() || b.isLat():
		return fail("swapped_position", fmt.Sprintf("%q: the coordinates look swapped: the letters N, S, E, W do not fit a latitude and a longitude", s))
	case math.Abs(a.deg) > 90 && math.Abs(b.deg) <= 90 && math.Abs(a.deg) <= 180:
		return fail("swapped_position", fmt.Sprintf("%q: the coordinates look swapped: %g cannot be a latitude", s, a.deg))
	case math.Abs(a.deg) > 1000 || math.Abs(b.deg) > 1000:
		return fail("bad_position", fmt.Sprintf("%q looks like eastings and northings, not like degrees", s))
	case math.Abs(a.deg) > 90:
		return fail("bad_position", fmt.Sprintf("%q: the latitude %g is outside -90 to 90", s, a.deg))
	case math.Abs(b.deg) > 180:
		return fail("bad_position", fmt.Sprintf("%q: the longitude %g is outside -180 to 180", s, b.deg))
	}
	return LonLat{Lon: b.deg, Lat: a.deg}, nil
}

// angle is one half of a position; letter is 0 or one of N, S, E, W.
type angle struct {
	deg    float64
	letter byte
}

func (a angle) isLat() bool { return a.letter == 'N' || a.letter == 'S' }
func (a angle) isLon() bool { return a.letter == 'E' || a.letter == 'W' }

// cleanAngles brings the typographic variants of signs and marks to one form:
// capital letters, °, ', " and plain blanks.
func cleanAngles(s string) string {
	s = strings.NewReplacer(
		"−", "-", "–", "-", "′", "'", "’", "'", "‘", "'", "´", "'", "″", `"`, "”", `"`, "“", `"`, "''", `"`,
		"º", "°", "˚", "°", "(", " ", ")", " ", "\u200b", "", "\ufeff", "",
	).Replace(s)
	s = strings.ToUpper(strings.Join(strings.Fields(s), " "))
	s = strings.NewReplacer("DEGREES", "°", "DEG", "°", "NORTH", "N", "SOUTH", "S", "EAST", "E", "WEST", "W", "LATITUDE", "", "LONGITUDE", "", "LAT", "", "LON", "").Replace(s)
	return strings.NewReplacer(":", " ", "=", " ").Replace(s)
}

// splitPair finds where the first half ends.
func splitPair(s string) (first, second, problem string) {
	separators := strings.Count(s, ",") + strings.Count(s, ";")
	if strings.Count(s, ";") == 1 && separators > 1 {
		return "", "", "it has a comma in a number; decimals come after a point"
	}
	if separators > 1 {
		return "", "", "it has more than one comma; decimals come after a point"
	}
	if i := strings.IndexAny(s, ",;"); i >= 0 {
		return s[:i], s[i+1:], ""
	}
	if i := strings.IndexAny(s, "NSEW"); i >= 0 {
		if strings.TrimSpace(s[:i]) != "" { // 45N 122W
			return s[:i+1], s[i+1:], ""
		}
		if j := strings.IndexAny(s[i+1:], "NSEW"); j >= 0 { // N45 W122
			return s[:i+1+j], s[i+1+j:], ""
		}
	}
	if fields := strings.Fields(s); len(fields) == 2 {
		return fields[0], fields[1], ""
	}
	return "", "", "a latitude and a longitude are wanted, with a comma between them"
}

// parseAngle reads one half.
func parseAngle(s string) (angle, error) {
	var a angle
	s = strings.TrimSpace(s)
	if s == "" {
		return a, fmt.Errorf("it is missing")
	}
	if strings.ContainsRune("NSEW", rune(s[0])) {
		a.letter, s = s[0], strings.TrimSpace(s[1:])
	} else if last := s[len(s)-1]; strings.ContainsRune("NSEW", rune(last)) {
		a.letter, s = last, strings.TrimSpace(s[:len(s)-1])
	}
	negative := strings.HasPrefix(s, "-")
	if negative || strings.HasPrefix(s, "+") {
		if a.letter != 0 {
			return a, fmt.Errorf("it has a sign and the letter %c; one of them is enough", a.letter)
		}
		s = s[1:]
	}
	deg, err := sexagesimal(s)
	if err != nil {
		return a, err
	}
	if negative || a.letter == 'S' || a.letter == 'W' {
		deg = -deg
	}
	a.deg = deg
	return a, nil
}

// sexagesimal reads "45.5", "45° 30'" or "45 30 15.5" as degrees.
func sexagesimal(s string) (float64, error) {
	marks := [3]string{"°", "'", `"`}
	deg, unit := 0.0, 1.0
	s = strings.TrimSpace(s)
	for i := 0; s != ""; i++ {
		if i == 3 {
			return 0, fmt.Errorf("%q is left over after the seconds", s)
		}
		end := 0
		for end < len(s) && (s[end] >= '0' && s[end] <= '9' || s[end] == '.') {
			end++
		}
		v, err := strconv.ParseFloat(s[:end], 64)
		if err != nil {
			return 0, fmt.Errorf("%q is not a number", s)
		}
		if i > 0 && v >= 60 {
			return 0, fmt.Errorf("%g minutes or seconds are 60 or more", v)
		}
		deg += v / unit
		unit *= 60
		mark := strings.TrimSpace(s[end:])
		rest := strings.TrimSpace(strings.TrimPrefix(mark, marks[i]))
		if rest != "" && v != math.Trunc(v) {
			return 0, fmt.Errorf("only the last of degrees, minutes and seconds can have decimals")
		}
		if rest != "" && rest == s[end:] {
			return 0, fmt.Errorf("%q cannot be read", rest)
		}
		s = rest
	}
	if unit == 1 {
		return 0, fmt.Errorf("it is missing")
	}
	return deg, nil
}
