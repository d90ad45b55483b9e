package optimize

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"route/internal/hydraulics"
	"route/internal/quantity"
)

// asText freezes a result, except the counts of work, which depend on how far
// one goroutine had come when another asked.
func asText(t *testing.T, res *Result) string {
	t.Helper()
	frozen := *res
	frozen.Stats = Stats{}
	text, err := json.Marshal(unNaN(frozen))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// unNaN drops what JSON cannot hold.
func unNaN(r Result) Result {
	r.Reaches = append([]Reach(nil), r.Reaches...)
	for k := range r.Reaches {
		if math.IsNaN(r.Reaches[k].HeadM) {
			r.Reaches[k].HeadM = -1
		}
		if math.IsNaN(r.Reaches[k].Water) {
			r.Reaches[k].Water = -1
		}
	}
	r.Findings = nil
	return r
}

func TestResultDoesNotDependOnWorkers(t *testing.T) {
	const seed = 11
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 5))
	problems := []Problem{creekProblem(300, 0.03, 2)}
	for range 12 {
		problems = append(problems, randomProblem(r))
	}
	for k, p := range problems {
		for _, goal := range []Objective{LeastCost, MostWater, MostHead} {
			p.Objective = goal
			var first string
			for _, workers := range []int{1, 2, 7} {
				res, err := Run(t.Context(), p, &Settings{Workers: workers})
				if err != nil {
					t.Fatal(err)
				}
				text := asText(t, res)
				if first == "" {
					first = text
				}
				if text != first {
					t.Fatalf("problem %d, %s: %d workers find\n%s\none finds\n%s", k, goal, workers, text, first)
				}
			}
		}
	}
}

func TestLayoutsAreGenuinelyDifferent(t *testing.T) {
	for _, goal := range []Objective{LeastCost, MostWater, MostHead} {
		p := creekProblem(600, 0.03, 3)
		p.Objective = goal
		res, err := Run(t.Context(), p, nil)
		if err != nil {
			t.Fatal(err)
		}
		if len(res.Ranked) < usualLayouts {
			t.Fatalf("%s: %d layouts", goal, len(res.Ranked))
		}
		for a := range usualLayouts {
			for b := range a {
				x, y := &res.Ranked[a], &res.Ranked[b]
				far := func(i, j int) bool {
					return math.Abs(p.Creek.SlopeM[i]-p.Creek.SlopeM[j]) > p.Limits.SeparationM
				}
				if !far(x.Pump, y.Pump) && !far(x.Intake, y.Intake) && x.Operation.Pumps == y.Operation.Pumps && (x.Standpipe < 0) == (y.Standpipe < 0) {
					t.Errorf("%s: layouts %d and %d are alike", goal, a, b)
				}
			}
		}
		seen := map[Objective]int{}
		for _, c := range res.Ranked {
			for _, g := range c.BestAt {
				seen[g]++
			}
		}
		if seen[MostHead] != 1 || seen[MostWater] != 1 || seen[LeastCost] != 1 {
			t.Errorf("%s: winners %v", goal, seen)
		}
	}
}

// Every candidate keeps the limits, read off its own fields.
func TestCandidatesKeepTheirLimits(t *testing.T) {
	p := creekProblem(600, 0.03, 4)
	p.Demand = 3000.0 / 86400 / 1000
	res, err := Run(t.Context(), p, nil)
	if err != nil {
		t.Fatal(err)
	}
	l, z, s := &p.Limits, p.Creek.ZM, p.Creek.SlopeM
	for k, c := range res.Ranked {
		supply := 0.0
		if c.SupplyPipe != "" {
			supply = s[c.DriveFrom] - s[c.Intake]
		}
		level := z[c.Intake] - c.IntakeLossM - c.BoxDropM - c.SupplyLossM
		q := c.Operation
		total, err := c.Takeoff.Total()
		switch {
		case err != nil || total != c.Cost:
			t.Errorf("%d: takeoff %v, cost %v", k, total, c.Cost)
		case math.Abs(c.RunningLevelM-level) > 1e-9 || math.Abs(c.DriveHeadM-(level-c.OutletM)) > 1e-9:
			t.Errorf("%d: level %g, drive head %g, computed %g", k, c.RunningLevelM, c.DriveHeadM, level)
		case c.SupplyM != supply || supply > l.SupplyLengthMaxM || c.DriveM > l.DriveLengthMaxM || c.DriveM < l.DriveLengthMinM:
			t.Errorf("%d: lengths %g, %g", k, c.SupplyM, c.DriveM)
		case c.Standpipe >= 0 && (c.StandpipeWaterM < l.StandpipeMinM || c.StandpipeWaterM+l.StandpipeFreeboardM > l.StandpipeMaxM+1e-9 || c.StandpipeM > l.StandpipeMaxM):
			t.Errorf("%d: standpipe %g of %g", k, c.StandpipeWaterM, c.StandpipeM)
		case q.LiftRatio > l.LiftRatioMax || q.Mu < 1.5 || q.Lambda < 0.35-1e-9 || q.Lambda > 0.8+1e-9:
			t.Errorf("%d: ratio %g, mu %g, lambda %g", k, q.LiftRatio, q.Mu, q.Lambda)
		case math.Abs(q.DriveTotal-c.Flow) > 1e-6*c.Flow || c.Flow > p.TakeFlow:
			t.Errorf("%d: draws %g of %g", k, q.DriveTotal, c.Flow)
		}
		for _, g := range c.BestAt {
			if g == LeastCost && q.DeliveredTotal < p.Demand {
				t.Errorf("%d: the cheapest delivers %g", k, q.DeliveredTotal)
			}
		}
	}
	for _, r := range res.Reaches {
		if (r.Candidate < 0) != (r.Reason != "") {
			t.Errorf("reach %g: candidate %d, reason %q", r.FromM, r.Candidate, r.Reason)
		}
	}
}

// The crest of the delivery line, not the tank, sets the lift where it is
// higher: physical layout, point 7.
func TestCrestSetsTheLift(t *testing.T) {
	p := creekProblem(300, 0.03, 4)
	for k := range p.DeliveryAt {
		p.DeliveryAt[k].CrestM = p.TankInletM + 5
	}
	res, err := Run(t.Context(), p, nil)
	if err != nil || res.Status != Found {
		t.Fatal(res, err)
	}
	c := res.Ranked[0]
	if lift := p.TankInletM + 5 + crestCoverM - c.OutletM; math.Abs(c.LiftM-lift) > 1e-9 || c.Operation.DeliveryHeadM < lift {
		t.Errorf("lift %g, delivery head %g; the crest asks for %g", c.LiftM, c.Operation.DeliveryHeadM, lift)
	}
}

// Pressures are held against ratings: in the drive pipe the shut-off head, the
// head on the closing valve and Joukowsky's rise, K·v²/2g + a·v/g; in the
// delivery pipe the delivery head and the rise when a valve in it shuts, a·V/g
// (hydraulics reference §3.4 and §4, delivery rating).
func TestPressuresAreHeldAgainstRatings(t *testing.T) {
	p := creekProblem(300, 0.03, 4)
	st, err := newSite(t.Context(), &p, &Settings{Workers: 1})
	if err != nil {
		t.Fatal(err)
	}
	best := st.seek(t.Context(), MostWater, bucket{to: st.n, anyClass: true}, nil)
	if best == nil {
		t.Fatal("nothing works")
	}
	const g = 9.80665 // CGPM 1901
	v := best.op.ClosingVelocity
	shutoff := best.engine.ram.WasteValveK*v*v/(2*g) + hydraulics.WaveSpeed(p.Fluid, best.engine.pipe)*v/g
	way := st.ways[best.way]
	delivery := best.op.DeliveryHeadM + hydraulics.WaveSpeed(p.Fluid, way.pipe)*best.op.DeliveredTotal/(math.Pi/4*way.pipe.Inside*way.pipe.Inside)/g
	for _, c := range []struct {
		drive, delivery float64
		want            string
	}{
		{1.001 * shutoff, 1.001 * delivery, ""},
		{0.999 * shutoff, 1.001 * delivery, SurgeAboveRating},
		{1.001 * shutoff, 0.999 * delivery, DeliveryAboveRating},
	} {
		e := *best.engine
		e.rating, st.ways[best.way].rating = c.drive, c.delivery
		_, m := st.evaluate(choice{best.flow, &e, best.way}, best.p, best.length, best.head)
		got := ""
		if m != nil {
			got = m.reason
			if !m.tooHigh {
				t.Errorf("%s: less head would not do", got)
			}
		}
		if got != c.want {
			t.Errorf("ratings %g, %g: %q, want %q", c.drive, c.delivery, got, c.want)
		}
	}
}

// Two layouts differ when one of the four things that the crew would notice
// does.
func TestDifferent(t *testing.T) {
	p := creekProblem(400, 0.03, 4)
	st, err := newSite(t.Context(), &p, &Settings{Workers: 1})
	if err != nil {
		t.Fatal(err)
	}
	one, two := &engine{pumps: 1}, &engine{pumps: 2}
	base := found{choice: choice{engine: one}, p: 200, rung: rung{intake: 100}}
	with := func(change func(f *found)) *found {
		f := base
		change(&f)
		return &f
	}
	for what, c := range map[string]struct {
		f    *found
		want bool
	}{
		"nothing":        {with(func(f *found) {}), false},
		"pump 20 m off":  {with(func(f *found) { f.p = 240 }), false},
		"pump 40 m off":  {with(func(f *found) { f.p = 280 }), true},
		"intake 40 m up": {with(func(f *found) { f.rung.intake = 20 }), true},
		"two pumps":      {with(func(f *found) { f.engine = two }), true},
		"no standpipe":   {with(func(f *found) { f.class = bare }), true},
	} {
		if got := st.different(&base, c.f); got != c.want {
			t.Errorf("%s: different is %v", what, got)
		}
	}
}

// A limit that gives way never makes the best worse.
func TestRelaxingALimitNeverHurts(t *testing.T) {
	const seed, problems = 12, 25
	t.Logf("seed %d", seed)
	relax := map[string]func(p *Problem){
		"supply length":   func(p *Problem) { p.Limits.SupplyLengthMaxM *= 1.5 },
		"standpipe":       func(p *Problem) { p.Limits.StandpipeMaxM += 1 },
		"drive length":    func(p *Problem) { p.Limits.DriveLengthMaxM *= 1.4 },
		"shortest drive":  func(p *Problem) { p.Limits.DriveLengthMinM /= 2 },
		"least head":      func(p *Problem) { p.Limits.DriveHeadMinM /= 2 },
		"most head":       func(p *Problem) { p.Limits.DriveHeadMaxM *= 1.3 },
		"lift ratio":      func(p *Problem) { p.Limits.LiftRatioMax *= 1.5 },
		"bed depth":       func(p *Problem) { p.Limits.BedDepthM += 0.2 },
		"number of pumps": func(p *Problem) { p.Choices.PumpCounts = []int{1, 2, 3} },
		"tuning":          func(p *Problem) { p.Choices.Tuning[1] = min(p.Choices.Tuning[1]*1.1, 0.95) },
	}
	r := rand.New(rand.NewPCG(seed, 6))
	better := 0
	for k := range problems {
		p := randomProblem(r)
		before, err := Run(t.Context(), p, nil)
		if err != nil {
			t.Fatal(err)
		}
		b := winners(before)
		for what, change := range relax {
			q := p
			q.Choices.PumpCounts = append([]int(nil), p.Choices.PumpCounts...)
			change(&q)
			after, err := Run(t.Context(), q, nil)
			if err != nil {
				t.Fatal(err)
			}
			a := winners(after)
			// A higher standpipe spills less but costs more: its price may
			// rise with the limit, so the cost is not compared there.
			cheaper := a.cheap >= b.cheap || what == "standpipe"
			if a.head < b.head-1e-12 || a.water < b.water*(1-1e-9) || !cheaper {
				t.Errorf("problem %d: with more %s %+v, before %+v", k, what, a, b)
			}
			if a != b {
				better++
			}
		}
	}
	if better < 10 {
		t.Errorf("only %d changes made a difference", better)
	}
}

func TestNearestMissSaysWhatWouldDo(t *testing.T) {
	p := creekProblem(400, 0.012, 5)
	p.Limits.SupplyLengthMaxM = 40
	p.Limits.DriveHeadMinM = 2
	res, err := Run(t.Context(), p, nil)
	if err != nil {
		t.Fatal(err)
	}
	if res.Status != Infeasible || len(res.Ranked) > 0 || len(res.Findings) != 1 {
		t.Fatalf("%v with %d layouts and %d findings", res.Status, len(res.Ranked), len(res.Findings))
	}
	f := res.Findings[0]
	t.Logf("%s; %s", quantity.Text(quantity.US, f.Text, f.Values...), quantity.Text(quantity.US, f.Hint, f.Values...))
	if !strings.Contains(f.Hint, "more supply pipe") || !strings.Contains(f.Hint, "higher intake") {
		t.Errorf("hint %q", f.Hint)
	}
	best, need := f.Values[0].SI, f.Values[1].SI
	if !(best > 0.5 && best < need) || need < 2 {
		t.Errorf("best %g of %g", best, need)
	}
	// What it says would do does, and half of it does not.
	more := f.Values[2].SI
	for _, share := range []float64{0.5, 1} {
		q := p
		q.Limits.SupplyLengthMaxM += share * more
		st, err := newSite(t.Context(), &q, &Settings{})
		if err != nil {
			t.Fatal(err)
		}
		enough := false
		for _, fl := range st.flows {
			for k, h := range fl.pumpTop {
				enough = enough || h >= st.needed(k)
			}
		}
		if enough != (share == 1) {
			t.Errorf("with %g m more supply pipe head is enough: %v", share*more, enough)
		}
	}
	for _, r := range res.Reaches {
		if r.Reason == "" {
			t.Errorf("reach %g has no reason", r.FromM)
		}
	}
}

// Each limit in turn is made the one that rules everything out, and is named.
func TestReasonsNameTheBindingLimit(t *testing.T) {
	base := func() Problem { return creekProblem(200, 0.04, 6) }
	cases := []struct {
		reason string
		change func(p *Problem)
	}{
		{Land, func(p *Problem) { p.PumpAt = make([]bool, p.Creek.Len()) }},
		{NoDeliveryWay, func(p *Problem) {
			for k := range p.DeliveryAt {
				p.DeliveryAt[k].OK = false
			}
		}},
		{TooLittleHead, func(p *Problem) { p.Limits.DriveHeadMinM = 14 }},
		{LiftRatioTooHigh, func(p *Problem) { p.TankInletM += 600 }},
		{StandpipeTooHigh, func(p *Problem) {
			p.Limits.StandpipeMaxM, p.Limits.DriveHeadMinM, p.Limits.LiftRatioMax = 1, 2.4, 60
		}},
		{SupplyTooLong, func(p *Problem) {
			p.Limits.SupplyLengthMaxM, p.Limits.DriveHeadMinM, p.Limits.StandpipeMaxM = 10, 2.6, 3
		}},
		{DriveGround, func(p *Problem) { p.Ground = flat(-50) }},
		{Land, func(p *Problem) { p.ChordAllowed = func(a, b orb.Point) bool { return false } }},
		{TooLittleWater, func(p *Problem) { p.TakeFlow = 1e-6 }},
		{TooLittleWater, func(p *Problem) { p.Demand = 1 }},
		{LiftTooLow, func(p *Problem) { p.TankInletM = p.Creek.ZM[p.Creek.Len()-1]; lowCrest(p) }},
	}
	for _, c := range cases {
		p := base()
		c.change(&p)
		res, err := Run(t.Context(), p, nil)
		if err != nil {
			t.Fatal(err)
		}
		if res.Status != Infeasible && c.reason != TooLittleWater {
			t.Errorf("%s: %v", c.reason, res.Status)
		}
		count := 0
		for _, r := range res.Rejected {
			if r.Reason == c.reason {
				count = r.Count
			}
		}
		if count == 0 {
			t.Errorf("%s is not among %+v", c.reason, res.Rejected)
		}
		if res.Status == Infeasible && len(res.Findings) == 0 {
			t.Errorf("%s: no nearest miss", c.reason)
		}
		for _, f := range res.Findings {
			t.Logf("%s: %s; %s", c.reason, quantity.Text(quantity.US, f.Text, f.Values...), quantity.Text(quantity.US, f.Hint, f.Values...))
		}
	}
}

func lowCrest(p *Problem) {
	for k := range p.DeliveryAt {
		p.DeliveryAt[k].CrestM = p.TankInletM - 2
	}
}

// flat is ground at one height.
type flat float64

func (f flat) At(orb.Point) (float64, bool)           { return float64(f), true }
func (f flat) DiffSigma(orb.Point, orb.Point) float64 { return 0.1 }

func TestCancelStopsSoon(t *testing.T) {
	p := creekProblem(6000, 0.02, 7)
	ctx, cancel := context.WithCancel(t.Context())
	var steps atomic.Int64
	var stopped time.Time
	res, err := Run(ctx, p, &Settings{Record: func(Progress) {
		if steps.Add(1) == 3 {
			stopped = time.Now()
			cancel()
		}
	}})
	if !errors.Is(err, context.Canceled) || res != nil {
		t.Fatalf("result %v, error %v", res, err)
	}
	t.Logf("ended %v after it was cancelled", time.Since(stopped))
}

func TestProgressReachesItsTotal(t *testing.T) {
	p := creekProblem(200, 0.04, 8)
	var last atomic.Int64
	var total atomic.Int64
	if _, err := Run(t.Context(), p, &Settings{Workers: 1, Record: func(pr Progress) {
		last.Store(int64(pr.Done))
		total.Store(int64(pr.Total))
	}}); err != nil {
		t.Fatal(err)
	}
	if last.Load() == 0 || last.Load() != total.Load() {
		t.Errorf("ended at %d of %d", last.Load(), total.Load())
	}
}
