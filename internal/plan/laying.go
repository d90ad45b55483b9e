package plan

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"

	"route/internal/catalog"
	"route/internal/finding"
	"route/internal/quantity"
	"route/internal/terrain"
)

// This file prices the ground for the delivery pipe: what a metre costs to lay
// by slope and by ground, and what it costs to cross a road, a creek, a fence
// or a band of rock.

// LayingSite is how the delivery pipe is laid, and by how many times dearer
// that is on ground that is not easy.
type LayingSite struct {
	// FrostDepthM is how deep frost goes: the pipe's crown lies below it. 0
	// leaves the pipe on the ground.
	FrostDepthM, TrenchWidthM float64
	// Slope15, Slope30 and Slope60 are factors for ground steeper than so many
	// per cent along the pipe; SteepestGrade is not crossed, 0 sets no limit.
	Slope15, Slope30, Slope60, SteepestGrade float64
	// Factors by class of ground.
	Rock, Woods, Wet float64
}

// What a factor on laying may be.
const leastGroundFactor, mostGroundFactor = 0.1, 100.0

// groundClasses gives the factor of each class of ground that a land file may
// name.
var groundClasses = map[string]func(l *LayingSite) float64{
	"open":  func(*LayingSite) float64 { return 1 },
	"rock":  func(l *LayingSite) float64 { return l.Rock },
	"woods": func(l *LayingSite) float64 { return l.Woods },
	"wet":   func(l *LayingSite) float64 { return l.Wet },
}

func groundWords() []string { return slices.Sorted(maps.Keys(groundClasses)) }

// slopeClasses are the classes of slope along the pipe with their factors.
func (l *LayingSite) slopeClasses() []terrain.SlopeClass {
	classes := []terrain.SlopeClass{{MaxGrade: 0.15, Factor: 1}, {MaxGrade: 0.3, Factor: l.Slope15}, {MaxGrade: 0.6, Factor: l.Slope30}, {MaxGrade: math.Inf(1), Factor: l.Slope60}}
	most := l.SteepestGrade
	if most == 0 {
		return classes
	}
	for i := range classes {
		if most <= classes[i].MaxGrade {
			classes[i].MaxGrade = most
			return classes[:i+1]
		}
	}
	return classes
}

// slopeWords says what a slope class is for people.
var slopeWords = [...]string{"gentle ground", "ground of 15 to 30 %", "ground of 30 to 60 %", "ground steeper than 60 %"}

// groundKind is one class of ground of a site, as it is numbered in a raster.
type groundKind struct {
	class  string // "" for ordinary ground
	factor float64
}

// groundRaster gives the class of ground of each cell of a grid, and what the
// classes are: 0 is ordinary ground. Where areas overlap, the one later in the
// land file counts. It is nil when the land file names no ground.
func (l *land) groundRaster(g *terrain.Grid, laying *LayingSite) (*terrain.GroundClasses, []groundKind) {
	kinds := []groundKind{{factor: 1}}
	if len(l.grounds) == 0 {
		return nil, kinds
	}
	raster := terrain.OrdinaryGround(g)
	for _, patch := range l.grounds {
		kind := groundKind{patch.class, patch.factor}
		if kind.factor == 0 {
			kind.factor = groundClasses[patch.class](laying)
		}
		n := slices.Index(kinds, kind)
		if n < 0 {
			if len(kinds) > math.MaxUint8 {
				continue // more kinds of ground than a raster can tell apart
			}
			n = len(kinds)
			kinds = append(kinds, kind)
			raster.Factor = append(raster.Factor, kind.factor)
		}
		g.CellsInside(patch.area, func(i int) { raster.Of[i] = uint8(n) })
	}
	return raster, kinds
}

// work is what laying the delivery pipe costs on this site.
type work struct {
	fees      []catalog.Money // of the crossings of the land
	crossedOf []int           // of the field's crossed lines, the number in land.crossings
	grounds   []groundKind    // of the field's classes of ground
}

// priceCrossings works out the fee of every crossing, in the order of
// land.crossings.
func (j *job) priceCrossings() error {
	j.work.fees = nil
	for _, c := range j.land.crossings {
		fee, known := j.plan.Prices.CrossingFee(c.class)
		if c.fee != "" {
			own, err := catalog.ParseMoney(c.fee, j.plan.Prices.Currency)
			if err != nil || own.Minor < 0 {
				return &finding.Fault{Code: "land_fee", File: j.site.path(j.site.Land), Text: fmt.Sprintf("crossing %s has the fee %q", c.name, c.fee), Hint: "write it like 250.00, in the currency of the prices: " + j.plan.Prices.Currency}
			}
			fee = own
		} else if !known && !c.source {
			j.tell(finding.New(finding.Note, "crossing_unpriced", "crossing "+c.name+" costs nothing in this plan: the price list has nothing for it", "give the feature a fee: 250.00, or a class: road, creek, fence or rock"))
		}
		j.work.fees = append(j.work.fees, fee)
	}
	return nil
}

// laying is what the delivery pipe costs over the ground of a grid.
func (j *job) laying(g *terrain.Grid) terrain.LayingCost {
	site := &j.site.Laying
	cost := terrain.LayingCost{
		PerMetre:     j.plan.Prices.LayingPrices(j.trenchDepth(), site.TrenchWidthM),
		PipePerMetre: j.usualPipePrice(),
		SlopeClasses: site.slopeClasses(),
		Forbidden:    j.land.forbidden(g),
	}
	cost.Ground, j.work.grounds = j.land.groundRaster(g, site)
	j.work.crossedOf = nil
	for n, c := range j.land.crossings {
		fee := j.work.fees[n].Float()
		if c.area {
			fee /= 2
		}
		for _, line := range c.lines {
			cost.Crossed = append(cost.Crossed, terrain.CrossedLine{Line: line, Fee: fee, Source: c.source})
			j.work.crossedOf = append(j.work.crossedOf, n)
		}
	}
	return cost
}

// trenchDepth is how deep the delivery pipe is dug in; 0 leaves it on the
// ground.
func (j *job) trenchDepth() float64 {
	if j.site.Laying.FrostDepthM == 0 {
		return 0
	}
	return j.site.Laying.FrostDepthM + beddingM
}

// beddingM is how much deeper than the frost a trench is dug: the pipe and its
// bed (common practice, no source).
const beddingM = 0.1

// usualPipePrice is what a metre of delivery pipe costs for choosing its way:
// which pipe it will be is not known before the search, so the middle one of
// those that may be used, in a run of 100 m, stands for all.
func (j *job) usualPipePrice() float64 {
	const runM = 100.0
	var prices []float64
	for _, it := range j.plan.Prices.Items(catalog.KindPipe, catalog.UseDelivery) {
		if len(j.site.Choices.Delivery) == 0 || slices.ContainsFunc(j.site.Choices.Delivery, func(w string) bool { return isNamed(it, w) }) {
			prices = append(prices, j.plan.Prices.PipeCost(it.ID, runM, j.site.PipeWaste).Float()/runM)
		}
	}
	if len(prices) == 0 {
		return 0 // said by the search
	}
	slices.Sort(prices)
	return prices[len(prices)/2]
}

// laidLayout holds what the work on a way follows from.
func (j *job) laidLayout(route *terrain.Path) catalog.Layout {
	return catalog.Layout{
		DeliveryLaid: j.laidLines(route), DeliveryCrossed: j.crossedLines(route),
		TrenchDepthM: j.trenchDepth(), TrenchWidthM: j.site.Laying.TrenchWidthM,
	}
}

// laidLines says what the ground of a way is made of, for the takeoff.
func (j *job) laidLines(route *terrain.Path) []catalog.Laid {
	slopes := j.site.Laying.slopeClasses()
	var list []catalog.Laid
	for _, l := range route.Laid {
		kind := j.work.grounds[l.Ground]
		where := slopeWords[l.Slope]
		if kind.class != "" && kind.class != "open" {
			where += ", " + kind.class
		}
		list = append(list, catalog.Laid{LengthM: l.LengthM, Factor: slopes[l.Slope].Factor * kind.factor, Where: where})
	}
	return list
}

// crossed counts how often a way passes over each crossing, in the order in
// which it comes to them. Into an area and out again is once.
func (j *job) crossed(route *terrain.Path) []crossedPlace {
	var list []crossedPlace
	for _, over := range route.Crossings {
		n := j.work.crossedOf[over.Line]
		i := slices.IndexFunc(list, func(c crossedPlace) bool { return c.number == n })
		if i < 0 {
			i = len(list)
			list = append(list, crossedPlace{number: n})
		}
		list[i].at = append(list[i].at, over)
	}
	for i := range list {
		c := &list[i]
		c.count = len(c.at)
		if j.land.crossings[c.number].area {
			c.count = (c.count + 1) / 2
		}
	}
	return list
}

// crossedPlace is one crossing of a way.
type crossedPlace struct {
	number int // in land.crossings
	count  int
	at     []terrain.Crossing
}

// crossedLines says what a way passes over, for the takeoff.
func (j *job) crossedLines(route *terrain.Path) []catalog.Crossed {
	var list []catalog.Crossed
	for _, c := range j.crossed(route) {
		over := j.land.crossings[c.number]
		line := catalog.Crossed{Class: over.class, Name: over.name, Count: c.count}
		if over.fee != "" {
			line.Fee = j.work.fees[c.number]
		}
		list = append(list, line)
	}
	slices.SortStableFunc(list, func(a, b catalog.Crossed) int { return cmp.Compare(a.Class, b.Class) })
	return list
}

// CrossingPlace is a place where the delivery pipe passes over something.
type CrossingPlace struct {
	Name   string  `json:"name"`
	Class  string  `json:"class"` // road, creek, fence, rock or the user's own word; "" for none
	AlongM Number  `json:"along_m"`
	Lon    Degrees `json:"lon"`
	Lat    Degrees `json:"lat"`
}

// crossingPlaces lists where the delivery pipe passes over what; an area where
// it is entered.
func (g *grader) crossingPlaces() []CrossingPlace {
	list := []CrossingPlace{}
	for _, c := range g.crossed(&g.route) {
		over := g.land.crossings[c.number]
		for k, at := range c.at {
			if over.area && k%2 == 1 {
				continue
			}
			ll := g.frame.ToLonLat(at.At)
			list = append(list, CrossingPlace{Name: over.name, Class: over.class, AlongM: Number(math.Min(at.AlongM, g.route.LengthM)), Lon: Degrees(ll.Lon), Lat: Degrees(ll.Lat)})
		}
	}
	slices.SortStableFunc(list, func(a, b CrossingPlace) int { return cmp.Compare(a.AlongM, b.AlongM) })
	return list
}

// shallow warns where a pipe that has to lie below the frost runs over rock.
func (g *grader) shallow() []finding.Finding {
	depth, rock := g.trenchDepth(), 0.0
	for _, l := range g.route.Laid {
		if g.work.grounds[l.Ground].class == "rock" {
			rock += l.LengthM
		}
	}
	if depth == 0 || rock < 1 {
		return nil
	}
	return []finding.Finding{finding.New(finding.Warning, "shallow_over_rock", "{0} of the delivery pipe run over rock, where it can hardly be dug {1} deep, below the frost", "cover it, let it drain when the pump stops, or go round", quantity.Metres(rock), quantity.Metres(depth))}
}
