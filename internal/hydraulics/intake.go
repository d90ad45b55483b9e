package hydraulics

import "math"

// Submergence is the depth of water in metres that keeps a vortex from drawing
// air into the open end of a pipe: S = D·(1 + 2.3·V/√(g·D)), ANSI/HI 9.8
// (Hecker 1987), from memory. It counts from the top of the opening.
func Submergence(bore, flow float64) float64 {
	v := flow / (math.Pi / 4 * bore * bore)
	return bore * (1 + 2.3*v/math.Sqrt(Gravity*bore))
}
