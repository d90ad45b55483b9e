package main

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"

	"route/internal/finding"
	"route/internal/plan"
	"route/internal/quantity"
	"route/internal/screen"
)

// screenCommand is `route screen`.
type screenCommand struct {
	List string `arg:"" name:"list" help:"A list of creeks (CSV), or a layer with a line for each (GeoPackage, Shapefile, GeoJSON, KML …)."`

	Site string `help:"A site file with the settings that all creeks share; it need not name a creek." placeholder:"FILE"`
	settingFlags
	Tanks   string `help:"Points of a layer as tanks; each creek takes the nearest." placeholder:"FILE"`
	Layer   string `help:"Only the creeks of this layer of the file." placeholder:"NAME"`
	Out     string `help:"Folder for the results; the usual one is \"screen\" beside the list." placeholder:"DIR"`
	Workers int    `help:"How many creeks are planned at once; the usual is one a processor." placeholder:"N"`
	Fresh   bool   `help:"Plan all creeks again, also those that an earlier run has done."`
	Top     int    `help:"How many creeks of the ranking are printed; 0 prints all." default:"20" placeholder:"N"`
}

// Help is shown below the flags.
func (screenCommand) Help() string {
	return `Examples:
  route screen creeks.csv --terrain ground.tif --creek-flow "8 L/s" --demand "1500 L/day"
  route screen creeks.gpkg --tanks houses.geojson --site settings.yaml
  route screen creeks.gpkg --site settings.yaml --tank 44.61234,-121.53210

A list begins with the names of its columns:
  id,creek,tank,demand
  Mill Creek,mill.gpx,"44.61234,-121.53210",1500 L/day
Instead of creek, wkt may hold the line itself: "LINESTRING (lon lat, lon lat)".
Any setting of the site file may be a column. Run the same command again after
an interruption: what is done is not planned again.`
}

// Run plans every creek and writes the ranking.
func (c *screenCommand) Run(s *session) error {
	if c.Workers < 0 || c.Top < 0 {
		return &usageError{text: "--workers and --top are numbers from 0 on"}
	}
	base, err := c.base(s)
	if err != nil {
		return err
	}
	entries, findings, err := c.entries()
	if err != nil {
		return err
	}
	out := c.folder()
	if err := checkFolder(out); err != nil {
		return err
	}
	if !s.json {
		for _, f := range findings {
			fmt.Fprintf(s.stderr, "%s: %s\n", f.Level, quantity.Text(base.Units, f.Text, f.Values...))
		}
	}
	bar := newProgress(s.stderr)
	summary, err := screen.Run(s.ctx, base, entries, screen.Options{Folder: out, Workers: c.Workers, Fresh: c.Fresh,
		Record: func(done, total int) { bar.show(fmt.Sprintf("planning creeks, %d of %d", done, total), done, total) }})
	bar.clear()
	var stopped *screen.Interrupted
	if errors.As(err, &stopped) && !s.json {
		fmt.Fprintf(s.stderr, "%d of %d creeks are done; the same command goes on from there\n", stopped.Done, stopped.Total)
	}
	if err != nil {
		return err
	}
	return c.report(s, base, summary)
}

// base is what the creeks share.
func (c *screenCommand) base(s *session) (*plan.Site, error) {
	site, err := readSite(s, c.Site, plan.ReadSettings)
	if err != nil {
		return nil, err
	}
	if err := c.lay(site, c.Site); err != nil {
		return nil, err
	}
	if len(site.Terrain) == 0 {
		return nil, &usageError{text: "no terrain is named", hint: "add --terrain FILE, or terrain: [ground.tif] in the file that --site names"}
	}
	return site, nil
}

// entries reads the list or the layer.
func (c *screenCommand) entries() ([]screen.Entry, []finding.Finding, error) {
	if info, err := os.Stat(c.List); err == nil && info.IsDir() && !strings.HasSuffix(strings.ToLower(c.List), ".gdb") {
		return nil, nil, &finding.Fault{Code: "list_unreadable", File: c.List, Text: "is a folder", Hint: "name the list in it"}
	}
	if ext := strings.ToLower(filepath.Ext(c.List)); ext != ".csv" && ext != ".txt" {
		return screen.ReadLayer(c.List, c.Layer, c.Tanks)
	}
	if c.Tanks != "" || c.Layer != "" {
		return nil, nil, &usageError{text: "--tanks and --layer go with a layer, not with a list", hint: "a list has a column tank, or tank_lat and tank_lon"}
	}
	file, err := os.Open(c.List)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil, &finding.Fault{Code: "list_missing", File: c.List, Text: "there is no such file", Hint: "route screen --help shows what a list looks like", Err: err}
	}
	if err != nil {
		return nil, nil, &finding.Fault{Code: "list_unreadable", File: c.List, Text: err.Error(), Hint: "check that the file may be read", Err: err}
	}
	defer file.Close()
	entries, err := screen.ReadList(c.List, file)
	return entries, nil, err
}

func (c *screenCommand) folder() string {
	if c.Out != "" {
		return c.Out
	}
	return filepath.Join(filepath.Dir(c.List), "screen")
}

// report prints the ranking and says how it went.
func (c *screenCommand) report(s *session, base *plan.Site, summary *screen.Summary) error {
	byOutcome := map[screen.Outcome]int{}
	for _, r := range summary.Results {
		byOutcome[r.Outcome]++
		s.warned = s.warned || r.Warnings > 0 || r.Outcome == screen.Failed
	}
	if s.json {
		if err := s.printJSON(summary); err != nil {
			return err
		}
	} else {
		fmt.Fprintf(s.stdout, "%d creeks: %d with a layout, %d without, %d that could not be planned.\n", len(summary.Results), byOutcome[screen.HasLayout], byOutcome[screen.NoLayout], byOutcome[screen.Failed])
		if earlier := len(summary.Results) - summary.Planned; earlier > 0 {
			fmt.Fprintf(s.stdout, "%d of them were planned by an earlier run; --fresh plans them again.\n", earlier)
		}
		printRanking(s.stdout, base.Units, summary.Results, c.Top)
		printReasons(s.stdout, "No layout", summary.Results, screen.NoLayout)
		printReasons(s.stdout, "Could not be planned", summary.Results, screen.Failed)
		fmt.Fprintf(s.stdout, "\nAll creeks: %s\nThe map:    %s\n", filepath.Join(summary.Folder, screen.RankingCSV), filepath.Join(summary.Folder, screen.MapGPKG))
	}
	if byOutcome[screen.HasLayout] == 0 {
		return &infeasibleError{text: "no creek has a feasible layout"}
	}
	return nil
}

// printRanking prints the best creeks, one a line; top of 0 is all of them.
func printRanking(w io.Writer, system quantity.System, results []*screen.Result, top int) {
	n := 0
	for n < len(results) && results[n].Rank > 0 {
		n++
	}
	if n == 0 {
		return
	}
	shown := n
	if top > 0 {
		shown = min(n, top)
	}
	show := func(d quantity.Dimension, v plan.Number) string {
		if !v.Known() {
			return "-"
		}
		return quantity.Format(system, d, float64(v))
	}
	day := func(v plan.Number) string { return show(quantity.DailyVolume, v/1000/86400) }
	fmt.Fprintln(w)
	table := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(table, "rank\tcreek\twater a day\t80 % of cases\tworks\tcost\tdrive head\tlift\tsupply, drive and delivery pipe\t")
	screening := false
	for _, r := range results[:shown] {
		chance := "-"
		if r.Best.ChanceWorks.Known() {
			chance = fmt.Sprintf("%.0f %%", 100*float64(r.Best.ChanceWorks))
		}
		var pipes []string
		for _, role := range []string{"supply", "drive", "delivery"} {
			i := slices.IndexFunc(r.Pipes, func(p screen.Pipe) bool { return p.Role == role })
			if i < 0 {
				pipes = append(pipes, "none")
				continue
			}
			pipes = append(pipes, show(quantity.Length, r.Pipes[i].LengthM))
		}
		screening = screening || r.ScreeningOnly
		fmt.Fprintf(table, "%d\t%s\t%s\t%s – %s\t%s\t%s\t%s ± %s\t%s\t%s\t\n", r.Rank, oneLine(r.ID), day(r.Best.DeliveredLDay), day(r.Best.DeliveredLDayLow), day(r.Best.DeliveredLDayHigh),
			chance, r.Best.Cost.Text(), show(quantity.Length, r.Best.DriveHeadM), show(quantity.Length, r.Best.DriveHeadSigmaM), show(quantity.Length, r.Best.LiftM), strings.Join(pipes, ", "))
	}
	table.Flush()
	if shown < n {
		fmt.Fprintf(w, "The best %d of %d are shown; --top 0 shows all.\n", shown, n)
	}
	if screening {
		fmt.Fprintln(w, "Screening only: the heights are good for finding a place, not for buying pipe.")
	}
}

// oneLine keeps a name from a file from breaking the table.
func oneLine(name string) string {
	return strings.Map(func(c rune) rune {
		if c < ' ' || c == 0x7f {
			return ' '
		}
		return c
	}, name)
}

// creeksNamed is how many creeks are named beside a reason.
const creeksNamed = 3

// printReasons counts the reasons of creeks with one outcome, the most frequent
// first, and names a few creeks for each.
func printReasons(w io.Writer, title string, results []*screen.Result, outcome screen.Outcome) {
	type reason struct {
		first *screen.Result
		names []string
		count int
	}
	var reasons []*reason
	index := map[string]*reason{}
	for _, r := range results {
		if r.Outcome != outcome {
			continue
		}
		why, ok := index[r.Code]
		if !ok {
			why = &reason{first: r}
			index[r.Code] = why
			reasons = append(reasons, why)
		}
		why.count++
		if len(why.names) < creeksNamed {
			why.names = append(why.names, oneLine(r.ID))
		}
	}
	if len(reasons) == 0 {
		return
	}
	slices.SortStableFunc(reasons, func(a, b *reason) int { return cmp.Compare(b.count, a.count) })
	fmt.Fprintf(w, "\n%s:\n", title)
	for _, why := range reasons {
		names := strings.Join(why.names, ", ")
		if why.count > len(why.names) {
			names += ", …"
		}
		fmt.Fprintf(w, "  %d  %s: %s\n", why.count, names, oneLine(why.first.Text))
		if why.first.Hint != "" {
			fmt.Fprintf(w, "     %s\n", oneLine(why.first.Hint))
		}
	}
}
