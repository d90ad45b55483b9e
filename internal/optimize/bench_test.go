package optimize

import (
	"fmt"
	"math"
	"testing"
)

// BenchmarkOption searches one option exactly, as mode A of the search does:
// the highest way to every standpipe and the most drive head of every pump
// within reach of a straight pipe.
func BenchmarkOption(b *testing.B) {
	for _, n := range []int{500, 5000, 50000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			p := creekProblem(n, 0.02, 1)
			st, g := siteForBench(b, &p)
			near := st.drive.pairs()
			var l lines
			top := make([]float64, n)
			best := 0.0
			b.ResetTimer()
			for b.Loop() {
				l.prepare(st.water, g)
				for s := range n {
					l.moveTo(s)
					top[s] = math.Inf(-1)
					if i := l.highest(0); i >= 0 {
						top[s] = l.z[s] + l.height(i, s)
					}
				}
				for p := range n {
					for _, s := range near.heads(p) {
						best = max(best, top[s]-st.drive.outlet[p])
					}
				}
			}
			b.ReportMetric(float64(len(near.from))/float64(n), "drive_pipes/station")
			if best <= 0 {
				b.Fatal("nothing found")
			}
		})
	}
}

// BenchmarkDrivePipes finds all drive pipes, once a site.
func BenchmarkDrivePipes(b *testing.B) {
	for _, n := range []int{500, 5000, 50000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			p := creekProblem(n, 0.02, 1)
			st, _ := siteForBench(b, &p)
			for b.Loop() {
				st.drive.pairs()
			}
		})
	}
}

// BenchmarkLadders adds the price ladders of one option to BenchmarkOption's
// sweep.
func BenchmarkLadders(b *testing.B) {
	for _, n := range []int{500, 5000, 50000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			p := creekProblem(n, 0.02, 1)
			st, g := siteForBench(b, &p)
			var l lines
			var rungs []rung
			for b.Loop() {
				l.prepare(st.water, g)
				for s := range n {
					l.moveTo(s)
					rungs = l.ladder(rungs[:0], 0, &st.options[0].price[0], math.Inf(-1))
				}
			}
		})
	}
}

// siteForBench prepares a site without its flows, and the grade of its third
// supply pipe at 40 L/min.
func siteForBench(b *testing.B, p *Problem) (*site, grade) {
	b.Helper()
	for k := range p.DeliveryAt {
		p.DeliveryAt[k].OK = true // pumps may stand everywhere
	}
	st := &site{Problem: p, n: p.Creek.Len(), workers: 1, tuning: usualTuning}
	st.costs = costing{catalog: p.Catalog, waste: p.WasteFraction}
	st.placeCreek()
	if err := st.choose(); err != nil {
		b.Fatal(err)
	}
	g, ok := st.grade(&st.options[4], 40.0/60000)
	if !ok {
		b.Fatal("no grade")
	}
	return st, g
}

// BenchmarkRun is the whole job with the default catalog: all pipes, pumps,
// one and two of them, with and without box, 21 flows.
func BenchmarkRun(b *testing.B) {
	for _, goal := range []Objective{LeastCost, MostWater, MostHead} {
		b.Run("km_every_2m/"+string(goal), func(b *testing.B) {
			p := kilometre()
			p.Objective = goal
			for b.Loop() {
				if res, err := Run(b.Context(), p, nil); err != nil || res.Status != Found {
					b.Fatal(res.Status, err)
				}
			}
		})
	}
	for _, n := range []int{500, 2000, 8000} {
		for _, goal := range []Objective{LeastCost, MostWater, MostHead} {
			b.Run(fmt.Sprintf("%d/%s", n, goal), func(b *testing.B) {
				p := creekProblem(n, 0.02, 1)
				p.Objective = goal
				for b.Loop() {
					res, err := Run(b.Context(), p, nil)
					if err != nil || res.Status != Found {
						b.Fatal(res.Status, err)
					}
					b.ReportMetric(float64(res.Stats.Evaluations), "evaluations")
				}
			})
		}
	}
}

// BenchmarkTrial is a layout with all places given, on a creek of 1 km, with
// the pump moved along it as a hand would drag it.
func BenchmarkTrial(b *testing.B) {
	for _, goal := range []Objective{LeastCost, MostWater, MostHead} {
		b.Run(string(goal), func(b *testing.B) {
			p := kilometre()
			p.Objective = goal
			res, err := Run(b.Context(), p, nil)
			if err != nil || res.Status != Found {
				b.Fatal(res.Status, err)
			}
			c := &res.Ranked[0]
			trials, err := NewTrials(b.Context(), p, p.Creek, everyStation(p.Creek.Len()), TrialLand{})
			if err != nil {
				b.Fatal(err)
			}
			k := 0
			for b.Loop() {
				at := TrialPlaces{c.Intake, c.Box, c.Standpipe, c.DriveFrom + 1 + k%30}
				trials.Try(at, p.DeliveryAt[at.Pump], TrialChoice{})
				k++
			}
		})
	}
}

// BenchmarkFront is the whole front of 12 demands over the usual kilometre.
func BenchmarkFront(b *testing.B) {
	p := kilometre()
	var demands []float64
	for k := range 12 {
		demands = append(demands, p.Demand*math.Pow(1.4, float64(k-2)))
	}
	for b.Loop() {
		front, err := Front(b.Context(), p, nil, demands)
		if err != nil || len(front) < 5 {
			b.Fatal(len(front), err)
		}
	}
}
