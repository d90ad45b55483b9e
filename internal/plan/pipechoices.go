package plan

import (
	"cmp"
	"slices"
	"strconv"

	"route/internal/catalog"
	"route/internal/hydraulics"
)

// PipeChoice is another pressure class, or another make, of the same nominal
// size for one run, priced in the place of the one that the layout has.
type PipeChoice struct {
	Run      string `json:"run"` // supply, drive, delivery
	Item     string `json:"item"`
	Material string `json:"material"`
	Size     string `json:"size"`
	Standard string `json:"standard"`
	InsideM  Number `json:"inside_m"`
	RatingM  Number `json:"rating_m"` // null when its standard gives none
	// Enough says whether the rating holds the greatest head inside; null where
	// the standard gives none.
	Enough  *bool   `json:"enough"`
	LossM   Number  `json:"loss_m"` // friction at the layout's flow; null for the drive pipe
	Planned bool    `json:"planned"`
	Total   Decimal `json:"total"` // of the whole layout with this pipe
	More    Decimal `json:"more"`  // than as planned; negative is cheaper
}

// pipeChoices prices the classes of the same nominal size for each run side by
// side, cheapest first: all else stays as it is, fittings go with the pipe.
func (g *grader) pipeChoices(q catalog.Layout) error {
	g.l.PipeChoices = []PipeChoice{}
	planned, err := g.plan.Prices.Materials(q)
	if err != nil {
		return err
	}
	for _, run := range []struct {
		name    string
		use     catalog.Use
		pipe    *PipeRun
		planned *catalog.Item
		put     func(q *catalog.Layout, id string)
		loss    float64 // length that rubs; 0 where the loss is not looked at
	}{
		{"supply", catalog.UseSupply, supplyOf(&g.l), g.supplyPipe, func(q *catalog.Layout, id string) { q.SupplyPipe = id }, g.c.SupplyM},
		{"drive", catalog.UseDrive, &g.l.Drive.PipeRun, g.drivePipe, func(q *catalog.Layout, id string) { q.DrivePipe = id }, 0},
		{"delivery", catalog.UseDelivery, &g.l.Delivery.PipeRun, g.deliveryPipe, func(q *catalog.Layout, id string) { q.DeliveryPipe, q.DeliveryUpper, q.DeliveryUpperM = id, "", 0 }, g.route.LengthM},
	} {
		if run.pipe == nil || run.planned == nil {
			continue
		}
		list, err := g.choicesOf(run.use, run.planned, func(it *catalog.Item) (PipeChoice, error) {
			other := q
			if it != run.planned {
				run.put(&other, it.ID)
			}
			c := PipeChoice{Run: run.name, Planned: it == run.planned, LossM: Unknown}
			c.describe(it, run.pipe, g.site.TemperatureK)
			if run.loss > 0 {
				c.LossM = Unknown
				if loss, err := hydraulics.HeadLoss(g.fluid, it.Pipe.Pipe, run.loss, float64(run.pipe.FlowLS)/1000, 0); err == nil {
					c.LossM = Number(loss)
				}
			}
			return c, g.priceChoice(&c, other, planned)
		})
		if err != nil {
			return err
		}
		g.l.PipeChoices = append(g.l.PipeChoices, list...)
	}
	return nil
}

func supplyOf(l *Layout) *PipeRun {
	if l.Supply == nil {
		return nil
	}
	return &l.Supply.PipeRun
}

// choicesOf makes a choice of every pipe of the catalog with the nominal size
// of the planned one; where there is no other, of none.
func (g *grader) choicesOf(use catalog.Use, planned *catalog.Item, choose func(*catalog.Item) (PipeChoice, error)) ([]PipeChoice, error) {
	var list []PipeChoice
	for _, it := range g.plan.Prices.Items(catalog.KindPipe, use) {
		if it.Size != planned.Size && it.Pipe.Size != planned.Pipe.Size {
			continue
		}
		if it.Pipe.Name == planned.Pipe.Name {
			it = planned
		}
		c, err := choose(it)
		if err != nil {
			return nil, err
		}
		list = append(list, c)
	}
	if len(list) < 2 {
		return nil, nil
	}
	slices.SortStableFunc(list, func(a, b PipeChoice) int { return cmp.Compare(a.cost(), b.cost()) })
	return list, nil
}

func (c *PipeChoice) cost() float64 {
	v, err := strconv.ParseFloat(string(c.Total), 64)
	if err != nil {
		panic("plan: a price that this program printed does not parse: " + err.Error())
	}
	return v
}

// describe says what the pipe is and whether it holds what the run puts on it.
func (c *PipeChoice) describe(it *catalog.Item, run *PipeRun, temperatureK float64) {
	own := pipeRun(it, 0, 0, temperatureK)
	c.Item, c.Material, c.Size, c.Standard, c.InsideM, c.RatingM = own.Item, own.Material, own.Size, own.Standard, own.InsideM, own.RatingM
	if own.RatingM.Known() && run.PressureM.Known() {
		enough := own.RatingM >= run.PressureM
		c.Enough = &enough
	}
}

// priceChoice prices the whole layout with other quantities.
func (g *grader) priceChoice(c *PipeChoice, q catalog.Layout, planned catalog.Takeoff) error {
	takeoff, err := g.plan.Prices.Materials(q)
	if err != nil {
		return err
	}
	total, err := takeoff.Total()
	if err != nil {
		return err
	}
	before, err := planned.Total()
	if err != nil {
		return err
	}
	before, err = before.Times(-1)
	if err != nil {
		return err
	}
	more, err := total.Add(before)
	if err != nil {
		return err
	}
	more.Currency = g.plan.Prices.Currency
	c.Total, c.More = Decimal(total.Decimal()), Decimal(more.Decimal())
	return nil
}
