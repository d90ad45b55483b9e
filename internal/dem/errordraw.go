package dem

import (
	"math"
	"math/rand/v2"
)

// Draw draws the error of the heights along a line, in metres, at distances
// alongM that rise: each part whose correlation dies out exponentially is
// carried on from place to place (a first-order autoregression, exact for this
// correlation), and the white part is drawn for every cell and read between
// them as the surface is. Along a line that bends back the distance is more
// than the plan distance, so that neighbours across a bend share less than they
// do in truth. The common bias, which cancels in every drop, is left out.
func (m ErrorModel) Draw(alongM []float64, cellM float64, random *rand.Rand) []float64 {
	out := make([]float64, len(alongM))
	var short, long float64
	var white [2]float64
	cell := math.Inf(-1)
	for k, s := range alongM {
		if k == 0 {
			short, long = random.NormFloat64(), random.NormFloat64()
		} else {
			short, long = carriedOn(short, s-alongM[k-1], m.ShortAt, random), carriedOn(long, s-alongM[k-1], m.LongAt, random)
		}
		at := s
		if cellM > 0 {
			at = s / cellM
		}
		switch c := math.Floor(at); {
		case c == cell:
		case c == cell+1:
			cell, white = c, [2]float64{white[1], random.NormFloat64()}
		default:
			cell, white = c, [2]float64{random.NormFloat64(), random.NormFloat64()}
		}
		t := at - cell
		out[k] = m.ShortM*short + m.LongM*long + m.NuggetM*((1-t)*white[0]+t*white[1])
	}
	return out
}

// carriedOn is the next value of a standard normal process after a distance.
func carriedOn(v, distM, rangeM float64, random *rand.Rand) float64 {
	r := 1 - lost(distM, rangeM)
	return r*v + math.Sqrt(1-r*r)*random.NormFloat64()
}
