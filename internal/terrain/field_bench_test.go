package terrain

import (
	"context"
	"math"
	"syscall"
	"testing"
	"time"

	"github.com/paulmach/orb"
)

// hills is a square of rough ground with n cells of 1 m a side.
func hills(n int) *Grid {
	g := emptySquare(n)
	g.Z = make([]float32, n*n)
	rows := hillRows(n)
	for row := range n {
		rows(row, g.Z[row*n:(row+1)*n])
	}
	return g
}

func emptySquare(n int) *Grid {
	return &Grid{Bound: orb.Bound{Max: orb.Point{float64(n), float64(n)}}, CellM: 1, Cols: n, Rows: n}
}

// hillRows reads the heights of hills, from the first row to the last.
func hillRows(n int) func(row int, z []float32) {
	state := uint64(1)
	return func(row int, z []float32) {
		y := float64(row)
		for col := range z {
			x := float64(col)
			state = state*6364136223846793005 + 1442695040888963407
			noise := float64(state>>40)/(1<<24) - 0.5
			z[col] = float32(100 + 0.02*x + 12*math.Sin(x/97)*math.Cos(y/131) + 4*math.Sin((x+2*y)/41) + 0.8*math.Cos((3*x-y)/17) + 0.1*noise)
		}
	}
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

// BenchmarkField100M reads its heights row by row and gives the most memory
// that the process held; the time to make up the heights does not count.
func BenchmarkField100M(b *testing.B) {
	const n = 10_000
	var search time.Duration
	for range b.N {
		rows := hillRows(n)
		var making time.Duration
		heights := func(row int, z []float32) {
			start := time.Now()
			rows(row, z)
			making += time.Since(start)
		}
		g := emptySquare(n)
		start := time.Now()
		if _, err := FromTankTo(context.Background(), g, g.Centre(n/2, n/3), benchCost(), FieldOptions{Heights: heights}); err != nil {
			b.Fatal(err)
		}
		search += time.Since(start) - making
	}
	b.ReportMetric(n*n*float64(b.N)/search.Seconds()/1e6, "Mcells/s")
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(float64(u.Maxrss)/1024, "MB-most")
}
