package export

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"route/internal/plan"
)

// writtenFile puts a format into a file for another program to read.
func writtenFile(t *testing.T, f Format, p *plan.Plan) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), string(f))
	if err := os.WriteFile(file, written(t, f, p), 0o666); err != nil {
		t.Fatal(err)
	}
	return file
}

// ogrRows has GDAL's own reader give every feature of a layer with its
// geometry as WKT.
func ogrRows(t *testing.T, file, layer string, more ...string) (column map[string]int, rows [][]string) {
	t.Helper()
	ogr2ogr := program(t, "ogr2ogr", "gdal-bin")
	args := append(append([]string{"-f", "CSV", "-lco", "GEOMETRY=AS_WKT"}, more...), "/vsistdout/", file)
	if layer != "" {
		args = append(args, layer)
	}
	text, err := exec.Command(ogr2ogr, args...).Output()
	if err != nil {
		t.Fatalf("ogr2ogr %v: %v", args, err)
	}
	all, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil || len(all) == 0 {
		t.Fatalf("%s of %s: %d rows, %v", layer, file, len(all), err)
	}
	column = map[string]int{}
	for i, name := range all[0] {
		column[name] = i
	}
	return column, all[1:]
}

// ogrSays is what ogrinfo says about a file.
func ogrSays(t *testing.T, file string) string {
	t.Helper()
	ogrinfo := program(t, "ogrinfo", "gdal-bin")
	text, err := exec.Command(ogrinfo, "-ro", "-so", "-al", file).CombinedOutput()
	if err != nil || bytes.Contains(bytes.ToLower(text), []byte("warning")) {
		t.Fatalf("ogrinfo: %v\n%s", err, text)
	}
	return string(text)
}

// featuresWanted counts by the plan what each layer must hold.
func featuresWanted(p *plan.Plan) map[string]int {
	n := map[string]int{"creek": 1, "visits": 2 * len(p.Visits)}
	for i := range p.Layouts {
		n["pipes"] += len(runs(&p.Layouts[i]))
		n["places"] += len(places(&p.Layouts[i]))
		n["stakes"] += len(p.Layouts[i].Stakes)
	}
	return n
}

// Each layer of the GeoPackage has its system, its count and its heights, and
// the coordinates are the plan's own eastings and northings, which do not come
// from PROJ.
func TestGeoPackageReadByOGR(t *testing.T) {
	p := gridPlan()
	file := writtenFile(t, GeoPackage, p)
	said := ogrSays(t, file)
	if n := strings.Count(said, `ID["EPSG",32606]]`); n != 5 {
		t.Errorf("%d layers of 5 are in EPSG:32606:\n%s", n, said)
	}
	for layer, want := range featuresWanted(p) {
		if _, rows := ogrRows(t, file, layer); len(rows) != want {
			t.Errorf("%s: %d features, want %d", layer, len(rows), want)
		}
	}
	column, rows := ogrRows(t, file, "stakes")
	k := 0
	for _, l := range p.Layouts {
		for _, s := range l.Stakes {
			row := rows[k]
			k++
			at := wktPoints(t, row[column["WKT"]])[0]
			if row[column["layout"]] != l.ID || row[column["label"]] != s.Label || row[column["what_to_do"]] != s.Do || row[column["check"]] != checkText(&s) {
				t.Errorf("row %v for stake %s", row, s.Label)
			}
			if !near(at[0], float64(s.EastingM), 0.002) || !near(at[1], float64(s.NorthM), 0.002) || !near(at[2], float64(s.InvertM), 1e-9) {
				t.Errorf("stake %s lies at %v, the plan says %.3f %.3f %.4f", s.Label, at, float64(s.EastingM), float64(s.NorthM), float64(s.InvertM))
			}
		}
	}
	column, rows = ogrRows(t, file, "pipes")
	k = 0
	for i := range p.Layouts {
		for _, run := range runs(&p.Layouts[i]) {
			line := wktPoints(t, rows[k][column["WKT"]])
			if len(line) != len(run.Path) || rows[k][column["role"]] != run.role {
				t.Fatalf("pipe %d: %d points as %s; %s has %d", k, len(line), rows[k][column["role"]], run.role, len(run.Path))
			}
			for n, v := range run.Path {
				if !near(line[n][0], float64(v.EastingM), 0.002) || !near(line[n][1], float64(v.NorthM), 0.002) || !near(line[n][2], float64(v.InvertM), 1e-9) {
					t.Fatalf("vertex %d of the %s pipe is %v, want %+v", n, run.role, line[n], v)
				}
			}
			k++
		}
	}
}

// A grid in metres that the site asks for is the files' too; one in feet would
// mix with heights in metres and is not.
func TestFilesInTheGridAskedFor(t *testing.T) {
	p := gridPlan()
	p.Frame.Grid, p.Frame.GridUnitM = "EPSG:32706", 1
	if said := ogrSays(t, writtenFile(t, GeoPackage, p)); !strings.Contains(said, `ID["EPSG",32706]]`) {
		t.Errorf("not in the grid asked for:\n%s", said)
	}
	p.Frame.Grid, p.Frame.GridUnitM = "EPSG:2225", 1200.0/3937
	if said := ogrSays(t, writtenFile(t, GeoPackage, p)); !strings.Contains(said, `ID["EPSG",32606]]`) {
		t.Errorf("not in UTM:\n%s", said)
	}
}

// The drawing holds each line, place and stake on the layer of its kind, with
// the text beside it, in the eastings and northings of the plan.
func TestDXFReadByOGR(t *testing.T) {
	p := gridPlan()
	file := writtenFile(t, DXF, p)
	column, rows := ogrRows(t, file, "entities")
	byLayer := map[string][][]string{}
	for _, row := range rows {
		byLayer[row[column["Layer"]]] = append(byLayer[row[column["Layer"]]], row)
	}
	want := map[string]int{"CREEK": 1, "NOTES": 1}
	for i := range p.Layouts {
		l := &p.Layouts[i]
		for _, run := range runs(l) {
			name := strings.ToUpper(run.role) + "_" + l.ID
			want[name]++
			line := wktPoints(t, byLayer[name][0][column["WKT"]])
			for n, v := range run.Path {
				if !near(line[n][0], float64(v.EastingM), 0.002) || !near(line[n][1], float64(v.NorthM), 0.002) || !near(line[n][2], float64(v.InvertM), 1e-6) {
					t.Fatalf("vertex %d on %s is %v, want %+v", n, name, line[n], v)
				}
			}
		}
		for n, s := range l.Stakes {
			row := byLayer["STAKES_TEXT_"+l.ID][n]
			at := wktPoints(t, row[column["WKT"]])[0]
			if row[column["Text"]] != s.Label || !near(at[0], float64(s.EastingM), 0.002) || !near(at[1], float64(s.NorthM), 0.002) || !near(at[2], float64(s.InvertM), 1e-6) {
				t.Errorf("text %q at %v for stake %s", row[column["Text"]], at, s.Label)
			}
		}
		want["STAKES_"+l.ID], want["STAKES_TEXT_"+l.ID] = len(l.Stakes), len(l.Stakes)
		want["PLACES_"+l.ID], want["PLACES_TEXT_"+l.ID] = len(places(l)), len(places(l))
	}
	for name, n := range want {
		if len(byLayer[name]) != n {
			t.Errorf("%d entities on %s, want %d", len(byLayer[name]), name, n)
		}
		delete(byLayer, name)
	}
	for name := range byLayer {
		t.Errorf("a layer %s that nothing asks for", name)
	}
}

// Both of GDAL's readers of KML find every placemark with its height; the
// document is well-formed, and its elements stand in the schema's order.
func TestKMLReadByOGR(t *testing.T) {
	xmllint := program(t, "xmllint", "libxml2-utils")
	p := fixturePlan("us")
	file := writtenFile(t, KML, p)
	if text, err := exec.Command(xmllint, "--noout", "--nonet", file).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	want := 0
	for layer, n := range featuresWanted(p) {
		if layer != "visits" {
			want += n
		}
	}
	for driver, other := range map[string]string{"KML": "LIBKML", "LIBKML": "KML"} {
		said := ogrSays(t, file)
		names := map[string][][3]float64{}
		total := 0
		for _, layer := range []string{"Creek", "Layout A", "Layout B", "Layout C"} {
			if !strings.Contains(said, layer) {
				t.Errorf("ogrinfo sees no layer %s", layer)
			}
			column, rows := ogrRows(t, file, layer, "--config", "OGR_SKIP", other)
			total += len(rows)
			for _, row := range rows {
				names[layer+" "+row[column["Name"]]] = wktPoints(t, row[column["WKT"]])
			}
		}
		if total != want {
			t.Errorf("%s reads %d placemarks, want %d", driver, total, want)
		}
		l := &p.Layouts[0]
		for i, v := range l.Delivery.Path {
			got := names["Layout A A delivery"][i]
			if !near(got[0], float64(v.Lon), 1.1e-8) || !near(got[1], float64(v.Lat), 1.1e-8) || !near(got[2], float64(v.InvertM), 0.00051) {
				t.Errorf("%s: vertex %d is %v, want %+v", driver, i, got, v)
			}
		}
		for _, s := range l.Stakes {
			got := names["Layout A "+s.Label]
			if len(got) != 1 || !near(got[0][0], float64(s.Lon), 1.1e-8) || !near(got[0][2], float64(s.InvertM), 0.00051) {
				t.Errorf("%s: stake %s is %v", driver, s.Label, got)
			}
		}
	}
	order := []string{"name", "visibility", "description", "styleUrl", "Point", "LineString"}
	decoder, at := xml.NewDecoder(bytes.NewReader(written(t, KML, p))), 0
	depth := 0
	for {
		token, err := decoder.Token()
		if err != nil {
			break
		}
		switch e := token.(type) {
		case xml.StartElement:
			if e.Name.Local == "Placemark" {
				at, depth = 0, 1
				continue
			}
			if depth == 1 {
				for at < len(order) && order[at] != e.Name.Local {
					at++
				}
				if at == len(order) {
					t.Fatalf("%s stands in the wrong place of a Placemark", e.Name.Local)
				}
			}
			if depth > 0 {
				depth++
			}
		case xml.EndElement:
			depth = max(0, depth-1)
		}
	}
}

// Through the file format of a maker's map program and back, every point
// comes back to within a millionth of a degree, under its name.
func TestGPXThroughADeviceFormat(t *testing.T) {
	gpsbabel := program(t, "gpsbabel", "gpsbabel")
	p := fixturePlan("us")
	in := writtenFile(t, GPX, p)
	dir := t.TempDir()
	device, out := filepath.Join(dir, "device"), filepath.Join(dir, "back.gpx")
	for _, step := range [][]string{{"-i", "gpx", "-f", in, "-o", "gdb", "-F", device}, {"-i", "gdb", "-f", device, "-o", "gpx", "-F", out}} {
		if text, err := exec.Command(gpsbabel, step...).CombinedOutput(); err != nil {
			t.Fatalf("gpsbabel %v: %v\n%s", step, err, text)
		}
	}
	theirs, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	a, b := readGPX(t, written(t, GPX, p)), readGPX(t, theirs)
	back := map[string]gpxPoint{}
	for _, w := range b.Waypoints {
		back[w.Name] = w
	}
	if len(back) != len(a.Waypoints) || len(a.Tracks) != len(b.Tracks) {
		t.Fatalf("%d waypoints and %d tracks came back as %d and %d", len(a.Waypoints), len(a.Tracks), len(back), len(b.Tracks))
	}
	same := func(what string, p, q gpxPoint) {
		// The device keeps heights to the centimetre.
		if math.Abs(p.Lat-q.Lat) > 1e-6 || math.Abs(p.Lon-q.Lon) > 1e-6 || math.Abs(p.Ele-q.Ele) > 0.011 {
			t.Errorf("%s: %+v came back as %+v", what, p, q)
		}
	}
	for _, w := range a.Waypoints {
		same(w.Name, w, back[w.Name])
	}
	for i := range a.Tracks {
		if len(a.Tracks[i].Points) != len(b.Tracks[i].Points) {
			t.Fatalf("track %s lost points", a.Tracks[i].Name)
		}
		for k := range a.Tracks[i].Points {
			same(a.Tracks[i].Name, a.Tracks[i].Points[k], b.Tracks[i].Points[k])
		}
	}
}

// Names and descriptions hold nothing that a receiver drops, and not more than
// it shows.
func TestGPXTextsForReceivers(t *testing.T) {
	for _, units := range []string{"us", "si"} {
		g := readGPX(t, written(t, GPX, fixturePlan(units)))
		for _, w := range g.Waypoints {
			if len(w.Name) > gpxNameLen || len(w.Desc) > gpxDescLen || w.Name == "" || w.Desc == "" {
				t.Errorf("%q: %q", w.Name, w.Desc)
			}
			if strings.ContainsFunc(w.Name+w.Desc, func(r rune) bool { return r < ' ' || r > '~' }) {
				t.Errorf("%q: %q has other than plain characters", w.Name, w.Desc)
			}
		}
	}
}

// By hand: 1 ft is 0.3048 m (NIST SP 811).
func TestStaffReadings(t *testing.T) {
	for fall, want := range map[float64][2]string{
		0.3048: {"1.00 ft more", "0.30 m more"}, -0.5: {"1.64 ft less", "0.50 m less"}, 0.001: {"the same", "the same"},
		3.048: {"10.00 ft more (2 set-ups)", "3.05 m more (2 set-ups)"}, math.NaN(): {"", ""},
	} {
		for i, p := range []*plan.Plan{{Units: "us"}, {Units: "si"}} {
			if got := Staff(p.System(), plan.Number(fall)); got != want[i] {
				t.Errorf("%v m in %s: %q, want %q", fall, p.Units, got, want[i])
			}
		}
	}
}

// gridPlan is the fixture with true eastings and northings: the fixture's own
// are invented.
func gridPlan() *plan.Plan {
	p := fixturePlan("us")
	utm := func(lon, lat plan.Degrees, e, n *plan.Number) {
		x, y := utmByHand(float64(lon), float64(lat))
		*e, *n = plan.Number(x), plan.Number(y)
	}
	for i := range p.Layouts {
		l := &p.Layouts[i]
		for _, run := range runs(l) {
			for k := range run.Path {
				v := &run.Path[k]
				utm(v.Lon, v.Lat, &v.EastingM, &v.NorthM)
			}
		}
		for k := range l.Stakes {
			s := &l.Stakes[k]
			utm(s.Lon, s.Lat, &s.EastingM, &s.NorthM)
		}
	}
	return p
}

// utmByHand is Snyder's series for the transverse Mercator projection (USGS
// Professional Paper 1395, equations 8-9 to 8-15 and 3-21), zone 6 north of
// WGS 84; good to a millimetre this near to the meridian.
func utmByHand(lon, lat float64) (e, n float64) {
	const a, f, k0 = 6378137.0, 1 / 298.257223563, 0.9996
	e2 := f * (2 - f)
	ep2 := e2 / (1 - e2)
	phi, dl := lat*math.Pi/180, (lon+147)*math.Pi/180
	s, c := math.Sincos(phi)
	nu := a / math.Sqrt(1-e2*s*s)
	t, cc, aa := (s/c)*(s/c), ep2*c*c, dl*c
	m := a * ((1-e2/4-3*e2*e2/64-5*e2*e2*e2/256)*phi - (3*e2/8+3*e2*e2/32+45*e2*e2*e2/1024)*math.Sin(2*phi) +
		(15*e2*e2/256+45*e2*e2*e2/1024)*math.Sin(4*phi) - 35*e2*e2*e2/3072*math.Sin(6*phi))
	e = 500000 + k0*nu*(aa+(1-t+cc)*math.Pow(aa, 3)/6+(5-18*t+t*t+72*cc-58*ep2)*math.Pow(aa, 5)/120)
	n = k0 * (m + nu*s/c*(aa*aa/2+(5-t+9*cc+4*cc*cc)*math.Pow(aa, 4)/24+(61-58*t+t*t+600*cc-330*ep2)*math.Pow(aa, 6)/720))
	return e, n
}

// The series itself against a value that GDAL's program gives.
func TestSeriesAgainstGDAL(t *testing.T) {
	gdaltransform := program(t, "gdaltransform", "gdal-bin")
	command := exec.Command(gdaltransform, "-s_srs", "EPSG:4326", "-t_srs", "EPSG:32606", "-output_xy")
	command.Stdin = strings.NewReader("-150.25 0.0123\n")
	text, err := command.Output()
	if err != nil {
		t.Fatal(err)
	}
	var e, n float64
	if _, err := fmt.Sscan(string(text), &e, &n); err != nil {
		t.Fatalf("%q: %v", text, err)
	}
	if x, y := utmByHand(-150.25, 0.0123); !near(x, e, 0.002) || !near(y, n, 0.002) {
		t.Errorf("%.4f %.4f, GDAL says %s", x, y, text)
	}
}
