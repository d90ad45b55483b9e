package plan

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"

	"route/internal/geodesy"
	"route/internal/quantity"
)

// FieldReading is one measurement made on site.
type FieldReading struct {
	Kind     string  // drop, pressure, height, lift, levels or place
	Place    string  // of a place that the crew chose: intake, settling_box, standpipe or pump
	Value    float64 // m; Pa of a pressure
	SigmaM   float64 // standard deviation in metres; 0 takes the instrument's
	SigmaPa  float64 // the same of a pressure that was given as one
	From, To FieldPlace
	// AboveWaterM is how high above the creek's water the lower end, or the
	// place of a height, was. A lift counts from there up to the tank's inlet.
	AboveWaterM float64
	By          string // instrument
	Legs        int    // set-ups; 0 works them out from the distance
	Accept      bool   // used although it contradicts the terrain
	Levels      string // the file of a levelling book
	Line        int    // in the site file
	Column      int
}

// FieldPlace is where something was measured: a station, a place, or a
// waypoint of the creek file.
type FieldPlace struct {
	StationM float64 // NaN when it is given another way
	At       geodesy.LonLat
	Waypoint string

	token *token.Token
}

// instruments that may be named with each kind of reading, the usual one
// first.
var instruments = map[string][]string{
	"drop":     {"level", "hose", "hand_level", "gauge", "digital_gauge"},
	"pressure": {"gauge", "digital_gauge"},
	"height":   {"level", "rtk"},
	"lift":     {"level", "hose", "hand_level", "gauge", "digital_gauge"},
	"levels":   {"level"},
	"place":    {"receiver"},
}

// places that a crew may choose on site, with their words for people.
var choosable = map[string]string{"intake": "intake", "settling_box": "settling box", "standpipe": "standpipe", "pump": "pump"}

// fieldKeys are the keys that go with each kind of reading.
var fieldKeys = map[string][]string{
	"drop":     {"drop", "from", "to", "by", "legs", "sigma", "above_water", "accept"},
	"pressure": {"pressure", "from", "to", "by", "sigma", "above_water", "accept"},
	"height":   {"height", "at", "by", "legs", "sigma", "above_water", "accept"},
	"lift":     {"lift", "from", "by", "legs", "sigma", "above_water", "accept"},
	"levels":   {"levels", "sigma", "accept"},
	"place":    {"place", "at", "sigma"},
}

const fieldHint = `write {drop: "3.2 m", from: "120 m", to: "189 m", by: hose}, {pressure: "4.5 psi", from: …, to: …}, {height: "142.31 m", at: …, by: rtk}, {lift: "88.2 ft", from: …, by: hose}, {levels: levels.csv} or {place: pump, at: "44.61234,-121.53210"}`

// field reads the measurements made on site.
func (r *siteReader) field(e *ast.MappingValueNode) error {
	seq, ok := e.Value.(*ast.SequenceNode)
	if !ok {
		return r.fault(e.Value.GetToken(), "field_structure", fieldHint, "field must be a list of readings")
	}
	for _, item := range seq.Values {
		reading, err := r.fieldReading(item)
		if err != nil {
			return err
		}
		for _, other := range r.site.Field {
			if reading.Kind == "place" && other.Place == reading.Place {
				return r.fault(item.GetToken(), "site_value", "keep the entry that holds", "the %s has two places, here and in line %d", choosable[reading.Place], other.Line)
			}
		}
		r.site.Field = append(r.site.Field, reading)
	}
	r.site.given["field"] = true
	return nil
}

// fieldReading reads one entry.
func (r *siteReader) fieldReading(item ast.Node) (FieldReading, error) {
	var out FieldReading
	entries, ok := entriesOf(item)
	if !ok || len(entries) == 0 {
		return out, r.fault(item.GetToken(), "field_structure", fieldHint, "a reading is written as keys in braces")
	}
	first := entries[0].Key.GetToken()
	out.Line, out.Column = first.Position.Line, first.Position.Column
	for _, e := range entries {
		name := e.Key.GetToken().Value
		if _, kind := fieldKeys[name]; !kind {
			continue
		}
		if out.Kind != "" {
			return out, r.fault(e.Key.GetToken(), "field_structure", "give each its own entry", "a reading has both %s and %s", out.Kind, name)
		}
		out.Kind = name
	}
	if out.Kind == "" {
		return out, r.fault(first, "field_structure", fieldHint, "this reading says nothing that was measured")
	}
	for _, e := range entries {
		if name := e.Key.GetToken().Value; !slices.Contains(fieldKeys[out.Kind], name) {
			return out, r.fault(e.Key.GetToken(), "site_unknown_key", "known here: "+strings.Join(fieldKeys[out.Kind], ", "), "%q does not go with a %s", name, out.Kind)
		}
		if err := r.fieldValue(&out, e); err != nil {
			return out, err
		}
	}
	return out, r.fieldComplete(&out, first)
}

// fieldValue reads one key of an entry.
func (r *siteReader) fieldValue(out *FieldReading, e *ast.MappingValueNode) error {
	name, tk := e.Key.GetToken().Value, e.Value.GetToken()
	var err error
	switch name {
	case "drop", "lift":
		out.Value, err = r.fieldLength(e, 0, 500)
	case "height":
		out.Value, err = r.fieldLength(e, -500, 9000)
	case "above_water":
		out.AboveWaterM, err = r.fieldLength(e, -10, 10)
	case "pressure":
		v, e := quantity.Parse(quantity.Pressure, tk.Value)
		if e != nil || !(v > 0 && v < 5e6) {
			return r.fault(tk, "site_value", "a gauge shows the pressure above the air's", "pressure is %q; expected one up to 50 bar, such as \"4.5 psi\"", tk.Value)
		}
		out.Value = v
	case "sigma":
		err = r.fieldSigma(out, e)
	case "from", "at":
		out.From, err = r.fieldPlace(name, e.Value)
	case "to":
		out.To, err = r.fieldPlace(name, e.Value)
	case "by":
		out.By = tk.Value
		if !slices.Contains(instruments[out.Kind], out.By) {
			return r.fault(tk, "site_value", "", "by is %q; a %s is measured by one of %s", out.By, out.Kind, strings.Join(instruments[out.Kind], ", "))
		}
	case "legs":
		n, e := strconv.Atoi(tk.Value)
		if e != nil || n < 1 || n > 1000 {
			return r.fault(tk, "site_value", "", "legs is %q; expected a whole number from 1: how often the instrument was set up", tk.Value)
		}
		out.Legs = n
	case "accept":
		if tk.Value != "true" && tk.Value != "false" {
			return r.fault(tk, "site_value", "", "accept is %q; expected true or false", tk.Value)
		}
		out.Accept = tk.Value == "true"
	case "place":
		out.Place = tk.Value
		if choosable[out.Place] == "" {
			return r.fault(tk, "site_value", "the tank's place is tank: {lat: …, lon: …}", "place is %q; a crew chooses the place of the intake, settling_box, standpipe or pump", tk.Value)
		}
	case "levels":
		if _, ok := e.Value.(*ast.StringNode); !ok || strings.TrimSpace(tk.Value) == "" {
			return r.fault(tk, "site_value", "", "levels must name a levelling book, such as levels.csv")
		}
		out.Levels = tk.Value
	}
	return err
}

// fieldLength reads a length between two bounds in metres.
func (r *siteReader) fieldLength(e *ast.MappingValueNode, least, most float64) (float64, error) {
	name, tk := e.Key.GetToken().Value, e.Value.GetToken()
	v, err := quantity.Parse(quantity.Length, tk.Value)
	if err != nil {
		return 0, r.fault(tk, "site_value", "", "%s: %s", name, err)
	}
	if !(v >= least && v <= most) {
		hint := ""
		if name == "drop" && v < 0 {
			hint = "a drop runs down: exchange from and to"
		}
		return 0, r.fault(tk, "site_value", hint, "%s is %q; expected %g m to %g m", name, tk.Value, least, most)
	}
	return v, nil
}

// fieldSigma reads the standard deviation of a reading.
func (r *siteReader) fieldSigma(out *FieldReading, e *ast.MappingValueNode) error {
	tk := e.Value.GetToken()
	if out.Kind == "pressure" {
		if v, err := quantity.Parse(quantity.Pressure, tk.Value); err == nil && v > 0 {
			out.SigmaPa = v
			return nil
		}
	}
	v, err := quantity.Parse(quantity.Length, tk.Value)
	if err != nil {
		return r.fault(tk, "site_value", "", "sigma: %s", err)
	}
	if !(v >= 1e-4 && v <= 100) {
		return r.fault(tk, "site_value", "it is the standard deviation: two of three readings are that close", "sigma is %q; expected 0.1 mm to 100 m", tk.Value)
	}
	out.SigmaM = v
	return nil
}

// fieldPlace reads a place: "120 m", a waypoint's name, or {lat: …, lon: …}.
func (r *siteReader) fieldPlace(name string, n ast.Node) (FieldPlace, error) {
	tk := n.GetToken()
	p := FieldPlace{StationM: math.NaN(), token: tk}
	const want = `write a station such as "120 m", the name of a waypoint, "LAT,LON" or {lat: …, lon: …}`
	entries, isMap := entriesOf(n)
	if !isMap {
		if _, ok := n.(*ast.StringNode); !ok {
			return p, r.fault(tk, "site_value", want, "%s has no usable place; a station needs its unit", name)
		}
		if v, err := quantity.Parse(quantity.Length, tk.Value); err == nil {
			p.StationM = v
			return p, nil
		}
		if _, err := strconv.ParseFloat(tk.Value, 64); err == nil || strings.TrimSpace(tk.Value) == "" {
			return p, r.fault(tk, "site_value", want, "%s is %q; a station needs its unit", name, tk.Value)
		}
		if at, err := geodesy.ParseLatLon(tk.Value); err == nil {
			p.At = at
			return p, nil
		}
		p.Waypoint = tk.Value
		return p, nil
	}
	if len(entries) > 0 {
		p.token = entries[0].Key.GetToken()
	}
	found := map[string]bool{}
	for _, e := range entries {
		key, value := e.Key.GetToken().Value, e.Value.GetToken()
		to, most := &p.At.Lat, 90.0
		switch key {
		case "lat":
		case "lon":
			to, most = &p.At.Lon, 180
		default:
			return p, r.fault(e.Key.GetToken(), "site_unknown_key", want, "%q does not say where %s is", key, name)
		}
		v, err := strconv.ParseFloat(value.Value, 64)
		if err != nil || !(math.Abs(v) <= most) {
			return p, r.fault(value, "site_value", "", "%q is not a coordinate; expected decimal degrees from -%g to %g", value.Value, most, most)
		}
		*to, found[key] = v, true
	}
	if !found["lat"] || !found["lon"] {
		return p, r.fault(p.token, "site_value", want, "%s needs both lat and lon", name)
	}
	return p, nil
}

// fieldComplete fills in what was left out and says what is missing.
func (r *siteReader) fieldComplete(out *FieldReading, at *token.Token) error {
	if out.By == "" {
		out.By = instruments[out.Kind][0]
	}
	missing := ""
	switch {
	case (out.Kind == "height" || out.Kind == "place") && out.From.token == nil:
		missing = "at"
	case (out.Kind == "drop" || out.Kind == "pressure" || out.Kind == "lift") && out.From.token == nil:
		missing = "from"
	case (out.Kind == "drop" || out.Kind == "pressure") && out.To.token == nil:
		missing = "to"
	}
	if missing != "" {
		return r.fault(at, "site_value", fieldHint, "this %s does not say where: %s is missing", out.Kind, missing)
	}
	return nil
}
