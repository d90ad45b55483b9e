package main

import (
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"route/internal/geodesy"
	"route/internal/plan"
	"route/internal/survey"
)

// hillside is terrain under a file of tracks: a slope that falls to the south
// east by up to 5 %, with cells of 3 to 30 m.
func hillside(t *testing.T, dir string, points []geodesy.LonLat) string {
	t.Helper()
	west, south, east, north := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, p := range points {
		west, east = math.Min(west, p.Lon), math.Max(east, p.Lon)
		south, north = math.Min(south, p.Lat), math.Max(north, p.Lat)
	}
	step := math.Min(3e-4, math.Max(3e-5, math.Hypot(east-west, north-south)/400))
	west, south, east, north = west-0.01, south-0.01, east+0.01, north+0.01
	cols, rows := int((east-west)/step), int((north-south)/step)
	grade := math.Min(0.05, 500/(110e3*(east-west+north-south)))
	raw := make([]byte, 0, 4*cols*rows)
	for j := range rows {
		for i := range cols {
			z := 700 - grade*step*110e3*(float64(j)+float64(i)*math.Cos(north*math.Pi/180))
			raw = binary.LittleEndian.AppendUint32(raw, math.Float32bits(float32(z)))
		}
	}
	save(t, filepath.Join(dir, "hill.raw"), string(raw))
	return save(t, filepath.Join(dir, "hill.vrt"), fmt.Sprintf(`<VRTDataset rasterXSize="%d" rasterYSize="%d"><SRS>EPSG:4326</SRS><GeoTransform>%.9f, %g, 0, %.9f, 0, -%g</GeoTransform>
<VRTRasterBand dataType="Float32" band="1" subClass="VRTRawRasterBand"><UnitType>m</UnitType><SourceFilename relativeToVRT="1">hill.raw</SourceFilename><ByteOrder>LSB</ByteOrder></VRTRasterBand></VRTDataset>`, cols, rows, west, step, north, step))
}

// deviceFiles are the files of the collection, with what its description says
// of each: what the program must say of the walk, or why it refuses it. like
// names a file with the same walk, with and without heights or times.
var deviceFiles = map[string]struct{ refusal, says, like string }{
	"mystic_basin_trail.gpx":                  {says: "track_chosen track_is_a_loop"},          // three tracks, two routes
	"fells_loop.gpx":                          {refusal: "creek_is_a_loop"},                    // a drawn loop
	"24173415.gpx":                            {says: "track_halts"},                           // standing still
	"datalog.gpx":                             {says: "track_halts track_gaps track_retraced"}, // a walk out and back in a valley
	"expertgps.gpx":                           {refusal: "creek_is_a_loop"},
	"garmin-oregon-700-output.gpx":            {says: "track_is_a_loop"},
	"garminconnect.gpx":                       {says: "fixes_jump"},
	"height.gpx":                              {says: "track_too_fast creek_gap"},
	"height_out.gpx":                          {says: "track_too_fast", like: "height.gpx"},
	"igc1_baro.gpx":                           {refusal: "no_position"},                     // all at 0, 0
	"kalman_in.gpx":                           {says: "fixes_jump creek_gap track_chosen"},  // a jump of 3.7 km
	"skytraq-realdata.gpx":                    {says: "fixes_astray points_outside_raster"}, // a jump of 8,727 km
	"vitovtt-sample.gpx":                      {says: "creek_much_shorter"},                 // round and round
	"Mojstrovka.gpx":                          {says: "track_retraced"},
	"around-visnjan-with-car.gpx":             {says: "track_too_fast creek_sparse"}, // by car
	"cerknicko-jezero.gpx":                    {says: "track_chosen track_is_a_loop"},
	"cerknicko-jezero-without-elevations.gpx": {says: "track_chosen"},
	"cerknicko-without-times.gpx":             {says: "track_chosen", like: "cerknicko-jezero.gpx"},
	"first_and_last_elevation.gpx":            {refusal: "track_too_wide"}, // 84 km
	"gpx1.0_with_all_fields.gpx":              {refusal: "track_too_wide"}, // invented places
	"gpx1.1_with_all_fields.gpx":              {refusal: "track_too_wide"},
	"gpx1.1_with_extensions.gpx":              {refusal: "no_track"}, // a waypoint alone
	"unicode_with_bom.gpx":                    {refusal: "no_track"},
	"korita-zbevnica.gpx":                     {says: "track_chosen track_retraced"}, // four tracks
	"route.gpx":                               {refusal: "creek_is_a_loop"},
	"track-with-empty-segment.gpx":            {says: ""},
	"track-with-extremes.gpx":                 {says: "fixes_spike"}, // outliers
	"track_with_speed.gpx":                    {says: ""},            // a broken header
}

// TestCreekFromDeviceFiles takes every file of the collection for a creek and
// says what each gives: the findings that its description in the collection
// asks for, or the refusal.
func TestCreekFromDeviceFiles(t *testing.T) {
	root := os.Getenv("ROUTE_TERRAIN")
	if root == "" {
		t.Skip("ROUTE_TERRAIN is not set: no files of real receivers here")
	}
	files, _ := filepath.Glob(filepath.Join(root, "gpx", "*", "*.gpx"))
	if len(files) != 28 {
		t.Fatalf("%d files, want 28", len(files))
	}
	falls := map[string]float64{}
	for _, path := range files {
		name := filepath.Base(path)
		t.Run(name, func(t *testing.T) {
			content, err := os.Open(path)
			if err != nil {
				t.Fatal(err)
			}
			defer content.Close()
			var points []geodesy.LonLat
			if field, err := survey.ReadGPX(name, content); err == nil {
				if track, _, err := field.Choose(""); err == nil {
					for _, leg := range track.Legs {
						for _, fix := range leg {
							points = append(points, fix.LonLat)
						}
					}
				}
			}
			if len(points) == 0 {
				points = []geodesy.LonLat{{Lon: 10, Lat: 47}}
			}
			// Where a receiver jumped across the world, the ground is where it
			// was most of the time.
			slices.SortFunc(points, func(a, b geodesy.LonLat) int { return int(math.Copysign(1, a.Lat-b.Lat)) })
			middle := points[len(points)/2]
			points = slices.DeleteFunc(points, func(p geodesy.LonLat) bool { d, _ := geodesy.Distance(middle, p); return d > 60e3 })
			r := read(t, command("profile", flags(hillside(t, t.TempDir(), points), path, "--z-unit", "m"))...)
			want, known := deviceFiles[name]
			if !known {
				t.Fatal("this file is not in the table")
			}
			if want.refusal != "" {
				refused(t, command("profile", flags(hillside(t, t.TempDir(), points), path, "--z-unit", "m")), want.refusal, name)
				return
			}
			if r.Error != nil || r.code != exitDone || len(r.Creek.Stations) < 3 || !(float64(r.Creek.LengthM) > 10) || !(r.fall() >= 0) {
				t.Fatalf("exit code %d, %+v, %d stations", r.code, r.Error, len(r.Creek.Stations))
			}
			for _, code := range strings.Fields(want.says) {
				if !slices.ContainsFunc(r.Messages, func(m plan.Message) bool { return m.Code == code }) {
					t.Errorf("nothing says %s: %+v", code, r.Messages)
				}
			}
			if twin, ok := falls[want.like]; want.like != "" && (!ok || twin != r.fall()) {
				t.Errorf("falls %v m, the same walk in %s %v m", r.fall(), want.like, twin)
			}
			falls[name] = r.fall()
		})
	}
}
