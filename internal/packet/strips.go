package packet

import (
	"fmt"
	"math"

	"route/internal/plan"
	"route/internal/quantity"
)

// Scales of strip sheets: 1 to this, as rulers are made. 1 in = 20 ft is 1 to
// 240.
var (
	scalesUS = []float64{240, 360, 480, 600, 720, 1200, 2400, 4800, 12000}
	scalesSI = []float64{200, 250, 500, 1000, 2000, 2500, 5000, 10000}
)

const (
	mostStrips  = 10   // as many as the scale is chosen for
	stripPlanMM = 58.0 // height of the plan of a strip
	stripSideMM = 46.0 // height of its profile
)

// strip is a stretch of the pipes that one plan shows.
type strip struct{ from, to float64 }

// strips prints the line cut into stretches, each with its plan, turned so
// that the line runs from left to right, and its profile below.
func (s *sheet) strips() {
	pipe, pumpAt := s.chain()
	scale, cut := s.cutStrips(pipe, pumpAt)
	unit := fmt.Sprintf("1 : %.0f", scale)
	if s.p.System() == quantity.US {
		unit = fmt.Sprintf("1 in = %.0f ft (1 : %.0f)", scale/12, scale)
	}
	height := stripPlanMM + stripSideMM + 7
	for i, c := range cut {
		if i%2 == 0 {
			s.page("Strip sheets, plan " + unit)
		}
		s.font(sans, "B", 9, ink)
		end := "intake to pump"
		if c.from >= pumpAt-1e-6 {
			end = "pump to tank"
		}
		s.text(margin, s.y+3, fmt.Sprintf("Strip %d of %d: %s, %s to %s along the pipes", i+1, len(cut), end, s.say(plan.Number(c.from)), s.say(plan.Number(c.to))))
		s.y += 4.5
		s.strip(box{margin, s.y, s.inner(), stripPlanMM}, scale, pipe, c)
		s.y += stripPlanMM + 1.5
		s.profile(box{margin, s.y, s.inner(), stripSideMM}, pipe, c.from, c.to, s.stakeList(), true)
		s.y += height - stripPlanMM - 4
	}
}

// cutStrips takes the finest scale that needs few strips.
func (s *sheet) cutStrips(pipe []chained, pumpAt float64) (scale float64, cut []strip) {
	scales := scalesSI
	if s.p.System() == quantity.US {
		scales = scalesUS
	}
	end := pipe[len(pipe)-1].along
	for _, scale = range scales {
		length, height := 0.9*s.inner()/1000*scale, 0.68*stripPlanMM/1000*scale
		cut = append(s.cutAt(pipe, 0, pumpAt, length, height), s.cutAt(pipe, pumpAt, end, length, height)...)
		if len(cut) <= mostStrips {
			break
		}
	}
	return scale, cut
}

// cutAt cuts a stretch so that each part fits into a window of a length and a
// height when it is turned along its own chord.
func (s *sheet) cutAt(pipe []chained, from, to, length, height float64) []strip {
	part := between(pipe, from, to)
	var cut []strip
	for i := 0; i < len(part)-1; {
		k := i + 1
		for n := i + 2; n < len(part); n++ {
			if long, high := s.extent(part[i : n+1]); long > length || high > height {
				break
			}
			k = n
		}
		cut = append(cut, strip{part[i].along, part[k].along})
		i = k
	}
	return evened(cut, part, s, length, height)
}

// evened joins a short last strip to the one before it and halves both, where
// the halves fit.
func evened(cut []strip, part []chained, s *sheet, length, height float64) []strip {
	n := len(cut)
	if n < 2 {
		return cut
	}
	a, b := cut[n-2], cut[n-1]
	if b.to-b.from > 0.6*(a.to-a.from) {
		return cut
	}
	middle := (a.from + b.to) / 2
	for _, half := range [][]chained{between(part, a.from, middle), between(part, middle, b.to)} {
		if long, high := s.extent(half); long > length || high > height {
			return cut
		}
	}
	return append(cut[:n-2], strip{a.from, middle}, strip{middle, b.to})
}

// extent is how long a stretch is along its chord and how wide across it.
func (s *sheet) extent(part []chained) (long, wide float64) {
	first, last := s.ground(part[0].Lon, part[0].Lat), s.ground(part[len(part)-1].Lon, part[len(part)-1].Lat)
	cos, sin := direction(first, last)
	lowU, highU, lowV, highV := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, v := range part {
		p := s.ground(v.Lon, v.Lat)
		u, w := cos*p.x+sin*p.y, cos*p.y-sin*p.x
		lowU, highU, lowV, highV = math.Min(lowU, u), math.Max(highU, u), math.Min(lowV, w), math.Max(highV, w)
	}
	return highU - lowU, highV - lowV
}

func direction(a, b point) (cos, sin float64) {
	d := math.Hypot(b.x-a.x, b.y-a.y)
	if d == 0 {
		return 1, 0
	}
	return (b.x - a.x) / d, (b.y - a.y) / d
}

// strip draws the plan of one stretch.
func (s *sheet) strip(b box, scale float64, pipe []chained, c strip) {
	part := between(pipe, c.from, c.to)
	first, last := s.ground(part[0].Lon, part[0].Lat), s.ground(part[len(part)-1].Lon, part[len(part)-1].Lat)
	v := view{box: b, mmPerM: 1000 / scale}
	v.cos, v.sin = direction(first, last)
	v.middle = s.middleOf(part, v.cos, v.sin)
	s.mapOf(v)
	var list []label
	for i := range s.l.Stakes {
		k := &s.l.Stakes[i]
		at := v.at(s.ground(k.Lon, k.Lat))
		if !b.holds(at, -0.5) {
			continue
		}
		s.stakeMark(at, isKey(k))
		// Those far beyond the ends have a sheet of their own.
		if along, beyond := float64(k.AlongM), 0.15*(c.to-c.from); isKey(k) || along > c.from-beyond && along < c.to+beyond {
			list = append(list, label{at, k.Label, isKey(k)})
		}
	}
	s.heights(v, s.labels(b, 7, list))
	s.frame(v)
}

// middleOf is the middle of the rectangle along a direction that holds a
// stretch.
func (s *sheet) middleOf(part []chained, cos, sin float64) point {
	lowU, highU, lowV, highV := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, v := range part {
		p := s.ground(v.Lon, v.Lat)
		u, w := cos*p.x+sin*p.y, cos*p.y-sin*p.x
		lowU, highU, lowV, highV = math.Min(lowU, u), math.Max(highU, u), math.Min(lowV, w), math.Max(highV, w)
	}
	u, w := (lowU+highU)/2, (lowV+highV)/2
	return point{cos*u - sin*w, sin*u + cos*w}
}
