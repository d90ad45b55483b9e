package main

import (
	"bytes"
	"testing"

	"route/internal/plan"
)

// What to measure first is printed with its work, its worth to two digits and
// the chance that it decides; without anything to measure nothing is printed.
func TestVisitsArePrinted(t *testing.T) {
	var b bytes.Buffer
	printVisits(&b, &plan.Plan{})
	if b.Len() > 0 {
		t.Errorf("%q", b.String())
	}
	from, to := plan.VisitPlace{Place: plan.Place{Lat: 41.1, Lon: -148.2}}, plan.VisitPlace{Place: plan.Place{Lat: 41.099, Lon: -148.201}}
	printVisits(&b, &plan.Plan{Units: "si", Visits: []plan.Visit{
		{Rank: 1, Text: "level the fall", Hours: 0.65, Value: 1234, ValueUnit: "USD", Money: 1234, Cost: 16.25, ChanceChanges: 0.123, From: from, To: to},
		{Rank: 2, Text: "level the lift", Hours: 1, Value: 86.4, ValueUnit: "L/day", Money: 43.2, Cost: 25, ChanceChanges: 0.004, From: from, To: to},
	}, Layouts: []plan.Layout{{Cost: plan.Cost{Currency: "USD"}}}})
	want := "\nWhat to measure first, by what it is worth for an hour of work:\n" +
		"  1. level the fall\n     0.7 h, USD 16; worth USD 1200; changes the choice in 12.3 % of cases\n     from 41.100000, -148.200000 to 41.099000, -148.201000\n" +
		"  2. level the lift\n     1.0 h, USD 25; worth 86 L/day or USD 43; changes the choice in 0.4 % of cases\n     from 41.100000, -148.200000 to 41.099000, -148.201000\n"
	if b.String() != want {
		t.Errorf("%q\nwant %q", b.String(), want)
	}
}
