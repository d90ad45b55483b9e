package hydraulics

import "math"

// Regime is the kind of flow in a full pipe.
type Regime int

// The regimes. In Transition the friction factor is uncertain by about ±20 %.
const (
	Laminar    Regime = iota // Re < 2000
	Transition               // 2000 ≤ Re < 4000
	Turbulent                // Re ≥ 4000
)

func (r Regime) String() string {
	return [...]string{"laminar", "transition", "turbulent"}[r]
}

const (
	laminarRe        = 2000
	turbulentRe      = 4000
	maxRe            = 1e8
	maxRelativeRough = 0.05
)

// RegimeOf tells the regime at a Reynolds number.
func RegimeOf(reynolds float64) Regime {
	switch {
	case reynolds < laminarRe:
		return Laminar
	case reynolds < turbulentRe:
		return Transition
	}
	return Turbulent
}

// FrictionFactor is the Darcy friction factor f of h = f·(L/D)·V²/2g (never
// Fanning's, a quarter of it), for 0 < Re ≤ 1e8 and 0 ≤ ε/D ≤ 0.05.
//
//   - Re < 2000: 64/Re (Hagen, Poiseuille).
//   - Re ≥ 4000: Colebrook, J. Inst. Civ. Eng. 11 (1939) 133–156, solved by
//     Newton's method to better than 1e-10.
//   - between: a cubic after Dunlop (as in EPANET), rebuilt on Colebrook so
//     that value and slope are continuous at both ends. Nature is not so kind
//     there: the value is uncertain by about ±20 %.
func FrictionFactor(reynolds, relativeRoughness float64) (float64, error) {
	if !(reynolds > 0 && reynolds <= maxRe) {
		return 0, &RangeError{"FrictionFactor", "Reynolds number", reynolds, 0, maxRe}
	}
	if !(relativeRoughness >= 0 && relativeRoughness <= maxRelativeRough) {
		return 0, &RangeError{"FrictionFactor", "relative roughness", relativeRoughness, 0, maxRelativeRough}
	}
	return friction(reynolds, relativeRoughness), nil
}

// friction is FrictionFactor for arguments known to be in range.
func friction(re, rough float64) float64 {
	switch {
	case re < laminarRe:
		return 64 / re
	case re < turbulentRe:
		t := transitionCubic(rough)
		f, _ := t.at(re)
		return f
	}
	x := colebrook(re, rough)
	return 1 / (x * x)
}

// perLog10 turns 2·log10 into a natural logarithm.
const perLog10 = 2 / math.Ln10

// colebrook is 1/√f. The bits of Re give its logarithm to 0.09, that a smooth
// pipe's 1/√f to 3 %, one fixed-point step any pipe's to 0.4 %; a Householder
// step of third order then raises the relative error to its fourth power.
func colebrook(re, rough float64) float64 {
	a, b := rough/3.7, 2.51/re
	bits := math.Float64bits(re)
	log2 := float64(int(bits>>52)-1023) + float64(bits&(1<<52-1))*0x1p-52
	smooth := 0.55*log2 - 1.6
	x := -perLog10 * math.Log(a+b*smooth)
	u := b / (a + b*x)
	w := 1 / (1 + perLog10*u)
	h := -(x + perLog10*math.Log(a+b*x)) * w
	a2, a3 := -perLog10*u*u*w, 2*perLog10*u*u*u*w
	return x + h*(1+a2*h/2)/(1+h*(a2+a3*h/6))
}

// colebrookSlope is df/dRe where colebrook gave x.
func colebrookSlope(re, rough, x float64) float64 {
	b := 2.51 / re
	s := rough/3.7 + b*x
	dxdRe := perLog10 * b * x / (re * s) / (1 + perLog10*b/s)
	return -2 / (x * x * x) * dxdRe
}

// transition holds the cubic in u = Re/2000 − 1 that leaves 64/Re at u = 0 and
// meets Colebrook at u = 1, each with its slope (Hermite form).
type transition struct{ c0, c1, c2, c3 float64 }

func transitionCubic(rough float64) transition {
	x := colebrook(turbulentRe, rough)
	const f1, g1 = 64.0 / laminarRe, -64.0 / laminarRe // value and slope in u
	f2 := 1 / (x * x)
	g2 := colebrookSlope(turbulentRe, rough, x) * laminarRe
	return transition{f1, g1, 3*(f2-f1) - 2*g1 - g2, g1 + g2 - 2*(f2-f1)}
}

// at is the friction factor and its slope in Re.
func (t *transition) at(re float64) (f, slope float64) {
	u := re/laminarRe - 1
	return t.c0 + u*(t.c1+u*(t.c2+u*t.c3)), (t.c1 + u*(2*t.c2+3*u*t.c3)) / laminarRe
}

// SwameeJain is the explicit friction factor of Swamee & Jain, J. Hydraul.
// Div. ASCE 102 (1976) 657–664, with 64/Re below 2000 and Dunlop's cubic as in
// EPANET between. It is up to 3.4 % from Colebrook. The program keeps it only
// to reproduce published numbers that were worked out with it.
func SwameeJain(reynolds, relativeRoughness float64) (float64, error) {
	if _, err := FrictionFactor(reynolds, relativeRoughness); err != nil {
		return 0, err
	}
	if reynolds < laminarRe {
		return 64 / reynolds, nil
	}
	if reynolds >= turbulentRe {
		x := math.Log10(relativeRoughness/3.7 + 5.74/math.Pow(reynolds, 0.9))
		return 0.25 / (x * x), nil
	}
	y2 := relativeRoughness/3.7 + 5.74/math.Pow(turbulentRe, 0.9)
	y3 := -0.86859 * math.Log(y2)
	fa := 1 / (y3 * y3)
	fb := fa * (2 - 0.00514215/(y2*y3))
	r := reynolds / laminarRe
	return (7*fa - fb) + r*((0.128-17*fa+2.5*fb)+r*((-0.128+13*fa-2*fb)+r*(0.032-3*fa+0.5*fb))), nil
}
