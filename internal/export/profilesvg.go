package export

import (
	"fmt"
	"io"
	"math"
	"slices"

	"route/internal/plan"
	"route/internal/quantity"
)

// writeProfileSVG writes the long profile as a drawing of its own.
func writeProfileSVG(w io.Writer, p *plan.Plan) error {
	f := drawProfile(p, 1000, 14)
	title := "Long profile"
	if p.Site != "" {
		title += ", " + p.Site
	}
	_, err := fmt.Fprintf(w, `<svg xmlns="http://www.w3.org/2000/svg" width="%s" height="%s" viewBox="0 0 %s %s" role="img" aria-labelledby="profile-title profile-text">
<title id="profile-title">%s</title>
<desc id="profile-text">%s</desc>
<rect width="100%%" height="100%%" fill="#fff"/>
%s</svg>
`, xy(f.width), xy(f.height), xy(f.width), xy(f.height), escape(title), escape(f.describe()), f.b.String())
	return err
}

// profileFigure is the long profile: the creek with the supply and drive pipe,
// the delivery line, and the whole creek in small.
type profileFigure struct {
	canvas
	plan          *plan.Plan
	layout        *plan.Layout // nil when there is none
	lines         []creekLine
	system        quantity.System
	width, height float64
	name, text    string // of a panel drawn by itself
	roomy         bool   // panels are drawn higher where the figure stands alone
}

// newProfileFigure starts a figure with a width and a size of text, both in
// pixels.
func newProfileFigure(p *plan.Plan, width, px float64) *profileFigure {
	f := &profileFigure{plan: p, system: p.System(), width: width}
	f.px = px
	if len(p.Layouts) > 0 {
		f.layout = &p.Layouts[0]
		f.lines = alongCreek(f.layout)
	}
	f.addf(`<g font-family="%s" font-size="%s" fill="%s">`, fontFamily, xy(px), inkColour)
	return f
}

// drawProfile draws the whole figure under one title.
func drawProfile(p *plan.Plan, width, px float64) *profileFigure {
	f := newProfileFigure(p, width, px)
	f.roomy = true
	f.height = f.title()
	for _, draw := range f.panels() {
		f.height = draw(f.height)
	}
	f.addf(`</g>`)
	return f
}

// drawPanels draws each panel as a figure of its own, so that a page may end
// between them.
func drawPanels(p *plan.Plan, width, px float64) []*profileFigure {
	var figures []*profileFigure
	for i := range newProfileFigure(p, width, px).panels() {
		f := newProfileFigure(p, width, px)
		f.height = f.panels()[i](0)
		f.addf(`</g>`)
		figures = append(figures, f)
	}
	return figures
}

// panels lists what there is to draw. Each draws itself below a height and
// returns the height at which it ends.
func (f *profileFigure) panels() []func(float64) float64 {
	if len(f.plan.Creek.Stations) < 2 {
		return []func(float64) float64{f.nothing}
	}
	all := []func(float64) float64{f.creekPanel}
	if f.layout != nil && len(f.layout.Delivery.Path) > 1 {
		all = append(all, f.deliveryPanel)
	}
	if f.partOfCreek() {
		all = append(all, f.overview)
	}
	return all
}

func (f *profileFigure) nothing(y float64) float64 {
	f.name, f.text = "Long profile", "There is nothing to draw."
	f.write(f.width/2, y+2*f.px, "middle", "", "There is no long profile to draw.")
	return y + 4*f.px
}

// panelHeight is a height in lines of text, or more of them where there is room.
func (f *profileFigure) panelHeight(lines, roomy float64) float64 {
	if f.roomy {
		return roomy * f.px
	}
	return lines * f.px
}

// describe says in words what the figure shows.
func (f *profileFigure) describe() string {
	if f.layout == nil {
		return "Height of the creek against the distance along it. No layout works within the limits, so that no pipes are shown."
	}
	return fmt.Sprintf("Height of the creek against the distance along it, with the pipes of layout %s: drive head %s, lift %s, %s of delivery pipe.",
		f.layout.ID, f.length(f.layout.DriveHeadM), f.length(f.layout.Delivery.LiftM), f.length(f.layout.Delivery.LengthM))
}

func (f *profileFigure) length(m plan.Number) string {
	return quantity.Format(f.system, quantity.Length, float64(m))
}

// patterns are the hatchings of doubtful ground.
func (f *profileFigure) patterns() {
	f.addf(`<defs>`)
	f.addf(`<pattern id="hatch-bridge" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="8" height="8" fill="#f2ead8"/><path d="M0 0V8" stroke="#b39a63" stroke-width="2"/></pattern>`)
	f.addf(`<pattern id="hatch-void" width="8" height="8" patternUnits="userSpaceOnUse"><rect width="8" height="8" fill="#eceff1"/><circle cx="4" cy="4" r="1.3" fill="#87929a"/></pattern>`)
	f.addf(`<pattern id="hatch-gap" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(-45)"><rect width="8" height="8" fill="#f4f0f5"/><path d="M0 0V8" stroke="#b6a3bd" stroke-width="1"/></pattern>`)
	f.addf(`</defs>`)
}

// title writes the heading and returns the height that it takes.
func (f *profileFigure) title() float64 {
	head := "Long profile"
	if f.plan.Site != "" {
		head += ", " + f.plan.Site
	}
	size := 1.4 * f.px
	for len(head) > 20 && textWidth(head, size) > f.width-2*f.px {
		runes := []rune(head)
		head = string(runes[:len(runes)-2]) + "…"
	}
	f.write(f.px, 1.9*f.px, "start", fmt.Sprintf(`font-size="%s" font-weight="bold"`, xy(size)), head)
	return 2.4 * f.px
}

// heading writes the line above a panel.
func (f *profileFigure) heading(y float64, bold, rest string) {
	f.addf(`<text x="%s" y="%s"><tspan font-weight="bold">%s</tspan><tspan fill="%s">%s</tspan></text>`, xy(f.px), xy(y), escape(bold), softColour, escape(rest))
}

// window is the part of the creek that the upper panel shows: the pipes and
// some creek on both sides, or all of it when there are none.
func (f *profileFigure) window() (from, to float64) {
	stations := f.plan.Creek.Stations
	from, to = float64(stations[0].StationM), float64(stations[len(stations)-1].StationM)
	if len(f.lines) == 0 {
		return from, to
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, line := range f.lines {
		for _, s := range line.stationM {
			low, high = min(low, s), max(high, s)
		}
	}
	if !(high > low) {
		return from, to
	}
	reach := high - low
	return max(from, low-0.12*reach), max(high+0.05*reach, min(to, high+0.22*reach))
}

// partOfCreek says whether the upper panel leaves much of the creek out.
func (f *profileFigure) partOfCreek() bool {
	stations := f.plan.Creek.Stations
	from, to := f.window()
	return to-from < 0.7*float64(stations[len(stations)-1].StationM-stations[0].StationM)
}

// stationsIn gives the stations of a part of the creek and one more at each end.
func (f *profileFigure) stationsIn(from, to float64) []plan.CreekStation {
	all := f.plan.Creek.Stations
	i, _ := slices.BinarySearchFunc(all, from, func(s plan.CreekStation, m float64) int { return compare(float64(s.StationM), m) })
	j, _ := slices.BinarySearchFunc(all, to, func(s plan.CreekStation, m float64) int { return compare(float64(s.StationM), m) })
	return all[max(0, i-1):min(len(all), j+1)]
}

func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}
