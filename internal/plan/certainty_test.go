package plan

import (
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"sync"
	"testing"

	"github.com/paulmach/orb"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"route/internal/catalog"
	"route/internal/hydraulics"
	"route/internal/optimize"
	"route/internal/profile"
)

// sameSigma is ground whose every drop is uncertain by the same amount.
type sameSigma float64

func (sameSigma) At(orb.Point) (float64, bool)       { return 0, true }
func (s sameSigma) DiffSigma(p, q orb.Point) float64 { return float64(s) }
func linear(d *draw) float64                         { return d.headM }
func stopsBelow(least float64) func(d *draw) float64 {
	return func(d *draw) float64 {
		if d.headM < least {
			return 0
		}
		return 1
	}
}

// spreadOf runs the draws of a test.
func spreadOf(t *testing.T, u uncertain, g profile.Ground, seed uint64) band {
	t.Helper()
	b, err := u.spread(t.Context(), g, seed)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// shareOf holds a share of the draws against a probability: within four
// standard errors of a share.
func shareOf(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 4*math.Sqrt(want*(1-want)/draws) {
		t.Errorf("%s: %.3f, want %.3f", what, got, want)
	}
}

// With delivered flow equal to drive head, flow is the product of a normal and
// a lognormal draw, whose 10 and 90 % points follow by quadrature over the
// lognormal. 400 draws know a decile to about 1/20 of the spread (standard
// error sqrt(p(1-p)/n)/density); the bound is four of those.
func TestBandIsTheProductOfHeadAndPump(t *testing.T) {
	const head, sigma = 3.0, 0.2
	u := uncertain{driveHeadM: head, drawFlow: 1, deliver: linear}
	b := spreadOf(t, u, sameSigma(sigma), 7)
	share := func(x float64) float64 {
		sum, n := 0.0, 2000
		for i := range n {
			z := distuv.UnitNormal.Quantile((float64(i) + 0.5) / float64(n))
			sum += distuv.UnitNormal.CDF((x/math.Exp(modelSpread*z) - head) / sigma)
		}
		return sum / float64(n)
	}
	shareOf(t, "below the low end", share(b.low), 0.1)
	shareOf(t, "below the high end", share(b.high), 0.9)
	if b.chance.works != 1 {
		t.Errorf("chance %v without any demand or limit", b.chance.works)
	}
	if math.Abs(b.headSigmaM-sigma) > 1e-12 || math.Abs(b.liftSigmaM-sigma) > 1e-12 {
		t.Errorf("head sigma %v, lift sigma %v", b.headSigmaM, b.liftSigmaM)
	}
}

// A pump that stops below a head works with the normal probability of that
// head.
func TestChanceIsTheShareOfDrawsThatWork(t *testing.T) {
	u := uncertain{driveHeadM: 3, drawFlow: 1, deliver: stopsBelow(2.8)}
	b := spreadOf(t, u, sameSigma(0.2), 3)
	shareOf(t, "works", b.chance.works, distuv.UnitNormal.CDF(1)) // (3-2.8)/0.2
	if again := spreadOf(t, u, sameSigma(0.2), 3); again != b {
		t.Error("the same seed draws differently")
	}
	if other := spreadOf(t, u, sameSigma(0.2), 4); other == b {
		t.Error("another seed draws the same")
	}
}

// Each test has its own chance: here the least head, the pump and the demand
// lie one, two and a half standard deviations below what is expected. The flow
// is the head times the lognormal of the model, so that the demand's chance
// follows by quadrature.
func TestEveryLimbHasItsChance(t *testing.T) {
	u := uncertain{driveHeadM: 3, driveHeadMin: 2.8, demand: 2.9, drawFlow: 1, take: 1, takeSigma: 0.1, deliver: func(d *draw) float64 {
		if d.headM < 2.6 {
			return 0
		}
		return d.headM
	}}
	b := spreadOf(t, u, sameSigma(0.2), 11)
	shareOf(t, "head", b.chance.head, distuv.UnitNormal.CDF(1))
	shareOf(t, "pump", b.chance.pump, distuv.UnitNormal.CDF(2))
	shareOf(t, "flow", b.chance.flow, 0.5) // nobody knows whether the creek gives as much
	met, n := 0.0, 2000
	for i := range n {
		z := distuv.UnitNormal.Quantile((float64(i) + 0.5) / float64(n))
		met += distuv.UnitNormal.CDF(-(math.Max(2.6, 2.9/math.Exp(modelSpread*z))-3)/0.2) / float64(n)
	}
	shareOf(t, "demand", b.chance.demand, met)
	if c := b.chance; c.works > math.Min(c.head, c.demand) || c.standpipe != 1 {
		t.Errorf("%+v", c)
	}
}

// A standpipe whose water falls below its least height lets air in: no water.
func TestDrawnDownStandpipeDeliversNothing(t *testing.T) {
	u := uncertain{driveHeadM: 3, drawFlow: 1, deliver: linear, hasStandpipe: true, standpipeM: 0.5, standpipeMin: 0.3, standpipeMax: 3}
	b := spreadOf(t, u, sameSigma(0.4), 1)
	want := distuv.UnitNormal.CDF(0.5) // (0.5-0.3)/0.4
	shareOf(t, "works", b.chance.works, want)
	shareOf(t, "standpipe", b.chance.standpipe, want)
	if b.low != 0 {
		t.Errorf("low is %v although it runs dry in 3 of 10 draws", b.low)
	}
}

// A creek whose low flow is known to a tenth, of which the pump wants all that
// may be taken, and a pump that needs nine tenths of it: the normal
// probability of one standard deviation.
func TestACreekThatGivesLessStopsThePump(t *testing.T) {
	needs := func(d *draw) float64 {
		if d.flow < 0.9 {
			return 0
		}
		return d.flow
	}
	u := uncertain{driveHeadM: 3, drawFlow: 1, take: 1, takeSigma: 0.1, deliver: needs}
	b := spreadOf(t, u, sameSigma(0), 5)
	shareOf(t, "works", b.chance.works, distuv.UnitNormal.CDF(1))
}

// Whatever is not drawn is not lost in the supply pipe either: with a loss of
// 2 m at the full flow of 1 and in proportion below, the drive head is 5 − 2q.
func TestLessFlowLosesLessInTheSupplyPipe(t *testing.T) {
	var mu sync.Mutex
	least := 1.0
	pump := func(d *draw) float64 {
		mu.Lock()
		defer mu.Unlock()
		least = math.Min(least, d.flow)
		if math.Abs(d.headM-(5-2*d.flow)) > 1e-9 {
			t.Errorf("head %v at a flow of %v", d.headM, d.flow)
		}
		return d.flow
	}
	u := uncertain{driveHeadM: 3, drawFlow: 1, take: 1, takeSigma: 0.1, lossAt: func(_ *draw, q float64) float64 { return 2 * q }, deliver: pump}
	spreadOf(t, u, sameSigma(0), 6)
	if least > 0.9 {
		t.Errorf("the least flow of 400 draws is %v", least)
	}
}

// A rough supply pipe takes from the head what it loses more than planned: the
// loss here is the roughness times a metre, a lognormal whose standard
// deviation is in closed form.
func TestRoughnessTakesFromTheHead(t *testing.T) {
	u := uncertain{driveHeadM: 3, drawFlow: 1, deliver: linear, lossAt: func(d *draw, _ float64) float64 { return d.roughness[supplyRun] }}
	b := spreadOf(t, u, sameSigma(0), 8)
	s2 := roughnessSpread * roughnessSpread
	want := math.Sqrt((math.Exp(s2) - 1) * math.Exp(s2))
	// The standard error of a standard deviation is about σ√((κ−1)/4n), with
	// κ the fourth moment over the square of the second, 6.3 for this
	// lognormal (closed form).
	if math.Abs(b.headSigmaM-want) > 4*want*math.Sqrt(5.3/(4*draws)) {
		t.Errorf("head sigma %.3f m, want %.3f m", b.headSigmaM, want)
	}
}

// Costs move with prices and with lengths. With one run of pipe of which a
// metre costs 1 and nothing else, the cost is length·exp(σ(z₁+z₂)): the 10 and
// 90 % points by quadrature over the length.
func TestCostsMoveWithPricesAndLengths(t *testing.T) {
	const length, lengthSigma, spread = 100.0, 5.0, 0.1
	u := uncertain{driveHeadM: 3, drawFlow: 1, deliver: linear, priceSpread: spread}
	u.lengthM[driveRun], u.lengthSigmaM[driveRun] = length, lengthSigma
	u.costOf = func(d *draw) float64 { return d.lengthM[driveRun] * d.prices * d.price[driveRun] }
	b := spreadOf(t, u, sameSigma(0.2), 9)
	share := func(x float64) float64 {
		sum, n := 0.0, 2000
		for i := range n {
			z := distuv.UnitNormal.Quantile((float64(i) + 0.5) / float64(n))
			sum += distuv.UnitNormal.CDF(math.Log(x/(length+lengthSigma*z))/(spread*math.Sqrt2)) / float64(n)
		}
		return sum
	}
	shareOf(t, "below the low end", share(b.costLow), 0.1)
	shareOf(t, "below the high end", share(b.costHigh), 0.9)
}

// The parts of a pump's spread together are what is said of a pump that nobody
// has measured: within about a quarter of the model in 95 of 100 cases, 0.125
// of the logarithm. A 2 in pump on 3 m of head against 25 m; 2000 draws, seed
// 10.
func TestPumpSpreadIsAboutAQuarter(t *testing.T) {
	water, err := hydraulics.Water(283.15, 100)
	if err != nil {
		t.Fatal(err)
	}
	prices := catalog.Default("USD").In(catalog.Inch)
	pipe := func(use catalog.Use, size string) *catalog.Item {
		items := prices.Items(catalog.KindPipe, use)
		return items[slices.IndexFunc(items, func(it *catalog.Item) bool { return it.Size == size })]
	}
	g := &grader{job: &job{fluid: water}, c: &optimize.Candidate{}, ram: hydraulics.DefaultRam(0.0525), drivePipe: pipe(catalog.UseDrive, "2 in"), deliveryPipe: pipe(catalog.UseDelivery, "1 in")}
	g.c.Layout.Pumps = 1
	deliver := g.deliver()
	random := rand.New(rand.NewPCG(10, 1))
	u := uncertain{lengthM: [pipeRuns]float64{0, 15, 100}}
	logs, base := []float64{}, 0.0
	for k := range 2000 {
		d := u.draw(random)
		d.headM, d.liftM, d.flow, d.lengthM = 3, 25, 1e-3, u.lengthM
		d.roughness, d.fittings = ones, ones
		if k == 0 {
			plain := d
			plain.pump = [len(pumpSpreads)]float64{1, 1, 1, 1, 1, 1, 1}
			base = deliver(&plain)
		}
		logs = append(logs, math.Log(deliver(&d)*d.model/base))
	}
	mean, sigma := stat.MeanStdDev(logs, nil)
	if sigma < 0.11 || sigma > 0.14 || math.Abs(mean) > 0.02 {
		t.Errorf("seed 10: the logarithm of what is delivered spreads by %.3f about %+.3f; said is 0.125", sigma, mean)
	}
}

// Without a spread the draws cost what the plan says: the takeoff's total, for
// a layout of three runs of pipe.
func TestCostWithoutSpreadIsTheTakeoff(t *testing.T) {
	prices := catalog.Default("USD").In(catalog.Inch)
	id := func(use catalog.Use) string { return prices.Items(catalog.KindPipe, use)[0].ID }
	g := &grader{job: &job{plan: &Plan{Prices: prices}}, c: &optimize.Candidate{}}
	g.c.Layout = catalog.Layout{
		SupplyPipe: id(catalog.UseSupply), SupplyM: 63, DrivePipe: id(catalog.UseDrive), DriveM: 17, Pump: prices.Items(catalog.KindPump, 0)[0].ID, Pumps: 2,
		DeliveryPipe: id(catalog.UseDelivery), DeliveryM: 211, StandpipePipe: id(catalog.UseStandpipe), StandpipeM: 2.5, WasteFraction: 0.05, ContingencyPart: 0.1,
	}
	g.route.LengthM = 211
	takeoff, err := prices.Materials(g.c.Layout)
	if err != nil {
		t.Fatal(err)
	}
	total, err := takeoff.Total()
	if err != nil {
		t.Fatal(err)
	}
	g.l.Cost.Total = Decimal(total.Decimal())
	u := uncertain{lengthM: [pipeRuns]float64{63, 17, 211}}
	cost, err := g.costOf(&u)
	if err != nil {
		t.Fatal(err)
	}
	d := draw{lengthM: u.lengthM, prices: 1, price: [pipeRuns + 1]float64{1, 1, 1, 1}}
	want, err := strconv.ParseFloat(total.Decimal(), 64)
	if err != nil {
		t.Fatal(err)
	}
	if got := cost(&d); math.Abs(got-want) > 0.01 {
		t.Errorf("%v, want %v", got, want)
	}
	// Longer pipes need more packs: 10 m more of each, by the price list.
	longer := g.c.Layout
	longer.SupplyM, longer.DriveM, longer.DeliveryM = 73, 27, 221
	more := prices.PipeCost(longer.SupplyPipe, 73, 0.05).Float() - prices.PipeCost(longer.SupplyPipe, 63, 0.05).Float() +
		2*(prices.PipeCost(longer.DrivePipe, 27, 0.05).Float()-prices.PipeCost(longer.DrivePipe, 17, 0.05).Float()) +
		prices.PipeCost(longer.DeliveryPipe, 221, 0.05).Float() - prices.PipeCost(longer.DeliveryPipe, 211, 0.05).Float()
	u.lengthSigmaM = [pipeRuns]float64{5, 5, 5}
	if cost, err = g.costOf(&u); err != nil {
		t.Fatal(err)
	}
	d.lengthM = [pipeRuns]float64{73, 27, 221}
	if got := cost(&d); more <= 0 || math.Abs(got-want-1.1*more) > 0.01 {
		t.Errorf("longer by 10 m each costs %v more, want %v", got-want, 1.1*more)
	}
}
