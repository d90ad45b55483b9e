package profile

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// TestCorridorByBruteForce: distance to the line, and height above the lowest
// ground in the square around, against a search over everything, on random
// lines and ground with voids.
func TestCorridorByBruteForce(t *testing.T) {
	const seed = 80
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 0))
	for range 20 {
		cell := 0.5 + 2*rng.Float64()
		g := newRasterGround(orb.Point{-100, -100}, 1, 400, 400)
		for i := range g.z {
			g.z[i] = 10 * rng.Float64()
			if rng.IntN(300) == 0 {
				g.z[i] = math.NaN()
			}
		}
		line := orb.LineString{}
		for range 1 + rng.IntN(8) {
			line = append(line, orb.Point{150 * rng.Float64(), 150 * rng.Float64()})
		}
		reachM, lowM := 3+8*rng.Float64(), 2+8*rng.Float64()
		c, err := newCorridor(context.Background(), g, line, cell, reachM, lowM)
		if err != nil {
			t.Fatal(err)
		}
		radius := max(1, int(math.Round(lowM/cell)))
		inside := 0
		for i := range c.off {
			at := c.centre(i)
			if c.at(at) != i {
				t.Fatalf("cell %d is found as %d", i, c.at(at))
			}
			want := distance(line[0], at)
			for k := 1; k < len(line); k++ {
				d2 := planar.DistanceFromSegmentSquared(line[k-1], line[k], at)
				want = min(want, math.Sqrt(d2))
			}
			if want > reachM+1e-3 {
				if !math.IsInf(float64(c.off[i]), 1) {
					t.Fatalf("off %v at %v, want beyond %v", c.off[i], want, reachM)
				}
				continue
			}
			if want > reachM-1e-3 {
				continue // on the edge
			}
			inside++
			if math.Abs(float64(c.off[i])-want) > 1e-3 {
				t.Fatalf("off %v, want %v", c.off[i], want)
			}
			z, ok := g.At(at)
			if !ok {
				if c.z[i] == c.z[i] {
					t.Fatal("a height in a void")
				}
				continue
			}
			if inside%7 != 0 {
				continue
			}
			low := math.Inf(1)
			for dr := -radius; dr <= radius; dr++ {
				for dc := -radius; dc <= radius; dc++ {
					if h, ok := g.At(orb.Point{at[0] + float64(dc)*cell, at[1] + float64(dr)*cell}); ok {
						low = min(low, h)
					}
				}
			}
			if math.Abs(float64(c.rel[i])-(z-low)) > 1e-4 {
				t.Fatalf("rel %v, want %v", c.rel[i], z-low)
			}
		}
		if inside == 0 {
			t.Fatal("nothing in reach")
		}
	}
}

// TestLowestPathByBellmanFord: the cost of the path is the least of all, found
// by relaxing every edge until nothing changes, in both directions of flow.
func TestLowestPathByBellmanFord(t *testing.T) {
	const seed = 81
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 0))
	for range 20 {
		g := newRasterGround(orb.Point{-50, -50}, 1, 150, 120)
		for i := range g.z {
			g.z[i] = float64(rng.IntN(4)) // ties
			if rng.IntN(40) == 0 {
				g.z[i] = math.NaN()
			}
		}
		line := orb.LineString{{0, 0}, {20 * rng.Float64(), 10}, {30, 20 * rng.Float64()}}
		c, err := newCorridor(context.Background(), g, line, 1, 6, 3)
		if err != nil {
			t.Fatal(err)
		}
		upstream := rng.IntN(2) == 0
		from, to := c.at(line[0]), c.at(line[2])
		cells, ok, err := c.lowestPath(context.Background(), from, func(i int) bool { return i == to }, 4, 6, upstream)
		if err != nil || !ok {
			t.Fatal(ok, err)
		}
		cost := make([]float64, len(c.z))
		for i := range cost {
			cost[i] = math.Inf(1)
		}
		cost[from] = 0
		for changed := true; changed; {
			changed = false
			for u := range cost {
				if math.IsInf(cost[u], 1) {
					continue
				}
				col, row := c.place(u)
				for _, s := range steps {
					v := c.index(col+s.col, row+s.row)
					if v < 0 || c.off[v] > 6 {
						continue
					}
					if d := cost[u] + c.stepCost(u, v, s.length, 4, upstream); d < cost[v] {
						cost[v], changed = d, true
					}
				}
			}
		}
		got := 0.0
		for k := 1; k < len(cells); k++ {
			got += c.stepCost(cells[k-1], cells[k], distance(c.centre(cells[k-1]), c.centre(cells[k])), 4, upstream)
		}
		if cells[0] != from || cells[len(cells)-1] != to || math.Abs(got-cost[to]) > 1e-9*cost[to] {
			t.Fatalf("cost %v, least is %v", got, cost[to])
		}
	}
}

// TestStepCostByHand: the price of a step as the terrain study writes it
// (§1.3, a = 8 per metre, b = 0.15, κ = 4).
func TestStepCostByHand(t *testing.T) {
	c := &corridor{z: []float32{100, 100.5}, rel: []float32{0.25, 0.75}, off: []float32{0, 6}}
	flat := 2 * (1 + 8*0.5 + 0.15*4)
	if got := c.stepCost(0, 1, 2, 3, false); math.Abs(got-(flat+4*0.5)) > 1e-6 {
		t.Errorf("climbing costs %v, want %v", got, flat+2)
	}
	if got := c.stepCost(0, 1, 2, 3, true); math.Abs(got-flat) > 1e-6 {
		t.Errorf("the same upstream costs %v, want %v", got, flat)
	}
}
