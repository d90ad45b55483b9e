package export

import (
	"strings"
	"testing"

	"route/internal/plan"
)

// Converted by hand with the factors of NIST SP 811: 8 L/s are 127 gpm, 20 L/s
// 317 gpm; 70 % left of 8 L/s are 5.6 L/s or 88.8 gpm, 2.4 L/s (38.0 gpm) are
// drawn, and 17.6 L/s (279 gpm) stay of 20. The share that the site allows is
// drawn from 2.4/0.4 = 6 L/s (95.1 gpm) on.
func TestReportTellsTheOwnerOfTheYear(t *testing.T) {
	for units, want := range map[string][]string{
		"us": {">127 gpm<", ">317 gpm<", ">38.0 gpm<", ">88.8 gpm<", ">279 gpm<", "below 95.1 gpm", "Below 38.0 gpm"},
		"si": {">8.00 L/s<", ">20.0 L/s<", ">2.40 L/s<", ">5.60 L/s<", ">17.6 L/s<", "below 6.00 L/s", "Below 2.40 L/s"},
	} {
		p := fixturePlan(units)
		p.LowFlow, p.UsualFlow, p.Take, p.Layouts[0].CreekLeftShare = 8, 20, 3.2, 0.7
		page := string(written(t, ReportHTML, p))
		_, year, ok := strings.Cut(page, "Water through the year</h2>")
		if !ok {
			t.Fatalf("%s: the year is not told", units)
		}
		year, _, _ = strings.Cut(year, "</section>")
		for _, w := range want {
			if !strings.Contains(year, w) {
				t.Errorf("%s: %q is not in %s", units, w, year)
			}
		}
		for _, section := range []string{"What it will do", "What you must decide", "What you must ask permission for", "Upkeep calendar"} {
			if !strings.Contains(page, section+"</h2>") {
				t.Errorf("%s: no section %q", units, section)
			}
		}
	}
}

// What is not known is not told as if it were.
func TestReportOfTheYearWithoutAUsualFlow(t *testing.T) {
	p := fixturePlan("si")
	p.UsualFlow = plan.Unknown
	page := string(written(t, ReportHTML, p))
	if strings.Contains(page, "At the usual flow") || !strings.Contains(page, "What the creek usually carries is not known") {
		t.Error("the usual flow is told although nobody gave it")
	}
	p.Layouts = nil
	if page := string(written(t, ReportHTML, p)); strings.Contains(page, "Upkeep calendar") {
		t.Error("upkeep of nothing")
	}
}

// By hand: 20 L at 1.2 L/min take 16.7 min; 5 gal, 18.93 L, take 15.8 min.
func TestBucketByHand(t *testing.T) {
	for units, want := range map[string]string{"us": "5.00 gal in 16 min", "si": "20.0 L in 17 min"} {
		p := fixturePlan(units)
		if got := (words{p.System()}).bucket(1.2); !strings.HasPrefix(got, want) {
			t.Errorf("%s: %q, want %q", units, got, want)
		}
	}
}
