package optimize

import (
	"cmp"
	"math"
	"slices"
)

// costTask is a flow and an engine with the least that they can cost in the
// bucket, by the head that energy alone asks for.
type costTask struct {
	task
	least int64
}

// leastCost goes through flows and engines by the least that they can cost,
// then through delivery pipes, pumps, drive pipes and ways to bring water.
// Each is left out when it cannot be cheaper than the best so far even with the
// cheapest water that brings the head it needs.
func (k *seeker) leastCost() {
	price := k.bucketPrices()
	if price.nearest < 0 {
		return
	}
	for _, t := range price.tasks() {
		if t.least > k.costSoFar() || k.ctx.Err() != nil {
			break
		}
		if t.bound() < k.demand() {
			continue
		}
		for way, delivery := range price.deliveryFor(t.engine) {
			need, ok := t.table.headFor(k.demand(), t.lift+k.deliveryLoss(way, price.nearest, k.Demand))
			if !ok || t.engine.pumpCost+delivery+price.glance(&t.task, need) > k.costSoFar() {
				continue
			}
			stairs := price.waterFor(t.flow, t.engine.standpipe)
			if t.engine.pumpCost+t.engine.driveLeast+delivery+cheapest(stairs, need) > k.costSoFar() {
				continue
			}
			c := t.task
			c.way = way
			k.cheapestPump(&c, stairs)
		}
	}
}

// demand is what must be delivered at least: more than nothing.
func (k *seeker) demand() float64 { return max(k.Demand, math.SmallestNonzeroFloat64) }

// never is beyond all prices.
const never = math.MaxInt64 / 4

// cheapest gives the least price in a list of unbeaten rungs, highest first,
// for a level at least as high as asked.
func cheapest(rungs []rung, level float64) int64 {
	n, found := slices.BinarySearchFunc(rungs, level, func(r rung, level float64) int { return cmp.Compare(level, r.level) })
	if found {
		n++
	}
	if n == 0 {
		return never
	}
	return rungs[n-1].cost
}

// bucketPrices holds the least prices in a bucket.
type bucketPrices struct {
	*seeker
	delivery map[int][]int64 // by number of pumps, then delivery pipe
	water    map[waterKey][]rung
	boxRise  map[*flow]float64 // highest settling box above the creek that feeds a drive pipe
	nearest  int               // pump station with the shortest delivery pipe
	first    int               // first head of a drive pipe to the bucket
	chords   []chordFall       // unbeaten drive pipes, most fall first
	falls    map[float64]float64
}

// chordFall is a drive pipe: its fall from the water line at its head to the
// outlet, and its length.
type chordFall struct{ fall, length float64 }

func (k *seeker) bucketPrices() *bucketPrices {
	b := &bucketPrices{seeker: k, delivery: map[int][]int64{}, water: map[waterKey][]rung{}, boxRise: map[*flow]float64{}, falls: map[float64]float64{}, nearest: -1, first: k.n}
	for p := k.from; p < k.to; p++ {
		if math.IsNaN(k.lift[p]) {
			continue
		}
		if b.nearest < 0 || k.DeliveryAt[p].LengthM < k.DeliveryAt[b.nearest].LengthM {
			b.nearest = p
		}
		for _, s := range k.pairs.heads(p) {
			b.first = min(b.first, int(s))
			b.chords = append(b.chords, chordFall{k.drive.z[s] - k.drive.outlet[p], k.drive.length(int(s), p)})
		}
	}
	slices.SortFunc(b.chords, func(a, c chordFall) int {
		return cmp.Or(cmp.Compare(c.fall, a.fall), cmp.Compare(a.length, c.length))
	})
	kept := b.chords[:0]
	for _, c := range b.chords {
		if len(kept) == 0 || c.length < kept[len(kept)-1].length {
			kept = append(kept, c)
		}
	}
	b.chords = kept
	return b
}

// drivePrice is the least that a drive pipe costs which falls so much.
func (b *bucketPrices) drivePrice(e *engine, fall float64) int64 {
	n, _ := slices.BinarySearchFunc(b.chords, fall-rounding, func(c chordFall, fall float64) int {
		if c.fall >= fall {
			return -1
		}
		return 1
	})
	if n == 0 {
		return never
	}
	return e.driveCost.at(b.chords[n-1].length)
}

// glance bounds from below what water and drive pipe cost for a head, without
// a look at the grade line: a drive pipe that falls so much, or a shorter one
// behind a supply pipe that is long enough to hold the rest of the fall, its
// intake's loss and its own friction.
func (b *bucketPrices) glance(t *task, need float64) int64 {
	least := b.drivePrice(t.engine, need-b.boxRiseOf(t.flow))
	for k := range b.options {
		price := &b.options[k].price[t.engine.standpipe]
		if price.least()+t.engine.driveLeast >= least {
			continue
		}
		g, ok := b.grade(&b.options[k], t.flow.m3s)
		if !ok {
			continue
		}
		shorter := 0.0
		for step, upTo := range price.pipe.upTo {
			water := price.pipe.total[step] + price.standpipe.total[0]
			if water+t.engine.driveLeast >= least {
				break
			}
			least = min(least, water+b.drivePrice(t.engine, need+g.loss+g.slope*shorter-b.fall(upTo)))
			shorter = upTo
		}
	}
	return least
}

// boxRiseOf is how far above the creek a settling box feeds a drive pipe at
// most; 0 where none does.
func (b *bucketPrices) boxRiseOf(f *flow) float64 {
	rise, ok := b.boxRise[f]
	if !ok {
		for s := b.first; s < b.to; s++ {
			rise = max(rise, f.top[bare][s].level-b.drive.z[s])
		}
		b.boxRise[f] = rise
	}
	return rise
}

// fall is the most fall that a supply pipe of a length holds above any head of
// a drive pipe to the bucket.
func (b *bucketPrices) fall(lengthM float64) float64 {
	if f, ok := b.falls[lengthM]; ok {
		return f
	}
	along := b.site.water.s
	most, i := 0.0, 0
	for s := b.first; s < b.to; s++ {
		for along[s]-along[i] > lengthM {
			i++
		}
		most = max(most, b.drive.z[i]-b.drive.z[s])
	}
	if b.Supply != nil {
		most = max(most, b.fallOver(lengthM))
	}
	b.falls[lengthM] = most
	return most
}

type waterKey struct {
	flow  *flow
	stand int
}

// tasks lists the flows and engines that may deliver enough, cheapest first.
func (b *bucketPrices) tasks() []costTask {
	var list []costTask
	for _, t := range b.seeker.tasks() {
		if t.potential < b.Demand {
			continue
		}
		water := b.glance(&t, t.table.headForEnergy(b.Demand, t.lift))
		list = append(list, costTask{t, slices.Min(b.deliveryFor(t.engine)) + water + t.engine.pumpCost})
	}
	slices.SortStableFunc(list, func(a, b costTask) int { return cmp.Compare(a.least, b.least) })
	return list
}

// deliveryFor gives the least that each delivery pipe costs.
func (b *bucketPrices) deliveryFor(e *engine) []int64 {
	if least, ok := b.delivery[e.pumps]; ok {
		return least
	}
	least := make([]int64, len(b.ways))
	for way := range least {
		least[way] = never
		for p := b.from; p < b.to; p++ {
			if !math.IsNaN(b.lift[p]) {
				least[way] = min(least[way], e.delivery[way].of(&b.DeliveryAt[p]))
			}
		}
	}
	b.delivery[e.pumps] = least
	return least
}

// waterFor gives what drive head costs anywhere in the bucket: unbeaten rungs
// whose level is a head.
func (b *bucketPrices) waterFor(f *flow, stand int) []rung {
	key := waterKey{f, stand}
	if list, ok := b.water[key]; ok {
		return list
	}
	var list []rung
	for p := b.from; p < b.to; p++ {
		if math.IsNaN(b.lift[p]) {
			continue
		}
		outlet := b.drive.outlet[p]
		for _, s := range b.pairs.heads(p) {
			for c := range classes {
				rungs := f.rungs(stand, int(s), c)
				if n, m := len(rungs), len(list); n == 0 || m > 0 && list[m-1].level >= rungs[0].level-outlet && list[m-1].cost <= rungs[n-1].cost {
					continue
				}
				for _, r := range rungs {
					list = withRung(list, rung{level: r.level - outlet, cost: r.cost})
				}
			}
		}
	}
	b.water[key] = list
	return list
}

// headFor bounds from below the drive head at which an engine delivers a flow
// against a head, whatever the drive pipe's length; ok is false where no head
// of the table does.
func (t *table) headFor(m3s, against float64) (head float64, ok bool) {
	j := len(t.head) - 1
	if t.atAnyLength(t.head[j], against) < m3s {
		return 0, false
	}
	for j > 0 && t.atAnyLength(t.head[j-1], against) >= m3s {
		j--
	}
	if j == 0 {
		return 0, true
	}
	return t.head[j-1], true
}

// costSoFar of the best layout.
func (k *seeker) costSoFar() int64 {
	if k.best == nil {
		return math.MaxInt64
	}
	return k.best.cost
}

// offerable says whether a layout that costs at least so much and delivers at
// most so much could be better than the best so far.
func (k *seeker) offerable(cost int64, water float64) bool {
	if water < k.Demand || water <= 0 {
		return false
	}
	return k.best == nil || cost < k.best.cost || cost == k.best.cost && water > k.mostSoFar()
}

// priced is a place: what it costs at least and delivers at most.
type priced struct {
	bounded
	cost    int64
	need    float64 // least drive head that delivers the demand
	against float64 // lift and friction of the demand
}

// byPrice puts the cheapest first and, among those as cheap, the one that may
// deliver most.
func byPrice(list []priced) {
	slices.SortFunc(list, func(a, b priced) int {
		return cmp.Or(cmp.Compare(a.cost, b.cost), cmp.Compare(b.bound, a.bound), cmp.Compare(a.p, b.p), cmp.Compare(a.s, b.s), cmp.Compare(a.class, b.class))
	})
}

// cheapestPump tries one choice at every pump of the bucket.
func (k *seeker) cheapestPump(t *task, stairs []rung) {
	list := k.pumpOffers[:0]
	for p := k.from; p < k.to; p++ {
		top := min(t.flow.pumpTop[p], k.allowed(p), t.table.bearsAny())
		if math.IsNaN(k.lift[p]) || !(top >= k.needed(p)) {
			continue
		}
		short := k.leastShortOf(p)
		top -= short
		cost := t.engine.pumpCost + t.engine.driveLeast + t.engine.delivery[t.way].of(&k.DeliveryAt[p])
		if cost > k.costSoFar() {
			continue
		}
		against := k.lift[p] + k.deliveryLoss(t.way, p, k.Demand)
		bound := t.table.atAnyLength(top, against)
		if !k.offerable(cost, bound) {
			continue
		}
		need, _ := t.table.headFor(k.demand(), against)
		need = max(need, k.needed(p))
		if top < need {
			continue
		}
		cost += cheapest(stairs, need+short)
		if k.offerable(cost, bound) {
			list = append(list, priced{bounded{bound: bound, p: int32(p)}, cost, need, against})
		}
	}
	byPrice(list)
	k.pumpOffers = list
	for _, o := range list {
		if k.ctx.Err() != nil {
			return
		}
		if k.offerable(o.cost, o.bound) {
			k.cheapestPlace(t, o)
		}
	}
}

// cheapestPlace tries one choice at every drive pipe to one pump, and for each
// the ways to bring water from the cheapest up.
func (k *seeker) cheapestPlace(t *task, pump priced) {
	p := int(pump.p)
	outlet := k.drive.outlet[p]
	fixed := t.engine.pumpCost + t.engine.delivery[t.way].of(&k.DeliveryAt[p])
	list := k.placeOffers[:0]
	for j, s := range k.pairs.heads(p) {
		pair := k.pairs.start[p] + int32(j)
		if k.chords[pair].Load() > chordGood {
			continue
		}
		length := k.drive.length(int(s), p)
		cost := fixed + t.engine.driveCost.at(length)
		if cost > k.costSoFar() {
			continue
		}
		short := k.leastShort(int(s), p)
		low, high := 0.0, -1.0 // of the window, when first needed
		for c := range classes {
			if !k.wantsClass(c) {
				continue
			}
			rungs := t.flow.rungs(t.engine.standpipe, int(s), c)
			if len(rungs) == 0 || rungs[0].level-outlet-short < pump.need || cost+cheapest(rungs, outlet+pump.need+short) > k.costSoFar() {
				continue
			}
			if high < 0 {
				low, high = t.table.window(length, k.lift[p])
			}
			need, most := max(pump.need, low), min(k.allowed(p), high)
			if need+short > most || rungs[0].level-outlet-short < need {
				continue
			}
			bound := t.table.at(min(rungs[0].level-outlet, most)-short, pump.against, length)
			if total := cost + cheapest(rungs, outlet+need+short); k.offerable(total, bound) {
				list = append(list, priced{bounded{bound, pump.p, s, pair, c}, total, need, pump.against})
			}
		}
	}
	byPrice(list)
	k.placeOffers = list
	k.tooSmall = k.tooSmall[:0]
	for _, o := range list {
		if !k.offerable(o.cost, o.bound) {
			continue
		}
		length := k.drive.length(int(o.s), p)
		if k.surely {
			k.climbSurely(t, o.bounded, length, fixed+t.engine.driveCost.at(length), o.need, o.against)
			continue
		}
		rungs := t.flow.rungs(t.engine.standpipe, int(o.s), o.class)
		_, high := t.table.window(length, k.lift[p])
		if most := min(k.allowed(p), high); rungs[0].level > outlet+most {
			rungs = t.flow.below(int(o.s), o.class, t.engine.standpipe, outlet+most)
		}
		k.climb(t, o.bounded, rungs, length, fixed+t.engine.driveCost.at(length), o.need, o.against)
	}
}

// climb tries the ways to one drive pipe from the cheapest up until one
// delivers enough, or none of those left can be better than the best so far.
func (k *seeker) climb(t *task, pl bounded, rungs []rung, length float64, cost int64, need, against float64) {
	p, s := int(pl.p), int(pl.s)
	outlet := k.drive.outlet[p]
	for n := len(rungs) - 1; n >= 0; n-- {
		r := rungs[n]
		total, head := cost+r.cost, r.level-outlet
		if total > k.costSoFar() {
			return
		}
		if head < need || !k.offerable(total, t.table.at(head, against, length)) {
			continue
		}
		if slices.ContainsFunc(k.tooSmall, func(f chordFall) bool { return length >= f.length && head <= f.fall }) {
			continue
		}
		want, strict := k.Demand, false
		if total == k.costSoFar() && k.mostSoFar() >= want {
			want, strict = k.mostSoFar(), true
		}
		if k.chord(int(pl.pair), s, p) != chordGood {
			return
		}
		if !k.couldDeliver(t.choice, p, length, head, want, strict) {
			continue
		}
		op, m := k.evaluate(t.choice, p, length, head)
		switch {
		case m == nil && op.DeliveredTotal >= k.Demand:
			k.offer(found{choice: t.choice, s: s, p: p, class: pl.class, rung: r, length: length, head: head, op: op})
			return
		case m != nil && m.reason == PumpTooSmall:
			k.tooSmall = append(k.tooSmall, chordFall{head, length})
		case m != nil && m.tooHigh:
			// Neither this way nor a higher one; perhaps one between this
			// and the last that was too low, left out of the ladder because
			// this one is higher for the same money.
			bearable := k.ceiling(t.choice, p, length, head, m, need)
			if bearable <= need {
				return
			}
			level := min(outlet+bearable, math.Nextafter(r.level, math.Inf(-1)))
			if lower := t.flow.below(s, pl.class, t.engine.standpipe, level); len(lower) > 0 {
				k.climb(t, pl, lower, length, cost, need, against)
			}
			return
		}
	}
}
