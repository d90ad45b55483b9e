package optimize

import (
	"cmp"
	"context"
	"math"
	"slices"
	"sync"

	"route/internal/terrain"
)

// routed holds, for one supply option at one flow, from where a standpipe can
// be fed by pipes that leave the creek where that is shorter.
//
// Each source is an intake or an intake with a settling box, as in lines; its
// reach has the shortest pipe to every station. A shorter pipe brings water
// higher and costs less, so that no other need be looked at: where it brings the
// water higher than a standpipe may be, the gate valve at its end takes the
// rest. Where a pump bears less head than that, the pipes along the creek are
// looked at as well, so that leaving the creek never makes a layout worse.
type routed struct {
	*water
	grade
	option  int32
	sources []routedSource // in the order of their intakes
	feeders []int32        // those that feed standpipes
	low     []int32        // first feeder that might feed a station
	at      [][]int32      // sources by box
}

// routedSource is a start of a grade line.
type routedSource struct {
	intake, box, from int32   // the grade line starts at from: the box, else the intake
	level             float64 // its height there
	before            float64 // pipe in front of the box
	reach             *terrain.SupplyReach
}

// way gives the pipe to s and the water there, within the bounds of a
// standpipe.
func (r *routed) way(src *routedSource, s int) (w rung, ok bool) {
	along, ok := src.reach.Length(s)
	if !ok {
		return w, false
	}
	length := src.before + along
	level := src.level - r.slope*along
	// The reach may hold stations that stand above this very grade line.
	if !(r.z[s]+r.cover <= level) || length > r.lengthMax {
		return w, false
	}
	if !(level-r.z[s] >= r.heightMin) {
		return w, false
	}
	level = min(level, r.z[s]+r.heightMax)
	return rung{level: level, length: length, intake: src.intake, box: src.box, option: r.option}, true
}

// feeding appends the ways to a standpipe at s, their costs left out.
func (r *routed) feeding(dst []rung, s int) []rung {
	for _, k := range r.feeders[r.low[s]:] {
		src := &r.sources[k]
		if int(src.intake) >= s {
			break
		}
		if w, ok := r.way(src, s); ok {
			dst = append(dst, w)
		}
	}
	return dst
}

// above appends the ways to a standpipe at s with water above a level.
func (r *routed) above(dst []rung, s int, price *supplyPrices, level float64) []rung {
	dst = r.feeding(dst, s)
	kept := dst[:0]
	for _, w := range dst {
		if w.level > level {
			w.cost = price.of(r.water, int(w.intake), s, w.length)
			kept = append(kept, w)
		}
	}
	return kept
}

// atBox appends the ways to a drive pipe that starts at a settling box at s.
func (r *routed) atBox(dst []rung, s int) []rung {
	if !r.box {
		return dst
	}
	for _, k := range r.at[s] {
		src := &r.sources[k]
		if h := src.level - r.z[s]; h >= 0 && h <= r.heightMax {
			dst = append(dst, rung{level: src.level, length: src.before, intake: src.intake, box: src.box, option: r.option})
		}
	}
	return dst
}

// climbRouted enters the highest ways of one option.
func (f *flow) climbRouted(r *routed) {
	var ways []rung
	for s := range r.z {
		if top := &f.top[standing][s]; r.standsAt(s) {
			for _, k := range r.feeders[r.low[s]:] {
				src := &r.sources[k]
				if int(src.intake) >= s {
					break
				}
				if !(src.level > top.level) {
					continue
				}
				if w, ok := r.way(src, s); ok && w.level > top.level {
					*top = w
				}
			}
		}
		if r.mustStand {
			continue
		}
		ways = r.atBox(ways[:0], s)
		for _, w := range ways {
			if w.level > f.top[bare][s].level {
				f.top[bare][s] = w
			}
		}
	}
}

// demand is a grade line for which a reach is wanted.
type demand struct {
	grade terrain.SupplyGrade
	reach **terrain.SupplyReach
}

// layRoutes finds the pipes over the ground from every source at every flow.
func (st *site) layRoutes(ctx context.Context) error {
	if st.Supply == nil || len(st.flows) == 0 {
		return nil
	}
	if st.known == nil {
		st.known = newKnownReaches(st.n)
	}
	// Pipes from the intakes: the same with and without a box.
	type pipeAtFlow struct {
		grade grade
		reach []*terrain.SupplyReach // by intake
	}
	var pipes []*pipeAtFlow
	of := map[int]*pipeAtFlow{} // by flow and supply option
	for fk, f := range st.flows {
		byItem := map[string]*pipeAtFlow{}
		for k := range st.options {
			o := &st.options[k]
			g, ok := st.grade(o, f.m3s)
			if !ok {
				continue
			}
			if byItem[o.item.ID] == nil {
				byItem[o.item.ID] = &pipeAtFlow{grade: g, reach: make([]*terrain.SupplyReach, st.n)}
				pipes = append(pipes, byItem[o.item.ID])
			}
			of[fk*len(st.options)+k] = byItem[o.item.ID]
		}
	}
	wanted := make([][]demand, st.n)
	for i := range st.n {
		if st.water.intakeOK != nil && !st.water.intakeOK[i] {
			continue
		}
		for _, p := range pipes {
			wanted[i] = append(wanted[i], demand{st.pipeGrade(&p.grade, st.water.z[i]-p.grade.loss), &p.reach[i]})
		}
	}
	if err := st.each(ctx, st.n, func(i int) { st.satisfy(i, wanted[i]) }); err != nil {
		return err
	}
	wanted = make([][]demand, st.n)
	for fk, f := range st.flows {
		f.routes = make([]*routed, len(st.options))
		for k := range st.options {
			r := &routed{water: st.water, option: int32(k), low: make([]int32, st.n)}
			f.routes[k] = r
			p := of[fk*len(st.options)+k]
			if p == nil {
				continue
			}
			r.grade, _ = st.grade(&st.options[k], f.m3s)
			st.startRoutes(r, p.reach)
			if r.box {
				for j := range r.sources {
					src := &r.sources[j]
					wanted[src.from] = append(wanted[src.from], demand{st.pipeGrade(&r.grade, src.level), &src.reach})
				}
			}
		}
	}
	if err := st.each(ctx, st.n, func(b int) { st.satisfy(b, wanted[b]) }); err != nil {
		return err
	}
	for _, f := range st.flows {
		for _, r := range f.routes {
			r.index()
		}
	}
	return nil
}

// pipeGrade is the grade line that starts at a level, less what lies between it
// and the pipe's invert.
func (st *site) pipeGrade(g *grade, level float64) terrain.SupplyGrade {
	return terrain.SupplyGrade{Slope: g.slope, HeadM: level - (g.cover + st.Limits.BedDepthM)}
}

// startRoutes lists the sources of an option: the intakes, or each intake with
// the settling boxes that its pipe reaches.
func (st *site) startRoutes(r *routed, reach []*terrain.SupplyReach) {
	boxes := st.boxRange()
	for i, from := range reach {
		if from == nil || from.End() == i {
			continue
		}
		level := r.z[i] - r.loss
		if !r.box {
			r.sources = append(r.sources, routedSource{intake: int32(i), box: -1, from: int32(i), level: level, reach: from})
			continue
		}
		// The same places as along the creek.
		boxes.places(i, len(r.z)-1, r.boxAllowed,
			func(k int) (float64, bool) { return r.s[k] - r.s[i], true },
			func(b int, _ float64) {
				length, ok := from.Length(b)
				if !ok || !(r.z[b]+r.cover <= level-r.slope*length) {
					return
				}
				if w := min(level-r.slope*length-r.drop, r.z[b]+r.rise); w >= r.z[b] {
					r.sources = append(r.sources, routedSource{intake: int32(i), box: int32(b), from: int32(b), level: w, before: length})
				}
			})
	}
}

// index fills in where to look for the sources of a station.
func (r *routed) index() {
	n := len(r.z)
	near := -1
	for k := range r.sources {
		if near >= 0 && r.sources[near].intake == r.sources[k].intake && r.feedsAll(&r.sources[near], &r.sources[k]) {
			continue
		}
		r.feeders = append(r.feeders, int32(k))
		near = k
	}
	filled := 0
	for k, f := range r.feeders {
		for end := r.sources[f].reach.End(); filled <= end; filled++ {
			r.low[filled] = int32(k)
		}
	}
	for ; filled < n; filled++ {
		r.low[filled] = int32(len(r.feeders))
	}
	if !r.box {
		return
	}
	r.at = make([][]int32, n)
	for k := range r.sources {
		b := r.sources[k].box
		r.at[b] = append(r.at[b], int32(k))
	}
}

// satisfy finds the reach of every demand at a station. Grade lines differ in
// thousands of ways, the shortest pipes in few: the loosest grade line of all
// (the least slope, the greatest head) has pipes no longer than any other's,
// and where they stay below another grade line too they are the shortest there
// as well. Only what is left is searched again, in two halves.
func (st *site) satisfy(from int, list []demand) {
	if len(list) == 0 {
		return
	}
	st.known.mu[from].Lock()
	defer st.known.mu[from].Unlock()
	known := st.known.reach[from]
	list = slices.DeleteFunc(list, func(d demand) bool {
		reach := known[d.grade]
		if reach != nil {
			*d.reach = reach
		}
		return reach != nil
	})
	slices.SortStableFunc(list, func(a, b demand) int {
		return cmp.Or(cmp.Compare(a.grade.Slope, b.grade.Slope), cmp.Compare(b.grade.HeadM, a.grade.HeadM))
	})
	var memory []bool
	st.satisfySorted(from, list, &memory)
	for _, d := range list {
		known[d.grade] = *d.reach
	}
}

// knownReaches keeps the reaches of a problem, so that they are found once
// however often its places are searched.
type knownReaches struct {
	mu    []sync.Mutex // by station
	reach []map[terrain.SupplyGrade]*terrain.SupplyReach
}

func newKnownReaches(n int) *knownReaches {
	k := &knownReaches{mu: make([]sync.Mutex, n), reach: make([]map[terrain.SupplyGrade]*terrain.SupplyReach, n)}
	for i := range k.reach {
		k.reach[i] = map[terrain.SupplyGrade]*terrain.SupplyReach{}
	}
	return k
}

func (st *site) satisfySorted(from int, list []demand, memory *[]bool) {
	if len(list) == 0 {
		return
	}
	loosest := terrain.SupplyGrade{Slope: list[0].grade.Slope, HeadM: math.Inf(-1)}
	for _, d := range list {
		loosest.HeadM = max(loosest.HeadM, d.grade.HeadM)
	}
	reach := st.Supply.Reach(from, loosest)
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
	st.satisfySorted(from, left[:half], memory)
	st.satisfySorted(from, left[half:], memory)
}

// drawSupply draws the supply line with the steps of the grid pulled out of it,
// and gives the layout the head that the shorter pipe leaves, as far as
// standpipe and pump bear it.
func (st *site) drawSupply(c *Candidate, f *found, g *grade) {
	r := f.flow.routes[f.rung.option]
	src := r.sourceOf(f.rung.intake, f.rung.box)
	level, to := r.z[c.Intake]-r.loss, c.DriveFrom
	if src == nil {
		return
	}
	if _, ok := src.reach.Length(to); !ok && to > int(src.from) {
		return
	}
	c.SupplyM = 0
	if c.Box >= 0 {
		line := st.shortest(st.Supply.Reach(c.Intake, st.pipeGrade(g, level)), c.Box, st.pipeGrade(g, level))
		c.SupplyLine = append(c.SupplyLine, line)
		c.SupplyM, c.BoxAlongM = line.LengthM, line.LengthM
		level = min(level-g.slope*line.LengthM-g.drop, r.z[c.Box]+g.rise)
	}
	if to > int(src.from) {
		line := st.shortest(src.reach, to, st.pipeGrade(g, src.level))
		c.SupplyLine = append(c.SupplyLine, line)
		c.SupplyM += line.LengthM
		level -= g.slope * line.LengthM
	}
	if f.class == standing {
		level = min(level, r.z[f.s]+r.heightMax)
	}
	head := level - st.drive.outlet[f.p]
	if !(head > f.head) || head > st.allowed(f.p) {
		return
	}
	if op, m := st.evaluate(f.choice, f.p, f.length, head); m == nil && op.DeliveredTotal >= f.op.DeliveredTotal {
		c.Operation, c.DriveHeadM, c.RunningLevelM = op, head, level
	}
}

// sourceOf finds a source by its places; nil where there is none, which can
// only be for a pipe along the creek that touches its grade line.
func (r *routed) sourceOf(intake, box int32) *routedSource {
	for k := range r.sources {
		if src := &r.sources[k]; src.intake == intake && src.box == box {
			return src
		}
	}
	return nil
}

// shortest draws the line of a reach to a station, or the one of every way over
// the ground between the two where that is shorter.
func (st *site) shortest(r *terrain.SupplyReach, to int, grade terrain.SupplyGrade) terrain.SupplyLine {
	line := st.Supply.Line(r, to, grade)
	ground, err := st.Supply.Between(context.Background(), r.From, to)
	if err != nil {
		return line
	}
	every := ground.Reach(0, grade)
	if _, ok := every.Length(to - r.From); !ok {
		return line
	}
	other := ground.Line(every, to-r.From, grade)
	if other.LengthM >= line.LengthM {
		return line
	}
	for k := range other.Station {
		if other.Station[k] >= 0 {
			other.Station[k] += r.From
		}
	}
	return other
}

// feedsAll says whether one source brings water as high and with no more pipe
// to every station that another of the same intake feeds, as a nearer settling
// box does that need not let water down.
func (r *routed) feedsAll(near, far *routedSource) bool {
	const same = 1e-9 // metres
	for s := int(far.from) + 1; s <= far.reach.End(); s++ {
		w, ok := far.reach.Length(s)
		if !ok {
			continue
		}
		v, ok := near.reach.Length(s)
		if !ok || near.before+v > far.before+w+same || near.level-r.slope*v < far.level-r.slope*w-same || !(r.z[s]+r.cover <= near.level-r.slope*v) {
			return false
		}
	}
	return true
}
