package catalog

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Parts of a price list that are work on the delivery line.
const (
	PartLaying = "laying" // a length of pipe, rolled out and pegged down; unit m or ft
	PartTrench = "trench" // a volume of ground, dug out and filled in; unit m3 or yd3
)

// PartCrossing is the part of a price list that says what crossing something
// costs: "road crossing", "creek crossing", "fence crossing", "rock crossing".
func PartCrossing(class string) string { return class + " crossing" }

// Laid is a length of delivery pipe on ground of one kind.
type Laid struct {
	LengthM float64
	Factor  float64 // on the price of laying it and of digging for it; 0 counts as 1
	Where   string  // what the ground is like, for the reader
}

// Crossed is how often a delivery pipe passes over something.
type Crossed struct {
	Class string // names the part of the price list; "" for one that has none
	Name  string // for the reader
	Count int
	// Fee is the price of one crossing; without a currency it is that of the
	// price list.
	Fee Money
}

// cubicYard in m³, exactly 0.9144³.
const cubicYard = 0.764554857984

// LayingPrices gives what a metre of delivery pipe costs to lay where the
// factor is 1, in whole units of the currency: on the ground, and in a trench
// of the given depth and width in metres where the depth is above 0. It is for
// choosing the way; the takeoff counts whole units of work.
func (c *Catalog) LayingPrices(depthM, widthM float64) float64 {
	price := 0.0
	if it := c.fitting(PartLaying, nil); it != nil {
		price += it.Price.Float() / lengthOf(it)
	}
	if it := c.fitting(PartTrench, nil); it != nil && depthM > 0 {
		price += it.Price.Float() * depthM * widthM / volumeOf(it)
	}
	return price
}

// CrossingFee is what the price list asks for a crossing of a class; ok is
// false where it has no such line.
func (c *Catalog) CrossingFee(class string) (fee Money, ok bool) {
	it := c.fitting(PartCrossing(class), nil)
	if it == nil {
		return Money{Currency: c.Currency}, false
	}
	return it.Price, true
}

// lengthOf is how many metres one unit of laying is.
func lengthOf(it *Item) float64 {
	if it.PackM > 0 {
		return it.PackM
	}
	return 1
}

// volumeOf is how many cubic metres one unit of trench is.
func volumeOf(it *Item) float64 {
	if strings.HasPrefix(it.Unit, "yd") {
		return cubicYard
	}
	return 1
}

// laying lists the work on the delivery line: a line for each kind of ground,
// and one for each thing that is crossed.
func (n *needs) laying() {
	l, c := n.layout, n.catalog
	if l.LayingSum.Minor > 0 {
		n.list = append(n.list, Need{Name: "laying and crossings", Price: l.LayingSum, Quantity: 1, Group: GroupDelivery, Where: "pump to tank"})
	}
	work := func(it *Item, quantity float64, run Laid) {
		if it != nil && quantity > 0 {
			n.list = append(n.list, Need{Item: it.ID, Quantity: quantity, Group: GroupDelivery, Where: run.Where, Factor: run.Factor})
		}
	}
	for _, run := range l.DeliveryLaid {
		work(c.fitting(PartLaying, nil), run.LengthM, run)
		if trench := c.fitting(PartTrench, nil); trench != nil {
			work(trench, run.LengthM*l.TrenchDepthM*l.TrenchWidthM/volumeOf(trench), run)
		}
	}
	for _, over := range l.DeliveryCrossed {
		it := c.fitting(PartCrossing(over.Class), nil)
		switch {
		case over.Fee.Currency != "":
			n.list = append(n.list, Need{Name: "crossing", Price: over.Fee, Quantity: float64(over.Count), Group: GroupDelivery, Where: over.Name})
		case it != nil:
			n.add(it, float64(over.Count), GroupDelivery, over.Name)
		}
	}
}

// LayingCost is the price of the work on a delivery line, exact in the coins
// of its takeoff. It fails with ErrOverflow.
func (c *Catalog) LayingCost(l Layout) (Money, error) {
	n := needs{catalog: c, layout: Layout{DeliveryLaid: l.DeliveryLaid, DeliveryCrossed: l.DeliveryCrossed, TrenchDepthM: l.TrenchDepthM, TrenchWidthM: l.TrenchWidthM}}
	n.laying()
	t, err := c.Takeoff(n.list, 0)
	if err != nil {
		return Money{}, err
	}
	total, err := t.Total()
	total.Currency = c.Currency
	return total, err
}

// priced gives the price of one unit for a need, and how many are paid for.
func priced(it *Item, need Need) (price Money, units int64, err error) {
	quantity := need.Quantity
	if it.Kind == KindLabour && it.PackM > 0 {
		quantity /= it.PackM
	}
	price = it.Price
	if need.Factor != 0 && need.Factor != 1 {
		if price, err = price.Part(need.Factor); err != nil {
			return price, 0, err
		}
	}
	return price, int64(math.Ceil(quantity - 1e-9)), nil
}

// asked is the line of a need that carries its own price.
func asked(need Need) (Line, error) {
	l := Line{Need: need, Name: need.Name, Unit: "each", Packs: int64(math.Ceil(need.Quantity - 1e-9)), Price: need.Price}
	var err error
	if l.Amount, err = l.Price.Times(l.Packs); err != nil {
		return l, fmt.Errorf("catalog: %s: %w", strconv.Quote(need.Name), err)
	}
	return l, nil
}
