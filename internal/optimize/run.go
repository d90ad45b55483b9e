package optimize

import (
	"context"
	"math"
	"slices"
	"sync/atomic"

	"route/internal/catalog"
	"route/internal/finding"
	"route/internal/hydraulics"
	"route/internal/quantity"
)

// reachM is the length of the reaches that are reported on.
const reachM = 30.0

// job is a number of buckets to be searched for the best layout of all, one
// after the other: what one finds spares work in the next.
type job struct {
	goal    Objective
	buckets []bucket
	best    *found
}

// run searches reach by reach, so that the best of every reach is known and
// reaches can be searched side by side without a word between them: what is
// found does not depend on who finds it first.
func (st *site) run(ctx context.Context) (*Result, error) {
	reaches := st.reaches()
	goals := []Objective{st.Objective, MostHead, MostWater}
	if st.Objective != LeastCost {
		goals = append(goals, LeastCost)
	}
	byGoal := map[Objective][]*job{}
	var jobs []*job
	for _, goal := range goals {
		if byGoal[goal] != nil {
			continue
		}
		if goal == LeastCost && st.Objective != LeastCost {
			// Only its winner is shown.
			all := &job{goal: goal}
			for _, r := range reaches {
				all.buckets = append(all.buckets, bucket{from: r.From, to: r.To, anyClass: true})
			}
			byGoal[goal] = []*job{all}
		} else {
			for _, r := range reaches {
				byGoal[goal] = append(byGoal[goal], &job{goal: goal, buckets: []bucket{{from: r.From, to: r.To, anyClass: true}}})
			}
		}
		jobs = append(jobs, byGoal[goal]...)
	}
	if err := st.do(ctx, jobs); err != nil {
		return nil, err
	}
	res := &Result{Reaches: reaches}
	kept, err := st.choosePlaces(ctx, byGoal)
	if err != nil {
		return nil, err
	}
	for k := range kept {
		res.Ranked = append(res.Ranked, st.candidate(kept[k].found, kept[k].bestAt))
	}
	res.Status = Found
	if len(res.Ranked) == 0 {
		res.Status = Infeasible
	}
	if err := st.explain(ctx, res, byGoal, kept); err != nil {
		return nil, err
	}
	res.Stats = Stats{Stations: st.n, Pairs: len(st.pairs.from), Options: len(st.flows) * len(st.options), Evaluations: st.evaluations.Load(), Bounds: st.bounds.Load()}
	return res, nil
}

// do runs jobs on the workers.
func (st *site) do(ctx context.Context, jobs []*job) error {
	var done atomic.Int64
	return st.each(ctx, len(jobs), func(k int) {
		j := jobs[k]
		for _, b := range j.buckets {
			j.best = st.seek(ctx, j.goal, b, j.best)
		}
		st.record(Progress{int(done.Add(1)), len(jobs)})
	})
}

// reaches cuts the creek into stretches of reachM.
func (st *site) reaches() []Reach {
	var list []Reach
	from := 0
	for k := 1; k <= st.n; k++ {
		start := float64(st.Creek.Stations[from])
		if k == st.n || float64(st.Creek.Stations[k])-start >= reachM {
			list = append(list, Reach{From: from, To: k, FromM: start, ToM: float64(st.Creek.Stations[min(k, st.n-1)]), Candidate: -1, HeadM: math.NaN(), Water: math.NaN()})
			from = k
		}
	}
	return list
}

// keeper is a layout that will be shown.
type keeper struct {
	*found
	bestAt []Objective
}

// different says whether two layouts are worth showing side by side: their
// pumps or their intakes stand apart, or they differ in the number of pumps or
// in having a standpipe.
func (st *site) different(a, b *found) bool {
	apart := func(i, j int) bool {
		return math.Abs(st.water.s[i]-st.water.s[j]) > st.Limits.SeparationM
	}
	return a.engine.pumps != b.engine.pumps || a.class != b.class || apart(a.p, b.p) || apart(int(a.rung.intake), int(b.rung.intake))
}

// choosePlaces picks the layouts to show: from the best of each reach, the best
// that differs from all picked before, and so on; where that gives too few,
// from the best with each number of pumps and with and without standpipe, at
// all or in each reach, and at last with intakes away from the picked ones. The winners of
// the other objectives follow.
func (st *site) choosePlaces(ctx context.Context, byGoal map[Objective][]*job) ([]keeper, error) {
	var pool []*found
	add := func(jobs []*job) {
		for _, j := range jobs {
			if j.best != nil {
				pool = append(pool, j.best)
			}
		}
	}
	add(byGoal[st.Objective])
	picked := st.pick(pool)
	for _, together := range []bool{true, false} {
		if len(picked) == 0 || len(picked) >= st.Layouts {
			break
		}
		more := st.variants(byGoal[st.Objective], together)
		if err := st.do(ctx, more); err != nil {
			return nil, err
		}
		add(more)
		picked = st.pick(pool)
	}
	for len(picked) > 0 && len(picked) < st.Layouts && st.Pins.Intake == nil {
		more, err := st.elsewhere(ctx, byGoal[st.Objective], picked)
		if err != nil {
			return nil, err
		}
		before := len(picked)
		add(more)
		if picked = st.pick(pool); len(picked) == before {
			break
		}
	}
	var kept []keeper
	for _, f := range picked {
		kept = append(kept, keeper{found: f})
	}
	for k := range kept {
		st.makeSure(kept[k].found)
	}
	for _, goal := range []Objective{MostHead, MostWater, MostSureWater, LeastCost} {
		var best *found
		for _, j := range byGoal[goal] {
			if j.best != nil && (best == nil || compareFound(goal, j.best, best) < 0) {
				best = j.best
			}
		}
		if best == nil {
			continue
		}
		at := slices.IndexFunc(kept, func(k keeper) bool { return compareFound(goal, k.found, best) == 0 })
		if at < 0 {
			at = len(kept)
			st.makeSure(best)
			kept = append(kept, keeper{found: best})
		}
		kept[at].bestAt = append(kept[at].bestAt, goal)
	}
	return kept, nil
}

// pick takes the best of a pool, then the best that differs from it, and so
// on.
func (st *site) pick(pool []*found) []*found {
	pool = slices.Clone(pool)
	slices.SortStableFunc(pool, func(a, b *found) int { return compareFound(st.Objective, a, b) })
	var picked []*found
	for _, f := range pool {
		if len(picked) == st.Layouts {
			break
		}
		if !slices.ContainsFunc(picked, func(o *found) bool { return !st.different(f, o) }) {
			picked = append(picked, f)
		}
	}
	return picked
}

// variants lists the buckets of feasible reaches by number of pumps and class:
// for the best of all reaches together, or of each.
func (st *site) variants(jobs []*job, together bool) []*job {
	var counts []int
	for k := range st.engines {
		if !slices.Contains(counts, st.engines[k].pumps) {
			counts = append(counts, st.engines[k].pumps)
		}
	}
	var list []*job
	for _, n := range counts {
		for c := range classes {
			all := &job{goal: st.Objective}
			for _, j := range jobs {
				if j.best == nil {
					continue
				}
				b := j.buckets[0]
				b.pumps, b.only, b.anyClass = n, c, false
				if together {
					all.buckets = append(all.buckets, b)
				} else if n != j.best.engine.pumps || c != j.best.class {
					list = append(list, &job{goal: st.Objective, buckets: []bucket{b}})
				}
			}
			if together {
				list = append(list, all)
			}
		}
	}
	return list
}

// elsewhere searches the feasible reaches again with no intake allowed near
// those picked.
func (st *site) elsewhere(ctx context.Context, jobs []*job, picked []*found) ([]*job, error) {
	p := *st.Problem
	p.IntakeAt = make([]bool, st.n)
	for i := range p.IntakeAt {
		p.IntakeAt[i] = (st.IntakeAt == nil || st.IntakeAt[i]) && !slices.ContainsFunc(picked, func(f *found) bool {
			return math.Abs(st.water.s[i]-st.water.s[f.rung.intake]) <= st.Limits.SeparationM
		})
	}
	other, err := newSite(ctx, &p, &Settings{Workers: st.workers})
	if err != nil {
		return nil, err
	}
	var again []*job
	for _, j := range jobs {
		if j.best != nil {
			again = append(again, &job{goal: j.goal, buckets: j.buckets})
		}
	}
	err = other.do(ctx, again)
	st.evaluations.Add(other.evaluations.Load())
	st.bounds.Add(other.bounds.Load())
	return again, err
}

// candidate writes a layout out in full, with what makes one doubt it.
func (st *site) candidate(f *found, bestAt []Objective) Candidate {
	c := st.describe(f, bestAt)
	c.Findings = st.doubts(&c)
	return c
}

// describe writes a layout out.
func (st *site) describe(f *found, bestAt []Objective) Candidate {
	if f.site != nil {
		st = f.site
	}
	i, e, w := int(f.rung.intake), f.engine, st.water
	way := &st.DeliveryAt[f.p]
	c := Candidate{
		BestAt: bestAt, DeliverySet: st.set, Intake: i, Box: -1, Standpipe: -1, DriveFrom: f.s, Pump: f.p,
		DrivePipe: e.drive.ID, PumpItem: e.pump.ID, DeliveryPipe: st.ways[f.way].item.ID,
		Flow: f.flow.m3s, Operation: f.op,
		DriveHeadM: f.head, RunningLevelM: f.rung.level, StaticLevelM: w.z[i], OutletM: st.drive.outlet[f.p], LiftM: st.lift[f.p],
		DriveM: f.length, DriveFallM: w.z[f.s] - st.drive.outlet[f.p], DeliveryM: way.LengthM,
		SureHeadM: f.head, SureWater: f.sure,
	}
	if st.risk != nil {
		c.SureHeadM = f.sureHead
	}
	c.Layout = catalog.Layout{
		DrivePipe: e.drive.ID, DriveM: f.length, Pump: e.pump.ID, Pumps: e.pumps,
		DeliveryPipe: c.DeliveryPipe, DeliveryM: way.LengthM, DeliveryBends: way.Bends, HighPoints: way.HighPoints, LowPoints: way.LowPoints, LayingSum: way.Laying,
		WasteFraction: st.WasteFraction, ContingencyPart: st.ContingencyPart,
	}
	if f.rung.option != poolOption {
		st.describeSupply(&c, f)
	}
	c.Takeoff, _ = st.Catalog.Materials(c.Layout) // the same quantities were priced in the search
	c.Cost, _ = c.Takeoff.Total()
	return c
}

// describeSupply fills in the supply side of a candidate.
func (st *site) describeSupply(c *Candidate, f *found) {
	w, o := st.water, &st.options[f.rung.option]
	g, _ := st.grade(o, f.flow.m3s)
	c.SupplyPipe = o.item.ID
	c.SupplyM = f.rung.length
	c.IntakeLossM = g.loss
	source := w.z[c.Intake] - g.loss // where the grade line starts, without box
	if o.box {
		c.Box = int(f.rung.box)
		c.BoxAlongM = w.s[c.Box] - w.s[c.Intake]
		c.StaticLevelM -= st.Limits.BoxDropM
	}
	if st.Supply != nil {
		st.drawSupply(c, f, &g)
	}
	c.SupplySlope = g.slope
	c.SupplyLossM = g.slope * c.SupplyM
	if o.box {
		before := source - g.slope*c.BoxAlongM
		c.BoxLevelM = min(before-g.drop, w.z[c.Box]+g.rise)
		c.BoxDropM = before - c.BoxLevelM
	}
	// What is left over is throttled away, or let down into the box.
	if spare := source - c.BoxDropM - c.SupplyLossM - c.RunningLevelM; spare > rounding {
		c.ThrottleM = spare
	}
	c.Layout.SupplyPipe, c.Layout.SupplyM, c.Layout.SettlingBox = c.SupplyPipe, c.SupplyM, o.box
	if f.class == bare {
		return
	}
	c.Standpipe = f.s
	c.StandpipeWaterM = c.RunningLevelM - w.z[f.s]
	c.StandpipeM = o.price[f.engine.standpipe].standpipeHeight(w, c.Intake, f.s)
	if stand := st.stands[f.engine.standpipe]; stand != nil {
		c.StandpipePipe = stand.ID
		c.Layout.StandpipePipe, c.Layout.StandpipeM = stand.ID, c.StandpipeM
	}
}

// Design values of the ratios (hydraulics reference, §3.4 and §4).
const (
	steadyMu                  = 4.0
	shortDrive, longDrive     = 150.0, 1000.0 // length over diameter
	shortForHead, longForHead = 3.0, 7.0      // length over drive head
)

// doubts lists what makes a layout less than certain.
func (st *site) doubts(c *Candidate) []finding.Finding {
	var list []finding.Finding
	note := func(level finding.Level, code, text, hint string, v ...quantity.Value) {
		list = append(list, finding.New(level, code, text, hint, v...).At(float64(st.Creek.Stations[c.Pump])))
	}
	drive, _ := st.Catalog.Item(c.DrivePipe)
	if mu := c.Operation.Mu; mu < steadyMu {
		note(finding.Warning, "weak_beat", "the pressure rise of the beat is {0} the delivery head; below {1} the output is uneven", "a stiffer drive pipe, a smaller pump tuned higher, or less lift makes the beat stronger", quantity.Of(quantity.Multiple, mu), quantity.Of(quantity.Multiple, steadyMu))
	}
	if ld := c.DriveM / drive.Pipe.Pipe.Inside; ld < shortDrive || ld > longDrive {
		note(finding.Note, "drive_length_to_diameter", "the drive pipe is {0} as long as it is wide; handbooks ask for {1} to {2}", "", quantity.Of(quantity.Multiple, ld), quantity.Of(quantity.Multiple, shortDrive), quantity.Of(quantity.Multiple, longDrive))
	}
	if lh := c.DriveM / c.DriveHeadM; lh < shortForHead || lh > longForHead {
		note(finding.Note, "drive_length_to_head", "the drive pipe is {0} as long as its head; handbooks ask for {1} to {2}", "", quantity.Of(quantity.Multiple, lh), quantity.Of(quantity.Multiple, shortForHead), quantity.Of(quantity.Multiple, longForHead))
	}
	if c.Operation.Transition {
		note(finding.Note, "transition_flow", "the flow in the drive pipe is between laminar and turbulent, where friction is uncertain by a fifth", "")
	}
	if c.Standpipe >= 0 && c.StandpipeM < c.StaticLevelM-st.water.z[c.Standpipe]+st.Limits.StandpipeFreeboardM-rounding {
		note(finding.Note, "standpipe_spills", "the standpipe is lower than the source and spills while the pump stands", "lead the spill back to the creek")
	}
	if c.Standpipe >= 0 && !st.restarts(c, drive) {
		note(finding.Warning, "may_not_restart", "with the valve stuck open the supply pipe draws the standpipe down so far that the pump would not start again by itself", "a wider supply pipe or a lighter tuning helps")
	}
	return list
}

// restarts says whether the pump gets going again after its valve was stuck
// open.
func (st *site) restarts(c *Candidate, drive *catalog.Item) bool {
	supply, _ := st.Catalog.Item(c.SupplyPipe)
	in := hydraulics.Installation{
		Fluid: st.Fluid, SourceM: c.StaticLevelM - c.OutletM,
		Supply: hydraulics.Run{Pipe: supply.Pipe.Pipe, LengthM: c.SupplyM, MinorK: st.Limits.IntakeLossK},
		Drive:  hydraulics.Run{Pipe: drive.Pipe.Pipe, LengthM: c.DriveM},
		Ram:    hydraulics.DefaultRam(drive.Pipe.Pipe.Inside), Pumps: c.Operation.Pumps, LiftM: c.LiftM,
	}
	if pump, _ := st.Catalog.Item(c.PumpItem); pump.Ram != nil {
		in.Ram = *pump.Ram
	}
	o, err := in.StuckOpen(c.Operation.ClosingVelocity)
	return err == nil && o.Restarts(c.Operation.ClosingVelocity)
}
