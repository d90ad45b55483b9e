package export

import (
	"encoding/xml"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"route/internal/plan"
)

// gpxRead is what the tests read of a GPX file.
type gpxRead struct {
	Waypoints []gpxPoint `xml:"wpt"`
	Tracks    []struct {
		Name   string     `xml:"name"`
		Points []gpxPoint `xml:"trkseg>trkpt"`
	} `xml:"trk"`
}

type gpxPoint struct {
	Lat  float64 `xml:"lat,attr"`
	Lon  float64 `xml:"lon,attr"`
	Ele  float64 `xml:"ele"`
	Name string  `xml:"name"`
	Desc string  `xml:"desc"`
	Type string  `xml:"type"`
}

func readGPX(t *testing.T, text []byte) (g gpxRead) {
	t.Helper()
	if err := xml.Unmarshal(text, &g); err != nil {
		t.Fatal(err)
	}
	return g
}

// The file is checked with xmllint against testdata/gpx11.xsd, which states
// the published schema's elements and their order anew. No Debian, Go or npm
// package that is at hand ships the published file; where a person has it,
// ROUTE_GPX_XSD names it and it is used as well.
func TestGPXFollowsItsSchema(t *testing.T) {
	xmllint := program(t, "xmllint", "libxml2-utils")
	schemas := []string{"testdata/gpx11.xsd"}
	if published := os.Getenv("ROUTE_GPX_XSD"); published != "" {
		schemas = append(schemas, published)
	}
	east := fixturePlan("si") // 180 degrees are written -180: the schema excludes 180
	east.Layouts[0].Tank.Lon = 180
	east.Layouts[0].Delivery.Path[12].Lon = 179.99999998
	plans := fixtures()
	plans["at 180 degrees"] = east
	for name, p := range plans {
		file := filepath.Join(t.TempDir(), "route.gpx")
		if err := os.WriteFile(file, written(t, GPX, p), 0o666); err != nil {
			t.Fatal(err)
		}
		for _, schema := range schemas {
			if text, err := exec.Command(xmllint, "--noout", "--nonet", "--schema", schema, file).CombinedOutput(); err != nil {
				t.Errorf("%s: %s", name, text)
			}
		}
	}
}

func TestGPXHoldsTheStakesAndThePipes(t *testing.T) {
	p := fixturePlan("us")
	g := readGPX(t, written(t, GPX, p))
	stakes := p.Layouts[0].Stakes
	visits := g.Waypoints[len(g.Waypoints)-2:]
	for i, want := range []struct {
		name string
		at   plan.VisitPlace
	}{{"VISIT1-UP", p.Visits[0].From}, {"VISIT1-LOW", p.Visits[0].To}} {
		if w := visits[i]; w.Name != want.name || w.Type != "visit" || math.Abs(w.Lon-float64(want.at.Lon)) > 1e-7 || math.Abs(w.Ele-float64(want.at.GroundM)) > 0.0051 || !strings.Contains(w.Desc, want.at.Name) {
			t.Errorf("visit %+v, want %s at %+v", w, want.name, want.at)
		}
	}
	g.Waypoints = g.Waypoints[:len(g.Waypoints)-2]
	if len(g.Waypoints) != len(stakes) {
		t.Fatalf("%d waypoints for %d stakes", len(g.Waypoints), len(stakes))
	}
	names := map[string]bool{}
	for i, w := range g.Waypoints {
		s := stakes[i]
		if w.Name != s.Label || w.Type != s.Role || len(w.Name) > gpxNameLen || names[w.Name] {
			t.Errorf("waypoint %q of type %q for stake %q", w.Name, w.Type, s.Label)
		}
		names[w.Name] = true
		// Heights are written to a centimetre.
		if math.Abs(w.Lat-float64(s.Lat)) > 1e-7 || math.Abs(w.Lon-float64(s.Lon)) > 1e-7 || math.Abs(w.Ele-float64(s.GroundM)) > 0.0051 {
			t.Errorf("%s stands at %v %v %v", w.Name, w.Lat, w.Lon, w.Ele)
		}
	}
	k := 0
	for i := range p.Layouts {
		for _, run := range runs(&p.Layouts[i]) {
			if got := g.Tracks[k]; got.Name != p.Layouts[i].ID+" "+run.role || len(got.Points) != len(run.Path) {
				t.Errorf("track %q has %d points; layout %s, %s pipe with %d vertices is expected", got.Name, len(got.Points), p.Layouts[i].ID, run.role, len(run.Path))
			}
			k++
		}
	}
	if k != len(g.Tracks) {
		t.Errorf("%d tracks, %d are expected", len(g.Tracks), k)
	}
}

// Places that no stake marks still come as waypoints.
func TestGPXWithoutStakes(t *testing.T) {
	p := fixturePlan("si")
	p.Layouts[0].Stakes, p.Visits = nil, nil
	g := readGPX(t, written(t, GPX, p))
	if len(g.Waypoints) != 4 || g.Waypoints[1].Name != "STANDPIPE" || g.Waypoints[3].Name != "TANK" {
		t.Errorf("waypoints %+v", g.Waypoints)
	}
}

// gpsbabel reads the file and writes it again; all points come back to within
// a millionth of a degree, with names and heights.
func TestGPXThroughGPSBabel(t *testing.T) {
	gpsbabel := program(t, "gpsbabel", "gpsbabel")
	for name, p := range map[string]*plan.Plan{"us": fixturePlan("us"), "si": fixturePlan("si")} {
		dir := t.TempDir()
		in, out := filepath.Join(dir, "in.gpx"), filepath.Join(dir, "out.gpx")
		ours := written(t, GPX, p)
		if err := os.WriteFile(in, ours, 0o666); err != nil {
			t.Fatal(err)
		}
		if text, err := exec.Command(gpsbabel, "-i", "gpx", "-f", in, "-o", "gpx", "-F", out).CombinedOutput(); err != nil {
			t.Fatalf("gpsbabel: %v\n%s", err, text)
		}
		theirs, err := os.ReadFile(out)
		if err != nil {
			t.Fatal(err)
		}
		a, b := readGPX(t, ours), readGPX(t, theirs)
		if len(a.Waypoints) != len(b.Waypoints) || len(a.Tracks) != len(b.Tracks) {
			t.Fatalf("%s: %d waypoints and %d tracks came back as %d and %d", name, len(a.Waypoints), len(a.Tracks), len(b.Waypoints), len(b.Tracks))
		}
		same := func(p, q gpxPoint) {
			if math.Abs(p.Lat-q.Lat) > 1e-6 || math.Abs(p.Lon-q.Lon) > 1e-6 || math.Abs(p.Ele-q.Ele) > 0.01 || p.Name != q.Name || p.Desc != q.Desc {
				t.Errorf("%s: %+v came back as %+v", name, p, q)
			}
		}
		for i := range a.Waypoints {
			same(a.Waypoints[i], b.Waypoints[i])
		}
		for i := range a.Tracks {
			if len(a.Tracks[i].Points) != len(b.Tracks[i].Points) || a.Tracks[i].Name != b.Tracks[i].Name {
				t.Fatalf("%s: track %s lost points or its name", name, a.Tracks[i].Name)
			}
			for k := range a.Tracks[i].Points {
				same(a.Tracks[i].Points[k], b.Tracks[i].Points[k])
			}
		}
	}
}
