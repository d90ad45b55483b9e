package plan

import (
	"fmt"
	"math"
)

// bendOffM is how far a pipe that is pulled straight from stake to stake may
// lie beside its line: no more than a receiver errs anyway.
const bendOffM = 1.0

// bend is a place at which a laid line turns.
type bend struct {
	vertex  int     // of the path
	degrees float64 // positive to the left, seen along the flow
	elbow   bool    // sharper than pipe is bent by hand
}

// bendsOf lists where a line has to be pegged so that it can be pulled
// straight between the pegs: the vertices that Douglas and Peucker's method
// keeps (Cartographica 10(2), 1973), and every turn that takes a fitting.
func bendsOf(path []Vertex) []bend {
	keep := make([]bool, len(path))
	keep[0], keep[len(path)-1] = true, true
	elbow, from := elbows(path), 0
	for _, to := range append(elbow, len(path)-1) {
		keep[to] = true
		keepFar(path, from, to, keep)
		from = to
	}
	var kept []int
	for i, k := range keep {
		if k {
			kept = append(kept, i)
		}
	}
	var bends []bend
	sharp := map[int]bool{}
	for _, v := range elbow {
		sharp[v] = true
	}
	for i := 1; i+1 < len(kept); i++ {
		v, before, after := kept[i], kept[i-1], kept[i+1]
		if sharp[v] { // what the fitting turns, not what the pegs do
			before, after = v-1, v+1
		}
		bends = append(bends, bend{v, turnInPlan(path[before], path[v], path[after]), sharp[v]})
	}
	return bends
}

// elbows lists the vertices at which a line turns in plan by more than a pipe
// is bent by hand, by the rule by which terrain.Path.Bends counts them.
func elbows(path []Vertex) []int {
	var sharp []int
	for i := 1; i+1 < len(path); i++ {
		if math.Abs(turnInPlan(path[i-1], path[i], path[i+1])) > bendDegrees {
			sharp = append(sharp, i)
		}
	}
	return sharp
}

// keepFar marks the vertex furthest from the straight line between two kept
// ones where it lies too far beside it, and goes on with both halves.
func keepFar(path []Vertex, from, to int, keep []bool) {
	far, most := -1, bendOffM
	for i := from + 1; i < to; i++ {
		if off := besideLine(path[i], path[from], path[to]); off > most {
			far, most = i, off
		}
	}
	if far < 0 {
		return
	}
	keep[far] = true
	keepFar(path, from, far, keep)
	keepFar(path, far, to, keep)
}

// besideLine is the distance in plan of a vertex from the stretch between two.
func besideLine(p, a, b Vertex) float64 {
	dx, dy := float64(b.EastingM-a.EastingM), float64(b.NorthM-a.NorthM)
	px, py := float64(p.EastingM-a.EastingM), float64(p.NorthM-a.NorthM)
	t := 0.0
	if l := dx*dx + dy*dy; l > 0 {
		t = math.Max(0, math.Min(1, (px*dx+py*dy)/l))
	}
	return math.Hypot(px-t*dx, py-t*dy)
}

// turnInPlan is the angle in degrees by which a line turns at b.
func turnInPlan(a, b, c Vertex) float64 {
	ax, ay := float64(b.EastingM-a.EastingM), float64(b.NorthM-a.NorthM)
	bx, by := float64(c.EastingM-b.EastingM), float64(c.NorthM-b.NorthM)
	return math.Atan2(ax*by-ay*bx, ax*bx+ay*by) * 180 / math.Pi
}

// bendPegs pegs the bends of a pipe.
func bendPegs(letter, role string, path []Vertex) []peg {
	bends := bendsOf(path)
	pegs := make([]peg, len(bends))
	for k, b := range bends {
		v := path[b.vertex]
		side := "left"
		if b.degrees < 0 {
			side = "right"
		}
		what := fmt.Sprintf("bend %.0f deg %s", math.Abs(b.degrees), side)
		if b.elbow {
			what += ", elbow"
		}
		pegs[k] = peg{along: float64(v.AlongM), label: fmt.Sprintf("%s%d", letter, k+1), role: role, at: v.place(), level: v.InvertM,
			task: map[string]string{"supply": "Supply", "delivery": "Delivery"}[role] + " pipe: " + what, also: what}
	}
	return pegs
}
