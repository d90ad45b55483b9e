package plan

import (
	"errors"
	"math"
	"strings"
	"testing"

	"route/internal/finding"
	"route/internal/quantity"
)

// The least file that must work, from the outside contract.
const leastSite = `name: Fernhollow
units: us
terrain: [ground.tif]
creek: creek.gpx
tank: {lat: 0.5, lon: -30.25, inlet_above_ground: "6 ft"}
creek_flow: {low: "8 L/s", take_at_most: "40 %"}
demand: "1500 L/day"
limits:
  drive_pipe_length: {max: "90 ft"}
  drive_head: {min: "3 ft"}
  standpipe_height: {max: "8 ft"}
land: land.geojson
field: []
catalog: prices.csv
`

func TestReadSiteOfTheContract(t *testing.T) {
	s, err := ReadSite("place/site.yaml", strings.NewReader(leastSite))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"tank lat", s.Tank.At.Lat, 0.5},
		{"tank lon", s.Tank.At.Lon, -30.25},
		{"inlet", s.Tank.InletAboveGroundM, 6 * 0.3048}, // NIST SP 811: 1 ft = 0.3048 m
		{"low flow", s.LowFlow, 0.008},
		{"share", s.TakeShare, 0.4},
		{"demand", s.Demand, 1.5 / 86400},
		{"drive length", s.Limits.DriveLengthMaxM, 90 * 0.3048},
		{"drive head", s.Limits.DriveHeadMinM, 3 * 0.3048},
		{"standpipe", s.Limits.StandpipeMaxM, 8 * 0.3048},
	} {
		if math.Abs(c.got-c.want) > 1e-12 {
			t.Errorf("%s: got %v, want %v", c.name, c.got, c.want)
		}
	}
	if s.Units != quantity.US || s.path(s.Creek) != "place/creek.gpx" || s.Terrain[0] != "ground.tif" {
		t.Errorf("units %v, creek %q, terrain %q", s.Units, s.path(s.Creek), s.Terrain)
	}
	for _, d := range s.Defaults() {
		if d.Key == "limits.drive_head.min" || d.Key == "units" {
			t.Errorf("%s was given and is listed as a usual value", d.Key)
		}
	}
}

// Every mistake points at the line and the column where a text editor shows
// it; both are counted by hand in the texts below.
func TestReadSiteFaults(t *testing.T) {
	for _, c := range []struct {
		name, from, to string
		line, column   int
		says           []string
	}{
		{"wrong key", "catalog: prices.csv", "katalog: prices.csv", 14, 1, []string{"katalog", `did you mean "catalog"`}},
		{"wrong key below", "{max: \"90 ft\"}", "{maxx: \"90 ft\"}", 9, 23, []string{"limits.drive_pipe_length.maxx"}},
		{"bare number", `max: "8 ft"`, `max: 8`, 11, 27, []string{"standpipe_height.max", "8", "unit"}},
		{"wrong kind of unit", `max: "8 ft"`, `max: "8 gpm"`, 11, 27, []string{"gpm"}},
		{"out of range", `"90 ft"`, `"90 mi"`, 9, 28, []string{"out of range", "300 m"}},
		{"impossible share", `"40 %"`, `"140 %"`, 6, 42, []string{"100 %"}},
		{"not a latitude", "lat: 0.5", "lat: 95", 5, 13, []string{"95", "90"}},
		{"unknown word", "units: us", "units: yards", 2, 8, []string{"us, si"}},
		{"map where a value belongs", `demand: "1500 L/day"`, `demand: {a: 1}`, 7, 1, []string{"demand"}},
		{"value where keys belong", "tank: {lat: 0.5, lon: -30.25, inlet_above_ground: \"6 ft\"}", "tank: here", 5, 7, []string{"tank"}},
		{"syntax", "limits:", "limits: [", 0, 0, []string{"YAML"}},
		{"the same key twice", "name: Fernhollow", "name: a\nname: b", 2, 1, []string{"name"}},
		{"no terrain", "terrain: [ground.tif]\n", "", 0, 0, []string{"terrain"}},
		{"half a place", "lat: 0.5, ", "", 0, 0, []string{"lat"}},
		{"a use without an amount", `demand: "1500 L/day"`, `demand: [{use: people, count: 4}]`, 7, 10, []string{"each"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			content := strings.Replace(leastSite, c.from, c.to, 1)
			if content == leastSite {
				t.Fatal("the mistake is not in the text")
			}
			_, err := ReadSite("site.yaml", strings.NewReader(content))
			var fault *finding.Fault
			if !errors.As(err, &fault) {
				t.Fatalf("got %v, want a fault", err)
			}
			if fault.File != "site.yaml" {
				t.Errorf("file %q", fault.File)
			}
			if c.line > 0 && (fault.Line != c.line || fault.Column != c.column) {
				t.Errorf("at %d:%d, want %d:%d (%v)", fault.Line, fault.Column, c.line, c.column, fault)
			}
			for _, word := range c.says {
				if !strings.Contains(fault.Error()+fault.Hint, word) {
					t.Errorf("%q does not say %q", fault.Error(), word)
				}
			}
		})
	}
}

func TestDemandListAddsUp(t *testing.T) {
	content := strings.Replace(leastSite, `demand: "1500 L/day"`, `demand: [{use: people, count: 4, each: "100 L/day"}, {use: cattle, count: 10, each: "45 L/day"}]`, 1)
	s, err := ReadSite("site.yaml", strings.NewReader(content))
	if err != nil {
		t.Fatal(err)
	}
	if got := s.Demand * litresPerDay; math.Abs(got-850) > 1e-9 { // 4·100 + 10·45
		t.Errorf("demand %v L/day, want 850", got)
	}
}

// Taking every # away from the settings of the starter file must give a file
// that reads, and that changes nothing.
func TestStarterSiteReads(t *testing.T) {
	if _, err := ReadSite("site.yaml", strings.NewReader(StarterSite())); err != nil {
		t.Fatalf("as written: %v", err)
	}
	head, tail, _ := strings.Cut(StarterSite(), "# The usual values")
	_, tail, _ = strings.Cut(tail, "\n")
	opened := head + strings.ReplaceAll("\n"+tail, "\n# ", "\n")
	s, err := ReadSite("site.yaml", strings.NewReader(opened))
	if err != nil {
		t.Fatalf("with every setting opened: %v\n%s", err, opened)
	}
	if d := s.Defaults(); len(d) != 0 {
		t.Errorf("settings that the starter file does not hold: %v", d)
	}
}

func FuzzReadSite(f *testing.F) {
	f.Add(leastSite)
	f.Add(StarterSite())
	f.Add("a: &x [*x]")
	f.Add("? [a]: b\n- c")
	f.Fuzz(func(t *testing.T, content string) {
		s, err := ReadSite("site.yaml", strings.NewReader(content))
		if err == nil && (len(s.Terrain) == 0 || s.Creek == "") {
			t.Error("an incomplete site was accepted")
		}
		var fault *finding.Fault
		if err != nil && !errors.As(err, &fault) {
			t.Errorf("%v is not a fault", err)
		}
	})
}
