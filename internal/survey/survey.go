// Package survey reads what was recorded in the field and says how good it
// is: tracks and waypoints of receivers, and levelling books. Heights of a receiver are kept but never used for a fall: they are
// off by metres, and often above the ellipsoid.
package survey

import (
	"fmt"
	"math"
	"strings"
	"time"

	"route/internal/finding"
	"route/internal/geodesy"
	"route/internal/quantity"
)

// Fix is one recorded position.
type Fix struct {
	geodesy.LonLat
	EleM float64 // as recorded, on whatever datum; NaN when absent
	Name string
	Line int       // in the file
	Time time.Time // zero when absent
	HDOP float64   // horizontal dilution of precision; NaN when absent
}

// Track is a recorded track or a drawn route. Each leg is an unbroken run of
// fixes; what lies between two legs was not recorded.
type Track struct {
	Name  string
	Route bool // drawn, not walked
	Legs  [][]Fix
	Line  int // in the file
}

// Fixes is the number of fixes in all legs.
func (t Track) Fixes() int {
	n := 0
	for _, leg := range t.Legs {
		n += len(leg)
	}
	return n
}

// LengthM is the length of the legs on the ellipsoid in metres, without the
// gaps between them.
func (t Track) LengthM() float64 {
	l := 0.0
	for _, leg := range t.Legs {
		for i := 1; i < len(leg); i++ {
			d, _ := geodesy.Distance(leg[i-1].LonLat, leg[i].LonLat)
			l += d
		}
	}
	return l
}

// kind is the word for a person.
func (t Track) kind() string {
	if t.Route {
		return "route"
	}
	return "track"
}

// title names the track for a person, also when it has no name.
func (t Track) title() string {
	if t.Name == "" {
		return fmt.Sprintf("the unnamed %s at line %d", t.kind(), t.Line)
	}
	return fmt.Sprintf("%s %q", t.kind(), t.Name)
}

// Field is the content of one file from the field.
type Field struct {
	File      string
	Version   string // of the format: "1.0" or "1.1"; "" when not stated
	Creator   string // the device or program that wrote it
	Tracks    []Track
	Waypoints []Fix
	Findings  []finding.Finding
}

// Choose gives the track with a name (capitals do not matter), or the longest
// one when name is empty; then the findings list the others. Only tracks with
// two fixes or more can be chosen.
func (f *Field) Choose(name string) (Track, []finding.Finding, error) {
	best, bestM := -1, math.Inf(-1)
	var usable []int
	for i, t := range f.Tracks {
		if t.Fixes() < 2 {
			continue
		}
		usable = append(usable, i)
		match := name == "" || strings.EqualFold(strings.TrimSpace(t.Name), strings.TrimSpace(name))
		if l := t.LengthM(); match && l > bestM {
			best, bestM = i, l
		}
	}
	switch {
	case len(usable) == 0:
		return Track{}, nil, &finding.Fault{Code: "no_track", File: f.File,
			Text: fmt.Sprintf("no track or route with at least 2 points (%d tracks and routes, %d waypoints)", len(f.Tracks), len(f.Waypoints)),
			Hint: "record a track along the creek, or draw a route"}
	case best < 0:
		return Track{}, nil, &finding.Fault{Code: "no_such_track", File: f.File,
			Text: fmt.Sprintf("no track or route is called %q", name),
			Hint: "choose one of: " + f.list(usable, -1)}
	}
	chosen := f.Tracks[best]
	if name != "" || len(usable) == 1 {
		return chosen, nil, nil
	}
	note := finding.New(finding.Note, "track_chosen",
		fmt.Sprintf("%s, {0} long, is taken for the creek because it is the longest; also in the file: %s",
			chosen.title(), f.list(usable, best)),
		"name the track to take another one", quantity.Metres(bestM)).In(f.File)
	note.Line = chosen.Line
	return chosen, []finding.Finding{note}, nil
}

// list names tracks, at most ten, without one of them.
func (f *Field) list(of []int, without int) string {
	const most = 10
	var names []string
	for _, i := range of {
		if i != without {
			names = append(names, f.Tracks[i].title())
		}
	}
	if len(names) > most {
		names = append(names[:most], fmt.Sprintf("and %d more", len(names)-most))
	}
	return strings.Join(names, ", ")
}

// Waypoint gives the waypoint with a name (capitals do not matter).
func (f *Field) Waypoint(name string) (Fix, error) {
	var found []Fix
	var names []string
	for _, w := range f.Waypoints {
		if strings.EqualFold(strings.TrimSpace(w.Name), strings.TrimSpace(name)) {
			found = append(found, w)
		}
		if w.Name != "" && len(names) < 10 {
			names = append(names, fmt.Sprintf("%q", w.Name))
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		hint := "the file has no named waypoints: give the place as latitude and longitude"
		if len(names) > 0 {
			hint = "waypoints in the file: " + strings.Join(names, ", ")
		}
		return Fix{}, &finding.Fault{Code: "no_such_waypoint", File: f.File,
			Text: fmt.Sprintf("no waypoint is called %q", name), Hint: hint}
	}
	return Fix{}, &finding.Fault{Code: "waypoint_twice", File: f.File, Line: found[1].Line,
		Text: fmt.Sprintf("%d waypoints are called %q, at lines %d and %d", len(found), name, found[0].Line, found[1].Line),
		Hint: "rename one of them, or give the place as latitude and longitude"}
}
