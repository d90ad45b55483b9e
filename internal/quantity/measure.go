package quantity

import "math"

// Measure is a value with its standard deviation, both in the same SI unit.
type Measure struct{ Value, Sigma float64 }

// Minus gives the difference of two measures whose errors have the
// correlation rho, from -1 to 1: σ² = σ₁² + σ₂² - 2ρσ₁σ₂ (JCGM 100:2008,
// Guide to the Expression of Uncertainty in Measurement, eq. 16).
func (m Measure) Minus(o Measure, rho float64) Measure {
	variance := m.Sigma*m.Sigma + o.Sigma*o.Sigma - 2*rho*m.Sigma*o.Sigma
	return Measure{m.Value - o.Value, math.Sqrt(max(0, variance))}
}

// Interval gives the central interval that holds the true value with the
// probability coverage, from 0 to 1, when the error is normal.
func (m Measure) Interval(coverage float64) (lo, hi float64) {
	if !(coverage >= 0 && coverage <= 1) {
		panic("quantity: coverage outside 0 to 1")
	}
	if m.Sigma == 0 {
		return m.Value, m.Value
	}
	half := m.Sigma * math.Sqrt2 * math.Erfinv(coverage)
	return m.Value - half, m.Value + half
}
