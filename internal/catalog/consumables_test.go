package catalog

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

// The worked layout of the hand count, with what it uses up, by hand:
//
// Cement: only the standpipe is cemented. 8 ft are one stick, so no joins; its
// foot and the tee's two other sockets are 3 sockets on a bore of 4.026 in =
// 102.26 mm (ASME B36.10, also of Sch 40 PVC). A pack does 15 on 50 mm, so 15/(102.26/50)² = 3.586 on
// this: 3/3.586 = 0.84, one set.
//
// Tape: each drive pipe is 5 sticks with 4 joins, 8 ends, and 2 at its ends:
// 20 for two pumps. Far sides of the 4 adapters of supply and delivery line's
// ends 4; union 2, two valves 4, union on the other side 2 and gauge 1 at each
// of two pumps 18; 1 vent and 2 drains 3; two tank connectors 4. Together 49
// ends, 24 a roll: 3 rolls.
//
// Tank: 2 connectors, one ball valve (4 of 1 in with the three that are counted
// already), one screen. Seats: standpipe and box, 2 bags (10 with the 8 under
// the pumps).
var workedConsumables = []struct {
	group, item string
	packs       int64
	minor       int64
}{
	{"other", "solvent-cement-8oz", 1, 1500},
	{"other", "thread-tape", 3, 600},
	{"delivery", "tank-connector", 2, 2200},
	{"delivery", "overflow-screen", 1, 500},
	{"delivery", "ball-valve-1in", 4, 6000},
	{"other", "concrete", 10, 8000},
}

func TestConsumablesOfTheWorkedLayoutEqualTheHandCount(t *testing.T) {
	c, err := Read("prices.csv", strings.NewReader(workedPrices+"solvent-cement-8oz,15,USD\nthread-tape,2,USD\ntank-connector,11,USD\noverflow-screen,5,USD\n"))
	if err != nil {
		t.Fatal(err)
	}
	c = c.In(Inch)
	l := worked()
	l.Consumables = true
	takeoff, err := c.Takeoff(c.Needs(l), l.WasteFraction)
	if err != nil {
		t.Fatal(err)
	}
	packs, minor := map[string]int64{}, map[string]int64{}
	for _, line := range takeoff.Lines {
		packs[line.Group+" "+line.Item] += line.Packs
		minor[line.Group+" "+line.Item] += line.Amount.Minor
	}
	for _, w := range workedConsumables {
		if k := w.group + " " + w.item; packs[k] != w.packs || minor[k] != w.minor {
			t.Errorf("%s: %d for %d, by hand %d for %d", k, packs[k], minor[k], w.packs, w.minor)
		}
	}
	// What the runs themselves need stays as it was counted.
	for _, w := range workedCount {
		k := w.group + " " + w.item
		if w.item != "ball-valve-1in" && w.item != "concrete" && (packs[k] != w.packs || minor[k] != w.minor) {
			t.Errorf("%s: %d for %d, by hand %d for %d", k, packs[k], minor[k], w.packs, w.minor)
		}
	}
	// 5333.00 by hand without; 15.00 + 6.00 + 22.00 + 5.00 + 15.00 + 16.00 more.
	if total, err := takeoff.Total(); err != nil || total.String() != "5412.00 USD" {
		t.Errorf("%s, %v; by hand 5412.00 USD", total, err)
	}
}

// Cement by hand. On 6 in pipe (6.065 in = 154.05 mm) a pack does
// 15/(154.05/50)² = 1.58 sockets, so three take two packs. On 4 in pipe 9.8 ft
// with 5 % waste are 10.3 ft: more than the 10 ft stick, so that there is a join
// and five sockets take 5/3.586 = 1.4, two packs; without waste three do with one.
func TestCementByHand(t *testing.T) {
	c := Default("USD").In(Inch)
	for _, w := range []struct {
		pipe        string
		feet, waste float64
		packs       float64
	}{{"pvc-sch40-6in-10ft", 8, 0.05, 2}, {"pvc-sch40-4in-10ft", 9.8, 0.05, 2}, {"pvc-sch40-4in-10ft", 9.8, 0, 1}} {
		got := 0.0
		for _, need := range c.Needs(Layout{StandpipePipe: w.pipe, StandpipeM: w.feet * 0.3048, WasteFraction: w.waste, Consumables: true}) {
			if need.Item == "solvent-cement-8oz" {
				got += need.Quantity
			}
		}
		if got != w.packs {
			t.Errorf("%v ft of %s with %v waste: %v packs of cement, by hand %v", w.feet, w.pipe, w.waste, got, w.packs)
		}
	}
}

// randomPrices gives every item another price, so that packs of all lengths are
// the cheapest now and then.
func randomPrices(c *Catalog, random *rand.Rand) *Catalog {
	other := newCatalog(c.Name, c.Currency)
	for _, it := range c.items {
		own := *it
		own.Price.Minor = 1 + random.Int64N(2*own.Price.Minor)
		other.add(&own)
	}
	return other
}

// Whatever the prices, a shorter pipe never makes the whole dearer: packs are
// chosen so that the price of a run does not fall with its length, and what
// joints use up is counted by length.
func TestAShorterPipeIsNeverDearer(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	cheaper := 0
	for _, trade := range []Trade{Inch, Metric} {
		for range 30 {
			c := randomPrices(Default("USD").In(trade), random)
			for range 20 {
				l := randomLayout(c, random)
				l.Consumables, l.ContingencyPart = true, 0.1
				before, err := c.Materials(l)
				if err != nil {
					t.Fatal(err)
				}
				shorter := l
				run := []*float64{&shorter.SupplyM, &shorter.DriveM, &shorter.DeliveryM, &shorter.StandpipeM}[random.IntN(4)]
				*run *= random.Float64()
				if *run == 0 {
					continue // no pipe at all is another layout
				}
				after, err := c.Materials(shorter)
				if err != nil {
					t.Fatal(err)
				}
				a, _ := before.Total()
				b, _ := after.Total()
				if b.Minor > a.Minor {
					t.Fatalf("%s became %s by making a pipe shorter:\n%+v\n%+v", a, b, l, shorter)
				}
				if b.Minor < a.Minor {
					cheaper++
				}
			}
		}
	}
	if cheaper < 100 {
		t.Errorf("only %d of 1200 layouts became cheaper", cheaper)
	}
}

// Whole packs are never less than what is needed with its waste.
func TestNothingIsRoundedBelowTheNeed(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	for _, trade := range []Trade{Inch, Metric} {
		c := randomPrices(Default("USD").In(trade), random)
		for range 200 {
			l := randomLayout(c, random)
			l.Consumables = true
			takeoff, err := c.Takeoff(c.Needs(l), l.WasteFraction)
			if err != nil {
				t.Fatal(err)
			}
			need, bought := map[string]float64{}, map[string]float64{}
			for _, line := range takeoff.Lines {
				it, _ := c.Item(line.Item)
				key, each := line.Group+line.Where+line.Item, 1.0
				waste := 0.0
				if it.Kind == KindPipe {
					key, each, waste = line.Group+line.Where+it.Pipe.Name, it.PackM, l.WasteFraction
				}
				need[key] += line.Quantity * (1 + waste)
				bought[key] += each * float64(line.Packs)
			}
			for key, n := range need {
				if bought[key] < n-1e-5 || math.IsNaN(n) {
					t.Fatalf("%s: %v is bought of %v", key, bought[key], n)
				}
			}
		}
	}
}
