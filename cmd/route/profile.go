package main

import (
	"fmt"
	"strings"
	"text/tabwriter"

	"route/internal/plan"
	"route/internal/quantity"
)

// profileCommand is `route profile`.
type profileCommand struct {
	siteFlags
	Every string `help:"Print a station every so far; all are in the JSON." default:"20 m" placeholder:"LENGTH"`
}

// Help is shown below the flags.
func (profileCommand) Help() string {
	return `Examples:
  route profile demo/fernhollow/site.yaml
  route profile demo/fernhollow/site.yaml --every "100 ft"
  route profile --terrain ground.tif --creek creek.gpx --z-unit ft --json`
}

// Run works out the creek's long profile and prints it.
func (c *profileCommand) Run(s *session) error {
	every, err := quantity.Parse(quantity.Length, c.Every)
	if err != nil {
		return &usageError{text: "--every: " + err.Error()}
	}
	if every <= 0 {
		return &usageError{text: "--every: " + c.Every + " is no distance", hint: "give a length above 0, such as --every \"20 m\""}
	}
	site, err := c.load(s)
	if err != nil {
		return err
	}
	bar := newProgress(s.stderr)
	p, err := plan.LongProfile(s.ctx, site, func(at plan.Progress) { bar.show(at.Step, at.Done, at.Total) })
	bar.clear()
	if err != nil {
		return err
	}
	s.warned = p.Warned()
	if s.json {
		return s.printJSON(map[string]any{"inputs": p.Inputs, "creek": p.Creek, "messages": p.Messages})
	}
	system := p.System()
	show := func(v plan.Number) string {
		if !v.Known() {
			return "-"
		}
		return quantity.Format(system, quantity.Length, float64(v))
	}
	name := p.Site
	if name == "" {
		name = "This site"
	}
	fmt.Fprintf(s.stdout, "%s: %s of creek falls %s\n\n", name, show(p.Creek.LengthM), show(p.Creek.FallM))
	table := tabwriter.NewWriter(s.stdout, 0, 4, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(table, "station\theight\t±\tas read\tfall so far\tflags\t")
	next := 0.0
	for i, at := range p.Creek.Stations {
		if few := len(p.Creek.Stations) <= 50; !few && float64(at.StationM) < next && i != len(p.Creek.Stations)-1 {
			continue
		}
		next += every
		fmt.Fprintf(table, "%s\t%s\t%s\t%s\t%s\t%s\t\n", show(at.StationM), show(at.ZM), show(at.ZSigmaM), show(at.RawM), show(p.Creek.Stations[0].ZM-at.ZM), strings.Join(at.Flags, " "))
	}
	table.Flush()
	printMessages(s.stdout, system, p.Messages)
	return nil
}
