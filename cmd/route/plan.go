package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"

	"route/internal/export"
	"route/internal/finding"
	"route/internal/packet"
	"route/internal/plan"
	"route/internal/quantity"
)

// planCommand is `route plan`.
type planCommand struct {
	siteFlags
	Out    string `help:"Folder for the hand-off files; the usual one is \"plan\" beside the site file." placeholder:"DIR"`
	Packet string `help:"Paper of the field packet: a4, letter or none. The usual one is letter where feet are printed, else a4." placeholder:"PAPER"`
}

// Help is shown below the flags.
func (planCommand) Help() string {
	return `Examples:
  route plan demo/fernhollow/site.yaml
  route plan --terrain ground.tif --creek creek.gpx --tank 44.61234,-121.53210 --creek-flow "8 L/s" --demand "1500 L/day"
  route plan site.yaml --set limits.standpipe_height.max="10 ft" --out taller`
}

// Run plans and writes the folder.
func (c *planCommand) Run(s *session) error {
	site, err := c.load(s)
	if err != nil {
		return err
	}
	if site.File == "" && !s.json {
		printDefaults(s.stderr, site.Defaults())
	}
	if err := checkPaper("--packet", c.Packet, "none"); err != nil {
		return err
	}
	out := c.folder()
	if err := checkFolder(out); err != nil {
		return err
	}
	p, err := s.plan(site)
	if err != nil {
		return err
	}
	if err := export.WriteFolder(s.ctx, out, p, packetExtra(p, c.Packet)...); err != nil {
		if s.ctx.Err() != nil {
			return err
		}
		return &finding.Fault{Code: "folder_unwritable", File: out, Text: err.Error(), Hint: "choose another folder: --out DIR", Err: err}
	}
	if _, err := os.Stat(filepath.Join(out, packet.File)); err == nil && c.Packet == "none" {
		fmt.Fprintf(s.stderr, "note: %s is of an earlier plan\n", filepath.Join(out, packet.File))
	}
	s.warned = p.Warned()
	if s.json {
		if err := export.Write(s.stdout, export.PlanJSON, p); err != nil {
			return err
		}
	} else {
		printPlan(s.stdout, p)
		fmt.Fprintf(s.stdout, "\nThe hand-off folder: %s\n", out)
		what := "  report.html is for the owner, to open in a browser"
		if c.Packet != "none" {
			what += "; " + packet.File + " is for the crew, to print"
		}
		fmt.Fprintln(s.stdout, what)
	}
	if len(p.Layouts) == 0 || !p.PinsWork() {
		return &infeasibleError{text: "no layout is feasible"}
	}
	return nil
}

func (c *planCommand) folder() string {
	switch {
	case c.Out != "":
		return c.Out
	case c.Site == "" || c.Site == "-":
		return "plan"
	default:
		return filepath.Join(filepath.Dir(c.Site), "plan")
	}
}

// checkFolder refuses, before the work begins, a folder that cannot be made
// because a file stands in its place.
func checkFolder(out string) error {
	for d := filepath.Clean(out); ; d = filepath.Dir(d) {
		info, err := os.Stat(d)
		if err == nil && !info.IsDir() {
			return &finding.Fault{Code: "folder_is_file", File: out, Text: "cannot be the hand-off folder: " + d + " is a file", Hint: "choose another folder: --out DIR"}
		}
		if err == nil || d == filepath.Dir(d) {
			return nil
		}
	}
}

func printDefaults(w io.Writer, defaults []plan.Default) {
	fmt.Fprintln(w, "Usual values that no flag replaced:")
	table := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	for _, d := range defaults {
		fmt.Fprintf(table, "  %s\t%s\t%s\n", d.Key, d.Value, d.Why)
	}
	table.Flush()
	fmt.Fprintln(w)
}

// printPlan prints the answer first, then the layouts side by side, then what
// a careful reader must know.
func printPlan(w io.Writer, p *plan.Plan) {
	fmt.Fprintf(w, "%s\n\n", p.Headline())
	printAccuracy(w, p)
	if len(p.Layouts) > 0 {
		printLayouts(w, p)
	}
	printFront(w, p)
	printNext(w, p)
	printVisits(w, p)
	printMessages(w, p.System(), p.Messages)
	printDoubts(w, p)
	if len(p.Rejected) > 0 {
		fmt.Fprintln(w, "\nWhy not elsewhere:")
		table := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
		for _, r := range p.Rejected {
			fmt.Fprintf(table, "  %d\t%s\n", r.Count, r.Text)
		}
		table.Flush()
	}
}

// printAccuracy prints how far each raster is trusted, and why.
func printAccuracy(w io.Writer, p *plan.Plan) {
	for _, in := range p.Inputs {
		if in.AccuracyClass != "" {
			fmt.Fprintf(w, "Accuracy of %s: %s (%s)\n", in.Path, in.AccuracyClass, in.AccuracyWhy)
		}
	}
}

// printVisits prints what to measure before anything is bought.
func printVisits(w io.Writer, p *plan.Plan) {
	if len(p.Visits) == 0 {
		return
	}
	fmt.Fprintln(w, "\nWhat to measure first, by what it is worth for an hour of work:")
	for i := range p.Visits {
		v := &p.Visits[i]
		fmt.Fprintf(w, "  %d. %s\n     %s; changes the choice in %.1f %% of cases\n     from %s to %s\n", v.Rank, v.Text, v.Pays(p.System(), p.Currency()), 100*float64(v.ChanceChanges), v.From.LatLon(), v.To.LatLon())
	}
}

// printDoubts prints all that is to be known of the best layout, and of the
// others what warns.
func printDoubts(w io.Writer, p *plan.Plan) {
	for k, l := range p.Layouts {
		shown := l.Messages
		if k > 0 {
			shown = slices.DeleteFunc(slices.Clone(shown), func(m plan.Message) bool { return m.Level == string(finding.Note) })
		}
		if len(shown) > 0 {
			fmt.Fprintf(w, "\nLayout %s:", l.ID)
			printMessages(w, p.System(), shown)
		}
	}
	if len(p.Layouts) > 1 {
		fmt.Fprintln(w, "\nThe notes of the other layouts are in plan.json.")
	}
}

const chanceRow = "chance that it works"

// printLayouts prints one column a layout.
func printLayouts(w io.Writer, p *plan.Plan) {
	system := p.System()
	show := func(d quantity.Dimension, v plan.Number) string {
		if !v.Known() {
			return "-"
		}
		return quantity.Format(system, d, float64(v))
	}
	metres := func(v plan.Number) string { return show(quantity.Length, v) }
	measure := func(v, sigma plan.Number) string {
		if !v.Known() || !sigma.Known() {
			return metres(v)
		}
		return quantity.FormatMeasure(system, quantity.Length, quantity.Measure{Value: float64(v), Sigma: float64(sigma)})
	}
	type row struct {
		name string
		cell func(l plan.Layout) string
	}
	rows := []row{
		{"", func(l plan.Layout) string { return l.ID }},
		{"best at", func(l plan.Layout) string { return strings.ReplaceAll(strings.Join(l.BestAt, ", "), "_", " ") }},
		{"water a day", func(l plan.Layout) string { return show(quantity.DailyVolume, l.DeliveredLDay/1000/86400) }},
		{"  to count on", func(l plan.Layout) string { return show(quantity.DailyVolume, l.DeliveredLDayCorrected/1000/86400) }},
		{"  80 % of cases", func(l plan.Layout) string {
			return show(quantity.DailyVolume, l.DeliveredLDayLow/1000/86400) + " – " + show(quantity.DailyVolume, l.DeliveredLDayHigh/1000/86400)
		}},
		{chanceRow, func(l plan.Layout) string { return l.Chance() }},
		{"cost, " + p.Currency(), func(l plan.Layout) string { return strings.TrimPrefix(l.Cost.Text(), l.Cost.Currency+" ") }},
		{"  80 % of cases", func(l plan.Layout) string {
			if !l.Cost.Low.Known() {
				return "-"
			}
			return fmt.Sprintf("%.0f – %.0f", float64(l.Cost.Low), float64(l.Cost.High))
		}},
		{"drive head", func(l plan.Layout) string { return measure(l.DriveHeadM, l.DriveHeadSigmaM) }},
		{"  to count on", func(l plan.Layout) string { return metres(l.DriveHeadCorrectedM) }},
		{"lift", func(l plan.Layout) string { return measure(l.Delivery.LiftM, l.Delivery.LiftSigmaM) }},
		{"drive flow", func(l plan.Layout) string { return show(quantity.Flow, l.DriveFlowLMin/60000) }},
		{"intake at", func(l plan.Layout) string { return metres(l.Intake.StationM) }},
		{"standpipe at", func(l plan.Layout) string {
			if l.Standpipe == nil {
				return "none"
			}
			return metres(l.Standpipe.StationM)
		}},
		{"  stands, runs full to", func(l plan.Layout) string {
			if l.Standpipe == nil {
				return "-"
			}
			return metres(l.Standpipe.HeightM) + ", " + metres(l.Standpipe.RunningLevelM-l.Standpipe.GroundM)
		}},
		{"pump at", func(l plan.Layout) string { return metres(l.Pump.StationM) }},
		{"pumps", func(l plan.Layout) string { return fmt.Sprintf("%d × %s", l.Pump.Count, l.Pump.Model) }},
		{"supply pipe", func(l plan.Layout) string {
			if l.Supply == nil {
				return "none"
			}
			return measure(l.Supply.LengthM, l.Supply.LengthSigmaM) + " " + l.Supply.Material + " " + l.Supply.Size
		}},
		{"drive pipe", func(l plan.Layout) string {
			return measure(l.Drive.LengthM, l.Drive.LengthSigmaM) + " " + l.Drive.Material + " " + l.Drive.Size
		}},
		{"delivery pipe", func(l plan.Layout) string {
			return measure(l.Delivery.LengthM, l.Delivery.LengthSigmaM) + " " + l.Delivery.Material + " " + l.Delivery.Size
		}},
		{"beats a minute", func(l plan.Layout) string { return fmt.Sprintf("%.0f", l.BeatsPerMin) }},
	}
	if p.Certainty.Known() {
		at := slices.IndexFunc(rows, func(r row) bool { return r.name == chanceRow })
		rows = slices.Insert(rows, at, row{fmt.Sprintf("  heights %.0f %% sure", 100*float64(p.Certainty)), func(l plan.Layout) string { return show(quantity.DailyVolume, l.DeliveredLDaySure/1000/86400) }})
	}
	// The tests by themselves follow the chance of all together.
	after := slices.IndexFunc(rows, func(r row) bool { return r.name == chanceRow }) + 1
	for k, s := range p.Layouts[0].Sureties() {
		rows = slices.Insert(rows, after+k, row{"  " + s.What, func(l plan.Layout) string { return l.Sureties()[k].Text() }})
	}
	table := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	for _, row := range rows {
		fmt.Fprint(table, row.name)
		for _, l := range p.Layouts {
			fmt.Fprint(table, "\t", row.cell(l))
		}
		fmt.Fprintln(table)
	}
	table.Flush()
	fmt.Fprintln(w, "± is one standard deviation. Places along the creek are counted from its upper end.")
}

// printMessages prints findings in order of weight.
func printMessages(w io.Writer, system quantity.System, messages []plan.Message) {
	if len(messages) == 0 {
		return
	}
	fmt.Fprintln(w)
	for _, m := range messages {
		place := ""
		if m.StationM.Known() {
			place = " (at " + quantity.Format(system, quantity.Length, float64(m.StationM)) + ")"
		}
		fmt.Fprintf(w, "%s: %s%s\n", m.Level, m.Text, place)
		if m.Hint != "" {
			fmt.Fprintf(w, "  %s\n", m.Hint)
		}
	}
}
