package terrain

import (
	"math"

	"github.com/paulmach/orb"
)

// SupplyLine is a supply pipe as it is laid. All slices have an entry a vertex.
type SupplyLine struct {
	Line    orb.LineString
	GroundM []float64 // the ground; on the creek the bed
	InvertM []float64 // of the pipe: on the ground where it can lie there
	AlongM  []float64 // length from the start
	Station []int     // of the creek; -1 beside it
	LengthM float64
}

// linePoint is a vertex while a line is worked on.
type linePoint struct {
	at        orb.Point
	z         float64
	low, high float64 // limits of the invert
	station   int
	length    float64 // of the stretch that leads here
	creek     bool    // it leads along the creek
}

// laid is the state of a pipe at a place: its length so far, and the highest
// level that it can have.
type laid struct{ length, level float64 }

// Line gives the line of a reach to a station with the steps of the grid pulled
// out of it: beside the creek, vertices are left out wherever a straight line
// between others keeps the limits of digging and trestles over the ground that
// it crosses itself, enters no forbidden cell, and leaves the rest of the line
// possible, below the grade line. It is never longer than the line of the
// reach, and falls all the way.
func (g *SupplyGround) Line(r *SupplyReach, to int, grade SupplyGrade) SupplyLine {
	points := g.trace(r, to)
	start := laid{level: math.Min(points[0].z, grade.HeadM)}
	pulled := points[:1:1]
	for i := 0; i+1 < len(points); {
		j := i + 1 // the next station
		for points[j].station < 0 {
			j++
		}
		part := points[i : j+1]
		if j > i+1 {
			part = g.pull(part, start, grade)
		}
		for _, p := range part[1:] {
			start.length += p.length
			pulled = append(pulled, p)
		}
		start.level = points[j].z
		i = j
	}
	return g.lay(g.refine(pulled), grade)
}

// trace lists the places of a line of the reach.
func (g *SupplyGround) trace(r *SupplyReach, to int) []linePoint {
	var list []linePoint
	for at := r.at[to-r.From]; at >= 0; {
		v := &r.nodes[at]
		at = v.parent
		p := linePoint{at: g.place(v.node), station: -1}
		p.low, p.high = g.limits(v.node)
		if int(v.node) < g.n {
			p.station, p.z = int(v.node), g.creek.BedM[v.node]
		} else {
			p.z = g.cells[int(v.node)-g.n].z
		}
		if at >= 0 {
			before := &r.nodes[at]
			p.length = v.length - before.length
			p.creek = v.cut == nil && int(v.node) < g.n && int(before.node) < g.n
		}
		list = append(list, p)
	}
	for i, j := 0, len(list)-1; i < j; i, j = i+1, j-1 {
		list[i], list[j] = list[j], list[i]
	}
	return list
}

// pull leaves vertices out of a stretch between two stations, from its start
// on, each time as many as can be.
func (g *SupplyGround) pull(part []linePoint, at laid, grade SupplyGrade) []linePoint {
	last := len(part) - 1
	kept := part[:1:1]
	for i := 0; i < last; {
		next, after := i+1, laid{}
		step := part[next]
		for j := last; j > i+1; j-- {
			there, ok := g.straight(part[i], part[j], at, grade)
			if ok && g.possible(part[j:], there, grade) {
				next, after = j, there
				step = part[j]
				step.length, step.creek = there.length-at.length, false
				break
			}
		}
		if next == i+1 {
			after, _ = g.stepTo(step, at, step.length, grade)
		}
		kept = append(kept, step)
		i, at = next, after
	}
	return kept
}

// stepTo takes the pipe over a stretch of a length to a vertex.
func (g *SupplyGround) stepTo(p linePoint, at laid, length float64, grade SupplyGrade) (laid, bool) {
	at.length += length
	at.level -= g.rules.SlopeMin * length
	ok := at.level >= p.low && p.low <= grade.HeadM-grade.Slope*at.length
	at.level = math.Min(at.level, p.high)
	return at, ok
}

// possible says whether the pipe can follow the rest of a stretch vertex by
// vertex.
func (g *SupplyGround) possible(rest []linePoint, at laid, grade SupplyGrade) bool {
	ok := true
	for k := 1; k < len(rest) && ok; k++ {
		at, ok = g.stepTo(rest[k], at, rest[k].length, grade)
	}
	return ok
}

// chordStep is how finely a straight line is held against the ground, in cells.
const chordStep = 0.25

// stationCells is how near to a station, in cells, the ground counts as the
// creek's bank, which the pipe goes through as it leaves the bed.
const stationCells = 1.5

// straight takes the pipe along a straight line between two vertices.
func (g *SupplyGround) straight(a, b linePoint, at laid, grade SupplyGrade) (laid, bool) {
	run := distance(a.at, b.at)
	length := math.Hypot(run, b.z-a.z)
	steps := max(1, int(math.Ceil(run/(chordStep*g.grid.CellM))))
	ok := g.mayCross(a.at, b.at)
	for k := 1; k < steps && ok; k++ {
		t := float64(k) / float64(steps)
		p := linePoint{at: orb.Point{a.at[0] + t*(b.at[0]-a.at[0]), a.at[1] + t*(b.at[1]-a.at[1])}}
		if p.low, p.high, ok = g.limitsBetween(a, b, p.at); ok {
			at, ok = g.stepTo(p, at, length/float64(steps), grade)
		}
	}
	if !ok {
		return at, false
	}
	return g.stepTo(b, at, length/float64(steps), grade)
}

// limitsBetween gives the limits of the invert at a place between two vertices;
// ok is false where the pipe may not go.
func (g *SupplyGround) limitsBetween(a, b linePoint, at orb.Point) (low, high float64, ok bool) {
	col, row, inside := g.grid.Cell(at)
	if !inside {
		return 0, 0, false
	}
	if _, ok := g.ground(col, row); !ok {
		return 0, 0, false
	}
	near := stationCells * g.grid.CellM
	if a.station >= 0 && distance(a.at, at) < near || b.station >= 0 && distance(b.at, at) < near {
		return math.Inf(-1), math.Inf(1), true
	}
	z := g.heightAt(at)
	return z - g.rules.DigM, z + g.rules.TrestleM, !math.IsNaN(z)
}

// mayCross says whether a straight line enters no cell that is forbidden.
func (g *SupplyGround) mayCross(a, b orb.Point) bool {
	if g.rules.Forbidden == nil {
		return true
	}
	// In units of cells, whose borders are the whole numbers.
	in := func(p orb.Point) place {
		return place{(p[0] - g.grid.Bound.Min[0]) / g.grid.CellM, (g.grid.Bound.Max[1] - p[1]) / g.grid.CellM}
	}
	from, to := in(a), in(b)
	free := func(t float64) bool {
		col, row := int(math.Floor(from.x+t*(to.x-from.x))), int(math.Floor(from.y+t*(to.y-from.y)))
		if col < 0 || row < 0 || col >= g.grid.Cols || row >= g.grid.Rows {
			return false
		}
		return !g.rules.Forbidden[row*g.grid.Cols+col]
	}
	ok, last := true, 0.0
	crossings(from, to, func(t float64, _ place) bool {
		ok = free((last + t) / 2)
		last = t
		return ok
	})
	return ok && free((last+1)/2)
}

// heightAt is the ground at a place, bilinear between the middles of the cells;
// NaN where one of them has none.
func (g *SupplyGround) heightAt(p orb.Point) float64 {
	grid := g.grid
	x := (p[0]-grid.Bound.Min[0])/grid.CellM - 0.5
	y := (grid.Bound.Max[1]-p[1])/grid.CellM - 0.5
	x, y = math.Min(math.Max(x, 0), float64(grid.Cols-1)), math.Min(math.Max(y, 0), float64(grid.Rows-1))
	col, row := min(int(x), max(grid.Cols-2, 0)), min(int(y), max(grid.Rows-2, 0))
	u, v := x-float64(col), y-float64(row)
	right, down := min(col+1, grid.Cols-1), min(row+1, grid.Rows-1)
	at := func(c, r int) float64 { return float64(grid.Z[r*grid.Cols+c]) }
	north := at(col, row) + u*(at(right, row)-at(col, row))
	south := at(col, down) + u*(at(right, down)-at(col, down))
	return north + v*(south-north)
}

// drawnStep is how far apart the vertices of a finished line lie beside the
// creek at most, in cells.
const drawnStep = 2.0

// refine puts in vertices so that the ground between them is known.
func (g *SupplyGround) refine(points []linePoint) []linePoint {
	fine := points[:1:1]
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		if b.creek {
			fine = append(fine, b)
			continue
		}
		steps := max(1, int(math.Ceil(distance(a.at, b.at)/(drawnStep*g.grid.CellM))))
		if a.station >= 0 && b.station >= 0 {
			steps = max(steps, 2) // a line of two stations is one along the creek
		}
		for k := 1; k < steps; k++ {
			t := float64(k) / float64(steps)
			p := linePoint{at: orb.Point{a.at[0] + t*(b.at[0]-a.at[0]), a.at[1] + t*(b.at[1]-a.at[1])}, station: -1, length: b.length / float64(steps)}
			p.low, p.high, _ = g.limitsBetween(a, b, p.at)
			p.z = g.heightAt(p.at)
			fine = append(fine, p)
		}
		b.length /= float64(steps)
		fine = append(fine, b)
	}
	return fine
}

// lay chooses the invert: on the ground where the pipe can lie there, higher
// only where ground further on asks for it, lower where it has to fall or to
// stay below the grade line.
func (g *SupplyGround) lay(points []linePoint, grade SupplyGrade) SupplyLine {
	n := len(points)
	need := make([]float64, n) // least level from which the rest can be reached
	for k := n - 1; k >= 0; k-- {
		need[k] = points[k].low
		if k+1 < n {
			need[k] = math.Max(need[k], need[k+1]+g.rules.SlopeMin*points[k+1].length)
		}
	}
	var l SupplyLine
	level := math.Inf(1)
	for k, p := range points {
		if k > 0 {
			l.LengthM += p.length
			level -= g.rules.SlopeMin * p.length
			level = math.Min(level, math.Min(grade.HeadM-grade.Slope*l.LengthM, math.Max(p.z, need[k])))
		} else {
			level = p.z
		}
		l.Line, l.GroundM, l.InvertM = append(l.Line, p.at), append(l.GroundM, p.z), append(l.InvertM, level)
		l.AlongM, l.Station = append(l.AlongM, l.LengthM), append(l.Station, p.station)
	}
	return l
}
