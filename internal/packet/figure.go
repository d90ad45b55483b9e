package packet

import (
	"math"
	"slices"
	"strconv"

	"route/internal/plan"
)

// point is a place: metres on the ground, or millimetres on paper.
type point struct{ x, y float64 }

// box is a rectangle on paper, its upper left corner first.
type box struct{ x, y, w, h float64 }

func (b box) holds(p point, by float64) bool {
	return p.x >= b.x-by && p.x <= b.x+b.w+by && p.y >= b.y-by && p.y <= b.y+b.h+by
}

func (b box) meets(o box) bool {
	return b.x < o.x+o.w && o.x < b.x+b.w && b.y < o.y+o.h && o.y < b.y+b.h
}

// view maps metres of the site's frame to paper: turned about a middle, then
// scaled.
type view struct {
	box
	middle   point // of the ground, drawn in the box's middle
	mmPerM   float64
	cos, sin float64 // of the turn
}

// fit makes a view of some points, north up, with a little room around.
func fit(b box, points []point) view {
	lo, hi := point{math.Inf(1), math.Inf(1)}, point{math.Inf(-1), math.Inf(-1)}
	for _, p := range points {
		lo, hi = point{math.Min(lo.x, p.x), math.Min(lo.y, p.y)}, point{math.Max(hi.x, p.x), math.Max(hi.y, p.y)}
	}
	if len(points) == 0 {
		lo, hi = point{}, point{1, 1}
	}
	w, h := math.Max(hi.x-lo.x, 1), math.Max(hi.y-lo.y, 1)
	scale := math.Min((b.w-24)/w, (b.h-18)/h)
	return view{box: b, middle: point{(lo.x + hi.x) / 2, (lo.y + hi.y) / 2}, mmPerM: scale, cos: 1}
}

func (v view) at(p point) point {
	dx, dy := p.x-v.middle.x, p.y-v.middle.y
	return point{
		v.x + v.w/2 + v.mmPerM*(v.cos*dx+v.sin*dy),
		v.y + v.h/2 - v.mmPerM*(v.cos*dy-v.sin*dx),
	}
}

// ground gives the frame's metres of a longitude and latitude.
func (s *sheet) ground(lon, lat plan.Degrees) point {
	if r := s.p.Relief; r != nil && r.ToFrame != nil {
		e, n := r.ToFrame(float64(lon), float64(lat))
		return point{e, n}
	}
	// Without the frame, a plane through the site does: this is a drawing.
	const metres = 111195.0
	var lon0, lat0 float64
	if s.l != nil {
		lon0, lat0 = float64(s.l.Pump.Lon), float64(s.l.Pump.Lat)
	}
	return point{(float64(lon) - lon0) * metres * math.Cos(lat0*math.Pi/180), (float64(lat) - lat0) * metres}
}

func (s *sheet) path(path []plan.Vertex) []point {
	line := make([]point, len(path))
	for i, v := range path {
		line[i] = s.ground(v.Lon, v.Lat)
	}
	return line
}

// draw strokes a line of the ground in a view, which clips it.
func (s *sheet) draw(v view, line []point, c colour, mm float64, dash ...float64) {
	s.stroke(c, mm, dash...)
	s.pdf.SetLineJoinStyle("round")
	s.pdf.SetLineCapStyle("butt")
	open := false
	for i, p := range line {
		q := v.at(p)
		// Parts far outside are left out; what crosses the edge is clipped.
		out := !v.holds(q, 60)
		switch {
		case out || math.IsNaN(q.x+q.y):
			if open {
				s.pdf.DrawPath("D")
				open = false
			}
		case !open:
			if i+1 < len(line) {
				s.pdf.MoveTo(q.x, q.y)
				open = true
			}
		default:
			s.pdf.LineTo(q.x, q.y)
		}
	}
	if open {
		s.pdf.DrawPath("D")
	}
	s.stroke(c, mm)
}

// mapOf draws the ground, the creek and the layout's pipes in a view.
func (s *sheet) mapOf(v view) {
	s.pdf.ClipRect(v.x, v.y, v.w, v.h, false)
	if r := s.p.Relief; r != nil {
		for _, c := range r.Contours {
			line := make([]point, len(c.Line))
			for i, p := range c.Line {
				line[i] = point{p[0], p[1]}
			}
			s.draw(v, line, contourInk, 0.15)
		}
	}
	creek := make([]point, len(s.p.Creek.Stations))
	for i, c := range s.p.Creek.Stations {
		creek[i] = s.ground(c.Lon, c.Lat)
	}
	s.draw(v, creek, creekInk, 1.6) // wide, so that a pipe in it does not hide it
	if s.l.Supply != nil {
		s.draw(v, s.path(s.l.Supply.Path), supplyInk, 0.7)
	}
	s.draw(v, s.path(s.l.Delivery.Path), liftInk, 0.7)
	s.draw(v, s.path(s.l.Drive.Path), driveInk, 1.1)
	s.pdf.ClipEnd()
}

// heights writes the heights of contours where nothing else stands, and not
// many.
func (s *sheet) heights(v view, taken []box) {
	if s.p.Relief == nil {
		return
	}
	unit, _ := s.unit()
	s.font(narrow, "", 5.5, earth)
	for _, c := range s.p.Relief.Contours {
		text := strconv.FormatFloat(c.LevelM/unit, 'f', 0, 64)
		w, h := s.pdf.GetStringWidth(text), 5.5*0.3528
		for i := len(c.Line) / 3; i < len(c.Line); i += 5 {
			at := v.at(point{c.Line[i][0], c.Line[i][1]})
			spot := box{at.x - w/2, at.y - h/2, w, h}
			apart := box{spot.x - 12, spot.y - 4, spot.w + 24, spot.h + 8}
			if !v.holds(at, -4) || slices.ContainsFunc(taken, apart.meets) {
				continue
			}
			s.fill(colour{255, 255, 255})
			s.pdf.Rect(spot.x-0.2, spot.y, spot.w+0.4, spot.h, "F")
			s.text(spot.x, spot.y+h*0.86, text)
			taken = append(taken, spot)
			break
		}
	}
}

// frame draws the edge of a view with its scale and the way to north.
func (s *sheet) frame(v view) {
	s.stroke(soft, 0.2)
	s.pdf.Rect(v.x, v.y, v.w, v.h, "D")
	// A bar of a round length near a fifth of the width.
	length, label := s.roundLength(v.w / 5 / v.mmPerM)
	mm := length * v.mmPerM
	x, y := v.x+3, v.y+v.h-3
	s.fill(colour{255, 255, 255})
	s.pdf.Rect(v.x+1, y-5.2, mm+4, 6.8, "F")
	s.stroke(ink, 0.4)
	s.pdf.Line(x, y, x+mm, y)
	s.pdf.Line(x, y-1, x, y+1)
	s.pdf.Line(x+mm, y-1, x+mm, y+1)
	s.font(narrow, "", 7, ink)
	s.text(x+0.8, y-1.3, label)
	// North.
	c := point{v.x + v.w - 6, v.y + 7}
	north := point{v.sin, -v.cos} // on paper
	s.pdf.SetFillColor(255, 255, 255)
	s.pdf.Circle(c.x, c.y, 5, "F")
	s.stroke(ink, 0.4)
	tip := point{c.x + 4*north.x, c.y + 4*north.y}
	s.pdf.Line(c.x-3.5*north.x, c.y-3.5*north.y, tip.x, tip.y)
	side := point{-north.y, north.x}
	s.pdf.Line(tip.x, tip.y, tip.x-1.8*north.x+1.1*side.x, tip.y-1.8*north.y+1.1*side.y)
	s.pdf.Line(tip.x, tip.y, tip.x-1.8*north.x-1.1*side.x, tip.y-1.8*north.y-1.1*side.y)
	s.font(narrow, "B", 7, ink)
	s.text(c.x+1.6*side.x+0.3, c.y+1.6*side.y+1, "N")
}

// roundLength is the largest 1, 2 or 5 times a power of ten in the readers'
// unit that is not above a length in metres.
func (s *sheet) roundLength(m float64) (metres float64, label string) {
	unit, name := s.unit()
	step := niceBelow(m / unit)
	return step * unit, number(step) + " " + name
}

// niceBelow is the largest of 1, 2 and 5 times a power of ten up to a value.
func niceBelow(v float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(v)))
	for _, k := range []float64{5, 2, 1} {
		if k*power <= v*(1+1e-9) {
			return k * power
		}
	}
	return power
}

// label is a text at a place of a figure, which may be moved a little.
type label struct {
	at   point
	text string
	bold bool
}

// labels writes texts beside their places so that none covers another or a
// place; one that finds no room is left out unless it is bold.
func (s *sheet) labels(b box, points float64, list []label) (covered []box) {
	taken := make([]box, 0, 2*len(list))
	for _, l := range list {
		taken = append(taken, box{l.at.x - 0.9, l.at.y - 0.9, 1.8, 1.8})
	}
	for _, pass := range []bool{true, false} {
		for _, l := range list {
			if l.bold != pass || !b.holds(l.at, 0) {
				continue
			}
			style := map[bool]string{true: "B"}[l.bold]
			s.font(narrow, style, points, ink)
			w, h := s.pdf.GetStringWidth(clean(l.text)), points*0.3528
			spot, ok := free(b, taken, l.at, w, h)
			if !ok {
				if !l.bold {
					continue
				}
				spot = box{l.at.x + 1.2, l.at.y - 1.2 - h, w, h}
			}
			taken = append(taken, spot)
			if away := math.Hypot(spot.x+spot.w/2-l.at.x, spot.y+spot.h/2-l.at.y); away > w/2+3.5 {
				s.stroke(soft, 0.1)
				s.pdf.Line(l.at.x, l.at.y, math.Max(spot.x, math.Min(spot.x+spot.w, l.at.x)), math.Max(spot.y, math.Min(spot.y+spot.h, l.at.y)))
			}
			s.fill(colour{255, 255, 255})
			s.pdf.SetAlpha(0.75, "Normal")
			s.pdf.Rect(spot.x-0.2, spot.y-0.1, spot.w+0.4, spot.h+0.2, "F")
			s.pdf.SetAlpha(1, "Normal")
			s.text(spot.x, spot.y+h*0.86, l.text)
		}
	}
	return append(taken, box{b.x, b.y + b.h - 9, 60, 9}, box{b.x + b.w - 14, b.y, 14, 14})
}

// free looks for room for a text around a place, nearest first.
func free(b box, taken []box, at point, w, h float64) (box, bool) {
	for _, away := range []float64{1.2, 3, 5.5, 9, 13} {
		for _, spot := range []box{
			{at.x - w/2, at.y - away - h, w, h}, {at.x - w/2, at.y + away, w, h},
			{at.x + away, at.y - h/2, w, h}, {at.x - away - w, at.y - h/2, w, h},
			{at.x + 0.7*away, at.y - 0.7*away - h, w, h}, {at.x + 0.7*away, at.y + 0.7*away, w, h},
			{at.x - 0.7*away - w, at.y - 0.7*away - h, w, h}, {at.x - 0.7*away - w, at.y + 0.7*away, w, h},
		} {
			if spot.x < b.x+1 || spot.x+w > b.x+b.w-1 || spot.y < b.y+1 || spot.y+h > b.y+b.h-1 {
				continue
			}
			hit := false
			for _, o := range taken {
				if hit = spot.meets(o); hit {
					break
				}
			}
			if !hit {
				return spot, true
			}
		}
	}
	return box{}, false
}

// stakeMark draws a stake's sign; a key stake is a filled square.
func (s *sheet) stakeMark(at point, key bool) {
	s.stroke(ink, 0.25)
	if key {
		s.fill(ink)
		s.pdf.Rect(at.x-0.9, at.y-0.9, 1.8, 1.8, "F")
		return
	}
	s.fill(colour{255, 255, 255})
	s.pdf.Circle(at.x, at.y, 0.65, "FD")
}

// isKey tells the stakes of the five places.
func isKey(k *plan.Stake) bool {
	switch k.Role {
	case "intake", "settling_box", "standpipe", "pump", "tank":
		return true
	}
	return false
}
