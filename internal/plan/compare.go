package plan

import (
	"fmt"
	"strings"

	"route/internal/quantity"
)

// Comparison shows layouts side by side, in words: first what differs, then
// what they have in common.
type Comparison struct {
	Names  []string     `json:"names"`
	Differ []CompareRow `json:"differ"`
	Same   []CompareRow `json:"same"`
}

// CompareRow is one property of all layouts, in the order of the names.
type CompareRow struct {
	What  string   `json:"what"`
	Cells []string `json:"cells"`
}

// Compare puts layouts of one site side by side in units of a system.
func Compare(system quantity.System, names []string, layouts []*Layout) Comparison {
	c := Comparison{Names: names, Differ: []CompareRow{}, Same: []CompareRow{}}
	for _, p := range properties(system) {
		row := CompareRow{What: p.what}
		differs := false
		for _, l := range layouts {
			cell := p.of(l)
			differs = differs || len(row.Cells) > 0 && cell != row.Cells[0]
			row.Cells = append(row.Cells, cell)
		}
		if differs {
			c.Differ = append(c.Differ, row)
		} else {
			c.Same = append(c.Same, row)
		}
	}
	return c
}

// property is a line of a comparison.
type property struct {
	what string
	of   func(l *Layout) string
}

// properties lists what layouts are compared by, what counts most first.
func properties(system quantity.System) []property {
	show := func(d quantity.Dimension, v Number, si float64) string {
		if !v.Known() {
			return "-"
		}
		return quantity.Format(system, d, float64(v)*si)
	}
	metres := func(v Number) string { return show(quantity.Length, v, 1) }
	day := func(v Number) string { return show(quantity.DailyVolume, v, 1.0/litresPerDay) }
	return []property{
		{"water a day", func(l *Layout) string { return day(l.DeliveredLDay) }},
		{"  8 of 10 cases", func(l *Layout) string { return day(l.DeliveredLDayLow) + " – " + day(l.DeliveredLDayHigh) }},
		{"chance that it works", func(l *Layout) string { return l.Chance() }},
		{"cost", func(l *Layout) string { return l.Cost.Text() }},
		{"drive head", func(l *Layout) string { return metres(l.DriveHeadM) }},
		{"lift", func(l *Layout) string { return metres(l.Delivery.LiftM) }},
		{"drive flow", func(l *Layout) string { return show(quantity.Flow, l.DriveFlowLMin, 1.0/60000) }},
		{"left in the creek", func(l *Layout) string { return show(quantity.Ratio, l.CreekLeftShare, 1) }},
		{"intake at", func(l *Layout) string { return metres(l.Intake.StationM) }},
		{"settling box at", func(l *Layout) string {
			if l.SettlingBox == nil {
				return "none"
			}
			return metres(l.SettlingBox.StationM)
		}},
		{"standpipe at", func(l *Layout) string {
			if l.Standpipe == nil {
				return "none"
			}
			return metres(l.Standpipe.StationM)
		}},
		{"standpipe height", func(l *Layout) string {
			if l.Standpipe == nil {
				return "-"
			}
			return metres(l.Standpipe.HeightM)
		}},
		{"pump at", func(l *Layout) string { return metres(l.Pump.StationM) }},
		{"pumps", func(l *Layout) string { return fmt.Sprintf("%d × %s", l.Pump.Count, l.Pump.Model) }},
		{"supply pipe", func(l *Layout) string {
			if l.Supply == nil {
				return "none"
			}
			return metres(l.Supply.LengthM) + " " + l.Supply.name()
		}},
		{"drive pipe", func(l *Layout) string { return metres(l.Drive.LengthM) + " " + l.Drive.name() }},
		{"delivery pipe", func(l *Layout) string { return metres(l.Delivery.LengthM) + " " + l.Delivery.name() }},
		{"beats a minute", func(l *Layout) string { return fmt.Sprintf("%.0f", float64(l.BeatsPerMin)) }},
		{"warnings", func(l *Layout) string { return warningsOf(l) }},
	}
}

// name of the pipe for people.
func (r *PipeRun) name() string { return r.Material + " " + r.Size }

// warningsOf lists what warns in a layout, by code.
func warningsOf(l *Layout) string {
	var codes []string
	for _, m := range l.Messages {
		if m.Level != "note" {
			codes = append(codes, strings.ReplaceAll(m.Code, "_", " "))
		}
	}
	if len(codes) == 0 {
		return "none"
	}
	return strings.Join(codes, ", ")
}
