package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"route/internal/plan"
	"route/internal/quantity"
)

// compareCommand is `route compare`.
type compareCommand struct {
	siteFlags
	Layouts string   `help:"Letters of the layouts to compare, such as A,C; the usual ones are all." placeholder:"LETTERS"`
	Own     []string `sep:"none" help:"A layout of your own by its places, such as \"pump=2304 ft, standpipe=none\"; what is not named is looked for. May be repeated." placeholder:"PLACES"`
}

// Help is shown below the flags.
func (compareCommand) Help() string {
	return `Examples:
  route compare demo/fernhollow/site.yaml
  route compare site.yaml --layouts A,C
  route compare site.yaml --own "pump=2304 ft" --own "pump=41.21576,-148.56395, standpipe=none"`
}

// Run plans the site and shows layouts side by side.
func (c *compareCommand) Run(s *session) error {
	site, err := c.load(s)
	if err != nil {
		return err
	}
	own := make([]map[string]string, len(c.Own))
	for k, text := range c.Own {
		if own[k], err = placesIn(text); err != nil {
			return err
		}
	}
	bar := newProgress(s.stderr)
	defer bar.clear()
	desk, err := plan.Prepare(s.ctx, site, func(at plan.Progress) { bar.show(at.Step, at.Done, at.Total) })
	if err != nil {
		return err
	}
	defer desk.Close()
	p, err := desk.Plan(s.ctx, plan.Changes{})
	if err != nil {
		return err
	}
	var names []string
	var layouts []*plan.Layout
	for k := range p.Layouts {
		if l := &p.Layouts[k]; c.wants(l.ID) {
			names, layouts = append(names, l.ID), append(layouts, l)
		}
	}
	var refused []plan.Message
	for k, pins := range own {
		yours, err := desk.Plan(s.ctx, plan.Changes{Set: pins})
		if err != nil {
			return err
		}
		if len(yours.Layouts) == 0 || !yours.PinsWork() {
			refused = append(refused, yours.Messages[0])
			continue
		}
		names, layouts = append(names, fmt.Sprintf("own %d", k+1)), append(layouts, &yours.Layouts[0])
	}
	bar.clear()
	found := plan.Compare(p.System(), names, layouts)
	if s.json {
		if err := s.printJSON(struct {
			plan.Comparison
			Refused []plan.Message `json:"refused"`
		}{found, append([]plan.Message{}, refused...)}); err != nil {
			return err
		}
	} else {
		printComparison(s.stdout, found)
		printMessages(s.stdout, p.System(), refused)
	}
	if len(layouts) == 0 || len(refused) > 0 {
		return &infeasibleError{text: "no layout is feasible"}
	}
	return nil
}

// wants says whether a layout is to be shown.
func (c *compareCommand) wants(id string) bool {
	if c.Layouts == "" {
		return true
	}
	for _, wanted := range strings.Split(c.Layouts, ",") {
		if strings.EqualFold(strings.TrimSpace(wanted), id) {
			return true
		}
	}
	return false
}

// placesIn reads "pump=2304 ft, standpipe=none" as settings. A comma belongs to
// the value before it unless a name and an = follow.
func placesIn(text string) (map[string]string, error) {
	set := map[string]string{}
	last := ""
	for _, part := range strings.Split(text, ",") {
		name, value, named := strings.Cut(part, "=")
		if !named && last != "" {
			set[last] += "," + part
			continue
		}
		name = strings.ReplaceAll(strings.TrimSpace(name), "-", "_")
		if name == "box" {
			name = "settling_box"
		}
		last = "pins." + name
		if !named {
			return nil, &usageError{text: fmt.Sprintf("--own %q has no =", text), hint: "write --own \"pump=2304 ft, standpipe=none\""}
		}
		set[last] = value
	}
	for key, value := range set {
		if err := plan.NewSite().Set(key, strings.TrimSpace(value)); err != nil {
			return nil, &usageError{text: "--own: " + err.Error(), hint: "the places are intake, box, standpipe and pump"}
		}
		set[key] = strings.TrimSpace(value)
	}
	return set, nil
}

// printComparison prints the differences first.
func printComparison(w io.Writer, c plan.Comparison) {
	if len(c.Names) == 0 {
		return
	}
	table := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintf(table, "What differs\t%s\n", strings.Join(c.Names, "\t"))
	for _, r := range c.Differ {
		fmt.Fprintf(table, "%s\t%s\n", r.What, strings.Join(r.Cells, "\t"))
	}
	table.Flush()
	if len(c.Differ) == 0 {
		fmt.Fprintln(w, "Nothing differs.")
	}
	if len(c.Same) == 0 || len(c.Names) == 1 {
		return
	}
	fmt.Fprintln(w, "\nThe same in all")
	table = tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	for _, r := range c.Same {
		fmt.Fprintf(table, "%s\t%s\n", r.What, r.Cells[0])
	}
	table.Flush()
}

// printFront prints what more water costs.
func printFront(w io.Writer, p *plan.Plan) {
	if len(p.Front) < 2 {
		return
	}
	day := func(v plan.Number) string {
		return quantity.Format(p.System(), quantity.DailyVolume, float64(v)/86400/1000)
	}
	metres := func(v plan.Number) string { return quantity.Format(p.System(), quantity.Length, float64(v)) }
	fmt.Fprintln(w, "\nWhat more water costs (the cheapest layout for each demand):")
	table := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintf(table, "  for a demand of\tgives\tchance\tcost, %s\tintake at\tpump at\tpumps\tlayout\n", p.Currency())
	for _, f := range p.Front {
		fmt.Fprintf(table, "  %s\t%s\t%.0f %%\t%s\t%s\t%s\t%d × %s\t%s\n", day(f.DemandLDay), day(f.DeliveredLDay), 100*float64(f.ChanceWorks), f.Cost, metres(f.IntakeStationM), metres(f.PumpStationM), f.Pumps, f.PumpModel, f.Layout)
	}
	table.Flush()
}

// printNext prints what to buy next, and what to buy now for later.
func printNext(w io.Writer, p *plan.Plan) {
	if len(p.Next) == 0 {
		return
	}
	signed := func(d quantity.Dimension, v plan.Number, si float64) string {
		text := quantity.Format(p.System(), d, float64(v)*si)
		if v >= 0 {
			text = "+" + text
		}
		return text
	}
	fmt.Fprintf(w, "\nThe next step after layout %s, the most water for its money first:\n", p.Layouts[0].ID)
	table := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintf(table, "  \twater a day\tdrive head\tcost, %s\n", p.Currency())
	var idle []string
	for _, n := range p.Next {
		if !(n.AddedLDay > 0) {
			idle = append(idle, n.Text)
			continue
		}
		beyond := ""
		if n.BeyondLimit {
			beyond = "beyond a limit of the site"
		}
		fmt.Fprintf(table, "  %s\t%s\t%s\t%s\t%s\n", n.Text, signed(quantity.DailyVolume, n.AddedLDay, 1.0/86400/1000), signed(quantity.Length, n.AddedHeadM, 1), n.AddedCost, beyond)
	}
	table.Flush()
	if len(idle) > 0 {
		fmt.Fprintf(w, "  These bring no water here: %s.\n", strings.Join(idle, "; "))
	}
	for k, stage := range p.Stages {
		if k == 0 {
			fmt.Fprintln(w, "In two steps:")
		}
		fmt.Fprintf(w, "  %s: %s %s, %s\n", stage.Text, stage.Currency, stage.Buy, quantity.Format(p.System(), quantity.DailyVolume, float64(stage.DeliveredLDay)/86400/1000))
	}
}
