package profile

import (
	"math"

	"route/internal/quantity"
)

// HeightAt is the fitted water line at a station, straight between the
// stations of the profile; ok is false beyond its ends.
func (p *Profile) HeightAt(s Station) (zM float64, ok bool) {
	return p.interpolate(p.ZM, s)
}

// interpolate interpolates one of the slices of the profile.
func (p *Profile) interpolate(v []float64, s Station) (float64, bool) {
	n := len(v)
	if n == 0 || !(s >= p.Stations[0] && s <= p.Stations[n-1]) {
		return math.NaN(), false
	}
	i := p.Index(s)
	if i == n-1 {
		return v[i], true
	}
	t := float64((s - p.Stations[i]) / (p.Stations[i+1] - p.Stations[i]))
	return v[i]*(1-t) + v[i+1]*t, true
}

// Index is the last station of the profile that is not behind s, and the
// first one when all are.
func (p *Profile) Index(s Station) int {
	lo, hi := 0, p.Len()
	for lo < hi {
		m := (lo + hi) / 2
		if p.Stations[m] > s {
			hi = m
		} else {
			lo = m + 1
		}
	}
	return max(0, lo-1)
}

// Fall is how far the fitted water line falls from one station to another,
// in metres and negative upstream, with its standard deviation: what the fit
// leaves of the surface's error (of which neighbours have much in common), what
// it adds, and what is unknown where the line is bridged. It is the Drop of
// Condition without readings, and with g a Certainty, that of its readings.
func (p *Profile) Fall(from, to Station, g Ground) (quantity.Measure, error) {
	c, ok := g.(*Certainty)
	if !ok || c.profile != p {
		c = newCertainty(p, g, nil)
	}
	return c.Drop(from, to)
}

// far is a distance at which the errors of two heights no longer go together.
const farM = 1e6

// judge fills SigmaM, ResidualM and the variance that the surface's own error
// model does not know of.
func (p *Profile) judge(g Ground) {
	n := p.Len()
	residual := make([]float64, 0, n)
	for i := range p.ZM {
		if p.Flags[i]&(FlagVoid|FlagBridge) == 0 {
			residual = append(residual, p.RawM[i]-p.ZM[i])
		}
	}
	p.ResidualM = nmad(residual)
	p.ownVar = make([]float64, n)
	for i := range p.ownVar {
		p.ownVar[i] = p.passed.ownVar
	}
	p.bridgedVariance()
	p.slopeError()
	p.SigmaM = make([]float64, n)
	for i, v := range p.commonVariances(newCertainty(p, g, nil)) {
		p.SigmaM[i] = math.Sqrt(v + p.ownVar[i] + p.slopeErrorM[i]*p.slopeErrorM[i])
	}
}

// everyForSigma is at how many stations from each other the surface's part of
// the standard deviation is worked out; it changes only with the bends of the
// creek.
const everyForSigma = 8

// commonVariances are what the fit leaves of the surface's error in single
// heights.
func (p *Profile) commonVariances(c *Certainty) []float64 {
	n := p.Len()
	out := make([]float64, n)
	at := func(i int) float64 {
		// Half the variance of a difference to a far place is that of one
		// height; the mean around it has less.
		far := p.Points[i]
		far[0] += farM
		var one contrast
		p.addStation(&one, i, 1)
		v := c.variogram(p.Points[i], far) + c.commonVariance(one.spots)
		if !(v > 0) {
			return 0
		}
		return v
	}
	last, lastV := 0, at(0)
	for i := 0; i < n; i += everyForSigma {
		to := min(i+everyForSigma, n-1)
		v := at(to)
		for k := last; k <= to; k++ {
			t := 0.0
			if to > last {
				t = float64(k-last) / float64(to-last)
			}
			out[k] = lastV*(1-t) + v*t
		}
		last, lastV = to, v
	}
	return out
}

// bridgedVariance adds what is unknown where the line is bridged. All that is
// certain there is that the water line lies between its heights above and
// below; even chances between them have the variance fall²/12, which fades to
// nothing at the ends of the bridge.
func (p *Profile) bridgedVariance() {
	for _, r := range runs(p.Flags, FlagVoid|FlagBridge) {
		i, j := max(0, r.from-1), min(p.Len()-1, r.to+1)
		fall := p.ZM[i] - p.ZM[j]
		span := float64(p.Stations[j] - p.Stations[i])
		for k := r.from; k <= r.to; k++ {
			t := float64(p.Stations[k]-p.Stations[i]) / span
			p.ownVar[k] += fall * fall / 12 * 4 * t * (1 - t)
		}
	}
}

// stepSpacingM is how far apart the steps of a small creek lie at most: two to
// four times its width (Chin 1989, Water Resources Research 25, 2107–2119, for
// the spacing; from memory), with a width of 2 to 3 m.
const stepSpacingM = 10

// unevenCells is σ_xy, in cells, of the usual slope term σ_xy·tan β of elevation
// rasters. Even chances over a cell of even grade make it 1/√12 = 0.29. Creeks
// fall unevenly: on Gabilan Mesa's 1 m lidar the falls over 10 m scatter by 1.2
// times their mean, which makes it 0.44. The terrain study (§2.1) has 0.3 to 0.5
// from memory.
const unevenCells = 0.35

// slopeError is the slope term of the error: a cell's height counts somewhere
// in the cell. Cells longer than a pool and its step hide no more than these.
func (p *Profile) slopeError() {
	p.slopeErrorM = make([]float64, p.Len())
	half := Station(min(p.passed.cellM, stepSpacingM) / 2)
	first, last := p.Stations[0], p.Stations[p.Len()-1]
	for i, s := range p.Stations {
		upper, _ := p.HeightAt(max(first, s-half))
		lower, _ := p.HeightAt(min(last, s+half))
		p.slopeErrorM[i] = unevenCells * (upper - lower)
	}
}
