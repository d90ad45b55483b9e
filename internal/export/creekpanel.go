package export

import (
	"fmt"
	"math"
	"slices"

	"route/internal/plan"
)

// creekPanel draws the creek with the supply and drive pipe below a height on
// the drawing and returns the height at which it ends.
func (f *profileFigure) creekPanel(y float64) float64 {
	from, to := f.window()
	stations := f.stationsIn(from, to)
	low, high := f.heightRange(stations)
	labelBand := 0.0
	if f.layout != nil {
		labelBand = 4.2 * f.px
	}
	p := &panel{left: 5.2 * f.px, top: y + 2.2*f.px + labelBand, width: f.width - 6.6*f.px, height: f.panelHeight(15, 20),
		fromM: from, toM: to, lowM: low, highM: high, system: f.system}
	what := "The creek"
	if f.layout != nil {
		what = "Creek, supply and drive pipe, layout " + f.layout.ID
		if f.layout.Supply == nil {
			what = "Creek and drive pipe, layout " + f.layout.ID
		}
	}
	f.name, f.text = what, f.describe()
	f.heading(y+1.2*f.px, what, "; "+p.exaggerationText())

	f.patterns()
	f.addf(`<clipPath id="clip-creek"><rect x="%s" y="%s" width="%s" height="%s"/></clipPath>`, xy(p.left), xy(p.top), xy(p.width), xy(p.height))
	f.addf(`<g clip-path="url(#clip-creek)">`)
	f.earth(p, stations)
	shaded := f.doubts(p, stations)
	f.addf(`</g>`)
	f.axes(p, "Distance along the creek", "Height")
	f.addf(`<g clip-path="url(#clip-creek)">`)
	f.band(p, stations)
	f.rawGround(p, stations)
	f.polyline(thin(p, stations, func(s plan.CreekStation) plan.Number { return s.ZM }), stroke(waterColour, 2, ""))
	f.creekPipes(p)
	f.addf(`</g>`)
	f.creekPlaces(p, y+2.2*f.px)
	return f.legend(p.left, f.width-f.px, p.bottom()+4.8*f.px, f.creekLegend(shaded)) + 0.8*f.px
}

// heightRange holds the water line with its uncertainty, the pipes and the
// standpipe. Raw heights count only near them: a bridge or a tree would
// flatten everything else.
func (f *profileFigure) heightRange(stations []plan.CreekStation) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	take := func(v plan.Number) {
		if v.Known() {
			low, high = min(low, float64(v)), max(high, float64(v))
		}
	}
	for _, s := range stations {
		take(s.ZM)
		take(lowOf(s))
		take(highOf(s))
	}
	for _, line := range f.lines {
		for _, v := range line.run.Path {
			take(v.InvertM)
			take(v.GradeM)
		}
	}
	if l := f.layout; l != nil {
		take(l.Intake.WaterM)
		take(l.Pump.OutletM)
		if s := l.Standpipe; s != nil {
			take(s.GroundM + s.HeightM)
			take(s.StaticLevelM)
		}
	}
	if !(high >= low) {
		return 0, 1
	}
	lowest, highest, spare := low, high, max(0.3*(high-low), 0.2)
	for _, s := range stations {
		if raw := float64(s.RawM); raw > lowest-spare && raw < highest+spare {
			take(s.RawM)
		}
	}
	pad := max(0.05*(high-low), 0.05)
	return low - pad, high + pad
}

func stroke(colour string, width float64, dashes string) string {
	s := fmt.Sprintf(`stroke="%s" stroke-width="%s" stroke-linejoin="round"`, colour, xy(width))
	if dashes != "" {
		s += ` stroke-dasharray="` + dashes + `"`
	}
	return s
}

// thin gives a height along the stations as points of the drawing, at most
// four to a pixel's width: the first, the highest, the lowest and the last.
func thin(p *panel, stations []plan.CreekStation, height func(plan.CreekStation) plan.Number) []point2 {
	var points []point2
	for i := 0; i < len(stations); {
		x := p.x(float64(stations[i].StationM))
		column := math.Floor(x)
		first := i
		lowest, highest := i, i
		for ; i < len(stations) && math.Floor(p.x(float64(stations[i].StationM))) == column; i++ {
			if height(stations[i]) < height(stations[lowest]) {
				lowest = i
			}
			if height(stations[i]) > height(stations[highest]) {
				highest = i
			}
		}
		keep := []int{first, lowest, highest, i - 1}
		slices.Sort(keep)
		for _, k := range slices.Compact(keep) {
			points = append(points, point2{p.x(float64(stations[k].StationM)), p.y(float64(height(stations[k])))})
		}
	}
	return points
}

// earth fills the ground below the water line.
func (f *profileFigure) earth(p *panel, stations []plan.CreekStation) {
	line := thin(p, stations, func(s plan.CreekStation) plan.Number { return s.ZM })
	line = slices.DeleteFunc(line, func(q point2) bool { return math.IsNaN(q.y) })
	if len(line) < 2 {
		return
	}
	line = append(line, point2{line[len(line)-1].x, p.bottom()}, point2{line[0].x, p.bottom()})
	f.addf(`<path d="%sZ" fill="%s"/>`, pathData(line), earthColour)
}

// lowOf and highOf bound 8 of 10 cases of a height of the water line. The
// quantiles of the raw heights do not: they know nothing of what neighbours err
// together.
func lowOf(s plan.CreekStation) plan.Number  { return s.ZM - inEightOfTen*s.ZSigmaM }
func highOf(s plan.CreekStation) plan.Number { return s.ZM + inEightOfTen*s.ZSigmaM }

// band fills the 80 % range of the water line.
func (f *profileFigure) band(p *panel, stations []plan.CreekStation) {
	line := thin(p, stations, lowOf)
	upper := thin(p, stations, highOf)
	slices.Reverse(upper)
	line = slices.DeleteFunc(append(line, upper...), func(q point2) bool { return math.IsNaN(q.y) })
	if len(line) > 2 {
		f.addf(`<path d="%sZ" fill="%s" fill-opacity="0.75"/>`, pathData(line), bandColour)
	}
}

// rawGround draws the heights as they were read, as dots where there is room
// for dots and else as their spread in every pixel's width.
func (f *profileFigure) rawGround(p *panel, stations []plan.CreekStation) {
	if float64(len(stations)) > p.width {
		f.polyline(thin(p, stations, func(s plan.CreekStation) plan.Number { return s.RawM }), stroke(rawColour, 0.8, ""))
		return
	}
	f.addf(`<g fill="%s">`, rawColour)
	for _, s := range stations {
		if s.RawM.Known() {
			f.disc(p.x(float64(s.StationM)), p.y(float64(s.RawM)), 1.3, "")
		}
	}
	f.addf(`</g>`)
}

// doubt is a reason to distrust a stretch of creek that the drawing shades.
type doubt struct{ flag, pattern, label string }

var doubts = []doubt{
	{"bridge", "hatch-bridge", "Bridge or fill: heights not used"},
	{"void", "hatch-void", "No height data: line bridged"},
	{"gap", "hatch-gap", "Gap in the walked track"},
}

// doubts shades doubtful stretches and returns the kinds that occur.
func (f *profileFigure) doubts(p *panel, stations []plan.CreekStation) (shown []doubt) {
	for _, d := range doubts {
		found := false
		for i := 0; i < len(stations); i++ {
			if !slices.Contains(stations[i].Flags, d.flag) {
				continue
			}
			j := i
			for j+1 < len(stations) && slices.Contains(stations[j+1].Flags, d.flag) {
				j++
			}
			// Half the way to the neighbours, and never too thin to see.
			left := p.x(float64(stations[i].StationM+stations[max(0, i-1)].StationM) / 2)
			right := p.x(float64(stations[j].StationM+stations[min(len(stations)-1, j+1)].StationM) / 2)
			if right-left < 3 {
				left, right = (left+right)/2-1.5, (left+right)/2+1.5
			}
			f.rect(left, p.top, right-left, p.height, `fill="url(#`+d.pattern+`)"`)
			found = true
			i = j
		}
		if found {
			shown = append(shown, d)
		}
	}
	return shown
}

// creekPipes draws the ground along the pipes, the pipes and the grade line.
func (f *profileFigure) creekPipes(p *panel) {
	for _, line := range f.lines {
		f.polyline(f.alongLine(p, line, func(v plan.Vertex) plan.Number { return v.GroundM }), stroke(groundColour, 1.2, ""))
	}
	for _, line := range f.lines {
		f.polyline(f.alongLine(p, line, func(v plan.Vertex) plan.Number { return v.GradeM }), stroke(gradeColour, 1.8, "9 4"))
	}
	for _, line := range f.lines {
		style := stroke(supplyColour, 3, "")
		if line.run.role == "drive" {
			style = stroke(driveColour, 4.5, "")
		}
		f.polyline(f.alongLine(p, line, func(v plan.Vertex) plan.Number { return v.InvertM }), style)
	}
}

func (f *profileFigure) alongLine(p *panel, line creekLine, height func(plan.Vertex) plan.Number) []point2 {
	points := make([]point2, len(line.stationM))
	for i, v := range line.run.Path {
		points[i] = point2{p.x(line.stationM[i]), p.y(float64(height(v)))}
	}
	return points
}

// creekPlaces draws intake, box, standpipe and pump, and their labels in the
// band between y and the panel.
func (f *profileFigure) creekPlaces(p *panel, y float64) {
	l := f.layout
	if l == nil {
		return
	}
	upper, lower := f.lines[0].stationM, f.lines[len(f.lines)-1].stationM
	if len(upper) == 0 || len(lower) == 0 {
		return
	}
	at := func(station plan.Number, otherwise float64, m plan.Number) point2 {
		return point2{p.x(known(station, otherwise)), p.y(float64(m))}
	}
	intake := at(l.Intake.StationM, upper[0], l.Intake.WaterM)
	marks := []mark{{intake, []string{"Intake", "water at " + f.length(l.Intake.WaterM)}}}
	f.disc(intake.x, intake.y, 5, `fill="#fff" `+stroke(waterColour, 2.5, ""))
	if b := l.SettlingBox; b != nil {
		box := at(b.StationM, f.boxStation(), b.WaterM)
		marks = append(marks, mark{box, []string{"Settling box", "water at " + f.length(b.WaterM)}})
		foot := max(box.y+8, p.y(known(b.GroundM, float64(b.WaterM))))
		f.rect(box.x-6, box.y-3, 12, foot-box.y+3, `fill="#fff" `+stroke(inkColour, 1.8, ""))
		f.segment(box.x-6, box.y, box.x+6, box.y, stroke(waterColour, 2.5, ""))
	}
	source := l.Intake.WaterM
	if s := l.Standpipe; s != nil {
		source = s.RunningLevelM
		marks = append(marks, f.standpipe(p, p.x(known(s.StationM, lower[0]))))
	} else if l.SettlingBox != nil {
		source = l.SettlingBox.WaterM
	}
	pump := at(l.Pump.StationM, lower[len(lower)-1], l.Pump.OutletM)
	name := "Ram pump"
	if l.Pump.Count > 1 {
		name = fmt.Sprintf("%d ram pumps", l.Pump.Count)
	}
	marks = append(marks, mark{pump, []string{name, "outlet at " + f.length(l.Pump.OutletM)}})
	f.rect(pump.x-6, pump.y-6, 12, 12, `fill="`+driveColour+`" stroke="#fff" stroke-width="1.5"`)
	f.dimension(p, pump, lower[0], source)
	f.labels(marks, y, p.left, p.right())
}

// boxStation is where the settling box stands along the supply pipe when it
// has no station of its own.
func (f *profileFigure) boxStation() float64 {
	line := f.lines[0]
	for i, v := range line.run.Path {
		if v.AlongM >= f.layout.SettlingBox.AlongM {
			return line.stationM[i]
		}
	}
	return line.stationM[len(line.stationM)-1]
}

// standpipe draws the open pipe with its water.
func (f *profileFigure) standpipe(p *panel, x float64) mark {
	s := f.layout.Standpipe
	foot, top, water := p.y(f.standpipeFoot()), p.y(float64(s.GroundM+s.HeightM)), p.y(float64(s.RunningLevelM))
	const half = 5
	f.rect(x-half, top, 2*half, foot-top, `fill="#fff" stroke="none"`)
	f.rect(x-half, water, 2*half, foot-water, `fill="`+waterColour+`" fill-opacity="0.55"`)
	f.polyline([]point2{{x - half, top}, {x - half, foot}, {x + half, foot}, {x + half, top}}, stroke(inkColour, 1.8, ""))
	f.segment(x-half-3, water, x+half+3, water, stroke(waterColour, 2.5, ""))
	if still := p.y(float64(s.StaticLevelM)); still > top-0.5 {
		f.segment(x-half-3, still, x+half+3, still, stroke(waterColour, 1.5, "2 2"))
	}
	return mark{point2{x, top}, []string{
		"Standpipe, " + f.length(s.HeightM),
		"runs " + f.length(s.RunningLevelM-s.GroundM) + " full",
	}}
}

// standpipeFoot is the lowest of the ground and the pipes that meet there.
func (f *profileFigure) standpipeFoot() float64 {
	foot := float64(f.layout.Standpipe.GroundM)
	for _, line := range f.lines {
		at := 0
		if line.run.role == "supply" {
			at = len(line.run.Path) - 1
		}
		if at >= 0 && at < len(line.run.Path) {
			foot = min(foot, known(line.run.Path[at].InvertM, foot))
		}
	}
	return foot
}

// dimension draws the drive head beside the pump.
func (f *profileFigure) dimension(p *panel, pump point2, from float64, source plan.Number) {
	if !source.Known() {
		return
	}
	x, y := pump.x+1.6*f.px, p.y(float64(source))
	style := stroke(inkColour, 1, "")
	f.segment(p.x(from)+8, y, x+5, y, stroke(softColour, 1, "2 3"))
	f.segment(pump.x+8, pump.y, x+5, pump.y, stroke(softColour, 1, "2 3"))
	f.segment(x, y, x, pump.y, style)
	f.arrow(x, y, -1)
	f.arrow(x, pump.y, 1)
	f.over(x+0.5*f.px, (y+pump.y)/2-0.1*f.px, "start", "", "drive head")
	f.over(x+0.5*f.px, (y+pump.y)/2+1.1*f.px, "start", `font-weight="bold"`, f.length(f.layout.DriveHeadM))
}

func (f *profileFigure) creekLegend(shaded []doubt) []key {
	keys := []key{
		f.lineKey(stroke(waterColour, 2, ""), "Water line, fitted"),
		f.fillKey(bandColour, "8 of 10 cases lie in here"),
		{func(x, y float64) {
			for i := range 4 {
				f.disc(x+4+6*float64(i), y+float64(i%2*4-2), 1.5, `fill="`+rawColour+`"`)
			}
		}, "Heights as read"},
	}
	for _, line := range f.lines {
		if line.run.role == "drive" {
			keys = append(keys, f.lineKey(stroke(driveColour, 4.5, ""), "Drive pipe "+line.run.Size))
		} else {
			where := ""
			if s := f.layout.Supply; s != nil && s.LeavesCreek() {
				where = ", on the ground beside the creek" // else it would seem to hang over the water
			}
			keys = append(keys, f.lineKey(stroke(supplyColour, 3, ""), "Supply pipe "+line.run.Size+where))
		}
	}
	if len(f.lines) > 0 {
		keys = append(keys, f.lineKey(stroke(gradeColour, 1.8, "9 4"), "Hydraulic grade line, running"),
			f.lineKey(stroke(groundColour, 1.2, ""), "Ground along the pipes"))
	}
	for _, d := range shaded {
		keys = append(keys, f.fillKey("url(#"+d.pattern+")", d.label))
	}
	return keys
}
