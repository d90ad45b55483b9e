package optimize

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

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
	most    []float64      // highest grade line that starts at a feeder or one after it
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
func (r *routed) way(src *routedSource, s int) (level, length float64, ok bool) {
	along, ok := src.reach.Length(s)
	if !ok {
		return 0, 0, false
	}
	length = src.before + along
	level = src.level - r.slope*along
	// The reach may hold stations that stand above this very grade line.
	if z := r.z[s]; !(z+r.cover <= level) || length > r.lengthMax || !(level-z >= r.heightMin) {
		return 0, 0, false
	}
	return min(level, r.z[s]+r.heightMax), length, true
}

// rung is a way from a source to a standpipe, its cost left out.
func (r *routed) rung(src *routedSource, level, length float64) rung {
	return rung{level: level, length: length, intake: src.intake, box: src.box, option: r.option}
}

// standing appends the ways to a standpipe at s, their costs left out.
func (r *routed) standing(dst []rung, s int) []rung {
	for _, k := range r.feeders[r.low[s]:] {
		src := &r.sources[k]
		if int(src.intake) >= s {
			break
		}
		if level, length, ok := r.way(src, s); ok {
			dst = append(dst, r.rung(src, level, length))
		}
	}
	return dst
}

// highestUpTo appends the highest ways to a standpipe at s with water no higher
// than a level, and above another; several where they are as high.
func (r *routed) highestUpTo(dst []rung, s int, upTo, above float64) []rung {
	for k := int(r.low[s]); k < len(r.feeders) && r.most[k] >= above; k++ {
		src := &r.sources[r.feeders[k]]
		if int(src.intake) >= s {
			break
		}
		if !(src.level >= above) {
			continue
		}
		if level, length, ok := r.way(src, s); ok && level >= above && level <= upTo {
			dst, above = append(dst, r.rung(src, level, length)), level
		}
	}
	return dst
}

// highest gives the highest way to a standpipe at s with water above a level.
func (r *routed) highest(s int, above float64) (best rung, ok bool) {
	cap := r.z[s] + r.heightMax
	for k := int(r.low[s]); k < len(r.feeders) && r.most[k] > above && above < cap; k++ {
		src := &r.sources[r.feeders[k]]
		if int(src.intake) >= s {
			break
		}
		if !(src.level > above) {
			continue
		}
		if level, length, found := r.way(src, s); found && level > above {
			best, above, ok = r.rung(src, level, length), level, true
		}
	}
	return best, ok
}

// improve enters the ways to a standpipe at s with water above a level into the
// list of the unbeaten.
func (r *routed) improve(rungs []rung, s int, price *supplyPrices, above float64) []rung {
	// A way that is no higher than the last one entered must be cheaper.
	last, shorter, lower := math.Inf(-1), 0.0, 0.0
	for k := int(r.low[s]); k < len(r.feeders) && r.most[k] > above; k++ {
		src := &r.sources[r.feeders[k]]
		if int(src.intake) >= s {
			break
		}
		if !(src.level > above) {
			continue
		}
		level, length, ok := r.way(src, s)
		if !ok || !(level > above) {
			continue
		}
		height := price.standpipeHeight(r.water, int(src.intake), s)
		if level <= last && length > shorter && height > lower {
			continue
		}
		pipe, stand := price.pipe.step(length), price.standpipe.step(height)
		w := r.rung(src, level, length)
		w.cost = price.pipe.total[pipe] + price.standpipe.total[stand]
		rungs = withRung(rungs, w)
		last, shorter, lower = level, price.pipe.below(pipe), price.standpipe.below(stand)
	}
	return rungs
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
			if w, ok := r.highest(s, top.level); ok {
				*top = w
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

// fallOver is the most fall that a supply pipe of a length over the ground holds
// above any head of a drive pipe to the bucket. Under the loosest of all grade
// lines pipes are no longer than under any other, with a settling box on the way
// or without.
func (b *bucketPrices) fallOver(lengthM float64) float64 {
	most := 0.0
	for i, reach := range b.loosest {
		if reach == nil || !(b.drive.z[i]-b.drive.z[b.to-1] > most) {
			continue
		}
		for s := max(i+1, b.first); s < min(b.to, reach.End()+1); s++ {
			if along, ok := reach.Length(s); ok && along <= lengthM {
				most = max(most, b.drive.z[i]-b.drive.z[s])
			}
		}
	}
	return most
}

// layLoosest finds the pipes from every intake under a grade line that lies
// nowhere below that of any flow and supply option.
func (st *site) layLoosest(ctx context.Context) error {
	g := grade{slope: math.Inf(1), loss: math.Inf(1), cover: math.Inf(1)}
	for _, f := range st.flows {
		for k := range st.options {
			if o, ok := st.grade(&st.options[k], f.m3s); ok {
				g.slope, g.loss, g.cover = min(g.slope, o.slope), min(g.loss, o.loss), min(g.cover, o.cover)
			}
		}
	}
	st.loosest = st.Supply.pipesAt(g)
	if math.IsInf(g.slope, 1) {
		return nil
	}
	err := st.each(ctx, st.n, func(i int) {
		if st.loosest[i] == nil && (st.water.intakeOK == nil || st.water.intakeOK[i]) {
			st.Supply.satisfy(i, []demand{{st.pipeGrade(&g, st.water.z[i]-g.loss), &st.loosest[i]}})
		}
	})
	st.Supply.keepPipes(map[grade][]*terrain.SupplyReach{g: slices.Clone(st.loosest)})
	return err
}

// layRoutes finds the pipes over the ground from every source at every flow.
func (st *site) layRoutes(ctx context.Context) error {
	if st.Supply == nil || len(st.flows) == 0 {
		return nil
	}
	if err := st.layLoosest(ctx); err != nil {
		return err
	}
	missing := st.knownRoutes()
	if len(missing) == 0 {
		return nil
	}
	// In the order in which their demands are met.
	slices.SortStableFunc(missing, func(a, b *routed) int {
		return cmp.Or(cmp.Compare(a.slope, b.slope), cmp.Compare(a.loss+a.cover, b.loss+b.cover))
	})
	// Pipes from the intakes: the same with and without a box.
	pipes := map[grade][]*terrain.SupplyReach{} // by intake
	wanted := make([][]demand, st.n)
	for _, r := range missing {
		g := r.withoutBox()
		if pipes[g] != nil {
			continue
		}
		pipes[g] = st.Supply.pipesAt(g)
		for i, reach := range pipes[g] {
			if reach == nil && (st.water.intakeOK == nil || st.water.intakeOK[i]) {
				wanted[i] = append(wanted[i], demand{st.pipeGrade(&g, st.water.z[i]-g.loss), &pipes[g][i]})
			}
		}
	}
	if err := st.each(ctx, st.n, func(i int) { st.Supply.satisfy(i, wanted[i]) }); err != nil {
		return err
	}
	st.Supply.keepPipes(pipes)
	err := st.each(ctx, len(missing), func(k int) { st.startRoutes(missing[k], pipes[missing[k].withoutBox()]) })
	if err != nil {
		return err
	}
	clear(wanted)
	for _, r := range missing {
		if r.box {
			for j := range r.sources {
				src := &r.sources[j]
				wanted[src.from] = append(wanted[src.from], demand{st.pipeGrade(&r.grade, src.level), &src.reach})
			}
		}
	}
	if err := st.each(ctx, st.n, func(b int) { st.Supply.satisfy(b, wanted[b]) }); err != nil {
		return err
	}
	if err := st.each(ctx, len(missing), func(k int) { missing[k].index() }); err != nil {
		return err
	}
	st.Supply.keepRoutes(st.where(), missing)
	return nil
}

// knownRoutes gives every flow the routes that another search has found, and
// new ones where there are none, which it lists.
func (st *site) knownRoutes() (missing []*routed) {
	where := st.where()
	for _, f := range st.flows {
		f.routes = make([]*routed, len(st.options))
		for k := range st.options {
			g, ok := st.grade(&st.options[k], f.m3s)
			if !ok {
				f.routes[k] = &routed{water: st.water, option: int32(k), low: make([]int32, st.n)}
				continue
			}
			if f.routes[k] = st.Supply.route(where, g, k); f.routes[k] == nil {
				f.routes[k] = &routed{water: st.water, grade: g, option: int32(k), low: make([]int32, st.n)}
				missing = append(missing, f.routes[k])
			}
		}
	}
	return missing
}

// where describes all of a site but the grade that routes hang on.
func (st *site) where() string {
	w := st.water
	var b strings.Builder
	fmt.Fprintln(&b, w.heightMin, w.heightMax, w.lengthMax, w.mustStand, st.boxRange(), st.Limits.BedDepthM)
	for _, mask := range [][]bool{w.intakeOK, w.standOK, w.boxOK} {
		for _, ok := range mask {
			if ok {
				b.WriteByte('+')
			} else {
				b.WriteByte('-')
			}
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// withoutBox is the grade of the pipe in front of the box, or of all of it.
func (g grade) withoutBox() grade { return grade{slope: g.slope, loss: g.loss, cover: g.cover} }

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
		if from == nil || from.End() == i || r.intakeOK != nil && !r.intakeOK[i] {
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
	r.most = make([]float64, len(r.feeders))
	most := math.Inf(-1)
	for k := len(r.feeders) - 1; k >= 0; k-- {
		most = max(most, r.sources[r.feeders[k]].level)
		r.most[k] = most
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
