package optimize

import (
	"cmp"
	"context"
	"math"
	"slices"
	"sync"
	"sync/atomic"
)

// class tells apart layouts with a standpipe and without: then the drive pipe
// starts at the intake pool itself or at the settling box.
type class int

const (
	standing class = iota
	bare
	classes
)

// flow is one flow drawn from the creek, with every way to bring it to the
// head of a drive pipe.
type flow struct {
	site *site
	m3s  float64
	// top is the highest way to each station, without costs: level -Inf where
	// there is none.
	top     [classes][]rung
	pumpTop []float64 // most drive head that a drive pipe of allowed length brings to a pump; -Inf when none

	routes []*routed // by supply option, where the ground is given

	tables  []table   // by engine
	ladders []ladders // by standpipe

	sweeping sync.Mutex // held while lines sweep

	keep sync.Once
	used []*usedOption // kept from when a ladder or a lower way is first asked for
}

// usedOption is a supply option at this flow: along the creek or, where the
// ground is given, over it.
type usedOption struct {
	option int32
	lines  lines
	routed *routed
}

// ladders holds the unbeaten ways to every station in level and cost, highest
// first, for one standpipe. They are worked out chunk by chunk of the creek,
// when first asked for.
type ladders struct {
	filled []atomic.Bool // by chunk
	rungs  [classes][][]rung
}

// chunk is the number of stations whose ladders are worked out together.
const chunk = 64

var noRung = rung{level: math.Inf(-1), intake: -1, box: -1, option: -1}

// poolOption marks the way that needs no supply pipe: a drive pipe that starts
// at the intake pool.
const poolOption = -1

// work finds the highest ways.
func (f *flow) work(ctx context.Context) {
	st := f.site
	for c := range f.top {
		f.top[c] = make([]rung, st.n)
		for s := range f.top[c] {
			f.top[c][s] = noRung
		}
	}
	f.ladders = make([]ladders, len(st.stands))
	for k := range f.ladders {
		f.ladders[k].filled = make([]atomic.Bool, (st.n+chunk-1)/chunk)
		for c := range classes {
			f.ladders[k].rungs[c] = make([][]rung, st.n)
		}
	}
	scratch := linesPool.Get().(*lines)
	defer linesPool.Put(scratch)
	for k := range st.options {
		if ctx.Err() != nil {
			return
		}
		if f.routes != nil {
			f.climbRouted(f.routes[k])
		} else if g, ok := st.grade(&st.options[k], f.m3s); ok {
			scratch.prepare(st.water, g)
			f.climb(scratch, int32(k))
		}
	}
	if st.poolAllowed() {
		for s := range st.n {
			if r := f.pool(s); r.level > f.top[bare][s].level {
				f.top[bare][s] = r
			}
		}
	}
	f.pumpTop = make([]float64, st.n)
	for p := range f.pumpTop {
		best := math.Inf(-1)
		for _, s := range st.pairs.heads(p) {
			best = max(best, f.top[standing][s].level, f.top[bare][s].level)
		}
		f.pumpTop[p] = best - st.drive.outlet[p]
	}
}

// climb enters the highest ways of one option.
func (f *flow) climb(l *lines, option int32) {
	for s := range l.z {
		if !l.standsAt(s) {
			continue
		}
		l.moveTo(s)
		if k := l.highest(0); k >= 0 {
			if r := l.rung(k, s, option); r.level > f.top[standing][s].level {
				f.top[standing][s] = r
			}
		}
	}
	if !l.box || l.mustStand {
		return
	}
	for k := range l.head {
		if r, ok := l.boxRung(k, option); ok && r.level > f.top[bare][r.box].level {
			f.top[bare][r.box] = r
		}
	}
}

func (w *water) standsAt(s int) bool { return w.standOK == nil || w.standOK[s] }

// boxRung is the way from a source to a drive pipe that starts at its settling
// box; ok is false where the pipe does not reach the box, or its water would
// stand below the creek's or higher than a standpipe's.
func (l *lines) boxRung(k int, option int32) (r rung, ok bool) {
	b, i := l.boxOf(k), l.intakeOf(k)
	if int32(b) > l.reaches[i] {
		return r, false
	}
	h := l.height(k, b)
	return l.rung(k, b, option), h >= 0 && h <= l.heightMax
}

// poolAllowed says whether a layout without settling box and standpipe is
// wanted.
func (st *site) poolAllowed() bool {
	if st.water.mustStand {
		return false
	}
	if len(st.Choices.SettlingBox) == 0 {
		return true
	}
	for _, box := range st.Choices.SettlingBox {
		if !box {
			return true
		}
	}
	return false
}

// pool is the way without a supply pipe.
func (f *flow) pool(s int) rung {
	if w := f.site.water; w.intakeOK != nil && !w.intakeOK[s] {
		return noRung
	}
	return rung{level: f.site.water.z[s], intake: int32(s), box: -1, option: poolOption}
}

// linesPool spares each option the memory of a sweep.
var linesPool = sync.Pool{New: func() any { return new(lines) }}

// options gives the lines of every supply option that leads anywhere.
func (f *flow) options() []*usedOption {
	f.keep.Do(func() {
		st := f.site
		for k := range st.options {
			if f.routes != nil {
				if len(f.routes[k].sources) == 0 {
					continue
				}
			}
			g, ok := st.grade(&st.options[k], f.m3s)
			if !ok {
				continue
			}
			u := &usedOption{option: int32(k)}
			if f.routes != nil {
				u.routed = f.routes[k]
			}
			u.lines.prepare(st.water, g)
			if u.routed != nil || len(u.lines.head) > 0 {
				f.used = append(f.used, u)
			}
		}
	})
	return f.used
}

// rungs gives the ladder of a class to a station with one standpipe.
func (f *flow) rungs(stand, s int, c class) []rung {
	ls := &f.ladders[stand]
	if !ls.filled[s/chunk].Load() {
		f.fill(ls, stand, s/chunk)
	}
	return ls.rungs[c][s]
}

// fill works out a chunk of ladders. Cheap pipes come first: what a dearer one
// adds is only what lies higher than all that is had for its least price.
func (f *flow) fill(ls *ladders, stand, part int) {
	used := slices.Clone(f.options())
	f.sweeping.Lock()
	defer f.sweeping.Unlock()
	if ls.filled[part].Load() {
		return
	}
	st := f.site
	slices.SortStableFunc(used, func(a, b *usedOption) int {
		return cmp.Compare(st.options[a.option].price[stand].least(), st.options[b.option].price[stand].least())
	})
	from, to := part*chunk, min((part+1)*chunk, st.n)
	var more []rung
	for _, u := range used {
		price := &st.options[u.option].price[stand]
		least := price.least()
		if u.routed == nil {
			u.lines.restart()
		}
		for s := from; s < to; s++ {
			if !st.water.standsAt(s) {
				continue
			}
			rungs := ls.rungs[standing][s]
			down := levelFor(rungs, least)
			if u.routed != nil {
				ls.rungs[standing][s] = u.routed.improve(rungs, s, price, down)
				continue
			}
			u.lines.moveTo(s)
			more = u.lines.ladder(more[:0], u.option, price, down)
			for _, r := range more {
				rungs = withRung(rungs, r)
			}
			ls.rungs[standing][s] = rungs
		}
	}
	for s := from; s < to; s++ {
		ls.rungs[bare][s] = unbeaten(f.bareWays(s, stand, false))
	}
	ls.filled[part].Store(true)
}

// bareWays gives the ways to a station that need no standpipe; where the ground
// is given, those along the creek only when all are asked for: a pipe over the
// ground beats them as long as a pump bears its head.
func (f *flow) bareWays(s, stand int, all bool) []rung {
	st := f.site
	var list []rung
	if st.poolAllowed() {
		if r := f.pool(s); r.intake >= 0 {
			list = append(list, r)
		}
	}
	if st.water.mustStand {
		return list
	}
	for _, u := range f.options() {
		price := &st.options[u.option].price[stand]
		from := len(list)
		if u.routed != nil {
			list = u.routed.atBox(list, s)
		}
		if u.routed == nil || all {
			list = u.atBox(list, s)
		}
		for k := from; k < len(list); k++ {
			list[k].cost = price.pipe.at(list[k].length)
		}
	}
	return list
}

// atBox appends the ways along the creek to a drive pipe that starts at a
// settling box at s, their costs left out.
func (u *usedOption) atBox(dst []rung, s int) []rung {
	if l := &u.lines; l.box {
		for _, k := range l.seats.at[s] {
			if r, ok := l.boxRung(int(k), u.option); ok {
				dst = append(dst, r)
			}
		}
	}
	return dst
}

// feeding appends the ways along the creek to a standpipe at s, their costs
// left out. It looks at all intakes within the length of a supply pipe; it is
// for the rare pump that the highest way gives too much head.
func (u *usedOption) feeding(dst []rung, s int) []rung {
	l := &u.lines
	for k := l.firstOf(s) - 1; k >= 0 && l.length(k, s) <= l.lengthMax; k-- {
		if l.feeds(k, s) {
			dst = append(dst, l.rung(k, s, u.option))
		}
	}
	return dst
}

// levelFor is the highest level among unbeaten rungs that cost no more than a
// price; -Inf when all cost more.
func levelFor(rungs []rung, cost int64) float64 {
	for _, r := range rungs {
		if r.cost <= cost {
			return r.level
		}
	}
	return math.Inf(-1)
}

// below gives the unbeaten ways to a station with water no higher than a
// level, highest first.
func (f *flow) below(s int, c class, stand int, level float64) []rung {
	return unbeaten(f.lower(s, c, stand, level))
}

// lower lists the ways to a station with water no higher than a level.
func (f *flow) lower(s int, c class, stand int, level float64) []rung {
	st := f.site
	var list []rung
	if c == bare {
		list = f.bareWays(s, stand, true)
	} else if st.water.standsAt(s) {
		for _, u := range f.options() {
			price := &st.options[u.option].price[stand]
			from := len(list)
			if u.routed != nil {
				list = u.routed.standing(list, s)
			}
			list = u.feeding(list, s)
			for k := from; k < len(list); k++ {
				list[k].cost = price.of(st.water, int(list[k].intake), s, list[k].length)
			}
		}
	}
	return slices.DeleteFunc(list, func(r rung) bool { return !(r.level <= level) })
}

// highestBelow gives the highest of the ways that below lists, the cheapest
// among equals; noRung when there is none.
func (f *flow) highestBelow(s int, c class, stand int, level float64) rung {
	st := f.site
	best := noRung
	better := func(r rung) bool { return r.level > best.level || r.level == best.level && r.cost < best.cost }
	if c == bare {
		for _, r := range f.bareWays(s, stand, true) {
			if r.level <= level && better(r) {
				best = r
			}
		}
		return best
	}
	if !st.water.standsAt(s) {
		return best
	}
	var ways []rung
	for _, u := range f.options() {
		ways = ways[:0]
		if u.routed != nil {
			ways = u.routed.highestUpTo(ways, s, level, best.level)
		}
		ways = u.lines.highestUpTo(ways, s, u.option, level)
		price := &st.options[u.option].price[stand]
		for _, r := range ways {
			if !(r.level <= level) || r.level < best.level {
				continue
			}
			r.cost = price.of(st.water, int(r.intake), s, r.length)
			if better(r) {
				best = r
			}
		}
	}
	return best
}

// highestUpTo appends the highest ways along the creek to a standpipe at s with
// water no higher than a level; several where they are as high.
func (l *lines) highestUpTo(dst []rung, s int, option int32, level float64) []rung {
	lo, hi := 0, len(l.byRank) // ranks below lo bring water no higher
	for lo < hi {
		mid := (lo + hi) / 2
		if l.z[s]+(l.sorted[mid]-l.a[s]) <= level {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	found := math.Inf(-1)
	for r := lo - 1; r >= 0 && l.sorted[r] >= found && l.sorted[r]-l.a[s] >= l.heightMin; r-- {
		if k := int(l.byRank[r]); l.feeds(k, s) {
			found = l.sorted[r]
			dst = append(dst, l.rung(k, s, option))
		}
	}
	return dst
}
