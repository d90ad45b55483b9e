package plan

import (
	"math"
	"strconv"

	"route/internal/catalog"
	"route/internal/hydraulics"
)

// How far lengths are off as laid, one standard deviation. A place along the
// creek is known to about 0.3 of a cell (the line found lies 0.22 m on average
// beside the true one on cells of 1 m, 1.36 m on cells of 5 m: terrain study
// §1.3), and to half a pace when it is set out. The length along the creek is
// within a few per cent (ibid.); a pipe over the ground likewise.
const (
	placeCells   = 0.3
	placeM       = 0.3
	lengthSpread = 0.02
)

// lengthSigmas of supply, drive and delivery pipe; dropSigmaM is that of the
// drop over the drive pipe.
func (g *grader) lengthSigmas(dropSigmaM float64) (sigma [pipeRuns]float64) {
	place := math.Sqrt2 * math.Hypot(placeM, placeCells*g.ground.CellM())
	if g.l.Supply != nil {
		sigma[supplyRun] = math.Hypot(place, lengthSpread*float64(g.l.Supply.LengthM))
	}
	slope := math.Min(1, g.c.DriveFallM/g.c.DriveM)
	sigma[driveRun] = math.Hypot(place*math.Sqrt(1-slope*slope), slope*dropSigmaM)
	sigma[deliveryRun] = math.Hypot(place, lengthSpread*g.route.LengthM)
	return sigma
}

// certainty runs the seeded draws of this layout, the k-th in order.
func (g *grader) certainty(k int) error {
	c := g.c
	u := uncertain{
		intake: g.creek.Points[c.Intake], standpipe: g.creek.Points[c.DriveFrom], pump: g.creek.Points[c.Pump], tank: g.tank,
		driveHeadM: c.DriveHeadM - g.luck.headM, standpipeM: c.StandpipeWaterM - g.luck.aboveFootM,
		standpipeMin: g.site.Limits.StandpipeMinM, standpipeMax: g.site.Limits.StandpipeMaxM, hasStandpipe: c.Standpipe >= 0,
		driveHeadMin: g.site.Limits.DriveHeadMinM, liftM: g.liftM(), liftSigmaM: g.job.liftSigmaM(g.creek.Points[c.Pump]), demand: g.site.Demand, certainty: g.problem.Certainty,
		drawFlow: c.Flow, take: g.problem.TakeFlow, takeSigma: g.site.TakeShare * g.site.lowFlowSigma(), priceSpread: g.site.PriceSpread,
		lengthM:      [pipeRuns]float64{c.SupplyM, c.DriveM, g.route.LengthM},
		lengthSigmaM: g.lengthSigmas(g.certain.DiffSigma(g.creek.Points[c.DriveFrom], g.creek.Points[c.Pump])),
		deliver:      g.deliver(),
	}
	if g.l.Supply != nil {
		u.lossAt = g.supplyLossAt()
	}
	var err error
	if u.costOf, err = g.costOf(&u); err != nil {
		return err
	}
	unit := ""
	u.worth, unit = worth(g.problem.Objective, g.l.Cost.Currency)
	if !g.brief { // trials share their job and need no unit
		g.worthUnit = unit
	}
	seed := g.site.Seed*1000003 + uint64(k)
	b, err := u.spread(g.ctx, g.certain, seed)
	if err != nil {
		return err
	}
	g.writeCertainty(&b, u.lengthSigmaM)
	if g.brief {
		return nil
	}
	less, more := u, u
	less.headShift, more.headShift = -1, 1
	bLess, err := less.spread(g.ctx, g.certain, seed)
	if err != nil {
		return err
	}
	bMore, err := more.spread(g.ctx, g.certain, seed)
	if err != nil {
		return err
	}
	g.choice = g.prospectOf(b, bLess, bMore)
	g.choice.lone.u, g.choice.lone.seed = u, seed
	g.choice.lone.sigma = func(a, b int) float64 { return g.certain.DiffSigma(g.creek.Points[a], g.creek.Points[b]) }
	return nil
}

// writeCertainty puts what the draws say into the layout.
func (g *grader) writeCertainty(b *band, lengthSigmaM [pipeRuns]float64) {
	l := &g.l
	l.DriveHeadSigmaM, l.Delivery.LiftSigmaM = Number(b.headSigmaM), Number(b.liftSigmaM)
	l.Drive.LengthSigmaM, l.Delivery.LengthSigmaM = Number(lengthSigmaM[driveRun]), Number(lengthSigmaM[deliveryRun])
	if l.Supply != nil {
		l.Supply.LengthSigmaM = Number(lengthSigmaM[supplyRun])
	}
	l.ChanceWorks = Number(b.chance.works)
	l.Chances = Chances{DriveHead: Number(b.chance.head), Standpipe: Unknown, Flow: Number(b.chance.flow), Pump: Number(b.chance.pump), Demand: Unknown}
	if g.c.Standpipe >= 0 {
		l.Chances.Standpipe = Number(b.chance.standpipe)
	}
	if g.site.Demand > 0 {
		l.Chances.Demand = Number(b.chance.demand)
	}
	l.DeliveredLDayLow, l.DeliveredLDayHigh = Number(b.low*litresPerDay), Number(b.high*litresPerDay)
	l.Cost.Low, l.Cost.High = Number(math.Round(b.costLow)), Number(math.Round(b.costHigh))
	g.writeSure(b)
	l.DriveHeadCorrectedM, l.DeliveredLDayCorrected = Unknown, Unknown
	if g.luck.known {
		l.DriveHeadCorrectedM = l.DriveHeadM - Number(g.luck.headM)
		l.DeliveredLDayCorrected = Number(math.Max(0, float64(l.DeliveredLDay)-g.luck.water*litresPerDay))
	}
}

// rougher is a pipe whose roughness is so many times as great.
func rougher(p hydraulics.Pipe, factor float64) hydraulics.Pipe {
	p.Roughness *= factor
	return p
}

// supplyLossAt is what the supply pipe loses between its two ends.
func (g *grader) supplyLossAt() func(d *draw, flow float64) float64 {
	pipe := g.supplyPipe.Pipe.Pipe
	return func(d *draw, flow float64) float64 {
		loss, err := hydraulics.HeadLoss(g.fluid, rougher(pipe, d.roughness[supplyRun]), d.lengthM[supplyRun], flow, g.site.Limits.IntakeLossK)
		if err != nil {
			return math.NaN()
		}
		return loss * d.fittings[supplyRun]
	}
}

// variedRam is a ram with its parameters off by factors.
func variedRam(r hydraulics.Ram, by [len(pumpSpreads)]float64) hydraulics.Ram {
	r.WasteValveK *= by[0]
	r.DeliveryValveK *= by[1]
	r.EntranceK *= by[2]
	r.SlipM3 *= by[3]
	r.VolumetricFactor = math.Min(1, r.VolumetricFactor*by[4])
	r.CloseTimeS *= by[5]
	r.RecoilHeadM *= by[6]
	return r
}

// deliver gives what reaches the tank when the pumps are set to draw the flow
// of a draw, or as near to it as they can be set: a pump that cannot draw so
// much at its heaviest draws less, while one that draws more at its lightest
// pulls the water down and lets air in.
func (g *grader) deliver() func(d *draw) float64 {
	drive, delivery := g.drivePipe.Pipe.Pipe, g.deliveryPipe.Pipe.Pipe
	return func(d *draw) float64 {
		in := hydraulics.Installation{
			Fluid: g.fluid, SourceM: d.headM,
			Drive: hydraulics.Run{Pipe: rougher(drive, d.roughness[driveRun]), LengthM: d.lengthM[driveRun]},
			Ram:   g.drawnRam(d), Pumps: g.c.Layout.Pumps,
			// The friction of joints and bends is that of so much more pipe.
			Delivery: hydraulics.Run{Pipe: rougher(delivery, d.roughness[deliveryRun]), LengthM: d.lengthM[deliveryRun] * d.fittings[deliveryRun]},
			LiftM:    d.liftM,
		}
		return delivered(&in, d.flow)
	}
}

// delivered is what an installation delivers when it is tuned to a drive flow
// or, if it cannot draw so much, to the most that it draws.
func delivered(in *hydraulics.Installation, flow float64) float64 {
	op, err := in.TunedTo(flow, pumpTuning)
	if t, ok := err.(*hydraulics.TuningError); ok && !t.TooLittle() && t.Most > 0 {
		op, err = in.TunedTo(t.Most, pumpTuning)
	}
	if err != nil {
		return 0
	}
	return op.DeliveredTotal
}

// costOf prices a draw: the three runs of pipe at the lengths drawn, in whole
// packs, and the rest of the materials, each with its own move of prices on top
// of that of all.
func (g *grader) costOf(u *uncertain) (func(d *draw) float64, error) {
	q, prices := g.c.Layout, g.plan.Prices
	q.DeliveryM = g.route.LengthM
	items := [pipeRuns]string{q.SupplyPipe, q.DrivePipe, q.DeliveryPipe}
	times := [pipeRuns]float64{1, float64(q.Pumps), 1}
	var steps [pipeRuns][]catalog.Step
	rest, err := strconv.ParseFloat(string(g.l.Cost.Total), 64)
	if err != nil {
		return nil, err
	}
	rest /= 1 + q.ContingencyPart
	for r, id := range items {
		if id == "" {
			continue
		}
		steps[r] = prices.PipeSteps(id, u.lengthM[r]+6*u.lengthSigmaM[r], q.WasteFraction)
		rest -= times[r] * priceAt(steps[r], u.lengthM[r])
	}
	return func(d *draw) float64 {
		sum := rest * d.price[pipeRuns]
		for r := range items {
			sum += times[r] * priceAt(steps[r], d.lengthM[r]) * d.price[r]
		}
		return sum * (1 + q.ContingencyPart) * d.prices
	}, nil
}

// priceAt reads a price off its steps; the last holds for all beyond.
func priceAt(steps []catalog.Step, lengthM float64) float64 {
	if len(steps) == 0 {
		return 0
	}
	k := 0
	for k < len(steps)-1 && lengthM > steps[k].UpToM {
		k++
	}
	return steps[k].Price.Float()
}
