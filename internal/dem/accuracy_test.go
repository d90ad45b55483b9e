package dem

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/paulmach/orb"
)

// Standard deviations of a drop for three classes at five distances and for
// independent heights, as tabulated when the classes were proposed, by a
// separate calculation; to the last digit of that table.
func TestDropSigmaTable(t *testing.T) {
	distances := []float64{10, 30, 100, 300, 1000, 1e9}
	for _, c := range []struct {
		model     ErrorModel
		want      []float64
		tolerance float64
	}{
		{LidarForest, []float64{.076, .089, .102, .122, .138, .140}, .0006},
		{Mixed10, []float64{.44, .58, .70, .79, .91, .95}, .006},
		{Global30, []float64{1.43, 1.81, 2.39, 2.80, 3.29, 3.71}, .006},
	} {
		for i, d := range distances {
			near(t, c.model.Class, c.model.DropSigma(d), c.want[i], c.tolerance)
		}
	}
}

func TestDropSigmaProperties(t *testing.T) {
	for _, m := range []ErrorModel{LidarForest, LidarOpen, Mixed10, Global30, {}} {
		if m.DropSigma(0) != 0 {
			t.Errorf("%s: a height differs from itself by %v", m.Class, m.DropSigma(0))
		}
		last := 0.0
		for d := 0.1; d < 1e5; d *= 1.3 { // never falls with distance
			if s := m.DropSigma(d); s < last {
				t.Fatalf("%s: %v at %v m after %v", m.Class, s, d, last)
			} else {
				last = s
			}
		}
		near(t, "far apart is independent", m.DropSigma(1e12), math.Sqrt2*m.Sigma(), 1e-9)
	}
	with := LidarForest
	with.BiasM = 5
	if with.DropSigma(30) != LidarForest.DropSigma(30) {
		t.Error("a common bias does not cancel")
	}
}

// The rounding of values to whole steps has the spread that quantised adds:
// by drawing values and rounding them.
func TestQuantisedByDrawing(t *testing.T) {
	r := rand.New(rand.NewPCG(12, 13)) // seed 12, 13
	const n, step = 200000, 1.0
	sum := 0.0
	for i := 0; i < n; i++ {
		v := 1000 * r.Float64()
		d := math.Round(v/step)*step - v
		sum += d * d
	}
	near(t, "spread of rounding", ErrorModel{}.quantised(step).NuggetM, math.Sqrt(sum/n), 0.002)
}

// Which class a raster falls into, and that the person's own figures win.
func TestAccuracyClass(t *testing.T) {
	for _, c := range []struct {
		cell float64
		want string
	}{{0.5, LidarForest.Class}, {1, LidarForest.Class}, {1.5, LidarForest.Class}, {2, Mixed10.Class}, {10, Mixed10.Class}, {15, Mixed10.Class}, {25, Global30.Class}, {90, Global30.Class}, {math.NaN(), Global30.Class}} {
		if m := classByCell(c.cell); m.Class != c.want || m.Why == "" {
			t.Errorf("cell %v: %s (%s)", c.cell, m.Class, m.Why)
		}
	}
	own := ErrorModel{NuggetM: 0.01, LongM: 0.05, LongAt: 200}
	src := open(t, Options{ZUnit: "m", Error: &own}, utm(50, 50, func(i, j int) float64 { return float64(100 + i%9 + j) }).make(t, "dsm.tif"))
	surface, _ := load(t, src, 20)
	near(t, "own sigma", surface.DiffSigma(orb.Point{0, 0}, orb.Point{30, 40}), own.DropSigma(50), 1e-12)
	if info := src.Infos()[0]; info.AccuracyClass != "given" || info.AccuracyWhy == "" {
		t.Errorf("%+v", info)
	}
	hasNot(t, src.Findings(), "surface_model")
}
