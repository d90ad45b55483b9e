package optimize

import (
	"cmp"
	"context"
	"math"
	"slices"

	"route/internal/finding"
	"route/internal/quantity"
)

// explain fills in what each reach can do and why no pump stands in it, counts
// the stations that each limit rules out and, where nothing is feasible, says
// what is nearest.
func (st *site) explain(ctx context.Context, res *Result, byGoal map[Objective][]*job, kept []keeper) error {
	w := st.newInquiry()
	w.ctx = ctx
	tally := map[string]*Reject{}
	for r := range res.Reaches {
		reach := &res.Reaches[r]
		main, head, water := byGoal[st.Objective][r].best, byGoal[MostHead][r].best, byGoal[MostWater][r].best
		if head != nil {
			reach.HeadM = head.head
		}
		if water != nil {
			reach.Water = water.op.DeliveredTotal
		}
		st.claim(reach, main, kept)
		if main == nil {
			w.blame(reach, water)
		}
		w.count(tally, reach, main != nil)
		if err := ctx.Err(); err != nil {
			return err
		}
	}
	for _, code := range codes {
		if t := tally[code]; t != nil {
			res.Rejected = append(res.Rejected, *t)
		}
	}
	if res.Status == Infeasible {
		res.Findings = append(res.Findings, w.nearest(res)...)
	}
	return nil
}

// codes lists the reasons in the order in which they are reported.
var codes = []string{Land, NoDeliveryWay, DrivePipeTooShort, TooLittleHead, StandpipeTooHigh, SupplySummit, SupplyTooLong, DrivePipeTooLong, DriveGround, DriveHeadTooHigh, LiftRatioTooHigh, LiftTooLow, LiftTooHigh, TooLittleWater, PumpTooSmall, SurgeAboveRating, DeliveryAboveRating, NotSureEnough}

// claim says which layout stands in a reach, or that a better one stands
// elsewhere.
func (st *site) claim(reach *Reach, main *found, kept []keeper) {
	for k := range kept {
		if p := kept[k].p; p >= reach.From && p < reach.To && reach.Candidate < 0 {
			reach.Candidate = k
		}
	}
	if reach.Candidate >= 0 || main == nil {
		return
	}
	reach.Reason = NotBest
	best := kept[0].found
	switch st.Objective {
	case MostHead:
		reach.Value, reach.Limit = quantity.Of(quantity.Head, main.head), quantity.Of(quantity.Head, best.head)
	case MostSureWater:
		reach.Value, reach.Limit = quantity.Of(quantity.DailyVolume, main.sure), quantity.Of(quantity.DailyVolume, best.sure)
	case MostWater:
		reach.Value, reach.Limit = quantity.Of(quantity.DailyVolume, main.op.DeliveredTotal), quantity.Of(quantity.DailyVolume, best.op.DeliveredTotal)
	default:
		reach.Reason = OverBudget
		reach.Value, reach.Limit = quantity.Of(quantity.Multiple, float64(main.cost)/float64(best.cost)), quantity.Of(quantity.Multiple, 1)
	}
}

// inquiry finds out which limit stands in the way, by taking the limits away
// one at a time from the flow and the supply pipe that lose least head.
type inquiry struct {
	*site
	ctx     context.Context
	flow    *flow
	option  int
	grade   grade
	box     bool
	reliefs []relief
}

// relief is the site with one limit taken away.
type relief struct {
	reason string
	water  *water
	cover  float64
	pairs  *pairs
	drive  *driveSite
	lines  *lines
	top    []float64 // most drive head at a pump
	places bool      // the creek itself, without a supply pipe, counts too
}

// newInquiry picks the least flow and its least lossy supply pipe.
func (st *site) newInquiry() *inquiry {
	q := &inquiry{site: st, option: -1}
	if len(st.flows) == 0 {
		return q
	}
	q.flow = st.flows[len(st.flows)-1]
	least := math.Inf(1)
	for k := range st.options {
		g, ok := st.grade(&st.options[k], q.flow.m3s)
		g.loss, g.box = g.loss+g.drop, false // as if the box stood at the intake
		if ok && g.slope+g.loss < least {
			least, q.option, q.grade = g.slope+g.loss, k, g
		}
	}
	return q
}

// prepare works out the most drive head of every pump under a relief.
func (q *inquiry) prepare(r *relief) {
	n := q.n
	level := make([]float64, n)
	for s := range level {
		level[s] = math.Inf(-1)
		if q.poolAllowed() && (r.water.intakeOK == nil || r.water.intakeOK[s]) {
			level[s] = q.water.z[s]
		}
	}
	if q.option >= 0 {
		r.lines = new(lines)
		g := q.grade
		g.cover = r.cover
		r.lines.prepare(r.water, g)
		for s := range level {
			if !r.water.standsAt(s) {
				continue
			}
			r.lines.moveTo(s)
			if i := r.lines.highest(0); i >= 0 {
				level[s] = max(level[s], r.water.z[s]+r.lines.height(i, s))
			}
		}
	}
	r.top = make([]float64, n)
	for p := range r.top {
		best := math.Inf(-1)
		for _, s := range r.pairs.heads(p) {
			best = max(best, level[s])
		}
		r.top[p] = best - r.drive.outlet[p]
	}
}

// relieved gives the sites with one limit taken away each, in the order in
// which they are blamed, worked out when first asked for.
func (q *inquiry) relieved() []relief {
	if q.reliefs != nil {
		return q.reliefs
	}
	inf := math.Inf(1)
	higher, longer, free := *q.water, *q.water, newWater(q.water.z, q.water.s, nil, nil, nil, q.Limits.SupplySlopeMin)
	free.pin(&q.Pins)
	higher.heightMax, longer.lengthMax = inf, inf
	free.heightMin, free.heightMax, free.lengthMax = q.water.heightMin, q.water.heightMax, q.water.lengthMax
	far := q.site.drive
	far.lengthMax *= 2
	farPairs := far.pairs()
	q.reliefs = []relief{
		{reason: StandpipeTooHigh, water: &higher, cover: q.grade.cover, pairs: &q.pairs, drive: &q.site.drive},
		{reason: SupplySummit, water: q.water, cover: math.Inf(-1), pairs: &q.pairs, drive: &q.site.drive},
		{reason: SupplyTooLong, water: &longer, cover: q.grade.cover, pairs: &q.pairs, drive: &q.site.drive},
		{reason: DrivePipeTooLong, water: q.water, cover: q.grade.cover, pairs: &farPairs, drive: &far},
		{reason: Land, water: free, cover: q.grade.cover, pairs: &q.pairs, drive: &q.site.drive},
	}
	for k := range q.reliefs {
		q.prepare(&q.reliefs[k])
	}
	return q.reliefs
}

// within gives the most drive head at a pump within all limits but those on
// head, over all flows; -Inf where no drive pipe fits.
func (q *inquiry) within(p int) float64 {
	best := math.Inf(-1)
	for _, f := range q.flows {
		best = max(best, f.pumpTop[p])
	}
	return best
}

// blame finds the limit that keeps a reach from having a layout.
func (q *inquiry) blame(reach *Reach, water *found) {
	if water != nil && q.unsure(reach, water) {
		return
	}
	if water != nil { // it works, but delivers less than is wanted
		reach.Reason = TooLittleWater
		reach.Value, reach.Limit = quantity.Of(quantity.DailyVolume, water.op.DeliveredTotal), quantity.Of(quantity.DailyVolume, q.Demand)
		return
	}
	// The pump that comes closest to the head it needs.
	best, share := -1, math.Inf(-1)
	for p := reach.From; p < reach.To; p++ {
		if math.IsNaN(q.lift[p]) {
			continue
		}
		if s := q.share(p); s > share || best < 0 {
			best, share = p, s
		}
	}
	if best < 0 {
		reach.Reason = NoDeliveryWay
		if !q.pumpWithin(reach) {
			reach.Reason = PinnedElsewhere
			return
		}
		if q.PumpAt != nil && !slices.Contains(q.PumpAt[reach.From:reach.To], true) {
			reach.Reason = Land
		}
		return
	}
	have := q.within(best)
	if !math.IsInf(have, -1) && math.IsNaN(reach.HeadM) {
		reach.HeadM = have
	}
	if reason, value, limit, ok := q.headMiss(best); ok {
		reach.Reason, reach.Value, reach.Limit = reason, value, limit
		return
	}
	m := q.closestMiss(best)
	reach.Reason, reach.Value, reach.Limit = m.reason, m.value, m.limit
}

// pumpWithin says whether the pins leave a reach to the pump.
func (q *inquiry) pumpWithin(reach *Reach) bool {
	for p := reach.From; p < reach.To; p++ {
		if q.Pins.Pump.allows(p) {
			return true
		}
	}
	return false
}

// share is the head that a pump has over the head that it needs; below zero
// where the lift forbids any.
func (q *inquiry) share(p int) float64 {
	have, need := q.within(p), q.needed(p)
	if q.lift[p] <= 0 || have >= need && q.allowed(p) < need {
		return math.Inf(-1)
	}
	return have / need
}

// headMiss says what keeps a pump from the head that it needs; ok is false
// where it has it.
func (q *inquiry) headMiss(p int) (reason string, value, limit quantity.Value, ok bool) {
	have, need := q.within(p), q.needed(p)
	switch {
	case q.lift[p] <= 0 || have >= need && q.lift[p]/leastLiftRatio < need:
		return LiftTooLow, quantity.Of(quantity.Head, q.lift[p]), quantity.Of(quantity.Head, leastLiftRatio*need), true
	case have >= need && q.allowed(p) < need:
		return LiftRatioTooHigh, quantity.Of(quantity.Multiple, q.lift[p]/q.allowed(p)), quantity.Of(quantity.Multiple, q.Limits.LiftRatioMax), true
	case have < need:
		reason, value, limit = q.headReason(p, have)
		return reason, value, limit, true
	}
	return reason, value, limit, false
}

// headReason says why a pump has less head than it needs.
func (q *inquiry) headReason(p int, have float64) (reason string, value, limit quantity.Value) {
	need := q.needed(p)
	for k := range q.relieved() {
		r := &q.reliefs[k]
		if r.top[p] < need {
			continue
		}
		if value, limit, ok := q.price(r, p, need); ok {
			return r.reason, value, limit
		}
	}
	if math.IsInf(have, -1) {
		return DrivePipeTooShort, quantity.Metres(0), quantity.Metres(q.Limits.DriveLengthMinM)
	}
	if need > q.Limits.DriveHeadMinM && have >= q.Limits.DriveHeadMinM {
		return LiftRatioTooHigh, quantity.Of(quantity.Multiple, q.lift[p]/have), quantity.Of(quantity.Multiple, q.Limits.LiftRatioMax)
	}
	return TooLittleHead, quantity.Of(quantity.Head, have), quantity.Of(quantity.Head, need)
}

// price says how far beyond its limit a relief must go for a pump to have the
// head that it needs.
func (q *inquiry) price(r *relief, p int, need float64) (value, limit quantity.Value, ok bool) {
	least := math.Inf(1)
	for _, s32 := range r.pairs.heads(p) {
		s := int(s32)
		level := r.drive.outlet[p] + need
		if r.reason == DrivePipeTooLong {
			if q.levelAt(r, s) >= level {
				least = min(least, r.drive.length(s, p))
			}
			continue
		}
		if r.lines == nil || !r.water.standsAt(s) {
			continue
		}
		for i := s - 1; i >= 0 && r.water.s[s]-r.water.s[i] <= r.water.lengthMax; i-- {
			if !r.lines.feeds(i, s) {
				continue
			}
			h := r.lines.height(i, s)
			if r.water.z[s]+h < level {
				continue
			}
			switch r.reason {
			case StandpipeTooHigh:
				least = min(least, h+q.Limits.StandpipeFreeboardM)
			case SupplyTooLong:
				least = min(least, r.water.s[s]-r.water.s[i])
			case SupplySummit:
				least = min(least, q.summit(r.lines, i, s))
			default:
				least = 0
			}
		}
	}
	if math.IsInf(least, 1) {
		return value, limit, r.reason == Land
	}
	switch r.reason {
	case StandpipeTooHigh:
		return quantity.Metres(least), quantity.Metres(q.Limits.StandpipeMaxM), true
	case SupplyTooLong:
		return quantity.Metres(least), quantity.Metres(q.Limits.SupplyLengthMaxM), true
	case DrivePipeTooLong:
		return quantity.Metres(least), quantity.Metres(q.Limits.DriveLengthMaxM), true
	case SupplySummit:
		return quantity.Metres(least), quantity.Metres(0), true
	}
	return quantity.Of(quantity.Head, r.top[p]), quantity.Of(quantity.Head, need), true
}

// levelAt is the highest water at a station under a relief.
func (q *inquiry) levelAt(r *relief, s int) float64 {
	level := math.Inf(-1)
	if q.poolAllowed() && (r.water.intakeOK == nil || r.water.intakeOK[s]) {
		level = q.water.z[s]
	}
	if r.lines == nil || !r.water.standsAt(s) {
		return level
	}
	for i := s - 1; i >= 0 && r.water.s[s]-r.water.s[i] <= r.water.lengthMax; i-- {
		if r.lines.feeds(i, s) {
			level = max(level, r.water.z[s]+r.lines.height(i, s))
		}
	}
	return level
}

// summit is how far the pipe from i to s stands above what the grade line
// allows, at its worst place.
func (q *inquiry) summit(l *lines, i, s int) float64 {
	worst := math.Inf(-1)
	for k := i + 1; k <= s; k++ {
		worst = max(worst, l.a[k]+q.grade.cover-(l.a[i]-l.loss))
	}
	return worst
}

// closestMiss evaluates every flow and engine with the widest delivery pipe at
// the place that gives a pump the most head, and tells which limit is missed by
// least.
func (q *inquiry) closestMiss(p int) miss {
	var near *miss
	consider := func(m miss) {
		v, l := m.value.SI, m.limit.SI
		m.off = math.Abs(math.Log(v / l))
		if math.IsNaN(m.off) {
			m.off = math.Inf(1)
		}
		if near == nil || m.off < near.off {
			near = &m
		}
	}
	offGround, offLand := false, false
	for _, f := range q.flows {
		pl, verdict, ok := q.bestPlace(f, p)
		if !ok {
			offGround = offGround || verdict == chordOffGround
			offLand = offLand || verdict == chordOverForbiddenLand
			continue
		}
		length := q.site.drive.length(int(pl.s), p)
		head := min(pl.bound, q.allowed(p))
		for k := range q.engines {
			if len(q.ways) == 0 {
				continue
			}
			if _, m := q.evaluate(choice{f, &q.engines[k], 0}, p, length, head); m != nil {
				consider(*m)
			}
		}
	}
	switch {
	case near != nil:
		return *near
	case offGround:
		off, limit := q.offGround(p)
		return miss{reason: DriveGround, value: quantity.Metres(off), limit: quantity.Metres(limit)}
	case offLand:
		return miss{reason: Land}
	}
	return miss{reason: TooLittleWater, value: quantity.Of(quantity.Flow, q.TakeFlow), limit: quantity.Of(quantity.Flow, q.leastDraw())}
}

// offGround is how far the drive pipe that strays least from the ground lies
// above or below it at its worst place, and the limit that it breaks there, of
// those that bring a pump the head it needs.
func (q *inquiry) offGround(p int) (off, limit float64) {
	least := math.Inf(1)
	for _, s := range q.pairs.heads(p) {
		if q.topLevel(int(s))-q.site.drive.outlet[p] < q.needed(p) {
			continue
		}
		above, below := q.strays(int(s), p)
		if over := above - q.Limits.DriveTrestleM; over > 0 && over < least {
			least, off, limit = over, above, q.Limits.DriveTrestleM
		}
		if over := below - q.Limits.DriveDigM; over > 0 && over < least {
			least, off, limit = over, below, q.Limits.DriveDigM
		}
	}
	return off, limit
}

// topLevel is the highest water that any flow brings to a station.
func (q *inquiry) topLevel(s int) float64 {
	level := math.Inf(-1)
	for _, f := range q.flows {
		level = max(level, f.top[standing][s].level, f.top[bare][s].level)
	}
	return level
}

// bestPlace is the head of the drive pipe that gives a pump the most head and
// may be laid; else the verdict on the highest.
func (q *inquiry) bestPlace(f *flow, p int) (best bounded, verdict uint32, ok bool) {
	var list []bounded
	for j, s := range q.pairs.heads(p) {
		for c := range classes {
			if head := f.top[c][s].level - q.site.drive.outlet[p]; head >= q.needed(p) {
				list = append(list, bounded{head, int32(p), s, q.pairs.start[p] + int32(j), c})
			}
		}
	}
	byBound(list)
	for k, pl := range list {
		v := q.chord(int(pl.pair), int(pl.s), p)
		if v == chordGood {
			return pl, v, true
		}
		if k == 0 {
			verdict = v
		}
	}
	return best, verdict, false
}

// leastDraw is the least flow that any of the pumps works with, at the least
// head.
func (st *site) leastDraw() float64 {
	least := math.Inf(1)
	for k := range st.engines {
		least = min(least, st.lightest(&st.engines[k]))
	}
	return least
}

// count adds the stations of a reach to the tally of reasons.
func (q *inquiry) count(tally map[string]*Reject, reach *Reach, feasible bool) {
	add := func(reason string, p int, value, limit quantity.Value) {
		t := tally[reason]
		if t == nil {
			t = &Reject{Reason: reason, StationM: float64(q.Creek.Stations[p]), Value: value, Limit: limit}
			tally[reason] = t
		} else if missBy(value, limit) < missBy(t.Value, t.Limit) {
			t.StationM, t.Value, t.Limit = float64(q.Creek.Stations[p]), value, limit
		}
		t.Count++
	}
	for p := reach.From; p < reach.To; p++ {
		switch {
		case !q.Pins.Pump.allows(p): // wanted elsewhere, not ruled out
		case q.PumpAt != nil && !q.PumpAt[p]:
			add(Land, p, quantity.Value{}, quantity.Value{})
		case !q.DeliveryAt[p].OK:
			add(NoDeliveryWay, p, quantity.Value{}, quantity.Value{})
		default:
			if reason, value, limit, ok := q.headMiss(p); ok {
				add(reason, p, value, limit)
			} else if !feasible {
				add(reach.Reason, p, reach.Value, reach.Limit)
			}
		}
	}
}

// missBy is how far a value is from its limit, as a ratio.
func missBy(value, limit quantity.Value) float64 {
	off := math.Abs(math.Log(value.SI / limit.SI))
	if math.IsNaN(off) {
		return math.Inf(1)
	}
	return off
}

// nearest says, when nothing is feasible, what comes closest and what would
// do.
func (q *inquiry) nearest(res *Result) []finding.Finding {
	best, share := -1, math.Inf(-1)
	for p := range q.n {
		if math.IsNaN(q.lift[p]) {
			continue
		}
		if s := q.share(p); s > share || best < 0 {
			best, share = p, s
		}
	}
	at := func(f finding.Finding, p int) []finding.Finding {
		return []finding.Finding{f.At(float64(q.Creek.Stations[p]))}
	}
	switch {
	case best < 0:
		return q.nowhere(res)
	case q.TakeFlow <= 0 || len(q.engines) == 0 || len(q.ways) == 0:
		return []finding.Finding{finding.New(finding.Error, "nothing_to_choose_from", "there is no flow to take, or the catalog has no drive pipe with a pump of its bore, or no delivery pipe", "give the creek's low flow and check the choice of pipes and pumps")}
	case math.IsInf(share, -1) && !math.IsInf(q.within(best), -1):
		reason, value, limit, _ := q.headMiss(best)
		return at(finding.New(finding.Error, "nearest_miss", missText(reason), missHint(reason), value, limit), best)
	case share < 1:
		return at(q.headMissing(best), best)
	}
	// There is head enough; take the reach with the closest miss.
	reach := slices.MinFunc(res.Reaches, func(a, b Reach) int {
		return cmp.Compare(q.reachMiss(&a), q.reachMiss(&b))
	})
	f := finding.New(finding.Error, "nearest_miss", missText(reach.Reason), missHint(reach.Reason), reach.Value, reach.Limit)
	f.StationM = reach.FromM
	return []finding.Finding{f}
}

// reachMiss ranks reaches by how far they are off; those without head enough
// come last.
func (q *inquiry) reachMiss(r *Reach) float64 {
	switch r.Reason {
	case PinnedElsewhere, TooLittleHead, StandpipeTooHigh, SupplySummit, SupplyTooLong, DrivePipeTooLong, DrivePipeTooShort, NoDeliveryWay:
		return math.Inf(1)
	}
	return min(missBy(r.Value, r.Limit), math.MaxFloat64)
}

// nowhere explains a creek where no pump may stand.
func (q *inquiry) nowhere(res *Result) []finding.Finding {
	if q.Pins.Pump != nil {
		return nil // one place is ruled out, and that says why
	}
	if len(res.Rejected) > 0 && res.Rejected[0].Reason == Land && res.Rejected[0].Count == q.n {
		return []finding.Finding{finding.New(finding.Error, "nearest_miss", "the land allows no pump anywhere along the creek", "check the land file: who may be asked?")}
	}
	return []finding.Finding{finding.New(finding.Error, "nearest_miss", "no place for a pump along the creek has a way for the delivery pipe to the tank", "check the tank's position, the land file and limits.delivery_pipe_length.max")}
}

// missText puts a reason into words; {0} is the value, {1} the limit.
func missText(reason string) string {
	switch reason {
	case TooLittleWater:
		return "the best place gives {0}, {1} are needed"
	case NotSureEnough:
		return "with the certainty that is asked for, the best place gives {0} of {1}"
	case PumpTooSmall:
		return "the flow of {0} is more than the largest pump draws, {1}"
	case LiftRatioTooHigh:
		return "the lift is {0} the drive head at best, {1} is allowed"
	case LiftTooHigh:
		return "the lift of {0} is more than the beat of any pump reaches, about {1}"
	case LiftTooLow:
		return "the tank stands {0} above the pump; a ram needs {1} at least"
	case SurgeAboveRating:
		return "shutting off raises the pressure in the drive pipe to {0}, its rating is {1}"
	case DeliveryAboveRating:
		return "the pressure in the delivery pipe reaches {0}, its rating is {1}"
	case DriveGround:
		return "there is head enough, but a straight drive pipe that gets it lies {0} off the ground at its worst place; {1} are allowed"
	case Land:
		return "there is head enough, but no straight drive pipe that gets it stays on land that may be crossed"
	}
	return "no layout keeps all limits ({0}, limit {1})"
}

func missHint(reason string) string {
	switch reason {
	case TooLittleWater:
		return "take more of the creek, lower the demand or allow more head"
	case NotSureEnough:
		return "a drop that is measured on site makes the head surer; or take more of the creek, or ask for less water or less certainty"
	case PumpTooSmall:
		return "allow more pumps or larger ones"
	case LiftRatioTooHigh, LiftTooHigh:
		return "a lower tank, or more drive head, would do"
	case LiftTooLow:
		return "look at a plain gravity pipe"
	case SurgeAboveRating:
		return "choose a drive pipe with a higher rating"
	case DeliveryAboveRating:
		return "choose a delivery pipe with a higher rating"
	case DriveGround:
		return "allow a deeper trench or a higher trestle"
	}
	return ""
}
