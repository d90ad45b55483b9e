package packet

import (
	"fmt"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"github.com/go-fonts/dejavu/dejavusans"
	"github.com/go-fonts/dejavu/dejavusansbold"
	"github.com/go-fonts/dejavu/dejavusanscondensed"
	"github.com/go-fonts/dejavu/dejavusanscondensedbold"

	"route/internal/export"
	"route/internal/plan"
	"route/internal/quantity"
)

// Lengths on paper are millimetres, sizes of letters points.
const (
	margin    = 13.0
	topOfPage = 22.0
	lineOf    = 0.3528 * 1.3 // line height in millimetres for each point of size
)

// Fonts.
const (
	sans   = "sans"
	narrow = "narrow"
)

// colour is red, green and blue.
type colour [3]int

var (
	ink        = colour{29, 35, 39}
	soft       = colour{91, 101, 108}
	faint      = colour{214, 219, 222}
	pale       = colour{244, 246, 247}
	creekInk   = colour{150, 199, 226}
	contourInk = colour{205, 195, 178}
	supplyInk  = colour{194, 80, 10}
	driveInk   = colour{17, 17, 17}
	liftInk    = colour{148, 64, 122}
	earth      = colour{138, 115, 85}
	gradeInk   = colour{0, 121, 90}
)

// sheet is the packet while it is written.
type sheet struct {
	pdf           *fpdf.Fpdf
	p             *plan.Plan
	l             *plan.Layout
	width, height float64
	y             float64 // where the next thing goes
	title         string  // of the present page
}

func newSheet(p *plan.Plan, l *plan.Layout, paper Paper) *sheet {
	size := map[Paper]fpdf.SizeType{A4: {Wd: 210, Ht: 297}, Letter: {Wd: 215.9, Ht: 279.4}}[paper]
	pdf := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: size})
	s := &sheet{pdf: pdf, p: p, l: l, width: size.Wd, height: size.Ht}
	// Nothing of the day of printing gets in: the same plan, the same bytes.
	day := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	pdf.SetCreationDate(day)
	pdf.SetModificationDate(day)
	pdf.SetCatalogSort(true)
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetMargins(margin, margin, margin)
	pdf.SetCellMargin(0)
	pdf.AddUTF8FontFromBytes(sans, "", dejavusans.TTF)
	pdf.AddUTF8FontFromBytes(sans, "B", dejavusansbold.TTF)
	pdf.AddUTF8FontFromBytes(narrow, "", dejavusanscondensed.TTF)
	pdf.AddUTF8FontFromBytes(narrow, "B", dejavusanscondensedbold.TTF)
	pdf.SetTitle(clean(s.name()+": field packet"), true)
	pdf.SetProducer("route", true)
	pdf.SetCreator("route", true)
	pdf.SetLang("en")
	pdf.AliasNbPages("{pages}")
	pdf.SetHeaderFunc(s.header)
	pdf.SetFooterFunc(s.footer)
	return s
}

func (s *sheet) name() string {
	if s.p.Site == "" {
		return "Unnamed site"
	}
	return s.p.Site
}

// clean keeps text that came from outside to what the fonts and the library
// can print: control characters go, and what lies beyond the first plane of
// Unicode becomes a mark.
func clean(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t' || r == '\r':
			return ' '
		case r < ' ' || r == 0x7f || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069:
			return -1
		case r > 0xffff || r == 0xfffe || r == 0xffff:
			return '\ufffd'
		}
		return r
	}, strings.ToValidUTF8(text, "\ufffd"))
}

func (s *sheet) font(family, style string, points float64, c colour) {
	s.pdf.SetFont(family, style, points)
	s.pdf.SetTextColor(c[0], c[1], c[2])
}

func (s *sheet) stroke(c colour, mm float64, dash ...float64) {
	s.pdf.SetDrawColor(c[0], c[1], c[2])
	s.pdf.SetLineWidth(mm)
	s.pdf.SetDashPattern(dash, 0)
}

func (s *sheet) fill(c colour) { s.pdf.SetFillColor(c[0], c[1], c[2]) }

// inner is the width between the margins.
func (s *sheet) inner() float64 { return s.width - 2*margin }

// bottom is where the page's content ends.
func (s *sheet) bottom() float64 { return s.height - 15 }

func (s *sheet) page(title string) {
	s.title = title
	s.pdf.AddPage()
	s.y = topOfPage
}

func (s *sheet) header() {
	s.font(sans, "B", 11, ink)
	name := s.name()
	if s.l != nil {
		name += ", layout " + s.l.ID
	}
	s.text(margin, 12.5, s.cut(name, s.inner()-70))
	s.font(sans, "", 11, soft)
	s.right(s.width-margin, 12.5, s.title)
	s.stroke(ink, 0.4)
	s.pdf.Line(margin, 15.5, s.width-margin, 15.5)
}

func (s *sheet) footer() {
	s.font(narrow, "", 7.5, soft)
	s.text(margin, s.height-7.5, "A hand-held receiver errs by metres: set levels by staff and level. Date ____________  Set out by ____________________")
	s.right(s.width-margin, s.height-7.5, fmt.Sprintf("page %d of {pages}", s.pdf.PageNo()))
}

// text writes on a base line.
func (s *sheet) text(x, y float64, text string) { s.pdf.Text(x, y, clean(text)) }

func (s *sheet) right(x, y float64, text string) {
	// The alias of the number of pages is longer than the number.
	s.text(x-s.pdf.GetStringWidth(strings.Replace(clean(text), "{pages}", "10", 1)), y, text)
}

func (s *sheet) middle(x, y float64, text string) {
	s.text(x-s.pdf.GetStringWidth(clean(text))/2, y, text)
}

// cut shortens a text that is wider than there is room for.
func (s *sheet) cut(text string, width float64) string {
	text = clean(text)
	if s.pdf.GetStringWidth(text) <= width {
		return text
	}
	letters := []rune(text)
	for len(letters) > 0 && s.pdf.GetStringWidth(string(letters)+"…") > width {
		letters = letters[:len(letters)-1]
	}
	return strings.TrimSpace(string(letters)) + "…"
}

// lines breaks a text into lines of the present font. A word that is wider
// than the line is broken inside.
func (s *sheet) lines(text string, width float64) []string {
	var all []string
	line := ""
	for _, word := range strings.Fields(clean(text)) {
		for s.pdf.GetStringWidth(word) > width {
			letters, n := []rune(word), 1
			for n < len(letters) && s.pdf.GetStringWidth(string(letters[:n+1])) <= width {
				n++
			}
			if n == len(letters) {
				break
			}
			if line != "" {
				all, line = append(all, line), ""
			}
			all = append(all, string(letters[:n]))
			word = string(letters[n:])
		}
		switch {
		case line == "":
			line = word
		case s.pdf.GetStringWidth(line+" "+word) <= width:
			line += " " + word
		default:
			all, line = append(all, line), word
		}
	}
	if line != "" || len(all) == 0 {
		all = append(all, line)
	}
	return all
}

// room starts a new page of the same title unless so much is left of this one.
func (s *sheet) room(mm float64) {
	if s.y+mm > s.bottom() {
		s.page(s.title)
	}
}

func (s *sheet) heading(text string) {
	s.room(22)
	s.y += 4
	s.font(sans, "B", 11, ink)
	s.text(margin, s.y+2, text)
	s.y += 5.5
}

// paragraph writes text over the width, from an indent on.
func (s *sheet) paragraph(indent, points float64, style, text string) {
	s.font(sans, style, points, ink)
	step := points * lineOf
	for _, line := range s.lines(text, s.inner()-indent) {
		s.room(step)
		s.font(sans, style, points, ink)
		s.text(margin+indent, s.y+step*0.75, line)
		s.y += step
	}
}

// tick draws a box to tick with its middle on a line of text.
func (s *sheet) tick(x, baseline float64) {
	s.stroke(ink, 0.3)
	s.pdf.Rect(x, baseline-2.7, 3.2, 3.2, "D")
}

// say prints a length in the readers' units.
func (s *sheet) say(v plan.Number) string { return export.Say(s.p, quantity.Length, v, 1) }

// measure prints a length with what it may be off by, in one unit.
func (s *sheet) measure(v, off plan.Number) string {
	if !off.Known() {
		return s.say(v)
	}
	return quantity.FormatMeasure(s.p.System(), quantity.Length, quantity.Measure{Value: float64(v), Sigma: float64(off)})
}

// nothing is the page of a plan without layouts.
func (s *sheet) nothing() {
	s.page("Nothing to set out")
	s.paragraph(0, 11, "B", s.p.Headline())
	s.y += 3
	for _, m := range s.p.Messages {
		if m.Level == "note" {
			continue
		}
		s.paragraph(0, 10, "", export.Sentence(m.Text))
		s.paragraph(4, 9, "", export.Sentence(m.Hint))
		s.y += 2
	}
	s.visits()
}
