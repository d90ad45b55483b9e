package terrain

import "math"

// PocketM is how far in metres the ground must rise and fall around a place to
// count as a high or a low point of a line. Less is within the noise of good
// terrain data and the care of laying (common practice, no source).
const PocketM = 0.3

// pockets finds the high points of a profile, where air gathers, and the low
// points, which need a drain: the turning points after taking out all ups and
// downs of less than PocketM. The ends count as neither.
func pockets(spots []spot) (high, low []int) {
	// The highest and the lowest spot since the last turn.
	top, bottom := 0, 0
	// Whether the profile is known to rise or to fall at present.
	rising, falling := false, false
	for i := range spots {
		z := spots[i].z
		if z > spots[top].z {
			top = i
		}
		if z < spots[bottom].z {
			bottom = i
		}
		switch {
		case !rising && z >= spots[bottom].z+PocketM:
			if falling {
				low = append(low, bottom)
			}
			rising, falling = true, false
			top = i
		case !falling && z <= spots[top].z-PocketM:
			if rising {
				high = append(high, top)
			}
			rising, falling = false, true
			bottom = i
		}
	}
	return high, low
}

// keepShape marks as many more spots as vertices as it takes for the straight
// lines between vertices to stay within PocketM of the profile (the method of
// Douglas and Peucker, 1973, on distances measured upright).
func keepShape(spots []spot) {
	var split func(a, b int)
	split = func(a, b int) {
		worst, at := PocketM, -1
		for i := a + 1; i < b; i++ {
			straight := spots[a].z
			if run := spots[b].s - spots[a].s; run > 0 {
				straight += (spots[b].z - spots[a].z) * (spots[i].s - spots[a].s) / run
			}
			if d := math.Abs(spots[i].z - straight); d > worst {
				worst, at = d, i
			}
		}
		if at >= 0 {
			spots[at].vertex = true
			split(a, at)
			split(at, b)
		}
	}
	a := 0
	for b := 1; b < len(spots); b++ {
		if spots[b].vertex {
			split(a, b)
			a = b
		}
	}
}
