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
	d0, d1, d2 := b.d0[:n], b.d1[:n], b.d2[:n]
	for i := range n {
		d := 1 / d0[i]
		d0[i] = d
		if i+1 < n {
			l1 := d1[i] * d
			d0[i+1] -= l1 * d1[i]
			if i+2 < n {
				l2 := d2[i] * d
				d1[i+1] -= l2 * d1[i]
				d0[i+2] -= l2 * d2[i]
				d2[i] = l2
			}
			d1[i] = l1
		}
	}
}

// solve replaces v by the solution, after factor. The last two values are
// carried along: each hangs on them.
func (b band) solve(v []float64) {
	n := len(v)
	d0, d1, d2 := b.d0[:n], b.d1[:n], b.d2[:n]
	last, before := v[0], 0.0
	for i := 1; i < n; i++ {
		x := v[i]
		if i > 1 {
			x -= d2[i-2] * before
		}
		x -= d1[i-1] * last
		v[i], last, before = x, x, last
	}
	last, before = 0, 0
	for i := n - 1; i >= 0; i-- {
		x := v[i] * d0[i]
		if i+1 < n {
			x -= d1[i] * last
		}
		if i+2 < n {
			x -= d2[i] * before
		}
		v[i], last, before = x, x, last
	}
}

// interior carries the primal-dual interior-point iteration of Mehrotra
// (1992, SIAM Journal on Optimization 2, 575–601) for a stiffProblem: the loss
// is τ·w·over + (1−τ)·w·under with z + over − under = y, and drop = z[k]−z[k+1].
// Every round factors one matrix of five diagonals, so it costs O(n).
type interior struct {
	stiffProblem
	scaleM                   float64 // of the residuals
	products                 float64 // that vanish at the solution, at the last residuals
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

// complementarity is the sum of the products that vanish at the solution,
// after a step of the given length.
func (t *interior) complementarity(length float64) float64 {
	n := len(t.z)
	w, over, under, pull, drop, press := t.w[:n], t.over[:n], t.under[:n], t.pull[:n], t.drop[:n], t.press[:n]
	dOver, dUnder, dPull, dDrop, dPress := t.dOver[:n], t.dUnder[:n], t.dPull[:n], t.dDrop[:n], t.dPress[:n]
	sum := 0.0
	for i := range n {
		above, below, force := over[i]+length*dOver[i], under[i]+length*dUnder[i], pull[i]+length*dPull[i]
		sum += above*(w[i]*t.tau-force) + below*(w[i]*(1-t.tau)+force)
		sum += (drop[i] + length*dDrop[i]) * (press[i] + length*dPress[i])
	}
	return sum
}

// residuals fills what is lacking in the equations, and gives how far the
// iteration is from its end.
func (t *interior) residuals() float64 {
	n := len(t.z)
	t.bend.times(t.z, t.offZ)
	y, z, w, over, under, pull, drop, press := t.y[:n], t.z[:n], t.w[:n], t.over[:n], t.under[:n], t.pull[:n], t.drop[:n], t.press[:n]
	offY, offZ, offDrop := t.offY[:n], t.offZ[:n], t.offDrop[:n]
	lack := 0.0
	for i := range n {
		offY[i] = y[i] - z[i] - over[i] + under[i]
		offZ[i] -= pull[i]
		lack += math.Abs(offY[i]) * w[i]
		if i+1 < n {
			offDrop[i] = z[i] - z[i+1] - drop[i]
			offZ[i] -= press[i]
			lack += math.Abs(offDrop[i]) * w[i]
		}
		if i > 0 {
			offZ[i] += press[i-1]
		}
		lack += math.Abs(offZ[i]) * t.scaleM
	}
	t.products = t.complementarity(0)
	return max(lack, t.products)
}

// step is one round: where the straight step leads, then the step that also
// keeps to the middle. It is false when rounding has left no way on.
func (t *interior) step() bool {
	n := len(t.z)
	copy(t.work.d0, t.bend.d0)
	copy(t.work.d1, t.bend.d1)
	copy(t.work.d2, t.bend.d2)
	w, over, under, pull, drop, press := t.w[:n], t.over[:n], t.under[:n], t.pull[:n], t.drop[:n], t.press[:n]
	cOver, cUnder, cDrop := t.cOver[:n], t.cUnder[:n], t.cDrop[:n]
	perAlpha, perBeta, perDrop, perGive := t.perAlpha[:n], t.perBeta[:n], t.perDrop[:n], t.perGive[:n]
	d0, d1 := t.work.d0[:n], t.work.d1[:n]
	for i := range n {
		alpha, beta := w[i]*t.tau-pull[i], w[i]*(1-t.tau)+pull[i]
		cOver[i], cUnder[i], cDrop[i] = -over[i]*alpha, -under[i]*beta, -drop[i]*press[i]
		a, b := 1/alpha, 1/beta
		give := 1 / (over[i]*a + under[i]*b)
		perAlpha[i], perBeta[i], perGive[i] = a, b, give
		d0[i] += give
		if i+1 < n {
			perDrop[i] = 1 / drop[i]
			k := press[i] * perDrop[i]
			d0[i] += k
			d0[i+1] += k
			d1[i] -= k
		}
	}
	t.work.factor()
	t.direction()
	now := t.products
	straight := t.longest()
	share := t.complementarity(straight) / now
	centre := share * share * share * now / float64(3*n-1)
	z, dz, dOver, dUnder, dPull, dDrop, dPress := t.z[:n], t.dz[:n], t.dOver[:n], t.dUnder[:n], t.dPull[:n], t.dDrop[:n], t.dPress[:n]
	for i := range n {
		cOver[i] += centre + dOver[i]*dPull[i]
		cUnder[i] += centre - dUnder[i]*dPull[i]
		cDrop[i] += centre - dDrop[i]*dPress[i]
	}
	t.direction()
	length := min(1, 0.99*t.longest())
	for i := range n {
		if v := dz[i] + dPull[i] + dPress[i] + dDrop[i] + dOver[i] + dUnder[i]; math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	for i := range n {
		z[i] += length * dz[i]
		over[i] += length * dOver[i]
		under[i] += length * dUnder[i]
		pull[i] += length * dPull[i]
		drop[i] += length * dDrop[i]
		press[i] += length * dPress[i]
	}
	return true
}

// direction solves for the step that makes the wanted changes.
func (t *interior) direction() {
	n := len(t.z)
	over, under, press := t.over[:n], t.under[:n], t.press[:n]
	offY, offZ, offDrop := t.offY[:n], t.offZ[:n], t.offDrop[:n]
	cOver, cUnder, cDrop := t.cOver[:n], t.cUnder[:n], t.cDrop[:n]
	perAlpha, perBeta, perDrop, perGive := t.perAlpha[:n], t.perBeta[:n], t.perDrop[:n], t.perGive[:n]
	dz, dOver, dUnder, dPull, dDrop, dPress := t.dz[:n], t.dOver[:n], t.dUnder[:n], t.dPull[:n], t.dDrop[:n], t.dPress[:n]
	for i := range n {
		dPull[i] = offY[i] - cOver[i]*perAlpha[i] + cUnder[i]*perBeta[i]
		dz[i] = dPull[i]*perGive[i] - offZ[i]
	}
	for i := 0; i+1 < n; i++ {
		k := (cDrop[i] - press[i]*offDrop[i]) * perDrop[i]
		dz[i] += k
		dz[i+1] -= k
	}
	t.work.solve(dz)
	for i := range n {
		dPull[i] = (dPull[i] - dz[i]) * perGive[i]
		dOver[i] = (cOver[i] + over[i]*dPull[i]) * perAlpha[i]
		dUnder[i] = (cUnder[i] - under[i]*dPull[i]) * perBeta[i]
		if i+1 < n {
			dDrop[i] = dz[i] - dz[i+1] + offDrop[i]
			dPress[i] = (cDrop[i] - press[i]*dDrop[i]) * perDrop[i]
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
	n := len(t.z)
	w, over, under, pull, drop, press := t.w[:n], t.over[:n], t.under[:n], t.pull[:n], t.drop[:n], t.press[:n]
	dOver, dUnder, dPull, dDrop, dPress := t.dOver[:n], t.dUnder[:n], t.dPull[:n], t.dDrop[:n], t.dPress[:n]
	for i := range n {
		shorten(over[i], dOver[i])
		shorten(under[i], dUnder[i])
		shorten(w[i]*t.tau-pull[i], -dPull[i])
		shorten(w[i]*(1-t.tau)+pull[i], dPull[i])
		if i+1 < n {
			shorten(drop[i], dDrop[i])
			shorten(press[i], dPress[i])
		}
	}
	return s
}
