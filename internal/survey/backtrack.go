package survey

import (
	"math"

	"github.com/paulmach/orb"

	"route/internal/finding"
	"route/internal/quantity"
)

// backtracking takes out stretches that were walked more than once. A
// reference line is laid through the fixes that goes by short hops and so runs
// along every stretch once. Where the walk begins or ends with going back over
// it, that part is cut off (turns). In what is left each fix gets the distance
// along the reference line of its nearest point. Against the order of
// recording these distances should rise. The isotonic (least-squares rising)
// fit pools fixes where they do not; where the pooled ones go back by more
// than the receiver's error explains, only the fixes that reach further than
// all before them are kept.
func (c *cleaner) backtracking() {
	var all []*place
	for _, leg := range c.legs {
		for i := range leg {
			all = append(all, &leg[i])
		}
	}
	if len(all) < 4 {
		return
	}
	all, chain := c.turns(all)
	ref := newReference(all, chain)
	along := make([]float64, len(all))
	for i, p := range all {
		along[i], _ = ref.nearest(p.at)
	}
	back := c.markReversals(all, along)
	gone := 0
	for _, p := range all {
		if p.gone {
			gone++
		}
	}
	c.sweep()
	c.say(gone, finding.Note, "track_to_and_fro", "%d fixes where the walker went to and fro over {0} were left out", "", quantity.Metres(back))
}

// turns cuts off the beginning and the end of the walk where they go back over
// the rest, and gives what is left with a chain of short hops through it. A
// walk that comes back to its beginning by another way is cut at the place
// furthest from it, with a warning, since only one of the ways is the creek.
func (c *cleaner) turns(all []*place) (left []*place, chain []int) {
	g := newHopGraph(all, 1.5*c.o.SigmaM)
	from, to, isLoop := 0, len(all)-1, false
	if f := g.search(from); c.retraced(all, g.chain(from, f), f+1, len(all)) {
		to = f
	} else if f := furthestFrom(all, from); c.retraced(all, g.chain(from, f), f+1, len(all)) {
		to = f
	} else if distance(all[from].at, all[to].at) < 0.15*distance(all[from].at, all[f].at) {
		loop := finding.New(finding.Warning, "track_is_a_loop",
			"the track comes back to where it began; only the way out to its furthest place was taken for the creek",
			"check that the way out follows the creek, or cut the track")
		loop.Line = c.track.Line
		c.findings = append(c.findings, loop)
		isLoop = true
		to = f
	}
	if f := g.search(to); f < to && c.retraced(all, g.chain(f, to), 0, f) {
		from = f
	}
	cut := 0
	for i, p := range all {
		if i < from || i > to {
			p.gone = true
			cut++
		}
	}
	if isLoop {
		cut = 0
	}
	c.say(cut, finding.Note, "track_retraced", "%d fixes at the beginning or the end, where the walker goes back over the rest of the track, were left out", "")
	left = all[from : to+1]
	return left, newHopGraph(left, 1.5*c.o.SigmaM).chain(0, len(left)-1)
}

// retraced says whether the places i to j lie along a chain: nine in ten
// within 3 σ of it, and far enough from its end to be more than a wobble.
func (c *cleaner) retraced(all []*place, chain []int, i, j int) bool {
	if j-i < 2 || len(chain) < 2 {
		return false
	}
	ref := newReference(all, chain)
	close, wide := 0, 0.0
	for _, p := range all[i:j] {
		along, off := ref.nearest(p.at)
		if off <= 3*c.o.SigmaM {
			close++
		}
		edge := ref.at[len(ref.at)-1] - along
		if i == 0 {
			edge = along
		}
		wide = max(wide, edge)
	}
	return 10*close >= 9*(j-i) && wide > 3*c.o.SigmaM
}

func furthestFrom(all []*place, from int) int {
	best := from
	for i := range all {
		if distance(all[from].at, all[i].at) > distance(all[from].at, all[best].at) {
			best = i
		}
	}
	return best
}

// markReversals marks fixes of reversed blocks and returns how far the walk
// went back in all.
func (c *cleaner) markReversals(all []*place, along []float64) float64 {
	limit := 5 * c.o.SigmaM
	fit := isotonicMean(along)
	total := 0.0
	reached := math.Inf(-1) // how far the walk had come before it last went back
	for i := 0; i < len(fit); {
		j := i
		for j+1 < len(fit) && fit[j+1] == fit[i] {
			j++
		}
		high, back := math.Inf(-1), 0.0
		for _, a := range along[i : j+1] {
			high = max(high, a)
			back = max(back, high-a)
		}
		wentBack := back > limit
		if wentBack {
			total += back
		}
		for k := i; k <= j; k++ {
			all[k].gone = along[k] <= reached
			if wentBack {
				reached = max(reached, along[k])
			}
		}
		i = j + 1
	}
	return total
}

// reference is a line with the distance along it of each vertex.
type reference struct {
	line  orb.LineString
	at    []float64
	chunk []orb.Bound // of each chunkLen segments
}

const chunkLen = 32

// newReference takes the mean of up to seven fixes for each vertex, since the
// receiver's error would lengthen a line through every fix.
func newReference(all []*place, chain []int) reference {
	r := reference{line: make(orb.LineString, len(chain)), at: make([]float64, len(chain))}
	const half = 3
	for i := range chain {
		w := min(half, i, len(chain)-1-i)
		for _, k := range chain[i-w : i+w+1] {
			r.line[i][0] += all[k].at[0] / float64(2*w+1)
			r.line[i][1] += all[k].at[1] / float64(2*w+1)
		}
		if i > 0 {
			r.at[i] = r.at[i-1] + distance(r.line[i-1], r.line[i])
		}
	}
	for i := 0; i+1 < len(r.line); i += chunkLen {
		r.chunk = append(r.chunk, r.line[i:min(i+chunkLen, len(r.line)-1)+1].Bound())
	}
	return r
}

// nearest gives the distance along the line of the point nearest to p, and
// how far that is from p.
func (r reference) nearest(p orb.Point) (along, off float64) {
	best := math.Inf(1)
	for c, b := range r.chunk {
		dx := max(b.Min[0]-p[0], 0, p[0]-b.Max[0])
		dy := max(b.Min[1]-p[1], 0, p[1]-b.Max[1])
		if dx*dx+dy*dy >= best {
			continue
		}
		for i := c*chunkLen + 1; i <= min((c+1)*chunkLen, len(r.line)-1); i++ {
			d, t := toSegment(r.line[i-1], r.line[i], p)
			if d < best {
				best, along = d, r.at[i-1]+t*(r.at[i]-r.at[i-1])
			}
		}
	}
	return along, math.Sqrt(best)
}

// toSegment is the squared distance from p to ab and the share along it.
func toSegment(a, b, p orb.Point) (d2, t float64) {
	ux, uy := b[0]-a[0], b[1]-a[1]
	vx, vy := p[0]-a[0], p[1]-a[1]
	if l2 := ux*ux + uy*uy; l2 > 0 {
		t = max(0, min((ux*vx+uy*vy)/l2, 1))
	}
	dx, dy := vx-t*ux, vy-t*uy
	return dx*dx + dy*dy, t
}

// hopGraph joins fixes that lie within reach of each other, and each with the
// next one recorded. A hop costs its squared length, so that many short hops
// beat few long ones and the cheapest way follows the walk.
type hopGraph struct {
	all    []*place
	reachM float64
	bucket map[[2]int][]int
	from   []int
}

func newHopGraph(all []*place, reachM float64) *hopGraph {
	g := &hopGraph{all: all, reachM: reachM, bucket: map[[2]int][]int{}}
	for i, p := range all {
		k := g.key(p.at)
		g.bucket[k] = append(g.bucket[k], i)
	}
	return g
}

func (g *hopGraph) key(p orb.Point) [2]int {
	return [2]int{int(math.Floor(p[0] / g.reachM)), int(math.Floor(p[1] / g.reachM))}
}

// search fills g.from with the cheapest ways from a fix to all others and
// returns the one that is dearest to reach, the later of equals.
func (g *hopGraph) search(start int) int {
	n := len(g.all)
	cost := make([]float64, n)
	done := make([]bool, n)
	g.from = make([]int, n)
	for i := range cost {
		cost[i] = math.Inf(1)
	}
	cost[start] = 0
	last := start
	q := hopQueue{{0, start}}
	relax := func(u, v int) {
		if v < 0 || v >= n || done[v] {
			return
		}
		d := distance(g.all[u].at, g.all[v].at)
		if k := cost[u] + d*d; k < cost[v] {
			cost[v], g.from[v] = k, u
			q.push(hop{k, v})
		}
	}
	for len(q) > 0 {
		u := q.pop().to
		if done[u] {
			continue
		}
		done[u] = true
		last = u
		relax(u, u+1)
		relax(u, u-1)
		k := g.key(g.all[u].at)
		for y := k[1] - 1; y <= k[1]+1; y++ {
			for x := k[0] - 1; x <= k[0]+1; x++ {
				for _, v := range g.bucket[[2]int{x, y}] {
					if distance(g.all[u].at, g.all[v].at) <= g.reachM {
						relax(u, v)
					}
				}
			}
		}
	}
	return last
}

// chain is the cheapest way between two fixes.
func (g *hopGraph) chain(start, end int) []int {
	g.search(start)
	chain := []int{end}
	for u := end; u != start; {
		u = g.from[u]
		chain = append(chain, u)
	}
	for i, j := 0, len(chain)-1; i < j; i, j = i+1, j-1 {
		chain[i], chain[j] = chain[j], chain[i]
	}
	return chain
}

type hop struct {
	cost float64
	to   int
}

func (h hop) before(o hop) bool { return h.cost < o.cost || h.cost == o.cost && h.to < o.to }

type hopQueue []hop

func (q *hopQueue) push(h hop) {
	*q = append(*q, h)
	s := *q
	for i := len(s) - 1; i > 0 && s[i].before(s[(i-1)/2]); i = (i - 1) / 2 {
		s[i], s[(i-1)/2] = s[(i-1)/2], s[i]
	}
}

func (q *hopQueue) pop() hop {
	s := *q
	top := s[0]
	n := len(s) - 1
	s[0] = s[n]
	s = s[:n]
	*q = s
	for i := 0; ; {
		child := 2*i + 1
		if child >= n {
			break
		}
		if child+1 < n && s[child+1].before(s[child]) {
			child++
		}
		if !s[child].before(s[i]) {
			break
		}
		s[i], s[child] = s[child], s[i]
		i = child
	}
	return top
}

// isotonicMean is the least-squares non-decreasing fit (pool adjacent
// violators; Barlow, Bartholomew, Bremner and Brunk 1972). Pooled values are
// equal to the last bit.
func isotonicMean(y []float64) []float64 {
	type block struct {
		mean float64
		n    int
	}
	blocks := make([]block, 0, len(y))
	for _, v := range y {
		b := block{v, 1}
		for len(blocks) > 0 && blocks[len(blocks)-1].mean >= b.mean {
			last := blocks[len(blocks)-1]
			blocks = blocks[:len(blocks)-1]
			n := last.n + b.n
			b = block{(last.mean*float64(last.n) + b.mean*float64(b.n)) / float64(n), n}
		}
		blocks = append(blocks, b)
	}
	fit := make([]float64, 0, len(y))
	for _, b := range blocks {
		for range b.n {
			fit = append(fit, b.mean)
		}
	}
	return fit
}
