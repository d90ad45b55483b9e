package profile

import "math"

// Levelled is the long profile of a creek that is known by levels alone: the
// stations and heights of what was levelled, in the direction of flow, without
// places. dropSigmaM is the standard deviation of each drop from the point
// before; SigmaM is that of the height against the first point. ZM is the
// nearest line to the levels that does not rise.
func Levelled(at []Station, levelM, dropSigmaM []float64) *Profile {
	n := len(at)
	p := &Profile{Stations: at, RawM: levelM, ZM: append([]float64(nil), levelM...),
		LowM: make([]float64, n), HighM: make([]float64, n), SigmaM: make([]float64, n), SlopeM: make([]float64, n), Flags: make([]Flag, n)}
	notRising(p.ZM, nil)
	variance := 0.0
	for i := range at {
		if i > 0 {
			variance += dropSigmaM[i] * dropSigmaM[i]
			p.SlopeM[i] = p.SlopeM[i-1] + math.Hypot(float64(at[i]-at[i-1]), p.ZM[i-1]-p.ZM[i])
		}
		p.SigmaM[i] = math.Sqrt(variance)
		p.LowM[i], p.HighM[i] = p.ZM[i]-tenthSigma*p.SigmaM[i], p.ZM[i]+tenthSigma*p.SigmaM[i]
	}
	return p
}

// tenthSigma is how many standard deviations the 10 % and 90 % quantiles of a
// normal distribution lie off its mean.
const tenthSigma = 1.2815515655446004

// SteepestWithin finds where the water falls most over a distance of at most
// reachM along the creek. The line runs straight between stations, so one end
// of that reach is a station.
func (p *Profile) SteepestWithin(reachM float64) (from, to Station, fallM float64) {
	first, last := p.Stations[0], p.Stations[p.Len()-1]
	for _, s := range p.Stations {
		for _, a := range []Station{s, s - Station(reachM)} {
			a = max(first, a)
			b := min(last, a+Station(reachM))
			up, _ := p.HeightAt(a)
			down, _ := p.HeightAt(b)
			if up-down > fallM {
				from, to, fallM = a, b, up-down
			}
		}
	}
	return from, to, fallM
}
