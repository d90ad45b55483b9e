package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"route/internal/finding"
	"route/internal/plan"
)

// siteFlags names a site by a file, by flags, or by a file that flags change.
type siteFlags struct {
	Site string `arg:"" optional:"" name:"site" help:"The site file, or - for standard input."`

	Terrain   []string `sep:"none" help:"Elevation raster, VRT or URL; may be repeated, several are one surface." placeholder:"FILE"`
	Creek     string   `help:"GPX track or route of the creek, another line layer, or a table of its levels (CSV)." placeholder:"FILE"`
	CreekLine string   `name:"creek-line" help:"Track or line of a creek whose levels have no coordinates." placeholder:"FILE"`
	Tank      string   `help:"Place of the tank in degrees, latitude first." placeholder:"LAT,LON"`
	Pins      pinFlags `embed:""`
	Units     string   `help:"What is printed: us or si." placeholder:"us|si"`
	ZUnit     string   `name:"z-unit" help:"Unit of the raster's heights: m, ft or us-ft. The raster's own word is used when this is not given." placeholder:"UNIT"`
	CRS       string   `name:"crs" help:"Coordinate system of a raster that declares none." placeholder:"EPSG:n"`
	LowFlow   string   `name:"creek-flow" help:"The creek's lowest flow, such as \"8 L/s\"." placeholder:"FLOW"`
	Demand    string   `help:"Water wanted a day, such as \"1500 L/day\"." placeholder:"VOLUME"`
	Objective string   `help:"least_cost, most_water or most_head." placeholder:"WORD"`
	Set       []string `sep:"none" help:"Any other setting of the site file, such as --set limits.drive_pipe_length.max=\"90 ft\". May be repeated." placeholder:"KEY=VALUE"`
}

// pinFlags pin places of the layout; the rest is looked for around them.
type pinFlags struct {
	IntakeAt    string `name:"intake-at" help:"Put the intake here: a station along the creek such as \"394 ft\", or LAT,LON." placeholder:"STATION|LAT,LON"`
	BoxAt       string `name:"box-at" help:"Put a settling box here, or none." placeholder:"STATION|LAT,LON|none"`
	StandpipeAt string `name:"standpipe-at" help:"Put the standpipe here, or none." placeholder:"STATION|LAT,LON|none"`
	PumpAt      string `name:"pump-at" help:"Put the pump here; says why not where it cannot stand." placeholder:"STATION|LAT,LON"`
}

// load reads the site file, if there is one, and lays the flags over it.
func (f *siteFlags) load(s *session) (*plan.Site, error) {
	site, err := f.base(s)
	if err != nil {
		return nil, err
	}
	if len(f.Terrain) > 0 {
		site.SetTerrain(absolute(f.Terrain, f.Site))
	}
	if f.Tank != "" {
		var bad *finding.Fault
		if err := site.SetTank(f.Tank); errors.As(err, &bad) {
			return nil, &usageError{text: "--tank: " + bad.Text, hint: "write it as LAT,LON: --tank 44.61234,-121.53210"}
		} else if err != nil {
			return nil, &usageError{text: "--tank: " + err.Error()}
		}
	}
	for _, flag := range f.settings() {
		if flag.value == "" {
			continue
		}
		if err := site.Set(flag.key, flag.value); err != nil {
			return nil, &usageError{text: flag.name + ": " + err.Error(), hint: flag.hint()}
		}
	}
	for _, pair := range f.Set {
		key, value, ok := strings.Cut(pair, "=")
		if !ok {
			return nil, &usageError{text: fmt.Sprintf("--set %q has no =", pair), hint: "write --set KEY=VALUE, such as --set limits.drive_head.min=\"6 ft\""}
		}
		if err := site.Set(strings.TrimSpace(key), strings.TrimSpace(value)); err != nil {
			return nil, &usageError{text: "--set " + err.Error()}
		}
	}
	if text, hint := site.Missing(); text != "" {
		return nil, &usageError{text: text, hint: "give a site file, or --terrain, --creek and --tank; in a site file: " + hint}
	}
	return site, nil
}

func (f *siteFlags) base(s *session) (*plan.Site, error) {
	switch f.Site {
	case "":
		return plan.NewSite(), nil
	case "-":
		return plan.ReadSite("-", s.stdin)
	}
	if info, err := os.Stat(f.Site); err == nil && info.IsDir() {
		return nil, &finding.Fault{Code: "site_unreadable", File: f.Site, Text: "is a folder", Hint: "name the site file in it: " + filepath.Join(f.Site, "site.yaml")}
	}
	file, err := os.Open(f.Site)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, &finding.Fault{Code: "site_missing", File: f.Site, Text: "there is no such file", Hint: "route new DIR writes a starter site file", Err: err}
	}
	if err != nil {
		return nil, &finding.Fault{Code: "site_unreadable", File: f.Site, Text: err.Error(), Hint: "check that the file may be read", Err: err}
	}
	defer file.Close()
	return plan.ReadSite(f.Site, file)
}

// flagSetting ties a flag to the key of the site file that it stands for.
type flagSetting struct{ name, key, value string }

func (f *siteFlags) settings() []flagSetting {
	return []flagSetting{
		{"--creek", "creek", strings.Join(absolute(nonEmpty(f.Creek), f.Site), "")},
		{"--creek-line", "creek_line", strings.Join(absolute(nonEmpty(f.CreekLine), f.Site), "")},
		{"--units", "units", f.Units},
		{"--z-unit", "z_unit", f.ZUnit},
		{"--crs", "crs", f.CRS},
		{"--creek-flow", "creek_flow.low", f.LowFlow},
		{"--demand", "demand", f.Demand},
		{"--objective", "objective", f.Objective},
		{"--intake-at", "pins.intake", f.Pins.IntakeAt},
		{"--box-at", "pins.settling_box", f.Pins.BoxAt},
		{"--standpipe-at", "pins.standpipe", f.Pins.StandpipeAt},
		{"--pump-at", "pins.pump", f.Pins.PumpAt},
	}
}

// hint says how such a value is typed.
func (f flagSetting) hint() string {
	_, err := strconv.ParseFloat(f.value, 64)
	switch {
	case err == nil: // the shell has cut the unit off, or it was forgotten
		return "quote a value that has a space: " + f.name + " \"…\""
	default:
		return "route COMMAND --help shows what the flags take"
	}
}

func nonEmpty(name string) []string {
	if name == "" {
		return nil
	}
	return []string{name}
}

// absolute makes names on the command line independent of the site file's
// folder: a flag names a file as the shell sees it.
func absolute(names []string, site string) []string {
	if site == "" || site == "-" {
		return names
	}
	out := make([]string, len(names))
	for i, n := range names {
		out[i] = n
		if abs, err := filepath.Abs(n); err == nil && !strings.Contains(n, "://") {
			out[i] = abs
		}
	}
	return out
}
