package plan

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"github.com/goccy/go-yaml/ast"

	"route/internal/finding"
	"route/internal/geodesy"
	"route/internal/optimize"
	"route/internal/profile"
	"route/internal/quantity"
)

// Pin is a place that the user has chosen. The search leaves it where it is and
// looks for the best of everything else.
type Pin struct {
	Place FieldPlace
	None  bool // there is to be no settling box, or no standpipe
}

// Pins are the places that the user has chosen; nil leaves one to the search.
type Pins struct{ Intake, SettlingBox, Standpipe, Pump *Pin }

// pinned is a pin on a station of the long profile.
type pinned struct {
	key     string // of the site file, below pins
	name    string // for people
	which   optimize.Place
	pin     *Pin
	station int // of the full profile; -1 where there is to be none
}

// each lists what is pinned, in the order of the water.
func (p *Pins) each() []pinned {
	var list []pinned
	for _, q := range []pinned{
		{key: "intake", name: "intake", which: optimize.AtIntake, pin: p.Intake},
		{key: "settling_box", name: "settling box", which: optimize.AtBox, pin: p.SettlingBox},
		{key: "standpipe", name: "standpipe", which: optimize.AtStandpipe, pin: p.Standpipe},
		{key: "pump", name: "pump", which: optimize.AtPump, pin: p.Pump},
	} {
		if q.pin != nil {
			q.station = -1
			list = append(list, q)
		}
	}
	return list
}

// at gives the pin below a key of the site file.
func (p *Pins) at(key string) **Pin {
	return map[string]**Pin{"intake": &p.Intake, "settling_box": &p.SettlingBox, "standpipe": &p.Standpipe, "pump": &p.Pump}[key]
}

const pinWant = `a station along the creek such as "394 ft", a place as LAT,LON, or the name of a waypoint`

// pinKey makes the key of a place that may be pinned.
func pinKey(name string, mayLack bool) key {
	want := pinWant + ", or auto"
	if mayLack {
		want = pinWant + ", none, or auto"
	}
	return key{path: "pins." + name, want: want, set: func(s *Site, t string) error {
		if strings.TrimSpace(t) == "auto" {
			*s.Pins.at(name) = nil
			return nil
		}
		pin, err := parsePin(strings.TrimSpace(t), mayLack)
		if err != nil {
			return fmt.Errorf("%w; expected %s", err, want)
		}
		*s.Pins.at(name) = &pin
		return nil
	}}
}

// parsePin reads a place as people write it.
func parsePin(t string, mayLack bool) (Pin, error) {
	p := Pin{Place: FieldPlace{StationM: math.NaN()}}
	switch v, err := quantity.Parse(quantity.Length, t); {
	case t == "":
		return p, errors.New("is empty")
	case bare(t):
		return p, fmt.Errorf("%q lacks its unit", t)
	case t == "none" && mayLack:
		p.None = true
		return p, nil
	case t == "none":
		return p, errors.New("a layout needs one")
	case err == nil:
		p.Place.StationM = v
		return p, nil
	}
	at, err := geodesy.ParseLatLon(t)
	switch {
	case err == nil:
		p.Place.At = at
	case strings.Contains(t, ",") || !strings.ContainsFunc(t, unicode.IsLetter):
		return p, err
	default:
		p.Place.Waypoint = t
	}
	return p, nil
}

// bare says whether a text is a number and nothing else.
func bare(t string) bool {
	_, err := strconv.ParseFloat(t, 64)
	return err == nil
}

// pinPlace reads a pin that is written as {lat: …, lon: …}.
func (r *siteReader) pinPlace(path string, n ast.Node) error {
	at, err := r.fieldPlace(path, n)
	if err != nil {
		return err
	}
	*r.site.Pins.at(strings.TrimPrefix(path, "pins.")) = &Pin{Place: at}
	r.site.given[path] = true
	return nil
}

// isPin says whether a key of the site file pins a place.
func isPin(path string) bool {
	name, ok := strings.CutPrefix(path, "pins.")
	return ok && new(Pins).at(name) != nil
}

// findPins puts the pins on the stations of the long profile.
func (j *job) findPins() error {
	j.pins = j.site.Pins.each()
	before := -1
	for k := range j.pins {
		p := &j.pins[k]
		if p.pin.None {
			continue
		}
		s, err := j.stationOf(p.pin.Place)
		var fault *finding.Fault
		if errors.As(err, &fault) {
			placed := *fault
			placed.Code, placed.Text = "pin_place", "pins."+p.key+": "+fault.Text
			if strings.Contains(fault.Hint, "heights of") {
				placed.Hint = "intake, settling box, standpipe and pump stand along the creek; check the coordinates"
			}
			return &placed
		}
		if err != nil {
			return err
		}
		p.station = j.nearestStation(s, p.pin.Place)
		if before >= 0 && p.station <= j.pins[before].station {
			upper := &j.pins[before]
			if same := p.which == optimize.AtStandpipe && upper.which == optimize.AtBox; !same || p.station < upper.station {
				return &finding.Fault{Code: "pins_out_of_order", File: j.site.File,
					Text: fmt.Sprintf("the %s is pinned at %s and the %s at %s: water would have to run uphill", p.name, j.length(float64(j.creek.Stations[p.station])), upper.name, j.length(float64(j.creek.Stations[upper.station]))),
					Hint: "downstream come intake, settling box, standpipe, pump; stations count from the creek's upper end"}
			}
		}
		before = k
	}
	return nil
}

// nearestStation is the station of the long profile nearest to a place: in the
// plane where it is given by coordinates, else along the creek, where it lies at
// m metres.
func (j *job) nearestStation(m profile.Station, place FieldPlace) int {
	away := func(k int) float64 { return math.Abs(float64(j.creek.Stations[k] - m)) }
	if math.IsNaN(place.StationM) {
		at := place.At
		if place.Waypoint != "" {
			at = j.walked.waypoints[place.Waypoint]
		}
		p := j.frame.ToFrame(at)
		away = func(k int) float64 { return dist(j.creek.Points[k], p) }
	}
	best := 0
	for k := range j.creek.Stations {
		if away(k) < away(best) {
			best = k
		}
	}
	return best
}

// pinProblem gives the search its pins. places are the stations of the full
// profile that it looks at.
func (j *job) pinProblem(p *optimize.Problem, places []int) {
	for _, q := range j.pins {
		pin := &optimize.Pin{None: q.pin.None}
		for k, at := range places {
			if at == q.station {
				pin.Station = k
			}
		}
		switch q.which {
		case optimize.AtIntake:
			p.Pins.Intake = pin
		case optimize.AtBox:
			p.Pins.Box = pin
		case optimize.AtStandpipe:
			p.Pins.Standpipe = pin
		default:
			p.Pins.Pump = pin
		}
	}
}

// PinAnswer says of one place that the user has chosen whether it works, and
// why not.
type PinAnswer struct {
	Place    string  `json:"place"`     // intake, settling_box, standpipe or pump
	StationM Number  `json:"station_m"` // null when there is to be none
	Lon      Degrees `json:"lon"`
	Lat      Degrees `json:"lat"`
	Works    bool    `json:"works"` // some layout with all pins keeps the limits and brings what is asked
	// Reason is a code of rejected[], Text the same in words; "" when it works.
	Reason string `json:"reason"`
	Text   string `json:"text"`
	Value  Number `json:"value"` // what breaks the limit, in Unit
	Limit  Number `json:"limit"`
	Unit   string `json:"unit"`
	// NearestM is the nearest place along the creek at which it would work
	// with the other pins where they are; null when none would.
	NearestM Number `json:"nearest_station_m"`
}

// answerPins says whether the pins work; where they do not, why, and where the
// nearest places are that do.
func (j *job) answerPins() error {
	if len(j.pins) == 0 {
		return nil
	}
	works := len(j.plan.Layouts) > 0 && (j.problem.Objective == optimize.MostWater || j.problem.Objective == optimize.MostSureWater || j.result.Ranked[0].Operation.DeliveredTotal >= j.problem.Demand)
	for _, q := range j.pins {
		a := PinAnswer{Place: q.key, StationM: Unknown, Lon: Degrees(math.NaN()), Lat: Degrees(math.NaN()), Works: works, Value: Unknown, Limit: Unknown, NearestM: Unknown}
		if q.station >= 0 {
			at := j.atStation(q.station, j.creek.ZM[q.station])
			a.StationM, a.Lon, a.Lat = at.StationM, at.Lon, at.Lat
		}
		j.plan.Pins = append(j.plan.Pins, a)
	}
	if works {
		return nil
	}
	return j.whyNotPinned()
}

// whyNotPinned fills in why the pins do not work together, and tells it before
// what is said of the whole creek.
func (j *job) whyNotPinned() error {
	var where, moves []string
	why := j.pinReason()
	for k, q := range j.pins {
		a := &j.plan.Pins[k]
		a.Reason, a.Text, a.Value, a.Limit, a.Unit = why.Reason, why.Text, why.Value, why.Limit, why.Unit
		if q.station < 0 {
			where = append(where, "without a "+q.name)
			continue
		}
		where = append(where, "with the "+q.name+" at "+j.length(float64(a.StationM)))
		nearest, ok, err := optimize.NearestPlace(j.ctx, j.problem, q.which)
		if err != nil {
			return err
		}
		if ok {
			a.NearestM = Number(j.creek.Stations[j.places[nearest]])
			moves = append(moves, fmt.Sprintf("the nearest place for the %s that works is %s, %s", q.name, j.length(float64(a.NearestM)), j.apart(float64(a.StationM), float64(a.NearestM))))
		}
	}
	hint := strings.Join(moves, "; ")
	if hint == "" {
		hint = "no other place for one of them alone would do: leave more to the search, or ease a limit"
	}
	f := finding.New(finding.Error, "pinned_place", "no layout works "+strings.Join(where, " and ")+": "+why.Text, hint)
	f.StationM = float64(why.StationM)
	j.plan.Messages = slices.Insert(j.plan.Messages, 0, j.message(f))
	return nil
}

// pinReason is the limit that stands in the way of the pins: the land, where one
// of them stands on none that may be used; the reason for which the pump's
// place is ruled out, where that is pinned; or else the nearest miss.
func (j *job) pinReason() PinAnswer {
	a := PinAnswer{StationM: Unknown, Value: Unknown, Limit: Unknown}
	for k, q := range j.pins {
		if q.station >= 0 && !j.mayStand(q) {
			a.Reason, a.StationM = optimize.Land, j.plan.Pins[k].StationM
			a.Text = "the " + q.name + " would stand on land that may not be used, or under something that stands across the creek"
			return a
		}
	}
	if len(j.plan.Rejected) == 1 {
		r := &j.plan.Rejected[0]
		a.Reason, a.Text, a.StationM, a.Value, a.Limit, a.Unit = r.Reason, r.Text, r.Nearest.StationM, r.Nearest.Value, r.Nearest.Limit, r.Nearest.Unit
		return a
	}
	if len(j.result.Findings) > 0 {
		f := j.result.Findings[0]
		a.Reason, a.Text, a.StationM = f.Code, j.message(f).Text, Number(f.StationM)
		return a
	}
	most := j.mostWater()
	a.Reason, a.Value, a.Limit, a.Unit = optimize.TooLittleWater, Number(most), Number(j.problem.Demand), siUnit(quantity.DailyVolume)
	a.Text = j.reason(a.Reason, quantity.Of(quantity.DailyVolume, most), quantity.Of(quantity.DailyVolume, j.problem.Demand))
	return a
}

// mayStand says whether the land allows a pinned place where it is.
func (j *job) mayStand(q pinned) bool {
	allowed := map[optimize.Place][]bool{optimize.AtIntake: j.problem.IntakeAt, optimize.AtBox: j.problem.StandpipeAt, optimize.AtStandpipe: j.problem.StandpipeAt, optimize.AtPump: j.problem.PumpAt}[q.which]
	k, ok := slices.BinarySearch(j.places, q.station)
	return !ok || allowed == nil || allowed[k]
}

// mostWater is what the layout with the most water delivers.
func (j *job) mostWater() float64 {
	most := 0.0
	for k := range j.result.Ranked {
		most = math.Max(most, j.result.Ranked[k].Operation.DeliveredTotal)
	}
	return most
}

// apart says how far one place along the creek is from another.
func (j *job) apart(from, to float64) string {
	if to < from {
		return j.length(from-to) + " upstream"
	}
	return j.length(to-from) + " downstream"
}

// PinsWork says whether some layout has all pins and does what is asked; it is
// true where nothing is pinned.
func (p *Plan) PinsWork() bool {
	for _, a := range p.Pins {
		if !a.Works {
			return false
		}
	}
	return true
}
