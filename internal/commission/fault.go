package commission

import "math"

// Cause is what may be wrong.
type Cause string

// The causes that are weighed against each other.
const (
	Nothing           Cause = "nothing"
	AirLock           Cause = "air_lock"
	DeliveryValveLeak Cause = "delivery_valve_leak"
	DeliveryPipeLeak  Cause = "delivery_pipe_leak"
	DeliveryThrottled Cause = "delivery_throttled"
	SupplyLow         Cause = "supply_low"
	ScreenClogged     Cause = "screen_clogged"
	SupplyBlocked     Cause = "supply_blocked"
	VesselWaterlogged Cause = "vessel_waterlogged"
	TunedTooLight     Cause = "tuned_too_light"
	TunedTooHeavy     Cause = "tuned_too_heavy"
	StandpipeShort    Cause = "standpipe_short"
	DriveAir          Cause = "drive_air"
)

// fault is one way in which an installation can be worse than its plan: a
// change of the model by a severity. The severity is a function of a standard
// normal number, as it is met before any reading.
type fault struct {
	cause    Cause
	place    *HighPlace // of an air lock
	severity func(theta float64) float64
	apply    func(p *plant, severity float64)
}

// lognormal severities have a median, and a standard deviation of the
// logarithm; how bad faults are when they are met is common practice, no
// source.
func lognormal(median, sigma float64) func(float64) float64 {
	return func(theta float64) float64 { return median * math.Exp(sigma*theta) }
}

// faults lists what can be wrong with this installation.
func (m *Model) faults() []fault {
	var list []fault
	add := func(c Cause, severity func(float64) float64, apply func(p *plant, s float64)) {
		list = append(list, fault{cause: c, severity: severity, apply: apply})
	}
	for k := range m.HighAt {
		h := &m.HighAt[k]
		if h.SagM < leastSagM {
			continue
		}
		list = append(list, fault{cause: AirLock, place: h,
			// Air that fills the falling pipe behind a high place by a height
			// takes the weight of that height of water away from the far side:
			// the near side must push it up in addition. Hydrostatics; the sum
			// over the falling limbs as in Jordan, A Handbook of Gravity-Flow
			// Water Systems (from memory). It can be no higher than the limb.
			severity: func(theta float64) float64 { return h.SagM / (1 + math.Exp(-1.5*theta)) },
			apply:    func(p *plant, s float64) { p.lift += s },
		})
	}
	// What leaks back through a valve or out of a pipe goes as through an
	// orifice, with the root of the head; the severity is the share of the
	// planned delivered flow at the planned head.
	add(DeliveryValveLeak, lognormal(0.4, 0.6), func(p *plant, s float64) {
		p.valveLeak = s * m.planned.delivered / math.Sqrt(m.planned.head)
	})
	add(DeliveryPipeLeak, lognormal(0.4, 0.6), func(p *plant, s float64) {
		p.pipeLeak = s * m.planned.delivered / math.Sqrt(m.planned.head/2)
	})
	// A valve that is half shut, a kink, dirt: a loss with the velocity
	// squared; the severity is the head it takes of the planned flow as a
	// share of the lift.
	add(DeliveryThrottled, lognormal(0.3, 0.8), func(p *plant, s float64) {
		v := m.planned.delivered / m.Delivery.Pipe.Area()
		p.delivery.MinorK += s * m.Lift.Value * twoG / (v * v)
	})
	// The creek brings less than the pump draws: the pool falls, below the
	// pipe's mouth in the end, until the pump draws no more than comes. At
	// rest the pool fills again.
	add(SupplyLow, lognormal(0.25*m.planned.level, 0.6), func(p *plant, s float64) { p.poolDrop = s })
	if m.UpperM > 0 {
		velocity := m.planned.waste / m.SupplyPipe.Area()
		blocked := func(s float64) float64 { return s * m.planned.level * twoG / (velocity * velocity) }
		// Leaves on the screen, or silt, stones and air in the pipe: a loss
		// with the velocity squared; the severity is the head it takes of the
		// planned flow as a share of the running level.
		add(ScreenClogged, lognormal(0.3, 0.7), func(p *plant, s float64) { p.screenK = blocked(s) })
		add(SupplyBlocked, lognormal(0.3, 0.7), func(p *plant, s float64) {
			if m.LowerM > 0 {
				p.lowerK = blocked(s)
			} else {
				p.upperK = blocked(s)
			}
		})
	}
	// Air dissolves in the water under pressure; without a snifter the vessel
	// fills up with water. The severity is the share of the air that is left.
	add(VesselWaterlogged, func(theta float64) float64 { return math.Min(0.5, 0.05*math.Exp(0.9*theta)) }, func(p *plant, s float64) { p.air *= s })
	// The weight or the stroke of the waste valve: the severity is the
	// closing velocity over the planned one.
	add(TunedTooLight, func(theta float64) float64 { return math.Exp(-0.4 * math.Exp(0.35*theta)) }, func(p *plant, s float64) { p.closing *= s })
	add(TunedTooHeavy, func(theta float64) float64 { return math.Exp(0.35 * math.Exp(0.35*theta)) }, func(p *plant, s float64) { p.closing *= s })
	if m.standpipe() {
		// The top stands lower than the water would: the severity is by how
		// much, as a share of the running level.
		add(StandpipeShort, lognormal(0.15, 0.6), func(p *plant, s float64) { p.rim = m.planned.level * math.Max(0.2, 1-s) })
	}
	// Air in the drive pipe, sucked in or left there, makes it springy: waves
	// run slower (Wylie & Streeter: a share of 0.1 % of air at atmospheric
	// pressure is enough for half the speed; from memory). The severity is
	// what is left of the wave speed.
	add(DriveAir, func(theta float64) float64 { return math.Exp(-0.7 * math.Exp(0.35*theta)) }, func(p *plant, s float64) { p.softer(s) })
	return list
}

// leastSagM is how deep the pipe must fall behind a high place to hold air
// that a gauge can see.
const leastSagM = 0.5

const twoG = 2 * 9.80665
