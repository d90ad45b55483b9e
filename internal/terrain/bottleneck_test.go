package terrain

import (
	"cmp"
	"context"
	"math"
	"slices"
	"testing"
)

// The lowest crest equals the bottleneck of Kruskal's spanning forest: cells
// are opened in the order of their heights and joined with open neighbours;
// the cell that first joins a place with the tank is the crest between them.
func TestCrestMinEqualsKruskalsBottleneck(t *testing.T) {
	rng := seeded(t)
	for range 200 {
		g, c := randomGrid(rng)
		n := len(g.Z)
		tank := rng.IntN(n)
		if !open(g, c, tank%g.Cols, tank/g.Cols) {
			continue
		}
		crests, err := CrestMin(context.Background(), g, g.Centre(tank%g.Cols, tank/g.Cols), c.Forbidden)
		if err != nil {
			t.Fatal(err)
		}
		parent, members, want := make([]int, n), make([][]int, n), make([]float64, n)
		var order []int
		for i := range n {
			parent[i], members[i], want[i] = -1, []int{i}, math.NaN()
			if open(g, c, i%g.Cols, i/g.Cols) {
				order = append(order, i)
			}
		}
		root := func(i int) int {
			for parent[i] != i {
				i = parent[i]
			}
			return i
		}
		slices.SortFunc(order, func(a, b int) int { return cmp.Compare(g.Z[a], g.Z[b]) })
		for _, u := range order {
			parent[u] = u
			x, y := u%g.Cols, u/g.Cols
			for dy := -1; dy <= 1; dy++ {
				for dx := -1; dx <= 1; dx++ {
					if !open(g, c, x+dx, y+dy) || parent[(y+dy)*g.Cols+x+dx] < 0 || dx != 0 && dy != 0 && !open(g, c, x+dx, y) && !open(g, c, x, y+dy) {
						continue
					}
					if a, b := root(u), root((y+dy)*g.Cols+x+dx); a != b {
						parent[b] = a
						members[a] = append(members[a], members[b]...)
					}
				}
			}
			if parent[tank] >= 0 {
				for _, i := range members[root(tank)] {
					if math.IsNaN(want[i]) {
						want[i] = float64(g.Z[u])
					}
				}
			}
		}
		for i := range n {
			got, ok := crests.At(g.Centre(i%g.Cols, i/g.Cols))
			if ok == math.IsNaN(want[i]) || ok && got != want[i] {
				t.Fatalf("cell %d of %d×%d: crest %g (%v), bottleneck %g", i, g.Cols, g.Rows, got, ok, want[i])
			}
		}
	}
}
