package optimize

import (
	"fmt"
	"math"
	"runtime"
	"sync"
	"sync/atomic"
	"testing"
)

// BenchmarkOption searches one option exactly, as mode A of the search does:
// the highest way to every standpipe and the most drive head of every pump
// within reach of a straight pipe. From size to size the time grows as n·log n.
func BenchmarkOption(b *testing.B) {
	for _, n := range []int{500, 2000, 8000, 32000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			p := creekProblem(n, 0.02, 1)
			st, g := siteForBench(b, &p)
			near := st.drive.pairs()
			var sweep optionSweep
			best := 0.0
			b.ResetTimer()
			for b.Loop() {
				best = sweep.mostHead(st, &near, g)
			}
			b.ReportMetric(float64(len(near.from))/float64(n), "drive_pipes/station")
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/(float64(n)*math.Log2(float64(n))), "ns/(n·log2(n))")
			if best <= 0 {
				b.Fatal("nothing found")
			}
		})
	}
}

// optionSweep is the memory of one option's search.
type optionSweep struct {
	l   lines
	top []float64
}

func (o *optionSweep) mostHead(st *site, near *pairs, g grade) float64 {
	o.l.prepare(st.water, g)
	o.top = append(o.top[:0], make([]float64, st.n)...)
	for s := range st.n {
		o.l.moveTo(s)
		o.top[s] = math.Inf(-1)
		if i := o.l.highest(0); i >= 0 {
			o.top[s] = o.l.z[s] + o.l.height(i, s)
		}
	}
	best := 0.0
	for p := range st.n {
		for _, s := range near.heads(p) {
			best = max(best, o.top[s]-st.drive.outlet[p])
		}
	}
	return best
}

// BenchmarkTwoHundredOptions searches 200 supply pipes and flows at 5,000
// stations on all processors, the drive pipes found anew.
func BenchmarkTwoHundredOptions(b *testing.B) {
	const n, options = 5000, 200
	p := creekProblem(n, 0.02, 1)
	st, _ := siteForBench(b, &p)
	var grades []grade
	for k := 0; len(grades) < options && k < 10*options; k++ {
		if g, ok := st.grade(&st.options[k%len(st.options)], (10+0.5*float64(k))/60000); ok {
			grades = append(grades, g)
		}
	}
	if len(grades) < options {
		b.Fatalf("%d options", len(grades))
	}
	for b.Loop() {
		near := st.drive.pairs()
		var next atomic.Int64
		var workers sync.WaitGroup
		for range runtime.GOMAXPROCS(0) {
			workers.Go(func() {
				var sweep optionSweep
				for k := next.Add(1) - 1; k < options; k = next.Add(1) - 1 {
					sweep.mostHead(st, &near, grades[k])
				}
			})
		}
		workers.Wait()
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
