package optimize

import (
	"cmp"
	"math"
	"slices"
	"sync"

	"route/internal/hydraulics"
	"route/internal/quantity"
)

// This file searches with the terrain's error in mind. The drive head of a
// layout with intake i and pump p is known to HeadSigma(i, p), so that with
// chance Φ(z) it is at least
//
//	H − z·HeadSigma(i, p)
//
// (normal law; z = 1.2816 for 90 %). A layout is sure enough when it keeps all
// limits with the drive head H that is planned and also with this lesser one,
// drawing the same flow; what it delivers with the lesser one is its sure
// water, which by the monotony that the package comment lists is the water
// that is reached or passed with that chance. So P(H ≥ H_needed) ≥ Φ(z) for
// the head that the demand and all other limits need.
//
// This is exact for the error of the drive head alone and to first order: the
// lift, the lengths, the flow of the creek, friction and the pump's own
// parameters stand as planned. Whoever draws those at random as well has to
// look at the winners again.
//
// HeadSigma does not rise or fall along the intakes that can feed a standpipe,
// so that the highest way is no longer the best. All ways to one drive pipe
// are gone through instead, and only where the bounds of the search without
// risk, with the least HeadSigma of any intake taken off, leave something to
// find.

// usualCertainty is that of MostSureWater where the problem gives none.
const usualCertainty = 0.9

// headRisk is how far the drive head may fall short: z·HeadSigma, by pump and
// intake, worked out when a pump is first looked at. Places on the map decide
// it, so that it serves all heights of the same stations.
type headRisk struct {
	*Problem
	z    float64
	rows []riskRow // by pump
}

// riskRow is what the drive head of one pump may fall short by, for the
// intakes from a station on down to the pump.
type riskRow struct {
	once  sync.Once
	from  int
	short []float64
	least []float64 // of all intakes from the first one down to each, less rounding
}

// newHeadRisk is nil where no certainty is asked for.
func newHeadRisk(p *Problem) *headRisk {
	z := certaintyZ(p.Certainty)
	if z <= 0 || p.HeadSigma == nil {
		return nil
	}
	return &headRisk{Problem: p, z: z, rows: make([]riskRow, p.Creek.Len())}
}

// certaintyZ is the number of standard deviations below the mean that a normal
// variable stays above with a chance; 0 for a half or less.
func certaintyZ(chance float64) float64 {
	if !(chance > 0.5) {
		return 0
	}
	return math.Sqrt2 * math.Erfinv(2*chance-1)
}

// shortBy is z·HeadSigma of an intake and a pump.
func (r *headRisk) shortBy(i, p int) float64 {
	return r.z * r.HeadSigma(r.Creek.Points[i], r.Creek.Points[p])
}

// row of a pump. The intakes that can feed it lie within the length of a
// supply pipe from the heads of drive pipes, both taken on the map, where
// nothing is longer than along the slope.
func (r *headRisk) row(p int) *riskRow {
	row := &r.rows[p]
	row.once.Do(func() {
		const slack = 1e-6
		at, along := r.Creek.Points, r.Creek.Stations
		head := 0
		for head < p && math.Hypot(at[head][0]-at[p][0], at[head][1]-at[p][1]) > r.Limits.DriveLengthMaxM+slack {
			head++
		}
		reach := r.Limits.SupplyLengthMaxM
		if r.Supply != nil {
			reach = r.Supply.ReachAlongM()
		}
		for row.from < head && float64(along[head]-along[row.from]) > reach+slack {
			row.from++
		}
		least := math.Inf(1)
		for i := row.from; i <= p; i++ {
			short := r.shortBy(i, p)
			if i < p {
				least = min(least, short)
			}
			row.short, row.least = append(row.short, short), append(row.least, least-rounding)
		}
	})
	return row
}

// short is what the drive head of an intake and a pump may fall short by; 0
// where the search does not ask.
func (k *seeker) short(i, p int) float64 {
	if !k.surely {
		return 0
	}
	row := k.risk.row(p)
	return row.short[i-row.from]
}

// leastShort bounds short from below for the intakes from s on up.
func (k *seeker) leastShort(s, p int) float64 {
	if !k.surely {
		return 0
	}
	row := k.risk.row(p)
	if s < row.from {
		return -rounding
	}
	return row.least[s-row.from]
}

// leastShortOf bounds short from below for all intakes of a pump.
func (k *seeker) leastShortOf(p int) float64 { return k.leastShort(max(p-1, 0), p) }

// sureWay is a way to bring water to a drive pipe and pump.
type sureWay struct {
	rung
	head, sure float64 // drive head as planned, and what it is at least with the certainty asked for
}

// sureWays lists all ways to a drive pipe and pump that bring no more head than
// most and surely no less than least.
func (k *seeker) sureWays(f *flow, s, p int, c class, stand int, least, most float64) []sureWay {
	list, outlet := k.sureList[:0], k.drive.outlet[p]
	add := func(r rung) {
		head := r.level - outlet
		if sure := head - k.short(int(r.intake), p); head <= most && sure >= least {
			list = append(list, sureWay{r, head, sure})
		}
	}
	for _, r := range f.lower(s, c, stand, outlet+most+rounding) {
		add(r)
	}
	k.sureList = list
	return list
}

// tryWaterSurely is tryWater for sure water.
func (k *seeker) tryWaterSurely(t *task, pl bounded, length float64) {
	p := int(pl.p)
	low, high := t.table.window(length, k.lift[p])
	list := k.sureWays(t.flow, int(pl.s), p, pl.class, t.engine.standpipe, max(k.needed(p), low), min(k.allowed(p), high))
	if len(list) == 0 {
		return
	}
	slices.SortFunc(list, func(a, b sureWay) int {
		return cmp.Or(cmp.Compare(b.sure, a.sure), cmp.Compare(a.cost, b.cost), cmp.Compare(a.option, b.option), cmp.Compare(b.intake, a.intake))
	})
	worst := math.Inf(1) // friction that was too much
	for way := range k.ways {
		c := choice{t.flow, t.engine, way}
		loss := k.deliveryLoss(way, p, k.mostSoFar())
		if loss >= worst {
			continue
		}
		if !k.couldDeliver(c, p, length, list[0].sure, k.mostSoFar(), true) {
			worst = loss
			continue
		}
		k.mostSure(c, pl, length, list, low)
	}
}

// mostSure offers the way with the most sure head that a choice works with.
func (k *seeker) mostSure(c choice, pl bounded, length float64, list []sureWay, low float64) {
	p, bears := int(pl.p), math.Inf(1)
	for _, w := range list {
		if w.head > bears {
			continue
		}
		if c.table().at(w.sure, k.lift[p], length) <= k.mostSoFar() {
			return
		}
		op, m := k.evaluate(c, p, length, w.head)
		if m != nil && m.tooHigh {
			least := max(k.needed(p), low)
			if bears = min(k.ceiling(c, p, length, w.head, m, least), math.Nextafter(w.head, 0)); bears <= least {
				return
			}
			continue
		}
		if m != nil {
			return // and so it is with all less sure heads
		}
		sure, m := k.evaluate(c, p, length, w.sure)
		if m == nil {
			k.offer(found{choice: c, s: int(pl.s), p: p, class: pl.class, rung: w.rung, length: length, head: w.head, op: op, sureHead: w.sure, sure: sure.DeliveredTotal})
			return
		}
		if !m.tooHigh {
			return
		}
	}
}

// climbSurely is climb for ways that surely deliver the demand.
func (k *seeker) climbSurely(t *task, pl bounded, length float64, cost int64, need, against float64) {
	p, s := int(pl.p), int(pl.s)
	_, high := t.table.window(length, k.lift[p])
	list := k.sureWays(t.flow, s, p, pl.class, t.engine.standpipe, need, min(k.allowed(p), high))
	slices.SortFunc(list, func(a, b sureWay) int {
		return cmp.Or(cmp.Compare(a.cost, b.cost), cmp.Compare(b.sure, a.sure), cmp.Compare(a.option, b.option), cmp.Compare(b.intake, a.intake))
	})
	tooLow, bears := math.Inf(-1), math.Inf(1)
	for _, w := range list {
		total := cost + w.cost
		if total > k.costSoFar() {
			return
		}
		if w.head > bears || w.sure <= tooLow || !k.offerable(total, t.table.at(w.sure, against, length)) {
			continue
		}
		if slices.ContainsFunc(k.tooSmall, func(f chordFall) bool { return length >= f.length && w.sure <= f.fall }) {
			continue
		}
		want, strict := k.Demand, false
		if total == k.costSoFar() && k.mostSoFar() >= want {
			want, strict = k.mostSoFar(), true
		}
		if k.chord(int(pl.pair), s, p) != chordGood {
			return
		}
		if !k.couldDeliver(t.choice, p, length, w.sure, want, strict) {
			continue
		}
		sure, m := k.evaluate(t.choice, p, length, w.sure)
		if m == nil && sure.DeliveredTotal < k.Demand || m != nil && !m.tooHigh {
			if tooLow = w.sure; m != nil && m.reason == PumpTooSmall {
				k.tooSmall = append(k.tooSmall, chordFall{w.sure, length})
			}
			continue
		}
		var op hydraulics.Operation
		if m == nil {
			op, m = k.evaluate(t.choice, p, length, w.head)
		}
		switch {
		case m == nil:
			k.offer(found{choice: t.choice, s: s, p: p, class: pl.class, rung: w.rung, length: length, head: w.head, op: op, sureHead: w.sure, sure: sure.DeliveredTotal})
		case m.tooHigh:
			if bears = min(k.ceiling(t.choice, p, length, w.head, m, need), math.Nextafter(w.head, 0)); bears <= need {
				return
			}
		}
	}
}

// makeSure works out the sure water of a layout that was found without asking
// for it.
func (st *site) makeSure(f *found) {
	if f.sure = f.op.DeliveredTotal; st.risk == nil {
		return
	}
	f.sure = 0
	f.sureHead = f.head - st.risk.shortBy(int(f.rung.intake), f.p)
	own := st
	if f.site != nil {
		own = f.site
	}
	if f.sureHead < own.needed(f.p) {
		return
	}
	if op, m := own.evaluate(f.choice, f.p, f.length, f.sureHead); m == nil {
		f.sure = op.DeliveredTotal
	}
}

// unsure fills in why a reach has no layout although one works there as
// planned; ok is false where the certainty is not to blame.
func (q *inquiry) unsure(reach *Reach, planned *found) (ok bool) {
	if !q.asksSure(q.Objective) || q.Objective == LeastCost && planned.op.DeliveredTotal < q.Demand {
		return false
	}
	most, wanted := 0.0, planned.op.DeliveredTotal
	if q.Objective == LeastCost {
		wanted = q.Demand
		if f := q.seek(q.ctx, MostSureWater, bucket{from: reach.From, to: reach.To, anyClass: true}, nil); f != nil {
			most = f.sure
		}
	}
	reach.Reason = NotSureEnough
	reach.Value, reach.Limit = quantity.Of(quantity.DailyVolume, most), quantity.Of(quantity.DailyVolume, wanted)
	return true
}

// asksSure says whether an objective looks at sure water here.
func (st *site) asksSure(goal Objective) bool {
	return st.risk != nil && (goal == MostSureWater || goal == LeastCost)
}
