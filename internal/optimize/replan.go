package optimize

import (
	"context"

	"route/internal/catalog"
	"route/internal/hydraulics"
	"route/internal/profile"
)

// Replanner searches one creek again and again with other heights, for layouts
// of one kind: the same flow, pipes, pump, settling box, and with or without
// standpipe. What only those decide (the tables of the pump, the prices) is
// worked out once. It is safe for concurrent use, and what it finds does not
// depend on what is searched beside it.
type Replanner struct {
	base *site
	kind bucket
	goal Objective
}

// Replan is a layout that a Replanner found. Stations are indices into the
// creek's profile; DriveFrom is the head of the drive pipe.
type Replan struct {
	Intake, DriveFrom, Pump int
	Box                     int // -1 where there is none
	DriveHeadM              float64
	AboveFootM              float64 // running water above the creek at DriveFrom
	Water                   float64 // m³/s at the tank
}

// NewReplanner prepares the search for layouts like c. slackM is by how many
// metres the other heights may lie off those of the problem.
func NewReplanner(ctx context.Context, p Problem, c *Candidate, goal Objective, slackM float64) (*Replanner, error) {
	p = p.WithDelivery(c.DeliverySet)
	p.Objective = goal
	p.Supply = nil // along the creek, whose heights are what is in question
	supply := c.SupplyPipe
	if supply == "" { // from the pool itself: any pipe will do, none is used
		supply = p.Catalog.Items(catalog.KindPipe, catalog.UseSupply)[0].ID
	}
	p.Choices = Choices{
		SupplyPipes: []string{supply}, DrivePipes: []string{c.DrivePipe}, DeliveryPipes: []string{c.DeliveryPipe}, Pumps: []string{c.PumpItem},
		PumpCounts: []int{c.Layout.Pumps}, SettlingBox: []bool{c.Box >= 0}, Tuning: p.Choices.Tuning,
	}
	st, err := prepareSite(&p, &Settings{Workers: 1})
	if err != nil {
		return nil, err
	}
	if err := st.takeOneFlow(ctx, c.Flow, slackM); err != nil {
		return nil, err
	}
	r := &Replanner{base: st, goal: goal, kind: bucket{to: st.n, pumps: c.Layout.Pumps, only: bare}}
	if c.Standpipe >= 0 {
		r.kind.only = standing
	}
	return r, nil
}

// takeOneFlow is takeFlows for a single flow, with tables that also hold for
// heights that are off by slackM.
func (st *site) takeOneFlow(ctx context.Context, m3s, slackM float64) error {
	f := &flow{site: st, m3s: m3s}
	f.work(ctx)
	st.flows = []*flow{f}
	x := st.extent()
	x.headLow, x.headHigh = max(0.05, x.headLow-slackM), x.headHigh+slackM
	x.liftLow, x.liftHigh = max(0.4, x.liftLow-slackM), x.liftHigh+slackM
	x.lengthLow, x.lengthHigh = max(0.5, x.lengthLow-slackM), x.lengthHigh+slackM
	if err := st.tabulateDraws(ctx, x); err != nil {
		return err
	}
	f.makeTables(x)
	return ctx.Err()
}

// with is the site with the heights of another profile of the same stations.
func (r *Replanner) with(ctx context.Context, creek *profile.Profile) *site {
	b := r.base
	p := *b.Problem
	p.Creek = creek
	st := &site{Problem: &p, n: b.n, workers: 1, record: b.record, tuning: b.tuning, options: b.options, engines: b.engines, ways: b.ways, stands: b.stands, costs: b.costs, risk: b.risk}
	st.placeCreek()
	f := &flow{site: st, m3s: b.flows[0].m3s}
	f.work(ctx)
	f.tables = b.flows[0].tables
	st.flows = []*flow{f}
	return st
}

// Search finds the best layout on another profile of the same stations; ok is
// false where there is none, or ctx has ended.
func (r *Replanner) Search(ctx context.Context, creek *profile.Profile) (l Replan, ok bool) {
	st := r.with(ctx, creek)
	if ctx.Err() != nil { // its flow is half worked out
		return Replan{}, false
	}
	f := st.seek(ctx, r.goal, r.kind, nil)
	if f == nil {
		return Replan{}, false
	}
	l = Replan{Intake: int(f.rung.intake), Box: int(f.rung.box), DriveFrom: f.s, Pump: f.p, DriveHeadM: f.head, Water: f.op.DeliveredTotal}
	l.AboveFootM = f.rung.level - st.water.z[f.s]
	return l, true
}

// Truth works out what a layout that was found at other heights would be at
// those of the problem: its drive head and the water that it delivers when its
// pump is tuned to the flow, or as near to it as it can be.
func (r *Replanner) Truth(l Replan) Replan {
	st, f := r.base, r.base.flows[0]
	w, e := st.water, &st.engines[0]
	level := w.z[l.Intake]
	if l.DriveFrom != l.Intake {
		g, _ := st.grade(&st.options[0], f.m3s)
		level -= g.loss
		from := l.Intake
		if l.Box >= 0 {
			level = min(level-g.slope*(w.s[l.Box]-w.s[from])-g.drop, w.z[l.Box]+g.rise)
			from = l.Box
		}
		level -= g.slope * (w.s[l.DriveFrom] - w.s[from])
	}
	l.DriveHeadM = level - st.drive.outlet[l.Pump]
	l.AboveFootM, l.Water = level-w.z[l.DriveFrom], 0
	in := hydraulics.Installation{
		Fluid: st.Fluid, SourceM: l.DriveHeadM,
		Drive: hydraulics.Run{Pipe: e.pipe, LengthM: st.drive.length(l.DriveFrom, l.Pump)}, Ram: e.ram, Pumps: e.pumps,
		Delivery: hydraulics.Run{Pipe: st.ways[0].pipe, LengthM: st.DeliveryAt[l.Pump].LengthM}, LiftM: st.lift[l.Pump],
	}
	if l.DriveHeadM <= 0 {
		return l
	}
	op, err := in.TunedTo(f.m3s, st.tuning)
	if t, ok := err.(*hydraulics.TuningError); ok && !t.TooLittle() {
		op, err = in.TunedTo(t.Most, st.tuning)
	}
	if err == nil {
		l.Water = op.DeliveredTotal
	}
	return l
}
