package profile

import (
	"math"
	"sort"

	"github.com/paulmach/orb"
)

// walk is the line that somebody drew or walked, in one piece.
type walk struct {
	line     orb.LineString
	lengthM  float64
	gaps     []gap
	leftOutM float64 // length of legs too far from the others to join
	leftOut  int
}

// gap is a stretch of the line that nobody walked, by distance along it.
type gap struct{ fromM, toM float64 }

// joinLegs makes one line of the legs. Legs in their given order are joined
// where the gap is shorter than joinM. When that leaves some over, the longest
// leg is taken as the core and legs are put to either of its ends, turned
// round where that fits, always the nearest first; the rest is left out.
// Gaps longer than noticeM are recorded, and so are steps of joinM and more
// inside a leg.
func joinLegs(legs []orb.LineString, joinM, noticeM float64) walk {
	chain := make([]orb.LineString, 0, len(legs))
	for _, l := range legs {
		if len(l) > 0 {
			chain = append(chain, l)
		}
	}
	if len(chain) == 0 {
		return walk{}
	}
	w := walk{}
	if !joinsInOrder(chain, joinM) {
		all := 0.0
		for _, l := range chain {
			all += lengthOf(l)
		}
		n := len(chain)
		chain = growChain(chain, joinM)
		w.leftOut = n - len(chain)
		for _, l := range chain {
			all -= lengthOf(l)
		}
		if w.leftOut > 0 {
			w.leftOutM = max(0, all)
		}
	}
	for i, l := range chain {
		if i > 0 {
			last := w.line[len(w.line)-1]
			d := distance(last, l[0])
			if d > noticeM {
				w.gaps = append(w.gaps, gap{w.lengthM, w.lengthM + d})
			}
			w.lengthM += d
		}
		for k, p := range l {
			if k > 0 {
				d := distance(l[k-1], p)
				if d >= joinM {
					w.gaps = append(w.gaps, gap{w.lengthM, w.lengthM + d})
				}
				w.lengthM += d
			}
			w.line = append(w.line, p)
		}
	}
	return w
}

func joinsInOrder(legs []orb.LineString, joinM float64) bool {
	for i := 1; i < len(legs); i++ {
		prev := legs[i-1]
		if distance(prev[len(prev)-1], legs[i][0]) >= joinM {
			return false
		}
	}
	return true
}

func growChain(legs []orb.LineString, joinM float64) []orb.LineString {
	core := 0
	for i, l := range legs {
		if lengthOf(l) > lengthOf(legs[core]) {
			core = i
		}
	}
	used := make([]bool, len(legs))
	used[core] = true
	chain := []orb.LineString{legs[core]}
	for {
		head, last := chain[0][0], chain[len(chain)-1]
		tail := last[len(last)-1]
		best, bestM := -1, joinM
		var atHead, turn bool
		for i, l := range legs {
			if used[i] {
				continue
			}
			first, end := l[0], l[len(l)-1]
			for _, try := range [4]struct {
				d            float64
				atHead, turn bool
			}{
				{distance(tail, first), false, false},
				{distance(head, end), true, false},
				{distance(tail, end), false, true},
				{distance(head, first), true, true},
			} {
				if try.d < bestM {
					best, bestM, atHead, turn = i, try.d, try.atHead, try.turn
				}
			}
		}
		if best < 0 {
			return chain
		}
		used[best] = true
		l := legs[best]
		if turn {
			l = reversed(l)
		}
		if atHead {
			chain = append([]orb.LineString{l}, chain...)
		} else {
			chain = append(chain, l)
		}
	}
}

func reversed(line orb.LineString) orb.LineString {
	out := make(orb.LineString, len(line))
	for i, p := range line {
		out[len(line)-1-i] = p
	}
	return out
}

// fallAlong is how far the valley floor falls along the walked line,
// negative when it rises: the median of all slopes between two places (Theil
// 1950, Sen 1968) times the length, so that a few wrong heights do not turn
// the creek round. clear says that the sign can be trusted: the fall beats
// both its own scatter and the surface's error.
func (c *corridor) fallAlong(w walk, g Ground) (fallM float64, clear bool) {
	floorM, at := c.valleyFloor(w)
	n := len(floorM)
	if n < 3 {
		return 0, false
	}
	slopes := make([]float64, 0, n*(n-1)/2)
	rises, falls := 0, 0
	for i := range n {
		for j := i + 1; j < n; j++ {
			d := floorM[i] - floorM[j]
			slopes = append(slopes, d/(at[j]-at[i]))
			switch {
			case d > 0:
				falls++
			case d < 0:
				rises++
			}
		}
	}
	sort.Float64s(slopes)
	fallM = quantileOf(slopes, 0.5) * w.lengthM
	sigma := g.DiffSigma(w.line[0], w.line[len(w.line)-1])
	// Kendall's concordance: of the pairs that differ, at least 60 % agree.
	// Runs of correlated heights make the usual significance test too sure of
	// itself, so the share is asked for instead.
	agree := float64(max(rises, falls)) >= 0.6*float64(rises+falls)
	return fallM, agree && math.Abs(fallM) > sigma && math.Abs(fallM) > 0.02
}

// valleyFloor gives the lowest ground near places along the walked line.
func (c *corridor) valleyFloor(w walk) (floorM, alongM []float64) {
	const places = 200
	step := max(c.cellM, w.lengthM/places)
	next := 0.0
	eachPiece(w.line, step, func(p, q orb.Point, along float64) {
		if along < next {
			return
		}
		i := c.at(p)
		if i < 0 || c.z[i] != c.z[i] {
			return
		}
		floorM = append(floorM, float64(c.z[i]-c.rel[i]))
		alongM = append(alongM, along)
		next = along + step
	})
	return floorM, alongM
}
