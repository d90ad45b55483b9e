package profile

import (
	"math"
	"math/rand/v2"
	"testing"
)

// randomStiff is a noisy falling line with unequal steps.
func randomStiff(rng *rand.Rand, n int) stiffProblem {
	q := stiffProblem{tau: [...]float64{0.1, 0.5, 0.5, 0.9}[rng.IntN(4)], stepM: 0.5}
	s := Station(0)
	lambda := math.Pow(10, 5*rng.Float64()-1)
	for i := range n {
		s += Station(0.5 * float64(1+rng.IntN(10)/9*rng.IntN(8)))
		q.at = append(q.at, s)
		q.y = append(q.y, -0.04*float64(s)-0.5*float64(i*3/n)+0.1*rng.NormFloat64()+float64(rng.IntN(20)/19))
		q.w = append(q.w, [...]float64{1, 1, 1, 0.25}[rng.IntN(4)])
		q.p = append(q.p, lambda*float64(1-rng.IntN(10)/9))
	}
	return q
}

// TestStiffFitProvesItself computes the duality gap from the problem's
// definition: for every pull in [−(1−τ)w, τw] and press ≥ 0 with
// Q·x = pull + Mᵀ·press, the value Σ pull·y − ½·xᵀQx lies below the least
// one (Boyd & Vandenberghe 2004, Convex Optimization, §5.2.4), so that a
// small gap proves a falling z optimal, whatever the way it was found.
func TestStiffFitProvesItself(t *testing.T) {
	const seed = 30
	rng := rand.New(rand.NewPCG(seed, 0))
	worst := 0.0
	for c := range 400 {
		q := randomStiff(rng, 3+rng.IntN(300))
		n := len(q.y)
		f := q.solve(fallingQuantile(q.y, q.w, q.tau), 0.1)
		primal := quantileLoss(q.y, q.w, f.z, q.tau)
		bent := make([]float64, n) // Q·z
		energy := 0.0
		for i := 1; i+1 < n; i++ {
			h0, h1 := float64(q.at[i]-q.at[i-1])/q.stepM, float64(q.at[i+1]-q.at[i])/q.stepM
			d := ((f.z[i+1]-f.z[i])/h1 - (f.z[i]-f.z[i-1])/h0) * 2 / (h0 + h1)
			p := q.p[i] * (h0 + h1) / 2
			energy += p * d * d
			bent[i-1] += p * d * 2 / (h0 * (h0 + h1))
			bent[i] -= p * d * 2 / (h0 * h1)
			bent[i+1] += p * d * 2 / (h1 * (h0 + h1))
		}
		dual := -energy / 2
		scale := 0.0
		for i := range n {
			dual += f.pull[i] * q.y[i]
			scale += q.w[i] * 0.1
			rest := bent[i] - f.pull[i] - f.press[i]
			if i > 0 {
				rest += f.press[i-1]
			}
			if f.pull[i] > q.tau*q.w[i] || f.pull[i] < (q.tau-1)*q.w[i] || f.press[i] < 0 || math.Abs(rest) > 1e-6*(1+q.p[i]) {
				t.Fatalf("seed %d case %d: no proof at %d: pull %v, press %v, rest %v", seed, c, i, f.pull[i], f.press[i], rest)
			}
			if i > 0 && f.z[i]-f.z[i-1] > 1e-6 {
				t.Fatalf("seed %d case %d: rises by %v at %d", seed, c, f.z[i]-f.z[i-1], i)
			}
		}
		worst = max(worst, math.Abs(primal+energy/2-dual)/scale)
	}
	t.Logf("seed %d, 400 cases: greatest gap %.1e of the loss", seed, worst)
	if worst > 1e-5 {
		t.Errorf("gap %v of the loss", worst)
	}
}

// TestStiffFitWithoutStiffness: with p = 0 the least loss is that of brute
// force over all falling lines.
func TestStiffFitWithoutStiffness(t *testing.T) {
	const seed = 31
	rng := rand.New(rand.NewPCG(seed, 0))
	for c := range 1000 {
		q := randomStiff(rng, 2+rng.IntN(12))
		clear(q.p)
		f := q.solve(fallingQuantile(q.y, q.w, q.tau), 0.1)
		got, want := quantileLoss(q.y, q.w, f.z, q.tau), leastLoss(q.y, q.w, q.tau)
		if math.Abs(got-want) > 1e-5 {
			t.Fatalf("seed %d case %d: loss %v, least %v", seed, c, got, want)
		}
	}
}

func BenchmarkStiffFit5000(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	const n = 5000
	q := stiffProblem{tau: 0.5, stepM: 0.5}
	for i := range n {
		q.at = append(q.at, Station(0.5*float64(i)))
		q.y = append(q.y, -0.02*float64(i)-0.3*float64(i/20)+0.1*rng.NormFloat64())
		q.w = append(q.w, 1)
		q.p = append(q.p, 1600)
	}
	start := fallingQuantile(q.y, q.w, q.tau)
	for b.Loop() {
		q.solve(start, 0.1)
	}
}

func ones(n int) []float64 {
	w := make([]float64, n)
	for i := range w {
		w[i] = 1
	}
	return w
}

// TestStiffFitKeepsAWaterfall: a fall of 12 m in the middle of a creek of 2 %
// on 10 m cells with an error of 0.3 m a cell stays between the two cells it
// lies in, and the creek beside it falls as it should within three standard
// deviations of a raw difference. The truth is the made-up creek itself.
func TestStiffFitKeepsAWaterfall(t *testing.T) {
	const seed, fallM = 32, 12.0
	rng := rand.New(rand.NewPCG(seed, 0))
	o := ThalwegOptions{CellM: 10}.withDefaults()
	cells := make([]float64, 101)
	for i := range cells {
		cells[i] = 100 - 0.2*float64(i) + 0.3*rng.NormFloat64()
		if i > 50 {
			cells[i] -= fallM
		}
	}
	p := &Profile{Flags: make([]Flag, 201)}
	for i := range p.Flags {
		p.Stations = append(p.Stations, Station(5*i))
		p.RawM = append(p.RawM, (cells[i/2]+cells[(i+1)/2])/2)
	}
	p.ZM = p.fall(ones(p.Len()), 0.5, o, smoothings[len(smoothings)-1])
	if got := p.ZM[99] - p.ZM[103]; math.Abs(got-fallM-0.4) > 3*0.3*math.Sqrt2 {
		t.Errorf("seed %d: the fall is %.2f m, want %.2f m", seed, got, fallM+0.4)
	}
	for i := 10; i+10 < len(p.ZM)-10; i++ {
		if i+10 >= 99 && i <= 103 {
			continue
		}
		if got := p.ZM[i] - p.ZM[i+10]; math.Abs(got-1) > 3*0.3*math.Sqrt2 {
			t.Errorf("seed %d: %.2f m of fall from %v to %v, want 1 m", seed, got, p.Stations[i], p.Stations[i+10])
		}
	}
}
