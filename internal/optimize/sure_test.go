package optimize

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/paulmach/orb"
)

// surest is what the brute force finds with the terrain's error in mind.
type surest struct {
	water             float64 // most sure water
	cheap, cheapWater float64 // least cost (as a negative) of what surely delivers the demand, and the most sure water at that cost
}

// ninety is the 90 % point of the standard normal distribution (Abramowitz &
// Stegun 1964, Handbook of Mathematical Functions, table 26.5).
const ninety = 1.2815515655446004

// bruteSure tries every flow, supply pipe, box, intake, standpipe, pump, engine
// and delivery pipe, with the drive head as planned and ninety standard
// deviations lower. Like bruteRun it shares with the search the flow levels,
// the choices and the evaluation of one layout with one drive head.
func bruteSure(st *site) surest {
	b := surest{math.Inf(-1), math.Inf(-1), math.Inf(-1)}
	p, l := st.Problem, &st.Limits
	st.eachPlace(func(f *flow, o *supplyOption, i, s, pump int, head, length, supplyM float64, standpipe bool) {
		sure := head
		if p.HeadSigma != nil {
			sure -= ninety * p.HeadSigma(p.Creek.Points[i], p.Creek.Points[pump])
		}
		if sure < l.DriveHeadMinM {
			return
		}
		for e := range st.engines {
			for way := range st.ways {
				c := choice{f, &st.engines[e], way}
				if _, m := st.evaluate(c, pump, length, head); m != nil {
					continue
				}
				op, m := st.evaluate(c, pump, length, sure)
				if m != nil {
					continue
				}
				b.water = max(b.water, op.DeliveredTotal)
				if op.DeliveredTotal < p.Demand {
					continue
				}
				t, err := p.Catalog.Materials(layoutOf(p, o, st.stands[st.engines[e].standpipe], &st.engines[e], &st.ways[way], i, s, pump, length, supplyM, standpipe))
				if err != nil {
					panic(err)
				}
				total, err := t.Total()
				if err != nil {
					panic(err)
				}
				switch cheap := -float64(total.Minor); {
				case cheap > b.cheap:
					b.cheap, b.cheapWater = cheap, op.DeliveredTotal
				case cheap == b.cheap:
					b.cheapWater = max(b.cheapWater, op.DeliveredTotal)
				}
			}
		}
	})
	return b
}

// eachPlace visits every way to bring water to every pump that keeps the limits
// of places, lengths and levels.
func (st *site) eachPlace(visit func(f *flow, o *supplyOption, i, s, pump int, head, length, supplyM float64, standpipe bool)) {
	p, l := st.Problem, &st.Limits
	z := p.Creek.ZM
	may := func(mask []bool, k int) bool { return mask == nil || mask[k] }
	take := func(f *flow, o *supplyOption, i, s int, level, supplyM float64, standpipe bool) {
		for pump := s + 1; pump < st.n; pump++ {
			outlet := z[pump] + l.PumpAboveCreekM
			head := level - outlet
			dx, dy, dz := p.Creek.Points[s][0]-p.Creek.Points[pump][0], p.Creek.Points[s][1]-p.Creek.Points[pump][1], z[s]-outlet
			length := math.Sqrt(dx*dx + dy*dy + dz*dz)
			if may(p.PumpAt, pump) && p.DeliveryAt[pump].OK && outlet < z[s] && length >= l.DriveLengthMinM && length <= l.DriveLengthMaxM && head <= l.DriveHeadMaxM && head <= st.lift[pump]/1.5 {
				visit(f, o, i, s, pump, head, length, supplyM, standpipe)
			}
		}
	}
	for _, f := range st.flows {
		for i := range st.n {
			if !may(p.IntakeAt, i) {
				continue
			}
			if st.poolAllowed() {
				take(f, nil, i, i, z[i], 0, false)
			}
			for k := range st.options {
				for _, w := range creekWays(st, f, &st.options[k], i) {
					take(f, &st.options[k], i, w.s, w.level, w.length, w.standing)
				}
			}
		}
	}
}

// riskyProblem is a random problem whose drive heads are uncertain: by a law of
// the distance on the map, by chance for every pair of places (as after
// readings here and there), by whole centimetres, so that many are equal, or
// not at all. Some creeks wind in loops, where places far apart along the creek
// stand side by side; on some, parts of the land are closed; and some rise in
// steps of a decimetre, so that many heads are equal.
func riskyProblem(r *rand.Rand) Problem {
	p := randomProblem(r)
	n := p.Creek.Len()
	if r.IntN(3) == 0 { // round and round
		turn, heading := 2*math.Pi/(5+5*r.Float64()), 0.0
		for k := 1; k < n; k++ {
			step := float64(p.Creek.Stations[k]-p.Creek.Stations[k-1]) * 0.99
			heading += turn
			last := p.Creek.Points[k-1]
			p.Creek.Points[k] = orb.Point{last[0] + step*math.Cos(heading), last[1] + step*math.Sin(heading)}
		}
	}
	if r.IntN(3) == 0 {
		for k := range n {
			p.Creek.ZM[k] = math.Round(10*p.Creek.ZM[k]) / 10
		}
	}
	for _, mask := range []*[]bool{&p.IntakeAt, &p.StandpipeAt, &p.PumpAt, &p.PassAt} {
		if r.IntN(6) == 0 {
			for range n {
				*mask = append(*mask, r.IntN(6) > 0)
			}
		}
	}
	p.Certainty = 0.9
	size, far, salt := 0.2*r.Float64(), 5+40*r.Float64(), r.Uint64()
	law := func(a, b orb.Point) float64 {
		return size * math.Sqrt(1-math.Exp(-math.Hypot(a[0]-b[0], a[1]-b[1])/far))
	}
	switch r.IntN(4) {
	case 0:
		p.HeadSigma = law
	case 1:
		p.HeadSigma = func(a, b orb.Point) float64 { return math.Round(100*law(a, b)) / 100 }
	case 2:
		p.HeadSigma = func(a, b orb.Point) float64 {
			seed := math.Float64bits(a[0]+3*a[1]) ^ math.Float64bits(b[0]-7*b[1])
			return 2 * size * rand.New(rand.NewPCG(salt, seed)).Float64()
		}
	}
	return p
}

// sureWinners reads the two objectives off a result.
func sureWinners(res *Result) surest {
	b := surest{math.Inf(-1), math.Inf(-1), math.Inf(-1)}
	for _, c := range res.Ranked {
		for _, goal := range c.BestAt {
			switch goal {
			case MostSureWater:
				b.water = c.SureWater
			case LeastCost:
				b.cheap, b.cheapWater = -float64(c.Cost.Minor), c.SureWater
			}
		}
	}
	return b
}

// The most sure water, and the least cost at a certainty, are those of the
// brute force: with forced ties, masks, loops, and errors of the head that do
// not grow with the distance.
func TestSureSearchEqualsBruteForceWithTiesMasksAndLoops(t *testing.T) {
	const seed = 91
	instances := few(360)
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 5))
	sure, cheap, moved := 0, 0, 0
	for k := range instances {
		p := riskyProblem(r)
		p.Objective = []Objective{MostSureWater, LeastCost}[k%2]
		st, err := newSite(t.Context(), &p, &Settings{Workers: 1})
		if err != nil {
			t.Fatal(err)
		}
		want := bruteSure(st)
		res, err := Run(t.Context(), p, &Settings{Workers: 2})
		if err != nil {
			t.Fatal(err)
		}
		got := sureWinners(res)
		if k%2 == 0 && !near(got.water, want.water) {
			t.Errorf("instance %d, %s: most sure water %v, by brute force %v", k, describe(&p), got.water, want.water)
		}
		if got.cheap != want.cheap || !near(got.cheapWater, want.cheapWater) {
			t.Errorf("instance %d, %s: least cost %v for %v, by brute force %v for %v", k, describe(&p), -got.cheap, got.cheapWater, -want.cheap, want.cheapWater)
		}
		p.HeadSigma, p.Objective = nil, LeastCost
		planned, err := Best(t.Context(), p)
		if err != nil {
			t.Fatal(err)
		}
		if !math.IsInf(want.water, -1) {
			sure++
		}
		if !math.IsInf(want.cheap, -1) {
			cheap++
		}
		if planned != nil && -float64(planned.Cost.Minor) != want.cheap {
			moved++
		}
	}
	t.Logf("%d instances, %d surely deliver something, %d the demand; the error makes the cheapest dearer or impossible in %d", instances, sure, cheap, moved)
	if !testing.Short() && (sure < instances/5 || cheap < instances/8 || moved < 12) {
		t.Error("too few instances say something")
	}
}

// Without an error of the head, the surest is the most: of water, and of the
// layouts for the demand the one that is cheapest.
func TestSureSearchWithoutErrorIsThePlainSearch(t *testing.T) {
	const seed = 92
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 5))
	compared := 0
	for k := range 40 {
		p := randomProblem(r)
		p.Objective = MostWater
		plain, err := Run(t.Context(), p, nil)
		if err != nil {
			t.Fatal(err)
		}
		p.Objective, p.HeadSigma = MostSureWater, func(_, _ orb.Point) float64 { return 0 }
		sure, err := Run(t.Context(), p, nil)
		if err != nil {
			t.Fatal(err)
		}
		a, b := winners(plain), sureWinners(sure)
		if !near(a.water, b.water) || a.cheap != b.cheap || !near(a.cheapWater, b.cheapWater) {
			t.Errorf("instance %d: %v, surely %v", k, a, b)
		}
		if !math.IsInf(a.water, -1) {
			compared++
		}
	}
	if compared < 10 {
		t.Errorf("only %d instances have a layout", compared)
	}
}

// The number of standard deviations is that of a table of the normal
// distribution (Abramowitz & Stegun 1964, table 26.5).
func TestCertaintyInStandardDeviations(t *testing.T) {
	for chance, want := range map[float64]float64{0.75: 0.67449, 0.9: 1.28155, 0.95: 1.64485, 0.99: 2.32635, 0.5: 0, 0: 0} {
		if got := certaintyZ(chance); math.Abs(got-want) > 1e-5 {
			t.Errorf("%v: %v, in the table %v", chance, got, want)
		}
	}
}
