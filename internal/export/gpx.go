package export

import (
	"bytes"
	"fmt"
	"io"
	"strconv"
	"strings"

	"route/internal/plan"
	"route/internal/quantity"
)

// Longest texts that common receivers show whole (common practice, no source).
const (
	gpxNameLen    = 10
	gpxDescLen    = 50
	gpxCommentLen = 120
)

// writeGPX writes GPX 1.1: a waypoint for every place and stake of the best
// layout, and a track for every pipe of every layout. Only the best layout has
// pegs: those of several layouts on one receiver's screen are how a trench
// ends up in the wrong place. Elements stand in the order that the schema asks
// for. Heights are the ground's at waypoints, the pipe's invert on tracks.
func writeGPX(w io.Writer, p *plan.Plan) error {
	g := gpxFile{system: p.System()}
	g.line(`<?xml version="1.0" encoding="UTF-8"?>`)
	g.line(`<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="route">`)
	g.line(`  <metadata>`)
	g.text("    ", "name", ascii(p.Site, 80))
	g.line(`  </metadata>`)
	if len(p.Layouts) > 0 {
		g.waypoints(&p.Layouts[0])
	}
	g.visits(p.Visits)
	for i := range p.Layouts {
		for _, run := range runs(&p.Layouts[i]) {
			g.track(&p.Layouts[i], run)
		}
	}
	g.line(`</gpx>`)
	_, err := g.b.WriteTo(w)
	return err
}

type gpxFile struct {
	b      bytes.Buffer
	system quantity.System
}

func (g *gpxFile) line(s string) { g.b.WriteString(s + "\n") }

func (g *gpxFile) text(indent, element, content string) {
	if content != "" {
		fmt.Fprintf(&g.b, "%s<%s>%s</%s>\n", indent, element, escape(content), element)
	}
}

// open starts a wpt or trkpt; false when the point is nowhere.
func (g *gpxFile) open(indent, element string, lon, lat plan.Degrees, ele plan.Number) bool {
	if !(position{lon: lon, lat: lat}).located() {
		return false
	}
	if lon >= 180-0.5e-7 { // the schema has no 180
		lon -= 360
	}
	fmt.Fprintf(&g.b, "%s<%s lat=\"%.7f\" lon=\"%.7f\">", indent, element, float64(lat), float64(lon))
	if ele.Known() {
		g.b.WriteString("<ele>" + strconv.FormatFloat(float64(ele), 'f', 2, 64) + "</ele>")
	}
	return true
}

// waypoints writes the stakes, and those places that have no stake.
func (g *gpxFile) waypoints(l *plan.Layout) {
	staked := map[string]bool{}
	last := ""
	for i := range l.Stakes {
		s := &l.Stakes[i]
		staked[s.Role] = true
		check := ""
		if s.Check != nil {
			check, _, _ = strings.Cut(s.Check.Text, " (")
		}
		g.waypoint(s.Label, g.stake(s, last), check, s.Role, s.Place)
		last = s.Label
	}
	for _, at := range places(l) {
		if !staked[at.role] {
			g.waypoint(strings.ToUpper(at.name), at.name, "", at.role, at.at)
		}
	}
}

// visits writes the two ends of each drop that is worth measuring first.
func (g *gpxFile) visits(visits []plan.Visit) {
	for i := range visits {
		v := &visits[i]
		name := fmt.Sprintf("VISIT%d", v.Rank)
		g.waypoint(name+"-UP", "from the water here: "+v.From.Name, "", "visit", v.From.Place)
		g.waypoint(name+"-LOW", "to the water here: "+v.To.Name, "", "visit", v.To.Place)
	}
}

// waypoint writes a place; a key stake has its check as the comment, which
// receivers show on a page of its own or leave out.
func (g *gpxFile) waypoint(name, desc, check, role string, at plan.Place) {
	if !g.open("  ", "wpt", at.Lon, at.Lat, at.GroundM) {
		return
	}
	g.line("")
	g.text("    ", "name", ascii(name, gpxNameLen))
	if check != "" {
		g.text("    ", "cmt", ascii(check, gpxCommentLen))
	}
	g.text("    ", "desc", ascii(desc, gpxDescLen))
	g.text("    ", "type", role)
	g.line("  </wpt>")
}

// stake says in few words how the pipe lies at a stake: what a staff on it
// reads against the last stake, and how deep it lies.
func (g *gpxFile) stake(s *plan.Stake, last string) string {
	var parts []string
	if text := Staff(g.system, s.FallLastM); text != "" && last != "" {
		parts = append(parts, "staff "+text+" than "+last)
	}
	switch cut := float64(s.CutM); {
	case cut > 0.03:
		parts = append(parts, "cut "+quantity.Format(g.system, quantity.Length, cut))
	case cut < -0.03:
		parts = append(parts, "up "+quantity.Format(g.system, quantity.Length, -cut))
	}
	if len(parts) == 0 {
		return s.Do
	}
	text := strings.Replace(strings.Join(parts, ", "), "the same than", "the same as at", 1)
	if from, rest, ok := strings.Cut(text, " ("); ok && len(ascii(text, 1000)) > gpxDescLen { // the count of set-ups can be seen from the figure
		_, rest, _ = strings.Cut(rest, ")")
		text = from + rest
	}
	return text
}

func (g *gpxFile) track(l *plan.Layout, run pipeRun) {
	g.line("  <trk>")
	g.text("    ", "name", ascii(l.ID+" "+run.role, 14))
	g.text("    ", "desc", ascii(strings.TrimSpace(run.Material+" "+run.Size)+", "+quantity.Format(g.system, quantity.Length, float64(run.LengthM)), gpxDescLen))
	g.text("    ", "type", run.role)
	g.line("    <trkseg>")
	for _, v := range run.Path {
		if g.open("      ", "trkpt", v.Lon, v.Lat, v.InvertM) {
			g.line("</trkpt>")
		}
	}
	g.line("    </trkseg>")
	g.line("  </trk>")
}

// ascii gives text in the characters that every receiver shows, on one line
// and not longer than a limit.
func ascii(s string, limit int) string {
	var b strings.Builder
	for _, r := range strings.Join(strings.Fields(s), " ") {
		if plain, ok := plainLetters[r]; ok {
			b.WriteString(plain)
		} else if r >= ' ' && r < 0x7f {
			b.WriteRune(r)
		} else {
			b.WriteByte('?')
		}
	}
	text := b.String()
	if len(text) > limit {
		cut := text[:limit]
		if k := strings.LastIndexByte(cut, ' '); text[limit] != ' ' && k > limit/2 { // between two words
			cut = cut[:k]
		}
		text = strings.TrimRight(cut, " ,;:")
	}
	return text
}

// plainLetters spells the letters and marks that are likeliest in names.
var plainLetters = map[rune]string{
	'à': "a", 'á': "a", 'â': "a", 'ã': "a", 'å': "a", 'ā': "a", 'ä': "ae", 'æ': "ae", 'ç': "c", 'č': "c",
	'è': "e", 'é': "e", 'ê': "e", 'ë': "e", 'ē': "e", 'ì': "i", 'í': "i", 'î': "i", 'ï': "i", 'ī': "i", 'ñ': "n",
	'ò': "o", 'ó': "o", 'ô': "o", 'õ': "o", 'ø': "o", 'ō': "o", 'ö': "oe", 'ù': "u", 'ú': "u", 'û': "u", 'ū': "u", 'ü': "ue",
	'ß': "ss", 'š': "s", 'ý': "y", 'ž': "z", 'Ä': "Ae", 'Å': "A", 'Á': "A", 'Ç': "C", 'É': "E", 'È': "E", 'Í': "I", 'Ñ': "N", 'Ö': "Oe", 'Ø': "O", 'Ó': "O", 'Ü': "Ue", 'Ú': "U",
	'’': "'", '‘': "'", '“': "\"", '”': "\"", '–': "-", '—': "-", '×': "x", '²': "2", '³': "3", '≥': ">=", '≤': "<=", '°': " deg", '±': "+/-", '\u00a0': " ", '\u202f': " ", '½': "1/2", '¼': "1/4", '¾': "3/4",
}
