package values

import (
	"context"
	"math"

	"route/internal/check"
	"route/internal/hydraulics"
	"route/internal/quantity"
)

func standpipeSurge(g *given) answers {
	p, err := hydraulics.ProductByName(g.text("supply pipe"))
	g.fail(err)
	run := hydraulics.Run{Pipe: p.Pipe, LengthM: g.of(quantity.Length, "supply length")}
	flow := g.of(quantity.Velocity, "velocity") * p.Pipe.Area()
	return answers{"surge": answer(quantity.Length, hydraulics.StandpipeSurge(run, g.of(quantity.Diameter, "bore"), flow))}
}

func standpipeRipple(g *given) answers {
	return answers{"ripple": answer(quantity.Length, hydraulics.StandpipeRipple(g.of(quantity.Diameter, "bore"), g.of(quantity.Flow, "flow"), g.of(quantity.Duration, "period")))}
}

func airFlushing(g *given) answers {
	inside, slope := g.of(quantity.Diameter, "inside"), g.of(quantity.Slope, "slope")
	return answers{
		"Escarameia": answer(quantity.Velocity, hydraulics.FlushingVelocity(inside, slope, 1)),
		"Wisner":     answer(quantity.Velocity, hydraulics.FlushingVelocityWisner(inside, slope)),
	}
}

func screen(g *given) answers {
	net, gross := hydraulics.ScreenArea(g.of(quantity.Flow, "flow"), g.of(quantity.Velocity, "velocity"), hydraulics.ScreenOpening)
	return answers{"open area": answer(quantity.Area, net), "whole area": answer(quantity.Area, gross)}
}

func screenLoss(g *given) answers {
	return answers{"K": number.answer(hydraulics.ScreenK(g.of(quantity.Ratio, "open share")))}
}

func settling(g *given) answers {
	return answers{"velocity": answer(quantity.Velocity, hydraulics.SettlingVelocity(g.fluid(), g.of(quantity.Length, "grain")))}
}

func thrust(g *given) answers {
	p := g.pipe("")
	f := hydraulics.Fluid{Density: 1000}
	head := g.of(quantity.Pressure, "pressure") / (f.Density * gravity)
	return answers{"dead end": force.answer(hydraulics.EndThrust(f, p, head)), "right bend": force.answer(hydraulics.BendThrust(f, p, head, math.Pi/2))}
}

func driveLength(g *given) answers {
	bore := g.of(quantity.Diameter, "bore")
	shortest, longest := hydraulics.DriveLengths(bore)
	return answers{"shortest": answer(quantity.Length, shortest), "longest": answer(quantity.Length, longest),
		"installers' longest": answer(quantity.Length, hydraulics.InstallersLongestDriveM)}
}

func float(g *given) answers {
	depth := g.of(quantity.Length, "depth")
	r := hydraulics.FloatReading(g.of(quantity.Velocity, "surface velocity"), g.of(quantity.Area, "area"), depth)
	return answers{"coefficient": number.answer(hydraulics.FloatCoefficient(depth)), "flow": answer(quantity.Flow, r.Flow)}
}

func people(g *given) answers {
	u, err := hydraulics.UseByName("person")
	g.fail(err)
	u.Usual = g.of(quantity.DailyVolume, "each")
	_, usual, _ := hydraulics.TotalDemand([]hydraulics.Demand{{Use: u, Count: g.number("people", 0)}})
	return answers{"demand": answer(quantity.DailyVolume, usual), "tank for two days": answer(quantity.Volume, hydraulics.TankVolume(usual, 2))}
}

func useOfWater(g *given) answers {
	u, err := hydraulics.UseByName(g.text("use"))
	g.fail(err)
	return answers{"low": answer(quantity.DailyVolume, u.Low), "usual": answer(quantity.DailyVolume, u.Usual), "high": answer(quantity.DailyVolume, u.High)}
}

func simulation(g *given) answers {
	s := hydraulics.Simulation{
		Installation: installation(g), ClosingVelocity: g.of(quantity.Velocity, "closing velocity"), Reaches: int(g.number("reaches", 0)),
		StandpipeBoreM: g.or(quantity.Diameter, "standpipe", 0), WarmUpS: g.or(quantity.Duration, "warm-up", 0),
	}
	if g.err != nil {
		return nil
	}
	r, err := s.Run(context.Background())
	g.fail(err)
	stuck := "no"
	if r.StuckOpen {
		stuck = "yes"
	}
	return answers{
		"delivered": answer(quantity.Flow, r.DeliveredFlow), "waste": answer(quantity.Flow, r.WasteFlow), "drive flow": answer(quantity.Flow, r.DriveFlow),
		"beats": perMinute.answer(r.BeatsPerMinute), "level": answer(quantity.Head, r.LevelM), "highest head": answer(quantity.Head, r.HighestHeadM),
		"volume missed": answer(quantity.Ratio, r.VolumeError), "energy missed": answer(quantity.Ratio, r.EnergyError),
		"stuck open": check.Answer{Text: stuck},
	}
}

func start(g *given) answers {
	in := installation(g)
	if g.err != nil {
		return nil
	}
	o, err := in.AtTuning(g.number("tuning", 0.6))
	g.fail(err)
	air := g.of(quantity.Volume, "vessel air")
	if g.err != nil {
		return nil
	}
	s, err := in.Starting(o.ClosingVelocity, air)
	g.fail(err)
	alone := "yes"
	if math.IsInf(s.StrokesOpen, 1) {
		alone = "no"
	}
	return answers{"strokes": number.answer(s.StrokesOpen), "runs by itself": check.Answer{Text: alone}, "water at the tank": answer(quantity.Duration, s.TankAfterS)}
}
