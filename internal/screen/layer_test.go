package screen

import (
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"testing"

	"route/internal/geodesy"
)

const creeksGeoJSON = `{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{"name":"Mill Creek","demand_l_day":1500,"Tank_Lat":44.2,"tank_lon":-121.6,"width":3},"geometry":{"type":"LineString","coordinates":[[-121.5,44.1],[-121.49,44.11]]}},
{"type":"Feature","properties":{"name":"Mill Creek"},"geometry":{"type":"LineString","coordinates":[[-121.4,44.1],[-121.39,44.11]]}},
{"type":"Feature","properties":{"name":"Gone"},"geometry":null},
{"type":"Feature","properties":{"name":"Two parts"},"geometry":{"type":"MultiLineString","coordinates":[[[-121.3,44.1],[-121.29,44.11]],[[-121.28,44.12],[-121.27,44.13]]]}},
{"type":"Feature","properties":{"name":"Far"},"geometry":{"type":"LineString","coordinates":[[-121.2,44.1],[-121.19,44.11]]}}
]}`

const tanksGeoJSON = `{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{},"geometry":{"type":"Point","coordinates":[-121.4,44.12]}},
{"type":"Feature","properties":{},"geometry":{"type":"Point","coordinates":[-121.28,44.11]}},
{"type":"Feature","properties":{"creek":"Far"},"geometry":{"type":"Point","coordinates":[-121.0,44.0]}}
]}`

func writeText(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// A layer is read alike in each format: every line feature is a creek, a bad
// one too, and each takes its own tank, the one that names it, or the nearest.
func TestReadLayer(t *testing.T) {
	tanks := writeText(t, "tanks.geojson", tanksGeoJSON)
	path := writeText(t, "creeks.geojson", creeksGeoJSON)
	paths := []string{path}
	if _, err := exec.LookPath("ogr2ogr"); err == nil {
		gpkg := filepath.Join(t.TempDir(), "creeks.gpkg")
		if out, err := exec.Command("ogr2ogr", "-f", "GPKG", "-t_srs", "EPSG:32610", "-nln", "creeks", gpkg, path).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		if out, err := exec.Command("ogr2ogr", "-update", "-nln", "tanks", gpkg, tanks).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		paths = append(paths, gpkg)
	}
	for _, path := range paths {
		given := tanks
		if filepath.Ext(path) == ".gpkg" {
			given = "" // they are in the same file
		}
		entries, _, err := ReadLayer(path, "", given)
		if err != nil {
			t.Fatal(err)
		}
		var ids []string
		for _, e := range entries {
			ids = append(ids, e.ID)
		}
		if !reflect.DeepEqual(ids, []string{"Mill Creek", "Mill Creek (2)", "Gone", "Two parts", "Far"}) {
			t.Fatalf("%s: %q", path, ids)
		}
		if e := entries[0]; e.Tank != "" || !reflect.DeepEqual(e.Settings, []Setting{{"tank.lat", "44.2"}, {"demand", "1500 L/day"}, {"tank.lon", "-121.6"}}) {
			t.Errorf("%+v", e)
		}
		for i, want := range map[int]string{1: "44.120000000,-121.400000000", 3: "44.110000000,-121.280000000", 4: "44.000000000,-121.000000000"} {
			if entries[i].Tank != want || entries[i].Fault != nil {
				t.Errorf("%s: tank %s, want %s; %v", entries[i].ID, entries[i].Tank, want, entries[i].Fault)
			}
		}
		if len(entries[3].Legs) != 2 || len(entries[0].Legs) != 1 {
			t.Errorf("%d and %d parts", len(entries[3].Legs), len(entries[0].Legs))
		}
		if entries[2].Fault == nil {
			t.Error("a creek without a line has no fault")
		}
	}
	if _, _, err := ReadLayer(path, "rivers", ""); err == nil {
		t.Error("a layer that is not there was read")
	}
	if _, _, err := ReadLayer(tanks, "", ""); err == nil {
		t.Error("points were taken for creeks")
	}
	if _, _, err := ReadLayer(path, "", path); err == nil {
		t.Error("lines were taken for tanks")
	}
}

// The nearest tank is the one with the least distance on the ellipsoid to any
// of a hundred points on each stretch of the creek.
func TestNearestTankAgainstBruteForce(t *testing.T) {
	seed := rand.Uint64()
	t.Log("seed", seed)
	r := rand.New(rand.NewPCG(seed, 2))
	for range 200 {
		origin := geodesy.LonLat{Lon: 360*r.Float64() - 180, Lat: 140*r.Float64() - 70}
		place := func() geodesy.LonLat {
			return geodesy.LonLat{Lon: origin.Lon + 0.02*r.Float64(), Lat: origin.Lat + 0.02*r.Float64()}
		}
		legs := [][]geodesy.LonLat{{place(), place(), place()}, {place(), place()}}
		tanks := []geodesy.LonLat{place(), place(), place(), place()}
		away := func(tank geodesy.LonLat) float64 {
			least := 1e12
			for _, leg := range legs {
				for i := 1; i < len(leg); i++ {
					for k := 0.0; k <= 100; k++ {
						p := geodesy.LonLat{Lon: leg[i-1].Lon + k/100*(leg[i].Lon-leg[i-1].Lon), Lat: leg[i-1].Lat + k/100*(leg[i].Lat-leg[i-1].Lat)}
						d, _ := geodesy.Distance(p, tank)
						least = min(least, d)
					}
				}
			}
			return least
		}
		best := 0
		for k := range tanks {
			if away(tanks[k]) < away(tanks[best]) {
				best = k
			}
		}
		// A hundred points are up to 15 m apart, which may decide a near tie.
		if got := nearestTank(legs, tanks); got != best && away(tanks[got]) > away(tanks[best])+15 {
			t.Errorf("legs %v: tank %v at %.1f m, but %v at %.1f m", legs, tanks[got], away(tanks[got]), tanks[best], away(tanks[best]))
		}
	}
	if nearestTank(nil, nil) != -1 {
		t.Error("a tank out of nothing")
	}
}
