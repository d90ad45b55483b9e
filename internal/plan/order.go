package plan

import (
	"errors"
	"slices"

	"route/internal/catalog"
	"route/internal/optimize"
)

// This file puts the layouts found into the order of what they are. The search
// works with delivery lines that are straightened at some places along the
// creek only, so that of two layouts which differ by less than a per cent it may
// put the lesser first.

// exactly is what a layout is worth with its delivery line as it is laid.
type exactly struct {
	holds bool    // the pump runs as planned
	water float64 // m³/s
	sure  float64 // of it with the certainty asked for
	cost  catalog.Money
}

// order sorts the layouts asked for by what the user wants most, and hands what
// each is best at to the one that really is.
func (j *job) order() error {
	ranked := j.result.Ranked
	worth := make(map[*optimize.Candidate]exactly, len(ranked))
	list := make([]*optimize.Candidate, len(ranked))
	for k := range ranked {
		list[k] = &ranked[k]
		w, err := j.exactly(list[k])
		if err != nil {
			return err
		}
		worth[list[k]] = w
	}
	better := func(goal optimize.Objective, a, b *optimize.Candidate) bool {
		x, y := worth[a], worth[b]
		switch {
		case x.holds != y.holds:
			return x.holds
		case goal == optimize.LeastCost && (x.water < j.site.Demand) != (y.water < j.site.Demand):
			return y.water < j.site.Demand // the laid line has left it short
		case goal == optimize.LeastCost:
			return x.cost.Minor < y.cost.Minor
		case goal == optimize.MostWater:
			return x.water > y.water
		}
		return false // the delivery line does not bear on it, or is not all that does
	}
	handOver(list, better)
	asked := min(j.site.Layouts, len(list))
	slices.SortStableFunc(list[:asked], func(a, b *optimize.Candidate) int {
		switch goal := j.problem.Objective; {
		case better(goal, a, b):
			return -1
		case better(goal, b, a):
			return 1
		}
		return 0
	})
	j.result.Ranked = nil
	for k, c := range list {
		if k < asked || len(c.BestAt) > 0 {
			j.result.Ranked = append(j.result.Ranked, *c)
		}
	}
	return nil
}

// handOver moves what a layout is called best at to the layout that is better.
func handOver(list []*optimize.Candidate, better func(optimize.Objective, *optimize.Candidate, *optimize.Candidate) bool) {
	for _, goal := range []optimize.Objective{optimize.LeastCost, optimize.MostWater} {
		holder := slices.IndexFunc(list, func(c *optimize.Candidate) bool { return slices.Contains(c.BestAt, goal) })
		if holder < 0 {
			continue
		}
		best := holder
		for k := range list {
			if better(goal, list[k], list[best]) {
				best = k
			}
		}
		if best != holder {
			list[holder].BestAt = slices.DeleteFunc(slices.Clone(list[holder].BestAt), func(o optimize.Objective) bool { return o == goal })
			list[best].BestAt = append(slices.Clone(list[best].BestAt), goal)
		}
	}
}

// exactly works a candidate out as far as its cost and its water.
func (j *job) exactly(c *optimize.Candidate) (exactly, error) {
	g := grader{job: j, c: c, brief: true}
	err := g.lay()
	var withdrawn *withdrawnError
	if errors.As(err, &withdrawn) {
		return exactly{}, nil
	}
	if err != nil {
		return exactly{}, err
	}
	water := g.operation.DeliveredTotal
	return exactly{true, water, water * c.SureWater / c.Operation.DeliveredTotal, g.total}, nil
}
