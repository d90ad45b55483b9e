package main

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"route/internal/geodesy"
	"route/internal/plan"
	"route/sample-data/valley"
)

// levelledDemo writes the site file of Fernhollow with a table of levels as
// its creek, and more lines.
func levelledDemo(t testing.TB, table string, more ...string) string {
	t.Helper()
	original := demo(t, "fernhollow")
	content, err := os.ReadFile(original)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	text := string(content)
	for _, name := range []string{"ground.tif", "land.geojson", "prices.csv"} {
		text = strings.Replace(text, name, filepath.Join(filepath.Dir(original), name), 1)
	}
	text = strings.Replace(text, "creek.gpx", "levels.csv", 1)
	// The demo's tank is a waypoint of its track, which is not the creek here.
	tank := readTruth(t, "fernhollow").Tank
	text = strings.Replace(text, "waypoint: tank", fmt.Sprintf("lat: %.7f, lon: %.7f", tank.Lat, tank.Lon), 1)
	save(t, filepath.Join(dir, "levels.csv"), table)
	site := filepath.Join(dir, "site.yaml")
	save(t, site, text+strings.Join(more, "\n")+"\n")
	return site
}

// surveyed are levels of the true water of Fernhollow every so far along the
// creek, each drop read with the precision of a set-up of a level.
func surveyed(place *valley.Place, random *rand.Rand, stepM float64, coordinates bool) (table string, at []geodesy.LonLat, levelM []float64) {
	const sigma = 0.005
	var b strings.Builder
	b.WriteString("point,height (m),distance (m),lat,lon\n")
	level := 100.0
	for s, k := 100.0, 0; s <= 700; s, k = s+stepM, k+1 {
		if k > 0 {
			level -= place.Water(s-stepM) - place.Water(s) + sigma*random.NormFloat64()
		}
		q := place.LonLat(place.CreekPoint(s))
		at, levelM = append(at, q), append(levelM, level)
		if coordinates {
			fmt.Fprintf(&b, "P%d,%.4f,,%.7f,%.7f\n", k, level, q.Lat, q.Lon)
		} else {
			fmt.Fprintf(&b, "P%d,%.4f,%.2f,,\n", k, level, s)
		}
	}
	return b.String(), at, levelM
}

// A levelled creek rules its profile: between levelled points the fall is the
// levels', within their own standard deviation, on terrain that knows it to
// centimetres as on terrain that errs by metres; and a plan comes of it.
func TestLevelsRuleTheCreek(t *testing.T) {
	const seed = 71
	place := valley.Fernhollow()
	table, at, level := surveyed(place, rand.New(rand.NewPCG(seed, 1)), 20, true)
	for _, class := range []string{"lidar_forest", "mixed_10m"} {
		site := levelledDemo(t, table, "accuracy: "+class)
		p := profileOf(t, site)
		used := coded(p.Messages, "field_reading")
		if len(used) != 1 || !strings.Contains(used[0].Text, "was levelled in 30 steps") {
			t.Fatalf("seed %d, %s: %+v", seed, class, p.Messages)
		}
		for i := 1; i < len(at); i++ {
			got, want := waterAt(p, at[i-1])-waterAt(p, at[i]), level[i-1]-level[i]
			// The nearest stations are up to 0.25 m off at each end: at 5 % that
			// is 2.5 cm for the two; the level itself adds 5 mm.
			if math.Abs(got-want) > 0.03 {
				t.Errorf("seed %d, %s: step %d of the profile falls %.3f m, levelled %.3f m", seed, class, i, got, want)
			}
		}
		whole := waterAt(p, at[0]) - waterAt(p, at[len(at)-1])
		if math.Abs(whole-(level[0]-level[len(level)-1])) > 0.03 {
			t.Errorf("seed %d, %s: in all %.3f m, levelled %.3f m", seed, class, whole, level[0]-level[len(level)-1])
		}
	}
	code, stdout, stderr := route("plan", levelledDemo(t, table), "--json", "--out", t.TempDir())
	var p plan.Plan
	if err := json.Unmarshal([]byte(stdout), &p); err != nil || code != exitDone || len(p.Layouts) == 0 {
		t.Fatalf("exit code %d, %v: %s%.300s", code, err, stderr, stdout)
	}
	if p.Inputs[0].Role != "creek" || *p.Inputs[0].Points != len(at) {
		t.Errorf("inputs %+v", p.Inputs)
	}
}

// The same levels with taped distances and the walked track beside them.
func TestLevelsAlongATrack(t *testing.T) {
	const seed = 72
	place := valley.Fernhollow()
	table, _, level := surveyed(place, rand.New(rand.NewPCG(seed, 1)), 20, false)
	track := filepath.Join(filepath.Dir(demo(t, "fernhollow")), "creek.gpx")
	site := levelledDemo(t, table, "creek_line: "+track)
	p := profileOf(t, site)
	if len(p.Inputs) < 2 || p.Inputs[0].Role != "creek" || p.Inputs[1].Role != "creek_line" {
		t.Errorf("inputs %+v", p.Inputs)
	}
	stations := p.Creek.Stations
	if fall := level[0] - level[len(level)-1]; math.Abs(float64(p.Creek.FallM)-fall) > 0.5 && len(coded(p.Messages, "levels_from_upper_end")) == 0 {
		t.Errorf("the creek falls %.2f m over %.0f m, levelled %.2f m, and nothing is said: %+v", float64(p.Creek.FallM), float64(stations[len(stations)-1].StationM), fall, p.Messages)
	}
	// A short line cannot carry them.
	short := save(t, filepath.Join(t.TempDir(), "short.geojson"), fmt.Sprintf(`{"type":"LineString","coordinates":%s}`, coordinates(place, 100, 300, 20)))
	refused(t, []string{"profile", levelledDemo(t, table, "creek_line: "+short)}, "levels_longer_than_line", "levels.csv", "1969 ft", "goes along all of")
}

// Levels with the places of their points exchanged fall where the terrain
// rises; places far from any creek are refused with their line.
func TestLevelsInTheWrongPlace(t *testing.T) {
	place := valley.Fernhollow()
	at := func(s float64) string {
		q := place.LonLat(place.CreekPoint(s))
		return fmt.Sprintf("%.7f,%.7f", q.Lat, q.Lon)
	}
	fall := place.Water(200) - place.Water(500)
	turned := fmt.Sprintf("point,height (m),lat,lon\nA,%.3f,%s\nB,0,%s\n", fall, at(500), at(200))
	refused(t, []string{"profile", levelledDemo(t, turned)}, "levels_against_flow", "levels.csv", "the other way", "which coordinates")
}

// coordinates are places of Fernhollow's creek as GeoJSON has them.
func coordinates(place *valley.Place, from, to, step float64) string {
	var out []string
	for s := from; s <= to; s += step {
		q := place.LonLat(place.CreekPoint(s))
		out = append(out, fmt.Sprintf("[%.7f,%.7f]", q.Lon, q.Lat))
	}
	return "[" + strings.Join(out, ",") + "]"
}

// Levels without coordinates, or without terrain, give their profile, and
// the program says what cannot be had; by hand: 60 + 50 + 70 + 45 ft, and
// 14 + 11 + 4 + 22 inches.
func TestLevelsAlone(t *testing.T) {
	dir := t.TempDir()
	drops := save(t, filepath.Join(dir, "drops.csv"), "from,to,distance (ft),drop (in),by\nspring,A,60,14,hose\nA,B,50,11,\nB,C,70,4,\nC,D,45,22,\n")
	r := profiled(t, "--creek", drops)
	wantFall(t, "drops", r, 51*0.0254, 1e-9)
	if n := len(r.Creek.Stations); n != 5 || math.Abs(float64(r.Creek.LengthM)-225*0.3048) > 1e-9 {
		t.Errorf("%d stations, %v m", n, r.Creek.LengthM)
	}
	// A hose 15 mm, a hand level 40 mm a sight of up to 30 m: as squares.
	if got, want := float64(r.Creek.Stations[4].ZSigmaM), math.Sqrt(0.015*0.015+3*0.04*0.04); math.Abs(got-want) > 1e-4 {
		t.Errorf("the whole fall is known to %.4f m, want %.4f", got, want)
	}
	r.message(t, "note", "levels_alone", "no place on the map", "list of drops", "route ram --drive-head", "creek_line")
	refused(t, []string{"plan", "--creek", drops, "--tank", "1,1"}, "creek_without_place", "drops.csv", "lat and lon", "route profile")
	code, _, stderr := route("profile", "--creek", drops, "--creek-line", filepath.Join(dir, "none.gpx"))
	if code != exitFailed || !strings.Contains(stderr, "none.gpx") || !strings.Contains(stderr, "creek_line") {
		t.Errorf("exit code %d: %s", code, stderr)
	}
	book := save(t, filepath.Join(dir, "book.csv"), "point,bs_m,is_m,fs_m,distance_m,lat,lon\nA,1.5,,,0,45.0001,7\nB,,2.5,,12,45,7\nC,,2.4,,20,44.9999,7\nA,,,1.5,,,\n")
	r = profiled(t, "--creek", book)
	wantFall(t, "book", r, 0.95, 1e-9) // B and C are taken level: 1.0 and 0.9 m
	r.message(t, "warning", "levels_rise", "bed")
	r.message(t, "note", "levels_alone", "no terrain")
	if s := r.Creek.Stations[0]; s.Lat != 45.0001 || s.Lon != 7 {
		t.Errorf("%+v", s)
	}
	site := save(t, filepath.Join(dir, "site.yaml"), "creek: book.csv\ntank: {lat: 45, lon: 7}\n")
	refused(t, []string{"plan", site}, "terrain_missing", "site.yaml", "ground up to the tank", "terrain:")
	refused(t, []string{"profile", "--terrain", "x.tif", "--creek", "walk.gpx", "--creek-line", "line.gpx"}, "creek_line_alone", "walk.gpx", "table of levels")
	_, out, _ := route("inspect", "--creek", drops)
	if !strings.Contains(out, "creek_line") || !strings.Contains(out, "68.6 m") {
		t.Errorf("inspect: %s", out)
	}
}
