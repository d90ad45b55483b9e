package optimize

import (
	"math"
	"strconv"
	"strings"

	"route/internal/finding"
	"route/internal/quantity"
)

// headMissing writes down the nearest miss of a creek that has too little fall
// within reach: the best head, what is needed, and by how much each limit
// alone would have to give way. Each figure is the least that the search
// itself, run again with that limit changed, finds sufficient.
func (q *inquiry) headMissing(best int) finding.Finding {
	have, need := q.within(best), q.needed(best)
	values := []quantity.Value{quantity.Of(quantity.Head, have), quantity.Of(quantity.Head, need)}
	text := "best head within reach {0}, {1} needed"
	if math.IsInf(have, -1) {
		text, values[0] = "no drive pipe of allowed length falls anywhere; a head of {1} is needed", quantity.Of(quantity.Head, 0)
	}
	var ways []string
	offer := func(words string, v quantity.Value) {
		ways = append(ways, strings.ReplaceAll(words, "{}", "{"+strconv.Itoa(len(values))+"}"))
		values = append(values, v)
	}
	if more, ok := q.least(q.Limits.SupplyLengthMaxM, q.longestSupply(), func(l *Limits, v float64) { l.SupplyLengthMaxM = v }); ok {
		offer("about {} more supply pipe", quantity.Metres(more-q.Limits.SupplyLengthMaxM))
	}
	if !math.IsInf(have, -1) {
		offer("a {} higher intake", quantity.Metres(need-have))
	}
	if more, ok := q.least(q.Limits.StandpipeMaxM, q.Limits.StandpipeMaxM+2*need+10, func(l *Limits, v float64) { l.StandpipeMaxM = v }); ok {
		offer("a {} higher standpipe", quantity.Metres(more-q.Limits.StandpipeMaxM))
	}
	if more, ok := q.least(q.Limits.DriveLengthMaxM, 4*q.Limits.DriveLengthMaxM, func(l *Limits, v float64) { l.DriveLengthMaxM = v }); ok {
		offer("{} more drive pipe", quantity.Metres(more-q.Limits.DriveLengthMaxM))
	}
	hint := "no single limit is to blame: the creek falls too little here"
	switch n := len(ways); {
	case n == 1:
		hint = ways[0] + " would do"
	case n > 1:
		hint = strings.Join(ways[:n-1], ", ") + " or " + ways[n-1] + " would do"
	}
	return finding.New(finding.Error, "nearest_miss", text, hint, values...)
}

// longestSupply is the whole creek.
func (q *inquiry) longestSupply() float64 { return q.water.s[q.n-1] - q.water.s[0] }

// relaxSteps of bisection leave a limit uncertain by a thousandth of the range.
const relaxSteps = 10

// least finds the least value of a limit between its present one and most at
// which some pump has the head it needs; ok is false where even most does not
// do.
func (q *inquiry) least(now, most float64, set func(l *Limits, v float64)) (v float64, ok bool) {
	enough := func(v float64) bool {
		limits := q.Limits
		set(&limits, v)
		return q.anyHead(limits)
	}
	if !(most > now) || !enough(most) {
		return 0, false
	}
	lo, hi := now, most
	for range relaxSteps {
		if mid := (lo + hi) / 2; enough(mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return hi, true
}

// anyHead says whether any pump gets the head it needs under other limits,
// with the flow and the supply pipe that lose least.
func (q *inquiry) anyHead(l Limits) bool {
	w := *q.water
	w.heightMin, w.heightMax, w.lengthMax = l.StandpipeMinM, l.StandpipeMaxM-l.StandpipeFreeboardM, l.SupplyLengthMaxM
	r := relief{water: &w, cover: q.grade.cover, pairs: &q.pairs, drive: &q.site.drive}
	if l.DriveLengthMaxM != q.Limits.DriveLengthMaxM {
		far := q.site.drive
		far.lengthMax = l.DriveLengthMaxM
		pairs := far.pairs()
		r.pairs, r.drive = &pairs, &far
	}
	q.prepare(&r)
	for p, top := range r.top {
		if !math.IsNaN(q.lift[p]) && top >= q.needed(p) {
			return true
		}
	}
	return false
}
