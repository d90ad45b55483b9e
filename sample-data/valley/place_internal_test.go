package valley

import (
	"math/rand/v2"
	"testing"

	"github.com/paulmach/orb"
)

// A place that is built anew is the same to the last bit.
func TestAPlaceIsBuiltTheSameTwice(t *testing.T) {
	const seed = 31
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	for _, c := range []struct{ first, again *Place }{{Fernhollow(), newFernhollow()}, {Eilwern(), newEilwern()}} {
		for range 5000 {
			at := orb.Point{(2*random.Float64() - 1) * c.first.halfM, (2*random.Float64() - 1) * c.first.halfM}
			if a, b := c.first.Ground(at), c.again.Ground(at); a != b {
				t.Fatalf("%s: %v and %v at %v", c.first.Name, a, b, at)
			}
		}
	}
}
