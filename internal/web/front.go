package web

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"

	"route/internal/finding"
	"route/internal/plan"
)

// front is what more water costs.
type front struct {
	CostLabel  string       `json:"cost_label"`
	WaterLabel string       `json:"water_label"`
	Demand     plan.Number  `json:"demand"` // as water; null when none is stated
	DemandText string       `json:"demand_text"`
	Points     []frontPoint `json:"points"`
}

type frontPoint struct {
	ID        string      `json:"id"` // of the card that shows it
	Cost      plan.Number `json:"cost"`
	Water     plan.Number `json:"water"`
	CostText  string      `json:"cost_text"`
	WaterText string      `json:"water_text"`
	Text      string      `json:"text"`
}

// step is one change to the first layout, or a stage of buying it.
type step struct {
	Text string `json:"text"`
	Gain string `json:"gain"`
	Cost string `json:"cost"`
}

// frontOf words the front of a plan; nil where there is none to choose from.
func (t teller) frontOf(p *plan.Plan) *front {
	if len(p.Front) < 2 {
		return nil
	}
	f := &front{CostLabel: "Materials", WaterLabel: "Water a day", Demand: p.Demand}
	if p.Demand.Known() {
		f.DemandText = "wanted: " + t.day(p.Demand)
	}
	for k := range p.Front {
		x := &p.Front[k]
		cost, err := strconv.ParseFloat(string(x.Cost), 64)
		if err != nil || beaten(p.Front, k) {
			continue
		}
		point := frontPoint{ID: x.Layout, Cost: plan.Number(cost), Water: x.DeliveredLDay, CostText: x.Currency + " " + string(x.Cost), WaterText: t.day(x.DeliveredLDay)}
		if point.ID == "" {
			point.ID = fmt.Sprintf("front-%d", k+1)
		}
		name := ""
		if x.Layout != "" {
			name = "Layout " + x.Layout + ". "
		}
		point.Text = fmt.Sprintf("%sThe cheapest for %s: %s, %d × %s, pump at %s. Chance that it gives as much as asked: %s.",
			name, t.day(x.DemandLDay), point.CostText, x.Pumps, x.PumpModel, t.length(x.PumpStationM), percent(x.ChanceWorks))
		f.Points = append(f.Points, point)
	}
	if len(f.Points) < 2 {
		return nil
	}
	return f
}

// beaten says whether another point gives as much for as little: the cheapest
// layouts for two demands may be one, and graded with the real delivery line a
// point can fall behind its neighbour.
func beaten(points []plan.FrontPoint, k int) bool {
	cost := func(i int) float64 {
		v, err := strconv.ParseFloat(string(points[i].Cost), 64)
		if err != nil {
			return math.Inf(1)
		}
		return v
	}
	for i := range points {
		same := cost(i) == cost(k) && points[i].DeliveredLDay == points[k].DeliveredLDay
		if i != k && cost(i) <= cost(k) && points[i].DeliveredLDay >= points[k].DeliveredLDay && (!same || i < k) {
			return true
		}
	}
	return false
}

// stepsOf words what to buy next, and how to buy in parts.
func (t teller) stepsOf(p *plan.Plan) (next, stages []step) {
	next, stages = []step{}, []step{}
	for _, n := range p.Next {
		s := step{Text: plan.Sentence(n.Text), Gain: "brings no more water", Cost: "for " + n.Currency + " " + string(n.AddedCost)}
		if saved, found := strings.CutPrefix(string(n.AddedCost), "-"); found {
			s.Cost = "and saves " + n.Currency + " " + saved
		} else if !(n.AddedLDay > 0) {
			s.Cost = ""
		}
		if n.AddedLDay > 0 {
			s.Gain = "+" + t.day(n.AddedLDay)
			if n.LDayForMoney.Known() {
				s.Gain += fmt.Sprintf(", %s for each %s", t.day(n.LDayForMoney), n.Currency)
			}
		}
		if n.BeyondLimit {
			s.Text += " This is beyond a limit of the site."
		}
		next = append(next, s)
	}
	for _, x := range p.Stages {
		stages = append(stages, step{Text: plan.Sentence(x.Text), Gain: t.day(x.DeliveredLDay), Cost: "for " + x.Currency + " " + string(x.Buy)})
	}
	return next, stages
}

// frontCard is a point of the front as a layout of its own: the cheapest one
// at the point's places and of its items that gives what the point stands for.
func frontCard(ctx context.Context, d *plan.Desk, p *plan.Plan, k int) (*card, error) {
	x := &p.Front[k]
	n, err := d.With(ctx, plan.Changes{Set: map[string]string{
		"demand":    strconv.FormatFloat(float64(x.DemandLDay), 'f', -1, 64) + " L/day",
		"objective": "least_cost",
	}})
	if err != nil {
		return nil, err
	}
	trial, err := n.Try(ctx, placesOf(&x.Sketch))
	if err != nil {
		return nil, err
	}
	if trial.Layout == nil {
		return nil, &finding.Fault{Code: "front_lost", Text: "this layout cannot be shown by itself", Hint: "ask for its water as the demand of the site"}
	}
	t := teller{system: p.System(), toFrame: p.Relief.ToFrame, site: d.Site()}
	c := t.card(trial.Layout)
	c.ID = fmt.Sprintf("front-%d", k+1)
	c.Title = "For " + t.day(x.DemandLDay)
	c.Why = "The cheapest layout that gives this much, with the margin for what the model does not know."
	return &c, nil
}

// placesOf is where and of what a sketch is built.
func placesOf(s *plan.Sketch) plan.Places {
	at := plan.Places{IntakeM: float64(s.IntakeStationM), PumpM: float64(s.PumpStationM), SupplyPipe: s.SupplyItem, DrivePipe: s.DriveItem, DeliveryPipe: s.DeliveryItem, Pumps: s.Pumps}
	for _, o := range []struct {
		from plan.Number
		to   **float64
	}{{s.BoxStationM, &at.BoxM}, {s.StandpipeStation, &at.StandpipeM}} {
		if o.from.Known() {
			m := float64(o.from)
			*o.to = &m
		}
	}
	return at
}

// front answers with the card of one point.
func (s *Server) front(w http.ResponseWriter, r *http.Request) {
	n := s.now.Load()
	a, ok := s.read(w, r)
	if !ok {
		return
	}
	p, err := s.planFor(r.Context(), n, a)
	if err != nil {
		fail(w, err)
		return
	}
	if a.Point < 1 || a.Point > len(p.Front) {
		refuse(w, http.StatusUnprocessableEntity, "bad_request", "there is no such point of the front", "reload the page")
		return
	}
	d, err := s.groundFor(r.Context(), n, a)
	if err == nil && !s.takeTurn(r.Context()) {
		err = r.Context().Err()
	}
	if err != nil {
		fail(w, err)
		return
	}
	defer s.giveTurn()
	c, err := frontCard(r.Context(), d, p, a.Point-1)
	if err != nil {
		fail(w, err)
		return
	}
	answer(w, http.StatusOK, c)
}
