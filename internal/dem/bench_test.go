package dem

import (
	"context"
	"math/rand/v2"
	"testing"

	"github.com/airbusgeo/godal"
	"github.com/paulmach/orb"
)

// kilometre is 1 km² of terrain at 1 m, deflated tiles of 256 cells.
func kilometre(b *testing.B) string {
	s := utm(1000, 1000, func(i, j int) float64 { return 200 + 0.03*float64(i) + 0.1*noiseAt(i, j) })
	s.create = []string{"TILED=YES", "COMPRESS=DEFLATE", "PREDICTOR=3"}
	return s.make(b, "km.tif")
}

func BenchmarkOpenAndLoad1km2(b *testing.B) {
	path := kilometre(b)
	for b.Loop() {
		src, err := Open([]string{path}, Options{ZUnit: "m"})
		must(b, err)
		f := site(b, src)
		_, err = src.Load(context.Background(), f, around(f, 500))
		must(b, err)
		must(b, src.Close())
	}
}

func BenchmarkLoad1km2(b *testing.B) {
	src := open(b, Options{ZUnit: "m"}, kilometre(b))
	f := site(b, src)
	for b.Loop() {
		_, err := src.Load(context.Background(), f, around(f, 500))
		must(b, err)
	}
	b.ReportMetric(float64(b.N)*1e6/b.Elapsed().Seconds()/1e6, "Mcells/s")
}

func benchmarkAt(b *testing.B, s spec) {
	src := open(b, Options{ZUnit: "m"}, s.make(b, "b.tif"))
	f := site(b, src)
	surface, err := src.Load(context.Background(), f, around(f, 500))
	must(b, err)
	b.Logf("degree %d, %d blocks", surface.sheets[0].mapping.blocks[0].degree, len(surface.sheets[0].mapping.blocks))
	r := rand.New(rand.NewPCG(1, 1))
	points := make([]orb.Point, 1<<14)
	for i := range points {
		points[i] = orb.Point{900*r.Float64() - 450, 900*r.Float64() - 450}
	}
	sum, i := 0.0, 0
	for b.Loop() {
		z, _ := surface.At(points[i&(1<<14-1)])
		sum += z
		i++
	}
	if sum != sum {
		b.Error("a random point has no height")
	}
}

func BenchmarkAtUTM(b *testing.B) {
	benchmarkAt(b, utm(1000, 1000, func(i, j int) float64 { return noiseAt(i, j) + 200 }))
}

func BenchmarkAtDegrees(b *testing.B) {
	benchmarkAt(b, degrees(10, 46, 1e-5, 1500))
}

func BenchmarkAtFloat64(b *testing.B) {
	s := utm(1000, 1000, func(i, j int) float64 { return noiseAt(i, j) + 200 })
	s.kind = godal.Float64
	benchmarkAt(b, s)
}

func BenchmarkGradient(b *testing.B) {
	src := open(b, Options{ZUnit: "m"}, utm(500, 500, slope).make(b, "g.tif"))
	f := site(b, src)
	surface, err := src.Load(context.Background(), f, around(f, 200))
	must(b, err)
	for b.Loop() {
		surface.Gradient(orb.Point{12.3, 45.6})
	}
}

func BenchmarkDiffSigma(b *testing.B) {
	s := FromFunc(orb.Bound{Max: orb.Point{10, 10}}, 1, func(e, n float64) float64 { return 1 }).WithError(LidarForest)
	for b.Loop() {
		s.DiffSigma(orb.Point{1, 2}, orb.Point{40, 50})
	}
}
