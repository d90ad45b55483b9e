package plan

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"

	"route/internal/profile"

	"github.com/paulmach/orb"
)

// draws is how many seeded draws a layout's band rests on. The 10 and 90 %
// points of 400 draws are themselves known to about 3 % of the spread.
const draws = 400

// Standard deviations of logarithms, of what is not the terrain. They are
// judgements, not measurements. Tabulated roughness is uncertain by 30 to 50 %
// (hydraulics reference, §2). A ram that has not been calibrated delivers
// within about a quarter of the model (ibid., §3.4), which is read as 95 %:
// what the pump's parameters leave of that is the model's own.
const (
	roughnessSpread = 0.4
	fittingsSpread  = 0.1 // of a pipe's whole loss: bends, joints, the formula
	modelSpread     = 0.1 // of delivered flow
)

// Spreads of the parameters of a pump that nobody has measured; common
// practice, no source.
var pumpSpreads = [...]float64{0.15, 0.15, 0.15, 0.3, 0.04, 0.2, 0.2}

// The three runs of pipe.
const (
	supplyRun = iota
	driveRun
	deliveryRun
	pipeRuns
)

// uncertain is one layout as the draws see it. Its functions are called from
// several goroutines.
type uncertain struct {
	intake, standpipe, pump, tank orb.Point

	// Drive head and running water above the standpipe's foot, after the
	// correction for the luck of the search.
	driveHeadM, standpipeM     float64
	standpipeMin, standpipeMax float64
	hasStandpipe               bool
	driveHeadMin               float64
	liftM                      float64 // static
	liftSigmaM                 float64 // 0: that of the ground at both ends
	demand                     float64 // m³/s, 0 for none
	certainty                  float64 // asked for; 0 for none
	drawFlow                   float64 // m³/s, all pumps
	lengthM, lengthSigmaM      [pipeRuns]float64

	// What may be taken of the creek, and how well that is known: with less
	// than the drive flow the pump is tuned lower. A takeSigma of 0 takes the
	// drive flow for sure.
	take, takeSigma float64 // m³/s, all pumps
	priceSpread     float64

	lossAt  func(d *draw, flow float64) float64 // of the supply pipe, m; nil: none
	deliver func(d *draw) float64               // m³/s at the tank; 0 when the pump does not run
	costOf  func(d *draw) float64               // nil: nothing

	// headShift moves the drop from intake to pump, in its standard
	// deviations.
	headShift float64
	// worth is what a draw is worth to the owner; nil for nothing.
	worth func(flow, headM, cost float64, works bool) float64
}

// draw is one of the ways in which things may be.
type draw struct {
	a, b, lift, take float64 // standard normal: drops to pump and standpipe, lift, creek
	roughness        [pipeRuns]float64
	fittings         [pipeRuns]float64
	lengthM          [pipeRuns]float64
	pump             [len(pumpSpreads)]float64 // factors on the pump's parameters
	model            float64                   // factor on delivered flow
	prices           float64                   // factor on all prices
	price            [pipeRuns + 1]float64     // factors on each run of pipe and on the rest

	headM, liftM, flow float64 // as the pump sees them
}

// chances are shares of the draws.
type chances struct {
	head      float64 // the drive head is enough
	standpipe float64 // the water stands within the bounds of the standpipe
	flow      float64 // the creek gives the whole flow that was planned
	pump      float64 // the pump runs
	demand    float64 // what was asked for reaches the tank
	works     float64 // all together, but that less flow will do where the demand is met
}

// band is what the draws say.
type band struct {
	headSigmaM        float64
	liftSigmaM        float64
	chance            chances
	low, high         float64 // 10 and 90 % points of delivered flow, m³/s, all pumps
	sure              float64 // what is delivered with the certainty asked for
	costLow, costHigh float64 // and of cost
	worth             float64 // mean over the draws
	dropSigmaM        float64 // of the drop from intake to pump
}

// outcome is what comes of one draw.
type outcome struct {
	q, lossM, cost, worth                    float64
	head, standpipe, flow, pump, demand, all bool
}

// spread runs the draws. The three heights along the creek share the
// surface's error, so the two drops that matter are drawn together.
func (u uncertain) spread(ctx context.Context, g profile.Ground, seed uint64) (band, error) {
	intakePump := g.DiffSigma(u.intake, u.pump)
	intakeFoot := g.DiffSigma(u.intake, u.standpipe)
	footPump := g.DiffSigma(u.standpipe, u.pump)
	pumpTank := u.liftSigmaM
	if pumpTank == 0 {
		pumpTank = g.DiffSigma(u.pump, u.tank)
	}
	rho := 0.0
	if intakePump > 0 && intakeFoot > 0 {
		rho = (intakePump*intakePump + intakeFoot*intakeFoot - footPump*footPump) / (2 * intakePump * intakeFoot)
		rho = math.Max(-1, math.Min(1, rho))
	}
	random := rand.New(rand.NewPCG(seed, 0x9e3779b97f4a7c15))
	list := make([]draw, draws)
	for k := range list {
		list[k] = u.draw(random)
	}
	outcomes := make([]outcome, draws)
	err := sideBySide(ctx, draws, func(k int) error {
		d := &list[k]
		d.liftM = u.liftM + pumpTank*d.lift
		outcomes[k] = u.try(d, intakePump*d.a, intakeFoot*(rho*d.a+math.Sqrt(1-rho*rho)*d.b))
		return nil
	})
	if err != nil {
		return band{}, err
	}
	b := u.sum(outcomes)
	b.headSigmaM, b.liftSigmaM, b.dropSigmaM = math.Hypot(intakePump, b.headSigmaM), pumpTank, intakePump
	return b, nil
}

// draw draws what is not the same twice. The order of the draws is part of
// what a seed means.
func (u *uncertain) draw(random *rand.Rand) draw {
	d := draw{a: random.NormFloat64() + u.headShift, b: random.NormFloat64(), lift: random.NormFloat64(), take: random.NormFloat64()}
	factor := func(sigma float64) float64 { return math.Exp(sigma * random.NormFloat64()) }
	for r := range pipeRuns {
		d.roughness[r], d.fittings[r] = factor(roughnessSpread), factor(fittingsSpread)
		d.lengthM[r] = math.Max(u.lengthM[r]/2, u.lengthM[r]+u.lengthSigmaM[r]*random.NormFloat64())
	}
	for k, sigma := range pumpSpreads {
		d.pump[k] = factor(sigma)
	}
	d.model, d.prices = factor(modelSpread), factor(u.priceSpread)
	for k := range d.price {
		d.price[k] = factor(u.priceSpread)
	}
	return d
}

// try works out one draw, with the drops to the pump and to the standpipe's
// foot that much greater.
func (u *uncertain) try(d *draw, morePump, moreFoot float64) (o outcome) {
	d.flow = u.drawFlow
	if u.takeSigma > 0 {
		d.flow = math.Min(u.drawFlow, u.take+u.takeSigma*d.take)
	}
	moreLoss, raised := 0.0, 0.0 // than planned; with less flow than planned, so much higher the water stands
	if u.lossAt != nil {
		o.lossM = u.lossAt(d, u.drawFlow)
		moreLoss = o.lossM - u.lossAt(&draw{roughness: ones, fittings: ones, lengthM: u.lengthM}, u.drawFlow)
		if d.flow > 0 && d.flow < u.drawFlow {
			raised = o.lossM - u.lossAt(d, d.flow)
		}
	}
	d.headM = u.driveHeadM + morePump - moreLoss
	water := u.standpipeM + moreFoot - moreLoss
	o.head = d.headM >= u.driveHeadMin
	o.flow = d.flow >= u.drawFlow
	drawnDown := u.hasStandpipe && water+raised < u.standpipeMin
	o.standpipe = !drawnDown && (!u.hasStandpipe || water <= u.standpipeMax)
	planned := d.headM
	d.headM += raised
	if d.flow > 0 && !drawnDown {
		o.q = math.Max(0, u.deliver(d)) * d.model
	}
	o.pump, o.demand = o.q > 0, o.q > 0 && o.q >= u.demand
	o.all = o.head && o.standpipe && o.demand
	if u.costOf != nil {
		o.cost = u.costOf(d)
	}
	if u.worth != nil {
		o.worth = u.worth(o.q, planned, o.cost, o.all)
	}
	return o
}

var ones = [pipeRuns]float64{1, 1, 1}

// sum puts the outcomes together; headSigmaM is that of the loss alone.
func (u *uncertain) sum(outcomes []outcome) (b band) {
	n := float64(len(outcomes))
	delivered, costs := make([]float64, len(outcomes)), make([]float64, len(outcomes))
	count := func(share *float64, is bool) {
		if is {
			*share++
		}
	}
	meanLoss := 0.0
	for k, o := range outcomes {
		delivered[k], costs[k] = o.q, o.cost
		c := &b.chance
		count(&c.head, o.head)
		count(&c.standpipe, o.standpipe)
		count(&c.flow, o.flow)
		count(&c.pump, o.pump)
		count(&c.demand, o.demand)
		count(&c.works, o.all)
		b.worth += o.worth / n
		meanLoss += o.lossM / n
	}
	for _, share := range []*float64{&b.chance.head, &b.chance.standpipe, &b.chance.flow, &b.chance.pump, &b.chance.demand, &b.chance.works} {
		*share /= n
	}
	for _, o := range outcomes {
		b.headSigmaM += (o.lossM - meanLoss) * (o.lossM - meanLoss) / n
	}
	b.headSigmaM = math.Sqrt(b.headSigmaM)
	slices.Sort(delivered)
	slices.Sort(costs)
	low, high := len(outcomes)/10, len(outcomes)-1-len(outcomes)/10
	b.sure = surely(delivered, u.certainty)
	b.low, b.high, b.costLow, b.costHigh = delivered[low], delivered[high], costs[low], costs[high]
	return b
}
