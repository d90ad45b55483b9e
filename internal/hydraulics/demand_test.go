package hydraulics

import (
	"errors"
	"math"
	"testing"
)

// The worked example of RWS.4.D.5: 60 people at 40 L/day need 2400 L/day.
func TestDemand(t *testing.T) {
	p, err := UseByName("person")
	if err != nil {
		t.Fatal(err)
	}
	p.Usual = 40 * litreADay
	_, usual, _ := TotalDemand([]Demand{{p, 60}})
	if relative(usual*86400e3, 2400) > 1e-12 {
		t.Errorf("%v L/day, want 2400", usual*86400e3)
	}
	if v := TankVolume(usual, 2); relative(v, 4.8) > 1e-12 {
		t.Errorf("%v m³, want 4.8", v)
	}
	if _, err := UseByName("dragon"); err == nil {
		t.Error("dragons drink")
	}
	for _, u := range Uses() {
		if !(u.Low > 0 && u.Low <= u.Usual && u.Usual <= u.High) || u.Source == "" || u.Per == "" {
			t.Errorf("%+v", u)
		}
	}
}

func TestBucket(t *testing.T) {
	// 10 L in 10, 11 and 9 s: 1.000, 0.909, 1.111 L/s, mean 1.0067 by hand.
	r, err := BucketReading(0.010, []float64{10, 11, 9})
	if err != nil || math.Abs(r.Flow-1.0067e-3) > 1e-7 {
		t.Errorf("%v, %v", r, err)
	}
	// The scatter of the mean is 0.0584 L/s by hand; the watch adds little.
	if r.Sigma < 0.0584e-3 || r.Sigma > 0.075e-3 {
		t.Errorf("sigma %v m³/s", r.Sigma)
	}
	var bad *RangeError
	if _, err := BucketReading(0.01, nil); !errors.As(err, &bad) {
		t.Error("no filling was accepted")
	}
	if _, err := BucketReading(0.01, []float64{0}); !errors.As(err, &bad) {
		t.Error("a filling of no time was accepted")
	}
}

func TestFloat(t *testing.T) {
	// USBR Water Measurement Manual, table of coefficients (from memory).
	for ft, want := range map[float64]float64{0.3: 0.66, 1: 0.66, 2: 0.68, 3: 0.70, 4: 0.72, 5: 0.74, 4.5: 0.73, 30: 0.80} {
		if got := FloatCoefficient(ft * 0.3048); math.Abs(got-want) > 1e-9 {
			t.Errorf("%g ft: %v, want %v", ft, got, want)
		}
	}
	if r := FloatReading(0.5, 0.2, 0.2); math.Abs(r.Flow-0.066) > 1e-12 || relative(r.Sigma, 0.2*r.Flow) > 1e-12 {
		t.Errorf("%v", r)
	}
}

// A triangle of water 2 m wide, 0.4 m deep in the middle, 0.3 m/s there: the
// mid-section method gives 0.3·0.4·1 m³/s by hand.
func TestSection(t *testing.T) {
	r, err := SectionReading([]Vertical{{0, 0, 0}, {1, 0.4, 0.3}, {2, 0, 0}})
	if err != nil || math.Abs(r.Flow-0.12) > 1e-12 {
		t.Errorf("%v, %v", r, err)
	}
	var bad *RangeError
	if _, err := SectionReading([]Vertical{{0, 0, 0}, {1, 0.4, 0.3}}); !errors.As(err, &bad) {
		t.Error("two verticals were accepted")
	}
	if _, err := SectionReading([]Vertical{{0, 0, 0}, {1, 0.4, 0.3}, {1, 0, 0}}); !errors.As(err, &bad) {
		t.Error("a distance that does not rise was accepted")
	}
}

// Tennant's classes.
func TestTake(t *testing.T) {
	for drawn, want := range map[float64]string{0.5: "good", 0.2: "excellent", 0.85: "short-term survival", 0.97: "severe harm"} {
		if got := JudgeTake(drawn, 1, 1); got.Judgement != want || math.Abs(got.ShareOfLow-drawn) > 1e-12 {
			t.Errorf("%g of the low flow: %+v, want %s", drawn, got, want)
		}
	}
	if got := JudgeTake(0.5, 1, 0); got.Judgement != "" || !math.IsNaN(got.LeftOfMean) {
		t.Errorf("unknown mean: %+v", got)
	}
}

// Sand of 0.2 mm sinks at 19.5 mm/s by Ferguson & Church (by hand: R·g·d² =
// 6.47e-7 m³/s², 18·ν = 2.353e-5, √(0.75·R·g·d³) = 9.85e-6 m²/s); 1.5 L/s then
// want 2·0.0015/0.0194 m², and 300 s of it 0.45 m³.
func TestSettlingBox(t *testing.T) {
	area, volume := SettlingBox(cold(t), 1.5e-3, 0.2e-3, 300)
	if want := 2 * 1.5e-3 / (6.47e-7 / (2.353e-5 + 0.985e-5)); relative(area, want) > 0.005 || relative(volume, 0.45) > 1e-12 {
		t.Errorf("%.4f m² and %.3f m³, want %.4f m² and 0.45 m³", area, volume, want)
	}
}
