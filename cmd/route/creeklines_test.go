package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"route/internal/geodesy"
	"route/sample-data/valley"
)

// The same line of the same creek in each format: one fall, to the rounding of
// the format's coordinates. ogr2ogr writes them.
func TestCreekInEveryFormat(t *testing.T) {
	v := newRavine()
	dir := t.TempDir()
	ground, track := v.write(t, dir), v.track(t, dir)
	drawn := filepath.Join(dir, "creek.geojson")
	gdal(t, "ogr2ogr", "-lco", "COORDINATE_PRECISION=9", drawn, track, "tracks")
	want := profiled(t, flags(ground, drawn)...)
	wantFall(t, "GeoJSON", want, v.fallM(), 0.35)
	for _, name := range []string{"creek.gpkg", "creek.shp", "creek.kml", "creek.fgb", "creek.sqlite"} {
		path := filepath.Join(dir, name)
		gdal(t, "ogr2ogr", path, drawn)
		r := profiled(t, flags(ground, path)...)
		wantFall(t, name, r, want.fall(), 0.01)
		if in := r.Inputs[0]; in.Role != "creek" || *in.Points != *want.Inputs[0].Points {
			t.Errorf("%s: %+v", name, in)
		}
	}
	// As a route, and as a shapefile that lost its .prj.
	var body strings.Builder
	for _, f := range v.walk() {
		body.WriteString(withoutEle("rtept", f))
	}
	wantFall(t, "route", profiled(t, flags(ground, save(t, filepath.Join(dir, "route.gpx"), gpx("<rte>"+body.String()+"</rte>")))...), want.fall(), 0.01)
	if err := os.Remove(filepath.Join(dir, "creek.prj")); err != nil {
		t.Fatal(err)
	}
	bare := profiled(t, flags(ground, filepath.Join(dir, "creek.shp"))...)
	wantFall(t, "no .prj", bare, want.fall(), 0.01)
	bare.message(t, "warning", "crs_assumed", "WGS 84")
	// What holds no line, and what is no such file at all.
	refused(t, command("profile", flags(ground, save(t, filepath.Join(dir, "points.geojson"), `{"type":"Point","coordinates":[-39.999,0.0002]}`))), "creek_no_line", "points.geojson", "no line", "GPX")
	refused(t, command("profile", flags(ground, save(t, filepath.Join(dir, "notes.txt"), "the creek is behind the house\n"))), "not_a_vector", "notes.txt", "GeoJSON")
	refused(t, command("profile", flags(ground, save(t, filepath.Join(dir, "rain.csv"), "date,rain\nMay,3\n"))), "levels_column", "rain.csv", "three tables")
}

// A dozen clicks, tens of metres apart and a few metres off, find the creek of
// the demo: the fall between two of its places is as true as with the track.
// The model of Fernhollow knows it without error.
func TestADozenClicks(t *testing.T) {
	const seed = 81
	random := rand.New(rand.NewPCG(seed, 1))
	place := valley.Fernhollow()
	dir := filepath.Dir(demo(t, "fernhollow"))
	var points []string
	for k := range 12 {
		s := 100 + 600*float64(k)/11
		at := place.CreekPoint(s)
		at[0] += 3 * random.NormFloat64()
		at[1] += 3 * random.NormFloat64()
		q := place.LonLat(at)
		points = append(points, fmt.Sprintf("[%.7f,%.7f]", q.Lon, q.Lat))
	}
	clicks := save(t, filepath.Join(t.TempDir(), "clicks.geojson"), `{"type":"LineString","coordinates":[`+strings.Join(points, ",")+`]}`)
	r := profiled(t, "--terrain", filepath.Join(dir, "ground.tif"), "--creek", clicks)
	r.message(t, "note", "creek_sparse", "12 points", "about", "lowest ground")
	sum, n, stations := 0.0, 0.0, r.Creek.Stations
	for s := 130.0; s <= 670; s += 10 {
		at, off := place.LonLat(place.CreekPoint(s)), math.Inf(1)
		for _, q := range stations {
			d, _ := geodesy.Distance(at, geodesy.LonLat{Lon: float64(q.Lon), Lat: float64(q.Lat)})
			off = math.Min(off, d)
		}
		sum, n = sum+off, n+1
	}
	fall := place.Water(100) - place.Water(700)
	t.Logf("seed %d: the line lies %.1f m (mean) off the creek; fall %.2f m, true %.2f m", seed, sum/n, r.fall(), fall)
	// The line found is nearer to the creek than the clicks are. 3 m of click
	// along a creek of this grade, at both ends, and the scan.
	if math.Abs(r.fall()-fall) > 0.6 || sum/n > 3 {
		t.Errorf("seed %d: %.1f m off, fall %.2f m, true %.2f m", seed, sum/n, r.fall(), fall)
	}
}

// The same on real ground of 1 m cells: clicks every 60 m, 3 m off, against
// the creek line that GRASS r.watershed found.
func TestClicksOnRealCreeks(t *testing.T) {
	root := os.Getenv("ROUTE_TERRAIN")
	if root == "" {
		t.Skip("ROUTE_TERRAIN is not set: no terrain of real places here")
	}
	const seed = 82
	for _, site := range []string{"gabilan_mesa_ca", "ptuj_slovenia"} {
		t.Run(site, func(t *testing.T) {
			args := []string{"--terrain", filepath.Join(root, site, "dem_1m.tif"), "--z-unit", "m", "--creek"}
			whole := profiled(t, append(args, filepath.Join(root, site, "derived_thalweg.geojson"))...)
			stations := whole.Creek.Stations
			frame, err := geodesy.NewFrame(geodesy.LonLat{Lon: float64(stations[0].Lon), Lat: float64(stations[0].Lat)}, 200)
			if err != nil {
				t.Fatal(err)
			}
			random := rand.New(rand.NewPCG(seed, 1))
			var points []string
			next := 0.0
			for i, s := range stations {
				if float64(s.StationM) < next && i < len(stations)-1 {
					continue
				}
				next += 60
				p := frame.ToFrame(geodesy.LonLat{Lon: float64(s.Lon), Lat: float64(s.Lat)})
				p[0], p[1] = p[0]+3*random.NormFloat64(), p[1]+3*random.NormFloat64()
				q := frame.ToLonLat(p)
				points = append(points, fmt.Sprintf("[%.7f,%.7f]", q.Lon, q.Lat))
			}
			clicks := save(t, filepath.Join(t.TempDir(), "clicks.geojson"), `{"type":"LineString","coordinates":[`+strings.Join(points, ",")+`]}`)
			got := profiled(t, append(args, clicks)...)
			got.message(t, "note", "creek_sparse", "points")
			sum, n := 0.0, 0
			for i := 0; i < len(got.Creek.Stations); i += 20 {
				a, off := got.Creek.Stations[i], math.Inf(1)
				for _, b := range stations {
					off = math.Min(off, math.Hypot(float64(a.Lat-b.Lat)*111e3, float64(a.Lon-b.Lon)*111e3*math.Cos(float64(a.Lat)*math.Pi/180)))
				}
				sum, n = sum+off, n+1
			}
			t.Logf("seed %d: %d clicks; the line lies %.2f m (mean) off the creek; fall %.2f m, with the whole line %.2f m", seed, len(points), sum/float64(n), got.fall(), whole.fall())
			// The line found is nearer to the creek than the clicks are; its ends
			// lie where the last clicks are.
			if sum/float64(n) > 3 || math.Abs(got.fall()-whole.fall()) > 1 {
				t.Errorf("seed %d: %.2f m off, fall %.2f m against %.2f m", seed, sum/float64(n), got.fall(), whole.fall())
			}
		})
	}
}
