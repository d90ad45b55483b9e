package terrain

import (
	"context"
	"math"
	"testing"

	"github.com/paulmach/orb"
)

// hills is a square of rough ground with n cells of 1 m a side.
func hills(n int) *Grid {
	g := &Grid{Bound: orb.Bound{Max: orb.Point{float64(n), float64(n)}}, CellM: 1, Cols: n, Rows: n, Z: make([]float32, n*n)}
	state := uint64(1)
	for i := range g.Z {
		x, y := float64(i%n), float64(i/n)
		state = state*6364136223846793005 + 1442695040888963407
		noise := float64(state>>40)/(1<<24) - 0.5
		z := 100 + 0.02*x + 12*math.Sin(x/97)*math.Cos(y/131) + 4*math.Sin((x+2*y)/41) + 0.8*math.Cos((3*x-y)/17) + 0.1*noise
		g.Z[i] = float32(z)
	}
	return g
}

// benchCost is the usual laying cost: three classes of slope.
func benchCost() LayingCost {
	return LayingCost{PerMetre: 1, SlopeClasses: []SlopeClass{{0.15, 1}, {0.3, 1.4}, {math.Inf(1), 2.5}}}
}

func benchmarkField(b *testing.B, n int) {
	g := hills(n)
	tank := g.Centre(n/2, n/3)
	b.ResetTimer()
	for range b.N {
		if _, err := FromTank(context.Background(), g, tank, benchCost()); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(n*n)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mcells/s")
}

func BenchmarkField1M(b *testing.B)  { benchmarkField(b, 1000) }
func BenchmarkField4M(b *testing.B)  { benchmarkField(b, 2000) }
func BenchmarkField10M(b *testing.B) { benchmarkField(b, 3163) }
