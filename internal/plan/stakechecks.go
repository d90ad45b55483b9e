package plan

import "math"

// The checks of the key stakes. What is accepted follows from the limits of
// the site, from the running of the pump and from the water that was promised:
// the drop is moved away from its planned value until one of them no longer
// holds. The range of water is that of eight cases in ten, so that a drop which
// the terrain could hardly hide is read again before anything is built on it.

// checkStakes gives the key stakes their checks.
func (g *grader) checkStakes() {
	checks := map[string]*StakeCheck{"INTAKE": g.checkIntake(), "BOX": g.checkBox(), "STANDPIPE": g.checkStandpipe(), "PUMP": g.checkPump(), "TANK": g.checkTankInlet()}
	for i := range g.l.Stakes {
		s := &g.l.Stakes[i]
		if c := checks[s.Label]; c != nil {
			c.say(g.site.Units)
			s.Check = c
		}
	}
}

// checkIntake: how deep the pipe's mouth lies under the pool's surface.
func (g *grader) checkIntake() *StakeCheck {
	need := float64(g.l.Intake.SubmergenceM)
	if !(need > 0) {
		return nil
	}
	_, bore, _ := (&waterPath{grader: g}).intakeFlow()
	return &StakeCheck{Of: "top of the pipe's mouth", From: "the water of the intake pool", BelowM: Number(math.Max(g.site.Limits.BedDepthM-bore, need)),
		LowM: Number(need), HighM: Unknown, LowWhy: "it draws air"}
}

// checkBox: how far the water of the box stands below the pool. Less than the
// pipe above loses, and water does not reach it; more takes from the drive
// head and the standpipe.
func (g *grader) checkBox() *StakeCheck {
	b := g.l.SettlingBox
	if b == nil {
		return nil
	}
	drop := float64(g.l.Intake.WaterM - b.WaterM)
	spare, why := furthest(func(more float64) string { return g.fails(g.c.DriveHeadM-more, g.liftM(), more) }, g.c.DriveHeadM)
	return &StakeCheck{Of: "water in the settling box", From: "the water of the intake pool", BelowM: Number(drop),
		LowM: Number(drop - g.c.BoxDropM), LowWhy: "the box fills up to the pipe above it",
		HighM: Number(drop + spare), HighWhy: why}
}

// checkStandpipe: how far the standpipe's foot stands below the pool.
func (g *grader) checkStandpipe() *StakeCheck {
	s := g.l.Standpipe
	if s == nil {
		return nil
	}
	limits := g.site.Limits
	drop := float64(g.l.Intake.WaterM - s.GroundM)
	loss := float64(g.l.Intake.WaterM - s.RunningLevelM)
	c := &StakeCheck{Of: "foot of the standpipe", From: "the water of the intake pool", BelowM: Number(drop),
		LowM: Number(loss + limits.StandpipeMinM), LowWhy: "too little water over the drive pipe's mouth",
		HighM: Number(loss + limits.StandpipeMaxM - limits.StandpipeFreeboardM), HighWhy: "the standpipe becomes taller than the limit"}
	return c.within(drop)
}

// checkPump: how far the waste valve outlet lies below the running water at
// the head of the drive pipe. A lower pump has more drive head and more lift.
func (g *grader) checkPump() *StakeCheck {
	head := g.c.DriveHeadM
	moved := func(by float64) string { return g.fails(head+by, g.liftM()+by, 0) }
	up, lowWhy := furthest(func(by float64) string { return moved(-by) }, head)
	down, highWhy := furthest(moved, 3*head)
	c := &StakeCheck{Of: "waste valve outlet", From: g.headMark(), BelowM: Number(head), LowM: Number(head - up), LowWhy: lowWhy, HighM: Number(head + down), HighWhy: highWhy}
	return c.within(head)
}

// headMark is where the running water at the head of the drive pipe is seen.
func (g *grader) headMark() string {
	switch {
	case g.l.Standpipe != nil:
		return "the water mark of the standpipe"
	case g.l.SettlingBox != nil:
		return "the water in the settling box"
	}
	return "the water of the intake pool"
}

// checkTankInlet: how far the tank's inlet stands above the pump. Where a
// crest on the way sets the lift, the inlet may come up to it for nothing.
func (g *grader) checkTankInlet() *StakeCheck {
	rise := float64(g.l.Tank.InletM - g.l.Pump.OutletM)
	spare := g.liftM() - rise
	up, why := furthest(func(by float64) string { return g.fails(g.c.DriveHeadM, g.liftM()+by, 0) }, 2*g.liftM())
	c := &StakeCheck{Of: "tank inlet", From: "the waste valve outlet", BelowM: Number(-rise), LowM: Number(-(rise + spare + up)), LowWhy: why, HighM: Unknown}
	return c.within(-rise)
}

// within drops a check whose planned value it would refuse: another finding
// says then what is wrong with the plan.
func (c *StakeCheck) within(planned float64) *StakeCheck {
	if planned < float64(c.LowM)-1e-9 || planned > float64(c.HighM)+1e-9 {
		return nil
	}
	return c
}

// fails says what no longer holds at another drive head and lift, "" when all
// does. lowered is by how much the water in the standpipe stands lower than
// planned. What the plan itself does not hold is no ground to refuse a stake.
func (g *grader) fails(headM, liftM, lowered float64) string {
	limits := g.site.Limits
	per := func(v, limit float64) bool { return v > limit+1e-9 }
	switch {
	case headM < limits.DriveHeadMinM-1e-9:
		return "less drive head than the limit"
	case per(headM, limits.DriveHeadMaxM) && !per(g.c.DriveHeadM, limits.DriveHeadMaxM):
		return "more drive head than the limit"
	case per(liftM/headM, limits.LiftRatioMax) && !per(g.liftM()/g.c.DriveHeadM, limits.LiftRatioMax):
		return "the lift is too many times the drive head"
	case g.l.Standpipe != nil && g.c.StandpipeWaterM-lowered < limits.StandpipeMinM-1e-9:
		return "too little water over the drive pipe's mouth"
	}
	friction := g.operation.DeliveryHeadM - g.liftM()
	duty, err := g.ram.TunedTo(g.fluid, g.drivePipe.Pipe.Pipe, g.c.DriveM, headM, liftM+friction, g.c.Flow/float64(g.c.Layout.Pumps), pumpTuning)
	delivered := duty.DeliveredFlow * float64(g.c.Layout.Pumps)
	rating := float64(g.l.Delivery.RatingM)
	switch {
	case err != nil:
		return "the pump cannot be tuned to this flow"
	case g.site.Demand > 0 && delivered < g.site.Demand && g.operation.DeliveredTotal >= g.site.Demand:
		return "less water than wanted"
	case delivered <= 0:
		return "no water is lifted"
	case g.promised() && delivered*litresPerDay < float64(g.l.DeliveredLDayLow):
		return "less water than promised"
	case g.promised() && delivered*litresPerDay > float64(g.l.DeliveredLDayHigh):
		return "more water than promised: read again, and plan again with it"
	case per(float64(g.l.Delivery.PressureM)+liftM-g.liftM(), rating) && !per(float64(g.l.Delivery.PressureM), rating):
		return "the delivery pipe's rating is passed"
	}
	return ""
}

// promised says that what the plan itself delivers lies in the range that it
// promises.
func (g *grader) promised() bool {
	planned := g.operation.DeliveredTotal * litresPerDay
	return planned >= float64(g.l.DeliveredLDayLow) && planned <= float64(g.l.DeliveredLDayHigh)
}

// furthest is how far something may be moved until it fails, to a millimetre
// on the safe side, and why it fails then. What holds all the way to most was
// not looked at further.
func furthest(fails func(by float64) string, most float64) (by float64, why string) {
	const steps = 100 // nothing that is asked here fails and holds again within a hundredth
	for k := 1; k <= steps; k++ {
		next := most * float64(k) / steps
		if why = fails(next); why == "" {
			by = next
			continue
		}
		for bad := next; bad-by > 0.0005; {
			middle := (by + bad) / 2
			if w := fails(middle); w == "" {
				by = middle
			} else {
				bad, why = middle, w
			}
		}
		return by, why
	}
	return by, notWorkedOut
}

// notWorkedOut says that nothing was found to bound something.
const notWorkedOut = "not worked out"
