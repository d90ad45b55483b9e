package plan

import (
	"context"
	"math"
	"math/rand/v2"
	"sync"
	"sync/atomic"

	"route/internal/dem"
	"route/internal/optimize"
	"route/internal/profile"
)

// This file corrects the curse of the search. Of many places the search takes
// the one that looks best, and that is more often than not one that the
// terrain's error flatters. By how much is found by a parametric bootstrap
// (Efron & Tibshirani 1993, An Introduction to the Bootstrap, ch. 10, for the
// estimate of a bias): the fitted profile is taken for the truth, the terrain's
// error is drawn on top of it, the profile is fitted again, drops are measured
// again, and a layout with the same pipes and the same pump is searched for
// again over the whole creek. What such a layout claims on the drawn terrain
// above what it is in truth, on average, is what the layouts of the plan claim
// too much.

// luck is what a layout claims too much because it was searched for on terrain
// that errs; known says whether it could be found out.
type luck struct {
	headM      float64 // of drive head
	aboveFootM float64 // of running water above the foot of the standpipe
	water      float64 // m³/s at the tank
	known      bool
}

// leastReplans is how many of the re-plans must find a layout for their mean
// to say anything; common practice, no source.
const leastReplans = 10

// kindOf is what layouts must have in common to be searched for together.
type kindOf struct {
	goal                          optimize.Objective
	flow                          float64
	supply, drive, pump, delivery string
	pumps                         int
	box, standpipe                bool
}

// replan finds out what each of the layouts found claims too much.
func (j *job) replan() error {
	j.lucks = make([]luck, len(j.result.Ranked))
	if j.site.Replans == 0 || len(j.result.Ranked) == 0 || j.site.Pins.Intake != nil && j.site.Pins.Pump != nil {
		return nil // where the head is given, no search was lucky with it
	}
	r := replanning{
		creek: j.creek, ground: j.ground, options: j.thalwegOptions(), err: j.ground.Error(), readings: j.readings,
		places: j.places, seed: j.site.Seed, replans: j.site.Replans,
		record: func(done, total int) {
			j.record(Progress{Step: "planning again on terrain that errs", Done: done, Total: total})
		},
	}
	slackM := 5 * r.err.DropSigma(float64(j.creek.Stations[j.creek.Len()-1]))
	kinds := map[kindOf]int{}
	of := make([]int, len(j.result.Ranked))
	for k := range j.result.Ranked {
		c := &j.result.Ranked[k]
		goal := j.problem.Objective
		if k >= j.site.Layouts && len(c.BestAt) > 0 {
			goal = c.BestAt[0]
		}
		kind := kindOf{goal, c.Flow, c.SupplyPipe, c.DrivePipe, c.PumpItem, c.DeliveryPipe, c.Layout.Pumps, c.Box >= 0, c.Standpipe >= 0}
		at, ok := kinds[kind]
		if !ok {
			at = len(r.searches)
			kinds[kind] = at
			search, err := optimize.NewReplanner(j.ctx, j.problem, c, goal, slackM)
			if err != nil {
				return err
			}
			r.searches = append(r.searches, search)
		}
		of[k] = at
	}
	found, err := r.run(j.ctx)
	if err != nil {
		return err
	}
	for k := range of {
		j.lucks[k] = found[of[k]]
	}
	j.plan.Replans = Number(j.site.Replans)
	return nil
}

// luckOf is what the search claims too much of a ranked candidate; not known
// where the plan was not made again.
func (j *job) luckOf(k int) luck {
	if k >= len(j.lucks) {
		return luck{}
	}
	return j.lucks[k]
}

// replanning is what the re-plans need.
type replanning struct {
	creek    *profile.Profile // taken for the truth
	ground   profile.Ground
	options  profile.ThalwegOptions
	err      dem.ErrorModel
	readings []profile.Reading
	places   []int // stations that are searched
	searches []*optimize.Replanner
	seed     uint64
	replans  int
	record   func(done, total int)
}

// run gives what each search claims too much on average. Every re-plan has its
// own seed and sums are made in order, so that the result does not depend on
// the number of processors.
func (r *replanning) run(ctx context.Context) ([]luck, error) {
	claims := make([][]luck, r.replans)
	var done atomic.Int64
	err := sideBySide(ctx, r.replans, func(k int) error {
		var err error
		claims[k], err = r.once(ctx, k)
		if r.record != nil {
			r.record(int(done.Add(1)), r.replans)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	mean := make([]luck, len(r.searches))
	for s := range mean {
		n := 0.0
		for _, c := range claims {
			if c[s].known {
				n++
			}
		}
		if n < leastReplans {
			continue
		}
		mean[s].known = true
		for _, c := range claims {
			if c[s].known {
				mean[s].headM += c[s].headM / n
				mean[s].aboveFootM += c[s].aboveFootM / n
				mean[s].water += c[s].water / n
			}
		}
		// Less than nothing is chance: the search has no bad luck.
		mean[s].headM, mean[s].water = math.Max(0, mean[s].headM), math.Max(0, mean[s].water)
	}
	return mean, nil
}

// once plans again once.
func (r *replanning) once(ctx context.Context, k int) ([]luck, error) {
	creek, err := r.otherwise(rand.New(rand.NewPCG(r.seed, 0xd1b54a32d192ed03+uint64(k))))
	if err != nil {
		return nil, err
	}
	claims := make([]luck, len(r.searches))
	for s, search := range r.searches {
		if claim, ok := search.Search(ctx, creek); ok {
			truth := search.Truth(claim)
			claims[s] = luck{claim.DriveHeadM - truth.DriveHeadM, claim.AboveFootM - truth.AboveFootM, claim.Water - truth.Water, true}
		}
	}
	return claims, ctx.Err()
}

// otherwise is the profile as it might have come out on other data of the same
// creek, at the places that are searched. What stood across the creek stands
// there again; the line itself is not looked for again.
func (r *replanning) otherwise(random *rand.Rand) (*profile.Profile, error) {
	p := r.creek
	along := make([]float64, p.Len())
	for i, s := range p.Stations {
		along[i] = float64(s)
	}
	raw := r.err.Draw(along, r.options.CellM, random)
	for i := range raw {
		at := p.ZM[i]
		if p.Flags[i]&profile.FlagBridge != 0 {
			at = math.Max(at, p.RawM[i])
		}
		raw[i] += at
		if math.IsNaN(p.RawM[i]) {
			raw[i] = math.NaN()
		}
	}
	again := p.Refit(raw, r.options)
	if len(r.readings) > 0 {
		c, err := profile.Condition(again, r.ground, r.readAgain(random))
		if err != nil {
			return nil, err
		}
		again = c.Profile()
	}
	thin := &profile.Profile{Alignment: p.Alignment}
	for _, i := range r.places {
		thin.Stations = append(thin.Stations, p.Stations[i])
		thin.Points = append(thin.Points, p.Points[i])
		thin.ZM = append(thin.ZM, again.ZM[i])
		thin.SlopeM = append(thin.SlopeM, again.SlopeM[i])
	}
	return thin, nil
}

// readAgain measures the drops again, with the errors of their instruments.
func (r *replanning) readAgain(random *rand.Rand) []profile.Reading {
	again := make([]profile.Reading, len(r.readings))
	shared := map[int]float64{}
	for k, reading := range r.readings {
		from, _ := r.creek.HeightAt(reading.From)
		to, _ := r.creek.HeightAt(reading.To)
		reading.DropM = from - to + reading.SigmaM*random.NormFloat64()
		if reading.Set != 0 {
			common, ok := shared[reading.Set]
			if !ok {
				common = random.NormFloat64()
				shared[reading.Set] = common
			}
			reading.DropM += reading.SharedM * common
		}
		again[k] = reading
	}
	return again
}

// sideBySide runs tasks 0 … n−1 on all processors, or as many as the context
// allows, waits for them and returns the error of the first task that failed.
func sideBySide(ctx context.Context, n int, task func(k int) error) error {
	var next atomic.Int64
	var wg sync.WaitGroup
	failed := make([]error, n)
	var stumbled atomic.Pointer[any] // a panic is the caller's, who may outlive it
	for range min(workersIn(ctx), n) {
		wg.Go(func() {
			defer func() {
				if p := recover(); p != nil {
					stumbled.Store(&p)
				}
			}()
			for {
				k := int(next.Add(1) - 1)
				if k >= n || ctx.Err() != nil {
					return
				}
				failed[k] = task(k)
			}
		})
	}
	wg.Wait()
	if p := stumbled.Load(); p != nil {
		panic(*p)
	}
	for _, err := range failed {
		if err != nil {
			return err
		}
	}
	return ctx.Err()
}
