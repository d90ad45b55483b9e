package plan

import (
	"math"
	"slices"

	"route/internal/finding"
	"route/internal/optimize"
	"route/internal/quantity"
	"route/internal/terrain"
)

// Ways of laying the supply pipe.
const (
	alongTheCreek = "creek"
	overTheGround = "free"
	everyWay      = "free_thorough"
)

// routedCellM is the coarsest terrain over which supply pipes are led away
// from the creek: on larger cells banks and necks do not show.
const routedCellM = 5.0

// supplyGround gives the search the ground that supply pipes may be laid over;
// it leaves them along the creek where the user or the terrain says so.
func (j *job) supplyGround(p *optimize.Problem) error {
	if j.site.SupplyRoute == alongTheCreek || j.grid == nil {
		return nil
	}
	if j.grid.CellM > routedCellM {
		if j.site.Given("supply_route") {
			j.tell(finding.New(finding.Warning, "supply_route_coarse", "supply pipes follow the creek: on cells of {0} the banks do not show", "give terrain with cells of {1} or less", quantity.Metres(j.grid.CellM), quantity.Metres(routedCellM)))
		}
		return nil
	}
	creek := terrain.SupplyCreek{At: p.Creek.Points, AlongM: p.Creek.SlopeM, BedM: make([]float64, p.Creek.Len())}
	for k, z := range p.Creek.ZM {
		creek.BedM[k] = z - p.Limits.BedDepthM
	}
	if p.PassAt != nil {
		creek.Closed = make([]bool, p.Creek.Len())
		for k, pass := range p.PassAt {
			creek.Closed[k] = !pass
		}
	}
	ground, err := terrain.NewSupplyGround(j.ctx, j.grid, creek, terrain.SupplyRules{
		DigM: j.site.SupplyDigM, TrestleM: j.site.SupplyTrestleM,
		SlopeMin: p.Limits.SupplySlopeMin, LengthMaxM: p.Limits.SupplyLengthMaxM,
		Forbidden: j.land.forbidden(j.grid), LeastSavingM: j.site.SupplySavingM,
		CutsOnly: j.site.SupplyRoute == overTheGround,
	})
	if err == nil && ground.Leaves() {
		p.Supply = optimize.NewSupply(ground)
	}
	return err
}

// supplyGroundAbove is supplyGround for pipes that end at one station of the
// whole profile.
func (j *job) supplyGroundAbove(p *optimize.Problem, station int) error {
	end, _ := slices.BinarySearch(j.places, station)
	part := *p
	part.PassAt = make([]bool, p.Creek.Len())
	for k := range part.PassAt {
		reached := k <= end && p.Creek.SlopeM[end]-p.Creek.SlopeM[k] <= terrain.ReachAlong*p.Limits.SupplyLengthMaxM
		part.PassAt[k] = reached && (p.PassAt == nil || p.PassAt[k])
	}
	err := j.supplyGround(&part)
	p.Supply = part.Supply
	return err
}

// laySupply draws the supply pipe from the intake to the head of the drive
// pipe: on the creek's bed, and over the ground where it leaves the creek.
func (g *grader) laySupply() {
	if g.c.DriveFrom == g.c.Intake {
		return
	}
	run := pipeRun(g.supplyPipe, g.c.SupplyM, g.c.Flow, g.site.TemperatureK)
	run.LossM = Number(g.c.SupplyLossM)
	s := Supply{PipeRun: run, Route: alongTheCreek, CreekM: Number(g.creek.SlopeM[g.c.DriveFrom] - g.creek.SlopeM[g.c.Intake]), ThrottleM: Number(g.c.ThrottleM)}
	if len(g.c.SupplyLine) > 0 {
		before := 0.0
		for _, line := range g.c.SupplyLine {
			g.followLine(&s, &line, before)
			before += line.LengthM
		}
	} else {
		g.followCreek(&s, g.c.Intake, g.c.DriveFrom, 0, g.c.SupplyM)
	}
	deepest := 0.0
	for k := range s.Path {
		v := &s.Path[k]
		v.GradeM = Number(g.gradeAlong(float64(v.AlongM), k == len(s.Path)-1))
		deepest = math.Max(deepest, g.creek.ZM[g.c.Intake]-float64(v.InvertM))
	}
	s.PressureM = Number(deepest)
	s.measureEarthworks()
	g.l.Supply = &s
}

// followCreek adds the stations of the creek from one to another, the pipe on
// the bed, with its length going from along to end.
func (g *grader) followCreek(s *Supply, from, to int, along, end float64) {
	start, length := g.creek.SlopeM[from], g.creek.SlopeM[to]-g.creek.SlopeM[from]
	for k := from; k <= to; k++ {
		if k == from && len(s.Path) > 0 {
			continue // it is there already
		}
		t := 0.0
		if length > 0 {
			t = (g.creek.SlopeM[k] - start) / length
		}
		s.Path = append(s.Path, g.vertex(g.atStation(k, g.creek.ZM[k]), along+t*(end-along), g.creek.ZM[k]-g.site.Limits.BedDepthM, math.NaN()))
	}
}

// followLine adds a line over the ground to a supply pipe that is so long
// before it.
func (g *grader) followLine(s *Supply, line *terrain.SupplyLine, before float64) {
	for k := range line.Line {
		along := before + line.AlongM[k]
		if here := line.Station[k]; here >= 0 {
			if k > 0 && line.Station[k-1] >= 0 {
				g.followCreek(s, line.Station[k-1], here, before+line.AlongM[k-1], along)
			} else {
				g.followCreek(s, here, here, along, along)
			}
			if k > 0 && line.Station[k-1] < 0 { // back from the ground
				s.Path = append(s.Path, g.vertex(g.atStation(here, g.creek.ZM[here]), along, g.creek.ZM[here]-g.site.Limits.BedDepthM, math.NaN()))
			}
			continue
		}
		s.Route = overTheGround
		s.Path = append(s.Path, g.vertex(g.at(line.Line[k], line.GroundM[k]), along, line.InvertM[k], math.NaN()))
	}
}

// gradeAlong is the running grade line of the supply pipe at a distance along
// it: the pool's surface less what intake, friction and the box take up to
// there, and at its end what the gate valve takes.
func (g *grader) gradeAlong(along float64, end bool) float64 {
	level := g.creek.ZM[g.c.Intake]
	if along == 0 {
		return level
	}
	level -= g.c.IntakeLossM + g.c.SupplySlope*along
	if g.c.Box >= 0 && along >= g.c.BoxAlongM-1e-9 {
		level -= g.c.BoxDropM
	}
	if end {
		level -= g.c.ThrottleM
	}
	return level
}

// LeavesCreek says whether some of the pipe lies on the ground beside the creek.
func (s *Supply) LeavesCreek() bool { return s.Route == overTheGround }

// earthworkM is how far off the ground a pipe counts as dug in or held up.
const earthworkM = 0.1

// measureEarthworks adds up how much of the pipe beside the creek is dug in and
// how much is held up.
func (s *Supply) measureEarthworks() {
	s.TrenchM, s.TrestleM = 0, 0
	for k := 1; k < len(s.Path); k++ {
		a, b := s.Path[k-1], s.Path[k]
		if a.StationM.Known() && b.StationM.Known() {
			continue // on the bed
		}
		off := (a.InvertM - a.GroundM + b.InvertM - b.GroundM) / 2
		switch length := b.AlongM - a.AlongM; {
		case off < -earthworkM:
			s.TrenchM += length
		case off > earthworkM:
			s.TrestleM += length
		}
	}
}

// tellSupplyRoute says what leaving the creek brings, and what is left over at
// the gate valve.
func (g *grader) tellSupplyRoute() []finding.Finding {
	s := g.l.Supply
	if s == nil {
		return nil
	}
	var found []finding.Finding
	if s.LeavesCreek() {
		found = append(found, finding.New(finding.Note, "supply_leaves_creek", "the supply pipe leaves the creek and is {0} long instead of {1} along it; {2} of it lie in a trench and {3} on supports", "walk the line before buying: the terrain does not show roots and rock",
			quantity.Metres(float64(s.LengthM)), quantity.Metres(float64(s.CreekM)), quantity.Metres(float64(s.TrenchM)), quantity.Metres(float64(s.TrestleM))))
	}
	if s.ThrottleM > earthworkM {
		found = append(found, finding.New(finding.Note, "supply_throttled", "the supply pipe could bring the water {0} higher than the standpipe or the pump bear", "throttle its gate valve until the standpipe holds its level", quantity.Metres(float64(s.ThrottleM))))
	}
	return found
}

// measureSupports counts where the drive pipe needs a post and where a trench:
// its anchors stand each so far apart along it.
func (d *Drive) measureSupports(spacingM float64) {
	d.Posts, d.PostHighestM, d.TrenchM, d.TrenchDeepestM = 0, 0, 0, 0
	for k := 1; k < len(d.Path); k++ {
		a, b := d.Path[k-1], d.Path[k]
		off := (a.InvertM - a.GroundM + b.InvertM - b.GroundM) / 2
		if off < -earthworkM {
			d.TrenchM += b.AlongM - a.AlongM
		}
		if b.GroundM.Known() {
			d.TrenchDeepestM = max(d.TrenchDeepestM, b.GroundM-b.InvertM)
		}
	}
	total := float64(d.Path[len(d.Path)-1].AlongM)
	for at := spacingM; at < total; at += spacingM {
		if v := pointAlong(d.Path, at); v.InvertM-v.GroundM > earthworkM {
			d.Posts++
			d.PostHighestM = max(d.PostHighestM, v.InvertM-v.GroundM)
		}
	}
}
