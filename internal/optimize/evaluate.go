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

// evaluate works out one layout. A nil miss means that it keeps all limits.
func (st *site) evaluate(c choice, p int, length, head float64) (hydraulics.Operation, *miss) {
	st.evaluations.Add(1)
	e, way, l := c.engine, &st.ways[c.way], &st.Limits
	in := hydraulics.Installation{
		Fluid: st.Fluid, SourceM: head,
		Drive: hydraulics.Run{Pipe: e.pipe, LengthM: length}, Ram: e.ram, Pumps: e.pumps,
		Delivery: hydraulics.Run{Pipe: way.pipe, LengthM: st.DeliveryAt[p].LengthM},
		LiftM:    st.lift[p],
	}
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
	lo := least
	for step := range backSteps {
		next := (lo + broken) / 2
		switch {
		case m.reason == TooLittleWater && lo == least:
			next = broken * backDown(m.value.SI, m.limit.SI)
		case step == 0:
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
