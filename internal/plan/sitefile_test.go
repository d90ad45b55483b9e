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
		// Its first key is at 15:1; the parser gives the colon.
		{"a second document", "field: []\n", "field: []\n---\nname: another\n", 15, 5, []string{"second"}},
		{"decimal point for thousands", `"1500 L/day"`, `"1.500 L/day"`, 7, 9, []string{"out of range"}},
		{"no terrain", "terrain: [ground.tif]\n", "", 0, 0, []string{"terrain"}},
		{"half a place", "lat: 0.5, ", "", 0, 0, []string{"lat"}},
		{"a use that no table has", `demand: "1500 L/day"`, `demand: [{use: dragons, count: 4}]`, 7, 16, []string{"dragons", "each", "known uses: person;", "sheep or goat"}},
		{"a garden without its area", `demand: "1500 L/day"`, `demand: [{use: garden}]`, 7, 16, []string{"area"}},
		{"people by area", `demand: "1500 L/day"`, `demand: [{use: people, area: "5 m2"}]`, 7, 16, []string{"count"}},
		{"count and area", `demand: "1500 L/day"`, `demand: [{use: garden, count: 2, area: "5 m2"}]`, 7, 10, []string{"not by both"}},
		{"half a person", `demand: "1500 L/day"`, `demand: [{use: people, count: 2.5}]`, 7, 31, []string{"whole number"}},
		{"the low flow twice", `low: "8 L/s"`, `low: "8 L/s", bucket: {volume: "20 L", seconds: "3 s"}`, 6, 28, []string{"twice"}},
		{"a bucket without its volume", `low: "8 L/s"`, `bucket: {seconds: "3 s"}`, 6, 22, []string{"volume"}},
		{"bare seconds", `low: "8 L/s"`, `bucket: {volume: "20 L", seconds: [3]}`, 6, 49, []string{"unit"}},
		{"a part of a float that is none", `low: "8 L/s"`, `float: {speed: "1 m/s"}`, 6, 22, []string{"speed", "distance"}},
		{"a section of two soundings", `low: "8 L/s"`, `section: [{at: "0 m", depth: "0 m"}, {at: "1 m", depth: "0 m"}]`, 6, 23, []string{"three"}},
		{"a sounding without velocity", `low: "8 L/s"`, `section: [{at: "0 m", depth: "1 m"}]`, 6, 24, []string{"velocity"}},
		{"no creek", `low: "8 L/s"`, `bucket: {volume: "1 mL", seconds: "3 s"}`, 6, 14, []string{"no creek"}},
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

// Amounts by hand from the tables: 50 L a day for a person (UNDP 2006), 2.5 US
// gal for a sheep (Crawford County Conservation District), 6.25 US gal for 100
// laying hens (old stock handbook), 4 L for a square metre of garden (common
// practice, no source). 1 US gal = 3.785411784 L (NIST SP 811).
func TestDemandComesFromTheTables(t *testing.T) {
	content := strings.Replace(leastSite, `demand: "1500 L/day"`, `demand: [{use: people, count: 4}, {use: Sheep, count: 60}, {use: hens, count: 30}, {use: garden, area: "150 m2"}, {use: horse, each: "30 L/day"}]`, 1)
	s, err := ReadSite("site.yaml", strings.NewReader(content))
	if err != nil {
		t.Fatal(err)
	}
	const gallon = 3.785411784
	each := []float64{50, 2.5 * gallon, 0.0625 * gallon, 4, 30}
	count := []float64{4, 60, 30, 150, 1}
	sources := []string{"UNDP", "Crawford", "handbook", "no source", "the site file"}
	total := 0.0
	for i, u := range s.demandUses() {
		if math.Abs(float64(u.Each)-each[i]) > 1e-9 || float64(u.Count) != count[i] || !strings.Contains(u.Source, sources[i]) {
			t.Errorf("use %d: %+v, want %v times %v from %s", i, u, count[i], each[i], sources[i])
		}
		total += each[i] * count[i]
	}
	if got := s.Demand * litresPerDay; len(s.DemandUses) != len(each) || math.Abs(got-total) > 1e-6 {
		t.Errorf("%d uses, demand %v L/day, want %v", len(s.DemandUses), got, total)
	}
	if err := s.Set("demand", "800 L/day"); err != nil || len(s.DemandUses) > 0 {
		t.Errorf("a demand as a whole leaves the uses of the list: %v, %v", s.DemandUses, err)
	}
}

// By hand. Bucket: 20 L in 11, 12 and 10.5 s is 1.8182, 1.6667 and 1.9048 L/s,
// mean 1.7965; its deviation is the scatter of the mean, 0.0696, and 2 % with
// 0.3 s over 11.13·√3 s, 0.0455. Float: 5 m in 15 s over 0.18 m², times 0.66
// for a depth below 1 ft (USBR Water Measurement Manual, from memory), ±20 %.
// Section: one vertical of 0.2 m and 0.3 m/s for 0.5 m of width.
func TestLowFlowFromReadings(t *testing.T) {
	for _, c := range []struct {
		text        string
		flow, sigma float64 // L/s
		says        string
	}{
		{`bucket: {volume: "20 L", seconds: ["11 s", "12 s", "10.5 s"]}`, 1.79654, 0.08315, "3 fillings"},
		{`float: {distance: "5 m", seconds: ["14 s", "16 s"], width: "1.2 m", depth: "0.15 m"}`, 39.6, 7.92, "float"},
		{`section: [{at: "0 m", depth: "0 m"}, {at: "0.5 m", depth: "0.2 m", velocity: "0.3 m/s"}, {at: "1 m", depth: "0 m"}]`, 30, 30 * math.Hypot(0.2/math.Sqrt(3), 0.05), "3 soundings"},
	} {
		s, err := ReadSite("site.yaml", strings.NewReader(strings.Replace(leastSite, `low: "8 L/s"`, c.text, 1)))
		if err != nil {
			t.Errorf("%s: %v", c.text, err)
			continue
		}
		if math.Abs(s.LowFlow*1000-c.flow) > 1e-4*c.flow || math.Abs(s.lowFlowSigma()*1000-c.sigma) > 1e-3*c.sigma {
			t.Errorf("%s: %v ± %v L/s, want %v ± %v", c.text, s.LowFlow*1000, s.lowFlowSigma()*1000, c.flow, c.sigma)
		}
		if text := quantity.Text(quantity.SI, s.LowFlowReading.Text, s.LowFlowReading.Values...); !strings.Contains(text, c.says) || strings.Contains(text, "{") {
			t.Errorf("%q", text)
		}
		if err := s.Set("creek_flow.low", "3 L/s"); err != nil || s.lowFlowSigma() != 0 || s.LowFlow != 0.003 {
			t.Errorf("a flag does not replace the reading: %v, %v", s.LowFlow, err)
		}
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
	f.Add("creek_flow:\n  bucket: {volume: 20 L, seconds: [1 s, 2 s]}\n  usual: 3 L/s\ndemand:\n  - {use: hens, count: 4}\n  - use: garden\n    area: 3 m2\n")
	f.Add("creek_flow: {float: {distance: 5 m, seconds: 3 s, width: 1 m, depth: 1 m}}")
	f.Add("creek_flow: {section: [{at: 0 m, depth: 0 m}, {at: 1 m, depth: 1 m, velocity: 1 m/s}, {at: 2 m, depth: 0 m}]}")
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
