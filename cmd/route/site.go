package main

import (
	"errors"
	"fmt"
	"io"
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
	Site      string `arg:"" optional:"" name:"site" help:"The site file, or - for standard input."`
	Creek     string `help:"GPX track or route of the creek, another line layer, or a table of its levels (CSV)." placeholder:"FILE"`
	CreekLine string `name:"creek-line" help:"Track or line of a creek whose levels have no coordinates." placeholder:"FILE"`
	settingFlags
}

// settingFlags change settings of a site.
type settingFlags struct {
	Terrain   []string `sep:"none" help:"Elevation raster, VRT or URL; may be repeated, several are one surface." placeholder:"FILE"`
	Tank      string   `help:"Place of the tank in degrees, latitude first." placeholder:"LAT,LON"`
	Pins      pinFlags `embed:""`
	Units     string   `help:"What is printed: us or si." placeholder:"us|si"`
	ZUnit     string   `name:"z-unit" help:"Unit of the raster's heights: m, ft or us-ft. The raster's own word is used when this is not given." placeholder:"UNIT"`
	CRS       string   `name:"crs" help:"Coordinate system of a raster that declares none." placeholder:"EPSG:n"`
	StakesCRS string   `name:"stakes-crs" help:"Coordinate system in which the stakes are wanted besides degrees and UTM: a national grid or state plane." placeholder:"EPSG:n"`
	LowFlow   string   `name:"creek-flow" help:"The creek's lowest flow, such as \"8 L/s\"." placeholder:"FLOW"`
	Demand    string   `help:"Water wanted a day, such as \"1500 L/day\"." placeholder:"VOLUME"`
	Objective string   `help:"least_cost, most_water, most_sure_water or most_head." placeholder:"WORD"`
	Certainty string   `help:"How sure the water has to be as far as the terrain's heights go, such as \"90 %\"." placeholder:"SHARE"`
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
	for _, flag := range []flagSetting{
		{"--creek", "creek", strings.Join(absolute(nonEmpty(f.Creek), f.Site), "")},
		{"--creek-line", "creek_line", strings.Join(absolute(nonEmpty(f.CreekLine), f.Site), "")},
	} {
		if err := flag.set(site); err != nil {
			return nil, err
		}
	}
	if err := f.lay(site, f.Site); err != nil {
		return nil, err
	}
	if text, hint := site.Missing(); text != "" {
		return nil, &usageError{text: text, hint: "give a site file, or --terrain, --creek and --tank; in a site file: " + hint}
	}
	return site, nil
}

// lay lays the flags over a site that was read from a file; "" is no file.
func (f *settingFlags) lay(site *plan.Site, file string) error {
	if len(f.Terrain) > 0 {
		site.SetTerrain(absolute(f.Terrain, file))
	}
	if f.Tank != "" {
		var bad *finding.Fault
		if err := site.SetTank(f.Tank); errors.As(err, &bad) {
			return &usageError{text: "--tank: " + bad.Text, hint: "write it as LAT,LON: --tank 44.61234,-121.53210"}
		} else if err != nil {
			return &usageError{text: "--tank: " + err.Error()}
		}
	}
	for _, flag := range f.settings() {
		if err := flag.set(site); err != nil {
			return err
		}
	}
	for _, pair := range f.Set {
		key, value, ok := strings.Cut(pair, "=")
		if !ok {
			return &usageError{text: fmt.Sprintf("--set %q has no =", pair), hint: "write --set KEY=VALUE, such as --set limits.drive_head.min=\"6 ft\""}
		}
		if err := site.Set(strings.TrimSpace(key), strings.TrimSpace(value)); err != nil {
			return &usageError{text: "--set " + err.Error()}
		}
	}
	return nil
}

func (f *siteFlags) base(s *session) (*plan.Site, error) {
	return readSite(s, f.Site, plan.ReadSite)
}

// readSite reads a site file: "" is none, "-" standard input.
func readSite(s *session, name string, read func(string, io.Reader) (*plan.Site, error)) (*plan.Site, error) {
	switch name {
	case "":
		return plan.NewSite(), nil
	case "-":
		return read("-", s.stdin)
	}
	if info, err := os.Stat(name); err == nil && info.IsDir() {
		return nil, &finding.Fault{Code: "site_unreadable", File: name, Text: "is a folder", Hint: "name the site file in it: " + filepath.Join(name, "site.yaml")}
	}
	file, err := os.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, &finding.Fault{Code: "site_missing", File: name, Text: "there is no such file", Hint: "route new DIR writes a starter site file", Err: err}
	}
	if err != nil {
		return nil, &finding.Fault{Code: "site_unreadable", File: name, Text: err.Error(), Hint: "check that the file may be read", Err: err}
	}
	defer file.Close()
	return read(name, file)
}

// flagSetting ties a flag to the key of the site file that it stands for.
type flagSetting struct{ name, key, value string }

// set gives the setting its value, where there is one.
func (f flagSetting) set(site *plan.Site) error {
	if f.value == "" {
		return nil
	}
	if err := site.Set(f.key, f.value); err != nil {
		return &usageError{text: f.name + ": " + err.Error(), hint: f.hint()}
	}
	return nil
}

func (f *settingFlags) settings() []flagSetting {
	return []flagSetting{
		{"--units", "units", f.Units},
		{"--z-unit", "z_unit", f.ZUnit},
		{"--crs", "crs", f.CRS},
		{"--stakes-crs", "stakes_crs", f.StakesCRS},
		{"--creek-flow", "creek_flow.low", f.LowFlow},
		{"--demand", "demand", f.Demand},
		{"--objective", "objective", f.Objective},
		{"--certainty", "certainty", f.Certainty},
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
