package profile

import (
	"math"
	"math/rand/v2"
	"sort"
	"testing"
)

// quantileLoss is Σ w·ρ_τ(y−z).
func quantileLoss(y, w, z []float64, tau float64) float64 {
	sum := 0.0
	for i := range y {
		if r := y[i] - z[i]; r >= 0 {
			sum += w[i] * tau * r
		} else {
			sum += w[i] * (tau - 1) * r
		}
	}
	return sum
}

// leastLoss finds the least loss of any non-increasing line by dynamic
// programming over the heights themselves, among which there is always an
// optimal line (the loss is piecewise linear with its corners there).
func leastLoss(y, w []float64, tau float64) float64 {
	level := append([]float64(nil), y...)
	sort.Sort(sort.Reverse(sort.Float64Slice(level)))
	cost := make([]float64, len(level))
	for i := range y {
		best := math.Inf(1)
		for k, z := range level { // falling, so best covers all that are as high or higher
			best = min(best, cost[k])
			cost[k] = best + quantileLoss(y[i:i+1], w[i:i+1], []float64{z}, tau)
		}
	}
	least := math.Inf(1)
	for _, c := range cost {
		least = min(least, c)
	}
	return least
}

// TestFallingQuantileIsOptimal compares with brute force on cases full of
// ties, with uneven weights.
func TestFallingQuantileIsOptimal(t *testing.T) {
	const seed, cases = 20, 20000
	t.Logf("seed %d, %d cases", seed, cases)
	rng := rand.New(rand.NewPCG(seed, 0))
	for c := range cases {
		n := 1 + rng.IntN(12)
		y, w := make([]float64, n), make([]float64, n)
		spread := 1 + rng.IntN(8)
		for i := range y {
			y[i] = float64(rng.IntN(spread)) - float64(i%2)
			if c%3 == 0 {
				y[i] = 3 * rng.NormFloat64()
			}
			w[i] = [...]float64{1, 1, 1, 2, 0.5, 0.125}[rng.IntN(6)]
		}
		tau := [...]float64{0.1, 0.2, 0.5, 0.5, 0.9}[rng.IntN(5)]
		z := fallingQuantile(y, w, tau)
		for i := 1; i < n; i++ {
			if z[i] > z[i-1] {
				t.Fatalf("case %d rises at %d: y %v w %v τ %g gives %v", c, i, y, w, tau, z)
			}
		}
		got, want := quantileLoss(y, w, z, tau), leastLoss(y, w, tau)
		if math.Abs(got-want) > 1e-9*(1+want) {
			t.Fatalf("case %d: loss %v, least is %v: y %v w %v τ %g gives %v", c, got, want, y, w, tau, z)
		}
	}
}

// TestFallingQuantileKeepsAFallingLine: what falls already is its own fit;
// what rises throughout is fitted by its quantile.
func TestFallingQuantileKeepsAFallingLine(t *testing.T) {
	y := []float64{9, 7, 7, 4, 1, -3}
	w := []float64{1, 1, 1, 1, 1, 1}
	for _, tau := range []float64{0.1, 0.5, 0.9} {
		for i, z := range fallingQuantile(y, w, tau) {
			if z != y[i] {
				t.Errorf("τ %g: %v at %d, want %v", tau, z, i, y[i])
			}
		}
	}
	for _, c := range []struct{ tau, want float64 }{{0.5, 3}, {0.1, 1}, {0.9, 5}} {
		for i, z := range fallingQuantile([]float64{1, 2, 3, 4, 5}, w[:5], c.tau) {
			if z != c.want {
				t.Errorf("τ %g: %v at %d, want %v", c.tau, z, i, c.want)
			}
		}
	}
	// Two values that rise: every height between them is as good, and the
	// middle favours neither.
	if z := fallingQuantile([]float64{1, 2}, w[:2], 0.5); z[0] != 1.5 || z[1] != 1.5 {
		t.Errorf("between 1 and 2: %v", z)
	}
}

func TestRunningQuantile(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 0))
	for range 300 {
		y := make([]float64, 1+rng.IntN(40))
		for i := range y {
			y[i] = float64(rng.IntN(5))
			if rng.IntN(4) == 0 {
				y[i] = math.NaN()
			}
		}
		half := 1 + rng.IntN(8)
		got := runningQuantile(y, half, 0.2)
		for i := range y {
			var in []float64
			for k := max(0, i-half); k <= min(len(y)-1, i+half); k++ {
				if !math.IsNaN(y[k]) {
					in = append(in, y[k])
				}
			}
			sort.Float64s(in)
			if len(in) == 0 {
				if !math.IsNaN(got[i]) {
					t.Fatalf("seed 21: %v at %d of %v, want NaN", got[i], i, y)
				}
				continue
			}
			if want := quantileOf(in, 0.2); got[i] != want {
				t.Fatalf("seed 21: %v at %d of %v (±%d), want %v", got[i], i, y, half, want)
			}
		}
	}
}

// TestQuantileAndSpread: type 7 of Hyndman and Fan (1996), the worked values
// from its definition h = (n−1)q; and the factor 1.4826 that makes the median
// deviation of a normal distribution its standard deviation (1/Φ⁻¹(0.75)).
func TestQuantileAndSpread(t *testing.T) {
	for _, c := range []struct{ q, want float64 }{{0, 1}, {0.2, 1.8}, {0.5, 3}, {0.9, 8.2}, {1, 11}} {
		if got := quantileOf([]float64{1, 2, 3, 4, 11}, c.q); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("quantile %g is %v, want %v", c.q, got, c.want)
		}
	}
	const n = 20001
	r := make([]float64, n)
	for i := range r {
		r[i] = 0.3 * math.Sqrt2 * math.Erfinv(2*(float64(i)+0.5)/n-1)
	}
	if got := nmad(r); math.Abs(got-0.3) > 1e-4 {
		t.Errorf("spread of a normal distribution with σ 0.3 is %v", got)
	}
	if nmad(nil) != 0 {
		t.Error("spread of nothing")
	}
}

func BenchmarkFallingQuantile50000(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	const n = 50000
	y, w := make([]float64, n), make([]float64, n)
	for i := range y {
		y[i] = -0.01*float64(i) + 0.1*rng.NormFloat64()
		w[i] = 1
	}
	b.ReportAllocs()
	for b.Loop() {
		fallingQuantile(y, w, 0.5)
	}
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mstations/s")
}
