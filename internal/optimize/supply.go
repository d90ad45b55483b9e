package optimize

import (
	"math"
	"slices"
)

// water is the creek as the search sees it: one entry a station, downstream.
type water struct {
	z, s                 []float64 // water line; length along the slope, both in metres
	intakeOK, standOK    []bool    // nil allows all
	boxOK                []bool    // where a settling box may stand; nil allows all
	seat                 int       // of a settling box that is pinned; -1 leaves it to the intake
	mustStand            bool      // only layouts with a standpipe count
	blocked              []int32   // first station from here on that the supply pipe may not pass; n when none
	steep                []int32   // last station that a pipe from here reaches before the fall is too small
	heightMin, heightMax float64   // running water above the creek at a standpipe
	lengthMax            float64   // of the supply pipe
}

// grade is what one choice of supply pipe, flow and settling box means for the
// hydraulic grade line.
type grade struct {
	slope float64 // J: friction slope at the flow
	loss  float64 // m: spent at the intake and the settling box, metres
	cover float64 // c: least height of the grade line above the creek's water line; negative when the pipe lies deep
	lead  float64 // the standpipe stands at least so far below the intake, metres along the slope
}

// lines holds, for one grade, from which intakes a standpipe can be fed.
//
// With A_k = z_k + J·S_k and the head of an intake I_i = A_i − m, the grade
// line of a supply pipe from i stands at I_i − J·S_k over station k. The pipe
// is feasible down to s when A_k + c ≤ I_i for every k in (i, s], the pipe may
// pass and falls enough everywhere from i to s, and its length is within its
// limits; its water stands h = I_i − A_s above the creek at s.
//
// Each condition but the least length only gets harder as s moves downstream,
// and the least length only easier. So
//
//	(1) intake i can feed exactly the standpipes first[i] … last[i],
//
// one contiguous stretch, whatever the sign of c + m. (Where c + m ≥ 0 the
// intakes in use at s are records of A seen upstream from s, as in the search
// with a monotone stack; where c + m < 0 they need not be, and a stack loses
// some of them. Nothing here relies on it.)
//
// The sweep goes through s downstream, puts i into a tree ordered by I_i when
// s = first[i] and takes it out after last[i]. At every s the tree holds
// exactly the intakes that satisfy everything but the bounds of h, and those
// bounds are an interval of I: h ≤ heightMax a prefix of the ranks, found by
// binary search with the very expression of the constraint, h ≥ heightMin a
// test on the result, for if the highest intake within the prefix stands too
// low then all do. Equal heads rank by station, so of two equal intakes the
// nearer one is given, and none is lost.
//
//	(2) highest(s, from) is the intake with the largest I, hence the largest
//	    h and drive head, among all feasible ones at station from or below it.
//
// At a given s the pipe's length S_s − S_i and the standpipe's height, which
// follows z_i, both fall or stay as i grows. What supply pipe and standpipe
// cost is therefore a falling step function of i, and
//
//	(3) for every price κ the feasible intakes that cost no more than κ are
//	    those at or below one station, so that (2) with that station gives the
//	    most head for the price.
//
// Sorting and the sweep take O(n log n), a query O(log n).
type lines struct {
	*water
	grade
	a           []float64 // A
	first, last []int32   // standpipes that an intake can feed; last < first when none
	byRank      []int32   // intakes, lowest head first
	sorted      []float64 // their A
	rank        []int32   // of each intake; -1 when it feeds nothing

	tree    rankTree
	stack   []int32
	leaving []int32 // first intake to leave after a station, and the next one
	next    []int32
	entered int // intakes up to here have been put in
	at      int // station of the sweep
}

// prepare works out the stretches and ranks for a grade, reusing memory.
func (l *lines) prepare(w *water, g grade) {
	n := len(w.z)
	l.water, l.grade = w, g
	l.a = resize(l.a, n)
	for k := range l.a {
		l.a[k] = w.z[k] + float64(g.slope*w.s[k])
	}
	l.stretches()
	l.ranks()
	l.restart()
}

// resize gives a slice of length n, with old content of no meaning.
func resize[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}

// stretches fills first and last. Upstream-bound, it keeps the records of A
// over (i, n) on a stack; the first station that stands above the grade line
// of i is among them.
func (l *lines) stretches() {
	n := len(l.z)
	l.first, l.last = resize(l.first, n), resize(l.last, n)
	l.stack = l.stack[:0]
	far := n - 1
	for i := n - 1; i >= 0; i-- {
		if i+1 < n {
			for len(l.stack) > 0 && l.a[l.stack[len(l.stack)-1]] <= l.a[i+1] {
				l.stack = l.stack[:len(l.stack)-1]
			}
			l.stack = append(l.stack, int32(i+1))
		}
		for far > i && !(l.s[far]-l.s[i] <= l.lengthMax) {
			far--
		}
		last := min(int32(far), l.steep[i], l.blocked[i]-1)
		if k := l.above(l.a[i] - l.loss); k >= 0 {
			last = min(last, k-1)
		}
		l.last[i] = last
		if l.intakeOK != nil && !l.intakeOK[i] {
			l.last[i] = -1
		}
	}
	if l.lead > 0 && l.seat >= 0 {
		l.seats()
		return
	}
	box := 0
	for i := range n {
		box = max(box, i+1)
		for box < n && !(l.s[box]-l.s[i] >= l.lead) {
			box++
		}
		l.first[i] = int32(box)
		if l.lead > 0 && box < n && l.boxOK != nil && !l.boxOK[box] {
			l.last[i] = -1 // no seat for the settling box
		}
	}
}

// above finds the first station on the stack that stands above a head, -1 when
// none does. On the stack, A rises from the top down.
func (l *lines) above(head float64) int32 {
	lo, hi := 0, len(l.stack) // entries below lo stand above the head, from hi on they do not
	for lo < hi {
		mid := (lo + hi) / 2
		if l.a[l.stack[mid]]+l.cover <= head {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	if lo == 0 {
		return -1
	}
	return l.stack[lo-1]
}

// ranks sorts the intakes that feed anything by head, then by station.
func (l *lines) ranks() {
	l.byRank = l.byRank[:0]
	l.rank = resize(l.rank, len(l.z))
	for i := range l.z {
		l.rank[i] = -1
		if l.first[i] <= l.last[i] {
			l.byRank = append(l.byRank, int32(i))
		}
	}
	slices.SortFunc(l.byRank, func(i, j int32) int {
		switch {
		case l.a[i] < l.a[j]:
			return -1
		case l.a[i] > l.a[j]:
			return 1
		}
		return int(i - j)
	})
	l.sorted = l.sorted[:0]
	for r, i := range l.byRank {
		l.rank[i] = int32(r)
		l.sorted = append(l.sorted, l.a[i])
	}
}

// restart puts the sweep before the first station.
func (l *lines) restart() {
	n := len(l.z)
	l.tree.reset(len(l.byRank))
	l.leaving, l.next = resize(l.leaving, n), resize(l.next, n)
	for k := range l.leaving {
		l.leaving[k] = -1
	}
	l.entered, l.at = 0, -1
}

// moveTo brings the sweep to a station, which must not lie upstream of the
// last one.
func (l *lines) moveTo(s int) {
	for ; l.at < s; l.at++ {
		if l.at >= 0 {
			for i := l.leaving[l.at]; i >= 0; i = l.next[i] {
				l.tree.put(int(l.rank[i]), -1)
			}
		}
	}
	for ; l.entered < len(l.z) && int(l.first[l.entered]) <= s; l.entered++ {
		i := l.entered
		if last := l.last[i]; l.rank[i] >= 0 && int(last) >= s {
			l.tree.put(int(l.rank[i]), i)
			l.next[i] = l.leaving[last]
			l.leaving[last] = int32(i)
		}
	}
}

// height is the running water above the creek at s when i feeds it.
func (l *lines) height(i, s int) float64 { return l.a[i] - l.loss - l.a[s] }

// highest gives the feasible intake with the most head for the sweep's
// station, at station from or below it; -1 when there is none.
func (l *lines) highest(from int) int {
	s := l.at
	// The first rank whose water would stand too high.
	lo, hi := 0, len(l.sorted)
	for lo < hi {
		mid := (lo + hi) / 2
		if l.sorted[mid]-l.loss-l.a[s] <= l.heightMax {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	i := l.tree.highest(lo-1, from)
	if i < 0 || l.height(i, s) < l.heightMin {
		return -1
	}
	return i
}

// feeds says whether i can feed a standpipe at s with its water within the
// bounds of height.
func (l *lines) feeds(i, s int) bool {
	if s < int(l.first[i]) || s > int(l.last[i]) {
		return false
	}
	h := l.height(i, s)
	return h >= l.heightMin && h <= l.heightMax
}

// newWater prepares what all grades share.
func newWater(z, s []float64, intakeOK, standOK, passOK []bool, slopeMin float64) *water {
	n := len(z)
	w := &water{z: z, s: s, intakeOK: intakeOK, standOK: standOK, boxOK: standOK, seat: -1, blocked: make([]int32, n), steep: make([]int32, n), heightMax: math.Inf(1), lengthMax: math.Inf(1)}
	for i := n - 1; i >= 0; i-- {
		w.blocked[i], w.steep[i] = int32(n), int32(i)
		if i+1 < n {
			w.blocked[i] = w.blocked[i+1]
			if z[i]-z[i+1] >= slopeMin*(s[i+1]-s[i]) {
				w.steep[i] = w.steep[i+1]
			}
		}
		if passOK != nil && !passOK[i] {
			w.blocked[i] = int32(i)
		}
	}
	return w
}
