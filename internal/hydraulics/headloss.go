package hydraulics

import "math"

// HeadLoss is the head in metres that a flow (m³/s, not negative) loses in a
// length (m) of pipe with minor losses minorK on the pipe's own velocity head:
// Darcy–Weisbach with FrictionFactor, whose range it shares.
func HeadLoss(f Fluid, p Pipe, length, flow, minorK float64) (float64, error) {
	if err := checkRun("HeadLoss", f, p, length, minorK); err != nil {
		return 0, err
	}
	most := greatestFlow(f, p)
	if !(flow >= 0 && flow <= most) {
		return 0, &RangeError{"HeadLoss", "flow in m³/s", flow, 0, most}
	}
	return headLoss(f, p, length, flow, minorK), nil
}

func checkRun(fn string, f Fluid, p Pipe, length, minorK float64) error {
	switch {
	case !(f.KinematicViscosity > 0):
		return &RangeError{fn, "kinematic viscosity in m²/s", f.KinematicViscosity, 0, math.Inf(1)}
	case !(p.Inside > 0):
		return &RangeError{fn, "inside diameter in m", p.Inside, 0, math.Inf(1)}
	case !(p.Roughness >= 0 && p.Roughness <= maxRelativeRough*p.Inside):
		return &RangeError{fn, "roughness over inside diameter", p.Roughness / p.Inside, 0, maxRelativeRough}
	case !(length >= 0 && length < math.Inf(1)):
		return &RangeError{fn, "length in m", length, 0, math.Inf(1)}
	case !(minorK >= 0 && minorK < math.Inf(1)):
		return &RangeError{fn, "minor loss coefficient", minorK, 0, math.Inf(1)}
	}
	return nil
}

// greatestFlow is where the Reynolds number reaches the end of the formula.
func greatestFlow(f Fluid, p Pipe) float64 {
	return maxRe * math.Pi / 4 * p.Inside * f.KinematicViscosity
}

// headLoss is HeadLoss for arguments known to be in range.
func headLoss(f Fluid, p Pipe, length, flow, minorK float64) float64 {
	if flow <= 0 {
		return 0
	}
	v := flow / p.Area()
	re := v * p.Inside / f.KinematicViscosity
	k := minorK
	if length > 0 {
		k += friction(re, p.Roughness/p.Inside) * length / p.Inside
	}
	return k * v * v / (2 * Gravity)
}

// FlowFor is the flow in m³/s that loses exactly head metres: the inverse of
// HeadLoss, to about 1e-14 of the flow. HeadLoss rises with flow in every
// regime, so there is one answer.
func FlowFor(f Fluid, p Pipe, length, head, minorK float64) (float64, error) {
	if err := checkRun("FlowFor", f, p, length, minorK); err != nil {
		return 0, err
	}
	if length == 0 && minorK == 0 {
		return 0, &RangeError{"FlowFor", "length in m with no minor loss", length, 0, math.Inf(1)}
	}
	if head == 0 {
		return 0, nil
	}
	hi := greatestFlow(f, p)
	most := headLoss(f, p, length, hi, minorK)
	if !(head > 0 && head <= most) {
		return 0, &RangeError{"FlowFor", "head in m", head, 0, most}
	}
	q := min(p.Area()*math.Sqrt(2*Gravity*head/(minorK+0.03*length/p.Inside)), hi)
	// Newton's method is there in three or four steps; the loss is smooth and
	// nearly a power of the flow.
	r := newResistance(&f, &p, length, minorK)
	for range 12 {
		loss, slope := r.lossSlope(q)
		step := (loss - head) / slope
		if q-step <= 0 || q-step > hi {
			break
		}
		q -= step
		if math.Abs(step) <= 1e-8*q { // the next one would be its square
			return q, nil
		}
	}
	residual := func(q float64) float64 { return headLoss(f, p, length, q, minorK) - head }
	return rootBetween(residual, 0, hi, -head, most-head), nil
}

// resistance is a run of pipe made ready for many flows.
type resistance struct {
	reynolds float64 // Re per m³/s
	rough    float64
	ratio    float64 // length over inside diameter
	minorK   float64
	head     float64 // m of velocity head per (m³/s)²
	cubic    transition
}

func newResistance(f *Fluid, p *Pipe, length, minorK float64) resistance {
	area := p.Area()
	return resistance{
		reynolds: p.Inside / (area * f.KinematicViscosity), rough: p.Roughness / p.Inside,
		ratio: length / p.Inside, minorK: minorK, head: 1 / (2 * Gravity * area * area),
	}
}

// lossSlope is the head that a flow loses in m, and its slope in m per m³/s.
func (r *resistance) lossSlope(flow float64) (loss, slope float64) {
	if flow <= 0 {
		return 0, 0
	}
	k, dk := r.minorK, 0.0
	if r.ratio > 0 {
		ff, df := r.factorSlope(flow * r.reynolds)
		k += ff * r.ratio
		dk = df * r.ratio
	}
	t := r.head * flow
	return k * t * flow, (2*k + dk) * t
}

// factorSlope is the friction factor at a Reynolds number, and its slope in the
// logarithm of that number.
func (r *resistance) factorSlope(re float64) (factor, slope float64) {
	switch {
	case re < laminarRe:
		return 64 / re, -64 / re
	case re < turbulentRe:
		if r.cubic.c0 == 0 {
			r.cubic = transitionCubic(r.rough)
		}
		factor, slope = r.cubic.at(re)
		return factor, slope * re
	}
	x := colebrook(re, r.rough)
	return 1 / (x * x), colebrookSlope(re, r.rough, x) * re
}

// SmallestBore is the inside diameter in metres at which a flow loses exactly
// head metres in a length of pipe of the given absolute roughness: the inverse
// of HeadLoss in the diameter. A larger bore loses less.
func SmallestBore(f Fluid, roughness, length, flow, head, minorK float64) (float64, error) {
	const largest = 10.0
	switch {
	case !(flow > 0 && flow < math.Inf(1)):
		return 0, &RangeError{"SmallestBore", "flow in m³/s", flow, 0, math.Inf(1)}
	case !(roughness >= 0 && roughness < maxRelativeRough*largest):
		return 0, &RangeError{"SmallestBore", "roughness in m", roughness, 0, maxRelativeRough * largest}
	}
	loss := func(bore float64) float64 {
		return headLoss(f, Pipe{Inside: bore, Roughness: roughness}, length, flow, minorK)
	}
	// The bore below which Re or ε/D leave the formula, and a tenth of a
	// millimetre, are the lower end.
	lo := max(4*flow/(math.Pi*f.KinematicViscosity*maxRe), roughness/maxRelativeRough, 1e-4)
	if err := checkRun("SmallestBore", f, Pipe{Inside: largest, Roughness: roughness}, length, minorK); err != nil {
		return 0, err
	}
	most, least := loss(lo), loss(largest)
	if !(head <= most && head >= least) {
		return 0, &RangeError{"SmallestBore", "head in m", head, least, most}
	}
	residual := func(bore float64) float64 { return loss(bore) - head }
	// Loss goes roughly with the inverse fifth power: bisect its exponent
	// first so that the root finder starts close.
	hi := lo
	for residual(hi) > 0 {
		lo = hi
		hi = min(hi*1.5, largest)
	}
	return rootBetween(residual, lo, hi, residual(lo), residual(hi)), nil
}

// Reynolds is the Reynolds number of a flow in m³/s.
func Reynolds(f Fluid, p Pipe, flow float64) float64 {
	return flow / p.Area() * p.Inside / f.KinematicViscosity
}

// HazenWilliamsLoss is the head in metres by Hazen–Williams in its SI form,
// h = 10.67·L·Q^1.852/(C^1.852·D^4.871). It is for comparison only: for small
// plastic pipes at 10 °C it understates the loss by 13–30 %.
func HazenWilliamsLoss(c, inside, length, flow float64) float64 {
	if flow <= 0 {
		return 0
	}
	return 10.67 * length * math.Pow(flow/c, 1.852) / math.Pow(inside, 4.871)
}
