package plan

import (
	"math"

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
	for k := range points {
		p := &points[k]
		j.onWholeProfile(&p.Candidate)
		site := j.site.Clone()
		site.Demand = p.Demand / (1 + site.DemandMargin)
		asked := *j
		asked.site = site
		l, err := asked.inBrief(&p.Candidate)
		if err != nil {
			return err
		}
		if l != nil {
			j.plan.Front = append(j.plan.Front, FrontPoint{DemandLDay: Number(site.Demand * litresPerDay), Sketch: j.sketchOf(l)})
		}
	}
	return nil
}
