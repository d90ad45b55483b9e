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
	var square [2][2]float64
	var n [2]float64
	for seed := range seeds {
		_, p, g := c.seen(fineM, rand.New(rand.NewPCG(first+seed, 6)))
		p.fit(g, o)
		weight := make([]float64, p.Len())
		for i := range weight {
			if p.Flags[i]&(FlagVoid|FlagBridge) == 0 {
				weight[i] = 1
			}
		}
		edge := Station(math.Ceil(math.Min(100, c.lengthM/10)/o.stepM()) * o.stepM())
		last := p.Stations[p.Len()-1] - edge
		for k, z := range [][]float64{p.fall(weight, 0.5, o, smoothing{}), p.ZM} {
			for j, m := range overM[1:] {
				for s := edge; s+Station(m) <= last; s += Station(o.stepM()) {
					e := fallM(p, z, s, m) - trueFallM(fineM, s, m)
					square[k][j] += e * e
					n[j] += 0.5
				}
			}
		}
	}
	for j := range 2 {
		plain[j], ours[j] = math.Sqrt(square[0][j]/n[j]), math.Sqrt(square[1][j]/n[j])
	}
	return plain, ours
}
