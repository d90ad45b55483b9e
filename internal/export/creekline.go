package export

import (
	"sort"

	"route/internal/plan"
)

// creekLine is a pipe drawn against the stations of the creek.
type creekLine struct {
	run      pipeRun
	stationM []float64 // one a vertex, not decreasing
}

// alongCreek places the supply and drive pipe of a layout beside the creek.
// Vertices away from the creek have no station of their own: they are spread
// between their neighbours by the length of pipe between.
func alongCreek(l *plan.Layout) []creekLine {
	upper := known(l.Intake.StationM, 0)
	if l.Supply != nil {
		upper = known(l.Intake.StationM, first(l.Supply.Path, 0))
	}
	lower := known(l.Pump.StationM, upper+float64(l.Drive.LengthM))
	middle := lower
	switch {
	case l.Standpipe != nil:
		middle = known(l.Standpipe.StationM, lower-float64(l.Drive.LengthM))
	case l.Supply != nil && l.SettlingBox != nil:
		middle = known(l.SettlingBox.StationM, lower-float64(l.Drive.LengthM))
	}
	if l.Supply == nil {
		return []creekLine{spread(driveRun(l), upper, lower)}
	}
	return []creekLine{spread(supplyRun(l), upper, middle), spread(driveRun(l), middle, lower)}
}

func known(v plan.Number, otherwise float64) float64 {
	if v.Known() {
		return float64(v)
	}
	return otherwise
}

func first(path []plan.Vertex, otherwise float64) float64 {
	for _, v := range path {
		if v.StationM.Known() {
			return float64(v.StationM)
		}
	}
	return otherwise
}

// spread gives every vertex a station between those of the ends.
func spread(run pipeRun, from, to float64) creekLine {
	n := len(run.Path)
	c := creekLine{run: run, stationM: make([]float64, n)}
	if n == 0 {
		return c
	}
	c.stationM[0], c.stationM[n-1] = known(run.Path[0].StationM, from), known(run.Path[n-1].StationM, to)
	last := 0
	for i := 1; i < n; i++ {
		if i < n-1 && !run.Path[i].StationM.Known() {
			continue
		}
		if i < n-1 {
			c.stationM[i] = float64(run.Path[i].StationM)
		}
		c.stationM[i] = max(c.stationM[i], c.stationM[last])
		c.fill(last, i)
		last = i
	}
	return c
}

// fill spreads the vertices between two that have a station.
func (c *creekLine) fill(a, b int) {
	path := c.run.Path
	total := float64(path[b].AlongM - path[a].AlongM)
	for i := a + 1; i < b; i++ {
		t := float64(i-a) / float64(b-a)
		if total > 0 {
			t = float64(path[i].AlongM-path[a].AlongM) / total
		}
		c.stationM[i] = c.stationM[a] + t*(c.stationM[b]-c.stationM[a])
	}
}

// at interpolates invert and grade line at a station that the pipe passes.
func (c *creekLine) at(station plan.Number) (invert, grade plan.Number, ok bool) {
	s := float64(station)
	if len(c.stationM) < 2 || !(s >= c.stationM[0] && s <= c.stationM[len(c.stationM)-1]) {
		return plan.Unknown, plan.Unknown, false
	}
	i := max(1, sort.SearchFloat64s(c.stationM, s))
	a, b := c.stationM[i-1], c.stationM[i]
	t := plan.Number(0)
	if b > a {
		t = plan.Number((s - a) / (b - a))
	}
	u, v := c.run.Path[i-1], c.run.Path[i]
	return u.InvertM + t*(v.InvertM-u.InvertM), u.GradeM + t*(v.GradeM-u.GradeM), true
}
