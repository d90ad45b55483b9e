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
//     Newton's method to better than 3e-9.
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
		return transitionFriction(re, rough)
	}
	x := colebrook(re, rough)
	return 1 / (x * x)
}

// perLog10 turns 2·log10 into a natural logarithm.
const perLog10 = 2 / math.Ln10

// colebrook is 1/√f. The starting value is Serghides' (1984) first term, some
// 2 % off at most; each Newton step squares a relative error that the flat
// logarithm has already divided by about ten.
func colebrook(re, rough float64) float64 {
	a, b := rough/3.7, 2.51/re
	x := -perLog10 * math.Log(a+12/re)
	for range 2 {
		s := a + b*x
		x -= (x + perLog10*math.Log(s)) / (1 + perLog10*b/s)
	}
	return x
}

// transitionFriction is the cubic in R = Re/2000 that leaves 64/Re at R = 1
// and meets Colebrook at R = 2, each with its slope (Hermite form).
func transitionFriction(re, rough float64) float64 {
	a, b := rough/3.7, 2.51/turbulentRe
	x := colebrook(turbulentRe, rough)
	s := a + b*x
	dxdRe := perLog10 * b * x / (turbulentRe * s) / (1 + perLog10*b/s)
	const f1, g1 = 64.0 / laminarRe, -64.0 / laminarRe // value and slope in R at R = 1
	f2 := 1 / (x * x)
	g2 := -2 * f2 / x * dxdRe * laminarRe
	u := re/laminarRe - 1
	c := 3*(f2-f1) - 2*g1 - g2
	d := g1 + g2 - 2*(f2-f1)
	return f1 + u*(g1+u*(c+u*d))
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
