package profile

import (
	"math"
	"sort"
)

// fallingQuantile fits a non-increasing line z to heights y with weights w so
// that the sum of w·ρ_τ(y−z) is least, ρ_τ the quantile loss: τ·r for r ≥ 0,
// (τ−1)·r below. With τ = 0.5 one-sided spikes such as bridges do not lift
// it. This is quantile carving (Schwanghart and Scherler 2017, Earth Surface
// Dynamics 5, eq. A12) on one trunk, which is a weighted quantile isotonic
// regression and needs no linear programme. Where several lines are equally
// good, the mean of the two that the algorithm finds from either end is
// returned, which is as good as both because the loss is convex.
//
// y must be finite; weights count in thousandths and must be at least 0.001;
// τ counts in thousandths and lies inside (0, 1). O(n log n), exact but for
// the rounding of the final mean.
func fallingQuantile(y, w []float64, tau float64) []float64 {
	n := len(y)
	z := carveQuantile(y, w, tau)
	ry, rw := make([]float64, n), make([]float64, n)
	for i := range y {
		ry[i], rw[i] = -y[n-1-i], w[n-1-i]
	}
	other := carveQuantile(ry, rw, 1-tau)
	for i := range z {
		z[i] = (z[i] - other[n-1-i]) / 2
	}
	return z
}

// carveQuantile is the slope trick for fallingQuantile. With x = −z the least
// cost F_k(x) of the first k stations given x_k ≤ x is convex, piecewise
// linear and flat on the right; the heap holds its breakpoints with the
// change of slope at each. Adding station k raises the slope on the right by
// τ·w, and that much is taken off the top again.
func carveQuantile(y, w []float64, tau float64) []float64 {
	const mille = 1000
	t := int64(math.Round(tau * mille))
	h := make(breakHeap, 0, len(y))
	x := make([]float64, len(y))
	for k := range y {
		weight := int64(math.Round(w[k] * mille))
		h.push(breakpoint{-y[k], weight * mille})
		for take := weight * t; take > 0; {
			if h[0].change > take {
				h[0].change -= take
				break
			}
			take -= h[0].change
			h.pop()
		}
		x[k] = h[0].at
	}
	for k := len(x) - 2; k >= 0; k-- {
		x[k] = min(x[k], x[k+1])
	}
	for k := range x {
		x[k] = -x[k]
	}
	return x
}

type breakpoint struct {
	at     float64
	change int64 // of the slope, in millionths of a unit weight
}

// breakHeap is a binary heap, greatest place on top.
type breakHeap []breakpoint

func (h *breakHeap) push(b breakpoint) {
	*h = append(*h, b)
	s := *h
	i := len(s) - 1
	for i > 0 {
		parent := (i - 1) / 2
		if s[parent].at >= b.at {
			break
		}
		s[i] = s[parent]
		i = parent
	}
	s[i] = b
}

func (h *breakHeap) pop() {
	s := *h
	n := len(s) - 1
	b := s[n]
	*h = s[:n]
	if n == 0 {
		return
	}
	s = s[:n]
	i := 0
	for {
		child := 2*i + 1
		if child >= n {
			break
		}
		if child+1 < n && s[child+1].at > s[child].at {
			child++
		}
		if b.at >= s[child].at {
			break
		}
		s[i] = s[child]
		i = child
	}
	s[i] = b
}

// quantileOf is the q-quantile of sorted values, interpolated between
// neighbours (the common type 7 of Hyndman and Fan 1996).
func quantileOf(sorted []float64, q float64) float64 {
	h := q * float64(len(sorted)-1)
	i := int(h)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (h-float64(i))*(sorted[i+1]-sorted[i])
}

// nmad is the normalised median absolute deviation: for normally distributed
// values their standard deviation, and hardly moved by outliers. It reorders
// its argument; 0 for an empty one.
func nmad(r []float64) float64 {
	if len(r) == 0 {
		return 0
	}
	sort.Float64s(r)
	m := quantileOf(r, 0.5)
	for i := range r {
		r[i] = math.Abs(r[i] - m)
	}
	sort.Float64s(r)
	return 1.4826 * quantileOf(r, 0.5)
}

// runningQuantile is the q-quantile of the finite values of y within half
// places to both sides of each place; NaN where there are none.
func runningQuantile(y []float64, half int, q float64) []float64 {
	out := make([]float64, len(y))
	window := make([]float64, 0, 2*half+1)
	add := func(i int) {
		if i >= len(y) || math.IsNaN(y[i]) {
			return
		}
		at := sort.SearchFloat64s(window, y[i])
		window = append(window, 0)
		copy(window[at+1:], window[at:])
		window[at] = y[i]
	}
	drop := func(i int) {
		if i < 0 || math.IsNaN(y[i]) {
			return
		}
		at := sort.SearchFloat64s(window, y[i])
		window = append(window[:at], window[at+1:]...)
	}
	for i := 0; i < half; i++ {
		add(i)
	}
	for i := range y {
		add(i + half)
		drop(i - half - 1)
		out[i] = math.NaN()
		if len(window) > 0 {
			out[i] = quantileOf(window, q)
		}
	}
	return out
}
