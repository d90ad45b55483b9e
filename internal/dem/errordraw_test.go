package dem

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Drawn errors have the variances of drops that the model states, at every
// distance and place within the cells: DropSigma is the closed form for
// exponential correlation. The white part is read between cells as bilinear
// interpolation does, so that its share shrinks by (1−t)²+t² within a cell; at
// whole cells it is the model's. The bound is five standard errors of a
// variance from n draws, σ²·√(2/n). Seed 31.
func TestDrawnErrorsHaveTheStatedDropSigma(t *testing.T) {
	random := rand.New(rand.NewPCG(31, 1))
	along := []float64{0, 1, 2, 5, 12, 30, 31, 100, 400}
	const n = 20000
	for _, m := range []ErrorModel{LidarForest, Mixed10, Global30} {
		sums := make([][]float64, len(along))
		for i := range sums {
			sums[i] = make([]float64, len(along))
		}
		for range n {
			e := m.Draw(along, 1, random)
			for i := range e {
				for k := range i {
					sums[i][k] += (e[i] - e[k]) * (e[i] - e[k]) / n
				}
			}
		}
		for i := range along {
			for k := range i {
				want := m.DropSigma(along[i] - along[k])
				want *= want
				if math.Abs(sums[i][k]-want) > 5*want*math.Sqrt(2.0/n) {
					t.Errorf("seed 31, %s, %v to %v m: variance %.5f, want %.5f", m.Class, along[k], along[i], sums[i][k], want)
				}
			}
		}
	}
}

// Halfway between two cells the white part is the mean of two, whose variance
// is a half. Seed 32.
func TestWhiteErrorIsReadBetweenCells(t *testing.T) {
	random := rand.New(rand.NewPCG(32, 1))
	m := ErrorModel{NuggetM: 1}
	const n = 20000
	sum := 0.0
	for range n {
		e := m.Draw([]float64{15, 20}, 10, random) // 1.5 and 2 cells
		sum += e[0] * e[0] / n
		if e[0] == e[1] {
			t.Fatal("two places have the same error")
		}
	}
	if math.Abs(sum-0.5) > 5*0.5*math.Sqrt(2.0/n) {
		t.Errorf("seed 32: variance %.4f, want 0.5", sum)
	}
}
