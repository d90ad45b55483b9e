package main

import (
	"fmt"
	"text/tabwriter"

	"route/internal/plan"
	"route/internal/quantity"
)

// inspectCommand is `route inspect`.
type inspectCommand struct {
	siteFlags
}

// Help is shown below the flags.
func (inspectCommand) Help() string {
	return `Examples:
  route inspect demo/fernhollow/site.yaml
  route inspect --terrain west.tif --terrain east.tif --creek creek.gpx --json`
}

// Run reads every input and says what it is.
func (c *inspectCommand) Run(s *session) error {
	site, err := c.load(s)
	if err != nil {
		return err
	}
	found := plan.Inspect(s.ctx, site)
	if err := s.ctx.Err(); err != nil {
		return err
	}
	s.warned = found.Warned()
	if s.json {
		if err := s.printJSON(found); err != nil {
			return err
		}
	} else {
		printInspection(s, site, found)
	}
	if found.Failed() {
		return &reportedError{}
	}
	return nil
}

func printInspection(s *session, site *plan.Site, found *plan.Inspection) {
	system := site.Units
	table := tabwriter.NewWriter(s.stdout, 0, 4, 2, ' ', 0)
	for _, in := range found.Inputs {
		fmt.Fprintf(table, "%s\t%s\n", in.Role, in.Path)
		if in.CRS != "" {
			fmt.Fprintf(table, "\tcoordinates: %s\n", in.CRS)
		}
		if in.CellM.Known() {
			fmt.Fprintf(table, "\tcell: %s\n", in.CellText)
			for _, e := range found.Extents {
				if e.Path == in.Path {
					fmt.Fprintf(table, "\textent: latitude %.5f to %.5f, longitude %.5f to %.5f\n", float64(e.South), float64(e.North), float64(e.West), float64(e.East))
					break
				}
			}
			datum := in.VerticalDatum
			if datum == "" {
				datum = "above what is not stated"
			}
			fmt.Fprintf(table, "\theights: %s (%s)\n", in.VerticalUnit, datum)
			fmt.Fprintf(table, "\taccuracy: %s, because %s\n", in.AccuracyClass, in.AccuracyWhy)
		}
		if in.Points != nil {
			fmt.Fprintf(table, "\tpoints: %d\n", *in.Points)
		}
		if in.SHA256 != "" {
			fmt.Fprintf(table, "\tsha256: %s\n", in.SHA256)
		}
	}
	if found.TrackM.Known() {
		gaps := fmt.Sprintf("%d gaps", found.Gaps)
		switch found.Gaps {
		case 0:
			gaps = "no gaps"
		case 1:
			gaps = "one gap"
		}
		fmt.Fprintf(table, "track\t%s long, %s\n", quantity.Format(system, quantity.Length, float64(found.TrackM)), gaps)
	}
	table.Flush()
	printMessages(s.stdout, system, found.Messages)
	if len(found.Messages) == 0 {
		fmt.Fprintln(s.stdout, "\nNothing is wrong with the inputs.")
	}
}
