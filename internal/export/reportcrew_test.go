package export

import (
	"strings"
	"testing"

	"route/internal/plan"
)

// Converted by hand with the factors of NIST SP 811: 0.1148 m² is 1.236 ft²,
// 3417 N weigh as 348.4 kg or 768 lb, 161 m of water are 229.0 psi or 15.79
// bar, 31.2 m are 102.4 ft, 6360 s are 1.77 h, 134.6 s are 2.2 min, 3000 L are
// 792.5 gal, 150 m² are 1614.6 ft², 4 L on a m²
// are 0.0982 gal on a ft².
func TestReportTellsTheCrewTheSizes(t *testing.T) {
	for units, want := range map[string][]string{
		"us": {"1.24 ft²", "768 lb", "229 psi", "102.4 ft", "1.8 h", "2 min", "793 gal", "1610 ft²", "0.0982 gal/day a ft²", "yes"},
		"si": {"0.115 m²", "348 kg", "15.8 bar", "31.2 m", "1.8 h", "2 min", "3000 L", "150 m²", "4.00 L/day a m²", "UNDP"},
	} {
		page := string(written(t, ReportHTML, fixturePlan(units)))
		_, crew, ok := strings.Cut(page, "What the crew must know")
		if !ok {
			t.Fatalf("%s: the crew is told nothing", units)
		}
		for _, w := range want {
			text := crew
			if strings.HasSuffix(w, "gal") || strings.HasSuffix(w, " L") {
				text = page
			}
			if !strings.Contains(text, ">"+w+"<") && !strings.Contains(text, ">"+w+" ") {
				t.Errorf("%s: %q is not in the report", units, w)
			}
		}
	}
}

func TestManyVentsAreLeftToTheirPegs(t *testing.T) {
	w := words{}
	for _, c := range []struct {
		at   []plan.Number
		want string
	}{{nil, "none"}, {[]plan.Number{12}, "12.0 m"}, {[]plan.Number{12, 40}, "12.0, 40.0 m"}, {[]plan.Number{1, 2, 3, 4}, "4: pegs VENT1 to VENT4"}} {
		if got := w.pegs("VENT", c.at); got != c.want {
			t.Errorf("%v: %q, want %q", c.at, got, c.want)
		}
	}
}

func TestUnknownSizesAreDashes(t *testing.T) {
	p := fixturePlan("si")
	l := &p.Layouts[0]
	l.Starting = plan.Starting{FillS: plan.Unknown, StrokesLow: plan.Unknown, StrokesHigh: plan.Unknown, FirstWaterS: plan.Unknown}
	l.StuckOpen.Restarts = nil
	for _, row := range starting(l, words{}) {
		if row[1] != "–" {
			t.Errorf("%s: %s", row[0], row[1])
		}
	}
	if got := strokes(0.2); got != "1" { // nobody strokes a fifth of a time
		t.Errorf("%s strokes", got)
	}
}
