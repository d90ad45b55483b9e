package main

import (
	"slices"
	"testing"

	"route/internal/plan"
)

// checkOrder asks of a plan that the figures which it shows bear out the order
// of its layouts, what each is called best at, and that more water never costs
// less.
func checkOrder(t *testing.T, p *plan.Plan) {
	t.Helper()
	better := map[string]func(a, b *plan.Layout) bool{
		"most_water": func(a, b *plan.Layout) bool { return a.DeliveredLDay > b.DeliveredLDay },
		"least_cost": func(a, b *plan.Layout) bool { return cents(t, string(a.Cost.Total)) < cents(t, string(b.Cost.Total)) },
	}
	for goal, isBetter := range better {
		for k := range p.Layouts {
			l := &p.Layouts[k]
			for m := range p.Layouts {
				other := &p.Layouts[m]
				switch {
				case !isBetter(other, l):
				case slices.Contains(l.BestAt, goal):
					t.Errorf("layout %s is called best at %s, and %s is better", l.ID, goal, other.ID)
				case p.Objective == goal && k < m && !slices.Contains(other.BestAt, goal) && len(other.BestAt) == 0:
					t.Errorf("layout %s stands before %s, which is better at %s", l.ID, other.ID, goal)
				}
			}
		}
	}
	for k, f := range p.Front {
		if f.DeliveredLDay < f.DemandLDay*0.999999 {
			t.Errorf("for a demand of %v L/day the front has a layout that delivers %v", f.DemandLDay, f.DeliveredLDay)
		}
		if k > 0 && (f.DemandLDay <= p.Front[k-1].DemandLDay || cents(t, string(f.Cost)) <= cents(t, string(p.Front[k-1].Cost))) {
			t.Errorf("the front does not rise from %v L/day at %s to %v at %s", p.Front[k-1].DemandLDay, p.Front[k-1].Cost, f.DemandLDay, f.Cost)
		}
	}
}

func TestLayoutsStandInTheOrderOfTheirFigures(t *testing.T) {
	for _, name := range []string{"fernhollow", "eilwern"} {
		p := planDemo(t, name)
		if len(p.Layouts) < 2 || len(p.Front) < 2 {
			t.Fatalf("%s: %d layouts and %d points of the front prove nothing", name, len(p.Layouts), len(p.Front))
		}
		checkOrder(t, p)
	}
}
