package plan

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"route/internal/optimize"
)

// The value of a reading is E max(means + slopes·Z) − max means; here by the
// trapezoid rule over ±9 standard deviations. The maximum has kinks, so that
// the rule's error is of the order of the step squared.
func TestValueOfReadingAgainstQuadrature(t *testing.T) {
	random := rand.New(rand.NewPCG(41, 1)) // seed 41, 1
	const n = 20000
	for trial := range 200 {
		count := 1 + random.IntN(12)
		means, slopes := make([]float64, count), make([]float64, count)
		best := math.Inf(-1)
		for j := range means {
			means[j], slopes[j] = random.NormFloat64(), random.NormFloat64()
			if trial%3 == 0 { // ties and parallels
				means[j], slopes[j] = math.Round(means[j]), math.Round(slopes[j])
			}
			best = math.Max(best, means[j])
		}
		want, step := -best, 18.0/n
		for i := range n + 1 {
			z := -9 + step*float64(i)
			top := math.Inf(-1)
			for j := range means {
				top = math.Max(top, means[j]+slopes[j]*z)
			}
			want += top * distuv.UnitNormal.Prob(z) * step
		}
		if got := valueOfReading(means, slopes); math.Abs(got-want) > 2e-6 || got < 0 {
			t.Fatalf("seed 41, trial %d: %v, by quadrature %v; means %v, slopes %v", trial, got, want, means, slopes)
		}
	}
}

// The envelope's layout is the highest line everywhere, and its breaks rise.
func TestEnvelopeIsTheHighestLine(t *testing.T) {
	random := rand.New(rand.NewPCG(42, 1)) // seed 42, 1
	for trial := range 2000 {
		count := 1 + random.IntN(8)
		means, slopes := make([]float64, count), make([]float64, count)
		for j := range means {
			means[j], slopes[j] = math.Round(4*random.NormFloat64()), math.Round(3*random.NormFloat64())
		}
		lines, breaks := envelope(means, slopes)
		if len(breaks) != len(lines)-1 {
			t.Fatalf("seed 42, trial %d: %d lines, %d breaks", trial, len(lines), len(breaks))
		}
		for z := -12.003; z < 12; z += 0.1 {
			r := 0
			for r < len(breaks) && z > breaks[r] {
				r++
			}
			for j := range means {
				if have := means[lines[r]] + slopes[lines[r]]*z; means[j]+slopes[j]*z > have+1e-9 {
					t.Fatalf("seed 42, trial %d: at %v line %d is above line %d", trial, z, j, lines[r])
				}
			}
		}
	}
}

// Brute force: heights are drawn from the dense covariance of a known error
// (exponential parts, factorised by gonum), a reading is simulated, each
// layout's drop is estimated from it by dense conditioning, and the best is
// chosen. What the choice gains on average in the *true* worth is the value of
// the reading. The bound is four standard errors of the mean.
func TestValueOfReadingAgainstMonteCarlo(t *testing.T) {
	at := []float64{0, 18, 70, 95, 160, 190, 400}
	cov := func(a, b int) float64 {
		d := math.Abs(at[a] - at[b])
		k := 0.16*math.Exp(-d/25) + 0.25*math.Exp(-d/500)
		if a == b {
			k += 0.04
		}
		return k
	}
	f := falls{variance: func(a, b int) float64 { return cov(a, a) + cov(b, b) - 2*cov(a, b) }}
	prospects := []prospect{
		{layout: "A", intake: 0, pump: 2, mean: 500, slope: 180},
		{layout: "B", intake: 1, pump: 3, mean: 480, slope: 150},
		{layout: "C", intake: 4, pump: 6, mean: 470, slope: 210},
	}
	means := []float64{500, 480, 470}
	dense := mat.NewSymDense(len(at), nil)
	for a := range at {
		for b := a; b < len(at); b++ {
			dense.SetSym(a, b, cov(a, b))
		}
	}
	var factor mat.Cholesky
	if !factor.Factorize(dense) {
		t.Fatal("the covariance is not positive")
	}
	var lower mat.TriDense
	factor.LTo(&lower)
	for _, reading := range []struct {
		from, to int
		sigma    float64
	}{{0, 2, 0.02}, {1, 3, 0.1}, {4, 6, 0.02}, {0, 5, 0.3}} {
		slopes, _ := f.moves(prospects, reading.from, reading.to, reading.sigma)
		got := valueOfReading(means, slopes)
		random := rand.New(rand.NewPCG(43, uint64(reading.to))) // seed 43
		const n = 200000
		sum, squares := 0.0, 0.0
		e, z := mat.NewVecDense(len(at), nil), mat.NewVecDense(len(at), nil)
		k := func(a, b int) float64 { return dense.At(a, b) }
		variance := k(reading.from, reading.from) + k(reading.to, reading.to) - 2*k(reading.from, reading.to) + reading.sigma*reading.sigma
		for range n {
			for i := range at {
				z.SetVec(i, random.NormFloat64())
			}
			e.MulVec(&lower, z)
			surprise := e.AtVec(reading.from) - e.AtVec(reading.to) + reading.sigma*random.NormFloat64()
			chosen, most := 0, math.Inf(-1)
			for j, p := range prospects {
				shared := k(p.intake, reading.from) - k(p.intake, reading.to) - k(p.pump, reading.from) + k(p.pump, reading.to)
				if m := p.mean + p.slope*shared/variance*surprise; m > most {
					chosen, most = j, m
				}
			}
			truth := func(j int) float64 {
				p := prospects[j]
				return p.mean + p.slope*(e.AtVec(p.intake)-e.AtVec(p.pump))
			}
			gain := truth(chosen) - truth(0) // A is best before the reading
			sum, squares = sum+gain, squares+gain*gain
		}
		mean := sum / n
		if bound := 4 * math.Sqrt((squares/n-mean*mean)/n); math.Abs(got-mean) > bound {
			t.Errorf("seed 43, drop %d to %d: %.3f, by brute force %.3f ± %.3f", reading.from, reading.to, got, mean, bound)
		}
	}
}

// What a reading decides is said from the least drop to the greatest, and the
// chances add up to one. By hand: A is worth 10 + 3 (drop − 3)/0.5 and B 9
// whatever the drop, so that B is better below 3 − 0.5/3 m.
func TestOutcomesNameTheThreshold(t *testing.T) {
	j := &job{site: &Site{}, prospects: []prospect{{layout: "A", mean: 10}, {layout: "B", mean: 9}}}
	out := j.outcomes([]float64{10, 9}, []float64{3, 0}, 3, 0.5)
	if len(out) != 2 || out[0].Layout != "B" || out[1].Layout != "A" || out[0].FromM.Known() || out[1].ToM.Known() {
		t.Fatalf("%+v", out)
	}
	if math.Abs(float64(out[0].ToM)-(3-0.5/3)) > 1e-12 || out[1].FromM != out[0].ToM {
		t.Errorf("the threshold is %v", out[0].ToM)
	}
	want := distuv.UnitNormal.CDF(-1.0 / 3)
	if got := j.chanceChanges(out); math.Abs(got-want) > 1e-12 || math.Abs(float64(out[0].Chance+out[1].Chance)-1) > 1e-12 {
		t.Errorf("the choice changes with chance %v, want %v; %+v", got, want, out)
	}
	text := j.visitText("level", &Visit{SigmaM: 0.02, Outcomes: out, From: VisitPlace{Name: "X"}, To: VisitPlace{Name: "Y"}})
	if want := "level the drop of the water from X (0 m along the creek) to Y (0 m) to 2.0 cm: below 2.83 m take layout B, above 2.83 m stay with layout A"; text != want {
		t.Errorf("%q\nwant %q", text, want)
	}
}

// A worth that is the delivered flow grows with the drive head as the flow
// does: the pump here delivers a litre a second for each metre of head, so the
// slope over ± one standard deviation is 86 400 L/day a metre, but for the
// spread of the pump, whose mean factor is exp(σ²/2). 400 draws know that mean
// to 0.6 %; four times that is the bound.
func TestWorthGrowsWithTheHead(t *testing.T) {
	of, unit := worth(optimize.MostWater, "USD")
	if unit != "L/day" {
		t.Errorf("unit %q", unit)
	}
	u := uncertain{driveHeadM: 3, drawFlow: 1, deliver: linear, worth: func(q, h, c float64, ok bool) float64 { return of(q/1000, h, c, ok) }}
	less, more := u, u
	less.headShift, more.headShift = -1, 1
	g := &grader{c: &optimize.Candidate{Box: -1, Standpipe: -1, Pump: 4}}
	p := g.prospectOf(spreadOf(t, u, sameSigma(0.2), 7), spreadOf(t, less, sameSigma(0.2), 7), spreadOf(t, more, sameSigma(0.2), 7))
	if want := 86400 * math.Exp(modelSpread*modelSpread/2); math.Abs(p.slope/want-1) > 0.025 {
		t.Errorf("slope %v L/day a metre, want %v", p.slope, want)
	}
	if len(p.places) != 2 || p.places[1].station != 4 {
		t.Errorf("places %+v", p.places)
	}
	money, unit := worth(optimize.LeastCost, "USD")
	if money(1, 3, 100, true) != -100 || money(0, 3, 100, false) != -200 || unit != "USD" {
		t.Error("a layout that fails does not cost its materials twice")
	}
}

// Set-ups follow the longer of what distance and fall ask for.
func TestSetUps(t *testing.T) {
	hose := methods[0]
	for _, c := range []struct {
		alongM, dropM float64
		want          int
	}{{5, 0.1, 1}, {41, 1, 3}, {10, 3.1, 3}} {
		if n := hose.setUps(c.alongM, c.dropM); n != c.want {
			t.Errorf("%v m along and %v m down: %d set-ups, want %d", c.alongM, c.dropM, n, c.want)
		}
	}
}
