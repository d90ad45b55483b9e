package optimize

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// everyStation lists 0 … n−1.
func everyStation(n int) []int {
	list := make([]int, n)
	for k := range list {
		list[k] = k
	}
	return list
}

// A trial is what the search finds with all places pinned, to the last digit;
// and it names a broken limit exactly where the search finds nothing.
func TestTrialEqualsPinnedSearch(t *testing.T) {
	const seed, places = 80, 12
	instances := few(250)
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 5))
	works, not := map[Objective]int{}, 0
	for k := range instances {
		p := randomProblem(r)
		p.Objective = []Objective{MostHead, MostWater, LeastCost}[k%3]
		n := p.Creek.Len()
		if k%2 == 0 {
			p.IntakeAt, p.StandpipeAt, p.PumpAt, p.PassAt = randomMask(r, n, 5), randomMask(r, n, 5), randomMask(r, n, 5), randomMask(r, n, 12)
		}
		land := TrialLand{
			MayStand: func(which Place, k int) bool {
				if which == AtBox {
					which = AtStandpipe
				}
				mask := *which.mask(&p)
				return mask == nil || mask[k]
			},
			MayPass: func(k int) bool { return p.PassAt == nil || p.PassAt[k] },
		}
		trials, err := NewTrials(t.Context(), p, p.Creek, everyStation(n), land)
		if err != nil {
			t.Fatal(err)
		}
		free, err := Run(t.Context(), p, &Settings{Workers: 1})
		if err != nil {
			t.Fatal(err)
		}
		for range places {
			at := randomPlaces(r, n)
			if len(free.Ranked) > 0 && r.IntN(2) == 0 {
				c := &free.Ranked[r.IntN(len(free.Ranked))]
				at = TrialPlaces{c.Intake, c.Box, c.Standpipe, c.Pump}
			}
			pinned := p
			pin := func(k int) *Pin { return &Pin{Station: max(k, 0), None: k < 0} }
			pinned.Pins = Pins{pin(at.Intake), pin(at.Box), pin(at.Standpipe), pin(at.Pump)}
			res, err := Run(t.Context(), pinned, &Settings{Workers: 1})
			if err != nil {
				t.Fatal(err)
			}
			way := p.DeliveryAt[at.Pump]
			got := trials.Try(at, way, TrialChoice{})
			fine := len(res.Ranked) > 0 && (p.Objective == MostWater || res.Ranked[0].Operation.DeliveredTotal >= p.Demand)
			if fine != (got.Candidate != nil && len(got.Breaches) == 0) {
				t.Errorf("instance %d, %s, %+v: the search works: %v, the trial breaks %+v", k, p.Objective, at, fine, got.Breaches)
				continue
			}
			if !fine {
				not++
				if got.Candidate == nil && len(got.Breaches) == 0 {
					t.Errorf("instance %d, %+v: nothing runs and nothing is said", k, at)
				}
				continue
			}
			works[p.Objective]++
			want, c := &res.Ranked[0], got.Candidate
			if c.Operation != want.Operation || c.Cost != want.Cost || c.DriveHeadM != want.DriveHeadM || c.Intake != want.Intake || c.Box != want.Box || c.Standpipe != want.Standpipe || c.Pump != want.Pump || c.SupplyM != want.SupplyM || c.StandpipeM != want.StandpipeM {
				t.Errorf("instance %d, %s, %+v:\ntrial  %+v\nsearch %+v", k, p.Objective, at, c, want)
			}
		}
	}
	t.Logf("%v trials work, %d do not", works, not)
	if !testing.Short() && (not < instances || min(works[MostHead], works[MostWater], works[LeastCost]) < 30) {
		t.Error("too few trials say something")
	}
}

// randomMask leaves out one station in so many.
func randomMask(r *rand.Rand, n, one int) []bool {
	mask := make([]bool, n)
	for k := range mask {
		mask[k] = r.IntN(one) > 0
	}
	return mask
}

// randomPlaces are in the order of the water.
func randomPlaces(r *rand.Rand, n int) TrialPlaces {
	k := []int{r.IntN(n), r.IntN(n), r.IntN(n), r.IntN(n)}
	slices.Sort(k)
	k = slices.Compact(k)
	for len(k) < 2 {
		k = []int{0, n - 1}
	}
	at := TrialPlaces{Intake: k[0], Box: -1, Standpipe: -1, Pump: k[len(k)-1]}
	switch between := k[1 : len(k)-1]; {
	case len(between) == 2:
		at.Box, at.Standpipe = between[0], between[1]
	case len(between) == 1 && r.IntN(2) == 0:
		at.Box = between[0]
	case len(between) == 1:
		at.Standpipe = between[0]
	}
	return at
}
