package optimize

import (
	"math"
	"math/rand/v2"
	"testing"

	"route/internal/hydraulics"
)

// What a pump delivers anywhere inside the table stays below its bounds. The
// ratio of the two says how much margin is left.
func TestBoundsAreAdmissible(t *testing.T) {
	const seed, tables, points = 5, 400, 300
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 3))
	var most, mostAny, mostPotential, tightest, loosest, sum float64
	n := 0
	for range tables {
		p := randomProblem(r)
		st, err := newSite(t.Context(), &p, oneWorker())
		if err != nil {
			t.Fatal(err)
		}
		f := st.flows[r.IntN(len(st.flows))]
		tb := &f.tables[r.IntN(len(f.tables))]
		x := st.extent()
		lengths := tb.engine.draws.lengths
		for range points {
			head := x.headLow + r.Float64()*(x.headHigh-x.headLow)
			lift := x.liftLow + r.Float64()*(x.liftHigh-x.liftLow)
			length := lengths[0] + r.Float64()*(lengths[lengthLines-1]-lengths[0])
			if lift <= head || lift > p.Limits.LiftRatioMax*head {
				continue
			}
			d, err := tb.engine.ram.TunedTo(st.Fluid, tb.engine.pipe, length, head, lift, tb.perPump, st.tuning)
			if err != nil {
				continue
			}
			q := d.DeliveredFlow * float64(tb.engine.pumps)
			n++
			low, high := tb.window(length, lift)
			if head < low || head > high || head > tb.bearsAny() || tb.idle {
				t.Errorf("head %g works, outside the window %g to %g (any length %g), idle %v", head, low, high, tb.bearsAny(), tb.idle)
			}
			at, any, potential := tb.at(head, lift, length), tb.atAnyLength(head, lift), tb.potential(head, lift)
			if q > at || q > any || q > potential {
				t.Errorf("H %g h %g L %g: delivers %g, bounds %g, %g, %g", head, lift, length, q, at, any, potential)
			}
			most, mostAny, mostPotential = max(most, q/at), max(mostAny, q/any), max(mostPotential, q/potential)
			if high < 1e9 {
				tightest = max(tightest, head/high)
			}
			loosest = max(loosest, low/head)
			sum += q / at
			if need, ok := tb.headFor(q, lift); !ok || need > head {
				t.Errorf("H %g delivers %g, but the table asks for %g (%v)", head, q, need, ok)
			}
		}
	}
	t.Logf("%d points: delivered over bound at most %.4f (mean %.4f), at any length %.4f, potential %.4f; head over window %.4f, window over head %.4f", n, most, sum/float64(n), mostAny, mostPotential, tightest, loosest)
	if n < 2000 {
		t.Errorf("only %d points say something", n)
	}
}

func oneWorker() *Settings { return &Settings{Workers: 1} }

// The facts about a ram at a fixed flow that the search rests on: see the
// package comment.
func TestRamAtAFixedFlowIsMonotone(t *testing.T) {
	const seed, pumps = 6, 1500
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 4))
	water, err := hydraulics.Water(283.15, 100)
	if err != nil {
		t.Fatal(err)
	}
	names := []string{"steel Sch 40 3/4 in", "steel Sch 40 1 in", "steel Sch 40 2 in", "steel Sch 40 3 in", "PVC Sch 40 2 in"}
	n := 0
	for range pumps {
		product, err := hydraulics.ProductByName(names[r.IntN(len(names))])
		if err != nil {
			t.Fatal(err)
		}
		pipe := product.Pipe
		ram := hydraulics.DefaultRam(pipe.Inside)
		length, lift := 3+40*r.Float64(), 3+45*r.Float64()
		flow := pipe.Area() * (0.2 + r.Float64())
		tuning := [2]float64{0.2, 0.9}
		var last hydraulics.Duty
		for head := 0.5; head < 15 && head < lift/1.5; head *= 1.05 {
			d, err := ram.TunedTo(water, pipe, length, head, lift, flow, tuning)
			if err != nil {
				continue
			}
			n++
			const digits = 1e-9 // of the solver
			if last.DriveFlow > 0 && (d.DeliveredFlow < last.DeliveredFlow*(1-digits) || d.Lambda > last.Lambda*(1+digits) || d.ClosingVelocity < last.ClosingVelocity*(1-digits) || d.Mu < last.Mu*(1-digits) || d.ShutoffHeadM < last.ShutoffHeadM*(1-digits)) {
				t.Fatalf("%s, %g m, lift %g, flow %g, head %g: %+v after %+v", product.Name, length, lift, flow, head, d, last)
			}
			last = d
		}
		head := 0.8 + 5*r.Float64()
		before := 0.0
		for lift := 1.5 * head; lift < 60; lift *= 1.05 {
			d, err := ram.TunedTo(water, pipe, length, head, lift, flow, tuning)
			if err != nil {
				continue
			}
			if before > 0 && d.DeliveredFlow > before*(1+1e-9) {
				t.Fatalf("%s, %g m, head %g, flow %g, lift %g: delivers %g, more than %g at less lift", product.Name, length, head, flow, lift, d.DeliveredFlow, before)
			}
			before = d.DeliveredFlow
		}
	}
	t.Logf("%d points", n)
	if n < 10000 {
		t.Errorf("only %d points say something", n)
	}
}

// Between the head that is said to be borne at most and the one that is broken
// nothing works, by evaluating that range finely, and somewhat below it
// something does, for both limits that are broken from above.
func TestNothingWorksAboveTheCeiling(t *testing.T) {
	const seed, scans = 71, 40
	r := rand.New(rand.NewPCG(seed, 1))
	seen := map[string]int{}
	tight := map[string]int{}
	for range 60 {
		p := randomProblem(r)
		st, err := newSite(t.Context(), &p, &Settings{Workers: 1})
		if err != nil || len(st.flows) == 0 || len(st.engines) == 0 || len(st.ways) == 0 {
			continue
		}
		for range 200 {
			c := choice{st.flows[r.IntN(len(st.flows))], &st.engines[r.IntN(len(st.engines))], r.IntN(len(st.ways))}
			pump := r.IntN(st.n)
			if math.IsNaN(st.lift[pump]) {
				continue
			}
			length, broken := 5+25*r.Float64(), st.lift[pump]/leastLiftRatio*r.Float64()
			_, m := st.evaluate(c, pump, length, broken)
			if m == nil || m.reason != TooLittleWater && m.reason != SurgeAboveRating {
				continue
			}
			least := broken * (0.2 + 0.7*r.Float64())
			most := st.ceiling(c, pump, length, broken, m, least)
			if most < least || most > broken {
				t.Fatalf("seed %d: %v is not between %v and %v", seed, most, least, broken)
			}
			seen[m.reason]++
			for k := range scans {
				head := most + (broken-most)*(float64(k)+0.5)/scans
				if _, works := st.evaluate(c, pump, length, head); works == nil && head > most {
					t.Fatalf("seed %d: %s: %v m works, above the ceiling of %v m", seed, m.reason, head, most)
				}
			}
			if _, below := st.evaluate(c, pump, length, 0.98*most); most == least || below == nil || below.reason != m.reason {
				tight[m.reason]++
			}
		}
	}
	t.Logf("seed %d: %v ceilings, %v of them tight", seed, seen, tight)
	for _, reason := range []string{TooLittleWater, SurgeAboveRating} {
		if seen[reason] < 50 || tight[reason] < seen[reason]*95/100 {
			t.Errorf("seed %d: %d ceilings for %s, %d of them tight", seed, seen[reason], reason, tight[reason])
		}
	}
}
