package catalog

import (
	"fmt"
	"math/rand/v2"
	"sort"
	"strings"
	"testing"
	"time"
)

// worked is a small layout that is counted by hand below.
func worked() Layout {
	return Layout{
		SupplyPipe: "pe-sidr15-2in-100ft", SupplyM: 300 * 0.3048, SupplyBends: 2, SettlingBox: true,
		StandpipePipe: "pvc-sch40-4in-10ft", StandpipeM: 8 * 0.3048,
		DrivePipe: "steel-sch40-2in-21ft", DriveM: 90 * 0.3048,
		Pump: "ram-2in", Pumps: 2,
		DeliveryPipe: "pe-sidr15-1in-100ft", DeliveryM: 700 * 0.3048, DeliveryBends: 3,
		HighPoints: 1, LowPoints: 2, TankValves: true,
		WasteFraction: 0.05, ContingencyPart: 0.10,
	}
}

// workedPrices gives the materials of the worked layout prices that are easy
// to add up.
const workedPrices = `id,price,currency
pe-sidr15-2in-100ft,200,USD
pe-sidr15-2in-300ft,550,USD
pe-sidr15-2in-500ft,900,USD
coupling-insert-2in,6,USD
adapter-insert-2in,7,USD
elbow-insert-2in,9,USD
clamp-insert-2in,3,USD
strainer-2in,45,USD
gate-valve-2in,42.50,USD
settling-box,150,USD
pvc-sch40-4in-10ft,65,USD
pvc-sch40-4in-20ft,115,USD
tee-solvent-4in,22,USD
anchor,8,USD
steel-sch40-2in-21ft,155,USD
coupling-thread-2in,9,USD
adapter-thread-2in,7.50,USD
union-2in,24,USD
tee-thread-2in,15,USD
pe-sidr15-1in-100ft,60,USD
pe-sidr15-1in-300ft,170,USD
pe-sidr15-1in-500ft,270,USD
coupling-insert-1in,2.50,USD
adapter-insert-1in,3,USD
elbow-insert-1in,4,USD
tee-insert-1in,5,USD
clamp-insert-1in,1.25,USD
air-vent,22,USD
drain,9,USD
union-1in,10,USD
ball-valve-1in,15,USD
pressure-gauge,25,USD
float-valve-1in,26,USD
ram-2in,700,USD
concrete,8,USD
`

// The worked layout, counted by hand:
//
// Supply, 300 ft and 5 % waste = 315 ft. The sets that cover it: 300+100 ft
// for 750 and one joint (coupling 6, four clamps 12), 768; 500 ft for 900;
// four of 100 ft for 800 and more. So 300+100. Ends: 2 at the coupling, 4
// adapters (two ends, two at the box), 4 at the two elbows = 10 ends, 20
// clamps.
//
// Standpipe, 8 ft and 5 % = 8.4 ft: one stick of 10 ft.
//
// Drive, twice 90 ft and 5 % = 94.5 ft: 5 sticks of 21 ft (4.5 rounded up), 4
// couplings; 27.43 m with an anchor each 3 m: 10 anchors.
//
// Delivery, 700 ft and 5 % = 735 ft: 500+300 ft for 440 and one joint (2.50
// and four clamps 5), 447.50; 300+300+100+100 for 460 and more; two of 500 for
// 540. Tees: one high point, two low points, one for the second pump = 4. Ends:
// 2 at the coupling, 2 adapters, 6 at three elbows, 8 at four tees = 18, 36
// clamps.
var workedCount = []struct {
	group, item string
	packs       int64
	minor       int64 // in all
}{
	{"supply", "pe-sidr15-2in-300ft", 1, 55000},
	{"supply", "pe-sidr15-2in-100ft", 1, 20000},
	{"supply", "coupling-insert-2in", 1, 600},
	{"supply", "adapter-insert-2in", 4, 2800},
	{"supply", "clamp-insert-2in", 20, 6000},
	{"supply", "elbow-insert-2in", 2, 1800},
	{"supply", "strainer-2in", 1, 4500},
	{"supply", "gate-valve-2in", 1, 4250},
	{"supply", "settling-box", 1, 15000},
	{"supply", "pvc-sch40-4in-10ft", 1, 6500},
	{"supply", "tee-solvent-4in", 1, 2200},
	{"supply", "anchor", 2, 1600},
	{"drive", "steel-sch40-2in-21ft", 10, 155000},
	{"drive", "coupling-thread-2in", 8, 7200},
	{"drive", "adapter-thread-2in", 4, 3000},
	{"drive", "union-2in", 2, 4800},
	{"drive", "gate-valve-2in", 2, 8500},
	{"drive", "anchor", 20, 16000},
	{"drive", "tee-thread-2in", 1, 1500},
	{"delivery", "pe-sidr15-1in-500ft", 1, 27000},
	{"delivery", "pe-sidr15-1in-300ft", 1, 17000},
	{"delivery", "coupling-insert-1in", 1, 250},
	{"delivery", "adapter-insert-1in", 2, 600},
	{"delivery", "clamp-insert-1in", 36, 4500},
	{"delivery", "elbow-insert-1in", 3, 1200},
	{"delivery", "tee-insert-1in", 4, 2000},
	{"delivery", "air-vent", 1, 2200},
	{"delivery", "drain", 2, 1800},
	{"delivery", "union-1in", 2, 2000},
	{"delivery", "ball-valve-1in", 3, 4500},
	{"delivery", "pressure-gauge", 2, 5000},
	{"delivery", "float-valve-1in", 1, 2600},
	{"other", "ram-2in", 2, 140000},
	{"other", "concrete", 8, 6400},
}

// Sums of the table above by group: supply 1202.50, drive 1960.00, delivery 706.50, other 1464.00; together
// 5333.00, contingency of 10 % 533.30.
var workedSums = map[string]string{"supply": "1202.50", "drive": "1960.00", "delivery": "706.50", "other": "1464.00"}

func TestTakeoffOfAWorkedLayoutEqualsTheHandCount(t *testing.T) {
	c, err := Read("prices.csv", strings.NewReader(workedPrices))
	if err != nil {
		t.Fatal(err)
	}
	l := worked()
	takeoff, err := c.Takeoff(c.Needs(l), l.WasteFraction)
	if err != nil {
		t.Fatal(err)
	}
	type count struct{ packs, minor int64 }
	got := map[string]count{}
	for _, line := range takeoff.Lines {
		k := line.Group + " " + line.Item
		got[k] = count{got[k].packs + line.Packs, got[k].minor + line.Amount.Minor}
	}
	for _, w := range workedCount {
		k := w.group + " " + w.item
		if got[k] != (count{w.packs, w.minor}) {
			t.Errorf("%s: %+v, by hand %d for %d", k, got[k], w.packs, w.minor)
		}
		delete(got, k)
	}
	for k, v := range got {
		t.Errorf("%s: %+v, by hand none", k, v)
	}
	groups, err := takeoff.ByGroup()
	if err != nil {
		t.Fatal(err)
	}
	for group, want := range workedSums {
		if s := groups[group].Decimal(); s != want {
			t.Errorf("%s: %s, by hand %s", group, s, want)
		}
	}
	all, err := c.Materials(l)
	if err != nil {
		t.Fatal(err)
	}
	last := all.Lines[len(all.Lines)-1]
	if total, err := all.Total(); err != nil || last.Amount.Decimal() != "533.30" || total.String() != "5866.30 USD" {
		t.Errorf("contingency %s and total %s, %v; by hand 533.30 and 5866.30 USD", last.Amount, total, err)
	}
}

// Quantities of the lines of one need add up to the need.
func TestLinesAddUpToTheNeed(t *testing.T) {
	c := Default("USD")
	for _, m := range []float64{1, 30.48, 100, 215, 1234.5} {
		takeoff, err := c.Takeoff([]Need{{Item: "pe-sidr15-1in-300ft", Quantity: m, Group: GroupDelivery}}, 0.05)
		if err != nil {
			t.Fatal(err)
		}
		var sum, bought float64
		for _, l := range takeoff.Lines {
			it, _ := c.Item(l.Item)
			sum += l.Quantity
			bought += float64(l.Packs) * it.PackM
		}
		if d := sum - m; d > 1e-9 || d < -1e-9 {
			t.Errorf("a need of %g m became lines of %g m", m, sum)
		}
		if bought < m*1.05-1e-6 {
			t.Errorf("a need of %g m with 5 %% waste is met with %g m", m, bought)
		}
	}
}

// randomLayout draws a layout from the items of a trade.
func randomLayout(c *Catalog, rng *rand.Rand) Layout {
	pick := func(kind Kind, use Use) string {
		items := c.Items(kind, use)
		return items[rng.IntN(len(items))].ID
	}
	l := Layout{
		SupplyPipe: pick(KindPipe, UseSupply), SupplyM: rng.Float64() * 400, SupplyBends: rng.IntN(6), SettlingBox: rng.IntN(2) == 0,
		DrivePipe: pick(KindPipe, UseDrive), DriveM: 5 + rng.Float64()*30, Pump: pick(KindPump, 0), Pumps: 1 + rng.IntN(4),
		DeliveryPipe: pick(KindPipe, UseDelivery), DeliveryM: rng.Float64() * 2000, DeliveryBends: rng.IntN(9),
		HighPoints: rng.IntN(5), LowPoints: rng.IntN(5), TankValves: rng.IntN(2) == 0,
		WasteFraction: rng.Float64() * 0.1,
	}
	if rng.IntN(3) > 0 {
		l.StandpipePipe, l.StandpipeM = pick(KindPipe, UseStandpipe), rng.Float64()*4
	}
	return l
}

// The price of a layout is the price of its runs and the rest, whatever the
// layout; and the groups add up to the total.
func TestRunsAndRestMakeTheTotal(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 0))
	for _, trade := range []Trade{Inch, Metric} {
		c := Default("USD").In(trade)
		for range 200 {
			l := randomLayout(c, rng)
			takeoff, err := c.Materials(l)
			if err != nil {
				t.Fatal(err)
			}
			total, err := takeoff.Total()
			if err != nil {
				t.Fatal(err)
			}
			rest, err := c.RestCost(l)
			if err != nil {
				t.Fatal(err)
			}
			runs := c.PipeCost(l.SupplyPipe, l.SupplyM, l.WasteFraction).Minor +
				int64(l.Pumps)*c.PipeCost(l.DrivePipe, l.DriveM, l.WasteFraction).Minor +
				c.PipeCost(l.DeliveryPipe, l.DeliveryM, l.WasteFraction).Minor
			if l.StandpipePipe != "" {
				runs += c.PipeCost(l.StandpipePipe, l.StandpipeM, l.WasteFraction).Minor
			}
			if rest.Minor+runs != total.Minor {
				t.Fatalf("runs %d and rest %d are not the total %d of %+v", runs, rest.Minor, total.Minor, l)
			}
			shorter := l
			shorter.SupplyM *= 0.7
			shorter.DriveM *= 0.7
			shorter.DeliveryM *= 0.7
			if less, _ := c.Materials(shorter); less.Lines != nil {
				if sum, _ := less.Total(); sum.Minor > total.Minor {
					t.Fatalf("shorter runs cost %d instead of %d: %+v", sum.Minor, total.Minor, l)
				}
			}
			groups, err := takeoff.ByGroup()
			if err != nil {
				t.Fatal(err)
			}
			var sum int64
			for group, m := range groups {
				if alone, err := takeoff.Group(group); err != nil || alone != m {
					t.Fatalf("group %s is %v alone and %v among the others", group, alone, m)
				}
				sum += m.Minor
			}
			if sum != total.Minor {
				t.Fatalf("the groups add up to %d, the total is %d", sum, total.Minor)
			}
		}
	}
}

func TestTakeoffRefusesWhatItCannotCount(t *testing.T) {
	c := Default("USD")
	for _, tc := range []struct {
		need  Need
		waste float64
		want  string
	}{
		{Need{Item: "no-such-item", Quantity: 1}, 0, "no item"},
		{Need{Item: "anchor", Quantity: -1}, 0, "out of range"},
		{Need{Item: "anchor", Quantity: 1}, -0.1, "waste"},
	} {
		if _, err := c.Takeoff([]Need{tc.need}, tc.waste); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%+v with waste %g gave %v, want an error with %q", tc.need, tc.waste, err, tc.want)
		}
	}
}

// Every pipe and pump of the default catalog finds all the parts that the
// rules ask for, in its own nominal size where sizes exist.
func TestDefaultCatalogIsComplete(t *testing.T) {
	byUse := map[Use][]string{
		UseSupply:    {PartCoupling, PartAdapter, PartElbow, PartStrainer, PartGate, PartBox},
		UseDrive:     {PartCoupling, PartAdapter, PartUnion, PartGate, PartAnchor, PartTee},
		UseDelivery:  {PartCoupling, PartAdapter, PartElbow, PartTee, PartVent, PartDrain, PartUnion, PartBall, PartGauge, PartFloat},
		UseStandpipe: {PartCoupling, PartTee, PartAnchor},
	}
	sized := map[string]bool{PartCoupling: true, PartAdapter: true, PartElbow: true, PartTee: true, PartClamp: true}
	for _, trade := range []Trade{Inch, Metric} {
		c := Default("USD").In(trade)
		for use, parts := range byUse {
			pipes := c.Items(KindPipe, use)
			if len(pipes) == 0 {
				t.Errorf("%s: no pipe for use %d", trade, use)
			}
			for _, pipe := range pipes {
				needed := parts
				if pipe.Joint == JointInsert {
					needed = append([]string{PartClamp}, parts...)
				}
				for _, part := range needed {
					it := c.fitting(part, pipe)
					if it == nil {
						t.Errorf("%s: no %s for %s", trade, part, pipe.ID)
						continue
					}
					if sized[part] && it.Size != pipe.Size {
						t.Errorf("%s: the %s for %s is %s", trade, part, pipe.ID, it.ID)
					}
				}
			}
		}
		for _, pump := range c.Items(KindPump, 0) {
			if pump.Ram == nil || pump.BoreM <= 0 {
				t.Errorf("%s has no parameters", pump.ID)
			}
			fits := false
			for _, pipe := range c.Items(KindPipe, UseDrive) {
				fits = fits || pipe.Size == pump.Size
			}
			if !fits {
				t.Errorf("%s: no drive pipe for %s", trade, pump.ID)
			}
		}
		for _, part := range []string{PartConcrete, PartCement, PartTape, PartBulkhead, PartTankScreen} {
			if c.fitting(part, nil) == nil {
				t.Errorf("%s: no %s", trade, part)
			}
		}
	}
}

// The longer pack is never dearer by the metre than the shorter one by much:
// a slip of a digit in the default prices would show.
func TestDefaultPricesAreInOrder(t *testing.T) {
	testDefaultPrices(t, Default("USD").In(Inch))
	testDefaultPrices(t, Default("USD").In(Metric))
}

func testDefaultPrices(t *testing.T, c *Catalog) {
	t.Helper()
	for _, it := range c.All() {
		if !strings.Contains(it.Source, "invented") {
			t.Errorf("%s does not say that its price is invented", it.ID)
		}
		if it.Kind != KindPipe {
			continue
		}
		packs := append([]*Item(nil), c.packs(it)...)
		sort.Slice(packs, func(i, j int) bool { return packs[i].PackM < packs[j].PackM })
		for i := 1; i < len(packs); i++ {
			a, b := packs[i-1], packs[i]
			if b.Price.Minor <= a.Price.Minor || b.Price.Float()/b.PackM > 1.02*a.Price.Float()/a.PackM {
				t.Errorf("%s at %s and %s at %s do not fit together", a.ID, a.Price, b.ID, b.Price)
			}
		}
	}
}

func TestItemsListsAPipeOnce(t *testing.T) {
	seen := map[string]string{}
	c := Default("USD").In(Inch)
	for _, it := range c.Items(KindPipe, UseSupply|UseDelivery) {
		if other, twice := seen[it.Pipe.Name]; twice {
			t.Errorf("%s is listed as %s and %s", it.Pipe.Name, other, it.ID)
		}
		seen[it.Pipe.Name] = it.ID
		if it.Trade == Metric {
			t.Errorf("%s is not sold by inches", it.ID)
		}
	}
	if len(seen) < 10 {
		t.Errorf("only %d pipes", len(seen))
	}
}

func ExampleCatalog_PipeCost() {
	c := Default("USD")
	// 94.5 m are 310 ft: coils of 300 ft (170) and 100 ft (60), one coupling
	// (2.50) and four clamps (1.50 each).
	fmt.Println(c.PipeCost("pe-sidr15-1in-100ft", 90, 0.05))
	// Output: 238.50 USD
}
