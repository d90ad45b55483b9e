package optimize

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// The front has the least cost of the brute force at every demand, and with it
// the most water; its points differ, and cost and water rise together.
func TestFrontEqualsBruteForce(t *testing.T) {
	const seed = 82
	instances := few(30)
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 7))
	points, feasible := 0, 0
	for k := range instances {
		p := randomProblem(r)
		var demands []float64
		for d := 1e-6; d < 1e-4; d *= 2 {
			demands = append(demands, d)
		}
		front, err := Front(t.Context(), p, &Settings{Workers: 2}, demands)
		if err != nil {
			t.Fatal(err)
		}
		points += len(front)
		for _, d := range demands {
			q := p
			q.Demand, q.Objective = d, LeastCost
			st, err := newSite(t.Context(), &q, &Settings{Workers: 1})
			if err != nil {
				t.Fatal(err)
			}
			want := bruteRun(st)
			// The front's answer for a demand is its first point that
			// delivers it.
			at := slices.IndexFunc(front, func(f FrontPoint) bool { return f.Candidate.Operation.DeliveredTotal >= d })
			if (at >= 0) != !math.IsInf(want.cheap, -1) {
				t.Errorf("instance %d, demand %.3g: front has %v, brute force %v", k, d, at, want)
				continue
			}
			if at < 0 {
				continue
			}
			feasible++
			if c := front[at].Candidate; -float64(c.Cost.Minor) != want.cheap || !near(c.Operation.DeliveredTotal, want.cheapWater) {
				t.Errorf("instance %d, demand %.3g: front %d for %v, brute force %v", k, d, c.Cost.Minor, c.Operation.DeliveredTotal, want)
			}
		}
		for n := 1; n < len(front); n++ {
			a, b := &front[n-1].Candidate, &front[n].Candidate
			if !(a.Cost.Minor < b.Cost.Minor && a.Operation.DeliveredTotal < b.Operation.DeliveredTotal) {
				t.Errorf("instance %d: point %d does not rise: %v for %v, then %v for %v", k, n, a.Operation.DeliveredTotal, a.Cost, b.Operation.DeliveredTotal, b.Cost)
			}
		}
	}
	t.Logf("%d points; %d demands of the brute force can be met", points, feasible)
	if !testing.Short() && (points < instances/2 || feasible < instances) {
		t.Error("too few points say something")
	}
}
