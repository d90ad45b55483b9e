package export

import (
	"bytes"
	"fmt"
	"io"
	"strconv"
	"strings"

	"route/internal/plan"
)

// writeKML writes KML 2.2 (OGC 07-147r2) for globes and map apps: a folder for
// the creek and one for each layout with its pipes, places and stakes; only the
// best layout is shown at first. Elements stand in the order that the schema
// asks for. Everything lies on the ground of the viewer, whose heights differ
// from the plan's by metres; the third coordinate still holds the plan's.
func writeKML(w io.Writer, p *plan.Plan) error {
	k := kmlFile{}
	k.b.WriteString(`<?xml version="1.0" encoding="UTF-8"?>` + "\n" + `<kml xmlns="http://www.opengis.net/kml/2.2">` + "\n<Document>\n")
	k.element("name", ascii(p.Site, 80))
	k.styles()
	k.folder("Creek", true, func() {
		line := make([]position, len(p.Creek.Stations))
		for i, s := range p.Creek.Stations {
			line[i] = position{s.Lon, s.Lat, s.ZM}
		}
		k.line("creek", "Creek", "water line as fitted", line)
	})
	for i := range p.Layouts {
		l := &p.Layouts[i]
		k.folder("Layout "+l.ID, i == 0, func() { k.layout(p, l) })
	}
	k.b.WriteString("</Document>\n</kml>\n")
	_, err := k.b.WriteTo(w)
	return err
}

type kmlFile struct {
	b      bytes.Buffer
	hidden bool
}

func (k *kmlFile) element(name, text string) {
	fmt.Fprintf(&k.b, "<%s>%s</%s>\n", name, escape(text), name)
}

func (k *kmlFile) folder(name string, shown bool, content func()) {
	k.hidden = !shown
	k.b.WriteString("<Folder>\n")
	k.element("name", name)
	k.visibility()
	content()
	k.b.WriteString("</Folder>\n")
}

func (k *kmlFile) visibility() {
	if k.hidden {
		k.element("visibility", "0")
	}
}

// kmlColour turns "#rrggbb" into the aabbggrr of KML.
func kmlColour(c string) string { return "ff" + c[5:7] + c[3:5] + c[1:3] }

func (k *kmlFile) styles() {
	for _, r := range drawnRoles {
		fmt.Fprintf(&k.b, "<Style id=\"%s\">", r.role)
		if r.line {
			fmt.Fprintf(&k.b, "<LineStyle><color>%s</color><width>3</width></LineStyle>", kmlColour(r.colour))
		} else {
			fmt.Fprintf(&k.b, "<IconStyle><color>%s</color></IconStyle>", kmlColour(r.colour))
		}
		k.b.WriteString("</Style>\n")
	}
}

func (k *kmlFile) layout(p *plan.Plan, l *plan.Layout) {
	w := words{p.System()}
	for _, run := range runs(l) {
		line := make([]position, len(run.Path))
		for i, v := range run.Path {
			line[i] = position{v.Lon, v.Lat, v.InvertM}
		}
		k.line(run.role, l.ID+" "+run.role, strings.TrimSpace(run.Material+" "+run.Size)+", "+w.length(run.LengthM), line)
	}
	for _, at := range places(l) {
		k.point(at.role, l.ID+" "+ascii(at.name, 30), "ground at "+w.length(at.at.GroundM), position{at.at.Lon, at.at.Lat, at.at.GroundM})
	}
	for i := range l.Stakes {
		s := &l.Stakes[i]
		text := s.Do
		if s.Check != nil {
			text += ". Check: " + s.Check.Text
		}
		k.point("stake", ascii(s.Label, gpxNameLen), ascii(text, 400), position{s.Lon, s.Lat, s.InvertM})
	}
}

func (k *kmlFile) placemark(style, name, text string, geometry func()) {
	k.b.WriteString("<Placemark>\n")
	k.element("name", name)
	k.visibility()
	k.element("description", text)
	k.element("styleUrl", "#"+style)
	geometry()
	k.b.WriteString("</Placemark>\n")
}

func (k *kmlFile) point(style, name, text string, at position) {
	if at.located() {
		k.placemark(style, name, text, func() {
			k.b.WriteString("<Point><coordinates>" + kmlPosition(at) + "</coordinates></Point>\n")
		})
	}
}

// line writes a LineString; its heights go as soon as one is unknown.
func (k *kmlFile) line(style, name, text string, line []position) {
	g := lineString(line, nil).Geometry
	if g == nil {
		return
	}
	k.placemark(style, name, text, func() {
		k.b.WriteString("<LineString><tessellate>1</tessellate><coordinates>")
		for i, at := range g.Coordinates.([]position) {
			if i > 0 {
				k.b.WriteByte(' ')
			}
			k.b.WriteString(kmlPosition(at))
		}
		k.b.WriteString("</coordinates></LineString>\n")
	})
}

func kmlPosition(at position) string {
	text := strconv.FormatFloat(float64(at.lon), 'f', 8, 64) + "," + strconv.FormatFloat(float64(at.lat), 'f', 8, 64)
	if at.z.Known() {
		text += "," + strconv.FormatFloat(float64(at.z), 'f', 3, 64)
	}
	return text
}
