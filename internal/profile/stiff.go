package profile

import "math"

// stiffProblem is the fit of a falling line that resists bending: with the
// heights y of stations at, weights w > 0 and quantile tau it asks for the z
// with the least
//
//	Σ w·ρ_τ(y−z) + ½·Σ p·(D₂z)²   so that z does not rise,
//
// where D₂z is the second difference (of unequal steps, counted in the usual
// step) and p its stiffness, one entry a station, that of the ends unused.
// Curvature regularisation of a river profile with a quantile loss is
// Schwanghart and Scherler 2017, Earth Surface Dynamics 5, eq. A13–A15.
type stiffProblem struct {
	at    []Station
	y, w  []float64
	p     []float64
	tau   float64
	stepM float64
}

// stiffFit is a solution with its proof: pull lies between −(1−τ)·w and τ·w
// and press ≥ 0, and with them the gap to the least value is known.
type stiffFit struct {
	z     []float64
	pull  []float64 // multiplier of each height
	press []float64 // multiplier of each z[k] ≥ z[k+1]
	gap   float64   // complementarity left, in the units of the objective
}

// The iteration ends after so many rounds, or when what is lacking and the gap
// are this share of the loss that the usual scatter makes.
const (
	stiffRounds = 60
	stiffGap    = 1e-7
)

// band is a symmetric matrix with two diagonals on either side, lower part:
// d0[i] = (i,i), d1[i] = (i+1,i), d2[i] = (i+2,i).
type band struct{ d0, d1, d2 []float64 }

func newBand(n int) band {
	return band{make([]float64, n), make([]float64, n), make([]float64, n)}
}

// bending is the matrix of Σ p·(D₂z)².
func (q stiffProblem) bending() band {
	b := newBand(len(q.y))
	for i := 1; i+1 < len(q.y); i++ {
		h0 := float64(q.at[i]-q.at[i-1]) / q.stepM
		h1 := float64(q.at[i+1]-q.at[i]) / q.stepM
		c0, c2 := 2/(h0*(h0+h1)), 2/(h1*(h0+h1))
		c1 := -c0 - c2
		p := q.p[i] * (h0 + h1) / 2
		b.d0[i-1] += p * c0 * c0
		b.d0[i] += p * c1 * c1
		b.d0[i+1] += p * c2 * c2
		b.d1[i-1] += p * c0 * c1
		b.d1[i] += p * c1 * c2
		b.d2[i-1] += p * c0 * c2
	}
	return b
}

// times is the product with a vector, into out.
func (b band) times(v, out []float64) {
	n := len(v)
	for i := range v {
		out[i] = b.d0[i] * v[i]
	}
	for i := 0; i+1 < n; i++ {
		out[i+1] += b.d1[i] * v[i]
		out[i] += b.d1[i] * v[i+1]
	}
	for i := 0; i+2 < n; i++ {
		out[i+2] += b.d2[i] * v[i]
		out[i] += b.d2[i] * v[i+2]
	}
}

// factor replaces a positive definite matrix by its factors L·D·Lᵀ, with 1/D
// in place of D.
func (b band) factor() {
	n := len(b.d0)
	for i := range n {
		d := 1 / b.d0[i]
		b.d0[i] = d
		if i+1 < n {
			l1 := b.d1[i] * d
			b.d0[i+1] -= l1 * b.d1[i]
			if i+2 < n {
				l2 := b.d2[i] * d
				b.d1[i+1] -= l2 * b.d1[i]
				b.d0[i+2] -= l2 * b.d2[i]
				b.d2[i] = l2
			}
			b.d1[i] = l1
		}
	}
}

// solve replaces v by the solution, after factor.
func (b band) solve(v []float64) {
	n := len(v)
	for i := range n {
		if i+1 < n {
			v[i+1] -= b.d1[i] * v[i]
		}
		if i+2 < n {
			v[i+2] -= b.d2[i] * v[i]
		}
	}
	for i := n - 1; i >= 0; i-- {
		x := v[i] * b.d0[i]
		if i+1 < n {
			x -= b.d1[i] * v[i+1]
		}
		if i+2 < n {
			x -= b.d2[i] * v[i+2]
		}
		v[i] = x
	}
}

// interior carries the primal-dual interior-point iteration of Mehrotra
// (1992, SIAM Journal on Optimization 2, 575–601) for a stiffProblem: the loss
// is τ·w·over + (1−τ)·w·under with z + over − under = y, and drop = z[k]−z[k+1].
// Every round factors one matrix of five diagonals, so it costs O(n).
type interior struct {
	stiffProblem
	scaleM                   float64 // of the residuals
	bend                     band
	z, over, under, pull     []float64
	drop, press              []float64
	work                     band
	perAlpha, perBeta        []float64 // 1/alpha and 1/beta of this round
	perDrop, perGive         []float64 // 1/drop, and 1/(over/alpha+under/beta)
	offY, offDrop, offZ      []float64 // residuals of the equations
	cOver, cUnder, cDrop     []float64 // wanted change of the products
	dz, dOver, dUnder, dPull []float64
	dDrop, dPress            []float64
}

// solve finds the fit, beginning from a falling line. It is deterministic.
func (q stiffProblem) solve(start []float64, scaleM float64) stiffFit {
	n := len(q.y)
	t := &interior{stiffProblem: q, scaleM: scaleM, bend: q.bending(), work: newBand(n)}
	for _, v := range []*[]float64{&t.z, &t.over, &t.under, &t.pull, &t.drop, &t.press, &t.offY, &t.offDrop, &t.offZ,
		&t.cOver, &t.cUnder, &t.cDrop, &t.perAlpha, &t.perBeta, &t.perDrop, &t.perGive, &t.dz, &t.dOver, &t.dUnder, &t.dPull, &t.dDrop, &t.dPress} {
		*v = make([]float64, n)
	}
	copy(t.z, start)
	for i := range n {
		r := q.y[i] - t.z[i]
		t.over[i], t.under[i] = max(r, 0)+scaleM, max(-r, 0)+scaleM
		t.pull[i] = q.w[i] * (q.tau - 0.5)
		if i+1 < n {
			t.drop[i], t.press[i] = t.z[i]-t.z[i+1]+scaleM, q.w[i]/2
		}
	}
	enough := 0.0
	for i := range n {
		enough += q.w[i]
	}
	enough *= stiffGap * scaleM
	for range stiffRounds {
		if t.residuals() < enough {
			break
		}
		if !t.step() {
			break
		}
	}
	return stiffFit{t.z, t.pull, t.press, t.complementarity(0)}
}

func (t *interior) alpha(i int) float64 { return t.w[i]*t.tau - t.pull[i] }
func (t *interior) beta(i int) float64  { return t.w[i]*(1-t.tau) + t.pull[i] }

// complementarity is the sum of the products that vanish at the solution,
// after a step of the given length.
func (t *interior) complementarity(length float64) float64 {
	sum := 0.0
	for i := range t.z {
		over, under, pull := t.over[i]+length*t.dOver[i], t.under[i]+length*t.dUnder[i], t.pull[i]+length*t.dPull[i]
		sum += over*(t.w[i]*t.tau-pull) + under*(t.w[i]*(1-t.tau)+pull)
		sum += (t.drop[i] + length*t.dDrop[i]) * (t.press[i] + length*t.dPress[i])
	}
	return sum
}

// residuals fills what is lacking in the equations, and gives how far the
// iteration is from its end.
func (t *interior) residuals() float64 {
	n := len(t.z)
	t.bend.times(t.z, t.offZ)
	lack := 0.0
	for i := range n {
		t.offY[i] = t.y[i] - t.z[i] - t.over[i] + t.under[i]
		t.offZ[i] -= t.pull[i]
		lack += math.Abs(t.offY[i]) * t.w[i]
		if i+1 < n {
			t.offDrop[i] = t.z[i] - t.z[i+1] - t.drop[i]
			t.offZ[i] -= t.press[i]
			lack += math.Abs(t.offDrop[i]) * t.w[i]
		}
		if i > 0 {
			t.offZ[i] += t.press[i-1]
		}
		lack += math.Abs(t.offZ[i]) * t.scaleM
	}
	return max(lack, t.complementarity(0))
}

// step is one round: where the straight step leads, then the step that also
// keeps to the middle. It is false when rounding has left no way on.
func (t *interior) step() bool {
	n := len(t.z)
	copy(t.work.d0, t.bend.d0)
	copy(t.work.d1, t.bend.d1)
	copy(t.work.d2, t.bend.d2)
	for i := range n {
		a, b := 1/t.alpha(i), 1/t.beta(i)
		give := 1 / (t.over[i]*a + t.under[i]*b)
		t.perAlpha[i], t.perBeta[i], t.perGive[i] = a, b, give
		t.work.d0[i] += give
		if i+1 < n {
			t.perDrop[i] = 1 / t.drop[i]
			k := t.press[i] * t.perDrop[i]
			t.work.d0[i] += k
			t.work.d0[i+1] += k
			t.work.d1[i] -= k
		}
	}
	t.work.factor()
	for i := range n {
		t.cOver[i] = -t.over[i] * t.alpha(i)
		t.cUnder[i] = -t.under[i] * t.beta(i)
		t.cDrop[i] = -t.drop[i] * t.press[i]
	}
	t.direction()
	now := t.complementarity(0)
	straight := t.longest()
	share := t.complementarity(straight) / now
	centre := share * share * share * now / float64(3*n-1)
	for i := range n {
		t.cOver[i] += centre + t.dOver[i]*t.dPull[i]
		t.cUnder[i] += centre - t.dUnder[i]*t.dPull[i]
		t.cDrop[i] += centre - t.dDrop[i]*t.dPress[i]
	}
	t.direction()
	length := min(1, 0.99*t.longest())
	for i := range n {
		if v := t.dz[i] + t.dPull[i] + t.dPress[i] + t.dDrop[i] + t.dOver[i] + t.dUnder[i]; math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	for i := range n {
		t.z[i] += length * t.dz[i]
		t.over[i] += length * t.dOver[i]
		t.under[i] += length * t.dUnder[i]
		t.pull[i] += length * t.dPull[i]
		t.drop[i] += length * t.dDrop[i]
		t.press[i] += length * t.dPress[i]
	}
	return true
}

// direction solves for the step that makes the wanted changes.
func (t *interior) direction() {
	n := len(t.z)
	for i := range n {
		t.dPull[i] = t.offY[i] - t.cOver[i]*t.perAlpha[i] + t.cUnder[i]*t.perBeta[i]
		t.dz[i] = t.dPull[i]*t.perGive[i] - t.offZ[i]
	}
	for i := 0; i+1 < n; i++ {
		k := (t.cDrop[i] - t.press[i]*t.offDrop[i]) * t.perDrop[i]
		t.dz[i] += k
		t.dz[i+1] -= k
	}
	t.work.solve(t.dz)
	for i := range n {
		t.dPull[i] = (t.dPull[i] - t.dz[i]) * t.perGive[i]
		t.dOver[i] = (t.cOver[i] + t.over[i]*t.dPull[i]) * t.perAlpha[i]
		t.dUnder[i] = (t.cUnder[i] - t.under[i]*t.dPull[i]) * t.perBeta[i]
		if i+1 < n {
			t.dDrop[i] = t.dz[i] - t.dz[i+1] + t.offDrop[i]
			t.dPress[i] = (t.cDrop[i] - t.press[i]*t.dDrop[i]) * t.perDrop[i]
		}
	}
}

// longest is the longest step, at most 1/0.99, that keeps all that must be positive so.
func (t *interior) longest() float64 {
	const whole = 1 / 0.99
	s := whole
	shorten := func(v, d float64) {
		if d < 0 && -v > s*d {
			s = -v / d
		}
	}
	for i := range t.z {
		shorten(t.over[i], t.dOver[i])
		shorten(t.under[i], t.dUnder[i])
		shorten(t.alpha(i), -t.dPull[i])
		shorten(t.beta(i), t.dPull[i])
		if i+1 < len(t.z) {
			shorten(t.drop[i], t.dDrop[i])
			shorten(t.press[i], t.dPress[i])
		}
	}
	return s
}
