package optimize

import (
	"math"
	"slices"

	"route/internal/catalog"
)

// The cost of a layout is the sum of the costs of its parts: what
// catalog.Needs asks for supply, standpipe, drive, delivery and pumps depends
// on nothing else. Each part is a step function of one length, taken from
// exact takeoffs at its steps, so that the search counts in the very coins of
// the final takeoff.

// anchorStepM is how often catalog.Needs puts an anchor along a drive pipe.
const anchorStepM = 3.0

// costing tabulates costs for one problem.
type costing struct {
	catalog *catalog.Catalog
	waste   float64
}

// total prices a part of a layout.
func (c *costing) total(l catalog.Layout) int64 {
	l.WasteFraction = c.waste
	t, err := c.catalog.Takeoff(c.catalog.Needs(l), c.waste)
	if err == nil {
		var m catalog.Money
		if m, err = t.Total(); err == nil {
			return m.Minor
		}
	}
	return math.MaxInt64 / 16 // beyond all prices
}

// steps tabulates a part with a pipe of up to maxM metres; more gives lengths
// besides whole packs at which the price may rise.
func (c *costing) steps(pipe string, maxM float64, more []float64, part func(lengthM float64) catalog.Layout) *prices {
	// Lengths within a micrometre of whole packs count as whole packs in the
	// catalog.
	tolerance := 0.9e-6 / (1 + c.waste)
	var at []float64
	for _, st := range c.catalog.PipeSteps(pipe, maxM, c.waste) {
		at = append(at, st.UpToM)
	}
	at = append(at, more...)
	slices.Sort(at)
	p := &prices{}
	for _, lengthM := range slices.Compact(at) {
		t := c.total(part(lengthM))
		if n := len(p.total); n > 0 && p.total[n-1] == t {
			p.upTo[n-1] = lengthM + tolerance
			continue
		}
		p.upTo = append(p.upTo, lengthM+tolerance)
		p.total = append(p.total, t)
	}
	return p
}

// supply prices a supply pipe with or without settling box.
func (c *costing) supply(pipe string, box bool, maxM float64) *prices {
	return c.steps(pipe, maxM, nil, func(m float64) catalog.Layout {
		return catalog.Layout{SupplyPipe: pipe, SupplyM: m, SettlingBox: box}
	})
}

// standpipe prices a standpipe by its height; no pipe costs nothing.
func (c *costing) standpipe(pipe string, maxM float64) *prices {
	if pipe == "" {
		return &prices{upTo: []float64{math.Inf(1)}, total: []int64{0}}
	}
	return c.steps(pipe, maxM, nil, func(m float64) catalog.Layout {
		return catalog.Layout{StandpipePipe: pipe, StandpipeM: m}
	})
}

// drive prices the drive pipes of some pumps by the length of one.
func (c *costing) drive(pipe string, pumps int, maxM float64) *prices {
	var anchors []float64
	for m := anchorStepM; m < maxM+anchorStepM; m += anchorStepM {
		anchors = append(anchors, m)
	}
	return c.steps(pipe, maxM, anchors, func(m float64) catalog.Layout {
		return catalog.Layout{DrivePipe: pipe, DriveM: m, Pumps: pumps}
	})
}

// pumps prices the pumps themselves.
func (c *costing) pumps(item string, n int) int64 {
	return c.total(catalog.Layout{Pump: item, Pumps: n})
}

// deliveryPrices is what a delivery pipe costs by its length, and what each
// bend, high point and low point adds.
type deliveryPrices struct {
	length          *prices
	bend, high, low int64
}

func (c *costing) delivery(pipe string, pumps int, maxM float64) deliveryPrices {
	layout := func(m float64) catalog.Layout {
		return catalog.Layout{DeliveryPipe: pipe, DeliveryM: m, Pumps: pumps}
	}
	d := deliveryPrices{length: c.steps(pipe, maxM, nil, layout)}
	plain := layout(1)
	base := c.total(plain)
	bend, high, low := plain, plain, plain
	bend.DeliveryBends, high.HighPoints, low.LowPoints = 1, 1, 1
	d.bend, d.high, d.low = c.total(bend)-base, c.total(high)-base, c.total(low)-base
	return d
}

// of prices the delivery pipe of one pump station, laid.
func (d *deliveryPrices) of(w *DeliveryWay) int64 {
	return d.length.at(w.LengthM) + int64(w.Bends)*d.bend + int64(w.HighPoints)*d.high + int64(w.LowPoints)*d.low + w.Laying.Minor
}
