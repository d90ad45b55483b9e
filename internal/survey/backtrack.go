package survey

import (
	"math"

	"github.com/paulmach/orb"

	"route/internal/finding"
	"route/internal/quantity"
)

// backtracking takes out stretches that were walked to and fro. A reference
// line is laid through the fixes that goes by short hops from the first to the
// last and so runs along every stretch once; each fix gets the distance along
// it of the nearest point. Against the order of recording these distances
// should rise. The isotonic (least-squares rising) fit pools fixes where they
// do not; where the pooled ones go back by more than the receiver's error
// explains, only the fixes that reach further than all before them are kept.
func (c *cleaner) backtracking() {
	reversed := 0.0
	c.each(func(leg []place) {
		if len(leg) < 4 {
			return
		}
		along := c.alongReference(leg)
		reversed += c.markReversals(leg, along)
	})
	gone := c.sweep()
	c.say(gone, finding.Note, "track_to_and_fro", "%d fixes where the walker went to and fro over {0} were left out", "", quantity.Metres(reversed))
}

// markReversals marks fixes of reversed blocks and returns how far the walk
// went back in all.
func (c *cleaner) markReversals(leg []place, along []float64) float64 {
	limit := 3 * c.o.SigmaM
	fit := isotonicMean(along)
	total := 0.0
	for i := 0; i < len(fit); {
		j := i
		for j+1 < len(fit) && fit[j+1] == fit[i] {
			j++
		}
		high, back := math.Inf(-1), 0.0
		for k := i; k <= j; k++ {
			high = max(high, along[k])
			back = max(back, high-along[k])
		}
		if back > limit {
			total += back
			high = math.Inf(-1)
			for k := i; k <= j; k++ {
				leg[k].gone = along[k] <= high
				high = max(high, along[k])
			}
		}
		i = j + 1
	}
	return total
}

// alongReference gives each fix its distance along the reference line.
func (c *cleaner) alongReference(leg []place) []float64 {
	chain := hops(leg, 1.5*c.o.SigmaM)
	ref := make(orb.LineString, len(chain))
	at := make([]float64, len(chain))
	for i, k := range chain {
		ref[i] = leg[k].at
		if i > 0 {
			at[i] = at[i-1] + distance(ref[i-1], ref[i])
		}
	}
	out := make([]float64, len(leg))
	for k := range leg {
		best := math.Inf(1)
		for i := 1; i < len(ref); i++ {
			d, t := toSegment(ref[i-1], ref[i], leg[k].at)
			if d < best {
				best, out[k] = d, at[i-1]+t*(at[i]-at[i-1])
			}
		}
	}
	return out
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

// hops is the cheapest way from the first to the last fix, by hops to any fix
// within reachM or to the next one recorded, each at the price of its squared
// length: many short hops beat few long ones.
func hops(leg []place, reachM float64) []int {
	n := len(leg)
	near := neighbours(leg, reachM)
	cost := make([]float64, n)
	from := make([]int, n)
	done := make([]bool, n)
	for i := range cost {
		cost[i] = math.Inf(1)
	}
	cost[0] = 0
	q := hopQueue{{0, 0}}
	relax := func(u, v int) {
		if v < 0 || v >= n || done[v] {
			return
		}
		d := distance(leg[u].at, leg[v].at)
		if k := cost[u] + d*d; k < cost[v] {
			cost[v], from[v] = k, u
			q.push(hop{k, v})
		}
	}
	for len(q) > 0 {
		u := q.pop().to
		if done[u] {
			continue
		}
		done[u] = true
		if u == n-1 {
			break
		}
		relax(u, u+1)
		relax(u, u-1)
		near(u, func(v int) { relax(u, v) })
	}
	chain := []int{n - 1}
	for u := n - 1; u != 0; {
		u = from[u]
		chain = append(chain, u)
	}
	for i, j := 0, len(chain)-1; i < j; i, j = i+1, j-1 {
		chain[i], chain[j] = chain[j], chain[i]
	}
	return chain
}

// neighbours lists the fixes within reachM of a fix, in the order of
// recording within each bucket.
func neighbours(leg []place, reachM float64) func(u int, do func(v int)) {
	type key struct{ x, y int }
	keyOf := func(p orb.Point) key {
		return key{int(math.Floor(p[0] / reachM)), int(math.Floor(p[1] / reachM))}
	}
	bucket := map[key][]int{}
	for i, p := range leg {
		k := keyOf(p.at)
		bucket[k] = append(bucket[k], i)
	}
	return func(u int, do func(v int)) {
		k := keyOf(leg[u].at)
		for y := k.y - 1; y <= k.y+1; y++ {
			for x := k.x - 1; x <= k.x+1; x++ {
				for _, v := range bucket[key{x, y}] {
					if v != u && distance(leg[u].at, leg[v].at) <= reachM {
						do(v)
					}
				}
			}
		}
	}
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
