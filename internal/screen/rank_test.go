package screen

import (
	"bytes"
	"encoding/csv"
	"math"
	"slices"
	"testing"

	"route/internal/plan"
)

func one(id, objective string, outcome Outcome, cost plan.Cost, water, head, chance float64) *Result {
	best := unknownBest()
	if outcome == HasLayout {
		best.Cost, best.DeliveredLDay, best.DriveHeadM, best.ChanceWorks = cost, plan.Number(water), plan.Number(head), plan.Number(chance)
	}
	return &Result{ID: id, Objective: objective, Outcome: outcome, Best: best}
}

func total(amount plan.Decimal) plan.Cost { return plan.Cost{Currency: "USD", Total: amount} }

// The order is worked out by hand: with a demand a failure costs the materials
// again, so that 1000 at 95 % (1050) comes before 900 at 80 % (1080).
func TestRank(t *testing.T) {
	between := plan.Cost{Currency: "USD", Range: &plan.CostRange{Low: 800, High: 1300}} // 1050 in the middle
	for objective, want := range map[string][]string{
		"least_cost": {"sure", "cheap", "range", "tie a", "tie b", "none", "failed"},
		"most_water": {"cheap", "tie a", "tie b", "range", "sure", "none", "failed"},
		"most_head":  {"range", "sure", "tie a", "tie b", "cheap", "none", "failed"},
	} {
		ranked := rank([]*Result{
			one("failed", "", Failed, plan.Cost{}, 0, 0, 0),
			one("tie a", objective, HasLayout, total("2000.00"), 900, 3, 1),
			one("none", objective, NoLayout, plan.Cost{}, 0, 0, 0),
			one("cheap", objective, HasLayout, total("900.00"), 1000, 2, 0.8),
			one("tie b", objective, HasLayout, total("2000.00"), 900, 3, 1),
			one("sure", objective, HasLayout, total("1000.00"), 700, 4, 0.95),
			one("range", objective, HasLayout, between, 800, 5, 0.9), // 1155
		})
		var ids []string
		for i, r := range ranked {
			ids = append(ids, r.ID)
			if r.Outcome == HasLayout && r.Rank != i+1 || r.Outcome != HasLayout && r.Rank != 0 {
				t.Errorf("%s: %s has rank %d in place %d", objective, r.ID, r.Rank, i+1)
			}
		}
		if !slices.Equal(ids, want) {
			t.Errorf("%s: %v, want %v", objective, ids, want)
		}
	}
	mixed := rank([]*Result{one("head", "most_head", HasLayout, total("1"), 10, 9, 1), one("water", "least_cost", HasLayout, total("2"), 20, 1, 1)})
	if mixed[0].ID != "water" {
		t.Error("creeks with different objectives are not ranked by their water")
	}
}

// The table is CSV that another reader takes, unknown is empty, and no cell of
// a creek's name is a formula.
func TestRanking(t *testing.T) {
	var b bytes.Buffer
	a := one("=SUM(A1)", "least_cost", HasLayout, total("12.50"), 1234.56789, math.NaN(), 0.5)
	a.Pipes = []Pipe{{Role: "supply", Size: "PE, \"1 in\"", LengthM: 50}}
	if err := writeRanking(&b, rank([]*Result{a, one("b", "", Failed, plan.Cost{}, 0, 0, 0)})); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) != 3 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	cell := func(row int, name string) string { return rows[row][slices.Index(rows[0], name)] }
	for name, want := range map[string]string{"rank": "1", "id": "'=SUM(A1)", "delivered_l_day": "1234.5679", "drive_head_m": "", "cost_low": "12.5", "cost_high": "12.5", "supply_pipe": "PE, \"1 in\"", "supply_m": "50", "warnings": "0", "pump_lat": "", "list_line": ""} {
		if got := cell(1, name); got != want {
			t.Errorf("%s is %q, want %q", name, got, want)
		}
	}
	for name, want := range map[string]string{"rank": "", "id": "b", "outcome": "failed", "cost_low": "", "delivered_l_day": "", "pumps": ""} {
		if got := cell(2, name); got != want {
			t.Errorf("without a layout %s is %q, want %q", name, got, want)
		}
	}
}
