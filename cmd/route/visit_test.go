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
	printVisits(&b, &plan.Plan{Units: "si", Visits: []plan.Visit{
		{Rank: 1, Text: "level the fall", Hours: 0.65, Value: 1234, ValueUnit: "USD", ChanceChanges: 0.123},
		{Rank: 2, Text: "level the lift", Hours: 1, Value: 86.4, ValueUnit: "L/day", ChanceChanges: 0.004},
	}})
	want := "\nWhat to measure first, by what it is worth for an hour of work:\n" +
		"  1. level the fall\n     0.7 h; worth USD 1200; changes the choice in 12.3 % of cases\n" +
		"  2. level the lift\n     1.0 h; worth 86 L/day; changes the choice in 0.4 % of cases\n"
	if b.String() != want {
		t.Errorf("%q\nwant %q", b.String(), want)
	}
}
