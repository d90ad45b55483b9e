package main

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"route/internal/plan"
)

func amount(t testing.TB, d plan.Decimal) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(string(d), 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// The front rises in cost and in water, holds the layout that was asked for,
// and every point is built again by a plan with its demand.
func TestFrontOfTheDemo(t *testing.T) {
	p := planDemo(t, "fernhollow")
	if len(p.Front) < 5 {
		t.Fatalf("%d points", len(p.Front))
	}
	holds := false
	for k, f := range p.Front {
		holds = holds || f.Layout == p.Layouts[0].ID
		if k > 0 && !(amount(t, f.Cost) > amount(t, p.Front[k-1].Cost) && f.DeliveredLDay > p.Front[k-1].DeliveredLDay) {
			t.Errorf("point %d: %s for %v after %s for %v", k, f.Cost, f.DeliveredLDay, p.Front[k-1].Cost, p.Front[k-1].DeliveredLDay)
		}
	}
	if !holds {
		t.Error("the cheapest layout for the site's demand is not on the front")
	}
	f := p.Front[len(p.Front)/2]
	again := planDemo(t, "fernhollow", "--demand", strconv.FormatFloat(float64(f.DemandLDay), 'f', 4, 64)+"L/day", "--set", "replans=0", "--set", "front=0")
	l := again.Layouts[0]
	if l.Intake.StationM != f.IntakeStationM || l.Pump.StationM != f.PumpStationM || l.Cost.Total != f.Cost || l.DeliveredLDay != f.DeliveredLDay {
		t.Errorf("a plan for %v L/day has %s for %v, the front %s for %v", f.DemandLDay, l.Cost.Total, l.DeliveredLDay, f.Cost, f.DeliveredLDay)
	}
}

// What the next steps add is the difference of two layouts; those at the same
// places move nothing; no eased search is worse than what there is; and the
// steps come in the order of water for money.
func TestNextStepsOfTheDemo(t *testing.T) {
	for _, name := range []string{"fernhollow", "eilwern"} {
		p := planDemo(t, name)
		if len(p.Next) < 3 {
			t.Fatalf("%s: %d steps", name, len(p.Next))
		}
		now := &p.Layouts[0]
		last := math.Inf(1)
		for _, n := range p.Next {
			same := n.IntakeStationM == now.Intake.StationM && n.PumpStationM == now.Pump.StationM
			if n.How == "same_places" && !same {
				t.Errorf("%s, %s: moved to intake %v and pump %v", name, n.Code, n.IntakeStationM, n.PumpStationM)
			}
			if n.How == "search" && n.AddedLDay < -1e-6 {
				t.Errorf("%s, %s: an eased limit brings %v L/day", name, n.Code, n.AddedLDay)
			}
			if n.Code == "one_more_pump" && n.Pumps != now.Pump.Count+1 {
				t.Errorf("%s: one more pump makes %d", name, n.Pumps)
			}
			if n.Code != "tune_for_more" && math.Abs(amount(t, n.Cost)-amount(t, now.Cost.Total)-amount(t, n.AddedCost)) > 1e-6 {
				t.Errorf("%s, %s: %s is not %s more than %s", name, n.Code, n.Cost, n.AddedCost, now.Cost.Total)
			}
			worth := math.Inf(-1)
			switch {
			case n.LDayForMoney.Known():
				worth = float64(n.LDayForMoney)
				if want := float64(n.AddedLDay) / amount(t, n.AddedCost); math.Abs(worth-want) > 1e-4 { // as it is rounded
					t.Errorf("%s, %s: %v L/day for money, by division %v", name, n.Code, worth, want)
				}
			case n.AddedLDay > 0:
				worth = math.Inf(1)
			}
			if worth > last {
				t.Errorf("%s: %s comes after one that is worth less", name, n.Code)
			}
			last = worth
		}
		for k, s := range p.Stages {
			if s.IntakeStationM != now.Intake.StationM || s.PumpStationM != now.Pump.StationM || s.SupplyItem != p.Stages[0].SupplyItem || s.DeliveryItem != p.Stages[0].DeliveryItem || s.DriveItem != p.Stages[0].DriveItem {
				t.Errorf("%s: stage %d moves or changes something that lies", name, k)
			}
		}
	}
}

// Layouts side by side: the differences first, own places beside them, and why
// not where one does not work.
func TestCompareShowsDifferencesFirst(t *testing.T) {
	site := demo(t, "fernhollow")
	pump := station(planDemo(t, "fernhollow").Layouts[1].Pump.StationM)
	args := []string{"compare", site, "--set", "replans=0", "--set", "front=0", "--layouts", "A", "--own", "pump=" + pump}
	code, out, errs := route(args...)
	if code != exitDone {
		t.Fatalf("exit %d: %s", code, errs)
	}
	differ, same, ok := strings.Cut(out, "The same in all")
	if !ok || !strings.Contains(differ, "own 1") || !strings.Contains(differ, "pump at") || strings.Contains(same, "pump at") {
		t.Errorf("%s", out)
	}
	code, out, _ = route(append(args, "--own", "pump=1050 ft")...)
	if code != exitInfeasible || !strings.Contains(out, "no layout works with the pump at 1050 ft") {
		t.Errorf("exit %d: %s", code, out)
	}
	if code, _, errs := route("compare", site, "--own", "well=3 ft"); code != exitUsage || !strings.Contains(errs, "not a setting") {
		t.Errorf("exit %d: %s", code, errs)
	}
}
