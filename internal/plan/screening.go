package plan

import (
	"fmt"
	"strconv"

	"route/internal/dem"
	"route/internal/finding"
)

// Heights that are good for finding a place only (a surface model, or errors
// of more than 2 m) carry no purchase: the plan then names a range of cost and
// no list of what to buy.

// accuracyClasses are the words by which a site file overrides the accuracy
// class of its terrain.
var accuracyClasses = map[string]dem.ErrorModel{
	"lidar_open": dem.LidarOpen, "lidar_forest": dem.LidarForest, "mixed_10m": dem.Mixed10, "global_30m": dem.Global30,
}

// errorModel is the error that the site file states for its terrain; nil when
// it states none.
func (s *Site) errorModel() *dem.ErrorModel {
	m, ok := accuracyClasses[s.Accuracy]
	if !ok {
		return nil
	}
	m.Why = "accuracy: " + s.Accuracy + " in the site file"
	return &m
}

// The range of cost at a screening: that of a feasibility study, class 4 of
// AACE International 18R-97, widest case; from memory.
const (
	screeningLow  = 0.7
	screeningHigh = 1.5
)

// screen takes out of the plan what such terrain cannot carry.
func (j *job) screen() error {
	for _, info := range j.source.Infos() {
		j.plan.ScreeningOnly = j.plan.ScreeningOnly || info.ScreeningOnly
	}
	if !j.plan.ScreeningOnly {
		return nil
	}
	for k := range j.plan.Layouts {
		l := &j.plan.Layouts[k]
		total, err := strconv.ParseFloat(string(l.Cost.Total), 64)
		if err != nil {
			return err
		}
		l.Cost = Cost{Currency: l.Cost.Currency, Low: Unknown, High: Unknown, Range: &CostRange{Low: Number(twoDigits(screeningLow * total)), High: Number(twoDigits(screeningHigh * total))}}
		l.Takeoff, l.PipeChoices = []TakeoffLine{}, []PipeChoice{}
	}
	if len(j.plan.Layouts) > 0 {
		j.tell(finding.New(finding.Warning, "plan_screening_only", "screening only: heights this uncertain are good for finding a place, so that costs are a range and there is no list of what to buy", "measure the fall on site, or plan with a ground model of finer cells; where you know the terrain to be better than its class, say accuracy: in the site file"))
	}
	return nil
}

// Text prints the whole cost, or its range.
func (c Cost) Text() string {
	if c.Range != nil {
		return fmt.Sprintf("%s %s to %s", c.Currency, strconv.FormatFloat(float64(c.Range.Low), 'f', -1, 64), strconv.FormatFloat(float64(c.Range.High), 'f', -1, 64))
	}
	return c.Currency + " " + string(c.Total)
}
