package profile

import (
	"fmt"
	"math"

	"route/internal/finding"
	"route/internal/quantity"
)

// HeightAt is the fitted water line at a station, straight between the
// stations of the profile; ok is false beyond its ends.
func (p *Profile) HeightAt(s Station) (zM float64, ok bool) {
	return p.interpolate(p.ZM, s)
}

// interpolate interpolates one of the slices of the profile.
func (p *Profile) interpolate(v []float64, s Station) (float64, bool) {
	n := p.Len()
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
// in metres and negative upstream, with its standard deviation: the surface's
// error of a height difference (which knows that neighbours err together),
// the scatter of the raw heights about the fit, and what is unknown where
// the line is bridged.
func (p *Profile) Fall(from, to Station, g Ground) (quantity.Measure, error) {
	z0, ok0 := p.HeightAt(from)
	z1, ok1 := p.HeightAt(to)
	if !ok0 || !ok1 {
		return quantity.Measure{}, &finding.Fault{Code: "station_outside",
			Text: fmt.Sprintf("station %v or %v lies outside the creek profile, which runs from %v to %v",
				from, to, p.Stations[0], p.Stations[p.Len()-1]),
			Hint: "give stations within the profile"}
	}
	v := g.DiffSigma(p.Alignment.PointAt(from), p.Alignment.PointAt(to))
	v *= v
	if from != to && p.ownVar != nil {
		v0, _ := p.interpolate(p.ownVar, from)
		v1, _ := p.interpolate(p.ownVar, to)
		v += v0 + v1
	}
	return quantity.Measure{Value: z0 - z1, Sigma: math.Sqrt(v)}, nil
}

// far is a distance at which the errors of two heights no longer go together.
const farM = 1e6

// judge fills SigmaM, ResidualM and the variance that the surface's own error
// model does not know of.
func (p *Profile) judge(g Ground, o ThalwegOptions) {
	n := p.Len()
	residual := make([]float64, 0, n)
	for i := range p.ZM {
		if p.Flags[i]&(FlagVoid|FlagBridge) == 0 {
			residual = append(residual, p.RawM[i]-p.ZM[i])
		}
	}
	p.ResidualM = nmad(residual)
	p.ownVar = make([]float64, n)
	p.fitVariance(o)
	p.bridgedVariance()
	p.SigmaM = make([]float64, n)
	for i, at := range p.Points {
		far := at
		far[0] += farM
		// Two independent errors make up the difference to a far place.
		v := g.DiffSigma(at, far)
		v = v * v / 2
		if math.IsNaN(v) {
			v = 0
		}
		p.SigmaM[i] = math.Sqrt(v + p.ownVar[i])
	}
}

// fitVariance adds the error of a median of scattered heights: π/2·s²/m with
// m independent cells within 10 m or three cells, whichever is further.
func (p *Profile) fitVariance(o ThalwegOptions) {
	within := max(10, 3*o.CellM)
	p.ownWithinM = within
	m := max(1, 2*within/o.CellM)
	v := math.Pi / 2 * p.ResidualM * p.ResidualM / m
	for i := range p.ownVar {
		p.ownVar[i] += v
	}
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
