package optimize

import (
	"cmp"
	"container/heap"
	"context"
	"iter"
	"math"
	"slices"

	"route/internal/profile"
	"route/internal/quantity"
)

// Trials works out layouts whose places are all given, one at a time and in
// about a millisecond: what does not hang on the places is worked out once. It
// is safe for concurrent use.
//
// Within the limits a trial is the best choice of flow, pipes and pumps for its
// places, as exact as the search with all places pinned. Where a limit is
// broken, the trial says which, and shows what would be if it gave way: of the
// choices with the fewest limits broken, the best.
type Trials struct {
	strict, wide *site
	creek        *profile.Profile // every station that a place may have
	regular      []int            // those at which the pipe is held against the grade line
	land         TrialLand
	supply       *Supply // nil keeps supply pipes along the creek
}

// TrialLand says where something may stand and where the supply pipe may pass,
// by stations of the whole profile. A nil allows all.
type TrialLand struct {
	MayStand func(which Place, station int) bool
	MayPass  func(station int) bool
}

// TrialPlaces are the places of a trial, stations of the whole profile; Box and
// Standpipe are -1 where there is none.
type TrialPlaces struct{ Intake, Box, Standpipe, Pump int }

// TrialChoice names what is not to be chosen: IDs of the catalog, and a number
// of pumps. Zero values leave all to choose.
type TrialChoice struct {
	SupplyPipe, DrivePipe, DeliveryPipe, Pump string
	Pumps                                     int
}

// Breach is a limit that a trial breaks. Value and Limit are zero where there
// is nothing to measure.
type Breach struct {
	Reason       string
	Value, Limit quantity.Value
	Station      int // of the whole profile: where
}

// Trial is what places give. Candidate, whose stations are those of the whole
// profile, is nil where no pump runs.
type Trial struct {
	Candidate *Candidate
	Breaches  []Breach
	HeadM     float64 // drive head of Candidate, or the most that the places bring; NaN when none
}

// NewTrials prepares trials for a problem. creek is the whole profile, of which
// the problem's is a part: regular says which stations.
func NewTrials(ctx context.Context, p Problem, creek *profile.Profile, regular []int, land TrialLand) (*Trials, error) {
	p = p.WithDelivery(0)
	t := &Trials{creek: creek, regular: regular, land: land, supply: p.Supply}
	p.Pins, p.Supply = Pins{}, nil // each trial has stations of its own
	p.Choices.SettlingBox = []bool{false, true}
	if t.land.MayStand == nil {
		t.land.MayStand = func(Place, int) bool { return true }
	}
	if t.land.MayPass == nil {
		t.land.MayPass = func(int) bool { return true }
	}
	var err error
	if t.strict, err = newTrialSite(ctx, p, nil); err != nil {
		return nil, err
	}
	p.Limits = freeLimits(&p)
	t.wide, err = newTrialSite(ctx, p, t.strict.flows)
	return t, err
}

// freeLimits are limits that give way.
func freeLimits(p *Problem) Limits {
	l := p.Limits
	l.DriveHeadMinM, l.DriveHeadMaxM = 0.1, 2*l.DriveHeadMaxM
	l.DriveLengthMinM, l.DriveLengthMaxM = 1, 3*l.DriveLengthMaxM
	l.StandpipeMaxM += 20
	l.SupplyLengthMaxM = math.Inf(1)
	l.LiftRatioMax = 0
	return l
}

// newTrialSite is newSite without a look at where pipes may lie; levels are the
// flows, nil for those of the problem.
func newTrialSite(ctx context.Context, p Problem, levels []*flow) (*site, error) {
	st, err := prepareSite(&p, &Settings{Workers: 1})
	if err != nil {
		return nil, err
	}
	if levels == nil && st.TakeFlow > 0 {
		for _, q := range st.flowLevels() {
			levels = append(levels, &flow{m3s: q})
		}
	}
	for _, f := range levels {
		st.flows = append(st.flows, &flow{site: st, m3s: f.m3s})
	}
	x := st.extentOfLimits()
	if err := st.tabulateDraws(ctx, x); err != nil {
		return nil, err
	}
	for _, f := range st.flows {
		f.makeTables(x)
	}
	return st, nil
}

// extentOfLimits is the extent of all that keeps the limits.
func (st *site) extentOfLimits() extent {
	l := &st.Limits
	x := extent{headLow: max(l.DriveHeadMinM, 0.05), headHigh: 0.1, lengthLow: max(l.DriveLengthMinM, 1), lengthHigh: l.DriveLengthMaxM, liftLow: math.Inf(1), liftHigh: 0.5}
	z := st.Creek.ZM
	for p, way := range st.DeliveryAt {
		if !way.OK {
			continue
		}
		outlet := z[p] + l.PumpAboveCreekM
		lift := max(st.TankInletM, way.CrestM+crestCoverM) - outlet
		// Places between the stations of the problem may lie a little lower or
		// higher.
		const between = 1.0
		x.liftLow, x.liftHigh = min(x.liftLow, lift-between), max(x.liftHigh, lift+between)
		most := min(z[0]-outlet, lift/leastLiftRatio) + between
		if m := l.DriveHeadMaxM; m > 0 {
			most = min(most, m)
		}
		x.headHigh = max(x.headHigh, most)
	}
	x.headLow = min(x.headLow, x.headHigh/1.01)
	x.lengthHigh = max(x.lengthHigh, 1.01*x.lengthLow)
	x.liftLow = min(max(x.liftLow, 0.4), x.liftHigh/1.01)
	x.liftHigh = 1.2*x.liftHigh + 5
	return x
}

// trial is one set of places at work. Its site holds the stations from the
// intake to the pump that matter, and places are indices into them.
type trial struct {
	*site
	of        []int // station of the whole profile
	i, box, s int
	p         int
	class     class
	length    float64 // of the drive pipe
	choice    TrialChoice
	mayReach  bool       // the delivery line is no longer than allowed
	fixed     []Breach   // whatever flow and pipes are chosen
	creek     []Breach   // of every supply pipe along the creek
	ways      []trialWay // flows and supply pipes with the limits that they break
}

// Try works out a layout with all places given. way is the delivery line of
// the pump; its length is 0 where the tank cannot be reached, and it is not OK
// where it is longer than allowed.
func (t *Trials) Try(at TrialPlaces, way DeliveryWay, choice TrialChoice) Trial {
	strict := t.at(t.strict, at, way, choice)
	strict.layOut(t)
	ways := slices.Clone(strict.ways)
	slices.SortStableFunc(ways, func(a, b trialWay) int { return cmp.Compare(len(a.breaches), len(b.breaches)) })
	for from, to := 0, 0; from < len(ways); from = to {
		for to = from; to < len(ways) && len(ways[to].breaches) == len(ways[from].breaches); {
			to++
		}
		on := strict
		if len(strict.fixed)+len(ways[from].breaches) > 0 {
			on = t.at(t.wide, at, way, choice)
			on.Supply = strict.Supply
		}
		if f := on.bestYielding(ways[from:to]); f != nil {
			return strict.result(on, f)
		}
	}
	// No pump runs there.
	nothing := Trial{Breaches: strict.fixed, HeadM: math.NaN()}
	for _, w := range ways {
		if !(w.head <= nothing.HeadM) {
			nothing.HeadM = w.head
		}
	}
	if len(ways) > 0 {
		nothing.Breaches = slices.Concat(strict.fixed, ways[0].breaches)
	}
	if len(nothing.Breaches) == 0 {
		nothing.Breaches = []Breach{strict.whyIdle(ways)}
	}
	return nothing
}

// at puts the places of a trial on a site.
func (t *Trials) at(base *site, at TrialPlaces, way DeliveryWay, choice TrialChoice) *trial {
	places := []int{at.Intake, at.Pump}
	for _, k := range []int{at.Box, at.Standpipe} {
		if k >= 0 {
			places = append(places, k)
		}
	}
	slices.Sort(places)
	from, _ := slices.BinarySearch(t.regular, at.Intake)
	to, _ := slices.BinarySearch(t.regular, at.Pump)
	of := slices.Concat(places, t.regular[from:to])
	slices.Sort(of)
	of = slices.Compact(of)
	c := &profile.Profile{}
	p := *base.Problem
	for _, k := range of {
		c.Stations, c.Points = append(c.Stations, t.creek.Stations[k]), append(c.Points, t.creek.Points[k])
		c.ZM, c.SlopeM = append(c.ZM, t.creek.ZM[k]), append(c.SlopeM, t.creek.SlopeM[k])
	}
	p.Creek, p.DeliveryAt = c, make([]DeliveryWay, len(of))
	p.IntakeAt, p.StandpipeAt, p.PumpAt, p.BoxAt, p.PassAt = nil, nil, nil, nil, nil
	mayReach := way.OK
	way.OK = way.LengthM > 0
	p.DeliveryAt[len(of)-1] = way
	st := &site{Problem: &p, n: len(of), workers: 1, record: base.record, tuning: base.tuning, options: base.options, engines: base.engines, ways: base.ways, stands: base.stands, costs: base.costs, flows: base.flows}
	if base.risk != nil {
		st.risk = &headRisk{Problem: &p, z: base.risk.z}
	}
	st.placeHeights()
	index := func(k int) int {
		if k < 0 {
			return -1
		}
		at, _ := slices.BinarySearch(of, k)
		return at
	}
	r := &trial{site: st, of: of, i: index(at.Intake), box: index(at.Box), s: index(at.Standpipe), p: len(of) - 1, choice: choice, mayReach: mayReach}
	if r.s < 0 {
		r.class, r.s = bare, max(r.i, r.box)
	}
	r.length = st.drive.length(r.s, r.p)
	r.fixed, r.creek = r.fixedBreaches(&t.land), r.creekBreaches(&t.land)
	return r
}

// breach notes a broken limit at a station.
func (r *trial) breach(list []Breach, k int, reason string, value, limit quantity.Value) []Breach {
	return append(list, Breach{reason, value, limit, r.of[k]})
}

// fixedBreaches are the limits that the places break whatever flows.
func (r *trial) fixedBreaches(land *TrialLand) (list []Breach) {
	l, w, none := &r.Limits, r.water, quantity.Value{}
	for _, q := range []struct {
		which Place
		at    int
	}{{AtIntake, r.i}, {AtBox, r.box}, {AtStandpipe, r.s}, {AtPump, r.p}} {
		if q.at >= 0 && (q.which != AtStandpipe || r.class == standing) && !land.MayStand(q.which, r.of[q.at]) {
			list = r.breach(list, q.at, Land, none, none)
		}
	}
	if !r.mayReach {
		list = r.breach(list, r.p, NoDeliveryWay, none, none)
	}
	if r.box >= 0 {
		if lead := w.s[r.box] - w.s[r.i]; !(lead >= l.BoxLeadM) {
			list = r.breach(list, r.box, BoxTooNear, quantity.Metres(lead), quantity.Metres(l.BoxLeadM))
		}
	}
	return r.driveBreaches(list)
}

// creekBreaches are the limits that every supply pipe along the creek breaks.
func (r *trial) creekBreaches(land *TrialLand) (list []Breach) {
	l, w, none := &r.Limits, r.water, quantity.Value{}
	for k := r.i; k <= r.s && r.s > r.i; k++ {
		if !land.MayPass(r.of[k]) {
			list = r.breach(list, k, SupplyOffLand, none, none)
			break
		}
	}
	if long := w.s[r.s] - w.s[r.i]; !(long <= l.SupplyLengthMaxM) {
		list = r.breach(list, r.s, SupplyTooLong, quantity.Metres(long), quantity.Metres(l.SupplyLengthMaxM))
	}
	if k := int(w.steep[r.i]); k < r.s {
		list = r.breach(list, k, SupplyTooFlat, quantity.Of(quantity.Ratio, (w.z[k]-w.z[k+1])/(w.s[k+1]-w.s[k])), quantity.Of(quantity.Ratio, l.SupplySlopeMin))
	}
	return list
}

// driveBreaches adds those of the drive pipe.
func (r *trial) driveBreaches(list []Breach) []Breach {
	l, d, none := &r.Limits, &r.drive, quantity.Value{}
	if rise := d.outlet[r.p] - d.z[r.s]; !(rise < 0) {
		return r.breach(list, r.p, DriveRises, quantity.Metres(rise), none)
	}
	squared := d.lengthSquared(r.s, r.p)
	if !(squared >= l.DriveLengthMinM*l.DriveLengthMinM) {
		list = r.breach(list, r.p, DrivePipeTooShort, quantity.Metres(r.length), quantity.Metres(l.DriveLengthMinM))
	}
	if !(squared <= l.DriveLengthMaxM*l.DriveLengthMaxM) {
		list = r.breach(list, r.p, DrivePipeTooLong, quantity.Metres(r.length), quantity.Metres(l.DriveLengthMaxM))
	}
	if r.ChordAllowed != nil && !r.ChordAllowed(d.at[r.s], d.at[r.p]) {
		list = r.breach(list, r.p, DriveOffLand, none, none)
	}
	switch above, below := r.strays(r.s, r.p); {
	case above > l.DriveTrestleM:
		list = r.breach(list, r.p, DriveGround, quantity.Metres(above), quantity.Metres(l.DriveTrestleM))
	case below > l.DriveDigM:
		list = r.breach(list, r.p, DriveGround, quantity.Metres(below), quantity.Metres(l.DriveDigM))
	}
	return list
}

// trialWay is one way to bring water to the head of the drive pipe: a flow and
// a supply pipe.
type trialWay struct {
	flow     int
	rung     rung // its cost is not filled in
	head     float64
	breaches []Breach
}

// layOut lists the flows and supply pipes: those over the ground and those
// along the creek.
func (r *trial) layOut(t *Trials) {
	over := r.layOver(t)
	for f := range r.flows {
		if r.class == bare && r.box < 0 {
			if r.choice.SupplyPipe == "" {
				r.withHead(f, rung{level: r.water.z[r.i], intake: int32(r.i), box: -1, option: poolOption}, nil)
			}
			continue
		}
		for k := range r.options {
			g, ok := r.gradeOf(f, k)
			if !ok {
				continue
			}
			along := rung{intake: int32(r.i), box: int32(r.box), option: int32(k)}
			if over != nil {
				if w, breaches, ok := over[f*len(r.options)+k].carry(r, &g, along); ok {
					r.withHead(f, w, breaches)
				}
			}
			var breaches []Breach
			along.level, breaches = r.carry(g)
			along.length = r.water.s[r.s] - r.water.s[r.i]
			r.withHead(f, along, slices.Concat(r.creek, breaches))
		}
	}
}

// gradeOf gives the grade of a supply option at a flow; ok is false where it is
// not one of this trial.
func (r *trial) gradeOf(f, k int) (g grade, ok bool) {
	o := &r.options[k]
	if o.box != (r.box >= 0) || r.choice.SupplyPipe != "" && r.choice.SupplyPipe != o.item.ID {
		return g, false
	}
	return r.grade(o, r.flows[f].m3s)
}

// carry is the water level that a supply pipe brings to the head of the drive
// pipe, and the limits that it breaks on the way. Its terms are those of lines.
func (r *trial) carry(g grade) (level float64, breaches []Breach) {
	w, l := r.water, &r.Limits
	a := func(k int) float64 { return w.z[k] + float64(g.slope*w.s[k]) }
	head := a(r.i) - g.loss
	worst, at := 0.0, -1
	for k := r.i + 1; k <= r.s; k++ {
		if over := a(k) + g.cover - head; !(a(k)+g.cover <= head) && over > worst {
			worst, at = over, k
		}
		if k == r.box {
			head = min(head-g.drop, a(k)+g.rise)
			if !(head >= a(k)) && r.class == standing {
				breaches = r.breach(breaches, k, BoxTooLow, quantity.Metres(a(k)-head), quantity.Value{})
			}
		}
	}
	if at >= 0 {
		breaches = r.breach(breaches, at, SupplySummit, quantity.Metres(worst), quantity.Value{})
	}
	h := head - a(r.s)
	switch {
	case !(h <= w.heightMax):
		breaches = r.breach(breaches, r.s, StandpipeTooHigh, quantity.Metres(h+l.StandpipeFreeboardM), quantity.Metres(l.StandpipeMaxM))
	case r.class == standing && !(h >= w.heightMin):
		breaches = r.breach(breaches, r.s, StandpipeTooLow, quantity.Metres(h), quantity.Metres(w.heightMin))
	case r.class == bare && !(h >= 0):
		breaches = r.breach(breaches, r.s, BoxTooLow, quantity.Metres(-h), quantity.Value{})
	}
	return w.z[r.s] + h, breaches
}

// withHead adds a way with the limits that its drive head breaks; one without
// any head is none.
func (r *trial) withHead(f int, g rung, breaches []Breach) {
	head, lift := g.level-r.drive.outlet[r.p], r.lift[r.p]
	if !(head > 0) {
		return
	}
	l := &r.Limits
	switch {
	case head < l.DriveHeadMinM:
		breaches = r.breach(breaches, r.p, TooLittleHead, quantity.Of(quantity.Head, head), quantity.Of(quantity.Head, l.DriveHeadMinM))
	case head < r.needed(r.p):
		breaches = r.breach(breaches, r.p, LiftRatioTooHigh, quantity.Of(quantity.Multiple, lift/head), quantity.Of(quantity.Multiple, l.LiftRatioMax))
	}
	switch {
	case head > lift/leastLiftRatio:
		breaches = r.breach(breaches, r.p, LiftTooLow, quantity.Of(quantity.Head, lift), quantity.Of(quantity.Head, leastLiftRatio*head))
	case head > r.allowed(r.p):
		breaches = r.breach(breaches, r.p, DriveHeadTooHigh, quantity.Of(quantity.Head, head), quantity.Of(quantity.Head, l.DriveHeadMaxM))
	}
	r.ways = append(r.ways, trialWay{flow: f, rung: g, head: head, breaches: breaches})
}

// keeping decides whether a layout is wanted that misses a limit of pump or
// pipes, or none.
type keeping func(f *found, m *miss) bool

// bestYielding is the best choice that keeps the limits of pump and pipes, and
// brings the demand where the least cost for it is asked for; else the one with
// the most water, with these limits or without.
func (r *trial) bestYielding(ways []trialWay) *found {
	asked := func(f *found, m *miss) bool {
		if r.Objective == MostWater || r.Objective == MostSureWater {
			return m == nil && f.sure > 0
		}
		return m == nil && f.op.DeliveredTotal >= r.Demand && f.sure >= r.Demand
	}
	if f := r.best(r.Objective, ways, asked); f != nil {
		return f
	}
	if f := r.best(MostWater, ways, func(_ *found, m *miss) bool { return m == nil }); f != nil {
		return f
	}
	return r.best(MostWater, ways, func(f *found, _ *miss) bool { return f.op.DeliveredTotal > 0 })
}

// trialTask is a flow, supply pipe and engine to be looked at, with a bound of
// what it delivers; for the least cost also a delivery pipe, and what all cost.
type trialTask struct {
	choice
	way   *trialWay
	at    int // of the way
	bound float64
	cost  int64
}

// tasks goes through what may work, most promising first. A few of many are
// asked for as a rule, so that they are not sorted all.
func (r *trial) tasks(goal Objective, ways []trialWay) iter.Seq[*trialTask] {
	queue := &taskQueue{before: func(a, b *trialTask) int {
		first := 0
		switch goal {
		case MostHead:
			first = cmp.Compare(ways[b.at].head, ways[a.at].head)
		case LeastCost:
			first = cmp.Compare(a.cost, b.cost)
		}
		if first = cmp.Or(first, cmp.Compare(b.bound, a.bound)); first != 0 {
			return first
		}
		// Among equals the order in which they were listed.
		return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.engine.index, b.engine.index), cmp.Compare(a.choice.way, b.choice.way))
	}}
	queue.list = r.listTasks(goal, ways)
	for k := range queue.list {
		queue.order = append(queue.order, int32(k))
	}
	heap.Init(queue)
	return func(yield func(*trialTask) bool) {
		for queue.Len() > 0 {
			if !yield(&queue.list[heap.Pop(queue).(int32)]) {
				return
			}
		}
	}
}

// taskQueue is a heap of tasks, for the library's functions.
type taskQueue struct {
	list   []trialTask
	order  []int32
	before func(a, b *trialTask) int
}

func (q *taskQueue) Len() int { return len(q.order) }
func (q *taskQueue) Less(i, j int) bool {
	return q.before(&q.list[q.order[i]], &q.list[q.order[j]]) < 0
}
func (q *taskQueue) Swap(i, j int) { q.order[i], q.order[j] = q.order[j], q.order[i] }
func (q *taskQueue) Push(any)      { panic("optimize: no task comes later") }
func (q *taskQueue) Pop() any {
	last := len(q.order) - 1
	k := q.order[last]
	q.order = q.order[:last]
	return k
}

// listTasks lists what may work.
func (r *trial) listTasks(goal Objective, ways []trialWay) []trialTask {
	var list []trialTask
	lift := r.lift[r.p]
	if math.IsNaN(lift) {
		return nil
	}
	for k := range ways {
		w := &ways[k]
		f := r.flows[w.flow]
		for e := range r.engines {
			t := trialTask{choice: choice{f, &r.engines[e], -1}, way: w, at: k}
			if !r.wantsEngine(t.engine) || t.table().idle {
				continue
			}
			if low, high := t.table().window(r.length, lift); w.head < low || w.head > high {
				continue
			}
			t.bound = t.table().at(w.head, lift, r.length)
			if t.bound <= 0 || goal == LeastCost && t.bound < r.Demand {
				continue
			}
			if goal != LeastCost {
				list = append(list, t)
				continue
			}
			for way := range r.site.ways {
				if r.wantsPipe(way) {
					t.choice.way = way
					t.cost = r.costOf(r.found(&t))
					list = append(list, t)
				}
			}
		}
	}
	return list
}

func (r *trial) wantsEngine(e *engine) bool {
	c := &r.choice
	return (c.Pumps == 0 || c.Pumps == e.pumps) && (c.Pump == "" || c.Pump == e.pump.ID) && (c.DrivePipe == "" || c.DrivePipe == e.drive.ID)
}

func (r *trial) wantsPipe(way int) bool {
	return r.choice.DeliveryPipe == "" || r.choice.DeliveryPipe == r.site.ways[way].item.ID
}

// found is a task as a layout, before its pump has been worked out.
func (r *trial) found(t *trialTask) *found {
	return &found{choice: t.choice, s: r.s, p: r.p, class: r.class, rung: t.way.rung, length: r.length, head: t.way.head}
}

// best goes through the tasks until none that is left can be better. A layout
// that is not wanted is passed over.
func (r *trial) best(goal Objective, ways []trialWay, wanted keeping) *found {
	var best *found
	most := func() float64 {
		if best == nil {
			return 0
		}
		return best.sure
	}
	water := goal == MostWater || goal == MostSureWater
	try := func(t *trialTask) {
		f := r.found(t)
		var m *miss
		f.op, m = r.evaluate(t.choice, r.p, r.length, f.head)
		f.sure = f.op.DeliveredTotal
		if m == nil && r.asksSure(goal) {
			r.makeSure(f)
		}
		if !wanted(f, m) {
			return
		}
		if f.cost = r.costOf(f); best == nil || compareFound(goal, f, best) < 0 {
			best = f
		}
	}
	for t := range r.tasks(goal, ways) {
		same := best != nil && (water || goal == MostHead && t.way.head == best.head || goal == LeastCost && t.cost == best.cost)
		switch {
		case best != nil && (goal == MostHead && t.way.head < best.head || goal == LeastCost && t.cost > best.cost):
			return best
		case water && same && t.bound <= most():
			return best
		case same && t.bound <= most():
			continue
		}
		if goal == LeastCost {
			want, more := r.Demand, false
			if same && most() >= want {
				want, more = most(), true
			}
			if r.couldDeliver(t.choice, r.p, r.length, t.way.head, want, more) {
				try(t)
			}
			continue
		}
		worst := math.Inf(1) // friction that was too much
		for way := range r.site.ways {
			least := 0.0
			if same = best != nil && (water || t.way.head == best.head); same {
				least = most()
			}
			loss := r.deliveryLoss(way, r.p, least)
			if loss >= worst || !r.wantsPipe(way) {
				continue
			}
			t.choice.way = way
			if !r.couldDeliver(t.choice, r.p, r.length, t.way.head, least, true) {
				worst = loss
				continue
			}
			try(t)
		}
	}
	return best
}

// whyIdle says why no pump runs although no other limit is broken: what is
// missed by least.
func (r *trial) whyIdle(ways []trialWay) Breach {
	near := miss{reason: PumpTooSmall, off: math.Inf(1)}
	if math.IsNaN(r.lift[r.p]) || len(ways) == 0 {
		near.reason = TooLittleHead
	}
	for k := range ways {
		for e := range r.engines {
			if len(r.site.ways) == 0 || math.IsNaN(r.lift[r.p]) || !r.wantsEngine(&r.engines[e]) {
				continue
			}
			_, m := r.evaluate(choice{r.flows[ways[k].flow], &r.engines[e], 0}, r.p, r.length, ways[k].head)
			if m == nil {
				continue
			}
			if off := missBy(m.value, m.limit); off < near.off {
				near = *m
				near.off = off
			}
		}
	}
	return Breach{near.reason, near.value, near.limit, r.of[r.p]}
}

// result writes a layout out, with every limit that it breaks; on is the site
// on which it was found.
func (r *trial) result(on *trial, f *found) Trial {
	r.makeSure(f)
	c := on.describe(f, nil)
	t := Trial{Candidate: &c, HeadM: c.DriveHeadM, Breaches: slices.Clone(r.fixed)}
	for _, w := range r.ways {
		if w.rung == f.rung && r.flows[w.flow].m3s == f.flow.m3s {
			t.Breaches = append(t.Breaches, w.breaches...)
			break
		}
	}
	op, m := r.evaluate(f.choice, r.p, r.length, f.head)
	if m != nil && m.reason != LiftRatioTooHigh {
		t.Breaches = r.breach(t.Breaches, r.p, m.reason, m.value, m.limit)
	}
	water := r.Objective == MostWater || r.Objective == MostSureWater
	if !water && op.DeliveredTotal < r.Demand {
		t.Breaches = r.breach(t.Breaches, r.p, TooLittleWater, quantity.Of(quantity.DailyVolume, op.DeliveredTotal), quantity.Of(quantity.DailyVolume, r.Demand))
	}
	wanted := r.Demand
	if r.Objective == MostSureWater {
		wanted = op.DeliveredTotal
	}
	if r.asksSure(r.Objective) && op.DeliveredTotal >= wanted && (f.sure < wanted && !water || f.sure <= 0) {
		t.Breaches = r.breach(t.Breaches, r.p, NotSureEnough, quantity.Of(quantity.DailyVolume, f.sure), quantity.Of(quantity.DailyVolume, wanted))
	}
	for _, at := range []*int{&c.Intake, &c.Pump, &c.Box, &c.Standpipe, &c.DriveFrom} {
		if *at >= 0 {
			*at = r.of[*at]
		}
	}
	c.OnStations(r.of)
	return t
}

// Better says whether one trial is better than another of the same places: it
// breaks no limit where the other does, or is better by the objective.
func (t *Trials) Better(a, b *Trial) bool {
	works := func(t *Trial) bool { return t.Candidate != nil && len(t.Breaches) == 0 }
	if !works(a) || !works(b) {
		return works(a) && !works(b)
	}
	water := cmp.Compare(a.Candidate.Operation.DeliveredTotal, b.Candidate.Operation.DeliveredTotal)
	cost := cmp.Compare(b.Candidate.Cost.Minor, a.Candidate.Cost.Minor)
	sure := cmp.Compare(a.Candidate.SureWater, b.Candidate.SureWater)
	switch t.strict.Objective {
	case MostHead:
		return cmp.Or(cmp.Compare(a.HeadM, b.HeadM), water, cost) > 0
	case MostWater:
		return cmp.Or(water, cost) > 0
	case MostSureWater:
		return cmp.Or(sure, cost) > 0
	}
	return cmp.Or(cost, sure) > 0
}
