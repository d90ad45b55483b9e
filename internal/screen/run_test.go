package screen

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"route/internal/geodesy"
	"route/internal/plan"
)

func screened(t *testing.T, base *plan.Site, entries []Entry, o Options) *Summary {
	t.Helper()
	summary, err := Run(t.Context(), base, entries, o)
	if err != nil {
		t.Fatal(err)
	}
	return summary
}

func byID(s *Summary) map[string]*Result {
	m := map[string]*Result{}
	for _, r := range s.Results {
		m[r.ID] = r
	}
	return m
}

// Creeks that cannot be planned are lines of the result, and the others come
// out as they do without them.
func TestBadCreeksNeverStopTheRest(t *testing.T) {
	v := fernhollow(t)
	good := v.creeks(3, 7)
	at := func(i int) geodesy.LonLat { return v.thalweg[i] }
	beside := func(p geodesy.LonLat, metresEast float64) geodesy.LonLat {
		return geodesy.LonLat{Lon: p.Lon + metresEast/83900, Lat: p.Lat} // a degree of longitude at 41.2° north
	}
	house := good[0].Tank
	line := func(points ...geodesy.LonLat) [][]geodesy.LonLat { return [][]geodesy.LonLat{points} }
	bad := []struct {
		entry Entry
		code  string // "" where it may come out one way or the other
	}{
		{Entry{ID: "off the terrain", Legs: line(geodesy.LonLat{Lon: 10, Lat: 46}, geodesy.LonLat{Lon: 10.01, Lat: 46.01}), Tank: house}, "points_outside_raster"},
		{Entry{ID: "missing file", Creek: filepath.Join(t.TempDir(), "none.gpx"), Tank: house}, "creek_missing"},
		{Entry{ID: "a folder", Creek: v.dir, Tank: house}, "creek_unreadable"},
		{Entry{ID: "a raster", Creek: filepath.Join(v.dir, "ground.tif"), Tank: house}, "not_a_vector"},
		{Entry{ID: "one point twice", Legs: line(at(400), at(400)), Tank: house}, "creek_too_short"},
		{Entry{ID: "no tank", Legs: good[0].Legs}, "tank_missing"},
		{Entry{ID: "tank far away", Legs: good[0].Legs, Tank: "41.9,-148.5"}, "points_outside_raster"},
		{Entry{ID: "swapped tank", Legs: good[0].Legs, Tank: "-148.5,41.2"}, "list_value"},
		{Entry{ID: "no unit", Legs: good[0].Legs, Tank: house, Settings: []Setting{{"demand", "1500"}}}, "list_value"},
		{Entry{ID: "faulty line", Fault: (&Entry{}).fault("list_fields", "the line has 2 values, the header 4", "")}, "list_fields"},
		{Entry{ID: "up the hill", Legs: line(beside(at(600), -60), beside(at(600), -180)), Tank: house}, ""},
		{Entry{ID: "over the hill", Legs: line(beside(at(600), -250), beside(at(600), 250)), Tank: house}, ""},
	}
	entries := good[:1:1]
	for _, b := range bad {
		entries = append(entries, b.entry)
	}
	entries = append(entries, good[1:]...)
	with := byID(screened(t, v.base(t), entries, Options{Folder: t.TempDir(), Workers: 2}))
	without := byID(screened(t, v.base(t), good, Options{Folder: t.TempDir(), Workers: 2}))
	layouts := 0
	for _, e := range good {
		a, b := with[e.ID], without[e.ID]
		if a.Outcome != b.Outcome || a.Inputs != b.Inputs || a.Best.Cost != b.Best.Cost {
			t.Errorf("%s: %+v\nwithout the bad ones %+v", e.ID, a, b)
		}
		if a.Outcome == HasLayout {
			layouts++
		}
	}
	if layouts == 0 {
		t.Error("none of the good creeks has a layout")
	}
	for _, b := range bad {
		r := with[b.entry.ID]
		switch {
		case r.Outcome != HasLayout && r.Text == "":
			t.Errorf("%s: %s without a reason", b.entry.ID, r.Outcome)
		case b.code != "" && (r.Outcome != Failed || r.Code != b.code || r.Text == ""):
			t.Errorf("%s: %s, %s: %s", b.entry.ID, r.Outcome, r.Code, r.Text)
		}
		t.Logf("%s: %s: %s (%s)", b.entry.ID, r.Code, r.Text, r.Hint)
	}
}

// A run that was stopped, and whose files were then damaged, ends with the
// bytes of a run that was not; what was done is not done again.
func TestInterruptedRunResumes(t *testing.T) {
	v := fernhollow(t)
	entries := v.creeks(5, 11)
	entries[3].Legs = nil // one that fails is done, too
	whole, parts := t.TempDir(), t.TempDir()
	screened(t, v.base(t), entries, Options{Folder: whole, Workers: 2})

	ctx, cancel := context.WithCancel(t.Context())
	_, err := Run(ctx, v.base(t), entries, Options{Folder: parts, Workers: 1, Record: func(done, _ int) {
		if done == 3 {
			cancel()
		}
	}})
	var stopped *Interrupted
	if !errors.As(err, &stopped) || !errors.Is(err, context.Canceled) || stopped.Done != 3 || stopped.Total != 5 {
		t.Fatalf("have %v", err)
	}
	if _, err := os.Stat(filepath.Join(parts, RankingCSV)); !os.IsNotExist(err) {
		t.Error("an interrupted run wrote a ranking")
	}
	done, err := os.ReadDir(filepath.Join(parts, creeksFolder))
	if err != nil || len(done) != 3 {
		t.Fatalf("%d results, %v", len(done), err)
	}
	damaged := filepath.Join(parts, creeksFolder, done[0].Name())
	if err := os.WriteFile(damaged, []byte(`{"format":"route-sc`), 0o644); err != nil {
		t.Fatal(err)
	}
	summary := screened(t, v.base(t), entries, Options{Folder: parts, Workers: 3})
	if summary.Planned != 3 {
		t.Errorf("%d creeks were planned, want the 2 that were left and the damaged one", summary.Planned)
	}
	same(t, whole, parts)

	// One worker or many, from the start.
	single := t.TempDir()
	screened(t, v.base(t), entries, Options{Folder: single, Workers: 1})
	same(t, whole, single)
}

// What a result hangs on decides whether it is worked out again.
func TestChangedCreeksArePlannedAgain(t *testing.T) {
	v := fernhollow(t)
	entries := v.creeks(2, 5)
	o := Options{Folder: t.TempDir(), Workers: 2}
	planned := func(what string, want int, base *plan.Site) {
		t.Helper()
		if got := screened(t, base, entries, o).Planned; got != want {
			t.Errorf("%s: %d creeks were planned, want %d", what, got, want)
		}
	}
	planned("the first time", 2, v.base(t))
	planned("the second time", 0, v.base(t))
	entries[1].Settings = []Setting{{"demand", "900 L/day"}}
	planned("with another demand for one", 1, v.base(t))
	entries = append(entries, v.creeks(4, 6)[3])
	entries[2].ID = "another"
	planned("with one more", 1, v.base(t))
	other := v.base(t)
	if err := other.Set("limits.drive_head.min", "1.2 m"); err != nil {
		t.Fatal(err)
	}
	planned("with another limit for all", 3, other)
	o.Fresh = true
	planned("fresh", 3, other)
}

// A failure of the network is not for ever.
func TestNetworkFailuresAreTriedAgain(t *testing.T) {
	r := &runner{}
	path := filepath.Join(t.TempDir(), "x.json")
	for code, kept := range map[string]bool{"remote_failed": false, "remote_unreadable": false, "creek_missing": true} {
		if err := writeJSON(path, &Result{Format: resultFormat, Inputs: "same", Code: code, Best: unknownBest()}); err != nil {
			t.Fatal(err)
		}
		if got := r.earlier(path, "same") != nil; got != kept {
			t.Errorf("%s: taken up %v", code, got)
		}
		if r.earlier(path, "other") != nil {
			t.Errorf("%s: taken up for other inputs", code)
		}
	}
}

// A creek of a list comes out as it does alone.
func TestACreekIsPlannedAsAlone(t *testing.T) {
	v := fernhollow(t)
	entries, base := v.creeks(4, 3), v.base(t)
	if err := base.Set("replans", "10"); err != nil {
		t.Fatal(err)
	}
	summary := screened(t, base, entries, Options{Folder: t.TempDir(), Workers: 2})
	best := summary.Results[0]
	if best.Rank != 1 {
		t.Fatal("no creek has a layout")
	}
	for _, e := range entries {
		if e.ID != best.ID {
			continue
		}
		site, err := e.Site(base)
		if err != nil {
			t.Fatal(err)
		}
		p, err := plan.Run(t.Context(), site, nil)
		if err != nil {
			t.Fatal(err)
		}
		l := &p.Layouts[0]
		near := func(what string, a, b plan.Number) {
			if d := float64(a - b); !(d < 1e-3 && d > -1e-3) { // results are kept to a ten-thousandth
				t.Errorf("%s: %v in the list, %v alone", what, a, b)
			}
		}
		near("drive head", best.Best.DriveHeadM, l.DriveHeadM)
		near("water", best.Best.DeliveredLDay, l.DeliveredLDay)
		near("chance", best.Best.ChanceWorks, l.ChanceWorks)
		near("delivery pipe", best.pipe("delivery").LengthM, l.Delivery.LengthM)
		near("intake", best.place("intake").StationM, l.Intake.StationM)
		if best.Best.Cost.Total != l.Cost.Total {
			t.Errorf("cost %s in the list, %s alone", best.Best.Cost.Total, l.Cost.Total)
		}
	}
}

// ogrinfo finds every creek, pipe and place in the map, in degrees of WGS 84.
func TestMapIsReadByOGR(t *testing.T) {
	if _, err := exec.LookPath("ogrinfo"); err != nil {
		t.Skip("ogrinfo is not installed")
	}
	v := fernhollow(t)
	entries := append(v.creeks(3, 3), Entry{ID: "nowhere", Creek: "none.gpx", Tank: "41.2,-148.5"})
	folder := t.TempDir()
	summary := screened(t, v.base(t), entries, Options{Folder: folder, Workers: 2})
	pipes, places, ranks := 0, 0, 0
	for _, r := range summary.Results {
		pipes, places = pipes+len(r.Pipes), places+len(r.Places)
		if r.Rank > 0 {
			ranks++
		}
	}
	if ranks == 0 || pipes < 2*ranks || places < 3*ranks {
		t.Fatalf("%d layouts with %d pipes and %d places", ranks, pipes, places)
	}
	for layer, want := range map[string]int{"creeks": len(entries), "pipes": pipes, "places": places} {
		out, err := exec.Command("ogrinfo", "-so", filepath.Join(folder, MapGPKG), layer).CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		count := regexp.MustCompile(`Feature Count: (\d+)`).FindSubmatch(out)
		if count == nil || string(count[1]) != strconv.Itoa(want) {
			t.Errorf("%s: %s, want %d", layer, count, want)
		}
		if !strings.Contains(string(out), `ID["EPSG",4326]]`) || !strings.Contains(string(out), "GEOGCRS") {
			t.Errorf("%s is not in WGS 84:\n%s", layer, out)
		}
		extent := regexp.MustCompile(`Extent: \((-?[\d.]+), (-?[\d.]+)\)`).FindSubmatch(out)
		if extent == nil || !strings.HasPrefix(string(extent[1]), "-148.5") || !strings.HasPrefix(string(extent[2]), "41.2") {
			t.Errorf("%s: extent %s", layer, extent)
		}
	}
	// One attribute of the best creek, by another reader than ours.
	out, err := exec.Command("ogrinfo", "-q", "-geom=NO", "-where", "rank = 1", filepath.Join(folder, MapGPKG), "creeks").CombinedOutput()
	if err != nil || !strings.Contains(string(out), "id (String) = "+summary.Results[0].ID) {
		t.Errorf("%v: %s", err, out)
	}
}

// Nothing can be planned without terrain, and the folder must be one.
func TestWhatStopsARun(t *testing.T) {
	v := fernhollow(t)
	base := v.base(t)
	base.SetTerrain([]string{filepath.Join(t.TempDir(), "none.tif")})
	if _, err := Run(t.Context(), base, v.creeks(2, 1), Options{Folder: t.TempDir()}); err == nil {
		t.Error("terrain that is not there was taken")
	}
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Run(t.Context(), v.base(t), v.creeks(2, 1), Options{Folder: file}); err == nil {
		t.Error("a file was taken for the folder")
	}
}
