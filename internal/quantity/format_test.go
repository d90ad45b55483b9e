package quantity

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

// Conversions by hand from NIST SP 811 appendix B.8: 1 ft = 0.3048 m, 1 in =
// 0.0254 m, 1 gal = 3.785411784 L, 1 psi = 6894.757 Pa. The number of digits
// is this project's own choice.
func TestFormat(t *testing.T) {
	for _, c := range []struct {
		s    System
		d    Dimension
		si   float64
		want string
	}{
		{US, Length, 2.4689, "8.1 ft"},
		{US, Length, 27.432, "90.0 ft"},
		{US, Length, 381, "1250 ft"},
		{US, Length, 0.0254, "1.0 in"},
		{US, Length, 0, "0 ft"},
		{US, Length, -2.4689, "-8.1 ft"},
		{US, Length, 16093.44, "10 mi"},
		{SI, Length, 2.4689, "2.47 m"},
		{SI, Length, 27.432, "27.4 m"},
		{SI, Length, 1234.5, "1235 m"},
		{SI, Length, 0.025, "25 mm"},
		{SI, Length, 12345, "12 km"},
		{SI, Length, 9.999, "10.0 m"},
		{SI, Length, math.NaN(), "unknown"},
		{SI, Length, math.Inf(1), "unknown"},
		{US, Diameter, 0.03175, "1-1/4 in"},
		{US, Diameter, 0.01905, "3/4 in"},
		{US, Diameter, 0.0508, "2 in"},
		{US, Diameter, 0.0266446, "1.05 in"}, // 1.049 in, schedule 40
		{SI, Diameter, 0.032, "32 mm"},
		{SI, Diameter, 0.0266446, "26.6 mm"},
		{US, Roughness, 4.572e-5, "0.0018 in"},
		{SI, Roughness, 1.5e-6, "0.0015 mm"},
		{US, Flow, 12 * 6.30901964e-5, "12.0 gpm"},
		{SI, Flow, 20.0 / 60000, "20.0 L/min"},
		{SI, Flow, 0.02, "20.0 L/s"},
		{SI, Flow, 1.23456e-5, "0.741 L/min"},
		{US, DailyVolume, 1.5 / 86400, "396 gal/day"},
		{SI, DailyVolume, 1.536 / 86400, "1540 L/day"},
		{SI, DailyVolume, 23.456 / 86400, "23\u202f500 L/day"},
		{SI, DailyVolume, 234.56 / 86400, "235 m³/day"},
		{US, Volume, 1.1356235352, "300 gal"},
		{SI, Volume, 1.2, "1200 L"},
		{US, Pressure, 413685.4375, "60.0 psi"},
		{SI, Pressure, 6e5, "6.00 bar"},
		{US, Head, 3.048, "10.0 ft"},
		{SI, Head, 3.048, "3.05 m"},
		{US, Temperature, 283.15, "50 °F"},
		{SI, Temperature, 283.15, "10 °C"},
		{SI, Temperature, 285.65, "12.5 °C"},
		{SI, Ratio, 0.4, "40 %"},
		{US, Ratio, 0.625, "62.5 %"},
		{US, Slope, 0.02, "2 %"},
		{US, Velocity, 1.2192, "4.00 ft/s"},
		{SI, Duration, 45, "45.0 s"},
		{SI, Duration, 5400, "90.0 min"},
		{US, Area, 4046.8564224, "1.00 acre"},
		{SI, Angle, math.Pi / 4, "45.0°"},
		{SI, Volume, 1e-15, "0 L"},
		{US, Multiple, 7.5, "7.5 times"},
		{SI, Multiple, 1416.7, "1420 times"},
	} {
		if got := Format(c.s, c.d, c.si); got != c.want {
			t.Errorf("Format(%v, %v, %g) = %q, want %q", c.s, c.d, c.si, got, c.want)
		}
	}
}

func TestFormatMeasure(t *testing.T) {
	for _, c := range []struct {
		s    System
		d    Dimension
		m    Measure
		want string
	}{
		{US, Head, Measure{12.1 * 0.3048, 0.3 * 0.3048}, "12.1 ± 0.3 ft"},
		{US, Head, Measure{12.138 * 0.3048, 0.034 * 0.3048}, "12.14 ± 0.03 ft"},
		{SI, Head, Measure{3.7, 0.14}, "3.70 ± 0.14 m"},
		{SI, Head, Measure{3.7, 0.17}, "3.70 ± 0.17 m"},
		{SI, Head, Measure{3.7, 0.196}, "3.7 ± 0.2 m"},
		{SI, Head, Measure{3.7, 0.097}, "3.70 ± 0.10 m"},
		{SI, Head, Measure{0.02, 0.3}, "0.0 ± 0.3 m"},
		{SI, Length, Measure{1234, 27}, "1230 ± 30 m"},
		{SI, Length, Measure{3.7, 0}, "3.70 m"},
		{SI, Length, Measure{3.7, 1e-12}, "3.70 m"},
		{SI, Length, Measure{3.7, math.NaN()}, "3.70 m, error unknown"},
		{SI, Length, Measure{math.NaN(), 1}, "unknown"},
		{SI, Temperature, Measure{283.15, 2.2}, "10 ± 2 °C"},
		{US, Temperature, Measure{283.15, 2.2}, "50 ± 4 °F"},
		{SI, DailyVolume, Measure{23.456 / 86400, 1.2 / 86400}, "23\u202f500 ± 1200 L/day"},
	} {
		if got := FormatMeasure(c.s, c.d, c.m); got != c.want {
			t.Errorf("FormatMeasure(%v, %v, %v) = %q, want %q", c.s, c.d, c.m, got, c.want)
		}
	}
}

func TestText(t *testing.T) {
	values := []Value{Metres(2.4689), Of(Flow, 20.0/60000)}
	for _, c := range []struct{ template, us, si string }{
		{"{0} of head, {1}", "8.1 ft of head, 5.28 gpm", "2.47 m of head, 20.0 L/min"},
		{"{1}{0}{1}", "5.28 gpm8.1 ft5.28 gpm", "20.0 L/min2.47 m20.0 L/min"},
		{"none", "none", "none"},
		{"{2} {x} {-1} {+0} {", "{2} {x} {-1} {+0} {", "{2} {x} {-1} {+0} {"},
		{"{{0}}", "{8.1 ft}", "{2.47 m}"},
		{"", "", ""},
	} {
		if got := Text(US, c.template, values...); got != c.us {
			t.Errorf("Text(US, %q) = %q, want %q", c.template, got, c.us)
		}
		if got := Text(SI, c.template, values...); got != c.si {
			t.Errorf("Text(SI, %q) = %q, want %q", c.template, got, c.si)
		}
	}
}

// Every unit that is printed is also understood, and means the same.
func TestPrintedUnitsAreUnderstood(t *testing.T) {
	for d := range dimensions {
		for _, u := range append(kinds[d].units, kinds[d].column[:]...) {
			got, err := Parse(d, "1 "+u.name)
			if err != nil {
				t.Errorf("%v: %v", d, err)
				continue
			}
			if want := u.si + u.zero; math.Abs(got-want) > 1e-12*math.Abs(want) {
				t.Errorf("Parse(%v, \"1 %s\") = %g, want %g", d, u.name, got, want)
			}
		}
		for _, s := range []System{SI, US} {
			name, perSI, offset := Unit(s, d)
			got, err := Parse(d, "7 "+name)
			if err != nil {
				t.Errorf("%v: %v", d, err)
			} else if back := got*perSI + offset; math.Abs(back-7) > 1e-9 {
				t.Errorf("Unit(%v, %v): 7 %s comes back as %g", s, d, name, back)
			}
		}
	}
}

// The units of one dimension never share a name, whatever its case.
func TestUnitNamesAreUnambiguous(t *testing.T) {
	for d := range dimensions {
		seen := map[string]string{}
		for _, u := range kinds[d].units {
			for _, name := range u.names {
				if normalise(name) != name {
					t.Errorf("%v: the name %q of %s can never match, it is normalised to %q", d, name, u.name, normalise(name))
				}
				if !u.exactCase && strings.ToLower(name) != name {
					t.Errorf("%v: the name %q of %s is not in lower case", d, name, u.name)
				}
				if other, ok := seen[name]; ok {
					t.Errorf("%v: %q is both %s and %s", d, name, other, u.name)
				}
				seen[name] = u.name
			}
		}
	}
}

// What is printed reads back as the same value to the printed digits, and
// prints the same again.
func TestFormatReadsBack(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 0))
	for range 20000 {
		d := Dimension(rng.IntN(int(dimensions)))
		s := System(rng.IntN(2))
		k := kinds[d]
		// From a thousandth to a hundred thousand of the table's unit.
		si := min(k.max, k.column[SI].si*math.Pow(10, -3+8*rng.Float64()))
		if d == Temperature {
			si = 250 + 100*rng.Float64()
		}
		if k.min < 0 && rng.IntN(3) == 0 {
			si = -si
		}
		text := Format(s, d, si)
		back, err := Parse(d, text)
		if err != nil {
			t.Fatalf("Format(%v, %v, %g): %v", s, d, si, err)
		}
		// Half of the last digit: 0.5 % of three digits, 5 % of two (only
		// roughness and small lengths), 0.05 ft or m where lengths have one
		// place, half a thousandth of an inch for fractions.
		slack := 0.0051 * math.Abs(si)
		switch {
		case d == Length || d == Head:
			slack = 0.051
			if math.Abs(si) < 0.1*foot || math.Abs(si) >= 5000 {
				slack = 0.051 * math.Abs(si)
			} else if math.Abs(si) >= 1000*foot {
				slack = 0.51
			}
		case d == Roughness:
			slack = 0.051 * math.Abs(si)
		case d == Temperature:
			slack = 0.051
		case d == Angle:
			slack = 0.051 * math.Pi / 180
		case d == Diameter:
			slack += 0.0006 * inch
		case d == Ratio || d == Slope:
			slack += 0.51e-6
		}
		if math.Abs(back-si) > slack {
			t.Fatalf("Format(%v, %v, %.9g) = %q reads back as %.9g", s, d, si, text, back)
		}
		if again := Format(s, d, back); again != text {
			// A value just under a change of unit may round up across it.
			twice, err := Parse(d, again)
			if err != nil || math.Abs(twice-back) > slack {
				t.Fatalf("Format(%v, %v, %.9g) = %q, printed again %q", s, d, si, text, again)
			}
		}
	}
}

// JCGM 100:2008 eq. 16 in its two limits: uncorrelated variances add up, and a
// fully correlated error of equal size cancels.
func TestMinus(t *testing.T) {
	a, b := Measure{10, 0.3}, Measure{4, 0.4}
	if got := a.Minus(b, 0); math.Abs(got.Value-6) > 1e-12 || math.Abs(got.Sigma-0.5) > 1e-12 {
		t.Errorf("uncorrelated: %v, want 6 ± 0.5", got)
	}
	if got := a.Minus(b, 1); math.Abs(got.Sigma-0.1) > 1e-12 {
		t.Errorf("fully correlated: %v, want 0.1", got)
	}
	if got := a.Minus(b, -1); math.Abs(got.Sigma-0.7) > 1e-12 {
		t.Errorf("anticorrelated: %v, want 0.7", got)
	}
	if got := a.Minus(a, 1); got != (Measure{0, 0}) {
		t.Errorf("a - a = %v, want exactly 0", got)
	}
}

// Critical values of the normal distribution: NIST/SEMATECH e-Handbook of
// Statistical Methods, section 1.3.6.7.1.
func TestInterval(t *testing.T) {
	for _, c := range []struct{ coverage, z float64 }{
		{0.6826894921, 1}, {0.90, 1.644854}, {0.95, 1.959964}, {0.99, 2.575829}, {0, 0},
	} {
		lo, hi := Measure{100, 2}.Interval(c.coverage)
		if math.Abs(hi-(100+2*c.z)) > 2e-6 || math.Abs(lo-(100-2*c.z)) > 2e-6 {
			t.Errorf("Interval(%g) = %g … %g, want 100 ± %g", c.coverage, lo, hi, 2*c.z)
		}
	}
	if lo, hi := (Measure{100, 0}).Interval(1); lo != 100 || hi != 100 {
		t.Errorf("a certain value has the interval %g … %g", lo, hi)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{
		"90 ft", "1-1/4 in", "1 ¼\"", "8' 6\"", "12 gpm", "1500 L/day", "40 %", "10 °C", "10C", "1,5 m", "1:50",
		"12 500 m", "1e3 mm", "-3 m", "1 h 30 min", "5 1/0 in", "\u202f1\u202f000 m", "", "m", "..5 ft", "0 K",
	} {
		f.Add(0, s)
	}
	f.Fuzz(func(t *testing.T, dim int, s string) {
		d := Dimension(((dim % int(dimensions)) + int(dimensions)) % int(dimensions))
		v, err := Parse(d, s)
		if err != nil {
			if !math.IsNaN(v) {
				t.Fatalf("Parse(%v, %q) = %g beside %v", d, s, v, err)
			}
			pe, ok := err.(*ParseError)
			if !ok || pe.Text == "" || pe.Hint == "" || pe.Code == "" {
				t.Fatalf("Parse(%v, %q): %#v is not a whole *ParseError", d, s, err)
			}
			return
		}
		if math.IsNaN(v) || v < kinds[d].min || v > kinds[d].max {
			t.Fatalf("Parse(%v, %q) = %g is out of bounds", d, s, v)
		}
		for _, sys := range []System{SI, US} {
			text := Format(sys, d, v)
			// At a bound, rounding may step over it.
			atBound := text == Format(sys, d, kinds[d].max) || text == Format(sys, d, kinds[d].min)
			if _, err := Parse(d, text); err != nil && !atBound {
				t.Fatalf("%q prints as %q: %v", s, text, err)
			}
		}
	})
}
