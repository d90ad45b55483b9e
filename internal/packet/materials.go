package packet

import (
	"fmt"
	"path/filepath"
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
			t.row("", tickMark, tickMark, export.Count(line.Packs, line.Unit), line.Name, s.need(line), line.Where)
		}
	}
}

// quote prints the same list for a shop to put its prices to.
func (s *sheet) quote() {
	if len(s.l.Takeoff) == 0 {
		return
	}
	s.page("Quote sheet")
	cost := s.l.Cost
	s.paragraph(0, 8.5, "", fmt.Sprintf("Please quote by line, in whole packs. Our own prices (%s) are for comparison; prices in %s.", filepath.Base(s.p.Catalog), cost.Currency))
	s.y += 1.5
	blank := 24.0
	t := s.table(8, column{title: "no", width: 8, right: true}, column{title: "item", width: s.inner() - 8 - 22 - 20 - 22 - 2*blank},
		column{title: "quantity", width: 22, right: true}, column{title: "our price", width: 20, right: true}, column{title: "amount", width: 22, right: true},
		column{title: "your price", width: blank, right: true}, column{title: "your amount", width: blank, right: true})
	lines, err := export.Quote(s.l)
	if err != nil {
		s.pdf.SetError(err)
		return
	}
	for n, q := range lines {
		if q.Section == "sum" {
			t.sum("", q.Name, "", "", export.Money("", q.Amount), "", "____________")
			continue
		}
		t.row("", strconv.Itoa(n+1), q.Name, export.Count(q.Packs, q.Unit), export.Money("", q.Price), export.Money("", q.Amount), "__________", "____________")
	}
	t.sum("", "Total, "+cost.Currency, "", "", export.Money("", cost.Total), "", "____________")
	s.y += 2
	s.paragraph(0, 8.5, "", export.NotInTheList)
	s.y += 4
	s.paragraph(0, 8.5, "", "Supplier ________________________   Valid until ____________   Carriage included  yes / no   Signature __________________")
}

// choices prints the pressure classes of each pipe side by side.
func (s *sheet) choices() {
	if len(s.l.PipeChoices) == 0 && len(s.l.Labour) == 0 {
		return
	}
	s.page("Pipe classes and work")
	if len(s.l.PipeChoices) == 0 {
		return
	}
	s.heading("Other pressure classes of the same size")
	t := s.table(8, column{title: "pipe", width: 18}, column{title: "class", width: s.inner() - 18 - 26 - 24 - 24 - 22 - 24}, column{title: "rating", width: 26, right: true},
		column{title: "holds what comes", width: 24, right: true}, column{title: "friction loss", width: 24, right: true}, column{title: "whole, " + s.l.Cost.Currency, width: 22, right: true}, column{title: "against plan", width: 24, right: true})
	for _, c := range s.l.PipeChoices {
		holds := "not rated"
		if c.Enough != nil {
			holds = map[bool]string{true: "yes", false: "NO"}[*c.Enough]
		}
		more := export.Money("", c.More)
		if c.Planned {
			more = "as planned"
		} else if !strings.HasPrefix(string(c.More), "-") {
			more = "+" + more
		}
		t.row("", c.Run, strings.TrimSpace(c.Material+" "+c.Size), export.Say(s.p, quantity.Pressure, c.RatingM, 9806.65), holds, s.say(c.LossM), export.Money("", c.Total), more)
	}
}

// labour prints the hours of work by task.
func (s *sheet) labour() {
	if len(s.l.Labour) == 0 {
		return
	}
	s.heading("Hours of work")
	s.paragraph(0, 8.5, "", "Hours of one person, by hand, on foot; rough figures that a crew corrects by its own: "+s.l.LabourText()+". They are not in the costs, except for work that the list above prices.")
	s.y += 1
	t := s.table(8, column{title: "task", width: s.inner() - 106}, column{title: "quantity", width: 34, right: true}, column{title: "hours for one", width: 34, right: true}, column{title: "hours", width: 18, right: true}, column{title: "took", width: 20, right: true})
	for _, line := range s.l.Labour {
		amount, each := strconv.FormatFloat(float64(line.Quantity), 'f', -1, 64), fmt.Sprintf("%.2g", float64(line.PerUnit))
		switch line.Unit {
		case "m":
			length, name := s.unit()
			amount, each = s.say(line.Quantity), fmt.Sprintf("%.2g a %s", float64(line.PerUnit)*length, name)
		case "m3":
			amount, each = export.Say(s.p, quantity.Volume, line.Quantity, 1), fmt.Sprintf("%.2g a m³", float64(line.PerUnit))
		}
		t.row("", line.Task, amount, each, fmt.Sprintf("%.1f", float64(line.Hours)), "________")
	}
}
