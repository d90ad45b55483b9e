package optimize

import (
	"math"

	"route/internal/hydraulics"
	"route/internal/quantity"
)

// choice is what is fixed before a place is chosen: flow, engine, delivery
// pipe.
type choice struct {
	flow   *flow
	engine *engine
	way    int // delivery pipe
}

// found is a layout that works.
type found struct {
	choice
	site   *site // that has its delivery line
	s, p   int   // head of the drive pipe, pump
	class  class
	rung   rung
	length float64 // of the drive pipe
	head   float64
	cost   int64 // without contingency
	op     hydraulics.Operation

	// Drive head with the certainty asked for, and what is delivered with it;
	// sure is that of op where none is asked for.
	sureHead, sure float64
}

// miss says which limit a layout breaks.
type miss struct {
	reason       string
	value, limit quantity.Value
	// tooHigh is true where less drive head might do.
	tooHigh bool
	// p is the pump station of the miss, off its relative size.
	p   int
	off float64
}

// installation is what a choice comes to at one place.
func (st *site) installation(c choice, p int, length, head float64) hydraulics.Installation {
	return hydraulics.Installation{
		Fluid: st.Fluid, SourceM: head,
		Drive: hydraulics.Run{Pipe: c.engine.pipe, LengthM: length}, Ram: c.engine.ram, Pumps: c.engine.pumps,
		Delivery: hydraulics.Run{Pipe: st.ways[c.way].pipe, LengthM: st.DeliveryAt[p].LengthM},
		LiftM:    st.lift[p],
	}
}

// evaluate works out one layout. A nil miss means that it keeps all limits.
func (st *site) evaluate(c choice, p int, length, head float64) (hydraulics.Operation, *miss) {
	st.evaluations.Add(1)
	e, way, l := c.engine, &st.ways[c.way], &st.Limits
	in := st.installation(c, p, length, head)
	op, err := in.TunedTo(c.flow.m3s, st.tuning)
	switch e := err.(type) {
	case nil:
	case *hydraulics.TuningError:
		if e.TooLittle() {
			return op, &miss{reason: TooLittleWater, value: quantity.Of(quantity.Flow, c.flow.m3s), limit: quantity.Of(quantity.Flow, e.Least), tooHigh: true}
		}
		return op, &miss{reason: PumpTooSmall, value: quantity.Of(quantity.Flow, c.flow.m3s), limit: quantity.Of(quantity.Flow, e.Most)}
	case *hydraulics.NoDeliveryError:
		return op, &miss{reason: LiftTooHigh, value: quantity.Of(quantity.Head, e.DeliveryHead), limit: quantity.Of(quantity.Head, e.ShutoffHead)}
	case *hydraulics.WeakBeatError:
		const weakest = 1.5
		return op, &miss{reason: LiftTooHigh, value: quantity.Of(quantity.Head, st.lift[p]), limit: quantity.Of(quantity.Head, st.lift[p]*e.Mu/weakest)}
	default:
		return op, &miss{reason: LiftTooLow, value: quantity.Of(quantity.Head, st.lift[p]), limit: quantity.Of(quantity.Head, head), tooHigh: true}
	}
	surge := op.DeliveryHeadM + way.wave*op.DeliveredTotal/(way.pipe.Area()*hydraulics.Gravity)
	switch {
	case op.LiftRatio > l.LiftRatioMax && l.LiftRatioMax > 0:
		return op, &miss{reason: LiftRatioTooHigh, value: quantity.Of(quantity.Multiple, op.LiftRatio), limit: quantity.Of(quantity.Multiple, l.LiftRatioMax)}
	case op.ShutoffHeadM > e.rating:
		return op, &miss{reason: SurgeAboveRating, value: quantity.Of(quantity.Head, op.ShutoffHeadM), limit: quantity.Of(quantity.Head, e.rating), tooHigh: true}
	case surge > way.rating:
		return op, &miss{reason: DeliveryAboveRating, value: quantity.Of(quantity.Head, surge), limit: quantity.Of(quantity.Head, way.rating), tooHigh: true}
	}
	return op, nil
}

// ceiling bounds from above the drive head at which a choice no longer breaks
// the limit that it breaks from above with head broken; it comes within some
// thousandths, or to the least head of interest when that is broken as well. By
// the monotony that the package comment lists, everything between the two is
// broken.
func (st *site) ceiling(c choice, p int, length, broken float64, m *miss, least float64) float64 {
	switch m.reason {
	case TooLittleWater:
		return st.backDown(c, p, length, broken, m.limit.SI, least)
	case SurgeAboveRating:
		return st.bearsSurge(c, p, length, broken, least)
	}
	lo := least
	for step := range backSteps {
		next := (lo + broken) / 2
		if step == 0 {
			next = least
		}
		if next = max(next, least); !(next < broken) {
			break
		}
		if _, n := st.evaluate(c, p, length, next); n != nil && n.tooHigh {
			broken, m = next, n
		} else {
			lo = next
		}
	}
	return broken
}

// backDown is ceiling for a head at which the pump draws more than the flow even
// at its lightest. Only that tuning is looked at; other limits show when what comes
// next is evaluated. The draw goes about with the square root of the head; with a
// higher power than it has from step to step, the steps come down to the head
// that is borne from above.
func (st *site) backDown(c choice, p int, length, broken, drawn, least float64) float64 {
	const (
		near   = 1e-4 // of the head
		steeps = 1.05 // times the power that it has
	)
	power := 0.7
	in := st.installation(c, p, length, broken)
	for range backSteps {
		next := max(broken*math.Pow(c.flow.m3s/drawn, 1/power), least)
		if !(next < broken*(1-near)) {
			break
		}
		in.SourceM = next
		draws := st.lightestDraw(c, p, &in)
		if draws <= c.flow.m3s*(1+rounding) {
			break
		}
		power = steeps * math.Log(drawn/draws) / math.Log(broken/next)
		broken, drawn = next, draws
	}
	return broken
}

// lightestDraw is what an installation draws at its lightest tuning; 0 where
// that is not too much for the choice.
func (st *site) lightestDraw(c choice, p int, in *hydraulics.Installation) float64 {
	st.bounds.Add(1)
	op, err := in.AtTuning(st.tuning[0])
	if _, weak := err.(*hydraulics.WeakBeatError); err == nil || weak {
		return op.DriveTotal
	}
	// Nothing is delivered so lightly, which does not say what is drawn.
	if _, m := st.evaluate(c, p, in.Drive.LengthM, in.SourceM); m != nil && m.reason == TooLittleWater {
		return m.limit.SI
	}
	return 0
}

// bearsSurge is ceiling for a head at which the surge is above the rating of the
// drive pipe. How far a beat rises hangs on the closing velocity alone, so that
// the velocity at the rating is known: the head is broken where, closing at that
// velocity, the pump draws less than the flow. The head at which it draws just
// the flow is found by false position (the Illinois variant: Dowell & Jarratt
// 1971, BIT 11, 168–174), each step of which is one steady state at a known
// velocity, not the search for one.
func (st *site) bearsSurge(c choice, p int, length, broken, least float64) float64 {
	const near = 1e-4 // of the head
	in := st.installation(c, p, length, broken)
	fastest := c.engine.closingAtRating(&st.Fluid)
	missing := func(head float64) (m3s float64, ok bool) {
		st.bounds.Add(1)
		in.SourceM = head
		op, err := in.Running(fastest)
		_, weak := err.(*hydraulics.WeakBeatError)
		return c.flow.m3s*(1-rounding) - op.DriveTotal, err == nil || weak
	}
	above, ok := missing(broken)
	if !ok || above <= 0 {
		return broken
	}
	below, known := missing(least)
	if known && below > 0 {
		return least
	}
	side := 0 // on which the last step fell
	for range backSteps {
		if broken-least <= near*broken {
			break
		}
		next := (least + broken) / 2
		if known {
			next = least + (broken-least)*below/(below-above)
		}
		at, ok := missing(next)
		switch {
		case ok && at > 0:
			if broken, above = next, at; side > 0 {
				below /= 2
			}
			side = 1
		case ok:
			if least, below, known = next, at, true; side < 0 {
				above /= 2
			}
			side = -1
		default:
			least, known, side = next, false, 0
		}
	}
	return broken
}

// closingAtRating is the closing velocity at which the pressure rise reaches the
// rating of the drive pipe: the wave's a·v/g and the K·v²/2g that is spent in
// the waste valve before it shuts.
func (e *engine) closingAtRating(f *hydraulics.Fluid) float64 {
	wave := hydraulics.WaveSpeed(*f, e.pipe)
	return 2 * hydraulics.Gravity * e.rating / (wave + math.Sqrt(wave*wave+2*e.ram.WasteValveK*hydraulics.Gravity*e.rating))
}

// deliveryLoss is the friction of a delivery pipe at a delivered flow; +Inf
// beyond the friction formula.
func (st *site) deliveryLoss(way, p int, m3s float64) float64 {
	loss, err := hydraulics.HeadLoss(st.Fluid, st.ways[way].pipe, st.DeliveryAt[p].LengthM, m3s, 0)
	if err != nil {
		return math.Inf(1)
	}
	return loss
}

// couldDeliver says whether a choice could deliver a flow, or more than it
// when strict. It could exactly when the pump delivers it against the lift
// plus the friction of that flow, for what it delivers falls as the friction
// rises. The tuning range is widened, because the delivery head that is asked
// about here is not the one that the pump would run at; where there is too much
// drive head for the flow, less of it could do.
func (st *site) couldDeliver(c choice, p int, length, head, m3s float64, strict bool) bool {
	st.bounds.Add(1)
	against := st.lift[p] + st.deliveryLoss(c.way, p, m3s)
	if !(against > head) || math.IsInf(against, 1) {
		return !math.IsInf(against, 1)
	}
	e := c.engine
	d, err := e.ram.TunedTo(st.Fluid, e.pipe, length, head, against, c.flow.m3s/float64(e.pumps), [2]float64{st.tuning[0] / widening, min(st.tuning[1]*widening, 0.99)})
	switch e := err.(type) {
	case nil, *hydraulics.WeakBeatError:
	case *hydraulics.TuningError:
		return e.TooLittle()
	default:
		return false
	}
	q := d.DeliveredFlow * float64(e.pumps) * (1 + rounding)
	if strict {
		return q > m3s
	}
	return q >= m3s
}

// rounding covers the last digits of the solvers in comparisons that may only
// skip what is worse.
const rounding = 1e-9

// leastLiftRatio is the least ratio of lift to drive head: below it the cycle
// model is not verified, and a ram is hardly the tool.
const leastLiftRatio = 1.5

// allowed is the most drive head that the limits and the lift allow at a pump
// station.
func (st *site) allowed(p int) float64 {
	most := st.lift[p] / leastLiftRatio
	if m := st.Limits.DriveHeadMaxM; m > 0 {
		most = min(most, m)
	}
	return most
}

// needed is the least drive head that the limits ask for at a pump station.
func (st *site) needed(p int) float64 {
	need := st.Limits.DriveHeadMinM
	if r := st.Limits.LiftRatioMax; r > 0 {
		need = max(need, st.lift[p]/r*(1-rounding))
	}
	return need
}
