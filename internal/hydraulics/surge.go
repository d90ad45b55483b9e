package hydraulics

import "math"

// WaveSpeed is the speed in m/s of a pressure wave in a full pipe with
// expansion joints throughout (c₁ = 1): a = √((K/ρ)/(1 + K·D/(E·e))). Wylie &
// Streeter, Fluid Transients, eq. 1-28 (from memory). Anchoring changes it by
// less than 3 % in steel and less than 10 % in plastic. Where wall or modulus
// is unknown (0) the pipe counts as rigid, which gives the highest surge.
func WaveSpeed(f Fluid, p Pipe) float64 {
	s := f.BulkModulus / f.Density
	if p.Wall > 0 && p.YoungModulus > 0 {
		s /= 1 + f.BulkModulus*p.Inside/(p.YoungModulus*p.Wall)
	}
	return math.Sqrt(s)
}

// Surge is Joukowsky's rise of head in metres when the flow in a pipe is
// stopped by velocityChange m/s faster than a wave returns: a·Δv/g.
func Surge(f Fluid, p Pipe, velocityChange float64) float64 {
	return WaveSpeed(f, p) * velocityChange / Gravity
}

// StandpipeSurge is the height in metres by which the water in an open
// standpipe swings about its level when the flow through the supply pipe stops
// at once: V·√(L·A/(g·A_s)), friction left out, which makes it the most. It
// falls as much when a pump starts at once.
func StandpipeSurge(supply Run, standpipeBore, flow float64) float64 {
	a := supply.Pipe.Area()
	as := math.Pi / 4 * standpipeBore * standpipeBore
	return flow / a * math.Sqrt(supply.LengthM*a/(Gravity*as))
}

// StandpipeRipple is half the swing in metres of the standpipe's level over
// one beat: Q·T/(4·A_s).
func StandpipeRipple(standpipeBore, flow, period float64) float64 {
	return flow * period / (math.Pi * standpipeBore * standpipeBore)
}
