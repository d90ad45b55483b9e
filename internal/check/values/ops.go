package values

import (
	"fmt"
	"math"
	"strconv"

	"route/internal/check"
	"route/internal/hydraulics"
	"route/internal/quantity"
)

const gravity = hydraulics.Gravity

func water(g *given) answers {
	f := g.fluid()
	return answers{
		"density":             density.answer(f.Density),
		"viscosity":           dynamic.answer(f.KinematicViscosity * f.Density),
		"kinematic viscosity": kinematic.answer(f.KinematicViscosity),
		"bulk modulus":        modulus.answer(f.BulkModulus),
		"vapour pressure":     answer(quantity.Pressure, f.VapourHead*f.Density*gravity),
		"barometric head":     answer(quantity.Head, f.BarometricHead),
		"air pressure":        answer(quantity.Pressure, f.BarometricHead*f.Density*gravity),
	}
}

func frictionFactor(g *given) answers {
	re, rough := g.number("Reynolds", 0), g.number("relative roughness", 0)
	formula := hydraulics.FrictionFactor
	if g.has("formula") {
		if g.text("formula") != "Swamee-Jain" {
			g.fail(fmt.Errorf("the only other formula is Swamee-Jain"))
		}
		formula = hydraulics.SwameeJain
	}
	f, err := formula(re, rough)
	g.fail(err)
	return answers{"friction factor": number.answer(f), "regime": check.Answer{Text: hydraulics.RegimeOf(re).String()}}
}

func pipeRun(g *given) answers {
	f, p, length := g.fluid(), g.pipe(""), g.of(quantity.Length, "length")
	k, rise := g.minorK("", p.Inside), g.or(quantity.Length, "rise", 0)
	var flow float64
	var err error
	if g.has("flow") {
		flow = g.of(quantity.Flow, "flow")
	} else {
		head := g.of(quantity.Head, "fall")
		if g.err == nil {
			flow, err = hydraulics.FlowFor(f, p, length, head, k)
			g.fail(err)
		}
	}
	if g.err != nil {
		return nil
	}
	loss, err := hydraulics.HeadLoss(f, p, length, flow, k)
	g.fail(err)
	re := hydraulics.Reynolds(f, p, flow)
	ff, err := hydraulics.FrictionFactor(re, p.Roughness/p.Inside)
	g.fail(err)
	v := flow / p.Area()
	total := loss + rise
	return answers{
		"flow": answer(quantity.Flow, flow), "Reynolds": number.answer(re), "friction factor": number.answer(ff),
		"velocity": answer(quantity.Velocity, v), "head loss": answer(quantity.Head, loss), "head": answer(quantity.Head, total),
		"pressure loss": answer(quantity.Pressure, total*f.Density*gravity),
		"power":         answer(quantity.Power, total*f.Density*gravity*flow/g.or(quantity.Ratio, "efficiency", 1)),
	}
}

// fixedFriction is a gravity line with a friction factor read from a chart.
func fixedFriction(g *given) answers {
	bore := g.of(quantity.Diameter, "inside")
	k := g.number("friction factor", 0)*g.of(quantity.Length, "length")/bore + g.minorK("", bore)
	v := math.Sqrt(2 * gravity * g.of(quantity.Head, "fall") / k)
	return answers{"velocity": answer(quantity.Velocity, v), "flow": answer(quantity.Flow, v*math.Pi/4*bore*bore)}
}

// pipesInSeries adds up the losses of pipes 1, 2, …; with a fall it finds the
// flow by bisection on the sum.
func pipesInSeries(g *given) answers {
	f := g.fluid()
	type part struct {
		p         hydraulics.Pipe
		length, k float64
	}
	var parts []part
	for i := 1; g.has("length " + strconv.Itoa(i)); i++ {
		n := " " + strconv.Itoa(i)
		p := g.pipe(n)
		parts = append(parts, part{p, g.of(quantity.Length, "length"+n), g.minorK(n, p.Inside)})
	}
	rise := g.or(quantity.Length, "rise", 0)
	loss := func(flow float64) float64 {
		sum := rise
		for _, p := range parts {
			h, err := hydraulics.HeadLoss(f, p.p, p.length, flow, p.k)
			g.fail(err)
			sum += h
		}
		return sum
	}
	if g.has("flow") {
		return answers{"pressure loss": answer(quantity.Pressure, loss(g.of(quantity.Flow, "flow"))*f.Density*gravity)}
	}
	fall := g.of(quantity.Head, "fall")
	lo, hi := 0.0, 1.0
	for range 100 {
		if mid := (lo + hi) / 2; loss(mid) > fall {
			hi = mid
		} else {
			lo = mid
		}
	}
	return answers{"flow": answer(quantity.Flow, lo)}
}

func hazenWilliams(g *given) answers {
	bore, flow := g.of(quantity.Diameter, "inside"), g.of(quantity.Flow, "flow")
	return answers{
		"pressure loss": answer(quantity.Pressure, hydraulics.HazenWilliamsLoss(g.number("C", 0), bore, g.of(quantity.Length, "length"), flow)*1000*gravity),
		"velocity":      answer(quantity.Velocity, flow/(math.Pi/4*bore*bore)),
	}
}

func valveByFlow(g *given) answers {
	bore := g.of(quantity.Diameter, "bore")
	k := hydraulics.KFromFlowCoefficient(g.number("Kv", 0), bore)
	ratio := k / g.number("friction factor", 0)
	return answers{"K": number.answer(k), "diameters": number.answer(ratio), "equivalent length": answer(quantity.Length, ratio*bore)}
}

func valveByDiameters(g *given) answers {
	f, err := hydraulics.FittingByName(g.text("fitting"))
	g.fail(err)
	bore, ff := g.of(quantity.Diameter, "bore"), g.number("friction factor", 0)
	k := f.Diameters * ff
	return answers{
		"K": number.answer(k), "diameters": number.answer(k / ff), "equivalent length": answer(quantity.Length, f.Diameters*bore),
		"Kv": number.answer(math.Sqrt(hydraulics.KFromFlowCoefficient(1, bore) / k)),
	}
}

func reducedSeat(g *given) answers {
	f, err := hydraulics.FittingByName(g.text("fitting"))
	g.fail(err)
	seat, pipe := g.of(quantity.Diameter, "seat"), g.of(quantity.Diameter, "inside")
	k := hydraulics.ReducedSeat(f.Diameters*g.number("friction factor", 0), seat/pipe)
	v := g.of(quantity.Flow, "flow") / (math.Pi / 4 * pipe * pipe)
	return answers{"K": number.answer(k), "pressure loss": answer(quantity.Pressure, k*g.read("density", density.read)*v*v/2)}
}

// surge stops a velocity in a pipe: rigid, of a dimension ratio and modulus, or
// by name. The water is given by its temperature or by its wave speed in a
// rigid pipe and its bulk modulus.
func surge(g *given) answers {
	f := g.fluid()
	if g.has("bulk modulus") {
		f.BulkModulus = g.read("bulk modulus", modulus.read)
		c := g.of(quantity.Velocity, "rigid wave speed")
		f.Density = f.BulkModulus / (c * c)
	}
	var p hydraulics.Pipe
	switch {
	case g.has("pipe"):
		p = g.pipe("")
	case g.has("dimension ratio"):
		dr := g.number("dimension ratio", 0)
		p = hydraulics.Pipe{Inside: dr - 2, Wall: 1, YoungModulus: g.read("modulus", modulus.read)}
	}
	v := g.or(quantity.Velocity, "velocity", 1)
	return answers{
		"wave speed": answer(quantity.Velocity, hydraulics.WaveSpeed(f, p)),
		"surge":      answer(quantity.Pressure, hydraulics.Surge(f, p, v)*1000*gravity),
		"surge head": answer(quantity.Head, hydraulics.Surge(f, p, v)),
	}
}

func dimensions(g *given) answers {
	p, err := hydraulics.ProductByName(g.text("pipe"))
	g.fail(err)
	rating := p.Pipe.Rating
	if g.has("temperature") {
		rating = p.RatingAt(g.of(quantity.Temperature, "temperature"))
	}
	rigid := "no"
	if p.Pipe.Rigid {
		rigid = "yes"
	}
	return answers{
		"inside": answer(quantity.Diameter, p.Pipe.Inside), "outside": answer(quantity.Diameter, p.OutsideM), "wall": answer(quantity.Diameter, p.Pipe.Wall),
		"rating": answer(quantity.Pressure, rating*1000*gravity), "standard": check.Answer{Text: p.Standard}, "rigid": check.Answer{Text: rigid},
	}
}

func velocity(g *given) answers {
	bore := g.of(quantity.Diameter, "inside")
	return answers{"velocity": answer(quantity.Velocity, g.of(quantity.Flow, "flow")/(math.Pi/4*bore*bore))}
}

func craneFactor(g *given) answers {
	return answers{"friction factor": number.answer(hydraulics.CraneTurbulentFactor(g.of(quantity.Diameter, "inside")))}
}

func efficiency(g *given) answers {
	total, head, q, lift := g.of(quantity.Flow, "drive flow"), g.of(quantity.Head, "drive head"), g.of(quantity.Flow, "delivered"), g.of(quantity.Head, "lift")
	return answers{
		"D'Aubuisson": answer(quantity.Ratio, hydraulics.EfficiencyDAubuisson(total, head, q, lift)),
		"Rankine":     answer(quantity.Ratio, hydraulics.EfficiencyRankine(total-q, head, q, lift)),
	}
}

// deliveredShare is q/Q = η_A·H/h, from the definition of the efficiency.
func deliveredShare(g *given) answers {
	return answers{"share": answer(quantity.Ratio, g.of(quantity.Ratio, "efficiency")*g.of(quantity.Head, "drive head")/g.of(quantity.Head, "lift"))}
}
