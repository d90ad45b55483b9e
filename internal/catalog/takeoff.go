package catalog

import (
	"fmt"
	"math"
)

// Groups of a takeoff.
const (
	GroupSupply   = "supply"
	GroupDrive    = "drive"
	GroupDelivery = "delivery"
	GroupOther    = "other"
)

// Line is one line of a takeoff: what is bought for a need. A need of pipe
// that is met with packs of several lengths has one line for each; their
// quantities add up to the need.
type Line struct {
	Need
	Name   string
	Unit   string
	Packs  int64 // whole packs or pieces, waste included
	Price  Money // of one
	Amount Money
}

// Takeoff is the list of what is bought for one layout.
type Takeoff struct {
	Lines []Line
}

// Takeoff turns needs into whole packs and exact amounts. Waste is a share of
// the length of pipe (0.05 is 5 %) and does not concern things that are
// counted. An unknown item, a quantity that is negative or not a number, and
// an amount beyond int64 are errors.
func (c *Catalog) Takeoff(needs []Need, waste float64) (Takeoff, error) {
	var t Takeoff
	if !(waste >= 0 && waste <= 10) {
		return t, fmt.Errorf("catalog: the waste allowance %g is out of range: a share from 0 to 10 is expected", waste)
	}
	for _, need := range needs {
		lines, err := c.lines(need, waste)
		if err != nil {
			return Takeoff{}, err
		}
		t.Lines = append(t.Lines, lines...)
	}
	return t, nil
}

func (c *Catalog) lines(need Need, waste float64) ([]Line, error) {
	if need.Item == "" && need.Name != "" {
		l, err := asked(need)
		return []Line{l}, err
	}
	it, ok := c.byID[need.Item]
	if !ok {
		return nil, fmt.Errorf("catalog: there is no item %q", need.Item)
	}
	if !(need.Quantity >= 0 && need.Quantity*(1+waste) <= LongestRunM) {
		return nil, fmt.Errorf("catalog: the quantity %g of %q is out of range", need.Quantity, need.Item)
	}
	if need.Quantity == 0 {
		return nil, nil
	}
	price, units, err := priced(it, need)
	if err != nil {
		return nil, fmt.Errorf("catalog: %q: %w", it.ID, err)
	}
	packs := []packCount{{it, units}}
	if it.Kind == KindPipe {
		packs = c.cover(it, need.Quantity, waste)
	}
	lines := make([]Line, 0, len(packs))
	left := need.Quantity
	for i, p := range packs {
		l := Line{Need: need, Name: p.item.Name, Unit: p.item.Unit, Packs: p.count, Price: p.item.Price}
		l.Item = p.item.ID
		if i < len(packs)-1 {
			l.Quantity = math.Min(left, float64(p.count)*p.item.PackM/(1+waste))
			left -= l.Quantity
		} else {
			l.Quantity = left
		}
		if it.Kind != KindPipe {
			l.Price = price
		}
		if l.Amount, err = l.Price.Times(p.count); err != nil {
			return nil, fmt.Errorf("catalog: %q: %w", p.item.ID, err)
		}
		lines = append(lines, l)
	}
	return lines, nil
}

// Total adds up all lines. It fails with ErrOverflow or ErrCurrency.
func (t Takeoff) Total() (Money, error) { return t.sum(func(Line) bool { return true }) }

// Group adds up the lines of one group.
func (t Takeoff) Group(group string) (Money, error) {
	return t.sum(func(l Line) bool { return l.Group == group })
}

// ByGroup adds up the lines of every group; the four usual groups are always
// there.
func (t Takeoff) ByGroup() (map[string]Money, error) {
	sums := map[string]Money{GroupSupply: {}, GroupDrive: {}, GroupDelivery: {}, GroupOther: {}}
	for _, l := range t.Lines {
		sum, err := sums[l.Group].Add(l.Amount)
		if err != nil {
			return nil, err
		}
		sums[l.Group] = sum
	}
	for group, sum := range sums {
		if sum.Currency == "" && len(t.Lines) > 0 {
			sum.Currency = t.Lines[0].Amount.Currency
			sums[group] = sum
		}
	}
	return sums, nil
}

func (t Takeoff) sum(of func(Line) bool) (Money, error) {
	var total Money
	for _, l := range t.Lines {
		if !of(l) {
			if total.Currency == "" {
				total.Currency = l.Amount.Currency
			}
			continue
		}
		var err error
		if total, err = total.Add(l.Amount); err != nil {
			return Money{}, err
		}
	}
	return total, nil
}
