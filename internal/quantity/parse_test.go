package quantity

import (
	"errors"
	"math"
	"strings"
	"testing"
)

// Expected values are worked out from the exact definitions in NIST SP 811
// (2008) appendix B.8 and B.9, written here as decimal numbers that were not
// taken from units.go; digits beyond the handbook's rounding follow from the
// exact relations that it prints in bold.
func TestParse(t *testing.T) {
	for _, c := range []struct {
		d    Dimension
		text string
		want float64
	}{
		// SP 811: 1 ft = 0.3048 m, 1 in = 0.0254 m, 1 yd = 0.9144 m, 1 mi = 1609.344 m, all exact.
		{Length, "90 ft", 27.432},
		{Length, "90ft", 27.432},
		{Length, "90 Feet", 27.432},
		{Length, "90'", 27.432},
		{Length, "90′", 27.432},
		{Length, "8 ft 6 in", 2.5908},
		{Length, "8' 6\"", 2.5908},
		{Length, "8'6\"", 2.5908},
		{Length, "8'-6\"", 2.5908},
		{Length, "8 ft 6-1/2 in", 2.6035},
		{Length, "8’ 6½”", 2.6035},
		{Length, "-8 ft 6 in", -2.5908},
		{Length, "−3 m", -3},
		{Length, "1 m 20 cm", 1.2},
		{Length, "100 m", 100},
		{Length, "100 M", 100},
		{Length, "12 500 m", 12500},
		{Length, "12\u202f500 m", 12500},
		{Length, "1.5 km", 1500},
		{Length, "2 yd", 1.8288},
		{Length, "1 mi", 1609.344},
		{Length, "1e3 mm", 1},
		// SP 811 footnote 25: 1 US survey foot = 1200/3937 m = 0.304 800 609 6 m.
		{Length, "1000 us-ft", 304.8006096012192},
		{Length, "1000 US survey feet", 304.8006096012192},
		{Length, "1000 ftUS", 304.8006096012192},
		{Diameter, "1-1/4 in", 0.03175},
		{Diameter, "1 1/4 in", 0.03175},
		{Diameter, "1¼ in", 0.03175},
		{Diameter, "1 ¼″", 0.03175},
		{Diameter, "1 1/4\"", 0.03175},
		{Diameter, "3/4 in", 0.01905},
		{Diameter, "¾ in", 0.01905},
		{Diameter, "2 in", 0.0508},
		{Diameter, "2.067 in", 0.0525018},
		{Diameter, "32 mm", 0.032},
		{Diameter, "32\u00a0mm", 0.032},
		{Diameter, "26.6mm", 0.0266},
		{Roughness, "0.0015 mm", 1.5e-6},
		{Roughness, "1.5 µm", 1.5e-6},
		{Roughness, "1.5 μm", 1.5e-6},
		// SP 811: 1 gallon (US) per minute = 6.309 020 E-05 m³/s; cubic foot
		// per second = 2.831 685 E-02; gallon (US) per day = 4.381 264 E-08.
		{Flow, "12 gpm", 12 * 6.30901964e-5},
		{Flow, "12 GPM", 12 * 6.30901964e-5},
		{Flow, "12 gal/min", 12 * 6.30901964e-5},
		{Flow, "3 L/s", 0.003},
		{Flow, "3 l/s", 0.003},
		{Flow, "20 L/min", 20.0 / 60000},
		{Flow, "0.1 m3/s", 0.1},
		{Flow, "0.1 m³/s", 0.1},
		{Flow, "3.6 m3/h", 0.001},
		{Flow, "1 cfs", 0.028316846592},
		{DailyVolume, "1500 L/day", 1.5 / 86400},
		{DailyVolume, "1500 litres per day", 1.5 / 86400},
		{DailyVolume, "400 gal/day", 400 * 4.381263638888889e-8},
		{DailyVolume, "400 gpd", 400 * 4.381263638888889e-8},
		{DailyVolume, "1 m3/day", 1.0 / 86400},
		// SP 811: gallon (US) 3.785 412 E-03 m³, from 231 in³; gallon
		// [Canadian and U.K. (Imperial)] 4.546 09 E-03 m³.
		{Volume, "100 gal", 0.3785411784},
		{Volume, "100 imp gal", 0.454609},
		{Volume, "250 L", 0.25},
		{Volume, "2 m3", 2},
		// SP 811: psi 6.894 757 E+03 Pa; metre of water, conventional,
		// 9.806 65 E+03 Pa; foot of water, conventional, 2.989 067 E+03 Pa.
		{Pressure, "1 psi", 6894.757293168},
		{Pressure, "150 kPa", 150e3},
		{Pressure, "6 bar", 6e5},
		{Pressure, "0.6 MPa", 6e5},
		{Pressure, "100 Pa", 100},
		{Pressure, "10 m of head", 98066.5},
		{Pressure, "10 mH2O", 98066.5},
		{Pressure, "10 ft of head", 29890.6692},
		{Head, "10 ft", 3.048},
		{Head, "3 m", 3},
		{Head, "3 m of head", 3},
		{Head, "10 ft of head", 3.048},
		{Head, "1 psi", 0.703069579639},
		{Head, "8 ft 6 in", 2.5908},
		// SP 811 B.8: T/K = t/°C + 273.15; T/K = (t/°F + 459.67)/1.8.
		{Temperature, "10 °C", 283.15},
		{Temperature, "10C", 283.15},
		{Temperature, "10 deg C", 283.15},
		{Temperature, "-5 °C", 268.15},
		{Temperature, "50 °F", 283.15},
		{Temperature, "50F", 283.15},
		{Temperature, "283.15 K", 283.15},
		{Ratio, "40 %", 0.4},
		{Ratio, "40%", 0.4},
		{Slope, "2 %", 0.02},
		{Slope, "1:50", 0.02},
		{Slope, "1 in 50", 0.02},
		{Slope, "2 ft per 100 ft", 0.02},
		{Velocity, "4 ft/s", 1.2192},
		{Velocity, "1.2 m/s", 1.2},
		{Duration, "30 s", 30},
		{Duration, "1 h 30 min", 5400},
		{Duration, "2 days", 172800},
		// SP 811: acre (international) 4.046 856 E+03 m², from 43 560 ft².
		{Area, "1 acre", 4046.8564224},
		{Area, "1 ha", 1e4},
		// SP 811: pound 4.535 924 E-01 kg; horsepower (550 ft·lbf/s) 7.456 999 E+02 W.
		{Mass, "1 lb", 0.45359237},
		{Power, "1 hp", 745.6998715822702},
		{Energy, "1 kWh", 3.6e6},
		{Angle, "180 deg", math.Pi},
		// The rest of the units: SP 811 factors, or their definitions where
		// SP 811 has the definition alone (h, gon, L, ha, ‰, bar).
		{Length, "5 cm", 0.05},
		{Diameter, "500 µm", 5e-4},
		{Flow, "1 gal/h", 0.003785411784 / 3600},
		{Flow, "1 imp gpm", 0.00454609 / 60},
		{Flow, "1 imp gal/day", 0.00454609 / 86400},
		{Flow, "1 L/h", 1e-3 / 3600},
		{Flow, "1 m3/min", 1.0 / 60},
		{Flow, "1 cfm", 4.719474432e-4}, // SP 811: 4.719 474 E-04
		{Volume, "5 mL", 5e-6},
		{Volume, "1 ft3", 0.028316846592}, // SP 811: 2.831 685 E-02
		{Pressure, "1 mbar", 100},
		{Head, "1 bar", 1e5 / 9806.65},
		{Head, "1 kPa", 1e3 / 9806.65},
		{Head, "1 MPa", 1e6 / 9806.65},
		{Head, "9806.65 Pa", 1},
		{Head, "10 in", 0.254},
		{Ratio, "5 ‰", 0.005},
		{Slope, "5 m/km", 0.005},
		{Slope, "5.28 ft/mi", 0.001},
		{Slope, "0.02 m/m", 0.02},
		{Duration, "20 ms", 0.02},
		{Area, "1 cm2", 1e-4},
		{Area, "1 mm2", 1e-6},
		{Area, "1 km2", 1e6},
		{Area, "1 ft2", 0.09290304},    // SP 811: 9.290 304 E-02, exact
		{Area, "1 in2", 6.4516e-4},     // SP 811: 6.4516 E-04, exact
		{Mass, "1 oz", 0.028349523125}, // SP 811: 2.834 952 E-02
		{Mass, "1 t", 1000},
		{Mass, "1 g", 0.001},
		{Power, "1 kW", 1000},
		{Energy, "1 ft lbf", 1.3558179483314004}, // SP 811: 1.355 818
		{Energy, "1 Wh", 3600},
		{Energy, "1 kJ", 1000},
		{Energy, "1 MJ", 1e6},
		{Angle, "1 rad", 1},
		{Multiple, "7.5 times", 7.5},
		{Multiple, "7.5×", 7.5},
		{Angle, "200 gon", math.Pi},
	} {
		got, err := Parse(c.d, c.text)
		if err != nil {
			t.Errorf("Parse(%v, %q): %v", c.d, c.text, err)
			continue
		}
		if math.Abs(got-c.want) > 1e-9*math.Abs(c.want) {
			t.Errorf("Parse(%v, %q) = %.12g, want %.12g", c.d, c.text, got, c.want)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	for _, c := range []struct {
		d          Dimension
		text, code string
		says       string
	}{
		{Length, "90", CodeMissingUnit, `"90 ft"`},
		{DailyVolume, "1500", CodeMissingUnit, `"1500 L/day"`},
		{Ratio, "0.4", CodeMissingUnit, `"40 %"`},
		{Diameter, "1-1/4", CodeMissingUnit, `"1-1/4 in"`},
		{Length, "", CodeEmpty, "ft"},
		{Length, " \u00a0", CodeEmpty, "ft"},
		{Length, "ft", CodeBadNumber, "number"},
		{Length, "NaN m", CodeBadNumber, "number"},
		{Length, "Inf m", CodeBadNumber, "number"},
		{Length, "1e999 m", CodeBadNumber, "number"},
		{Length, "1e300 m", CodeImpossible, "above"},
		{Length, "1,5 m", CodeDecimalComma, "point"},
		{Volume, "1,500 L", CodeDecimalComma, "1500"},
		{Length, "5 gpm", CodeUnknownUnit, "gpm"},
		{Length, "5 parsec", CodeUnknownUnit, "parsec"},
		{Length, "8 ft 14 in", CodeUnknownUnit, "whole ft or more"},
		{Length, "8.5 ft 6 in", CodeUnknownUnit, "fraction"},
		{Length, "6 in 8 ft", CodeUnknownUnit, "follow"},
		{Pressure, "5 mPa", CodeUnknownUnit, "mPa"},
		{Volume, "1500 L/day", CodeUnknownUnit, "L/day"},
		{DailyVolume, "1500 L", CodeUnknownUnit, "L/day"},
		{Diameter, "-2 in", CodeImpossible, "negative"},
		{Flow, "-2 gpm", CodeImpossible, "negative"},
		{Temperature, "-300 °C", CodeImpossible, "absolute zero"},
		{Length, strings.Repeat("9", 200) + " m", CodeBadNumber, "too long"},
		{Diameter, "1/0 in", CodeBadNumber, "number"},
	} {
		got, err := Parse(c.d, c.text)
		var pe *ParseError
		if !errors.As(err, &pe) {
			t.Errorf("Parse(%v, %q) = %g, %v; want a *ParseError", c.d, c.text, got, err)
			continue
		}
		if pe.Code != c.code || !strings.Contains(err.Error(), c.says) {
			t.Errorf("Parse(%v, %q): code %q, %v; want code %q and %q in it", c.d, c.text, pe.Code, err, c.code, c.says)
		}
		if !math.IsNaN(got) {
			t.Errorf("Parse(%v, %q) gave %g beside its error, want NaN", c.d, c.text, got)
		}
	}
}
