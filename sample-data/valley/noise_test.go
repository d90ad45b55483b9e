package valley

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// The correlation that the torus really has is the Fourier transform of its
// eigenvalues. It must be the exponential of the model at every lag up to the
// size of the grid; closed form, no random numbers.
func TestTorusHasTheExponentialCorrelation(t *testing.T) {
	for _, c := range []struct {
		nx, ny       int
		dx, dy, rang float64
	}{
		{1002, 1002, 1, 1, 8},
		{252, 252, 4, 4, 300},
		{500, 360, 1.19, 1.67, 8},
	} {
		torus := newTorus(c.nx, c.ny, c.dx, c.dy, c.rang)
		spectrum := make([]complex128, len(torus.amplitude))
		for i, a := range torus.amplitude {
			spectrum[i] = complex(a*a, 0)
		}
		transform(spectrum, torus.cols, torus.rows)
		worst := 0.0
		for y := range c.ny {
			for x := range c.nx {
				want := math.Exp(-math.Hypot(float64(x)*c.dx, float64(y)*c.dy) / c.rang)
				worst = math.Max(worst, math.Abs(real(spectrum[y*torus.cols+x])-want))
			}
		}
		t.Logf("%d x %d, range %g m on a torus of %d x %d: worst error of the correlation %.5f", c.nx, c.ny, c.rang, torus.cols, torus.rows, worst)
		// Beyond half the period the torus shows the near side again; the grid
		// ends before that, but the clipped eigenvalues leave a trace.
		if worst > 0.02 {
			t.Errorf("correlation is off by %.4f", worst)
		}
	}
}

// semivariance of a field along its rows.
func semivarianceAlong(field []float64, cols, rows, lag int) (sum float64, n int) {
	for y := range rows {
		for x := 0; x+lag < cols; x++ {
			sum += sq(field[y*cols+x]-field[y*cols+x+lag]) / 2
			n++
		}
	}
	return sum, n
}

// The model's figures are those of the class "lidar, forest" in the error
// model of this project's terrain notes: 0.03 m, 0.05 m at 8 m, 0.08 m at
// 300 m. Semivariance nug² + sS²(1-exp(-d/8)) + sL²(1-exp(-d/300)), worked by
// hand below for the four lags.
func TestDrawHasTheModelsSemivariance(t *testing.T) {
	want := map[int]float64{
		1:   0.0009 + 0.0025*0.117503 + 0.0064*0.003328,
		8:   0.0009 + 0.0025*0.632121 + 0.0064*0.026314,
		30:  0.0009 + 0.0025*0.976482 + 0.0064*0.095163,
		300: 0.0009 + 0.0025*1.000000 + 0.0064*0.632121,
	}
	const cols, rows, draws, firstSeed = 640, 60, 24, 100
	t.Logf("seeds %d to %d", firstSeed, firstSeed+draws-1)
	sums, counts := map[int]float64{}, map[int]int{}
	for k := range draws {
		field := LidarForest.Draw(uint64(firstSeed+k), cols, rows, 1, 1)
		for lag := range want {
			s, n := semivarianceAlong(field, cols, rows, lag)
			sums[lag] += s
			counts[lag] += n
		}
	}
	// At 300 m a strip holds few independent pairs, so that two dozen strips
	// still leave a wide margin; the exact test is the one on the torus.
	tolerance := map[int]float64{1: 0.03, 8: 0.05, 30: 0.1, 300: 0.4}
	for _, lag := range []int{1, 8, 30, 300} {
		got := sums[lag] / float64(counts[lag])
		t.Logf("lag %3d m: semivariance %.6f m², model %.6f m²", lag, got, want[lag])
		if math.Abs(got/want[lag]-1) > tolerance[lag] {
			t.Errorf("lag %d m: semivariance %.6f m², want %.6f m²", lag, got, want[lag])
		}
		if given := LidarForest.Semivariance(float64(lag)); math.Abs(given-want[lag]) > 2e-8 {
			t.Errorf("Semivariance(%d) = %.8f, want %.8f", lag, given, want[lag])
		}
	}
}

// Many small fields settle the long part, which one large field cannot.
func TestLongPartHasItsSemivariance(t *testing.T) {
	torus := newTorus(61, 2, 10, 10, 300)
	const draws, firstSeed = 600, 5000
	t.Logf("seeds %d to %d", firstSeed, firstSeed+draws-1)
	var squares [2]float64
	for k := range draws {
		f := torus.draw(rand.New(rand.NewPCG(uint64(firstSeed+k), 0)))
		squares[0] += sq(0.08*(f[0]-f[30])) / 2 / draws
		squares[1] += sq(0.08*(f[0]-f[60])) / 2 / draws
	}
	// 0.0064 (1 - exp(-d/300)), by hand.
	for i, want := range []float64{0.0040456, 0.0055338} {
		t.Logf("lag %d m: semivariance %.5f m², model %.5f m²", 300*(i+1), squares[i], want)
		// The estimate's standard deviation is want·sqrt(2/draws), 5.8 %.
		if math.Abs(squares[i]/want-1) > 0.23 {
			t.Errorf("lag %d m: %.5f m², want %.5f m²", 300*(i+1), squares[i], want)
		}
	}
}

func TestDrawRepeatsWithItsSeed(t *testing.T) {
	a, b := LidarForest.Draw(7, 90, 70, 1, 1), LidarForest.Draw(7, 90, 70, 1, 1)
	other := LidarForest.Draw(8, 90, 70, 1, 1)
	same := 0
	for i := range a {
		if a[i] != b[i] {
			t.Fatalf("cell %d differs between two draws of one seed", i)
		}
		if a[i] == other[i] {
			same++
		}
	}
	if same > 0 {
		t.Errorf("%d cells are equal for two seeds", same)
	}
	for i, v := range (ErrorModel{}).Draw(7, 9, 7, 1, 1) {
		if v != 0 {
			t.Errorf("a model without error gives %g in cell %d", v, i)
		}
	}
}

func BenchmarkDraw(b *testing.B) {
	for _, side := range []int{250, 1000} {
		b.Run(fmt.Sprintf("%dx%d", side, side), func(b *testing.B) {
			for b.Loop() {
				LidarForest.Draw(1, side, side, 1, 1)
			}
			b.ReportMetric(float64(side*side)*float64(b.N)/1e6/b.Elapsed().Seconds(), "Mcells/s")
		})
	}
}

func BenchmarkPlace(b *testing.B) {
	for name, make := range map[string]func() *Place{"Fernhollow": newFernhollow, "Eilwern": newEilwern} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				make()
			}
		})
	}
}
