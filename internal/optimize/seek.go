package optimize

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// bucket is a set of layouts: those with the pump between two stations, and
// perhaps only some numbers of pumps or classes.
type bucket struct {
	from, to int // stations from ≤ p < to
	pumps    int // 0 allows every number
	only     class
	anyClass bool
}

// seeker looks for the best layout of a bucket. Branch and bound: places and
// choices are gone through in the order of an upper bound of what they can
// give, and left out once the bound cannot beat the best so far.
type seeker struct {
	*site
	ctx  context.Context
	goal Objective
	bucket
	best *found

	surely bool // the certainty of the problem counts

	pumpOffers, placeOffers []priced  // memory for leastCost
	sureList                []sureWay // memory for sureWays
	// tooSmall lists heads and drive-pipe lengths at which the pump of the
	// choice at work cannot draw the flow at one pump station: neither can it
	// with less head or a longer pipe.
	tooSmall []chordFall
}

// seekHere gives the best layout of a bucket with the delivery lines of this
// site, or best if none is better; best may be nil.
func (st *site) seekHere(ctx context.Context, goal Objective, b bucket, best *found) *found {
	if len(st.engines) == 0 || len(st.ways) == 0 {
		return best
	}
	k := &seeker{site: st, ctx: ctx, goal: goal, bucket: b, best: best, surely: st.asksSure(goal)}
	switch goal {
	case MostHead:
		k.mostHead()
	case MostWater, MostSureWater:
		k.mostWater()
	default:
		k.leastCost()
	}
	return k.best
}

// compareFound says how two layouts stand to each other: below zero when a is
// better.
func compareFound(goal Objective, a, b *found) int {
	head := cmp.Compare(b.head, a.head)
	water := cmp.Compare(b.op.DeliveredTotal, a.op.DeliveredTotal)
	sure := cmp.Compare(b.sure, a.sure)
	cost := cmp.Compare(a.cost, b.cost)
	switch goal {
	case MostHead:
		return cmp.Or(head, water, cost)
	case MostWater:
		return cmp.Or(water, cost)
	case MostSureWater:
		return cmp.Or(sure, cost)
	}
	return cmp.Or(cost, sure)
}

// offer takes a layout that works if it is better than the best so far.
func (k *seeker) offer(f found) {
	f.site, f.cost = k.site, k.costOf(&f)
	if !k.surely {
		f.sure = f.op.DeliveredTotal
	}
	if k.best == nil || compareFound(k.goal, &f, k.best) < 0 {
		k.best = &f
	}
}

// costOf adds up the parts of a layout.
func (st *site) costOf(f *found) int64 {
	cost := f.engine.pumpCost + f.engine.driveCost.at(f.length) + f.engine.delivery[f.way].of(&st.DeliveryAt[f.p])
	if f.rung.option == poolOption {
		return cost
	}
	price := &st.options[f.rung.option].price[f.engine.standpipe]
	if f.class == bare {
		return cost + price.pipe.at(f.rung.length)
	}
	return cost + price.of(st.water, int(f.rung.intake), f.s, f.rung.length)
}

// wants says whether an engine belongs to the bucket.
func (k *seeker) wants(e *engine) bool { return k.pumps == 0 || e.pumps == k.pumps }

func (k *seeker) wantsClass(c class) bool { return k.anyClass || k.only == c }

// highest gives the highest way to a station that ends no higher than a level.
func (k *seeker) highest(f *flow, s int, c class, stand int, level float64) (rung, bool) {
	if top := f.top[c][s]; top.level <= level {
		if c == standing && f.routes != nil && top.intake >= 0 || c == bare && top.box >= 0 {
			// Many ways bring water as high as a standpipe or a settling box can
			// hold it: the cheapest of them.
			return f.rungs(stand, s, c)[0], true
		}
		return top, top.intake >= 0
	}
	r := f.highestBelow(s, c, stand, level)
	return r, r.intake >= 0
}

// bucketTop is the most drive head that a flow brings to a pump of the bucket,
// among those that get the head they need; -Inf when none does.
func (k *seeker) bucketTop(f *flow) float64 {
	top := math.Inf(-1)
	for p := k.from; p < k.to; p++ {
		if h := min(f.pumpTop[p], k.allowed(p)); h > top && h >= k.needed(p) {
			top = h
		}
	}
	return top
}

// leastLift of the bucket; NaN when no pump can stand in it.
func (k *seeker) leastLift() float64 {
	least := math.NaN()
	for _, lift := range k.lift[k.from:k.to] {
		if !(lift >= least) && !math.IsNaN(lift) {
			least = lift
		}
	}
	return least
}

// table of the engine at this flow.
func (c *choice) table() *table { return &c.flow.tables[c.engine.index] }

// task is a choice to be tried, with its bound.
type task struct {
	choice
	table     *table
	potential float64
	top, lift float64 // most head and least lift in the bucket
}

// bounded is a place to be tried, with its bound.
type bounded struct {
	bound float64
	p     int32
	s     int32
	pair  int32
	class class
}

func byBound(list []bounded) {
	slices.SortFunc(list, func(a, b bounded) int {
		return cmp.Or(cmp.Compare(b.bound, a.bound), cmp.Compare(a.p, b.p), cmp.Compare(a.s, b.s), cmp.Compare(a.class, b.class))
	})
}

// tasks lists flows and engines by their potential, best first; the bound is
// the table's and worked out when a task is taken up.
func (k *seeker) tasks() []task {
	var list []task
	lift := k.leastLift()
	if math.IsNaN(lift) {
		return nil
	}
	for _, f := range k.flows {
		top := k.bucketTop(f)
		if !(top > 0) {
			continue
		}
		for e := range k.engines {
			if t := &f.tables[e]; k.wants(&k.engines[e]) && !t.idle {
				list = append(list, task{choice: choice{f, &k.engines[e], -1}, table: t, potential: t.potential(top, lift), top: top, lift: lift})
			}
		}
	}
	slices.SortStableFunc(list, func(a, b task) int { return cmp.Compare(b.potential, a.potential) })
	return list
}

// bound is the most that the task delivers anywhere in the bucket.
func (t *task) bound() float64 {
	return t.table.atAnyLength(min(t.top, t.table.bearsAny()), t.lift)
}

// water of the best layout so far; the sure water where that is asked for.
func (k *seeker) mostSoFar() float64 {
	if k.best == nil {
		return 0
	}
	return k.best.sure
}

// mostWater goes through flows and engines, then pumps, then drive pipes, each
// by its bound.
func (k *seeker) mostWater() {
	var pumps, places []bounded
	for _, t := range k.tasks() {
		if t.potential <= k.mostSoFar() {
			break
		}
		if t.bound() <= k.mostSoFar() {
			continue
		}
		pumps = pumps[:0]
		for p := k.from; p < k.to; p++ {
			top := min(t.flow.pumpTop[p], k.allowed(p), t.table.bearsAny())
			if !(top >= k.needed(p)) || math.IsNaN(k.lift[p]) {
				continue
			}
			if top -= k.leastShortOf(p); !(top >= k.needed(p)) {
				continue
			}
			if b := t.table.atAnyLength(top, k.lift[p]); b > k.mostSoFar() {
				pumps = append(pumps, bounded{bound: b, p: int32(p)})
			}
		}
		byBound(pumps)
		for _, at := range pumps {
			if at.bound <= k.mostSoFar() || k.ctx.Err() != nil {
				break
			}
			places = k.places(places[:0], &t, int(at.p))
			for _, pl := range places {
				if pl.bound <= k.mostSoFar() {
					break
				}
				k.tryWater(&t, pl)
			}
		}
	}
}

// places lists the drive pipes to a pump that may deliver more than the best
// so far.
func (k *seeker) places(list []bounded, t *task, p int) []bounded {
	need, outlet, most := k.needed(p), k.drive.outlet[p], k.mostSoFar()
	for j, s := range k.pairs.heads(p) {
		if k.chords[k.pairs.start[p]+int32(j)].Load() > chordGood {
			continue
		}
		for c := range classes {
			head := t.flow.top[c][s].level - outlet
			if !(head >= need) || !k.wantsClass(c) {
				continue
			}
			length := k.drive.length(int(s), p)
			low, high := t.table.window(length, k.lift[p])
			head = min(head, k.allowed(p), high) - k.leastShort(int(s), p)
			if head < max(need, low) {
				continue
			}
			if b := t.table.at(head, k.lift[p], length); b > most {
				list = append(list, bounded{b, int32(p), s, k.pairs.start[p] + int32(j), c})
			}
		}
	}
	byBound(list)
	return list
}

// tryWater tries the delivery pipes at one place.
func (k *seeker) tryWater(t *task, pl bounded) {
	s, p := int(pl.s), int(pl.p)
	if k.chord(int(pl.pair), s, p) != chordGood {
		return
	}
	f, e, outlet := t.flow, t.engine, k.drive.outlet[p]
	length := k.drive.length(s, p)
	if k.surely {
		k.tryWaterSurely(t, pl, length)
		return
	}
	low, high := t.table.window(length, k.lift[p])
	r, ok := k.highest(f, s, pl.class, e.standpipe, outlet+min(k.allowed(p), high))
	if !ok {
		return
	}
	head := r.level - outlet
	if head < max(k.needed(p), low) || t.table.at(head, k.lift[p], length) <= k.mostSoFar() {
		return
	}
	worst := math.Inf(1) // friction that was too much
	for way := range k.ways {
		c := choice{f, e, way}
		loss := k.deliveryLoss(way, p, k.mostSoFar())
		if loss >= worst {
			continue
		}
		if !k.couldDeliver(c, p, length, head, k.mostSoFar(), true) {
			worst = loss
			continue
		}
		k.tryBelow(c, s, p, pl.class, r, length)
	}
}

// tryBelow evaluates a choice at a place with the highest way that does not
// bring too much head, beginning with r.
func (k *seeker) tryBelow(c choice, s, p int, cl class, r rung, length float64) {
	outlet := k.drive.outlet[p]
	for range k.n {
		head := r.level - outlet
		if head < k.needed(p) {
			return
		}
		op, m := k.evaluate(c, p, length, head)
		if m == nil {
			k.offer(found{choice: c, s: s, p: p, class: cl, rung: r, length: length, head: head, op: op})
			return
		}
		if !m.tooHigh {
			return
		}
		low, _ := c.table().window(length, k.lift[p])
		least := max(k.needed(p), low)
		least = max(least, c.table().headBelow(k.mostSoFar(), k.lift[p], length, least, head))
		bearable := k.ceiling(c, p, length, head, m, least)
		if bearable <= least || c.table().at(bearable, k.lift[p], length) <= k.mostSoFar() {
			return
		}
		level := min(outlet+bearable, math.Nextafter(r.level, math.Inf(-1)))
		var ok bool
		if r, ok = k.highest(c.flow, s, cl, c.engine.standpipe, level); !ok {
			return
		}
	}
}

// mostHead goes through flows and pumps by the head that they can have.
func (k *seeker) mostHead() {
	type ranked struct {
		*flow
		top float64
	}
	var order []ranked
	for _, f := range k.flows {
		order = append(order, ranked{f, min(k.bucketTop(f), k.flowBearsAny(f))})
	}
	slices.SortStableFunc(order, func(a, b ranked) int { return cmp.Compare(b.top, a.top) })
	var pumps, places []bounded
	for _, f := range order {
		if f.top < k.mostHeadSoFar() {
			break
		}
		pumps = pumps[:0]
		for p := k.from; p < k.to; p++ {
			top := min(f.pumpTop[p], f.top)
			if top >= k.needed(p) && top >= k.mostHeadSoFar() && !math.IsNaN(k.lift[p]) {
				pumps = append(pumps, bounded{bound: top, p: int32(p)})
			}
		}
		byBound(pumps)
		for _, at := range pumps {
			if at.bound < k.mostHeadSoFar() || k.ctx.Err() != nil {
				break
			}
			places = k.heads(places[:0], f.flow, int(at.p))
			for _, pl := range places {
				if pl.bound < k.mostHeadSoFar() {
					break
				}
				k.tryHead(f.flow, pl)
			}
		}
	}
}

// flowBearsAny is flowBears for any drive pipe and lift.
func (k *seeker) flowBearsAny(f *flow) float64 {
	most := 0.0
	for e := range k.engines {
		if k.wants(&k.engines[e]) {
			most = max(most, f.tables[e].bearsAny())
		}
	}
	return most
}

// flowBears is the most head that any engine of the bucket bears at a flow.
func (k *seeker) flowBears(f *flow, length, lift float64) float64 {
	most := 0.0
	for e := range k.engines {
		if k.wants(&k.engines[e]) && !f.tables[e].idle {
			_, high := f.tables[e].window(length, lift)
			most = max(most, high)
		}
	}
	return most
}

// heads lists the drive pipes to a pump that may have more head than the best
// so far.
func (k *seeker) heads(list []bounded, f *flow, p int) []bounded {
	least := max(k.needed(p), k.mostHeadSoFar())
	for j, s := range k.pairs.heads(p) {
		for c := range classes {
			head := min(f.top[c][s].level-k.drive.outlet[p], k.allowed(p))
			if !k.wantsClass(c) || !(head >= least) {
				continue
			}
			if head = min(head, k.flowBears(f, k.drive.length(int(s), p), k.lift[p])); head >= least {
				list = append(list, bounded{head, int32(p), s, k.pairs.start[p] + int32(j), c})
			}
		}
	}
	byBound(list)
	return list
}

func (k *seeker) mostHeadSoFar() float64 {
	if k.best == nil {
		return 0
	}
	return k.best.head
}

// tryHead looks for any engine and delivery pipe that works at one place, and
// among them for the one that delivers most; where all have too much head, it
// goes down to the highest way that one of them bears.
func (k *seeker) tryHead(f *flow, pl bounded) {
	s, p := int(pl.s), int(pl.p)
	if k.chord(int(pl.pair), s, p) != chordGood {
		return
	}
	outlet, length := k.drive.outlet[p], k.drive.length(s, p)
	r, ok := k.highest(f, s, pl.class, 0, outlet+min(k.allowed(p), k.flowBears(f, length, k.lift[p])))
	for ok {
		head := r.level - outlet
		if head < k.needed(p) || head < k.mostHeadSoFar() {
			return
		}
		works, bearable := k.anyEngine(f, pl, r, length)
		if works || bearable <= 0 {
			return
		}
		r, ok = k.highest(f, s, pl.class, 0, min(outlet+bearable, math.Nextafter(r.level, math.Inf(-1))))
	}
}

// anyEngine offers the layouts at one place and level, most water first. When
// none works, bearable is the most head below it that one of them bears.
func (k *seeker) anyEngine(f *flow, pl bounded, r rung, length float64) (works bool, bearable float64) {
	p := int(pl.p)
	head := r.level - k.drive.outlet[p]
	most := 0.0
	if k.best != nil && k.best.head == head {
		most = k.mostSoFar()
	}
	for ei := range k.engines {
		e := &k.engines[ei]
		if !k.wants(e) || f.tables[ei].idle {
			continue
		}
		low, high := f.tables[ei].window(length, k.lift[p])
		if head > high && low <= high {
			bearable = max(bearable, high)
		}
		bound := f.tables[ei].at(head, k.lift[p], length)
		if head < low || head > high || bound <= most || bound < k.Demand {
			continue
		}
		worst := math.Inf(1)
		for way := range k.ways {
			c := choice{f, e, way}
			loss := k.deliveryLoss(way, p, most)
			if loss >= worst {
				continue
			}
			if !k.couldDeliver(c, p, length, head, most, true) {
				worst = loss
				continue
			}
			op, m := k.evaluate(c, p, length, head)
			switch {
			case m == nil && op.DeliveredTotal < k.Demand: // and less with less head
			case m == nil:
				works = true
				most = max(most, op.DeliveredTotal)
				k.offer(found{choice: c, s: int(pl.s), p: p, class: pl.class, rung: r, length: length, head: head, op: op})
			case m.tooHigh && !works:
				bearable = max(bearable, k.ceiling(c, p, length, head, m, max(k.needed(p), low)))
			}
		}
	}
	return works, bearable
}
