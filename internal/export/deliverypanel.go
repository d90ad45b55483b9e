package export

import (
	"math"
	"slices"

	"route/internal/plan"
)

// deliveryPanel draws the delivery line from the pump to the tank below a
// height on the drawing and returns the height at which it ends.
func (f *profileFigure) deliveryPanel(y float64) float64 {
	l := f.layout
	path := l.Delivery.Path
	y += 0.8 * f.px
	p := &panel{left: 5.2 * f.px, top: y + 5.2*f.px, width: f.width - 6.6*f.px, height: f.panelHeight(12, 15), system: f.system}
	p.fromM, p.toM = float64(path[0].AlongM), float64(path[len(path)-1].AlongM)
	if !(p.toM > p.fromM) {
		return y
	}
	spare := 0.04 * (p.toM - p.fromM)
	p.fromM, p.toM = p.fromM-spare, p.toM+spare
	p.lowM, p.highM = f.deliveryRange()
	f.name = "Delivery pipe to the tank"
	f.text = "Height of the ground, the delivery pipe and its hydraulic grade line from the pump to the tank: a lift of " + f.length(l.Delivery.LiftM) + "."
	f.heading(y+1.2*f.px, "Delivery pipe to the tank, layout "+l.ID, "; "+p.exaggerationText())

	f.addf(`<clipPath id="clip-delivery"><rect x="%s" y="%s" width="%s" height="%s"/></clipPath>`, xy(p.left), xy(p.top), xy(p.width), xy(p.height))
	f.addf(`<g clip-path="url(#clip-delivery)">`)
	ground := f.alongDelivery(p, func(v plan.Vertex) plan.Number { return v.GroundM })
	if len(ground) > 1 {
		earth := append(append([]point2{}, ground...), point2{ground[len(ground)-1].x, p.bottom()}, point2{ground[0].x, p.bottom()})
		f.addf(`<path d="%sZ" fill="%s"/>`, pathData(earth), earthColour)
	}
	f.addf(`</g>`)
	f.axes(p, "Distance along the delivery pipe", "Height")
	f.addf(`<g clip-path="url(#clip-delivery)">`)
	f.polyline(ground, stroke(groundColour, 1.5, ""))
	f.polyline(f.alongDelivery(p, func(v plan.Vertex) plan.Number { return v.GradeM }), stroke(gradeColour, 1.8, "9 4"))
	f.polyline(f.alongDelivery(p, func(v plan.Vertex) plan.Number { return v.InvertM }), stroke(deliveryColour, 3, "12 3"))
	f.addf(`</g>`)
	f.deliveryPlaces(p, y+1.9*f.px)
	return f.legend(p.left, f.width-f.px, p.bottom()+4.8*f.px, []key{
		f.lineKey(stroke(deliveryColour, 3, "12 3"), "Delivery pipe "+l.Delivery.Size),
		f.lineKey(stroke(gradeColour, 1.8, "9 4"), "Hydraulic grade line, running"),
		f.lineKey(stroke(groundColour, 1.5, ""), "Ground"),
	}) + 0.8*f.px
}

func (f *profileFigure) deliveryRange() (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	take := func(v plan.Number) {
		if v.Known() {
			low, high = min(low, float64(v)), max(high, float64(v))
		}
	}
	for _, v := range f.layout.Delivery.Path {
		take(v.GroundM)
		take(v.InvertM)
		take(v.GradeM)
	}
	take(f.layout.Pump.OutletM)
	take(f.layout.Tank.InletM)
	if !(high > low) {
		return low - 1, low + 1
	}
	pad := 0.07 * (high - low)
	return low - pad, high + pad
}

func (f *profileFigure) alongDelivery(p *panel, height func(plan.Vertex) plan.Number) []point2 {
	points := make([]point2, 0, len(f.layout.Delivery.Path))
	for _, v := range f.layout.Delivery.Path {
		if h := height(v); h.Known() {
			points = append(points, point2{p.x(float64(v.AlongM)), p.y(float64(h))})
		}
	}
	return points
}

// deliveryPlaces draws pump, tank and lift, and their labels.
func (f *profileFigure) deliveryPlaces(p *panel, y float64) {
	l, path := f.layout, f.layout.Delivery.Path
	pump := point2{p.x(float64(path[0].AlongM)), p.y(float64(l.Pump.OutletM))}
	tank := point2{p.x(float64(path[len(path)-1].AlongM)), p.y(float64(l.Tank.InletM))}
	x := pump.x + 3.2*f.px
	f.segment(pump.x+8, pump.y, x+5, pump.y, stroke(softColour, 1, "2 3"))
	f.segment(x-5, tank.y, tank.x, tank.y, stroke(softColour, 1, "2 3"))
	f.segment(x, pump.y, x, tank.y, stroke(inkColour, 1, ""))
	f.arrow(x, tank.y, -1)
	f.arrow(x, pump.y, 1)
	f.over(x+0.5*f.px, tank.y+0.35*(pump.y-tank.y), "start", "", "lift")
	f.over(x+0.5*f.px, tank.y+0.35*(pump.y-tank.y)+1.2*f.px, "start", `font-weight="bold"`, f.length(l.Delivery.LiftM))

	f.rect(pump.x-6, pump.y-6, 12, 12, `fill="`+driveColour+`" stroke="#fff" stroke-width="1.5"`)
	ground := p.y(known(l.Tank.GroundM, float64(l.Tank.InletM)))
	foot := max(ground, tank.y+8)
	f.rect(tank.x-9, tank.y, 18, foot-tank.y, `fill="#fff" `+stroke(inkColour, 1.8, ""))
	f.rect(tank.x-9, tank.y+(foot-tank.y)*0.25, 18, (foot-tank.y)*0.75, `fill="`+waterColour+`" fill-opacity="0.55"`)
	marks := []mark{
		{pump, []string{"Ram pump", "outlet at " + f.length(l.Pump.OutletM)}},
		{tank, []string{"Tank", "inlet at " + f.length(l.Tank.InletM)}},
	}
	if crest, ok := f.crest(p); ok {
		marks = append(marks, crest)
	}
	f.labels(marks, y, p.left, p.right())
}

// crest marks the highest ground when it stands above the tank's inlet.
func (f *profileFigure) crest(p *panel) (mark, bool) {
	l := f.layout
	if !(l.Delivery.CrestM > l.Tank.InletM) {
		return mark{}, false
	}
	top := 0
	path := l.Delivery.Path
	for i, v := range path {
		if v.GroundM > path[top].GroundM {
			top = i
		}
	}
	at := point2{p.x(float64(path[top].AlongM)), p.y(float64(path[top].GroundM))}
	return mark{at, []string{"Crest", "ground at " + f.length(l.Delivery.CrestM)}}, true
}

// overview draws the whole creek in small, with the part that the upper panel
// shows and the pumps of all layouts.
func (f *profileFigure) overview(y float64) float64 {
	y += 1.2 * f.px
	all := f.plan.Creek.Stations
	p := &panel{left: 5.2 * f.px, top: y + 2.2*f.px, width: f.width - 6.6*f.px, height: 8 * f.px, system: f.system,
		fromM: float64(all[0].StationM), toM: float64(all[len(all)-1].StationM)}
	p.lowM, p.highM = math.Inf(1), math.Inf(-1)
	for _, s := range all {
		if s.ZM.Known() {
			p.lowM, p.highM = min(p.lowM, float64(s.ZM)), max(p.highM, float64(s.ZM))
		}
	}
	if !(p.highM >= p.lowM) || !(p.toM > p.fromM) {
		return y
	}
	pad := max(0.12*(p.highM-p.lowM), 0.1)
	p.lowM, p.highM = p.lowM-pad, p.highM+2*pad
	f.name, f.text = "The whole creek", "Height of the whole creek, with the part that the pipes take up and the pumps of all layouts."
	f.heading(y+1.2*f.px, "The whole creek", "; shaded: the part drawn above; letters: pumps; "+p.exaggerationText())
	from, to := f.window()
	left, right := max(p.left, p.x(from)), min(p.right(), p.x(to))
	f.rect(left, p.top, right-left, p.height, `fill="#e4eef5"`)
	f.axes(p, "Distance along the creek", "Height")
	f.polyline(thin(p, all, func(s plan.CreekStation) plan.Number { return s.ZM }), stroke(waterColour, 2, ""))
	f.pumpLetters(p)
	return p.bottom() + 4*f.px
}

// pumpLetters marks the pumps of all layouts; those that share a place share
// a label.
func (f *profileFigure) pumpLetters(p *panel) {
	type group struct {
		x, y  float64
		label string
	}
	var groups []group
	for _, l := range f.plan.Layouts {
		if !l.Pump.StationM.Known() || !l.Pump.OutletM.Known() {
			continue
		}
		x, y := p.x(float64(l.Pump.StationM)), p.y(float64(l.Pump.OutletM))
		i := slices.IndexFunc(groups, func(g group) bool { return math.Abs(g.x-x) < 9 })
		if i >= 0 {
			groups[i].label += " " + l.ID
			continue
		}
		groups = append(groups, group{x, y, l.ID})
	}
	slices.SortStableFunc(groups, func(a, b group) int { return compare(a.x, b.x) })
	var middles, widths []float64
	for _, g := range groups {
		middles, widths = append(middles, g.x), append(widths, 1.08*textWidth(g.label, f.px))
	}
	lefts, fits := sideBySide(middles, widths, 0.5*f.px, p.left, p.right())
	for i, g := range groups {
		f.disc(g.x, g.y, 4, `fill="`+driveColour+`" stroke="#fff" stroke-width="1.2"`)
		if fits {
			f.over(lefts[i]+widths[i]/2, g.y-0.7*f.px, "middle", `font-weight="bold"`, g.label)
		}
	}
}
