package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"route/internal/plan"
	"route/internal/quantity"
	"route/internal/survey"
)

// demoNames are the invented sites.
var demoNames = []string{"fernhollow", "eilwern"}

// handedOver is one run of the main job on an invented site.
type handedOver struct {
	dir    string // the hand-off folder
	stdout string // what --json printed
	plan   plan.Plan
}

var handOvers sync.Map // of name to func() (*handedOver, error)

// handOver plans an invented site once for all tests of this package; nobody
// may change what it gives.
func handOver(t testing.TB, name string) *handedOver {
	t.Helper()
	site := demo(t, name)
	once, _ := handOvers.LoadOrStore(name, sync.OnceValues(func() (*handedOver, error) {
		h := &handedOver{dir: filepath.Join(filepath.Dir(site), "handed over")}
		code, stdout, stderr := route("plan", site, "--json", "--out", h.dir)
		if code != exitDone || stderr != "" {
			return nil, fmt.Errorf("exit code %d: %.500s%s", code, stdout, stderr)
		}
		h.stdout = stdout
		return h, json.Unmarshal([]byte(stdout), &h.plan)
	}))
	h, err := once.(func() (*handedOver, error))()
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// file is the content of a hand-off file.
func (h *handedOver) file(t testing.TB, name string) []byte {
	t.Helper()
	content, err := os.ReadFile(filepath.Join(h.dir, name))
	if err != nil {
		t.Fatal(err)
	}
	return content
}

// table reads a CSV file with the standard library's reader and gives each row
// by its column names.
func (h *handedOver) table(t testing.TB, name string) []map[string]string {
	t.Helper()
	return namedRows(t, h.file(t, name))
}

func namedRows(t testing.TB, content []byte) []map[string]string {
	t.Helper()
	rows, err := csv.NewReader(bytes.NewReader(content)).ReadAll() // refuses rows of unequal length
	if err != nil {
		t.Fatal(err)
	}
	var named []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, cell := range row {
			m[rows[0][i]] = cell
		}
		named = append(named, m)
	}
	if len(named) == 0 {
		t.Fatal("the table is empty")
	}
	return named
}

func numberIn(t testing.TB, row map[string]string, column string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(row[column], 64)
	if err != nil {
		t.Fatalf("%s: %v in %v", column, err, row)
	}
	return v
}

// tool gives the path of another program, or skips.
func tool(t testing.TB, name, debian string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Skipf("%s is not installed: this needs Debian's %s", name, debian)
	}
	return path
}

// onDemos runs a test on both invented sites.
func onDemos(t *testing.T, test func(t *testing.T, h *handedOver)) {
	for _, name := range demoNames {
		t.Run(name, func(t *testing.T) { test(t, handOver(t, name)) })
	}
}

// plan.json holds to the schema that is shipped, by a validator that passes
// the official JSON Schema test suite, and is what --json prints.
func TestHandOffPlanJSON(t *testing.T) {
	schema, err := jsonschema.NewCompiler().Compile("../../internal/export/schema/plan.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	onDemos(t, func(t *testing.T, h *handedOver) {
		content := h.file(t, "plan.json")
		if string(content) != h.stdout {
			t.Error("plan.json is not what --json printed")
		}
		document, err := jsonschema.UnmarshalJSON(bytes.NewReader(content))
		if err != nil {
			t.Fatal(err)
		}
		if err := schema.Validate(document); err != nil {
			t.Error(err)
		}
		if len(h.plan.Layouts) < 5 {
			t.Errorf("%d layouts, at least 5 are there", len(h.plan.Layouts))
		}
		for _, word := range []string{"NaN", "Infinity"} {
			if bytes.Contains(content, []byte(word)) {
				t.Errorf("plan.json holds %s", word)
			}
		}
	})
}

// roles a layout must have in the GeoJSON file.
func rolesOf(l *plan.Layout) []string {
	roles := []string{"intake", "pump", "tank", "drive", "delivery"}
	if l.SettlingBox != nil {
		roles = append(roles, "settling_box")
	}
	if l.Standpipe != nil {
		roles = append(roles, "standpipe")
	}
	if l.Supply != nil {
		roles = append(roles, "supply")
	}
	slices.Sort(roles)
	return roles
}

// route.geojson as OGR reads it: its coordinate system, one feature for each
// place and pipe of each layout, and a height on every point.
func TestHandOffGeoJSONByOGR(t *testing.T) {
	ogrinfo, ogr2ogr := tool(t, "ogrinfo", "gdal-bin"), tool(t, "ogr2ogr", "gdal-bin")
	onDemos(t, func(t *testing.T, h *handedOver) {
		path := filepath.Join(h.dir, "route.geojson")
		out, err := exec.Command(ogrinfo, "-ro", "-al", "-so", path).CombinedOutput()
		if err != nil || !bytes.Contains(out, []byte(`ID["EPSG",4326]`)) {
			t.Fatalf("%v: not in EPSG:4326:\n%s", err, out)
		}
		converted, err := exec.Command(ogr2ogr, "-f", "CSV", "-lco", "GEOMETRY=AS_WKT", "/vsistdout/", path).Output()
		if err != nil {
			t.Fatal(err)
		}
		rows := namedRows(t, converted)
		if !bytes.Contains(out, fmt.Appendf(nil, "Feature Count: %d\n", len(rows))) {
			t.Errorf("%d rows of features:\n%s", len(rows), out)
		}
		found := map[string][]string{}
		for _, row := range rows {
			kind := "POINT Z "
			if slices.Contains([]string{"supply", "drive", "delivery", "creek"}, row["role"]) {
				kind = "LINESTRING Z "
			}
			if !strings.HasPrefix(row["WKT"], kind) {
				t.Errorf("%s of %s is %.30s…", row["role"], row["layout"], row["WKT"])
			}
			found[row["layout"]] = append(found[row["layout"]], row["role"])
		}
		for i := range h.plan.Layouts {
			l := &h.plan.Layouts[i]
			roles := found[l.ID]
			slices.Sort(roles)
			if !slices.Equal(roles, rolesOf(l)) {
				t.Errorf("layout %s has %v, want %v", l.ID, roles, rolesOf(l))
			}
		}
	})
}

// route.gpx holds to the schema of GPX 1.1 by xmllint, and goes through
// gpsbabel, another reader and writer of GPX, without moving by more than a
// millionth of a degree, 0.1 m.
func TestHandOffGPX(t *testing.T) {
	onDemos(t, func(t *testing.T, h *handedOver) {
		path := filepath.Join(h.dir, "route.gpx")
		t.Run("schema", func(t *testing.T) {
			out, err := exec.Command(tool(t, "xmllint", "libxml2-utils"), "--nonet", "--noout", "--schema", "../../internal/export/testdata/gpx11.xsd", path).CombinedOutput()
			if err != nil {
				t.Errorf("%v\n%s", err, out)
			}
		})
		t.Run("gpsbabel", func(t *testing.T) {
			through := filepath.Join(t.TempDir(), "through.gpx")
			if out, err := exec.Command(tool(t, "gpsbabel", "gpsbabel"), "-i", "gpx", "-f", path, "-o", "gpx", "-F", through).CombinedOutput(); err != nil {
				t.Fatalf("%v\n%s", err, out)
			}
			a, b := readGPX(t, path), readGPX(t, through)
			if len(a.Waypoints) < len(h.plan.Layouts[0].Stakes) || len(a.Waypoints) != len(b.Waypoints) || len(a.Tracks) != len(b.Tracks) || len(a.Tracks) < 2 {
				t.Fatalf("%d waypoints and %d tracks, through gpsbabel %d and %d; %d stakes", len(a.Waypoints), len(a.Tracks), len(b.Waypoints), len(b.Tracks), len(h.plan.Layouts[0].Stakes))
			}
			worst := 0.0
			for i := range a.Waypoints {
				if a.Waypoints[i].Name != b.Waypoints[i].Name {
					t.Errorf("waypoint %q became %q", a.Waypoints[i].Name, b.Waypoints[i].Name)
				}
				worst = max(worst, apart(a.Waypoints[i], b.Waypoints[i]))
			}
			for i := range a.Tracks {
				p, q := slices.Concat(a.Tracks[i].Legs...), slices.Concat(b.Tracks[i].Legs...)
				if len(p) != len(q) {
					t.Fatalf("track %d has %d fixes, then %d", i, len(p), len(q))
				}
				for k := range p {
					worst = max(worst, apart(p[k], q[k]))
				}
			}
			if worst > 1e-6 {
				t.Errorf("a place moved by %g degrees", worst)
			}
		})
	})
}

func apart(a, b survey.Fix) float64 {
	return math.Max(math.Abs(a.Lon-b.Lon), math.Abs(a.Lat-b.Lat))
}

func readGPX(t testing.TB, path string) *survey.Field {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	field, err := survey.ReadGPX(path, file)
	if err != nil {
		t.Fatal(err)
	}
	return field
}

// cents turns an exact amount into whole cents without passing a float.
func cents(t testing.TB, amount string) int64 {
	t.Helper()
	whole, part, _ := strings.Cut(amount, ".")
	v, err := strconv.ParseInt(whole+(part + "00")[:2], 10, 64)
	if err != nil || len(part) > 2 {
		t.Fatalf("%q is no amount: %v", amount, err)
	}
	return v
}

// The take-off adds up: packs times price is each subtotal, and the subtotals
// are the cost of the layout, cent for cent; the packs hold what is needed.
func TestHandOffTakeoffAddsUp(t *testing.T) {
	onDemos(t, func(t *testing.T, h *handedOver) {
		groups := map[string]int64{}
		for _, row := range h.table(t, "takeoff.csv") {
			packs, err := strconv.ParseInt(row["packs"], 10, 64)
			if err != nil || packs < 1 {
				t.Errorf("packs %q", row["packs"])
			}
			amount := cents(t, row["subtotal"])
			if packs*cents(t, row["price"]) != amount {
				t.Errorf("%s: %s × %s is not %s", row["name"], row["packs"], row["price"], row["subtotal"])
			}
			holds := float64(packs)
			if row["need_unit"] == "m" {
				holds *= numberIn(t, row, "pack_m")
			}
			if holds < numberIn(t, row, "need")-0.006 {
				t.Errorf("%s: %s packs of %s m do not hold %s", row["name"], row["packs"], row["pack_m"], row["need"])
			}
			groups[row["layout"]+" "+row["group"]] += amount
			groups[row["layout"]] += amount
		}
		for _, l := range h.plan.Layouts {
			for group, cost := range map[string]plan.Decimal{" supply": l.Cost.Supply, " drive": l.Cost.Drive, " delivery": l.Cost.Delivery, " other": l.Cost.Other, "": l.Cost.Total} {
				if got := groups[l.ID+group]; cost != "" && got != cents(t, string(cost)) {
					t.Errorf("layout %s%s: the lines add up to %d cents, the cost is %s", l.ID, group, got, cost)
				}
			}
		}
	})
}

// The falls on the stakes follow from the levels: to a millimetre in
// plan.json, and within the rounding of three figures to a centimetre in the
// table that the crew reads. Distances along the pipe grow.
func TestHandOffStakeFalls(t *testing.T) {
	onDemos(t, func(t *testing.T, h *handedOver) {
		rows := h.table(t, "stakeout.csv")
		next := 0
		for _, l := range h.plan.Layouts {
			water := float64(l.Intake.WaterM)
			last := water
			for k, s := range l.Stakes {
				row := rows[next]
				next++
				if row["layout"] != l.ID || row["label"] != s.Label {
					t.Fatalf("row %d is %s %s, want %s %s", next, row["layout"], row["label"], l.ID, s.Label)
				}
				invert := float64(s.InvertM)
				if d := math.Abs(float64(s.FallIntakeM) - (water - invert)); !(d <= 0.001) {
					t.Errorf("%s %s: fall since the intake %.4f m, by the levels %.4f", l.ID, s.Label, float64(s.FallIntakeM), water-invert)
				}
				if k == 0 {
					if s.FallLastM.Known() || row["fall_since_last_m"] != "" {
						t.Errorf("%s %s: a fall since a stake that is not there", l.ID, s.Label)
					}
				} else if d := math.Abs(float64(s.FallLastM) - (last - invert)); !(d <= 0.001) {
					t.Errorf("%s %s: fall since the last stake %.4f m, by the levels %.4f", l.ID, s.Label, float64(s.FallLastM), last-invert)
				}
				if d := numberIn(t, row, "fall_since_intake_m") - (water - numberIn(t, row, "pipe_invert_m")); math.Abs(d) > 0.0101 {
					t.Errorf("%s %s: the table's fall is off by %.3f m", l.ID, s.Label, d)
				}
				if k > 0 && s.AlongM < l.Stakes[k-1].AlongM {
					t.Errorf("%s %s lies before the stake above it", l.ID, s.Label)
				}
				last = invert
			}
		}
		if next != len(rows) {
			t.Errorf("%d rows for %d stakes", len(rows), next)
		}
	})
}

// profile.csv runs down the creek: stations grow, and the fitted water line
// never climbs. The supply pipe keeps under its grade line.
func TestHandOffProfileTable(t *testing.T) {
	onDemos(t, func(t *testing.T, h *handedOver) {
		lastStation, lastZ, creek, pipes := math.Inf(-1), math.Inf(1), 0, 0
		for _, row := range h.table(t, "profile.csv") {
			if row["pipe"] == "supply" {
				pipes++
				if numberIn(t, row, "pipe_invert_m") > numberIn(t, row, "grade_line_m") {
					t.Errorf("the supply pipe of %s stands above its grade line at %s", row["layout"], row["station_m"])
				}
			}
			station, z := numberIn(t, row, "station_m"), numberIn(t, row, "fitted_m")
			if station <= lastStation || z > lastZ {
				t.Fatalf("station %v, height %v after %v, %v", station, z, lastStation, lastZ)
			}
			lastStation, lastZ, creek = station, z, creek+1
		}
		if creek != len(h.plan.Creek.Stations) || pipes == 0 {
			t.Errorf("%d stations of %d, %d points of supply pipe", creek, len(h.plan.Creek.Stations), pipes)
		}
	})
}

// profile.svg is well-formed, and holds nothing that is not a number.
func TestHandOffProfileDrawing(t *testing.T) {
	onDemos(t, func(t *testing.T, h *handedOver) {
		content := h.file(t, "profile.svg")
		d := xml.NewDecoder(bytes.NewReader(content))
		elements := map[string]int{}
		for {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			if e, ok := token.(xml.StartElement); ok {
				elements[e.Name.Local]++
				for _, a := range e.Attr {
					if strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf") {
						t.Errorf("%s of %s is %.80s", a.Name.Local, e.Name.Local, a.Value)
					}
				}
			}
		}
		if elements["path"]+elements["polyline"] < 3 || elements["text"] < 10 {
			t.Errorf("%v: that is no profile", elements)
		}
	})
}

// outside finds what would make a browser ask for something else: an address
// in an attribute that loads, or in a style sheet.
var outside = regexp.MustCompile(`(?i)(?:(?:src|srcset|href|action|poster|data)\s*=\s*["']?\s*|url\(\s*["']?\s*|@import\s+["']?)((?:[a-z][a-z0-9+.-]*:)?//[^"')\s>]*)`)

// report.html is one page that asks for nothing, and that Chromium prints
// without a complaint; the printed pages carry the answer.
func TestHandOffReport(t *testing.T) {
	for _, bad := range []string{`<img src="https://x.org/a.png">`, `<link href='//x.org/a.css'>`, `url( "http://x.org/f.woff")`, `@import "https://x.org/a.css"`} {
		if !outside.MatchString(bad) {
			t.Fatalf("%s is not seen", bad)
		}
	}
	onDemos(t, func(t *testing.T, h *handedOver) {
		for _, found := range outside.FindAllSubmatch(h.file(t, "report.html"), -1) {
			t.Errorf("the report asks for %s", found[1])
		}
		t.Run("print", func(t *testing.T) {
			if testing.Short() {
				t.Skip("left out by -short: starts a browser")
			}
			chromium, pdftotext := tool(t, "chromium", "chromium"), tool(t, "pdftotext", "poppler-utils")
			dir := t.TempDir()
			pdf := filepath.Join(dir, "report.pdf")
			said, err := exec.Command(chromium, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
				"--disable-component-update", "--disable-sync", "--enable-logging=stderr", "--user-data-dir="+filepath.Join(dir, "browser"),
				"--no-pdf-header-footer", "--print-to-pdf="+pdf, "file://"+filepath.ToSlash(filepath.Join(h.dir, "report.html"))).CombinedOutput()
			if err != nil {
				t.Fatalf("%v\n%s", err, said)
			}
			for line := range strings.Lines(string(said)) {
				if strings.Contains(line, "CONSOLE") {
					t.Errorf("the browser says %s", line)
				}
			}
			text, err := exec.Command(pdftotext, pdf, "-").Output()
			if err != nil {
				t.Fatal(err)
			}
			best := h.plan.Layouts[0]
			flat := strings.Join(strings.Fields(string(text)), " ")
			for _, want := range []string{
				h.plan.Site,
				quantity.Format(h.plan.System(), quantity.DailyVolume, float64(best.DeliveredLDay)/86400/1000),
				quantity.Format(h.plan.System(), quantity.Length, float64(best.DriveHeadM)),
			} {
				if !strings.Contains(flat, strings.Join(strings.Fields(want), " ")) {
					t.Errorf("the printed report does not say %q", want)
				}
			}
		})
	})
}

// The folder holds the files of the contract and nothing else.
func TestHandOffFolder(t *testing.T) {
	onDemos(t, func(t *testing.T, h *handedOver) {
		entries, err := os.ReadDir(h.dir)
		if err != nil {
			t.Fatal(err)
		}
		var names []string
		for _, e := range entries {
			names = append(names, e.Name())
		}
		want := []string{"packet.pdf", "plan.json", "profile.csv", "profile.svg", "quote.csv", "report.html", "route.dxf", "route.geojson", "route.gpkg", "route.gpx", "route.kml", "stakeout.csv", "takeoff.csv"}
		if !slices.Equal(names, want) {
			t.Errorf("%v, want %v", names, want)
		}
	})
}
