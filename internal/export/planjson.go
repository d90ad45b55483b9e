package export

import (
	_ "embed"
	"encoding/json"
	"io"
	"slices"

	"route/internal/plan"
)

// PlanSchema is the JSON Schema (draft 2020-12) of plan.json.
//
//go:embed schema/plan.schema.json
var PlanSchema []byte

func writePlanJSON(w io.Writer, p *plan.Plan) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(withLists(*p))
}

// withLists gives a copy of the plan in which every list that is absent is an
// empty one: readers may walk a list without asking whether it is there.
func withLists(p plan.Plan) plan.Plan {
	list(&p.Inputs)
	list(&p.DemandUses)
	list(&p.Creek.Stations)
	list(&p.Messages)
	p.Visits = slices.Clone(p.Visits)
	list(&p.Visits)
	for i := range p.Visits {
		list(&p.Visits[i].Outcomes)
	}
	list(&p.Pins)
	list(&p.Front)
	list(&p.Next)
	list(&p.Stages)
	list(&p.Rejected)
	list(&p.Reaches)
	list(&p.WorksCited)
	list(&p.Defaults)
	p.Creek.Stations = slices.Clone(p.Creek.Stations)
	for i := range p.Creek.Stations {
		list(&p.Creek.Stations[i].Flags)
	}
	p.Layouts = slices.Clone(p.Layouts)
	list(&p.Layouts)
	for i := range p.Layouts {
		l := &p.Layouts[i]
		list(&l.BestAt)
		list(&l.Takeoff)
		list(&l.Stakes)
		list(&l.Messages)
		list(&l.Drive.Path)
		list(&l.Delivery.Path)
		list(&l.Delivery.Vents)
		list(&l.Delivery.CrestWays)
		list(&l.Delivery.Stretches)
		list(&l.Delivery.Crossings)
		list(&l.Delivery.Drains)
		if l.Supply != nil {
			supply := *l.Supply
			list(&supply.Path)
			l.Supply = &supply
		}
	}
	return p
}

func list[T any](s *[]T) {
	if *s == nil {
		*s = []T{}
	}
}
