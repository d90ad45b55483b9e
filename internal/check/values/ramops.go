package values

import (
	"math"
	"slices"

	"route/internal/check"
	"route/internal/hydraulics"
	"route/internal/quantity"
)

// installation reads a ram with its pipes. Pump parameters that are not given
// are the usual ones; "ideal pump = yes" takes slip and volumetric factor away.
func installation(g *given) hydraulics.Installation {
	in := hydraulics.Installation{Fluid: g.fluid(), SourceM: g.of(quantity.Head, "drive head"), LiftM: g.of(quantity.Head, "lift"), Pumps: int(g.number("pumps", 1))}
	run := func(name string) hydraulics.Run {
		if !g.has(name + " pipe") {
			return hydraulics.Run{}
		}
		p, err := hydraulics.ProductByName(g.text(name + " pipe"))
		g.fail(err)
		return hydraulics.Run{Pipe: p.Pipe, LengthM: g.of(quantity.Length, name+" length"), MinorK: g.number(name+" minor K", 0)}
	}
	in.Supply, in.Drive, in.Delivery = run("supply"), run("drive"), run("delivery")
	in.Ram = hydraulics.DefaultRam(in.Drive.Pipe.Inside)
	if g.has("ideal pump") {
		g.text("ideal pump")
		in.Ram.SlipM3, in.Ram.VolumetricFactor = 0, 1
	}
	in.Ram.WasteValveK = g.number("waste valve K", in.Ram.WasteValveK)
	in.Ram.DeliveryValveK = g.number("delivery valve K", in.Ram.DeliveryValveK)
	in.Ram.EntranceK = g.number("entrance K", in.Ram.EntranceK)
	in.Ram.SlipM3 = g.or(quantity.Volume, "slip", in.Ram.SlipM3)
	in.Ram.VolumetricFactor = g.or(quantity.Ratio, "volumetric factor", in.Ram.VolumetricFactor)
	return in
}

func ram(g *given) answers {
	in := installation(g)
	if g.err != nil {
		return nil
	}
	var o hydraulics.Operation
	var err error
	switch {
	case g.has("closing velocity"):
		o, err = in.Running(g.of(quantity.Velocity, "closing velocity"))
	case g.has("drive flow"):
		o, err = in.TunedTo(g.of(quantity.Flow, "drive flow"), [2]float64{0.2, 0.9})
	default:
		o, err = in.AtTuning(g.number("tuning", 0.6))
	}
	g.fail(err)
	if g.err != nil {
		return nil
	}
	usual := "yes"
	if slices.ContainsFunc(in.Cautions(o), func(c hydraulics.Caution) bool { return c.Code == hydraulics.CautionLiftRatio }) {
		usual = "no"
	}
	return answers{
		"usual lift": check.Answer{Text: usual},
		"drive flow": answer(quantity.Flow, o.DriveTotal), "waste": answer(quantity.Flow, o.DriveTotal-o.DeliveredTotal), "delivered": answer(quantity.Flow, o.DeliveredTotal),
		"delivered a day": answer(quantity.DailyVolume, o.DeliveredTotal), "beats": perMinute.answer(o.BeatsPerMinute()),
		"D'Aubuisson": answer(quantity.Ratio, o.EfficiencyDAubuisson), "Rankine": answer(quantity.Ratio, o.EfficiencyRankine),
		"lambda": number.answer(o.Lambda), "mu": number.answer(o.Mu), "lift ratio": number.answer(o.LiftRatio),
		"shut-off head": answer(quantity.Head, o.ShutoffHeadM), "level": answer(quantity.Head, o.LevelM),
		"supply loss": answer(quantity.Head, o.SupplyLossM), "delivery loss": answer(quantity.Head, o.DeliveryLossM),
		"closing velocity": answer(quantity.Velocity, o.ClosingVelocity),
	}
}

// accelerationEfficiency is the Rankine efficiency of a pump that loses
// nothing after the waste valve has shut, from the cycle itself: a long pipe,
// a stiff one, instant valves, a high lift.
func accelerationEfficiency(g *given) answers {
	const driveHead, lift = 1.0, 10.0
	f, err := hydraulics.Water(283.15, 0)
	g.fail(err)
	f.BulkModulus = 1e18
	pipe := hydraulics.Pipe{Inside: 0.5, Roughness: 0}
	r := hydraulics.Ram{WasteValveK: 50, VolumetricFactor: 1}
	const length = 5.0
	v, err := r.ClosingVelocityFor(f, pipe, length, driveHead, g.number("lambda", 0))
	g.fail(err)
	if g.err != nil {
		return nil
	}
	d, err := r.Cycle(f, pipe, length, driveHead, lift, v)
	g.fail(err)
	return answers{"efficiency": number.answer(d.EfficiencyRankine)}
}

// collectedFall is the head that a creek's slope gives over the length of the
// pipes that follow it, less what the supply pipe loses, if it is given.
func collectedFall(g *given) answers {
	slope := g.of(quantity.Slope, "slope")
	supply, drive := g.of(quantity.Length, "supply length"), g.of(quantity.Length, "drive length")
	more := g.or(quantity.Length, "more supply", 0)
	return answers{
		"fall":           answer(quantity.Length, slope*(supply+drive+more)),
		"gain from more": answer(quantity.Length, slope*more),
	}
}

// standpipe is how full an open standpipe stands.
func standpipe(g *given) answers {
	height, level := g.of(quantity.Length, "height"), g.of(quantity.Length, "source above its foot")
	loss := 0.0
	if g.has("supply pipe") {
		p, err := hydraulics.ProductByName(g.text("supply pipe"))
		g.fail(err)
		if g.err == nil {
			loss, err = hydraulics.HeadLoss(g.fluid(), p.Pipe, g.of(quantity.Length, "supply length"), g.of(quantity.Flow, "flow"), g.number("minor K", 0))
			g.fail(err)
		}
	}
	return answers{"water": answer(quantity.Length, math.Min(level-loss, height)), "free": answer(quantity.Length, height-math.Min(level-loss, height))}
}

func intakeDepth(g *given) answers {
	bore := g.of(quantity.Diameter, "bore")
	s := hydraulics.Submergence(bore, g.of(quantity.Flow, "flow"))
	return answers{"submergence": answer(quantity.Length, s), "pool depth": answer(quantity.Length, s+bore+g.or(quantity.Length, "clearance below", 0))}
}

func wholeDay(g *given) answers {
	return answers{"a day": answer(quantity.DailyVolume, g.of(quantity.Flow, "delivered"))}
}
