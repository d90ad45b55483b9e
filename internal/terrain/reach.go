package terrain

import (
	"math"

	"github.com/paulmach/orb"
)

// way is what is known of the cheapest way from a cell to the tank.
type way struct {
	lengthM float64
	crestM  float32
}

// Reach gives the length along the slope and the highest ground of the
// cheapest way from a place to the tank, as the steps from cell to cell run;
// ok is false where there is none. The length is up to 2.75 % more than that
// of Route, 1.4 % on average over all directions, and it is measured between
// the middles of the two cells. Ways that were asked for are remembered, so
// that a whole creek costs about as much as its longest way.
func (f *Field) Reach(from orb.Point) (lengthM, crestM float64, ok bool) {
	start, ok := f.startOf(from)
	if !ok {
		return 0, 0, false
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	type leg struct{ u, k int } // step k from node u
	var trail []leg
	u := start
	w, found := f.known[u]
	for !found && u != f.end {
		next, k := f.next(u)
		trail = append(trail, leg{u, k})
		u = next
		w, found = f.known[u]
	}
	if !found {
		w = way{crestM: f.nodes[f.end].z}
		f.known[f.end] = w
	}
	for i := len(trail) - 1; i >= 0; i-- {
		lengthM, crestM := f.step(trail[i].u, trail[i].k)
		w = way{w.lengthM + lengthM, max(w.crestM, crestM)}
		f.known[trail[i].u] = w
	}
	return w.lengthM, float64(w.crestM), true
}

// step gives the length along the slope and the highest ground of step k from
// a node.
func (f *Field) step(u, k int) (lengthM float64, crestM float32) {
	s, cell := f.stepsOf(u), f.grid.CellM
	a, b := f.nodes[u].z, f.nodes[u+s.to[k]].z
	crestM = max(a, b)
	switch {
	case k < firstDiagonal:
		return math.Hypot(cell, float64(b-a)), crestM
	case k < firstKnight:
		return math.Hypot(cell*math.Sqrt2, float64(b-a)), crestM
	}
	mid := (f.nodes[u+s.a[k]].z + f.nodes[u+s.b[k]].z) * 0.5
	half := cell * math.Sqrt(5) / 2
	return math.Hypot(half, float64(mid-a)) + math.Hypot(half, float64(b-mid)), max(crestM, mid)
}

// Cost gives the least laying cost from a place to the tank in the unit of
// LayingCost, between the middles of the two cells and with the elongation
// that FromTank states; ok is false where there is no way.
func (f *Field) Cost(from orb.Point) (cost float64, ok bool) {
	i, ok := f.startOf(from)
	if !ok {
		return 0, false
	}
	return f.price.money(f.nodes[i].cost - tankCost), true
}
