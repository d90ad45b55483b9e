package plan

import (
	"math"
	"slices"

	"route/internal/optimize"
)

// FrontPoint is the cheapest layout for a demand, one step of what more water
// costs.
type FrontPoint struct {
	// DemandLDay is what may be asked of it: in the model it delivers this and
	// the demand margin on top. ChanceWorks is the chance that it delivers
	// this.
	DemandLDay Number `json:"demand_l_day"`
	Sketch
}

// frontRatio is the greatest demand of the front over the least, where the
// demand of the site does not ask for less.
const frontRatio = 30.0

// frontDemands are the demands for which the front is worked out, in m³/s with
// the margin: even steps of ratio up to the most water that any layout gives,
// and the site's own demand.
func (j *job) frontDemands(most float64) []float64 {
	n := j.site.FrontPoints
	if n < 2 || !(most > 0) {
		return nil
	}
	least := most / frontRatio
	if d := j.problem.Demand; d > 0 {
		least = math.Min(least, d/2)
	}
	demands := []float64{}
	for k := range n {
		demands = append(demands, least*math.Pow(most/least, float64(k)/float64(n-1)))
	}
	demands[n-1] = most // to the last digit, for a layout that gives it
	if d := j.problem.Demand; d > 0 && d < most {
		demands = append(demands, d)
	}
	return demands
}

// front works out what more water costs.
func (j *job) front() error {
	if len(j.plan.Layouts) == 0 || j.plan.ScreeningOnly {
		return nil // what such terrain cannot carry is not priced
	}
	demands := j.frontDemands(j.mostWater())
	if len(demands) == 0 {
		return nil
	}
	j.record(Progress{Step: "working out what more water costs"})
	points, err := optimize.Front(j.ctx, j.problem, &optimize.Settings{Workers: workersIn(j.ctx)}, demands)
	if err != nil {
		return err
	}
	rows, err := j.cheapestOf(points)
	if err != nil {
		return err
	}
	for _, row := range rows {
		site := j.site.Clone()
		site.Demand = row.Demand / (1 + site.DemandMargin)
		asked := *j
		asked.site = site
		l, err := asked.inBrief(&row.Candidate)
		if err != nil {
			return err
		}
		if l != nil {
			j.plan.Front = append(j.plan.Front, FrontPoint{DemandLDay: Number(site.Demand * litresPerDay), Sketch: j.sketchOf(l)})
		}
	}
	return nil
}

// cheapestOf works the layouts of the front out with their delivery lines as
// they are laid, and those of the plan too, and takes the cheapest that brings
// each demand, as surely as is asked for; where the laid line leaves a layout a
// little short of the demand that it was found for, what it brings is the demand.
// Of several demands for which that is one layout it keeps the greatest. The
// points rise in demand.
func (j *job) cheapestOf(points []optimize.FrontPoint) ([]optimize.FrontPoint, error) {
	var pool []optimize.Candidate
	for k := range points {
		j.onWholeProfile(&points[k].Candidate)
		pool = append(pool, points[k].Candidate)
	}
	pool = append(pool, j.result.Ranked...)
	worth := make([]exactly, len(pool))
	for k := range pool {
		var err error
		if worth[k], err = j.exactly(&pool[k]); err != nil {
			return nil, err
		}
	}
	demands := make([]float64, len(points))
	for k := range points {
		demands[k] = points[k].Demand
	}
	var rows []optimize.FrontPoint
	for _, row := range cheapestRows(demands, worth) {
		rows = append(rows, optimize.FrontPoint{Demand: row.demand, Candidate: pool[row.of]})
	}
	return rows, nil
}

// frontRow is a demand and the number of the layout that meets it.
type frontRow struct {
	demand float64
	of     int
}

// cheapestRows chooses for rising demands, the first layouts being those found
// for them.
func cheapestRows(demands []float64, worth []exactly) []frontRow {
	var rows []frontRow
	last := -1
	for own := len(demands) - 1; own >= 0; own-- {
		demand := math.Min(demands[own], worth[own].sure)
		best := -1
		for k, w := range worth {
			if w.holds && w.sure >= demand && (best < 0 || w.cost.Minor < worth[best].cost.Minor) {
				best = k
			}
		}
		if best >= 0 && best != last && demand > 0 {
			rows = append(rows, frontRow{demand, best})
			last = best
		}
	}
	slices.Reverse(rows)
	return rows
}
