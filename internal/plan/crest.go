package plan

import (
	"cmp"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"route/internal/catalog"
	"route/internal/finding"
	"route/internal/optimize"
	"route/internal/profile"
	"route/internal/quantity"
	"route/internal/terrain"
)

// The highest ground on the delivery line sets the lift where it stands above
// the tank's inlet. The cheapest way may climb over a hill that a longer one
// goes round; which of the two is better depends on the pump. This file works
// out the trade-off: ways kept below a cap, for a few caps.

const (
	// mostCaps bounds how many fields are worked out for one plan.
	mostCaps = 4
	// leastCrestGain is by how much a crest must be lower to be worth a way of
	// its own, metres.
	leastCrestGain = 0.5
	// waterOverGround is how far the water must rise above the crest: as the
	// search takes it.
	waterOverGround = 0.1
)

// cappedField is a field of ways that stay below a height.
type cappedField struct {
	capM  float64
	field *terrain.Field
}

// lowerCrests adds fields of ways with lower crests, where the cheapest ways
// climb too high and lower ones exist. The caps are found by halving between
// the lowest crest that any station can have and the highest that is used.
func (j *job) lowerCrests() error {
	j.capped = nil
	// Below this level a crest does not matter.
	floor := math.Max(j.inletM()-waterOverGround, j.tankM+leastCrestGain)
	climbs := slices.ContainsFunc(j.creek.Points, func(p orb.Point) bool {
		_, crest, ok := j.field.Reach(p)
		return ok && crest > floor+leastCrestGain
	})
	if !climbs {
		return nil
	}
	least, err := terrain.CrestMin(j.ctx, j.grid, j.tank, j.land.forbidden(j.grid))
	if err != nil {
		return err
	}
	lowest, highest := math.Inf(1), math.Inf(-1)
	for _, p := range j.creek.Points {
		_, crest, ok := j.field.Reach(p)
		low, reached := least.At(p)
		if low = math.Max(low, floor); ok && reached && crest >= low+leastCrestGain {
			lowest, highest = math.Min(lowest, low), math.Max(highest, crest)
		}
	}
	if lowest > highest {
		return nil
	}
	// A hair above the lowest crest, so that the ground of that height itself
	// stays open.
	return j.sweepCrests(lowest+0.01, highest)
}

// sweepCrests works out fields for caps between two crests, coarsest step
// first.
func (j *job) sweepCrests(low, high float64) error {
	type gap struct{ low, high float64 }
	first, err := j.fieldBelow(low)
	if err != nil {
		return err
	}
	j.capped = append(j.capped, cappedField{low, first})
	for gaps := []gap{{low, high}}; len(gaps) > 0 && len(j.capped) < mostCaps; gaps = gaps[1:] {
		g := gaps[0]
		if g.high-g.low < 4*leastCrestGain {
			continue
		}
		mid := (g.low + g.high) / 2
		field, err := j.fieldBelow(mid)
		if err != nil {
			return err
		}
		j.capped = append(j.capped, cappedField{mid, field})
		gaps = append(gaps, gap{g.low, mid}, gap{mid, g.high})
	}
	slices.SortFunc(j.capped, func(a, b cappedField) int { return cmp.Compare(b.capM, a.capM) })
	return nil
}

// fieldBelow is the field of ways over ground no higher than a cap.
func (j *job) fieldBelow(capM float64) (*terrain.Field, error) {
	cost := j.laying(j.grid)
	if cost.Forbidden == nil {
		cost.Forbidden = make([]bool, len(j.grid.Z))
	}
	for i, z := range j.grid.Z {
		if float64(z) > capM {
			cost.Forbidden[i] = true
		}
	}
	return terrain.FromTankTo(j.ctx, j.grid, j.tank, cost, terrain.FieldOptions{Targets: j.creek.Points})
}

// fieldOf is the field that a set of delivery lines comes from.
func (j *job) fieldOf(set int) *terrain.Field {
	if set == 0 {
		return j.field
	}
	return j.capped[j.setOf[set-1]].field
}

// otherWays describes the lines with lower crests from each station, those
// left out that bring nothing against a line with a higher cap.
func (j *job) otherWays(creek *profile.Profile, extra map[int]bool, p *optimize.Problem) {
	j.setOf = nil
	crest := make([]float64, creek.Len())
	for i := range crest {
		crest[i] = math.Inf(1)
		if p.DeliveryAt[i].OK {
			crest[i] = math.Max(p.DeliveryAt[i].CrestM, p.TankInletM-waterOverGround)
		}
	}
	for n, c := range j.capped {
		ways := make([]optimize.DeliveryWay, creek.Len())
		j.deliveryWays(creek, extra, c.field, ways)
		any := false
		for i := range ways {
			if !ways[i].OK {
				continue
			}
			level := math.Max(ways[i].CrestM, p.TankInletM-waterOverGround)
			if ways[i].OK = level <= crest[i]-waterOverGround; ways[i].OK {
				crest[i], any = level, true
			}
		}
		if any {
			p.DeliveryOthers = append(p.DeliveryOthers, ways)
			j.setOf = append(j.setOf, n)
		}
	}
}

// CrestWay is one way for the delivery pipe: a lower crest for a longer or
// dearer line.
type CrestWay struct {
	CrestM  Number  `json:"crest_m"`
	LiftM   Number  `json:"lift_m"`
	LengthM Number  `json:"length_m"`
	Cost    Decimal `json:"cost"` // of the pipe of this layout and of laying it
	Chosen  bool    `json:"chosen"`
}

// crestWays lists the ways from the pump of a layout, the highest crest first,
// and says what the choice means.
func (g *grader) crestWays() []finding.Finding {
	ways := []CrestWay{}
	var chosen, other *terrain.Path
	for set := 0; set <= len(g.setOf); set++ {
		route, err := g.routes.from(g.fieldOf(set), g.creek.Points[g.c.Pump])
		if err != nil {
			continue
		}
		lift := math.Max(g.problem.TankInletM, route.CrestM) - g.c.OutletM
		if n := len(ways); n > 0 && float64(ways[n-1].LiftM) <= lift+waterOverGround && set != g.c.DeliverySet {
			continue
		}
		cost := ""
		if sum, err := g.wayCost(&route); err == nil {
			cost = sum.Decimal()
		}
		ways = append(ways, CrestWay{CrestM: Number(route.CrestM), LiftM: Number(lift), LengthM: Number(route.LengthM), Cost: Decimal(cost), Chosen: set == g.c.DeliverySet})
		if set == g.c.DeliverySet {
			chosen = &route
		} else if set == 0 || other == nil || g.c.DeliverySet == 0 {
			other = &route
		}
	}
	g.l.Delivery.CrestWays = ways
	if chosen == nil || other == nil {
		return nil
	}
	if g.c.DeliverySet > 0 && other.CrestM > chosen.CrestM {
		return []finding.Finding{finding.New(finding.Note, "lower_crest_taken", "the cheapest way to the tank climbs over ground {0} above the tank inlet; this layout goes round, over ground {1} lower, with {2} of pipe instead of {3}", "", quantity.Metres(other.CrestM-g.problem.TankInletM), quantity.Metres(other.CrestM-chosen.CrestM), quantity.Metres(chosen.LengthM), quantity.Metres(other.LengthM))}
	}
	if other.CrestM < chosen.CrestM && chosen.CrestM > g.problem.TankInletM {
		return []finding.Finding{finding.New(finding.Note, "lower_crest_possible", "a way to the tank over ground {0} lower takes {1} of pipe instead of {2}; all in all it is no better here", "", quantity.Metres(chosen.CrestM-other.CrestM), quantity.Metres(other.LengthM), quantity.Metres(chosen.LengthM))}
	}
	return nil
}

// wayCost is what the pipe of this layout costs along a way, laid.
func (g *grader) wayCost(route *terrain.Path) (catalog.Money, error) {
	work, err := g.plan.Prices.LayingCost(g.laidLayout(route))
	if err != nil {
		return work, err
	}
	return work.Add(g.plan.Prices.PipeCost(g.c.DeliveryPipe, route.LengthM, g.site.PipeWaste))
}
