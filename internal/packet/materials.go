package packet

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"route/internal/export"
	"route/internal/plan"
	"route/internal/quantity"
)

var groupNames = []struct{ group, title string }{{"supply", "Intake, supply pipe and standpipe"}, {"drive", "Drive pipe"}, {"delivery", "Delivery pipe"}, {"other", "Pump and the rest"}, {"labour", "Work"}}

// known groups of the takeoff, and those that this package has no title for.
func (s *sheet) groups() []struct{ group, title string } {
	all := groupNames
	seen := map[string]bool{}
	for _, g := range all {
		seen[g.group] = true
	}
	for _, line := range s.l.Takeoff {
		if !seen[line.Group] {
			seen[line.Group] = true
			all = append(all, struct{ group, title string }{line.Group, line.Group})
		}
	}
	return all
}

func (s *sheet) linesOf(group string) []plan.TakeoffLine {
	var list []plan.TakeoffLine
	for _, line := range s.l.Takeoff {
		if line.Group == group && line.Unit != "sum" {
			list = append(list, line)
		}
	}
	return list
}

// need prints how much is needed before waste.
func (s *sheet) need(line plan.TakeoffLine) string {
	if line.NeedUnit == "m" {
		return s.say(line.Need)
	}
	text := strconv.FormatFloat(float64(line.Need), 'f', -1, 64)
	if line.NeedUnit != "each" {
		text = export.Say(s.p, quantity.Multiple, line.Need, 1) + " " + line.NeedUnit
	}
	return text
}

// materials prints what to load, to tick off.
func (s *sheet) materials() {
	s.page("Materials")
	if len(s.l.Takeoff) == 0 {
		s.paragraph(0, 9, "", "There is no list: the heights behind this plan are too uncertain to buy by.")
		return
	}
	s.paragraph(0, 8.5, "", "Two boxes: bought, and on site. Quantities to buy are whole packs with the allowance for waste.")
	for _, g := range s.groups() {
		lines := s.linesOf(g.group)
		lines = slices.DeleteFunc(lines, func(line plan.TakeoffLine) bool { return line.Kind == "labour" })
		if len(lines) == 0 {
			continue
		}
		s.heading(g.title)
		t := s.table(8, column{title: "", width: 5}, column{title: "", width: 5}, column{title: "buy", width: 22, right: true}, column{title: "item", width: s.inner() - 98},
			column{title: "needed", width: 22, right: true}, column{title: "where", width: 44})
		for _, line := range lines {
			t.row("", tickMark, tickMark, count(line), line.Name, s.need(line), line.Where)
		}
	}
}

func count(line plan.TakeoffLine) string {
	text := strconv.FormatInt(line.Packs, 10)
	switch unit := line.Unit; {
	case unit == "each":
		return text
	case strings.ContainsAny(unit, "0123456789"): // a unit with a figure of its own: 10 ft, m3
		return text + " × " + unit
	case line.Packs != 1 && len(unit) > 2:
		return text + " " + unit + "s"
	default:
		return text + " " + unit
	}
}

// quote prints the same list for a shop to put its prices to.
func (s *sheet) quote() {
	if len(s.l.Takeoff) == 0 {
		return
	}
	s.page("Quote sheet")
	cost := s.l.Cost
	s.paragraph(0, 8.5, "", fmt.Sprintf("Please quote by line, in whole packs. Our own prices (%s) are for comparison; prices in %s.", s.p.Catalog, cost.Currency))
	s.y += 1.5
	blank := 24.0
	t := s.table(8, column{title: "no", width: 8, right: true}, column{title: "item", width: s.inner() - 8 - 22 - 20 - 22 - 2*blank},
		column{title: "quantity", width: 22, right: true}, column{title: "our price", width: 20, right: true}, column{title: "amount", width: 22, right: true},
		column{title: "your price", width: blank, right: true}, column{title: "your amount", width: blank, right: true})
	n := 0
	for _, g := range s.groups() {
		for _, line := range s.linesOf(g.group) {
			n++
			t.row("", strconv.Itoa(n), line.Name, count(line), export.Money("", line.Price), export.Money("", line.Amount), "__________", "____________")
		}
	}
	for _, line := range s.l.Takeoff {
		if line.Unit == "sum" {
			t.sum("", line.Name+", "+line.Where, "", "", export.Money("", line.Amount), "", "____________")
		}
	}
	t.sum("", "Total, "+cost.Currency, "", "", export.Money("", cost.Total), "", "____________")
	s.y += 6
	s.paragraph(0, 8.5, "", "Supplier ______________________________   Valid until ______________   Delivery to the site  yes / no   Signature ______________________")
}
