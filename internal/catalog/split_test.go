package catalog

import (
	"math/rand/v2"
	"testing"
	"time"
)

// The division is as cheap as the cheapest of all that change pipe at a whole
// half metre, tried one by one with whole packs and the coupling counted, and
// never dearer than the heavy pipe alone.
func TestSplitRunEqualsTryingEveryPlace(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	const step, waste = 0.5, 0.0
	saves := 0
	for range 60 {
		c := Default("USD").In(Inch)
		size := [...]string{"3-4in", "1in", "1-1-4in", "2in"}[r.IntN(4)]
		heavy, light := "pe-sidr9-"+size+"-100ft", "pe-sidr15-"+size+"-100ft"
		length := step * float64(1+r.IntN(800))
		least := step * float64(r.IntN(int(length/step)+1))
		lower, cost := c.SplitRun(heavy, light, length, least, waste)
		join := c.joinPrice(c.pipe(heavy)).Minor
		best := c.PipeCost(heavy, length, waste).Minor
		alone := best
		for m := least; m < length && least > 0; m += step {
			best = min(best, c.PipeCost(heavy, m, waste).Minor+c.PipeCost(light, length-m, waste).Minor+join)
		}
		// Changing between two half metres may save more, by the light pipe's
		// packs being used to their ends; never less.
		if cost.Minor > best {
			t.Fatalf("%s, %g m, at least %g m: %d, trying every place %d", size, length, least, cost.Minor, best)
		}
		got := c.PipeCost(heavy, lower, waste).Minor
		if lower < length {
			got += c.PipeCost(light, length-lower, waste).Minor + join
			saves++
		}
		if got != cost.Minor || lower < min(least, length)-1e-9 || cost.Minor > alone {
			t.Fatalf("%s, %g m, at least %g m: heavy for %g m costs %d, stated %d", size, length, least, lower, got, cost.Minor)
		}
		fine := best
		for m := least; m < length && least > 0; m += 0.02 {
			fine = min(fine, c.PipeCost(heavy, m, waste).Minor+c.PipeCost(light, length-m, waste).Minor+join)
		}
		if length < 60 && cost.Minor != fine {
			// A pack of 100 ft ends at 30.48 m, a multiple of 2 cm.
			t.Fatalf("%s, %g m, at least %g m: %d, trying every 2 cm %d", size, length, least, cost.Minor, fine)
		}
	}
	if saves < 10 {
		t.Errorf("only %d of 60 runs are split", saves)
	}
}

func TestPipesGoTogetherByWhatIsSold(t *testing.T) {
	c := Default("USD")
	item := func(id string) *Item { it, _ := c.Item(id); return it }
	for _, p := range []struct {
		a, b string
		goes bool
	}{
		{"pe-sidr9-1in-100ft", "pe-sidr15-1in-100ft", true},
		{"pe-sidr9-1in-100ft", "pe-sidr15-2in-100ft", false},
		{"pe100-sdr11-dn32-50m", "pe100-sdr17-dn32-50m", true},
		{"pe100-sdr11-dn32-50m", "pe-sidr15-1in-100ft", false},
	} {
		if item(p.a).Goes(item(p.b)) != p.goes {
			t.Errorf("%s goes with %s: %v", p.a, p.b, !p.goes)
		}
	}
}
