package commission

import (
	"math"
	"testing"

	"route/internal/plan"
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

// A gauge of 40 m full scale errs by 0.4 m: it teaches a plan whose lift is
// known to 2 m, and one known to 0.1 m nothing. A levelled lift goes before it,
// and under a crest neither says how high the inlet is.
func TestWhatTeachesTheLift(t *testing.T) {
	gauge, level := Reading{Kind: GaugeRest, Value: 30.4}, Reading{Kind: Rise, Value: 30.1}
	for _, c := range []struct {
		sigma    float64
		crest    bool
		readings []Reading
		want     string // of the entry; "" for none
	}{
		{2, false, []Reading{gauge}, `{lift: "30.400 m", from: "1.0000000,2.0000000", by: gauge, sigma: "0.403 m", above_water: "0.300 m"}`},
		{0.1, false, []Reading{gauge}, ""},
		{0.1, false, []Reading{gauge, level}, `{lift: "30.100 m", from: "1.0000000,2.0000000", by: level, sigma: "0.071 m", above_water: "0.300 m"}`},
		{2, true, []Reading{gauge, level}, ""},
		{2, false, []Reading{{Kind: PoolLevel, Value: 3}}, ""},
	} {
		l := &plan.Layout{Pump: plan.Pump{Place: plan.Place{Lat: 1, Lon: 2}}, Delivery: plan.Delivery{LiftSigmaM: plan.Number(c.sigma)}}
		m := &Model{Lift: quantity.Measure{Value: 30, Sigma: c.sigma}, OverCrest: c.crest}
		a := &Accepted{}
		a.lift(plan.NewSite(), l, &Diagnosis{model: m}, c.readings)
		got := ""
		for _, e := range a.Edits {
			got += e.Value
		}
		if got != c.want {
			t.Errorf("known to %g m, crest %v, %v: %s, want %s", c.sigma, c.crest, c.readings, got, c.want)
		}
	}
}
