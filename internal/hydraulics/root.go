package hydraulics

import "math"

// rootBetween finds where f crosses zero between lo and hi, given the values
// there, which must not have the same sign. Chandrupatla, Adv. Eng. Softw. 28
// (1997) 145–149: inverse quadratic steps where they are safe, bisection
// elsewhere; never slower than bisection by more than a constant. The answer
// is within 4 ulp of a sign change.
func rootBetween(f func(float64) float64, lo, hi, flo, fhi float64) float64 {
	return rootWithin(0x1p-51, f, lo, hi, flo, fhi)
}

// rootWithin is rootBetween to a share of the answer.
func rootWithin(share float64, f func(float64) float64, lo, hi, flo, fhi float64) float64 {
	a, b, fa, fb := lo, hi, flo, fhi
	if fa == 0 {
		return a
	}
	if fb == 0 {
		return b
	}
	if fa*fb > 0 {
		panic("hydraulics: root is not bracketed")
	}
	c, fc := a, fa
	t := 0.5
	for range 200 {
		x := a + t*(b-a)
		fx := f(x)
		if (fx > 0) == (fa > 0) {
			c, fc = a, fa
		} else {
			c, fc = b, fb
			b, fb = a, fa
		}
		a, fa = x, fx
		best, fbest := a, fa
		if math.Abs(fb) < math.Abs(fa) {
			best, fbest = b, fb
		}
		tol := share * math.Abs(best)
		limit := tol / math.Abs(b-a)
		if fbest == 0 || !(limit < 0.5) {
			return best
		}
		xi, phi := (a-b)/(c-b), (fa-fb)/(fc-fb)
		t = 0.5
		if phi*phi < xi && (1-phi)*(1-phi) < 1-xi {
			t = fa/(fb-fa)*fc/(fb-fc) + (c-a)/(b-a)*fa/(fc-fa)*fb/(fc-fb)
		}
		t = min(max(t, limit), 1-limit)
	}
	return a
}
