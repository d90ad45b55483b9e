package catalog

import "slices"

// Goes says whether a pipe may follow another in one line without a change of
// fittings: the same nominal size, joint and trade.
func (it *Item) Goes(with *Item) bool {
	return it.Kind == KindPipe && with.Kind == KindPipe && it.Size != "" && it.Size == with.Size && it.Joint == with.Joint &&
		(it.Trade == with.Trade || it.Trade == "" || with.Trade == "")
}

// SplitRun divides a run of pipe between a heavy pipe, which must reach at
// least leastM from its start, and a light one: the cheapest division, with
// whole packs of both and a coupling between them. lowerM is the length of the
// heavy pipe, lengthM all of it where the light one saves nothing; cost is that
// of both.
//
// It is exact: the price of each part is a step function of its length, so the
// cheapest division lies at leastM, or at the end of a step of either part.
func (c *Catalog) SplitRun(heavy, light string, lengthM, leastM, waste float64) (lowerM float64, cost Money) {
	lowerM, cost = lengthM, c.PipeCost(heavy, lengthM, waste)
	if !(leastM > 0 && leastM < lengthM) {
		return lowerM, cost
	}
	at := []float64{leastM}
	for _, st := range c.PipeSteps(heavy, lengthM, waste) {
		at = append(at, st.UpToM)
	}
	for _, st := range c.PipeSteps(light, lengthM, waste) {
		at = append(at, lengthM-st.UpToM)
	}
	slices.Sort(at)
	join := c.joinPrice(c.pipe(heavy)).Minor
	for _, m := range at {
		if m < leastM || m >= lengthM {
			continue
		}
		sum := c.PipeCost(heavy, m, waste).Minor + c.PipeCost(light, lengthM-m, waste).Minor + join
		if sum < cost.Minor {
			lowerM, cost.Minor = m, sum
		}
	}
	return lowerM, cost
}
