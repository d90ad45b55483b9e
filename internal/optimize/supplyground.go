package optimize

import (
	"cmp"
	"context"
	"math"
	"slices"
	"sync"

	"route/internal/terrain"
)

// Supply is the ground that supply pipes may be laid over, with what has been
// found out about it: it is found once however often places are searched. It
// may be used by many goroutines.
type Supply struct {
	*terrain.SupplyGround

	mu     sync.Mutex                       // of what follows
	pipes  map[grade][]*terrain.SupplyReach // from every intake; nil where not yet looked at
	routes map[routesKey]*routed
	drawn  map[drawnKey]terrain.SupplyLine
}

// routesKey is all that routes hang on.
type routesKey struct {
	where  string
	grade  grade
	option int32
}

// NewSupply is the ground of supply pipes with nothing found out yet.
func NewSupply(ground *terrain.SupplyGround) *Supply {
	return &Supply{SupplyGround: ground, pipes: map[grade][]*terrain.SupplyReach{}, routes: map[routesKey]*routed{}, drawn: map[drawnKey]terrain.SupplyLine{}}
}

// route gives the routes of a supply option at a flow, nil where they are not
// known.
func (s *Supply) route(where string, g grade, option int) *routed {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.routes[routesKey{where, g, int32(option)}]
}

// pipesAt gives the reaches at a grade from every intake, nil where they have
// not been looked at.
func (s *Supply) pipesAt(g grade) []*terrain.SupplyReach {
	s.mu.Lock()
	defer s.mu.Unlock()
	if known := s.pipes[g]; known != nil {
		return slices.Clone(known)
	}
	return make([]*terrain.SupplyReach, s.Stations())
}

func (s *Supply) keepPipes(pipes map[grade][]*terrain.SupplyReach) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for g, reach := range pipes {
		known := s.pipes[g]
		for i := range known {
			if reach[i] == nil {
				reach[i] = known[i]
			}
		}
		s.pipes[g] = reach
	}
}

func (s *Supply) keepRoutes(where string, list []*routed) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, r := range list {
		s.routes[routesKey{where, r.grade, r.option}] = r
	}
}

// demand is a grade line for which a reach is wanted.
type demand struct {
	grade terrain.SupplyGrade
	reach **terrain.SupplyReach
}

// satisfy finds the reach of every demand at a station, of which only the
// lengths stay. Grade lines differ in thousands of ways, the shortest pipes in
// few: the loosest grade line of all (the least slope, the greatest head) has
// pipes no longer than any other's, and where they stay below another grade line
// too they are the shortest there as well. Only what is left is searched again,
// in two halves.
func (s *Supply) satisfy(from int, list []demand) {
	order := func(a, b demand) int {
		return cmp.Or(cmp.Compare(a.grade.Slope, b.grade.Slope), cmp.Compare(b.grade.HeadM, a.grade.HeadM))
	}
	if !slices.IsSortedFunc(list, order) {
		slices.SortStableFunc(list, order)
	}
	var memory []bool
	s.satisfySorted(from, list, &memory)
	for _, d := range list {
		(*d.reach).KeepLengths()
	}
}

func (s *Supply) satisfySorted(from int, list []demand, memory *[]bool) {
	if len(list) == 0 {
		return
	}
	loosest := terrain.SupplyGrade{Slope: list[0].grade.Slope, HeadM: math.Inf(-1)}
	for _, d := range list {
		loosest.HeadM = max(loosest.HeadM, d.grade.HeadM)
	}
	reach := s.Reach(from, loosest)
	if len(list) == 1 {
		*list[0].reach = reach
		return
	}
	var left []demand
	for _, d := range list {
		serves := false
		if serves, *memory = reach.Serves(d.grade, *memory); serves {
			*d.reach = reach
		} else {
			left = append(left, d)
		}
	}
	half := (len(left) + 1) / 2
	s.satisfySorted(from, left[:half], memory)
	s.satisfySorted(from, left[half:], memory)
}

// drawnKey says what a line was drawn for.
type drawnKey struct {
	from, to int
	grade    terrain.SupplyGrade
}

// draw gives the line of a reach to a station with the steps of the grid pulled
// out of it, or the one of every way over the ground between the two where that
// saves what leaving the creek must save; ok is false where none leads there.
func (s *Supply) draw(from, to int, grade terrain.SupplyGrade) (line terrain.SupplyLine, ok bool) {
	key := drawnKey{from, to, grade}
	s.mu.Lock()
	line, ok = s.drawn[key]
	s.mu.Unlock()
	if ok {
		return line, true
	}
	reach := s.Reach(from, grade)
	if _, ok := reach.Length(to); !ok {
		return line, false
	}
	line = s.Line(reach, to, grade)
	if other, ok := s.shorter(from, to, grade, line.LengthM-s.LeastSaving()); ok {
		line = other
	}
	s.mu.Lock()
	s.drawn[key] = line
	s.mu.Unlock()
	return line, true
}

// shorter looks at every way over the ground between two stations for a line
// that is shorter than a length.
func (s *Supply) shorter(from, to int, grade terrain.SupplyGrade, length float64) (line terrain.SupplyLine, ok bool) {
	ground, err := s.Between(context.Background(), from, to, length)
	if err != nil || !ground.Leaves() {
		return line, false
	}
	every := ground.Reach(0, grade)
	if _, ok := every.Length(to - from); !ok {
		return line, false
	}
	line = ground.Line(every, to-from, grade)
	for k := range line.Station {
		if line.Station[k] >= 0 {
			line.Station[k] += from
		}
	}
	return line, line.LengthM <= length
}

// drawSupply draws the supply line, and gives the layout the head that the
// shorter pipe leaves, as far as standpipe and pump bear it.
func (st *site) drawSupply(c *Candidate, f *found, g *grade) {
	w := st.water
	var lines []terrain.SupplyLine
	level, from, length := w.z[c.Intake]-g.loss, c.Intake, 0.0
	if c.Box >= 0 {
		line, ok := st.Supply.draw(from, c.Box, st.pipeGrade(g, level))
		if !ok {
			return // a pipe along the creek that touches its grade line
		}
		lines, from, length = append(lines, line), c.Box, line.LengthM
		level = min(level-g.slope*line.LengthM-g.drop, w.z[c.Box]+g.rise)
	}
	if c.DriveFrom > from {
		line, ok := st.Supply.draw(from, c.DriveFrom, st.pipeGrade(g, level))
		if !ok {
			return
		}
		lines, length = append(lines, line), length+line.LengthM
		level -= g.slope * line.LengthM
	}
	c.SupplyLine, c.SupplyM = lines, length
	if c.Box >= 0 {
		c.BoxAlongM = lines[0].LengthM
	}
	if f.class == standing {
		level = min(level, w.z[f.s]+w.heightMax)
	}
	head := level - st.drive.outlet[f.p]
	if !(head > f.head) || head > st.allowed(f.p) {
		return
	}
	if op, m := st.evaluate(f.choice, f.p, f.length, head); m == nil && op.DeliveredTotal >= f.op.DeliveredTotal {
		c.Operation, c.DriveHeadM, c.RunningLevelM = op, head, level
	}
}
