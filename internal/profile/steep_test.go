package profile

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestIntervalOnSteepCreeks holds the stated deviation of falls against the
// errors made on creeks of known truth, gentle ones and the same with three and
// six times the fall. High steps make the plain falling fit the best, whose
// interval must be as honest as that of the others.
func TestIntervalOnSteepCreeks(t *testing.T) {
	const seeds, overM = 12, 30
	lidar := errorClasses[0]
	for _, times := range []float64{1, 3, 6} {
		var errors, stated float64
		plain, n := 0, 0.0
		for seed := range uint64(seeds) {
			rng := rand.New(rand.NewPCG(700+seed, 9))
			fine := stepPools(lidar.lengthM, rng)
			for i := range fine {
				fine[i] *= times
			}
			_, p, g := lidar.seen(fine, rng)
			p.fit(g, ThalwegOptions{CellM: lidar.cellM}.withDefaults())
			if p.smoothing == (smoothing{}) {
				plain++
			}
			for from := Station(60); from+overM < Station(lidar.lengthM-60); from += 15 {
				m, err := p.Fall(from, from+overM, g)
				if err != nil {
					t.Fatal(err)
				}
				off := m.Value - trueFallM(fine, from, overM)
				errors += off * off
				stated += m.Sigma * m.Sigma
				n++
			}
		}
		errors, stated = math.Sqrt(errors/n), math.Sqrt(stated/n)
		t.Logf("seeds 700 to 711: fall × %g: RMS error %.3f m, stated %.3f m; plain fit on %d of %d", times, errors, stated, plain, seeds)
		if times == 6 && plain == 0 {
			t.Error("no creek has the plain fit: the steep ones do not test it")
		}
		if ratio := stated / errors; ratio < 0.67 || ratio > 1.5 {
			t.Errorf("fall × %g: %.2f times the error is stated", times, ratio)
		}
	}
}
