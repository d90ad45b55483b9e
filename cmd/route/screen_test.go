package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"route/internal/screen"
)

// listOfCreeks writes a list of stretches of Fernhollow's creek with the house
// as the tank of all, and the settings that they share.
func listOfCreeks(t testing.TB, dir string, n, metres int, more string) (list, settings string) {
	t.Helper()
	known := readTruth(t, "fernhollow")
	var b strings.Builder
	b.WriteString("id,creek,wkt,tank\n")
	for i := range n {
		from := i * (len(known.Thalweg) - metres) / max(1, n-1)
		var line []string
		for k := from; k < from+metres; k += 10 {
			line = append(line, fmt.Sprintf("%.7f %.7f", known.Thalweg[k].Lon, known.Thalweg[k].Lat))
		}
		fmt.Fprintf(&b, "creek %d,,\"LINESTRING (%s)\",\n", i+1, strings.Join(line, ", "))
	}
	list = save(t, filepath.Join(dir, "creeks.csv"), b.String()+more)
	site, err := os.ReadFile(demo(t, "fernhollow"))
	if err != nil {
		t.Fatal(err)
	}
	text := strings.NewReplacer("creek: creek.gpx", "", "tank: {waypoint: tank, inlet_above_ground: \"6 ft\"}", "tank: {inlet_above_ground: \"6 ft\"}").Replace(string(site))
	for _, name := range []string{"ground.tif", "land.geojson", "prices.csv"} {
		text = strings.ReplaceAll(text, name, filepath.Join(filepath.Dir(demo(t, "fernhollow")), name))
	}
	return list, save(t, filepath.Join(dir, "settings.yaml"), text)
}

// The whole command: the table, the reasons, the files, and the second run
// that plans nothing.
func TestScreen(t *testing.T) {
	dir := t.TempDir()
	known := readTruth(t, "fernhollow")
	house := fmt.Sprintf("%.7f,%.7f", known.Tank.Lat, known.Tank.Lon)
	list, settings := listOfCreeks(t, dir, 4, 300, "lost,none.gpx,,\nwalked,"+filepath.Join(filepath.Dir(demo(t, "fernhollow")), "creek.gpx")+",,\nshort\n")
	args := []string{"screen", list, "--site", settings, "--tank", house, "--workers", "2"}
	code, out, errs := route(args...)
	if code != exitDone || errs != "" {
		t.Fatalf("exit code %d: %s", code, errs)
	}
	for _, says := range []string{"7 creeks:", "rank", "walked", "gal/day", "2 that could not be planned", "none.gpx: there is no such file", "1 values, the header 4", screen.RankingCSV, screen.MapGPKG} {
		if !strings.Contains(out, says) {
			t.Errorf("does not say %q:\n%s", says, out)
		}
	}
	file, err := os.Open(filepath.Join(dir, "screen", screen.RankingCSV))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil || len(rows) != 1+7 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}

	code, out, errs = route(append(args, "--json")...)
	var doc struct {
		Format  string
		Planned int `json:"planned_now"`
		Creeks  []struct {
			ID, Outcome, Code string
			Rank              int
		}
	}
	if err := json.Unmarshal([]byte(out), &doc); err != nil || code != exitDone || errs != "" {
		t.Fatalf("exit code %d, %v: %s%s", code, err, out, errs)
	}
	if doc.Format != "route-screen/1" || doc.Planned != 0 || len(doc.Creeks) != 7 || doc.Creeks[0].Rank != 1 {
		t.Errorf("%+v", doc)
	}
	if doc.Creeks[0].Outcome != "layout" || doc.Creeks[6].Outcome != "failed" {
		t.Errorf("%+v", doc.Creeks)
	}
	if code, _, _ := route(append(args, "--strict")...); code != exitWarnings {
		t.Errorf("with creeks that could not be planned, --strict gives %d", code)
	}
	if code, _, _ := route(append(args, "--out", t.TempDir(), "--set", "limits.drive_head.min=14 m")...); code != exitInfeasible {
		t.Errorf("without any layout the exit code is %d", code)
	}
}

func TestScreenRefusals(t *testing.T) {
	dir := t.TempDir()
	list := save(t, filepath.Join(dir, "creeks.csv"), "id,creek\nA,a.gpx\n")
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"screen"}, exitUsage, "list"},
		{[]string{"screen", list}, exitUsage, "--terrain"},
		{[]string{"screen", list, "--terrain", filepath.Join(dir, "none.tif")}, exitFailed, "none.tif"},
		{[]string{"screen", filepath.Join(dir, "none.csv"), "--terrain", "x.tif"}, exitFailed, "no such file"},
		{[]string{"screen", filepath.Join(dir, "none.gpkg"), "--terrain", "x.tif"}, exitFailed, "no such file"},
		{[]string{"screen", dir, "--terrain", "x.tif"}, exitFailed, "folder"},
		{[]string{"screen", list, "--terrain", "x.tif", "--tanks", "t.gpkg"}, exitUsage, "--tanks"},
		{[]string{"screen", list, "--terrain", "x.tif", "--workers", "-1"}, exitUsage, "--workers"},
		{[]string{"screen", list, "--terrain", "x.tif", "--out", list}, exitFailed, "is a file"},
	} {
		code, _, errs := route(c.args...)
		if code != c.code || !strings.Contains(errs, c.says) {
			t.Errorf("%q: exit code %d, %q", c.args, code, errs)
		}
	}
}

// Memory does not grow with the number of creeks, but for their lines in the
// table and on the map: the results lie in their files.
func TestScreenTakesBoundedMemory(t *testing.T) {
	if testing.Short() {
		t.Skip("left out by -short: plans two dozen creeks")
	}
	binary, known := buildBinary(t), readTruth(t, "fernhollow")
	house := fmt.Sprintf("%.7f,%.7f", known.Tank.Lat, known.Tank.Lon)
	peak := func(n int) float64 {
		list, settings := listOfCreeks(t, t.TempDir(), n, 150, "")
		m := runBinary(t, binary, "screen", list, "--site", settings, "--tank", house, "--workers", "2", "--json")
		if m.code != exitDone && m.code != exitInfeasible {
			t.Fatalf("exit code %d: %s%s", m.code, m.stdout, m.stderr)
		}
		return m.peakMB
	}
	few, many := peak(4), peak(24)
	t.Logf("%.0f MB for 4 creeks, %.0f MB for 24", few, many)
	if many > 250 || many > 1.5*few {
		t.Errorf("%.0f MB for 4 creeks, %.0f MB for 24", few, many)
	}
}
