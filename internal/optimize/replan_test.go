package optimize

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"route/internal/profile"
)

// bumpy adds a smooth random error to a creek and makes it fall again.
func bumpy(creek *profile.Profile, sizeM float64, r *rand.Rand) *profile.Profile {
	out, e := *creek, 0.0
	out.ZM, out.SlopeM = slices.Clone(creek.ZM), slices.Clone(creek.SlopeM)
	for k := range out.ZM {
		e = 0.9*e + sizeM*r.NormFloat64()
		out.ZM[k] += e
		if k > 0 {
			out.ZM[k] = math.Min(out.ZM[k], out.ZM[k-1])
			out.SlopeM[k] = out.SlopeM[k-1] + math.Hypot(float64(out.Stations[k]-out.Stations[k-1]), out.ZM[k-1]-out.ZM[k])
		}
	}
	return &out
}

// What a replanner finds at other heights is what brute force finds there: the
// site at those heights is handed to the brute force of the search itself, for
// either class of layout. Seeds 900 to 1299.
func TestReplannerAgainstBruteForce(t *testing.T) {
	compared := 0
	for seed := range uint64(400) {
		random := rand.New(rand.NewPCG(900+seed, 3))
		p := randomProblem(random)
		p.Demand = 0
		p.Objective = []Objective{MostHead, MostWater}[seed%2]
		first, err := Run(t.Context(), p, &Settings{Workers: 1})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range first.Ranked {
			r, err := NewReplanner(t.Context(), p, &c, p.Objective, 1)
			if err != nil {
				t.Fatal(err)
			}
			r.kind = bucket{to: r.base.n, anyClass: true}
			z := bumpy(p.Creek, 0.1, random)
			want := bruteRun(r.with(t.Context(), z))
			got, ok := r.Search(t.Context(), z)
			value := math.Inf(-1)
			if ok {
				value = got.DriveHeadM
				if p.Objective == MostWater {
					value = got.Water
				}
				compared++
			}
			expected := want.head
			if p.Objective == MostWater {
				expected = want.water
			}
			if !near(value, expected) && !(!ok && math.IsInf(expected, -1)) {
				t.Errorf("seed %d, %s: %v, by brute force %v", 900+seed, p.Objective, value, expected)
			}
		}
	}
	t.Logf("%d layouts compared", compared)
	if compared < 300 {
		t.Error("too few layouts to say anything")
	}
}

// The truth of a layout that was found at the problem's own heights is what was
// found: no error, no luck. Seed 1.
func TestWithoutErrorTheTruthIsTheClaim(t *testing.T) {
	for _, goal := range []Objective{MostHead, MostWater, LeastCost} {
		p := kilometre()
		p.Objective = goal
		res, err := Run(t.Context(), p, nil)
		if err != nil || res.Status != Found {
			t.Fatal(err, res.Status)
		}
		for _, c := range res.Ranked {
			r, err := NewReplanner(t.Context(), p, &c, goal, 1)
			if err != nil {
				t.Fatal(err)
			}
			ended, end := context.WithCancel(t.Context())
			end()
			if _, ok := r.Search(ended, p.Creek); ok {
				t.Error("a search that was stopped finds something")
			}
			f, ok := r.Search(t.Context(), p.Creek)
			if !ok {
				t.Fatalf("%s: a layout like %s, %s was not found again", goal, c.SupplyPipe, c.DrivePipe)
			}
			truth := r.Truth(f)
			if math.Abs(truth.DriveHeadM-f.DriveHeadM) > 1e-9 || math.Abs(truth.AboveFootM-f.AboveFootM) > 1e-9 || math.Abs(truth.Water/f.Water-1) > 1e-9 {
				t.Errorf("%s: found %+v, in truth %+v", goal, f, truth)
			}
			if slices.Contains(c.BestAt, goal) && math.Abs(f.DriveHeadM-c.DriveHeadM) > 1e-9 {
				t.Errorf("%s: found a head of %v, the search %v", goal, f.DriveHeadM, c.DriveHeadM)
			}
		}
	}
}

// BenchmarkReplan searches a creek of 1 km once with other heights.
func BenchmarkReplan(b *testing.B) {
	for _, goal := range []Objective{LeastCost, MostWater, MostHead} {
		b.Run(string(goal), func(b *testing.B) {
			p := kilometre()
			p.Objective = goal
			res, err := Run(b.Context(), p, nil)
			if err != nil || res.Status != Found {
				b.Fatal(err)
			}
			r, err := NewReplanner(b.Context(), p, &res.Ranked[0], goal, 1)
			if err != nil {
				b.Fatal(err)
			}
			random := rand.New(rand.NewPCG(5, 5))
			var creeks [16]*profile.Profile
			for k := range creeks {
				creeks[k] = bumpy(p.Creek, 0.03, random)
			}
			b.ResetTimer()
			for k := 0; b.Loop(); k++ {
				if _, ok := r.Search(b.Context(), creeks[k%len(creeks)]); !ok {
					b.Fatal("nothing found")
				}
			}
		})
	}
}
