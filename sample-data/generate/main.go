// Command generate writes the sample sites: two invented places in open ocean
// with a scanned ground, a walked creek, borders, a site file, and the truth
// that the program's answers can be held against. The same program writes the
// same bytes every time.
package main

import (
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	sampledata "route/sample-data"
	"route/sample-data/valley"
)

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

// run writes the sites and gives the exit code: 0 done, 1 failed, 2 wrong
// usage.
func run(args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("generate", flag.ContinueOnError)
	flags.SetOutput(stderr)
	out := flags.String("out", "demo", "the `folder` that the sites are written to")
	if err := flags.Parse(args); err != nil {
		return 2
	}
	if flags.NArg() > 0 {
		fmt.Fprintf(stderr, "generate: unexpected %q; the folder is given with -out\n", flags.Arg(0))
		return 2
	}
	for _, site := range sites {
		dir := filepath.Join(*out, site.folder)
		if err := site.write(dir); err != nil {
			fmt.Fprintf(stderr, "generate: %s: %v\n", dir, err)
			return 1
		}
		fmt.Fprintln(stdout, filepath.Join(dir, "site.yaml"))
	}
	return 0
}

// site is a place and the way its data are delivered.
type site struct {
	folder string
	place  func() *valley.Place
	scan   scan
}

// sites differ on purpose in coordinate system, height unit and sign of a
// missing height, so that both ways of each are in daily use.
var sites = []site{
	{folder: "fernhollow", place: valley.Fernhollow, scan: scan{
		crs: "EPSG:32606+8050", projected: true, cols: 1000, rows: 1000, cellX: 1, cellY: 1,
		unit: "ft", perMetre: 1 / 0.3048, noData: -9999, seed: 6121,
	}},
	{folder: "eilwern", place: valley.Eilwern, scan: scan{
		crs: "EPSG:4326", cols: 540, rows: 360, cellX: 1.5e-5, cellY: 1.5e-5,
		unit: "metre", perMetre: 1, noData: -32768, seed: 6122,
	}},
}

// write writes all files of a site.
func (s site) write(dir string) error {
	place := s.place()
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	if err := s.scan.write(filepath.Join(dir, "ground.tif"), place); err != nil {
		return err
	}
	for _, f := range []struct {
		name    string
		content func(*valley.Place) ([]byte, error)
	}{
		{"creek.gpx", trackFile},
		{"land.geojson", landFile},
		{"truth.json", truthFile},
	} {
		content, err := f.content(place)
		if err != nil {
			return err
		}
		if err := replace(filepath.Join(dir, f.name), content); err != nil {
			return err
		}
	}
	return s.copyWritten(dir)
}

// copyWritten copies the files that were written by hand.
func (s site) copyWritten(dir string) error {
	names, err := fs.Glob(sampledata.Files, s.folder+"/*")
	if err != nil {
		return err
	}
	for _, name := range names {
		content, err := sampledata.Files.ReadFile(name)
		if err != nil {
			return err
		}
		if err := replace(filepath.Join(dir, strings.TrimPrefix(name, s.folder+"/")), content); err != nil {
			return err
		}
	}
	return nil
}

// replace puts content in place of a file only once it is all written.
func replace(name string, content []byte) error {
	partial := name + ".partial"
	if err := os.WriteFile(partial, content, 0o644); err != nil {
		return err
	}
	return os.Rename(partial, name)
}
