package commission

import (
	"fmt"
	"math"

	"route/internal/quantity"
)

// This file says causes in the words of the trade.

// words are a cause and its cure.
type words struct{ name, cure string }

var causeWords = map[Cause]words{
	Nothing:           {"everything is as planned", ""},
	AirLock:           {"air lock in the delivery pipe", "open the vent there until water comes without air; without one, crack a joint, or shut the tank end and let the pump press"},
	DeliveryValveLeak: {"leaking delivery valve", "take it out, clear grit from the seat, renew the disc or its rubber"},
	DeliveryPipeLeak:  {"leak in the delivery pipe", "walk the line with the pump running and look for wet ground, first at joints, vents and drains"},
	DeliveryThrottled: {"delivery pipe throttled", "see that every stop valve is fully open, look for kinks, flush the pipe through its drains"},
	SupplyLow:         {"too little water comes to the intake", "measure the creek; tune the pump lighter until the pool keeps its level"},
	ScreenClogged:     {"clogged intake screen", "brush it clean; where it clogs again soon, make it larger"},
	SupplyBlocked:     {"supply pipe partly blocked", "flush it; look for stones at the box, and for air in its high places"},
	VesselWaterlogged: {"waterlogged air vessel", "stop the pump, drain the vessel, let air in and start again; see that the snifter draws air"},
	TunedTooLight:     {"waste valve tuned too light", "add weight or stroke until the standpipe just holds its planned level"},
	TunedTooHeavy:     {"waste valve tuned too heavy", "take off weight or stroke until the standpipe holds its planned level"},
	StandpipeShort:    {"standpipe too short: it overflows", "lengthen the standpipe"},
	DriveAir:          {"air in the drive pipe, or a soft one", "bleed it: hold the waste valve open until no bubbles come; see that its mouth is well under water and its joints are tight"},
}

// Name is a cause in words, with the place of an air lock.
func (c *Candidate) Name(s quantity.System) string {
	name := causeWords[c.Cause].name
	if c.Place != nil {
		name += " at the high place at station " + station(s, c.Place.AlongM)
		if c.Place.Name != "" {
			name += " (" + c.Place.Name + ")"
		}
	}
	return name
}

// Cure is what to do about it.
func (c *Candidate) Cure() string { return causeWords[c.Cause].cure }

// Extent says how bad it is, in the figures of the model; "" for nothing.
func (c *Candidate) Extent(s quantity.System) string {
	metres := func(v float64) string { return quantity.Format(s, quantity.Length, v) }
	share := func(v float64) string { return fmt.Sprintf("%.0f %%", 100*v) }
	switch c.Cause {
	case AirLock:
		return "air stands " + metres(c.Severity) + " high in the falling pipe"
	case DeliveryValveLeak:
		return share(c.Severity) + " of the planned water runs back"
	case DeliveryPipeLeak:
		return share(c.Severity) + " of the planned water is lost"
	case DeliveryThrottled:
		return "it would take " + share(c.Severity) + " of the lift at the planned flow"
	case SupplyLow:
		return "the pool would stand " + metres(c.Severity) + " lower"
	case ScreenClogged, SupplyBlocked:
		return "it would take " + share(c.Severity) + " of the drive head at the planned flow"
	case VesselWaterlogged:
		return share(c.Severity) + " of the air is left"
	case TunedTooLight, TunedTooHeavy:
		return "it shuts at " + share(c.Severity) + " of the planned velocity"
	case StandpipeShort:
		return "its top stands " + share(c.Severity) + " of the drive head below the planned level"
	case DriveAir:
		return "waves run at " + share(c.Severity) + " of their speed"
	}
	return ""
}

// station prints a distance along the delivery pipe as stakes are marked: by
// hundreds of feet, or by kilometres and metres.
func station(s quantity.System, m float64) string {
	whole, per, digits := int(math.Round(m)), 1000, 3
	if s == quantity.US {
		whole, per, digits = int(math.Round(m/0.3048)), 100, 2
	}
	return fmt.Sprintf("%d+%0*d", whole/per, digits, whole%per)
}

// JSONUnit is the unit of a kind in JSON, and how many of it an SI unit is.
func JSONUnit(k Kind) (name string, perSI float64) {
	info, _ := infoOf(string(k))
	switch {
	case info.bare:
		return "per_min", 1
	case info.dim == quantity.Flow:
		return "l_min", 60e3
	}
	return "m", 1
}

// WorksCited are the formulas that a diagnosis rests on.
func WorksCited() []string {
	return []string{
		"Running: three phases of acceleration, pumping and recoil, own derivation in the parameters of Thomas, Warwick DTU working paper 41 (1994)",
		"Air locks: hydrostatics, the heads of the falling limbs added up as in Jordan, A Handbook of Gravity-Flow Water Systems (from memory)",
		"Leaks as orifices; stoppages as losses with the velocity squared; the air vessel as a polytropic cushion; waves in water with air slower after Wylie & Streeter (from memory)",
		"Likelihood of a cause: Laplace's approximation to its evidence; model errors from a comparison with a simulation by characteristics",
	}
}
