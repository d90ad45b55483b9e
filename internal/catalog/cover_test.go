package catalog

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"
	"time"
)

// randomPipe makes a catalog with one product in several packs at prices that
// may have bulk discounts, bulk surcharges and ties, and gives an ID of it.
func randomPipe(t *testing.T, rng *rand.Rand) (*Catalog, []*Item) {
	t.Helper()
	var csv strings.Builder
	csv.WriteString("id,kind,name,product,inside,wall,material,use,unit,pack,price,currency\n")
	packs := rng.Perm(6)[:1+rng.IntN(3)]
	unit := [...]string{"ft", "m"}[rng.IntN(2)]
	for i, p := range packs {
		fmt.Fprintf(&csv, "own-%d,pipe,own,own,30 mm,2 mm,pe,supply,coil,%d %s,%d,USD\n", i, [...]int{10, 15, 25, 40, 50, 100}[p], unit, 1+rng.IntN(40))
	}
	c, err := Read("own.csv", strings.NewReader(csv.String()))
	if err != nil {
		t.Fatal(err)
	}
	first, _ := c.Item("own-0")
	return c, c.packs(first)
}

// cheapestByTrial tries every set of packs up to the number of the shortest that
// covers the run, couplings between the packs included.
func cheapestByTrial(packs []*Item, join int64, needM float64) int64 {
	best := int64(math.MaxInt64)
	var try func(i int, coveredM float64, price, count int64)
	try = func(i int, coveredM float64, price, count int64) {
		if coveredM >= needM-1e-6 {
			best = min(best, price+join*max(0, count-1))
			return
		}
		for ; i < len(packs); i++ {
			try(i, coveredM+packs[i].PackM, price+packs[i].Price.Minor, count+1)
		}
	}
	try(0, 0, 0, 0)
	return best
}

func TestPipeCostIsTheCheapestSetOfPacks(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 0))
	for range 60 {
		c, packs := randomPipe(t, rng)
		for range 10 {
			lengthM := rng.Float64() * 60
			if rng.IntN(2) == 0 { // exactly a whole number of packs
				lengthM = packs[0].PackM * float64(rng.IntN(3))
			}
			want := cheapestByTrial(packs, c.joinPrice(packs[0]).Minor, lengthM)
			if got := c.PipeCost(packs[0].ID, lengthM, 0); got.Minor != want {
				t.Fatalf("%g m: cost %d, by trial %d; packs %v", lengthM, got.Minor, want, describe(packs))
			}
		}
	}
}

func describe(packs []*Item) (s []string) {
	for _, p := range packs {
		s = append(s, fmt.Sprintf("%g m for %s", p.PackM, p.Price))
	}
	return s
}

// Shortening a run never raises its price, also where a long coil is cheaper
// than a short one; and two runs never cost less than one of both lengths with
// one more joint.
func TestShorteningNeverRaisesTheCost(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 0))
	for range 40 {
		c, packs := randomPipe(t, rng)
		id, join := packs[0].ID, c.joinPrice(packs[0]).Minor
		for range 50 {
			a, b := rng.Float64()*500, rng.Float64()*500
			short, long := c.PipeCost(id, min(a, b), 0.05).Minor, c.PipeCost(id, max(a, b), 0.05).Minor
			if short > long {
				t.Fatalf("%g m cost %d, %g m cost %d; packs %v", min(a, b), short, max(a, b), long, describe(packs))
			}
			if both := c.PipeCost(id, a+b, 0.05).Minor; both > short+long+join {
				t.Fatalf("%g m and %g m cost %d+%d, together %d with a joint of %d; packs %v", a, b, short, long, both, join, describe(packs))
			}
		}
	}
}

func TestPipeStepsAreThePipeCost(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 0))
	for range 50 {
		c, packs := randomPipe(t, rng)
		id := packs[0].ID
		steps := c.PipeSteps(id, 300, 0.07)
		for range 100 {
			lengthM := rng.Float64()*299 + 0.001
			i := 0
			for steps[i].UpToM < lengthM {
				i++
			}
			if want := c.PipeCost(id, lengthM, 0.07); steps[i].Price != want {
				t.Fatalf("%g m: step %v, cost %v; packs %v", lengthM, steps[i], want, describe(packs))
			}
			if i > 0 && steps[i].Price.Minor <= steps[i-1].Price.Minor {
				t.Fatalf("the steps do not rise: %v", steps)
			}
		}
	}
}

func TestACoilIsEnoughForExactlyItsLength(t *testing.T) {
	c := Default("USD")
	it, ok := c.Item("steel-sch40-2in-21ft")
	if !ok {
		t.Fatal("no 2 in drive pipe")
	}
	if got, want := c.PipeCost(it.ID, 21*0.3048, 0), it.Price; got != want {
		t.Errorf("21 ft cost %v, one stick costs %v", got, want)
	}
	two := c.PipeCost(it.ID, 21*0.3048+0.001, 0).Minor
	if want := 2*it.Price.Minor + c.joinPrice(it).Minor; two != want {
		t.Errorf("a millimetre more costs %d, want two sticks and a coupling, %d", two, want)
	}
	if got := c.PipeCost(it.ID, 0, 0.1); got.Minor != 0 {
		t.Errorf("no pipe costs %v", got)
	}
}

// Of sets that cost the same, that with the fewest packs is bought.
func TestEqualPricesTakeFewestPacks(t *testing.T) {
	for _, tc := range []struct {
		need          int64
		units, prices []int64
		want          []int64
	}{
		{10, []int64{10, 5}, []int64{20, 10}, []int64{1, 0}},
		{15, []int64{10, 5}, []int64{20, 10}, []int64{1, 1}},
		{30, []int64{10, 15}, []int64{10, 15}, []int64{0, 2}},
		{7, []int64{10, 5}, []int64{20, 10}, []int64{1, 0}},
	} {
		got := cheapestCover(tc.need, tc.units, tc.prices)
		for i := range got {
			if got[i] != tc.want[i] {
				t.Errorf("%d of packs %v at %v: %v, want %v", tc.need, tc.units, tc.prices, got, tc.want)
				break
			}
		}
	}
}

func TestACatalogMayBeSharedByGoroutines(t *testing.T) {
	c := Default("USD")
	want := c.PipeCost("pe-sidr15-1in-100ft", 777, 0.05)
	var group sync.WaitGroup
	for range 4 {
		group.Go(func() {
			for i := range 200 {
				c.PipeCost("steel-sch40-2in-21ft", float64(i), 0.05)
				if got := c.PipeCost("pe-sidr15-1in-100ft", 777, 0.05); got != want {
					t.Errorf("777 m cost %v and %v", got, want)
				}
			}
		})
	}
	group.Wait()
}

func BenchmarkPipeCost(b *testing.B) {
	c := Default("USD")
	for i := 0; b.Loop(); i++ {
		c.PipeCost("pe-sidr15-2in-100ft", float64(i%900), 0.05)
	}
}
