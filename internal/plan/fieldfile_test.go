package plan

import (
	"errors"
	"math"
	"os"
	"strings"
	"testing"

	"route/internal/finding"
)

func withEntries(field string) string {
	return strings.Replace(leastSite, "field: []", field, 1)
}

func TestReadFieldReadings(t *testing.T) {
	s, err := ReadSite("site.yaml", strings.NewReader(withEntries(`field:
  - {drop: "3.2 m", from: "120 m", to: stake 4, by: hose, legs: 4, sigma: "2 cm", accept: true}
  - drop: "12.1 ft"
    from: {lat: 0.5, lon: -30.25}
    to: "620 ft"
  - {pressure: "4.5 psi", from: "0 m", to: "200 m", sigma: "0.1 psi", above_water: "1 ft"}
  - {height: "142.31 m", at: "50 m", by: rtk}
  - {levels: levels.csv}
  - {place: pump, at: "44.61234, -121.5321", sigma: "10 ft"}
  - {place: settling_box, at: stake 4}`)))
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Field) != 7 || !s.Given("field") {
		t.Fatalf("%d readings", len(s.Field))
	}
	a, b, c, d, e := s.Field[0], s.Field[1], s.Field[2], s.Field[3], s.Field[4]
	if a.Kind != "drop" || a.Value != 3.2 || a.From.StationM != 120 || a.To.Waypoint != "stake 4" || a.By != "hose" || a.Legs != 4 || a.SigmaM != 0.02 || !a.Accept || a.Line != 14 || a.Column != 6 {
		t.Errorf("%+v", a)
	}
	// NIST SP 811: 1 ft = 0.3048 m, 1 psi = 6894.757 Pa.
	if math.Abs(b.Value-12.1*0.3048) > 1e-12 || b.From.At.Lat != 0.5 || b.From.At.Lon != -30.25 || !math.IsNaN(b.From.StationM) || math.Abs(b.To.StationM-620*0.3048) > 1e-9 || b.By != "level" || b.Accept {
		t.Errorf("%+v", b)
	}
	if c.Kind != "pressure" || math.Abs(c.Value-4.5*6894.757) > 0.01 || math.Abs(c.SigmaPa-689.4757) > 0.001 || c.SigmaM != 0 || c.By != "gauge" || c.AboveWaterM != 0.3048 {
		t.Errorf("%+v", c)
	}
	if d.Kind != "height" || d.Value != 142.31 || d.From.StationM != 50 || d.By != "rtk" || e.Kind != "levels" || e.Levels != "levels.csv" {
		t.Errorf("%+v %+v", d, e)
	}
	if p, q := s.Field[5], s.Field[6]; p.Kind != "place" || p.Place != "pump" || p.From.At.Lat != 44.61234 || p.From.At.Lon != -121.5321 || !math.IsNaN(p.From.StationM) || math.Abs(p.SigmaM-3.048) > 1e-12 ||
		q.Place != "settling_box" || q.From.Waypoint != "stake 4" || q.SigmaM != 0 {
		t.Errorf("%+v %+v", p, q)
	}
}

// Columns are counted by hand in the texts below; each entry stands on line 14
// after four characters.
func TestReadFieldFaults(t *testing.T) {
	for _, c := range []struct {
		name, entry string
		column      int
		says        string
	}{
		{"unknown key", `{drop: "3 m", from: "1 m", to: "2 m", buy: hose}`, 43, "buy"},
		{"a key of another kind", `{height: "3 m", from: "1 m"}`, 21, "does not go with a height"},
		{"two at once", `{drop: "3 m", height: "3 m"}`, 19, "both drop and height"},
		{"nothing measured", `{from: "1 m", to: "2 m"}`, 6, "nothing that was measured"},
		{"not an entry", `3 m`, 5, "keys in braces"},
		{"no unit", `{drop: 3, from: "1 m", to: "2 m"}`, 12, "unit"},
		{"wrong unit", `{pressure: "3 m", from: "1 m", to: "2 m"}`, 16, "50 bar"},
		{"rising", `{drop: "-3 m", from: "1 m", to: "2 m"}`, 12, "exchange from and to"},
		{"no place", `{drop: "3 m", from: "1 m"}`, 6, "to is missing"},
		{"height without a place", `{height: "3 m"}`, 6, "at is missing"},
		{"station without a unit", `{drop: "3 m", from: 120, to: "2 m"}`, 25, "unit"},
		{"quoted station without a unit", `{drop: "3 m", from: "120", to: "2 m"}`, 25, "unit"},
		{"half a place", `{drop: "3 m", from: {lat: 1}, to: "2 m"}`, 26, "both lat and lon"},
		{"no such latitude", `{drop: "3 m", from: {lat: 100, lon: 3}, to: "2 m"}`, 31, "coordinate"},
		{"another key of a place", `{drop: "3 m", from: {lot: 1, lon: 3}, to: "2 m"}`, 26, "lot"},
		{"instrument", `{drop: "3 m", from: "1 m", to: "2 m", by: rtk}`, 47, "hose"},
		{"legs", `{drop: "3 m", from: "1 m", to: "2 m", legs: 0}`, 49, "legs"},
		{"sigma", `{drop: "3 m", from: "1 m", to: "2 m", sigma: "0 m"}`, 50, "sigma"},
		{"accept", `{drop: "3 m", from: "1 m", to: "2 m", accept: maybe}`, 51, "accept"},
		{"levels", `{levels: 3}`, 14, "levels"},
		{"a lift from nowhere", `{lift: "3 m"}`, 6, "from is missing"},
		{"a lift to elsewhere than the tank", `{lift: "3 m", from: "1 m", to: "2 m"}`, 32, "does not go with a lift"},
		{"a place that is not chosen", `{place: tank, at: "3 m"}`, 13, "tank: {lat"},
		{"a place without one", `{place: pump}`, 6, "at is missing"},
		{"a key of a place chosen", `{place: pump, at: "3 m", by: level}`, 30, "does not go with a place"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := ReadSite("site.yaml", strings.NewReader(withEntries("field:\n  - "+c.entry)))
			var f *finding.Fault
			if !errors.As(err, &f) {
				t.Fatalf("got %v, want a fault", err)
			}
			if f.File != "site.yaml" || f.Line != 14 || f.Column != c.column || !strings.Contains(f.Text+f.Hint, c.says) {
				t.Errorf("%v (%s), want column %d and %q", f, f.Hint, c.column, c.says)
			}
		})
	}
	_, err := ReadSite("site.yaml", strings.NewReader(withEntries("field:\n  - {place: pump, at: \"3 m\"}\n  - {place: pump, at: \"4 m\"}")))
	var f *finding.Fault
	if !errors.As(err, &f) || f.Line != 15 || !strings.Contains(f.Text, "two places, here and in line 14") {
		t.Errorf("two places of the pump: %v", err)
	}
	_, err = ReadSite("site.yaml", strings.NewReader(withEntries("field:\n  - {place: pump, at: \"3 m\"}\npins: {pump: \"4 m\"}")))
	if !errors.As(err, &f) || f.Line != 14 || !strings.Contains(f.Text, "pins: says") {
		t.Errorf("a pump that is pinned and chosen: %v", err)
	}
	_, err = ReadSite("site.yaml", strings.NewReader(withEntries("field: 3 m")))
	if !errors.As(err, &f) || f.Line != 13 {
		t.Errorf("a field that is no list: %v", err)
	}
}

// The values are common practice without a source; what is checked is that
// set-ups add as their squares, and how many a distance needs.
func TestInstrumentSigma(t *testing.T) {
	for _, c := range []struct {
		by        string
		legs      int
		distanceM float64
		want      float64
	}{
		{"hose", 0, 100, 0.015}, {"hose", 4, 100, 0.03},
		{"hand_level", 0, 30, 0.04}, {"hand_level", 0, 100, 0.08}, {"hand_level", 9, 100, 0.12},
		{"level", 0, 50, 0.005}, {"level", 0, 240, 0.01}, {"level", 9, 240, 0.015},
		{"gauge", 0, 100, 0.16}, {"digital_gauge", 0, 100, 0.03}, {"rtk", 0, 0, 0.03},
	} {
		if got := instrumentSigma(c.by, c.legs, c.distanceM); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%s, %d legs, %v m: %v, want %v", c.by, c.legs, c.distanceM, got, c.want)
		}
	}
}

// The example that the manual gives.
func TestReadTheManualsReadings(t *testing.T) {
	manual, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, after, _ := strings.Cut(string(manual), "```yaml\nfield:")
	block, _, found := strings.Cut(after, "```")
	if !found {
		t.Fatal("the manual has no example of field readings")
	}
	s, err := ReadSite("site.yaml", strings.NewReader(withEntries("field:"+block)))
	if err != nil || len(s.Field) != 6 {
		t.Errorf("%v, %+v", err, s)
	}
}

func TestLevelledSigma(t *testing.T) {
	// One set-up sees both points; four lie from the first to the fourth.
	if a, b := levelledSigma(0.005, 2, 2), levelledSigma(0.005, 1, 4); a != 0.005 || math.Abs(b-0.01) > 1e-12 {
		t.Errorf("one set-up %v, four %v", a, b)
	}
}

func FuzzReadField(f *testing.F) {
	f.Add(`{drop: "3.2 m", from: "120 m", to: stake 4, by: hose, legs: 4, sigma: "2 cm", accept: true}`)
	f.Add(`{pressure: "4.5 psi", from: {lat: 1, lon: 2}, to: "200 m", sigma: "0.1 psi", above_water: "1 ft"}`)
	f.Add(`{height: "142.31 m", at: "50 m", by: rtk}`)
	f.Add(`{levels: levels.csv}`)
	f.Add(`{place: pump, at: "1,2", sigma: "1 m"}`)
	f.Add(`{from: {}}`)
	f.Fuzz(func(t *testing.T, entry string) {
		s, err := ReadSite("site.yaml", strings.NewReader(withEntries("field:\n  - "+entry)))
		var fault *finding.Fault
		if err != nil && !errors.As(err, &fault) {
			t.Errorf("%v is not a fault", err)
		}
		if err != nil {
			return
		}
		for _, r := range s.Field {
			if fieldKeys[r.Kind] == nil || math.IsNaN(r.Value) || r.By == "" {
				t.Errorf("%+v was accepted", r)
			}
		}
	})
}
