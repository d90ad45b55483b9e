package optimize

import (
	"cmp"
	"math"
	"slices"
)

// prices is what something costs as a step function of a length or height in
// metres, in the smallest coin: total[k] holds up to upTo[k]. Both rise strictly.
type prices struct {
	upTo  []float64
	total []int64
}

// at gives the price of a length; the last step holds for all beyond it.
func (p *prices) at(v float64) int64 { return p.total[p.step(v)] }

// step of a length.
func (p *prices) step(v float64) int {
	lo, hi := 0, len(p.upTo)-1
	for lo < hi {
		mid := (lo + hi) / 2
		if v <= p.upTo[mid] {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return lo
}

// below is the greatest length that costs less than a step; -Inf when none.
func (p *prices) below(step int) float64 {
	if step == 0 {
		return math.Inf(-1)
	}
	return p.upTo[step-1]
}

// supplyPrices is what a supply pipe, its settling box and the standpipe cost.
type supplyPrices struct {
	pipe, standpipe *prices
	boxDrop         float64 // between the pool and the free surface that feeds the standpipe
	freeboard       float64 // of the standpipe above its static level
	tallest         float64 // the standpipe is never made taller; it spills at rest instead
}

// standpipeHeight is the length of pipe that is bought for the standpipe.
func (c *supplyPrices) standpipeHeight(w *water, i, s int) float64 {
	return min(w.z[i]-c.boxDrop-w.z[s]+c.freeboard, c.tallest)
}

// of gives the price of feeding a standpipe at s from i with a pipe of a
// length.
func (c *supplyPrices) of(w *water, i, s int, length float64) int64 {
	return c.pipe.at(length) + c.standpipe.at(c.standpipeHeight(w, i, s))
}

// rung is one way to bring water to the head of a drive pipe.
type rung struct {
	level  float64 // running water, metres
	cost   int64
	length float64 // of the supply pipe
	intake int32
	box    int32 // -1 where there is none
	option int32 // of supply pipe and box
}

// ladder appends the ways to feed a standpipe at the sweep's station that no
// other way beats in both level and cost, highest first, down to a level from
// which all would be beaten anyway. By (3) in lines each query below gives the
// highest way that is cheaper than the last one; equal heads rank by station,
// so the next rung is strictly lower.
func (l *lines) ladder(dst []rung, option int32, price *supplyPrices, down float64) []rung {
	s := l.at
	for from := 0; ; {
		k := l.highest(from)
		if k < 0 {
			return dst
		}
		r := l.rung(k, s, option)
		if r.level <= down {
			return dst
		}
		var next int
		r.cost, next = price.cheaper(l.water, int(r.intake), s)
		dst = append(dst, r)
		if next >= s {
			return dst
		}
		from = next
	}
}

// rung is the way from a source to a standpipe at s, its cost left out.
func (l *lines) rung(k, s int, option int32) rung {
	return rung{level: l.z[s] + l.height(k, s), length: l.length(k, s), intake: int32(l.intakeOf(k)), box: int32(l.boxOf(k)), option: option}
}

// cheaper gives the price of feeding a standpipe at s from i, and the first
// station further down from which it is cheaper; s when there is none. Along
// the creek the price falls or stays as i grows: the pipe gets shorter and the
// standpipe lower.
func (c *supplyPrices) cheaper(w *water, i, s int) (cost int64, next int) {
	pipe, stand := c.pipe.step(w.s[s]-w.s[i]), c.standpipe.step(c.standpipeHeight(w, i, s))
	next = s
	if pipe > 0 {
		limit := c.pipe.upTo[pipe-1]
		lo, hi := i+1, next
		for lo < hi {
			if mid := (lo + hi) / 2; w.s[s]-w.s[mid] <= limit {
				hi = mid
			} else {
				lo = mid + 1
			}
		}
		next = lo
	}
	if stand > 0 {
		limit := c.standpipe.upTo[stand-1]
		lo, hi := i+1, next
		for lo < hi {
			if mid := (lo + hi) / 2; c.standpipeHeight(w, mid, s) <= limit {
				hi = mid
			} else {
				lo = mid + 1
			}
		}
		next = lo
	}
	return c.pipe.total[pipe] + c.standpipe.total[stand], next
}

// least is the least that any way with these prices costs.
func (c *supplyPrices) least() int64 { return c.pipe.total[0] + c.standpipe.total[0] }

// unbeaten sorts rungs from several options, highest first, and keeps those
// that no other beats in level and cost. Among equals the first option and the
// nearest intake stay.
func unbeaten(rungs []rung) []rung {
	slices.SortFunc(rungs, func(a, b rung) int {
		return cmp.Or(cmp.Compare(b.level, a.level), cmp.Compare(a.cost, b.cost), cmp.Compare(a.option, b.option), cmp.Compare(b.intake, a.intake))
	})
	kept := rungs[:0]
	for _, r := range rungs {
		if len(kept) == 0 || r.cost < kept[len(kept)-1].cost {
			kept = append(kept, r)
		}
	}
	return kept
}

// withRung adds a way to a list of unbeaten ones, highest first. Among equals
// the one that was there first stays.
func withRung(list []rung, r rung) []rung {
	at := 0 // first that is no dearer
	for at < len(list) && list[at].cost > r.cost {
		at++
	}
	if at < len(list) && list[at].level >= r.level {
		return list
	}
	// Those before it that are no higher are beaten, and so is one as dear.
	from := at
	for from > 0 && list[from-1].level <= r.level {
		from--
	}
	if at < len(list) && list[at].cost == r.cost {
		at++
	}
	if from == at { // the usual case, without the copies of Replace
		list = append(list, rung{})
		copy(list[at+1:], list[at:])
		list[at] = r
		return list
	}
	return slices.Replace(list, from, at, r)
}
