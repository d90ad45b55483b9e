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

	tables  []table   // by engine
	ladders []ladders // by standpipe

	sweeping sync.Mutex // held while lines sweep

	keep sync.Once
	used []*usedOption // kept from when a ladder or a lower way is first asked for
}

// usedOption is a supply option at this flow.
type usedOption struct {
	option int32
	lines  lines
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

var noRung = rung{level: math.Inf(-1), intake: -1, option: -1}

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
		if g, ok := st.grade(&st.options[k], f.m3s); ok {
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
		if i := l.highest(0); i >= 0 {
			if level := l.z[s] + l.height(i, s); level > f.top[standing][s].level {
				f.top[standing][s] = rung{level: level, intake: int32(i), option: option}
			}
		}
	}
	l.boxes(func(i, s int, level float64) {
		if level > f.top[bare][s].level {
			f.top[bare][s] = rung{level: level, intake: int32(i), option: option}
		}
	})
}

func (w *water) standsAt(s int) bool { return w.standOK == nil || w.standOK[s] }

// boxes calls visit for every intake whose settling box can feed a drive pipe
// itself. The box stands at the first station far enough from the intake; its
// water must not stand below the creek's, and no higher than a standpipe's.
func (l *lines) boxes(visit func(i, s int, level float64)) {
	for _, i32 := range l.byRank {
		i := int(i32)
		s := int(l.first[i])
		if level, ok := l.boxAt(i, s); ok {
			visit(i, s, level)
		}
	}
}

// boxAt gives the water level of the settling box at s of an intake.
func (l *lines) boxAt(i, s int) (level float64, ok bool) {
	if l.lead <= 0 || l.mustStand || int(l.first[i]) != s || int(l.last[i]) < s {
		return 0, false
	}
	h := l.height(i, s)
	return l.z[s] + h, h >= 0 && h <= l.heightMax
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
	return rung{level: f.site.water.z[s], intake: int32(s), option: poolOption}
}

// linesPool spares each option the memory of a sweep.
var linesPool = sync.Pool{New: func() any { return new(lines) }}

// options gives the lines of every supply option that leads anywhere.
func (f *flow) options() []*usedOption {
	f.keep.Do(func() {
		st := f.site
		for k := range st.options {
			g, ok := st.grade(&st.options[k], f.m3s)
			if !ok {
				continue
			}
			u := &usedOption{option: int32(k)}
			u.lines.prepare(st.water, g)
			if len(u.lines.byRank) > 0 {
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
		u.lines.restart()
		for s := from; s < to; s++ {
			if !st.water.standsAt(s) {
				continue
			}
			u.lines.moveTo(s)
			rungs := ls.rungs[standing][s]
			more = u.lines.ladder(more[:0], u.option, price, levelFor(rungs, least))
			for _, r := range more {
				rungs = withRung(rungs, r)
			}
			ls.rungs[standing][s] = rungs
		}
	}
	for s := from; s < to; s++ {
		ls.rungs[bare][s] = unbeaten(f.bareWays(s, stand))
	}
	ls.filled[part].Store(true)
}

// bareWays gives all ways to a station that need no standpipe.
func (f *flow) bareWays(s, stand int) []rung {
	st := f.site
	var list []rung
	if st.poolAllowed() {
		if r := f.pool(s); r.intake >= 0 {
			list = append(list, r)
		}
	}
	for _, u := range f.options() {
		price := &st.options[u.option].price[stand]
		for i := s - 1; i >= 0 && int(u.lines.first[i]) >= s; i-- {
			if w, ok := u.lines.boxAt(i, s); ok {
				list = append(list, rung{w, price.pipe.at(st.water.s[s] - st.water.s[i]), int32(i), u.option})
			}
		}
	}
	return list
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
	st := f.site
	var list []rung
	if c == bare {
		list = f.bareWays(s, stand)
		list = slices.DeleteFunc(list, func(r rung) bool { return !(r.level <= level) })
	} else if st.water.standsAt(s) {
		for _, u := range f.options() {
			list = u.lines.below(list, s, u.option, &st.options[u.option].price[stand], level)
		}
	}
	return unbeaten(list)
}

// highestBelow gives the highest of the ways that below lists, the cheapest
// among equals; noRung when there is none.
func (f *flow) highestBelow(s int, c class, stand int, level float64) rung {
	st := f.site
	best := noRung
	if c == bare {
		for _, r := range f.bareWays(s, stand) {
			if r.level <= level && (r.level > best.level || r.level == best.level && r.cost < best.cost) {
				best = r
			}
		}
		return best
	}
	if !st.water.standsAt(s) {
		return best
	}
	for _, u := range f.options() {
		l, price := &u.lines, &st.options[u.option].price[stand]
		for i := s - 1; i >= 0 && l.s[s]-l.s[i] <= l.lengthMax; i-- {
			if !l.feeds(i, s) {
				continue
			}
			if w := l.z[s] + l.height(i, s); w <= level && w >= best.level {
				if cost := price.of(l.water, i, s); w > best.level || cost < best.cost {
					best = rung{w, cost, int32(i), u.option}
				}
			}
		}
	}
	return best
}
