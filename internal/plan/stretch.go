package plan

import (
	"fmt"
	"math"

	"route/internal/catalog"
	"route/internal/finding"
	"route/internal/hydraulics"
	"route/internal/quantity"
)

// The pressure in the delivery pipe falls on the way up, and a pipe of a lower
// pressure class is cheaper. This file changes pipe where that saves money.

// changeMarginM is how much further than it must the heavier pipe is laid, for
// a crew that is a little off the line; common practice, no source.
const changeMarginM = 2.0

// Stretch is a part of the delivery pipe that is of one product.
type Stretch struct {
	Item      string `json:"item"`
	Material  string `json:"material"`
	Size      string `json:"size"`
	Standard  string `json:"standard"`
	FromM     Number `json:"from_m"` // along the pipe, from the pump
	ToM       Number `json:"to_m"`
	PressureM Number `json:"pressure_max_m"` // greatest head inside, surge included
	RatingM   Number `json:"rating_m"`
}

// splitDelivery finds the cheapest division of the laid delivery pipe between
// the pipe that the search chose and a lighter one of the same size above it.
// The lighter one is never narrower, so that the layout delivers no less than
// is stated.
func (g *grader) splitDelivery() {
	whole := g.route.LengthM
	g.upper, g.lowerM = nil, whole
	best := g.plan.Prices.PipeCost(g.deliveryPipe.ID, whole, g.site.PipeWaste)
	g.alone = best
	for _, it := range g.plan.Prices.Items(catalog.KindPipe, catalog.UseDelivery) {
		if it.ID == g.deliveryPipe.ID || !it.Goes(g.deliveryPipe) || it.Pipe.Pipe.Inside < g.deliveryPipe.Pipe.Pipe.Inside*(1-1e-6) || !g.mayUse(it) {
			continue
		}
		rating := it.Pipe.RatingAt(g.site.TemperatureK)
		if !(rating > 0) {
			continue
		}
		least := g.pressedUpTo(rating, g.surgeOf(it)) + changeMarginM
		lower, cost := g.plan.Prices.SplitRun(g.deliveryPipe.ID, it.ID, whole, least, g.site.PipeWaste)
		if cost.Minor < best.Minor {
			g.upper, g.lowerM, best = it, lower, cost
		}
	}
	g.l.Delivery.Stretches = g.stretches()
	if g.upper != nil {
		saved := catalog.Money{Minor: g.alone.Minor - best.Minor, Currency: best.Currency}
		g.found = append(g.found, finding.New(finding.Note, "delivery_lighter_above",
			fmt.Sprintf("from {0} along the delivery pipe the lighter %s will do; it saves %s", g.upper.Pipe.Name, saved), "", quantity.Metres(g.lowerM)))
	}
}

// mayUse says whether the user lets a pipe be used for delivery.
func (g *grader) mayUse(it *catalog.Item) bool {
	wanted := g.site.Choices.Delivery
	for _, w := range wanted {
		if isNamed(it, w) {
			return true
		}
	}
	return len(wanted) == 0
}

// surgeOf is the rise of pressure when the flow is stopped at once, in the
// stiffer of a pipe and the one that the search chose.
func (g *grader) surgeOf(it *catalog.Item) float64 {
	own := g.deliveryPipe.Pipe.Pipe
	v := g.operation.DeliveredTotal / own.Area()
	return math.Max(hydraulics.Surge(g.fluid, own, v), hydraulics.Surge(g.fluid, it.Pipe.Pipe, v))
}

// pressedUpTo is how far along the delivery pipe the head inside, with a
// surge, is still above a rating somewhere.
func (g *grader) pressedUpTo(rating, surge float64) float64 {
	path := g.l.Delivery.Path
	head := func(v Vertex) float64 { return float64(v.GradeM-v.InvertM) + surge }
	for k := len(path) - 1; k >= 0; k-- {
		if head(path[k]) <= rating {
			continue
		}
		if k == len(path)-1 {
			return float64(path[k].AlongM)
		}
		// Between two vertices the head changes evenly.
		t := (head(path[k]) - rating) / (head(path[k]) - head(path[k+1]))
		return float64(path[k].AlongM) + t*float64(path[k+1].AlongM-path[k].AlongM)
	}
	return 0
}

// stretches lists the parts of the delivery pipe.
func (g *grader) stretches() []Stretch {
	part := func(it *catalog.Item, from, to float64) Stretch {
		run := pipeRun(it, to-from, 0, g.site.TemperatureK)
		most, surge := 0.0, g.surgeOf(it)
		for _, v := range append([]Vertex{pointAlong(g.l.Delivery.Path, from), pointAlong(g.l.Delivery.Path, to)}, g.l.Delivery.Path...) {
			if along := float64(v.AlongM); along >= from-1e-9 && along <= to+1e-9 {
				most = math.Max(most, float64(v.GradeM-v.InvertM)+surge)
			}
		}
		return Stretch{Item: run.Item, Material: run.Material, Size: run.Size, Standard: run.Standard, FromM: Number(from), ToM: Number(to), PressureM: Number(most), RatingM: run.RatingM}
	}
	if g.upper == nil {
		return []Stretch{part(g.deliveryPipe, 0, g.route.LengthM)}
	}
	return []Stretch{part(g.deliveryPipe, 0, g.lowerM), part(g.upper, g.lowerM, g.route.LengthM)}
}

// changes are the stretches that begin with a change from one product to the next;
// none where the pipe is all of one.
func (d *Delivery) changes() []Stretch {
	if len(d.Stretches) < 2 {
		return nil
	}
	return d.Stretches[1:]
}
