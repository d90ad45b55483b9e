package commission

import (
	"math"
	"testing"

	"route/internal/quantity"
)

// Two independent normal readings of one thing: the mean weighed by their
// variances, by hand. 20 m known to 0.4 m and 20.5 m read to 0.3 m are
// (20·0.09 + 20.5·0.16)/0.25 = 20.32 m, known to √(0.16·0.09/0.25) = 0.24 m.
// Under a crest the inlet does not set the lift.
func TestLevelledLiftNarrowsTheLift(t *testing.T) {
	for _, c := range []struct {
		crest bool
		want  quantity.Measure
	}{{false, quantity.Measure{Value: 20.32, Sigma: 0.24}}, {true, quantity.Measure{Value: 20, Sigma: 0.4}}} {
		m := Model{Lift: quantity.Measure{Value: 20, Sigma: 0.4}, OverCrest: c.crest}
		m.risen([]Reading{{Kind: Rise, Value: 20.5, Sigma: 0.3}})
		if math.Abs(m.Lift.Value-c.want.Value) > 1e-9 || math.Abs(m.Lift.Sigma-c.want.Sigma) > 1e-9 {
			t.Errorf("under a crest %v: %v, want %v", c.crest, m.Lift, c.want)
		}
	}
}
