package plan

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/paulmach/orb"

	"route/internal/terrain"
)

// randomPolygon is a star around a centre: simple, and often not convex.
func randomPolygon(r *rand.Rand, cx, cy, size float64) orb.Polygon {
	n := 3 + r.IntN(8)
	ring := make(orb.Ring, 0, n+1)
	for i := range n {
		a := 2 * math.Pi * (float64(i) + 0.8*r.Float64()) / float64(n)
		d := size * (0.3 + 0.7*r.Float64())
		ring = append(ring, orb.Point{cx + d*math.Cos(a), cy + d*math.Sin(a)})
	}
	return orb.Polygon{append(ring, ring[0])}
}

// A chord is allowed when no point of it, sampled densely, is on forbidden
// land. The two may differ only where the chord grazes a border by less than
// the sampling step; such cases are recognised by a refusal of ours.
func TestChordsStayOnAllowedLand(t *testing.T) {
	const seed = 12
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 2))
	allowed, refused := 0, 0
	for range 2000 {
		l := &land{inside: []orb.Polygon{randomPolygon(r, 0, 0, 60)}, out: []orb.Polygon{randomPolygon(r, 10, 0, 20)}}
		a := orb.Point{40 * r.NormFloat64(), 40 * r.NormFloat64()}
		b := orb.Point{a[0] + 30*r.NormFloat64(), a[1] + 30*r.NormFloat64()}
		sampled := true
		for k := range 401 {
			f := float64(k) / 400
			sampled = sampled && l.allows(orb.Point{a[0] + f*(b[0]-a[0]), a[1] + f*(b[1]-a[1])})
		}
		got := l.allowsChord(a, b)
		if got && !sampled {
			t.Fatalf("chord %v–%v was allowed and leaves the land", a, b)
		}
		if got {
			allowed++
		} else if !sampled {
			refused++
		}
	}
	if allowed < 100 || refused < 100 {
		t.Errorf("the generator makes too few of one kind: %d allowed, %d refused", allowed, refused)
	}
}

// A strip narrower than a cell still keeps pipes out.
func TestThinKeepOutIsNotTunnelled(t *testing.T) {
	g := &terrain.Grid{Bound: orb.Bound{Max: orb.Point{40, 40}}, CellM: 2, Cols: 20, Rows: 20}
	strip := orb.Polygon{{{19.1, -5}, {19.3, -5}, {19.3, 45}, {19.1, 45}, {19.1, -5}}}
	cells := (&land{out: []orb.Polygon{strip}}).forbidden(g)
	for row := range g.Rows {
		if !cells[row*g.Cols+9] {
			t.Errorf("row %d is open", row)
		}
	}
}
