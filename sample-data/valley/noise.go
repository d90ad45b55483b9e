package valley

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/dsp/fourier"
)

// ErrorModel is the error of a scanned surface: an independent part of every
// cell and two parts with exponential correlation over the plan distance. The
// zero value is a surface without error.
type ErrorModel struct {
	NuggetM     float64 `json:"nugget_m"`      // standard deviations, metres
	ShortM      float64 `json:"short_m"`       //
	ShortRangeM float64 `json:"short_range_m"` // distance at which the correlation is 1/e
	LongM       float64 `json:"long_m"`        //
	LongRangeM  float64 `json:"long_range_m"`  //
}

// LidarForest is an airborne laser scan under trees.
var LidarForest = ErrorModel{NuggetM: 0.03, ShortM: 0.05, ShortRangeM: 8, LongM: 0.08, LongRangeM: 300}

// Semivariance is half the variance, m², of the difference of the errors of
// two points distanceM apart; 0 at distance 0.
func (m ErrorModel) Semivariance(distanceM float64) float64 {
	if distanceM == 0 {
		return 0
	}
	part := func(sigma, reach float64) float64 {
		if sigma == 0 {
			return 0
		}
		return sq(sigma) * -math.Expm1(-distanceM/reach)
	}
	return sq(m.NuggetM) + part(m.ShortM, m.ShortRangeM) + part(m.LongM, m.LongRangeM)
}

// Draw gives one realisation of the error in metres on a grid, row by row. The
// same seed and grid give the same field.
//
// The correlated parts are drawn in the frequency domain on a torus that is so
// much larger than the grid that the far side does not show. The long part is
// drawn on a coarser grid and interpolated; the variance that this leaves out
// between its nodes is below (0.005 m)² for LidarForest.
func (m ErrorModel) Draw(seed uint64, cols, rows int, dxM, dyM float64) []float64 {
	field := make([]float64, cols*rows)
	if m.ShortM > 0 {
		addExponential(field, cols, rows, dxM, dyM, m.ShortM, m.ShortRangeM, rand.New(rand.NewPCG(seed, 21)))
	}
	if m.LongM > 0 {
		addExponential(field, cols, rows, dxM, dyM, m.LongM, m.LongRangeM, rand.New(rand.NewPCG(seed, 22)))
	}
	if m.NuggetM > 0 {
		random := rand.New(rand.NewPCG(seed, 23))
		for i := range field {
			field[i] += m.NuggetM * random.NormFloat64()
		}
	}
	return field
}

// addExponential adds one correlated part.
func addExponential(field []float64, cols, rows int, dxM, dyM, sigmaM, rangeM float64, random *rand.Rand) {
	coarse := max(int(rangeM/75/math.Max(dxM, dyM)), 1)
	nx, ny := (cols-1)/coarse+2, (rows-1)/coarse+2
	stepX, stepY := dxM*float64(coarse), dyM*float64(coarse)
	torus := newTorus(nx, ny, stepX, stepY, rangeM)
	nodes := torus.draw(random)
	for y := range rows {
		iy, ty := y/coarse, float64(y%coarse)/float64(coarse)
		for x := range cols {
			ix, tx := x/coarse, float64(x%coarse)/float64(coarse)
			k := iy*torus.cols + ix
			low := nodes[k] + tx*(nodes[k+1]-nodes[k])
			high := nodes[k+torus.cols] + tx*(nodes[k+torus.cols+1]-nodes[k+torus.cols])
			field[y*cols+x] += sigmaM * (low + ty*(high-low))
		}
	}
}

// torus is a periodic grid with the spectrum of an exponential correlation:
// circulant embedding (Dietrich and Newsam 1997, from memory).
type torus struct {
	cols, rows int
	amplitude  []float64 // square root of each eigenvalue over the number of nodes
}

// newTorus makes one that holds nx by ny nodes and four ranges to spare.
func newTorus(nx, ny int, stepX, stepY, rangeM float64) torus {
	t := torus{
		cols: roundLength(nx + int(math.Ceil(4*rangeM/stepX))),
		rows: roundLength(ny + int(math.Ceil(4*rangeM/stepY))),
	}
	spectrum := make([]complex128, t.cols*t.rows)
	for y := range t.rows {
		dy := float64(min(y, t.rows-y)) * stepY
		for x := range t.cols {
			dx := float64(min(x, t.cols-x)) * stepX
			spectrum[y*t.cols+x] = complex(math.Exp(-math.Hypot(dx, dy)/rangeM), 0)
		}
	}
	transform(spectrum, t.cols, t.rows)
	t.amplitude = make([]float64, len(spectrum))
	for i, v := range spectrum {
		// Wrapping bends the correlation a little at half the period; the
		// negative eigenvalues that come of it are tiny and are left out.
		t.amplitude[i] = math.Sqrt(math.Max(real(v), 0) / float64(len(spectrum)))
	}
	return t
}

// draw gives one field of unit variance.
func (t torus) draw(random *rand.Rand) []float64 {
	spectrum := make([]complex128, len(t.amplitude))
	for i, a := range t.amplitude {
		re, im := random.NormFloat64(), random.NormFloat64()
		spectrum[i] = complex(a*re, a*im)
	}
	transform(spectrum, t.cols, t.rows)
	field := make([]float64, len(spectrum))
	for i, v := range spectrum {
		field[i] = real(v)
	}
	return field
}

// transform is the two-dimensional Fourier transform, in place.
func transform(v []complex128, cols, rows int) {
	across := fourier.NewCmplxFFT(cols)
	for y := range rows {
		row := v[y*cols : (y+1)*cols]
		across.Coefficients(row, row)
	}
	down := fourier.NewCmplxFFT(rows)
	column := make([]complex128, rows)
	for x := range cols {
		for y := range rows {
			column[y] = v[y*cols+x]
		}
		down.Coefficients(column, column)
		for y := range rows {
			v[y*cols+x] = column[y]
		}
	}
}

// roundLength is the least length from n on without prime factors above 5,
// for which the transform is fast.
func roundLength(n int) int {
	for ; ; n++ {
		rest := n
		for _, prime := range []int{2, 3, 5} {
			for rest%prime == 0 {
				rest /= prime
			}
		}
		if rest == 1 {
			return n
		}
	}
}

// correlated is a Gauss-Markov process in time with unit variance.
type correlated struct {
	random *rand.Rand
	tau    float64 // seconds after which the correlation is 1/e
	value  float64
}

func newCorrelated(random *rand.Rand, tauS float64) *correlated {
	return &correlated{random: random, tau: tauS, value: random.NormFloat64()}
}

// after advances by some seconds.
func (c *correlated) after(seconds float64) float64 {
	keep := math.Exp(-seconds / c.tau)
	c.value = keep*c.value + math.Sqrt(1-keep*keep)*c.random.NormFloat64()
	return c.value
}
