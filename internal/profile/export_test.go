package profile

import (
	"math"
	"math/rand/v2"
)

// SeenCoarsely gives, for a water line every half metre, the RMS error (m) of
// its falls over 30 and 100 m in the plain falling fit and in what Thalweg
// uses, when a raster with the error of a simulated class shows it.
func SeenCoarsely(fineM []float64, cellM float64, first, seeds uint64) (plain, ours [2]float64) {
	c := errorClasses[2]
	for _, other := range errorClasses {
		if other.cellM == cellM {
			c = other
		}
	}
	c.lengthM = math.Floor(float64(len(fineM)-1)/2/c.cellM) * c.cellM
	o := ThalwegOptions{CellM: c.cellM}.withDefaults()
	scores := newScores(2)
	for seed := range seeds {
		truth, p := c.seen(fineM, rand.New(rand.NewPCG(first+seed, 6)))
		p.fit(o)
		weight := make([]float64, p.Len())
		for i := range weight {
			if p.Flags[i]&(FlagVoid|FlagBridge) == 0 {
				weight[i] = 1
			}
		}
		edge := int(math.Min(100, c.lengthM/10) / o.stepM())
		scores[0].add(p.fall(weight, 0.5, o, false), truth, o.stepM(), edge, p.Len()-1-edge)
		scores[1].add(p.ZM, truth, o.stepM(), edge, p.Len()-1-edge)
	}
	for k := range 2 {
		plain[k] = math.Sqrt(scores[0].square[k+1] / scores[0].n[k+1])
		ours[k] = math.Sqrt(scores[1].square[k+1] / scores[1].n[k+1])
	}
	return plain, ours
}
