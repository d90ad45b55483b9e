package packet

import (
	"math"
	"strconv"

	"route/internal/plan"
	"route/internal/quantity"
)

// chained is a vertex of the pipes laid end to end.
type chained struct {
	plan.Vertex
	along float64 // from the intake, metres
	ink   colour
}

// chain lays the pipes of the layout end to end, in the order of the water.
func (s *sheet) chain() (all []chained, pumpAt float64) {
	add := func(path []plan.Vertex, c colour) {
		start := 0.0
		if n := len(all); n > 0 {
			start = all[n-1].along
		}
		for _, v := range path {
			all = append(all, chained{v, start + float64(v.AlongM), c})
		}
	}
	if s.l.Supply != nil {
		add(s.l.Supply.Path, supplyInk)
	}
	add(s.l.Drive.Path, driveInk)
	pumpAt = all[len(all)-1].along
	add(s.l.Delivery.Path, liftInk)
	return all, pumpAt
}

// unit is what lengths are drawn in: its size in metres and its sign.
func (s *sheet) unit() (metres float64, name string) {
	if s.p.System() == quantity.US {
		return 0.3048, "ft"
	}
	return 1, "m"
}

func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// profile draws ground and pipe against the length of pipe, between two
// distances, with the stakes in between; detailed for a strip.
func (s *sheet) profile(b box, pipe []chained, from, to float64, stakes []*plan.Stake, detailed bool) {
	part := between(pipe, from, to)
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range part {
		for _, z := range []plan.Number{v.GroundM, v.InvertM} {
			if z.Known() {
				low, high = math.Min(low, float64(z)), math.Max(high, float64(z))
			}
		}
	}
	if math.IsInf(low, 0) || to <= from {
		return
	}
	if most := (to - from) / 60; high-low < most { // a level pipe is drawn level
		low, high = (low+high-most)/2, (low+high+most)/2
	}
	head, foot := 3.0, 3.0
	if detailed {
		head, foot = 8, 3
	}
	left := b.x + 9
	x := func(along float64) float64 { return left + (along-from)/(to-from)*(b.x+b.w-2-left) }
	y := func(z float64) float64 { return b.y + b.h - foot - (z-low)/(high-low)*(b.h-head-foot) }
	s.levels(b, left, low, high, y)
	line := func(z func(chained) plan.Number) []point {
		var pts []point
		for _, v := range part {
			if h := z(v); h.Known() {
				pts = append(pts, point{x(v.along), y(float64(h))})
			}
		}
		return pts
	}
	ground := line(func(v chained) plan.Number { return v.GroundM })
	s.polyline(ground, earth, 0.3)
	for i := 0; i < len(part); {
		k := i
		for k+1 < len(part) && part[k+1].ink == part[i].ink {
			k++
		}
		var pts []point
		for _, v := range part[i : k+1] {
			pts = append(pts, point{x(v.along), y(float64(v.InvertM))})
		}
		s.polyline(pts, part[i].ink, 0.6)
		i = k + 1
	}
	s.profileStakes(b, stakes, from, to, x, y, detailed)
	s.stroke(soft, 0.2)
	s.pdf.Rect(b.x, b.y, b.w, b.h, "D")
}

// levels draws lines of equal height with their figures.
func (s *sheet) levels(b box, left, low, high float64, y func(float64) float64) {
	unit, name := s.unit()
	step := niceBelow((high-low)/unit/3) * unit
	s.font(narrow, "", 6.5, soft)
	for z := math.Ceil(low/step-1e-9) * step; z <= high+1e-9; z += step {
		s.stroke(faint, 0.15)
		s.pdf.Line(left, y(z), b.x+b.w, y(z))
		s.right(left-0.8, y(z)+0.8, strconv.FormatFloat(z/unit, 'f', max(0, int(math.Ceil(-math.Log10(step/unit)-1e-9))), 64))
	}
	s.text(b.x+0.8, b.y+2.8, name)
}

func (s *sheet) polyline(line []point, c colour, mm float64) {
	if len(line) < 2 {
		return
	}
	s.stroke(c, mm)
	s.pdf.SetLineJoinStyle("round")
	s.pdf.MoveTo(line[0].x, line[0].y)
	for _, p := range line[1:] {
		s.pdf.LineTo(p.x, p.y)
	}
	s.pdf.DrawPath("D")
}

// profileStakes marks the stakes on a profile; on a strip every stake is named.
func (s *sheet) profileStakes(b box, stakes []*plan.Stake, from, to float64, x, y func(float64) float64, detailed bool) {
	rows := [2]float64{math.Inf(-1), math.Inf(-1)} // where the last label of each row ends
	for _, k := range stakes {
		along := float64(k.AlongM)
		if along < from-1e-6 || along > to+1e-6 || !detailed && !isKey(k) {
			continue
		}
		at := point{x(along), y(float64(k.InvertM))}
		if k.Role == "settling_box" || k.Role == "tank" {
			at.y = math.Max(at.y, b.y+3) // its level may stand above the pipes drawn
		}
		s.stroke(faint, 0.15)
		s.pdf.Line(at.x, b.y+4, at.x, b.y+b.h)
		s.stakeMark(at, isKey(k))
		style := map[bool]string{true: "B"}[isKey(k)]
		s.font(narrow, style, 6.5, ink)
		w := s.pdf.GetStringWidth(k.Label)
		start := math.Max(b.x+5, math.Min(at.x-w/2, b.x+b.w-w-0.5))
		row := 0
		if start < rows[0]+0.8 {
			row = 1
		}
		if start < rows[row]+0.8 && !isKey(k) {
			continue // the plan above names it
		}
		rows[row] = start + w
		s.text(start, b.y+2.6+3*float64(row), k.Label)
	}
}

// between cuts a chain to a stretch; its ends are interpolated.
func between(all []chained, from, to float64) []chained {
	var part []chained
	for i, v := range all {
		if i > 0 {
			a := all[i-1]
			for _, cut := range []float64{from, to} {
				if a.along < cut && cut < v.along {
					t := (cut - a.along) / (v.along - a.along)
					mix := func(p, q plan.Number) plan.Number { return p + plan.Number(t)*(q-p) }
					c := v
					c.along = cut
					c.Lon, c.Lat = a.Lon+plan.Degrees(t)*(v.Lon-a.Lon), a.Lat+plan.Degrees(t)*(v.Lat-a.Lat)
					c.GroundM, c.InvertM, c.GradeM = mix(a.GroundM, v.GroundM), mix(a.InvertM, v.InvertM), mix(a.GradeM, v.GradeM)
					part = append(part, c)
				}
			}
		}
		if v.along >= from && v.along <= to {
			part = append(part, v)
		}
	}
	return part
}
