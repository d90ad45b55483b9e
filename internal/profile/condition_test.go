package profile

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/paulmach/orb"
	"gonum.org/v1/gonum/mat"

	"route/internal/finding"
)

// twoRanges is a surface whose error has a white part and two exponential
// parts, as its formula: the kernel k that the dense solves below use.
type twoRanges struct{ white, short, shortAt, long, longAt float64 }

func (twoRanges) At(orb.Point) (float64, bool) { return 0, true }

func (g twoRanges) k(p, q orb.Point) float64 {
	d := distance(p, q)
	v := g.short*g.short*math.Exp(-d/g.shortAt) + g.long*g.long*math.Exp(-d/g.longAt)
	if d == 0 {
		v += g.white * g.white
	}
	return v
}

func (g twoRanges) DiffSigma(p, q orb.Point) float64 {
	return math.Sqrt(2 * (g.k(p, p) - g.k(p, q)))
}

var forest = twoRanges{0.03, 0.05, 8, 0.08, 300}

// bent makes a profile along a bent creek with a fit error of its own.
func bent(t testing.TB, random *rand.Rand, n int, grade float64) *Profile {
	t.Helper()
	line := orb.LineString{{0, 0}}
	for i := 1; i < n; i++ {
		a := 0.9 * math.Sin(float64(i)/9)
		last := line[i-1]
		line = append(line, orb.Point{last[0] + 2*math.Cos(a), last[1] + 2*math.Sin(a)})
	}
	a, err := NewAlignment(line, 0)
	if err != nil {
		t.Fatal(err)
	}
	p := &Profile{Alignment: a, Points: line, passed: passed{withinM: 4, ownWithinM: 10, cellM: 1, beforeM: 100}, Flags: make([]Flag, n), SlopeM: make([]float64, n)}
	for i := range n {
		p.Stations = append(p.Stations, a.station[i])
		z := 100 - grade*float64(a.station[i])
		p.RawM = append(p.RawM, z)
		p.ZM = append(p.ZM, z)
		p.LowM = append(p.LowM, z-0.1)
		p.HighM = append(p.HighM, z+0.1)
		p.ownVar = append(p.ownVar, 0.0004*(1+random.Float64()))
		p.SigmaM = append(p.SigmaM, 0)
		if i > 0 {
			p.SlopeM[i] = p.SlopeM[i-1] + math.Hypot(float64(p.Stations[i]-p.Stations[i-1]), p.ZM[i-1]-p.ZM[i])
		}
	}
	if n <= 200 {
		_, c := dense(p, forest, nil)
		for i := range n {
			p.SigmaM[i] = math.Sqrt(c.At(i, i))
		}
	}
	return p
}

// dense is the textbook answer with absolute heights and all n×n covariances:
// mean + C Hᵀ(H C Hᵀ + T)⁻¹(y − H mean), C − C Hᵀ(…)⁻¹ H C.
func dense(p *Profile, g twoRanges, readings []Reading) (mean *mat.VecDense, covariance *mat.Dense) {
	n, m := p.Len(), len(readings)
	// A fitted height is 1/25, 2/25, … 5/25, … 1/25 of the heights 4, 3, … 0, … 4 m
	// along the creek, which are straight between whole metres; the line goes
	// straight on above its upper end and stops at its lower one.
	const beyond = 4
	var places []orb.Point
	for s := Station(-beyond); s <= p.Stations[n-1]+beyond+1; s++ {
		q := p.Alignment.PointAt(s)
		if s < 0 {
			first := p.Alignment.Line()
			u := unit(first[0], first[1])
			q = orb.Point{first[0][0] + float64(s)*u[0], first[0][1] + float64(s)*u[1]}
		}
		places = append(places, q)
	}
	heights := mat.NewDense(n, len(places), nil)
	for i := range n {
		for k := -4; k <= 4; k++ {
			at := float64(p.Stations[i]) + float64(k)
			share, whole := float64(5-max(k, -k))/25, math.Floor(at)
			for side, part := range []float64{1 - (at - whole), at - whole} {
				if j := int(whole) + beyond + side; part > 0 {
					heights.Set(i, j, heights.At(i, j)+share*part)
				}
			}
		}
	}
	field := mat.NewDense(len(places), len(places), nil)
	for i, a := range places {
		for j, b := range places {
			field.Set(i, j, g.k(a, b))
			if a == b {
				field.Set(i, j, g.k(a, b)-g.white*g.white)
			}
		}
	}
	var half mat.Dense
	c := mat.NewDense(n, n, nil)
	half.Mul(heights, field)
	c.Mul(&half, heights.T())
	for i := range n {
		for j := range n {
			apart := math.Abs(float64(p.Stations[i] - p.Stations[j]))
			c.Set(i, j, c.At(i, j)+math.Sqrt(p.ownVar[i]*p.ownVar[j])*math.Max(0, 1-apart/20))
		}
	}
	if m == 0 {
		return nil, c
	}
	h := mat.NewDense(m, n, nil)
	y := mat.NewVecDense(m, nil)
	noise := mat.NewDense(m, m, nil)
	for k, r := range readings {
		for _, end := range []struct {
			s    Station
			sign float64
		}{{r.From, 1}, {r.To, -1}} {
			for i := 0; i+1 < n; i++ {
				if p.Stations[i] <= end.s && end.s < p.Stations[i+1] {
					t := float64((end.s - p.Stations[i]) / (p.Stations[i+1] - p.Stations[i]))
					h.Set(k, i, h.At(k, i)+end.sign*(1-t))
					h.Set(k, i+1, h.At(k, i+1)+end.sign*t)
				}
			}
		}
		y.SetVec(k, r.DropM)
		for l, other := range readings {
			switch {
			case k == l:
				noise.Set(k, k, r.SigmaM*r.SigmaM+r.SharedM*r.SharedM)
			case r.Set != 0 && r.Set == other.Set:
				noise.Set(k, l, r.SharedM*other.SharedM)
			}
		}
	}
	prior := mat.NewVecDense(n, append([]float64{}, p.ZM...))
	var ch, a, gain, off, shift, hz, less mat.Dense
	ch.Mul(c, h.T())
	a.Mul(h, &ch)
	a.Add(&a, noise)
	if err := gain.Solve(&a, ch.T()); err != nil {
		panic(err)
	}
	hz.Mul(h, prior)
	off.Sub(y, &hz)
	shift.Mul(gain.T(), &off)
	mean = mat.NewVecDense(n, nil)
	mean.AddVec(prior, shift.ColView(0))
	less.Mul(&ch, &gain)
	covariance = mat.NewDense(n, n, nil)
	covariance.Sub(c, &less)
	return mean, covariance
}

// Random readings on random creeks against the dense solve. The creek is steep
// enough that nothing rises, so that the means can be compared.
func TestConditionIsTheDenseSolve(t *testing.T) {
	const seed = 20240611
	random := rand.New(rand.NewPCG(seed, 1))
	for trial := range 20 {
		p := bent(t, random, 40+random.IntN(40), 0.5)
		length := float64(p.Stations[p.Len()-1])
		var readings []Reading
		for range 1 + random.IntN(8) {
			r := Reading{From: Station(random.Float64() * length), To: Station(random.Float64() * length), SigmaM: 0.005 + 0.05*random.Float64()}
			if random.IntN(3) == 0 {
				r.From = p.Stations[random.IntN(p.Len()-1)]
			}
			if random.IntN(3) == 0 {
				r.Set, r.SharedM = 1, 0.02
			}
			from, _ := p.HeightAt(r.From)
			to, _ := p.HeightAt(r.To)
			r.DropM = from - to + 0.1*random.NormFloat64()
			readings = append(readings, r)
		}
		c, err := Condition(p, forest, readings)
		if err != nil {
			t.Fatal(err)
		}
		mean, covariance := dense(p, forest, readings)
		q := c.Profile()
		some := c.DropSigmas(p.Points[:p.Len()/2]) // the others are worked out one by one
		for i := range p.Len() {
			if math.Abs(q.ZM[i]-mean.AtVec(i)) > 1e-9 {
				t.Fatalf("seed %d, trial %d, station %d: z %.9f, dense %.9f", seed, trial, i, q.ZM[i], mean.AtVec(i))
			}
			if want := math.Sqrt(covariance.At(i, i)); math.Abs(q.SigmaM[i]-want) > 1e-7 {
				t.Fatalf("seed %d, trial %d, station %d: sigma %.9f, dense %.9f", seed, trial, i, q.SigmaM[i], want)
			}
			j := random.IntN(p.Len())
			want := math.Sqrt(math.Max(0, covariance.At(i, i)+covariance.At(j, j)-2*covariance.At(i, j)))
			if got := c.DiffSigma(p.Points[i], p.Points[j]); math.Abs(got-want) > 1e-7 {
				t.Fatalf("seed %d, trial %d: drop %d to %d: sigma %.9f, dense %.9f", seed, trial, i, j, got, want)
			}
			if got := some(p.Points[i], p.Points[j]); math.Abs(got-want) > 1e-7 {
				t.Fatalf("seed %d, trial %d: drop %d to %d among many: sigma %.9f, dense %.9f", seed, trial, i, j, got, want)
			}
			drop, err := c.Drop(p.Stations[i], p.Stations[j])
			if err != nil || math.Abs(drop.Sigma-want) > 1e-7 || math.Abs(drop.Value-(mean.AtVec(i)-mean.AtVec(j))) > 1e-9 {
				t.Fatalf("seed %d, trial %d: drop %d to %d: %v (%v), dense %.9f ± %.9f", seed, trial, i, j, drop, err, mean.AtVec(i)-mean.AtVec(j), want)
			}
		}
	}
}

func TestConditionAtItsLimits(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 7))
	p := bent(t, random, 100, 0.03)
	from, to := Station(31.3), Station(120.7)
	prior, err := p.Fall(from, to, forest)
	if err != nil {
		t.Fatal(err)
	}

	none, err := Condition(p, forest, nil)
	if err != nil {
		t.Fatal(err)
	}
	if none.Profile() != p {
		t.Error("without readings the profile is another one")
	}

	vague, err := Condition(p, forest, []Reading{{From: from, To: to, DropM: prior.Value + 0.3, SigmaM: 1e5}})
	if err != nil {
		t.Fatal(err)
	}
	for i := range p.Len() {
		if math.Abs(vague.Profile().ZM[i]-p.ZM[i]) > 1e-9 || math.Abs(vague.Profile().SigmaM[i]-p.SigmaM[i]) > 1e-9 {
			t.Fatalf("a reading that says nothing moves station %d from %v ± %v to %v ± %v", i, p.ZM[i], p.SigmaM[i], vague.Profile().ZM[i], vague.Profile().SigmaM[i])
		}
		if a, b := vague.DiffSigma(p.Points[0], p.Points[i]), none.DiffSigma(p.Points[0], p.Points[i]); math.Abs(a-b) > 1e-9 {
			t.Fatalf("a reading that says nothing changes the error of a drop from %v to %v", b, a)
		}
	}

	exact, err := Condition(p, forest, []Reading{{From: from, To: to, DropM: prior.Value + 0.3}})
	if err != nil {
		t.Fatal(err)
	}
	drop, err := exact.Drop(from, to)
	if err != nil || math.Abs(drop.Value-(prior.Value+0.3)) > 1e-7 || drop.Sigma > 2e-6 {
		t.Errorf("an exact reading of %v m is met with %v (%v)", prior.Value+0.3, drop, err)
	}
	fall, err := exact.Profile().Fall(p.Stations[10], p.Stations[80], exact)
	if err != nil || fall.Sigma != exact.DiffSigma(p.Points[10], p.Points[80]) {
		t.Errorf("fall of the new profile %v (%v), certainty %v", fall, err, exact.DiffSigma(p.Points[10], p.Points[80]))
	}

	_, err = Condition(p, forest, []Reading{{From: -1, To: to, DropM: 1, SigmaM: 0.01}})
	var fault *finding.Fault
	if !errors.As(err, &fault) || fault.Code != "station_outside" {
		t.Errorf("a reading outside the creek gives %v", err)
	}
}

// The line never rises, and the exactly measured drop stays exact although the
// line around it had to be levelled.
func TestConditionedLineDoesNotRise(t *testing.T) {
	const seed = 99
	random := rand.New(rand.NewPCG(seed, 2))
	levelled := 0
	for range 100 {
		p := bent(t, random, 120, 0.001)
		i, j := random.IntN(50), 60+random.IntN(50)
		want := p.ZM[i] - p.ZM[j] + 0.2 + 0.2*random.Float64()
		c, err := Condition(p, forest, []Reading{{From: p.Stations[i], To: p.Stations[j], DropM: want}})
		if err != nil {
			t.Fatal(err)
		}
		q := c.Profile()
		for k := 1; k < q.Len(); k++ {
			if q.ZM[k] > q.ZM[k-1] || q.LowM[k] > q.LowM[k-1] || q.HighM[k] > q.HighM[k-1] || q.LowM[k] > q.ZM[k] || q.HighM[k] < q.ZM[k] {
				t.Fatalf("seed %d: the line rises at station %d, or its band does not hold it", seed, k)
			}
			if q.ZM[k] == q.ZM[k-1] {
				levelled++
			}
		}
		if got := q.ZM[i] - q.ZM[j]; math.Abs(got-want) > 1e-7 {
			t.Fatalf("seed %d: measured %v, the profile falls %v", seed, want, got)
		}
	}
	if levelled == 0 {
		t.Error("nothing had to be levelled; the test shows nothing")
	}
}

// The nearest falling line by the min-max formula of isotonic regression
// (Barlow et al. 1972): z_i = min over a ≤ i of max over b ≥ i of the mean of
// y_a … y_b.
func TestNotRisingIsTheMinMaxFormula(t *testing.T) {
	const seed = 5
	random := rand.New(rand.NewPCG(seed, 3))
	for range 500 {
		n := 1 + random.IntN(12)
		z := make([]float64, n)
		for i := range z {
			z[i] = math.Round(random.NormFloat64() * 3)
		}
		got := append([]float64{}, z...)
		notRising(got, nil)
		for i := range z {
			least := math.Inf(1)
			for a := 0; a <= i; a++ {
				most := math.Inf(-1)
				for b := i; b < n; b++ {
					sum := 0.0
					for k := a; k <= b; k++ {
						sum += z[k]
					}
					most = math.Max(most, sum/float64(b-a+1))
				}
				least = math.Min(least, most)
			}
			if math.Abs(got[i]-least) > 1e-9 {
				t.Fatalf("seed %d: %v becomes %v, at %d want %v", seed, z, got, i, least)
			}
		}
	}
}

func TestQuestion(t *testing.T) {
	random := rand.New(rand.NewPCG(11, 4))
	p := bent(t, random, 200, 0.03)
	a, b, e := p.Stations[20], p.Stations[60], p.Stations[150]
	drop := func(from, to Station) float64 { x, _ := p.HeightAt(from); y, _ := p.HeightAt(to); return x - y }
	off := func(from, to Station, byM float64) Reading {
		return Reading{From: from, To: to, DropM: drop(from, to) + byM, SigmaM: 0.01}
	}
	prior, err := Condition(p, forest, nil)
	if err != nil {
		t.Fatal(err)
	}
	known, err := prior.Drop(a, b)
	if err != nil {
		t.Fatal(err)
	}
	limit := 3 * math.Hypot(known.Sigma, 0.01)
	for _, c := range []struct {
		name     string
		readings []Reading
		vouched  []bool
		used     string
		doubts   string
	}{
		{"fits", []Reading{off(a, b, 0.99*limit)}, []bool{false}, "[true]", ""},
		{"does not fit", []Reading{off(a, b, 1.01*limit)}, []bool{false}, "[false]", "0:+3.0 "},
		{"the other way", []Reading{off(b, a, 1.01*limit)}, []bool{false}, "[false]", "0:+3.0 "},
		{"vouched for", []Reading{off(a, b, 1.01*limit)}, []bool{true}, "[true]", "0:+3.0! "},
		{"another agrees with the vouched one", []Reading{off(a, b, 0.6), off(a, b, 0.61)}, []bool{true, false}, "[true true]", "0:"},
		{"two that disagree", []Reading{off(a, b, 0.1), off(a, b, -0.1)}, []bool{false, false}, "[false false]", "0:+1others 1:-1others "},
		{"one of three", []Reading{off(a, b, 0.05), off(a, b, -0.1), off(a, b, 0.055)}, []bool{false, false, false}, "[true false true]", "1:-1others "},
		{"a vouched one wins", []Reading{off(a, b, 0.1), off(a, b, -0.1)}, []bool{true, false}, "[true false]", "1:"},
		{"a loop that does not close", []Reading{off(a, b, 0), off(b, e, 0), off(a, e, 0.2)}, []bool{false, false, false}, "[false false false]", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			used, doubts, err := Question(p, forest, c.readings, c.vouched)
			if err != nil {
				t.Fatal(err)
			}
			if fmt.Sprint(used) != c.used {
				t.Errorf("used %v, want %v (%+v)", used, c.used, doubts)
			}
			said := ""
			for _, d := range doubts {
				switch {
				case d.ByOthers:
					said += fmt.Sprintf("%d:%+.0f", d.Reading, math.Copysign(1, d.Deviations)) + "others "
				case d.Used:
					said += fmt.Sprintf("%d:%+.1f! ", d.Reading, d.Deviations)
				default:
					said += fmt.Sprintf("%d:%+.1f ", d.Reading, d.Deviations)
				}
				if d.Used != c.vouched[d.Reading] {
					t.Errorf("doubt %+v", d)
				}
			}
			if len(said) < len(c.doubts) || said[:len(c.doubts)] != c.doubts {
				t.Errorf("said %q, want %q", said, c.doubts)
			}
		})
	}
	// Two-sided normal tail beyond 3: 0.0027 (Abramowitz & Stegun, table 26.1).
	if got := (Doubt{Deviations: -3}).Chance(); math.Abs(got-0.0027) > 5e-6 {
		t.Errorf("chance beyond 3 deviations %v", got)
	}
}

func BenchmarkCondition(b *testing.B) {
	random := rand.New(rand.NewPCG(1, 1))
	p := bent(b, random, 5000, 0.03)
	var readings []Reading
	for range 20 {
		i, j := random.IntN(5000), random.IntN(5000)
		readings = append(readings, Reading{From: p.Stations[i], To: p.Stations[j], DropM: p.ZM[i] - p.ZM[j], SigmaM: 0.02})
	}
	for b.Loop() {
		if _, err := Condition(p, forest, readings); err != nil {
			b.Fatal(err)
		}
	}
}
