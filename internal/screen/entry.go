// Package screen plans every creek of a list on one terrain and ranks them. A
// creek that cannot be planned is a line of the result, never the end of the
// run; a run that was interrupted goes on where it stopped.
package screen

import (
	"fmt"
	"math"
	"strings"

	"route/internal/finding"
	"route/internal/geodesy"
	"route/internal/plan"
)

// Entry is one creek of a list, with what sets it apart from the others.
type Entry struct {
	ID   string
	File string // the list or layer
	Line int    // of the list; 0 in a layer

	// The creek: a file, or a line of one or more parts.
	Creek string
	Legs  [][]geodesy.LonLat

	Tank     string // "LAT,LON"; "" leaves it to the settings
	Settings []Setting

	// Fault is what keeps the entry from being planned.
	Fault *finding.Fault
}

// Setting is a key of the site file and its value.
type Setting struct{ Key, Value string }

// fault is a fault at the entry's place.
func (e *Entry) fault(code, text, hint string) *finding.Fault {
	return &finding.Fault{Code: code, File: e.File, Line: e.Line, Text: text, Hint: hint}
}

// Site is the entry as a site of its own. What base says about one creek (its
// line, track, measurements on site and pins) is left aside. The error is a
// *finding.Fault.
func (e *Entry) Site(base *plan.Site) (*plan.Site, error) {
	if e.Fault != nil {
		return nil, e.Fault
	}
	site := base.Clone()
	site.Name, site.Creek, site.CreekLine, site.Track = e.ID, "", "", ""
	site.Field, site.Pins = nil, plan.Pins{}
	if len(e.Legs) > 0 {
		site.DrawCreek(e.File, e.Legs)
	} else if err := site.Set("creek", e.Creek); err != nil {
		return nil, e.fault("list_value", err.Error(), "name the file that holds the creek")
	}
	if e.Tank != "" {
		site.Tank.Waypoint = ""
		if err := site.SetTank(e.Tank); err != nil {
			return nil, e.fault("list_value", "tank: "+plainText(err), "write it as LAT,LON: 44.61234,-121.53210")
		}
	}
	for _, s := range e.Settings {
		switch s.Key {
		case "tank.lat", "tank.lon":
			site.Tank.Waypoint = ""
		}
		if err := site.Set(s.Key, s.Value); err != nil {
			return nil, e.fault("list_value", err.Error(), "a quantity carries its unit, such as \"1500 L/day\"")
		}
	}
	if text, hint := site.Missing(); text != "" {
		return nil, e.fault("list_incomplete", text, hint)
	}
	if site.Tank.Waypoint == "" && !site.Given("tank.lat") {
		return nil, e.fault("tank_missing", "the tank has no place", "give one to the creek (tank, tank_lat and tank_lon, tank_waypoint), or one to all: --tank LAT,LON; of a layer, --tanks takes the nearest point of another")
	}
	return site, nil
}

// plainText is an error's text without the place that a fault puts before it.
func plainText(err error) string {
	if f, ok := err.(*finding.Fault); ok {
		return f.Text
	}
	return err.Error()
}

// distinct makes the IDs of the entries different from each other, and gives
// names to those without.
func distinct(entries []Entry) {
	used := map[string]bool{}
	for i := range entries {
		e := &entries[i]
		if e.ID == "" {
			e.ID = fmt.Sprintf("creek %d", i+1)
		}
		id := e.ID
		for n := 2; used[id]; n++ {
			id = fmt.Sprintf("%s (%d)", e.ID, n)
		}
		e.ID, used[id] = id, true
	}
}

// nearestTank gives the tank that lies nearest to a creek, as an index; -1
// when there is none. One degree of longitude counts as long as it is there.
func nearestTank(legs [][]geodesy.LonLat, tanks []geodesy.LonLat) int {
	best, least := -1, math.Inf(1)
	for k, tank := range tanks {
		shrink := math.Cos(tank.Lat * math.Pi / 180)
		at := func(p geodesy.LonLat) (x, y float64) {
			return math.Remainder(p.Lon-tank.Lon, 360) * shrink, p.Lat - tank.Lat
		}
		for _, leg := range legs {
			for i := range leg {
				x, y := at(leg[i])
				d := x*x + y*y
				if i > 0 {
					px, py := at(leg[i-1])
					d = math.Min(d, toSegment(px, py, x, y))
				}
				if d < least {
					best, least = k, d
				}
			}
		}
	}
	return best
}

// toSegment is the squared distance of the origin from a segment.
func toSegment(ax, ay, bx, by float64) float64 {
	dx, dy := bx-ax, by-ay
	t := 0.0
	if l := dx*dx + dy*dy; l > 0 {
		t = math.Max(0, math.Min(1, -(ax*dx+ay*dy)/l))
	}
	x, y := ax+t*dx, ay+t*dy
	return x*x + y*y
}

// shared are the settings that belong to the terrain or the whole table.
var shared = []string{"terrain", "z_unit", "crs", "accuracy", "units", "name"}

// aliases are column and attribute names that stand for a setting; what
// follows the value is its unit, where the name says it.
var aliases = map[string]struct{ key, unit string }{
	"tank_lat":       {"tank.lat", ""},
	"tank_lon":       {"tank.lon", ""},
	"tank_waypoint":  {"tank.waypoint", ""},
	"creek_flow":     {"creek_flow.low", ""},
	"creek_flow_l_s": {"creek_flow.low", "L/s"},
	"demand_l_day":   {"demand", "L/day"},
}

// settingOf is the setting that a column or attribute stands for; ok is false
// when it is none.
func settingOf(name, value string) (s Setting, ok bool) {
	if a, found := aliases[name]; found {
		return Setting{a.key, strings.TrimSpace(value + " " + a.unit)}, true
	}
	return Setting{name, value}, plan.IsSetting(name)
}
