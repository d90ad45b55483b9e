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
	seats                *seats    // of settling boxes along the creek
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
	loss  float64 // m: spent at the intake, metres
	cover float64 // c: least height of the grade line above the creek's water line; negative when the pipe lies deep
	box   bool    // the water comes through a settling box
	drop  float64 // spent at the settling box at least
	rise  float64 // highest water of a settling box above the creek
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
// With a settling box the grade line starts again at the box: from an intake i
// by a box at b it stands at I = min(I_i − drop, A_b + rise), the second where
// the box would stand too high above the ground and water is let down into it.
// Each intake with each of its boxes is a source of its own, which feeds the
// standpipes below the box, again one contiguous stretch, and (1) and (2) hold
// for sources; they are numbered in the order of their intakes.
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
	head        []float64 // I of each source
	first, last []int32   // standpipes that a source can feed; last < first when none
	byRank      []int32   // sources, lowest head first
	sorted      []float64 // their heads
	rank        []int32   // of each source; -1 when it feeds nothing
	reaches     []int32   // last station that the pipe from an intake reaches, without a box
	far         []int32   // last station within the longest pipe from an intake

	tree              rankTree
	stack             []int32
	leaving, arriving []int32 // first source to leave after a station or to come at one
	nextOut, nextIn   []int32 // and the next one
	at                int     // station of the sweep
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

// sources is how many sources there are.
func (l *lines) sources() int {
	if l.box {
		return len(l.seats.box)
	}
	return len(l.z)
}

// intakeOf and boxOf give the places of a source; the box is -1 where there is
// none.
func (l *lines) intakeOf(k int) int {
	if l.box {
		return int(l.seats.intake[k])
	}
	return k
}

func (l *lines) boxOf(k int) int {
	if l.box {
		return int(l.seats.box[k])
	}
	return -1
}

// firstOf is the first source of the intakes from a station on.
func (l *lines) firstOf(intake int) int {
	if l.box {
		return int(l.seats.start[intake])
	}
	return intake
}

// stretches fills first and last. Upstream-bound, it keeps the records of A
// over (i, n) on a stack; the first station that stands above a grade line
// that starts at i is among them.
func (l *lines) stretches() {
	n, m := len(l.z), l.sources()
	l.first, l.last, l.head = resize(l.first, m), resize(l.last, m), resize(l.head, m)
	l.reaches, l.far = resize(l.reaches, n), resize(l.far, n)
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
		l.far[i] = int32(far)
		l.reaches[i] = min(int32(far), l.downTo(i, l.a[i]-l.loss))
		if l.intakeOK != nil && !l.intakeOK[i] {
			l.reaches[i] = -1
		}
		if l.box {
			for _, k := range l.seats.at[i] {
				l.startAtBox(int(k), i)
			}
		}
	}
	for k := range m {
		i := l.intakeOf(k)
		if !l.box {
			l.head[k], l.first[k], l.last[k] = l.a[i]-l.loss, int32(i+1), l.reaches[i]
			continue
		}
		l.last[k] = min(l.last[k], l.far[i])
		if int32(l.boxOf(k)) > l.reaches[i] {
			l.first[k], l.last[k] = int32(n), -1
		}
	}
	if l.box {
		l.dropFarBoxes()
	}
}

// dropFarBoxes leaves out the sources that feed no standpipe which the same
// intake does not feed with as much head by a nearer box: most of them, for a
// box that need not let water down costs the same head wherever it stands. Of
// one intake the nearer box comes later.
func (l *lines) dropFarBoxes() {
	near := -1 // last source kept
	for k := len(l.head) - 1; k >= 0; k-- {
		if l.first[k] > l.last[k] {
			continue
		}
		if near >= 0 && l.seats.intake[near] == l.seats.intake[k] && l.head[near] == l.head[k] && l.first[near] <= l.first[k] && l.last[near] >= l.last[k] {
			l.first[k], l.last[k] = int32(len(l.z)), -1
			continue
		}
		near = k
	}
}

// downTo is the last station down to which a grade line with a head, which
// starts at i, stays above the pipe.
func (l *lines) downTo(i int, head float64) int32 {
	last := min(l.steep[i], l.blocked[i]-1)
	if k := l.above(head); k >= 0 {
		last = min(last, k-1)
	}
	return last
}

// startAtBox fills in the source k, whose box stands at b, as far as the creek
// below b decides.
func (l *lines) startAtBox(k, b int) {
	l.head[k] = min(l.a[l.intakeOf(k)]-l.loss-l.drop, l.a[b]+l.rise)
	l.first[k], l.last[k] = int32(b+1), l.downTo(b, l.head[k])
	if !(l.head[k] >= l.a[b]) { // its water would stand below that of the creek
		l.first[k], l.last[k] = int32(len(l.z)), -1
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

// ranks sorts the sources that feed anything by head, then by number.
func (l *lines) ranks() {
	l.byRank = l.byRank[:0]
	l.rank = resize(l.rank, len(l.head))
	for k := range l.head {
		l.rank[k] = -1
		if l.first[k] <= l.last[k] {
			l.byRank = append(l.byRank, int32(k))
		}
	}
	slices.SortFunc(l.byRank, func(i, j int32) int {
		switch {
		case l.head[i] < l.head[j]:
			return -1
		case l.head[i] > l.head[j]:
			return 1
		}
		return int(i - j)
	})
	l.sorted = l.sorted[:0]
	for r, k := range l.byRank {
		l.rank[k] = int32(r)
		l.sorted = append(l.sorted, l.head[k])
	}
}

// restart puts the sweep before the first station.
func (l *lines) restart() {
	n, m := len(l.z), len(l.head)
	l.tree.reset(len(l.byRank))
	l.leaving, l.arriving = resize(l.leaving, n), resize(l.arriving, n)
	l.nextOut, l.nextIn = resize(l.nextOut, m), resize(l.nextIn, m)
	for k := range l.leaving {
		l.leaving[k], l.arriving[k] = -1, -1
	}
	for _, k := range l.byRank {
		first, last := l.first[k], l.last[k]
		l.nextIn[k], l.arriving[first] = l.arriving[first], k
		l.nextOut[k], l.leaving[last] = l.leaving[last], k
	}
	l.at = -1
}

// moveTo brings the sweep to a station, which must not lie upstream of the
// last one.
func (l *lines) moveTo(s int) {
	for l.at < s {
		if l.at >= 0 {
			for k := l.leaving[l.at]; k >= 0; k = l.nextOut[k] {
				l.tree.put(int(l.rank[k]), -1)
			}
		}
		l.at++
		for k := l.arriving[l.at]; k >= 0; k = l.nextIn[k] {
			l.tree.put(int(l.rank[k]), int(k))
		}
	}
}

// height is the running water above the creek at s when a source feeds it.
func (l *lines) height(k, s int) float64 { return l.head[k] - l.a[s] }

// length is the pipe from the intake of a source to s.
func (l *lines) length(k, s int) float64 { return l.s[s] - l.s[l.intakeOf(k)] }

// highest gives the feasible source with the most head for the sweep's
// station, with its intake at station from or below it; -1 when there is none.
func (l *lines) highest(from int) int {
	s := l.at
	// The first rank whose water would stand too high.
	lo, hi := 0, len(l.sorted)
	for lo < hi {
		mid := (lo + hi) / 2
		if l.sorted[mid]-l.a[s] <= l.heightMax {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	k := l.tree.highest(lo-1, l.firstOf(from))
	if k < 0 || l.height(k, s) < l.heightMin {
		return -1
	}
	return k
}

// feeds says whether a source can feed a standpipe at s with its water within
// the bounds of height.
func (l *lines) feeds(k, s int) bool {
	if s < int(l.first[k]) || s > int(l.last[k]) {
		return false
	}
	h := l.height(k, s)
	return h >= l.heightMin && h <= l.heightMax
}

// newWater prepares what all grades share.
func newWater(z, s []float64, intakeOK, standOK, passOK []bool, slopeMin float64) *water {
	n := len(z)
	w := &water{z: z, s: s, intakeOK: intakeOK, standOK: standOK, boxOK: standOK, blocked: make([]int32, n), steep: make([]int32, n), heightMax: math.Inf(1), lengthMax: math.Inf(1)}
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
