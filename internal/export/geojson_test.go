package export

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"route/internal/plan"
)

// program finds an independent program or skips the test.
func program(t *testing.T, name, pack string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Skipf("%s is not installed (Debian package %s)", name, pack)
	}
	return path
}

func TestGeoJSONFollowsRFC7946(t *testing.T) {
	text, err := os.ReadFile("testdata/geojson.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	schema := compiled(t, "urn:route:test:geojson", parsed(t, text))
	for name, p := range fixtures() {
		if err := schema.Validate(parsed(t, written(t, GeoJSON, p))); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	bad := bytes.Replace(written(t, GeoJSON, fixturePlan("si")), []byte("[-150."), []byte("[-250."), 1)
	if schema.Validate(parsed(t, bad)) == nil {
		t.Error("a longitude of -250 passes")
	}
}

// A line whose heights are not all known keeps its places and drops them all.
func TestGeoJSONWithUnknownHeights(t *testing.T) {
	p := fixturePlan("si")
	p.Creek.Stations[5].ZM = plan.Unknown
	p.Layouts[0].Tank.Lon = plan.Degrees(math.NaN())
	var document struct {
		Features []struct {
			Properties map[string]any
			Geometry   *struct{ Coordinates json.RawMessage }
		}
	}
	if err := json.Unmarshal(written(t, GeoJSON, p), &document); err != nil {
		t.Fatal(err)
	}
	var line [][]float64
	if err := json.Unmarshal(document.Features[0].Geometry.Coordinates, &line); err != nil {
		t.Fatal(err)
	}
	if len(line) != len(p.Creek.Stations) || len(line[0]) != 2 {
		t.Errorf("the creek has %d positions of %d numbers", len(line), len(line[0]))
	}
	for _, f := range document.Features {
		if f.Properties["role"] == "tank" && f.Properties["layout"] == "A" && f.Geometry != nil {
			t.Error("a tank without a place has one")
		}
	}
}

// GDAL's own reader finds every feature, its attributes and its heights.
func TestGeoJSONReadByOGR(t *testing.T) {
	ogr2ogr := program(t, "ogr2ogr", "gdal-bin")
	p := fixturePlan("us")
	dir := t.TempDir()
	file := filepath.Join(dir, "route.geojson")
	if err := os.WriteFile(file, written(t, GeoJSON, p), 0o666); err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(dir, "read.csv")
	if text, err := exec.Command(ogr2ogr, "-f", "CSV", "-lco", "GEOMETRY=AS_WKT", out, file).CombinedOutput(); err != nil {
		t.Fatalf("ogr2ogr: %v\n%s", err, text)
	}
	text, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	seen := map[string][][3]float64{}
	for _, row := range rows[1:] {
		seen[row[column["layout"]]+" "+row[column["role"]]] = wktPoints(t, row[column["WKT"]])
	}
	check := func(key string, lon, lat plan.Degrees, z plan.Number, got [3]float64) {
		// OGR prints 15 digits; the file holds seven decimals and millimetres.
		if math.Abs(got[0]-float64(lon)) > 1e-7 || math.Abs(got[1]-float64(lat)) > 1e-7 || math.Abs(got[2]-float64(z)) > 0.00051 {
			t.Errorf("%s: OGR read %v, written was %v %v %v", key, got, lon, lat, z)
		}
	}
	want := 1
	creek := seen[" creek"]
	if len(creek) != len(p.Creek.Stations) {
		t.Fatalf("OGR read %d stations of %d", len(creek), len(p.Creek.Stations))
	}
	for i, s := range p.Creek.Stations {
		check("creek", s.Lon, s.Lat, s.ZM, creek[i])
	}
	for i := range p.Layouts {
		l := &p.Layouts[i]
		for _, run := range runs(l) {
			want++
			got := seen[l.ID+" "+run.role]
			if len(got) != len(run.Path) {
				t.Fatalf("OGR read %d points of the %s pipe of %s, %d are written", len(got), run.role, l.ID, len(run.Path))
			}
			for k, v := range run.Path {
				check(l.ID+" "+run.role, v.Lon, v.Lat, v.InvertM, got[k])
			}
		}
		for _, at := range places(l) {
			want++
			got := seen[l.ID+" "+at.role]
			if len(got) != 1 {
				t.Fatalf("OGR read %d points for the %s of %s", len(got), at.role, l.ID)
			}
			check(l.ID+" "+at.role, at.at.Lon, at.at.Lat, at.at.GroundM, got[0])
		}
	}
	if len(rows)-1 != want {
		t.Errorf("OGR read %d features, %d are expected", len(rows)-1, want)
	}
}

// wktPoints reads the positions of "LINESTRING Z (x y z,x y z)" or "POINT Z (x y z)".
func wktPoints(t *testing.T, wkt string) (points [][3]float64) {
	t.Helper()
	kind, rest, ok := strings.Cut(wkt, "(")
	if !ok || !strings.HasSuffix(strings.TrimSpace(kind), " Z") {
		t.Fatalf("no heights in %.60s", wkt)
	}
	for _, text := range strings.Split(strings.TrimSuffix(rest, ")"), ",") {
		var p [3]float64
		if _, err := fmt.Sscan(text, &p[0], &p[1], &p[2]); err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		points = append(points, p)
	}
	return points
}
