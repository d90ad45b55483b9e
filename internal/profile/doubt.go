package profile

import "math"

// The rule for what stands across a creek: heights above the surrounding
// bed by more than bridgeSpread times their usual scatter and more than
// bridgeHeightM, for less than bridgeLengthM.
const (
	bridgeWindowM = 30 // to each side
	bridgeSpread  = 3
	bridgeHeightM = 0.6
	bridgeLengthM = 40

	flatRun        = 5    // stations
	flatToleranceM = 1e-5 // rounding of interpolated equal heights
)

// reach is a run of stations, from the first to the last.
type reach struct{ from, to int }

// bridges finds what stands across the creek. y holds NaN where unknown; z20
// is the falling fit to its low side (20 % quantile) at each station, taken
// off so that a steep creek does not look like one bridge after another; the
// running 20 % quantile then takes out what the fit missed. The runs are
// widened down to the feet of the obstacle. long are runs that stand out for
// bridgeLengthM and more: something else, a dam or a spur that the line cuts.
func bridges(y, z20 []float64, stations []Station, cellM float64) (short, long []reach) {
	n := len(y)
	excess := make([]float64, n)
	for i := range y {
		excess[i] = y[i] - z20[i]
	}
	half := max(int(math.Round(bridgeWindowM/stepOf(stations))), 3)
	base := runningQuantile(excess, half, 0.2)
	known := make([]float64, 0, n)
	for i := range excess {
		excess[i] -= base[i]
		if !math.IsNaN(excess[i]) {
			known = append(known, excess[i])
		}
	}
	spread := nmad(known)
	limit := max(bridgeSpread*spread, bridgeHeightM)
	foot := max(spread, 0.1)
	maxM := max(bridgeLengthM, 2*cellM)
	for i := 0; i < n; i++ {
		if !(excess[i] > limit) {
			continue
		}
		r := reach{i, i}
		for r.to+1 < n && excess[r.to+1] > foot {
			r.to++
		}
		for r.from > 0 && excess[r.from-1] > foot {
			r.from--
		}
		if wide := toFeet(y, stations, r, maxM, foot); wide.from < wide.to {
			r = reach{min(r.from, wide.from), max(r.to, wide.to)}
		}
		if float64(stations[r.to]-stations[r.from]) < maxM {
			short = append(short, r)
		} else {
			long = append(long, r)
		}
		i = r.to
	}
	return short, long
}

// toFeet finds the feet of an obstacle of which the core is known, with the
// lower convex hull of the heights around it: the edge that passes below the
// core reaches from one foot to the other. On a steep creek the lower side of
// a road fill falls like the creek itself, and only the hull shows that it
// stands above it. The bed bends too, so a first look takes the part that
// stands above the edge by a sixth of the obstacle's height, and a second one
// close around that finds the feet. The empty reach is returned when they are
// maxM and more apart: then the bed bulges, and there are no feet to be seen.
func toFeet(y []float64, stations []Station, core reach, maxM, foot float64) reach {
	const share, closeM = 1.0 / 6, 5
	window := func(r reach, m float64) (lo, hi int) {
		lo, hi = r.from, r.to
		for lo > 0 && float64(stations[r.from]-stations[lo-1]) <= m {
			lo--
		}
		for hi+1 < len(y) && float64(stations[hi+1]-stations[r.to]) <= m {
			hi++
		}
		return lo, hi
	}
	at := (core.from + core.to) / 2
	lo, hi := window(core, maxM-float64(stations[core.to]-stations[core.from]))
	r, height := standsAbove(y, stations, lo, hi, at, func(height float64) float64 { return max(foot, share*height) })
	if height <= 0 || float64(stations[r.to]-stations[r.from]) >= maxM {
		return reach{}
	}
	lo, hi = window(r, max(closeM, 2*stepOf(stations)))
	r, height = standsAbove(y, stations, lo, hi, at, func(float64) float64 { return foot })
	if height <= 0 || float64(stations[r.to]-stations[r.from]) >= maxM {
		return reach{}
	}
	return r
}

// standsAbove is the part around the station at that stands above the hull's
// edge by more than a foot, which may depend on the greatest height above it.
func standsAbove(y []float64, stations []Station, lo, hi, at int, footOf func(height float64) float64) (r reach, height float64) {
	a, b := hullEdge(y, stations, lo, hi, at)
	if a < 0 {
		return reach{}, 0
	}
	above := func(i int) float64 {
		t := float64((stations[i] - stations[a]) / (stations[b] - stations[a]))
		return y[i] - (y[a]*(1-t) + y[b]*t)
	}
	for i := a; i <= b; i++ {
		if v := above(i); v > height { // not so for NaN
			height = v
		}
	}
	foot := footOf(height)
	r = reach{a, b}
	for r.from < r.to && !(above(r.from) > foot) {
		r.from++
	}
	for r.to > r.from && !(above(r.to) > foot) {
		r.to--
	}
	return r, height
}

// hullEdge is the edge of the lower convex hull of the known heights from lo
// to hi that passes below the station at; -1 when there is none.
func hullEdge(y []float64, stations []Station, lo, hi, at int) (a, b int) {
	var hull []int
	for i := lo; i <= hi; i++ {
		if math.IsNaN(y[i]) {
			continue
		}
		for len(hull) >= 2 {
			p, q := hull[len(hull)-2], hull[len(hull)-1]
			// q stays only if it lies below the line from p to i.
			if (y[q]-y[p])*float64(stations[i]-stations[p]) < (y[i]-y[p])*float64(stations[q]-stations[p]) {
				break
			}
			hull = hull[:len(hull)-1]
		}
		hull = append(hull, i)
	}
	for k := 1; k < len(hull); k++ {
		if hull[k-1] < at && hull[k] > at {
			return hull[k-1], hull[k]
		}
	}
	return -1, -1
}

// flats finds runs of identical heights.
func flats(y []float64) []reach {
	var out []reach
	for i := 0; i < len(y); {
		j := i
		for j+1 < len(y) && math.Abs(y[j+1]-y[i]) < flatToleranceM {
			j++
		}
		if j-i+1 >= flatRun {
			out = append(out, reach{i, j})
		}
		i = j + 1
	}
	return out
}

// runs finds the runs of stations with a flag.
func runs(flags []Flag, f Flag) []reach {
	var out []reach
	for i := 0; i < len(flags); i++ {
		if flags[i]&f == 0 {
			continue
		}
		r := reach{i, i}
		for r.to+1 < len(flags) && flags[r.to+1]&f != 0 {
			r.to++
		}
		out = append(out, r)
		i = r.to
	}
	return out
}

func (p *Profile) mark(rs []reach, f Flag) {
	for _, r := range rs {
		for i := r.from; i <= r.to; i++ {
			p.Flags[i] |= f
		}
	}
}

// stepOf is the usual distance between stations.
func stepOf(stations []Station) float64 {
	if len(stations) < 2 {
		return 1
	}
	return float64(stations[1] - stations[0])
}
