package main

import (
	"math"
	"slices"
	"strconv"
	"testing"

	"route/internal/plan"
)

// planWith plans a demo site with some settings changed.
func planWith(t *testing.T, name string, set map[string]string) *plan.Plan {
	t.Helper()
	site := siteOf(t, name)
	for key, value := range set {
		if err := site.Set(key, value); err != nil {
			t.Fatal(err)
		}
	}
	for _, key := range []string{"replans", "front"} { // they say nothing here
		if err := site.Set(key, "0"); err != nil {
			t.Fatal(err)
		}
	}
	p, err := plan.Run(t.Context(), site, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Layouts) == 0 {
		t.Fatalf("%s %v: no layout", name, set)
	}
	return p
}

// More certainty is never cheaper (but for what pulling the lines straight takes
// off or adds after the search, which is exact in its own figures), what is surely delivered holds the demand
// and its margin, and the head that is taken off is z standard deviations, of
// which the deviation that is shown holds that of the supply pipe's loss as
// well. z by Abramowitz & Stegun 1964, table 26.5.
func TestCertaintyOfTheDemand(t *testing.T) {
	const margin = 1.25
	last := 0.0
	for _, c := range []struct {
		asked string
		z     float64
	}{{"", 0}, {"95 %", 1.64485}, {"99 %", 2.32635}} {
		set := map[string]string{"objective": "least_cost"}
		if c.asked != "" {
			set["certainty"] = c.asked
		}
		p := planWith(t, "eilwern", set)
		l := &p.Layouts[0]
		cost, err := strconv.ParseFloat(string(l.Cost.Total), 64)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%q: %.2f, head %.3f ± %.3f m, %.3f m for sure, %.0f L/day for sure", c.asked, cost, float64(l.DriveHeadM), float64(l.DriveHeadSigmaM), float64(l.DriveHeadSureM), float64(l.DeliveredLDaySure))
		const laid = 0.002 // of the cost
		if cost < (1-laid)*last {
			t.Errorf("%q is cheaper than with less certainty: %v, %v", c.asked, cost, last)
		}
		last = cost
		if c.asked == "" {
			if p.Certainty.Known() || l.DeliveredLDaySure.Known() {
				t.Errorf("no certainty was asked for, %v and %v are given", p.Certainty, l.DeliveredLDaySure)
			}
			continue
		}
		if float64(l.DeliveredLDaySure) < margin*float64(p.Demand)*(1-1e-9) {
			t.Errorf("%s: %v L/day for sure, wanted %v and a quarter", c.asked, l.DeliveredLDaySure, p.Demand)
		}
		if off := float64(l.DriveHeadM-l.DriveHeadSureM) / c.z; off <= 0 || off > float64(l.DriveHeadSigmaM)*(1+1e-9) {
			t.Errorf("%s: a standard deviation of %.4f m is taken off, shown is %.4f m", c.asked, off, float64(l.DriveHeadSigmaM))
		}
	}
}

// The most sure water is at least that of the layout with the most water, and
// of all layouts shown.
func TestMostSureWater(t *testing.T) {
	for _, name := range []string{"eilwern"} {
		sure := planWith(t, name, map[string]string{"objective": "most_sure_water", "certainty": "95 %"})
		most := planWith(t, name, map[string]string{"objective": "most_water", "certainty": "95 %"})
		best := float64(sure.Layouts[0].DeliveredLDaySure)
		for _, p := range []*plan.Plan{sure, most} {
			for k := range p.Layouts {
				if other := float64(p.Layouts[k].DeliveredLDaySure); math.IsNaN(other) || other > best*(1+1e-9) {
					t.Errorf("%s: layout %s for %s surely delivers %.1f L/day, the surest %.1f", name, p.Layouts[k].ID, p.Objective, other, best)
				}
			}
		}
		if !slices.Contains(sure.Layouts[0].BestAt, "most_sure_water") || sure.Objective != "most_sure_water" {
			t.Errorf("%s: objective %s, best at %v", name, sure.Objective, sure.Layouts[0].BestAt)
		}
	}
}
