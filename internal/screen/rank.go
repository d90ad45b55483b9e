package screen

import (
	"cmp"
	"slices"
	"strconv"

	"route/internal/optimize"
	"route/internal/plan"
)

// rank puts the creeks with a layout first, the best of them first, then those
// without, in the order of the list. What is best is the objective of the
// plans; where they have several, it is the water.
func rank(results []*Result) []*Result {
	ranked := slices.Clone(results)
	objective := objectiveOf(results)
	slices.SortStableFunc(ranked, func(a, b *Result) int {
		if c := cmp.Compare(order[a.Outcome], order[b.Outcome]); c != 0 || a.Outcome != HasLayout {
			return c
		}
		return cmp.Compare(burden(objective, &a.Best), burden(objective, &b.Best))
	})
	for i, r := range ranked {
		r.Rank = 0
		if r.Outcome == HasLayout {
			r.Rank = i + 1
		}
	}
	return ranked
}

var order = map[Outcome]int{HasLayout: 0, NoLayout: 1, Failed: 2}

// objectiveOf is what the creeks are ranked by.
func objectiveOf(results []*Result) string {
	objective := ""
	for _, r := range results {
		if r.Outcome != HasLayout {
			continue
		}
		if objective != "" && r.Objective != objective {
			return string(optimize.MostWater)
		}
		objective = r.Objective
	}
	return objective
}

// burden is what a creek is ranked by, less being better. Money counts twice in
// the share of cases in which the layout does not work, as in the visit list:
// what was bought and does not do what was asked has to be bought again.
func burden(objective string, b *Best) float64 {
	switch objective {
	case string(optimize.LeastCost):
		chance := 0.0
		if b.ChanceWorks.Known() {
			chance = float64(b.ChanceWorks)
		}
		return totalCost(b.Cost) * (2 - chance)
	case string(optimize.MostHead):
		return -float64(b.DriveHeadM)
	case string(optimize.MostSureWater):
		return -float64(b.DeliveredLDayLow)
	default:
		return -float64(b.DeliveredLDay)
	}
}

// totalCost is the amount, or the middle of its range.
func totalCost(c plan.Cost) float64 {
	if c.Range != nil {
		return float64(c.Range.Low+c.Range.High) / 2
	}
	total, err := strconv.ParseFloat(string(c.Total), 64)
	if err != nil {
		return 0 // nothing to buy
	}
	return total
}
