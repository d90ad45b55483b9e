package export

import (
	"io"
	"math"
	"strings"

	"route/internal/ogr"
	"route/internal/plan"
)

// drawnRole is how something is drawn on a map of somebody else's.
type drawnRole struct {
	role, name, colour string
	line               bool
	widthMM            float64
	mark               string
}

var drawnRoles = []drawnRole{
	{"creek", "Creek", waterColour, true, 0.6, ""},
	{"supply", "Supply pipe", supplyColour, true, 0.7, ""},
	{"drive", "Drive pipe", driveColour, true, 1, ""},
	{"delivery", "Delivery pipe", deliveryColour, true, 0.7, ""},
	{"intake", "Intake", waterColour, false, 3, "triangle"},
	{"settling_box", "Settling box", supplyColour, false, 3, "square"},
	{"standpipe", "Standpipe", supplyColour, false, 3, "circle"},
	{"pump", "Ram pump", driveColour, false, 3, "circle"},
	{"tank", "Tank", deliveryColour, false, 3.4, "square"},
	{"stake", "Stake", softColour, false, 1.6, "cross"},
	{"visit", "Measure first", gradeColour, false, 3, "triangle"},
}

// classesOf lists the looks of some roles.
func classesOf(line bool, roles ...string) []ogr.Class {
	var classes []ogr.Class
	for _, r := range drawnRoles {
		for _, role := range roles {
			if r.role == role && r.line == line {
				classes = append(classes, ogr.Class{Value: r.role, Title: r.name, Colour: r.colour, WidthMM: r.widthMM, Mark: r.mark})
			}
		}
	}
	return classes
}

// metricGrid is the site's projected coordinate reference system for files
// that hold heights in metres: the grid that is asked for where it counts in
// metres too, else the UTM zone.
func metricGrid(p *plan.Plan) string {
	if p.Frame.Grid != "" && math.Abs(float64(p.Frame.GridUnitM)-1) < 1e-9 {
		return p.Frame.Grid
	}
	return p.Frame.UTM
}

// writeGeoPackage writes a GeoPackage with a layer each for creek, pipes,
// places, stakes and visits, in the site's projected system.
func writeGeoPackage(w io.Writer, p *plan.Plan) error {
	return ogr.GeoPackage(w, metricGrid(p), []ogr.Layer{creekLayer(p), pipeLayer(p), placeLayer(p), stakeLayer(p), visitLayer(p)})
}

func ogrPosition(lon, lat plan.Degrees, z plan.Number) ogr.Position {
	return ogr.Position{Lon: float64(lon), Lat: float64(lat), Z: float64(z)}
}

func pointOf(where plan.Place, z plan.Number) [][]ogr.Position {
	return [][]ogr.Position{{ogrPosition(where.Lon, where.Lat, z)}}
}

func creekLayer(p *plan.Plan) ogr.Layer {
	l := ogr.Layer{Name: "creek", Description: "creek, heights of the fitted water line in metres", Kind: ogr.Line,
		Fields: []ogr.Field{{Name: "name", Type: ogr.Text}, {Name: "length_m", Type: ogr.Real}, {Name: "fall_m", Type: ogr.Real}},
		Style:  ogr.Style{Classes: classesOf(true, "creek")}}
	line := make([]ogr.Position, len(p.Creek.Stations))
	for i, s := range p.Creek.Stations {
		line[i] = ogrPosition(s.Lon, s.Lat, s.ZM)
	}
	l.Features = []ogr.Feature{{Parts: [][]ogr.Position{line}, Values: []any{p.Site, float64(p.Creek.LengthM), float64(p.Creek.FallM)}}}
	return l
}

func pipeLayer(p *plan.Plan) ogr.Layer {
	l := ogr.Layer{Name: "pipes", Description: "pipes as laid, heights of their inverts in metres", Kind: ogr.Line,
		Fields: []ogr.Field{{Name: "layout", Type: ogr.Text}, {Name: "rank", Type: ogr.Integer}, {Name: "role", Type: ogr.Text}, {Name: "pipe", Type: ogr.Text},
			{Name: "inside_m", Type: ogr.Real}, {Name: "length_m", Type: ogr.Real}, {Name: "flow_l_s", Type: ogr.Real}, {Name: "pressure_max_m", Type: ogr.Real}},
		Style: ogr.Style{By: "role", Classes: classesOf(true, "supply", "drive", "delivery")}}
	for i := range p.Layouts {
		for _, run := range runs(&p.Layouts[i]) {
			line := make([]ogr.Position, len(run.Path))
			for k, v := range run.Path {
				line[k] = ogrPosition(v.Lon, v.Lat, v.InvertM)
			}
			l.Features = append(l.Features, ogr.Feature{Parts: [][]ogr.Position{line}, Values: []any{p.Layouts[i].ID, int64(p.Layouts[i].Rank), run.role,
				strings.TrimSpace(run.Material + " " + run.Size), float64(run.InsideM), float64(run.LengthM), float64(run.FlowLS), float64(run.PressureM)}})
		}
	}
	return l
}

func placeLayer(p *plan.Plan) ogr.Layer {
	l := ogr.Layer{Name: "places", Description: "intake, settling box, standpipe, pump and tank, on the ground, heights in metres", Kind: ogr.Point,
		Fields: []ogr.Field{{Name: "layout", Type: ogr.Text}, {Name: "rank", Type: ogr.Integer}, {Name: "role", Type: ogr.Text}, {Name: "name", Type: ogr.Text}, {Name: "station_m", Type: ogr.Real}, {Name: "ground_m", Type: ogr.Real}},
		Style:  ogr.Style{By: "role", Classes: classesOf(false, "intake", "settling_box", "standpipe", "pump", "tank"), Label: "name", LabelFirst: true}}
	for i := range p.Layouts {
		for _, at := range places(&p.Layouts[i]) {
			l.Features = append(l.Features, ogr.Feature{Parts: pointOf(at.at, at.at.GroundM),
				Values: []any{p.Layouts[i].ID, int64(p.Layouts[i].Rank), at.role, at.name, float64(at.at.StationM), float64(at.at.GroundM)}})
		}
	}
	return l
}

func stakeLayer(p *plan.Plan) ogr.Layer {
	l := ogr.Layer{Name: "stakes", Description: "stakes, heights of the pipe's invert in metres", Kind: ogr.Point,
		Fields: []ogr.Field{{Name: "layout", Type: ogr.Text}, {Name: "label", Type: ogr.Text}, {Name: "role", Type: ogr.Text}, {Name: "station_m", Type: ogr.Real},
			{Name: "along_m", Type: ogr.Real}, {Name: "ground_m", Type: ogr.Real}, {Name: "invert_m", Type: ogr.Real}, {Name: "cut_m", Type: ogr.Real},
			{Name: "fall_since_intake_m", Type: ogr.Real}, {Name: "fall_since_last_m", Type: ogr.Real}, {Name: "what_to_do", Type: ogr.Text}, {Name: "check", Type: ogr.Text}},
		Style: ogr.Style{Classes: classesOf(false, "stake"), Label: "label", LabelWithin: 2500}}
	for i := range p.Layouts {
		for _, s := range p.Layouts[i].Stakes {
			check := any(nil)
			if s.Check != nil {
				check = s.Check.Text
			}
			l.Features = append(l.Features, ogr.Feature{Parts: pointOf(s.Place, s.InvertM), Values: []any{p.Layouts[i].ID, s.Label, s.Role, float64(s.StationM),
				float64(s.AlongM), float64(s.GroundM), float64(s.InvertM), float64(s.CutM), float64(s.FallIntakeM), float64(s.FallLastM), s.Do, check}})
		}
	}
	return l
}

func visitLayer(p *plan.Plan) ogr.Layer {
	l := ogr.Layer{Name: "visits", Description: "places between which to measure the drop of the water first", Kind: ogr.Point,
		Fields: []ogr.Field{{Name: "visit", Type: ogr.Integer}, {Name: "end", Type: ogr.Text}, {Name: "name", Type: ogr.Text}, {Name: "drop_m", Type: ogr.Real}, {Name: "what_to_do", Type: ogr.Text}},
		Style:  ogr.Style{Classes: classesOf(false, "visit"), Label: "visit"}}
	for _, v := range p.Visits {
		for _, end := range []struct {
			name string
			at   plan.VisitPlace
		}{{"upper", v.From}, {"lower", v.To}} {
			l.Features = append(l.Features, ogr.Feature{Parts: pointOf(end.at.Place, end.at.GroundM), Values: []any{int64(v.Rank), end.name, end.at.Name, float64(v.DropM), v.Text}})
		}
	}
	return l
}

// dxfTextM is the height of letters in a drawing, metres on the ground.
const dxfTextM = 1.0

// writeDXF draws creek, pipes, places and stakes, each on a layer of its own
// with the layout's ID, in the site's projected system and with heights.
func writeDXF(w io.Writer, p *plan.Plan) error {
	var all []ogr.Entity
	line := make([]ogr.Position, 0, len(p.Creek.Stations))
	for _, s := range p.Creek.Stations {
		line = append(line, ogrPosition(s.Lon, s.Lat, s.ZM))
	}
	if len(line) > 0 {
		all = append(all, ogr.Entity{Layer: "CREEK", Colour: waterColour, Line: line},
			ogr.Entity{Layer: "NOTES", Colour: inkColour, Line: line[:1], Height: 2 * dxfTextM,
				Text: ascii(p.Site+", "+metricGrid(p)+", metres; heights: creek water line, pipe invert, ground at places", 200)})
	}
	for i := range p.Layouts {
		all = append(all, drawnLayout(&p.Layouts[i])...)
	}
	return ogr.DXF(w, metricGrid(p), all)
}

// dxfLayer names a drawing's layer for a layout, in the letters that every
// reader takes.
func dxfLayer(what string, l *plan.Layout) string {
	return strings.ToUpper(what) + "_" + strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' {
			return r
		}
		return '_'
	}, ascii(l.ID, 8))
}

func drawnLayout(l *plan.Layout) []ogr.Entity {
	var all []ogr.Entity
	colour := map[string]string{}
	for _, r := range drawnRoles {
		colour[r.role] = r.colour
	}
	for _, run := range runs(l) {
		line := make([]ogr.Position, len(run.Path))
		for k, v := range run.Path {
			line[k] = ogrPosition(v.Lon, v.Lat, v.InvertM)
		}
		all = append(all, ogr.Entity{Layer: dxfLayer(run.role, l), Colour: colour[run.role], Line: line})
	}
	mark := func(layer, role, text string, where ogr.Position) {
		all = append(all, ogr.Entity{Layer: dxfLayer(layer, l), Colour: colour[role], Line: []ogr.Position{where}},
			ogr.Entity{Layer: dxfLayer(layer+"_TEXT", l), Colour: colour[role], Line: []ogr.Position{where}, Text: text, Height: dxfTextM})
	}
	for _, place := range places(l) {
		mark("PLACES", place.role, ascii(place.name, 40), ogrPosition(place.at.Lon, place.at.Lat, place.at.GroundM))
	}
	for _, s := range l.Stakes {
		mark("STAKES", "stake", ascii(s.Label, 20), ogrPosition(s.Lon, s.Lat, s.InvertM))
	}
	return all
}
