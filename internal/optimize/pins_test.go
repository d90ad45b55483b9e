package optimize

import (
	"math"
	"math/rand/v2"
	"testing"
)

// pinsOf pins some of the places of a layout, as often as not the wrong ones.
func pinsOf(r *rand.Rand, c *Candidate, n int) (p Pins) {
	pin := func(k int) *Pin {
		switch {
		case r.IntN(2) == 0:
			return nil
		case k < 0:
			return &Pin{None: true}
		case r.IntN(4) == 0:
			return &Pin{Station: max(0, min(n-1, k+r.IntN(5)-2))}
		}
		return &Pin{Station: k}
	}
	p = Pins{Intake: pin(c.Intake), Box: pin(c.Box), Standpipe: pin(c.Standpipe), Pump: pin(c.Pump)}
	if r.IntN(12) == 0 {
		p.Standpipe = &Pin{None: true}
	}
	if r.IntN(12) == 0 {
		p.Box = &Pin{None: true}
	}
	return p
}

// With some places pinned, the search and the brute force over all that is left
// agree for all three objectives, and every layout keeps the pins.
func TestPinnedSearchEqualsBruteForce(t *testing.T) {
	const seed = 78
	instances := few(600)
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 3))
	feasible, boxes, without := 0, 0, 0
	for k := range instances {
		p := randomProblem(r)
		p.Objective = []Objective{MostHead, MostWater, LeastCost}[k%3]
		free, err := Run(t.Context(), p, &Settings{Workers: 1})
		if err != nil {
			t.Fatal(err)
		}
		if len(free.Ranked) == 0 {
			continue
		}
		p.Pins = pinsOf(r, &free.Ranked[r.IntN(len(free.Ranked))], p.Creek.Len())
		if p.Pins.Box != nil {
			p.Choices.SettlingBox = []bool{!p.Pins.Box.None}
		}
		st, err := newSite(t.Context(), &p, &Settings{Workers: 1})
		if err != nil {
			t.Fatal(err)
		}
		want := bruteRun(st)
		res, err := Run(t.Context(), p, &Settings{Workers: 2})
		if err != nil {
			t.Fatal(err)
		}
		got := winners(res)
		if !near(got.head, want.head) || !near(got.water, want.water) || got.cheap != want.cheap || !near(got.cheapWater, want.cheapWater) {
			t.Errorf("instance %d, pins %+v, %s: search %v, brute force %v", k, p.Pins, describe(&p), got, want)
		}
		for _, c := range res.Ranked {
			if !keepsPins(&p.Pins, c.Intake, c.Box, c.DriveFrom, c.Pump, c.Standpipe >= 0) {
				t.Errorf("instance %d: pins %+v, layout intake %d, box %d, standpipe %d, pump %d", k, p.Pins, c.Intake, c.Box, c.Standpipe, c.Pump)
			}
		}
		if !math.IsInf(want.water, -1) {
			feasible++
			if p.Pins.Box.given() {
				boxes++
			}
			if p.Pins.Standpipe != nil && p.Pins.Standpipe.None {
				without++
			}
		}
	}
	t.Logf("%d pinned instances have a layout, %d of them with a box that is pinned, %d without standpipe", feasible, boxes, without)
	if !testing.Short() && (feasible < instances/5 || boxes < 10 || without < 10) {
		t.Error("too few instances say something")
	}
}

// Pinning every place of a layout that the search has found gives the same
// places.
func TestPinningTheBestGivesTheBest(t *testing.T) {
	p := kilometre()
	free, err := Run(t.Context(), p, nil)
	if err != nil {
		t.Fatal(err)
	}
	want := free.Ranked[0]
	at := func(k int) *Pin {
		if k < 0 {
			return &Pin{None: true}
		}
		return &Pin{Station: k}
	}
	p.Pins = Pins{at(want.Intake), at(want.Box), at(want.Standpipe), at(want.Pump)}
	pinned, err := Run(t.Context(), p, nil)
	if err != nil {
		t.Fatal(err)
	}
	got := pinned.Ranked[0]
	if got.Intake != want.Intake || got.Box != want.Box || got.Standpipe != want.Standpipe || got.Pump != want.Pump || got.Cost != want.Cost || got.Operation != want.Operation {
		t.Errorf("pinned %+v, free %+v", got, want)
	}
	for _, r := range pinned.Reaches {
		if r.Candidate < 0 && r.Reason != PinnedElsewhere {
			t.Errorf("the reach from %.0f m has no pump because of %q", r.FromM, r.Reason)
		}
	}
	if len(pinned.Rejected) > 0 {
		t.Errorf("with the pump pinned, %+v are rejected", pinned.Rejected)
	}
}

// The nearest place that works is the one that trying every place in turn
// finds, and there is none exactly when none of them works.
func TestNearestPlaceIsTheNearestOfAll(t *testing.T) {
	const seed = 79
	instances := few(120)
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 4))
	moved, nowhere := 0, 0
	for k := range instances {
		p := randomProblem(r)
		p.Objective = []Objective{MostWater, LeastCost}[k%2]
		n := p.Creek.Len()
		if n > 16 {
			continue
		}
		which := []Place{AtIntake, AtStandpipe, AtPump}[r.IntN(3)]
		at := r.IntN(n)
		works := func(station int) bool {
			q := p
			*which.of(&q.Pins) = &Pin{Station: station}
			res, err := Run(t.Context(), q, &Settings{Workers: 2})
			if err != nil {
				t.Fatal(err)
			}
			return len(res.Ranked) > 0 && (p.Objective != LeastCost || res.Ranked[0].Operation.DeliveredTotal >= p.Demand)
		}
		want := -1
		for j := range n {
			if works(j) && (want < 0 || away(&p, j, at) < away(&p, want, at)) {
				want = j
			}
		}
		*which.of(&p.Pins) = &Pin{Station: at}
		got, ok, err := NearestPlace(t.Context(), p, which)
		if err != nil {
			t.Fatal(err)
		}
		if ok != (want >= 0) || ok && away(&p, got, at) != away(&p, want, at) {
			t.Errorf("instance %d, place %d pinned at %d: nearest %d (%v), trying all %d", k, which, at, got, ok, want)
		}
		switch {
		case want < 0:
			nowhere++
		case want != at:
			moved++
		}
	}
	t.Logf("the pin had to move in %d instances, no place would do in %d", moved, nowhere)
	if !testing.Short() && (moved < 10 || nowhere < 3) {
		t.Error("too few instances say something")
	}
}
