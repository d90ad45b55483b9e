package main

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"route/internal/plan"
)

// reading is what `route profile --json` or `route inspect --json` answers.
type reading struct {
	code     int
	Inputs   []plan.Input   `json:"inputs"`
	Creek    plan.Creek     `json:"creek"`
	Messages []plan.Message `json:"messages"`
	Error    *failure       `json:"error"`
}

// read runs the program with --json.
func read(t *testing.T, args ...string) reading {
	t.Helper()
	code, stdout, stderr := route(append(args, "--json")...)
	if stderr != "" {
		t.Errorf("with --json something is said on standard error: %s", stderr)
	}
	r := reading{code: code}
	if err := json.Unmarshal([]byte(stdout), &r); err != nil {
		t.Fatalf("%v: %v\n%s", args, err, stdout)
	}
	return r
}

// profiled runs `route profile` and expects an answer.
func profiled(t *testing.T, args ...string) reading {
	t.Helper()
	r := read(t, append([]string{"profile"}, args...)...)
	if r.code != exitDone || r.Error != nil {
		t.Fatalf("%v: exit code %d, %+v", args, r.code, r.Error)
	}
	return r
}

func (r reading) fall() float64 { return float64(r.Creek.FallM) }

// wantFall compares falls.
func wantFall(t *testing.T, what string, r reading, fallM, within float64) {
	t.Helper()
	if d := math.Abs(r.fall() - fallM); !(d <= within) {
		t.Errorf("%s: fall %.4f m, want %.4f within %g", what, r.fall(), fallM, within)
	}
}

// message finds a message by its code and asks that it says something.
func (r reading) message(t *testing.T, level, code string, says ...string) {
	t.Helper()
	for _, m := range r.Messages {
		if m.Code != code {
			continue
		}
		if m.Level != level {
			t.Errorf("%s is a %s, want a %s", code, m.Level, level)
		}
		for _, word := range says {
			if !strings.Contains(m.Text+" "+m.Hint, word) {
				t.Errorf("%s: %q, %q does not say %q", code, m.Text, m.Hint, word)
			}
		}
		return
	}
	t.Errorf("no message %s among %+v", code, r.Messages)
}

func (r reading) silent(t *testing.T, codes ...string) {
	t.Helper()
	for _, m := range r.Messages {
		if slices.Contains(codes, m.Code) {
			t.Errorf("unexpected %s: %s", m.Code, m.Text)
		}
	}
}

// refused asks that a command fails with a code, and that its message, in both
// forms, names the file, says what is wrong, and what to do.
func refused(t *testing.T, args []string, code, file string, says ...string) {
	t.Helper()
	exit, _, stderr := route(args...)
	if exit != exitFailed {
		t.Errorf("exit code %d, want %d: %s", exit, exitFailed, stderr)
	}
	r := read(t, args...)
	if r.code != exitFailed || r.Error == nil {
		t.Fatalf("with --json: exit code %d, %+v", r.code, r.Error)
	}
	if r.Error.Code != code {
		t.Errorf("code %q, want %q: %s", r.Error.Code, code, r.Error.Text)
	}
	if filepath.Base(r.Error.File) != file || !strings.Contains(r.Error.Text, file) || !strings.Contains(stderr, file) {
		t.Errorf("%q, file %q: want %q named", r.Error.Text, r.Error.File, file)
	}
	if r.Error.Hint == "" || !strings.Contains(stderr, "what to do") {
		t.Errorf("%q does not say what to do", stderr)
	}
	for _, word := range says {
		if !strings.Contains(stderr, word) || !strings.Contains(r.Error.Text+" "+r.Error.Hint, word) {
			t.Errorf("%q does not say %q", stderr, word)
		}
	}
}

// gdal runs one of GDAL's programs.
func gdal(t *testing.T, program string, args ...string) {
	t.Helper()
	if _, err := exec.LookPath(program); err != nil {
		t.Skipf("%s is not installed: this needs Debian's gdal-bin", program)
	}
	if out, err := exec.Command(program, append([]string{"-q"}, args...)...).CombinedOutput(); err != nil {
		t.Fatalf("%s %v: %v\n%s", program, args, err, out)
	}
}

// dressed gives the rewritten windows of one real stretch of ground, and a
// track along its valley that keeps inside them.
func dressed(t *testing.T) (raster func(string) string, creek string) {
	t.Helper()
	root := os.Getenv("ROUTE_TERRAIN")
	if root == "" {
		t.Skip("ROUTE_TERRAIN is not set: the rewritten windows of real ground are not here")
	}
	content, err := os.ReadFile(filepath.Join(root, "gabilan_mesa_ca", "derived_thalweg.geojson"))
	if err != nil {
		t.Fatal(err)
	}
	var collection struct {
		Features []struct {
			Geometry struct{ Coordinates [][2]float64 }
		}
	}
	if err := json.Unmarshal(content, &collection); err != nil {
		t.Fatal(err)
	}
	// The window of the rasters, 10 m narrower on each side.
	var inside []fix
	for i, p := range collection.Features[0].Geometry.Coordinates {
		if i%4 == 0 && p[0] > -120.82083 && p[0] < -120.81890 && p[1] > 35.92195 && p[1] < 35.92345 {
			inside = append(inside, fix{lon: p[0], lat: p[1]})
		}
	}
	creek = save(t, filepath.Join(t.TempDir(), "creek.gpx"), gpx("<trk>"+segment(inside)+"</trk>"))
	return func(name string) string {
		return filepath.Join(root, "pathologies", "synth_from_gabilan", name)
	}, creek
}

// flags names a terrain and a creek.
func flags(terrain, creek string, more ...string) []string {
	return append([]string{"--terrain", terrain, "--creek", creek}, more...)
}

func command(name string, args []string) []string { return append([]string{name}, args...) }

// TestBadInput is the list of bad inputs that trackers of general terrain
// libraries tell of, one subtest each: the program works, or refuses with a
// message that names the file, the mistake and the remedy.
func TestBadInput(t *testing.T) {
	v := newRavine()
	dir := t.TempDir()
	ground, creek := v.write(t, dir), v.track(t, dir)
	clean := profiled(t, flags(ground, creek)...)
	// Cells of 1.1 m across a channel 2 m wide see the water line within a
	// cell's share of the banks; the ends are settled within half a sigma of
	// the track along the creek.
	wantFall(t, "the clean place", clean, v.fallM(), 0.35)

	t.Run("row 01 degrees are not metres", func(t *testing.T) {
		// The creek's length on the ground, by summing the analytic line.
		length := 0.0
		for x := v.trackFromM; x < v.trackToM; x += 0.1 {
			length += math.Hypot(0.1, v.creekY(x+0.1)-v.creekY(x))
		}
		if got := float64(clean.Creek.LengthM); math.Abs(got-length) > 0.05*length {
			t.Errorf("length %.1f m, want %.1f", got, length)
		}
		code, out, _ := route(append([]string{"inspect", "--tank", "0,-39.998"}, flags(ground, creek)...)...)
		if code != exitDone || !strings.Contains(out, "0.036 arc-seconds = 1.11 x 1.11 m here") {
			t.Errorf("exit code %d: the cell is not told in metres:\n%s", code, out)
		}
	})

	t.Run("row 02 feet in a product of metres", func(t *testing.T) {
		feet := v
		feet.name, feet.unit = "feet", ""
		feet.z = func(_, _, _, z float64) float64 { return z / 0.3048 }
		dir := t.TempDir()
		refused(t, command("profile", flags(feet.write(t, dir), creek)), "vertical_unit_unknown", "feet.vrt", "metres or feet", "--z-unit")
		wantFall(t, "feet, said so", profiled(t, flags(filepath.Join(dir, "feet.vrt"), creek, "--z-unit", "ft")...), clean.fall(), 0.01)
		// A wrong label is given away by the receiver's heights.
		feet.unit, feet.name = "m", "label"
		label := feet.write(t, dir)
		var body strings.Builder
		for _, f := range v.walk() {
			body.WriteString(withEle("trkpt", f, fmt.Sprintf("%.1f", f.ele+4*math.Sin(f.x))))
		}
		withHeights := save(t, filepath.Join(dir, "heights.gpx"), gpx("<trk><trkseg>"+body.String()+"</trkseg></trk>"))
		refused(t, command("profile", flags(label, withHeights)), "terrain_in_feet", "label.vrt", "look like feet", "--z-unit")
		refused(t, command("plan", flags(label, withHeights, "--tank", "0,-39.998", "--out", dir)), "terrain_in_feet", "label.vrt", "look like feet")
		wantFall(t, "a wrong label, corrected", profiled(t, flags(label, withHeights, "--z-unit", "ft")...), clean.fall(), 0.01)
		insisted := profiled(t, flags(label, withHeights, "--z-unit", "m")...)
		insisted.message(t, "warning", "terrain_in_feet", "3.28", "z_unit says m")
	})

	t.Run("row 03 plan and height in different feet", func(t *testing.T) {
		raster, creek := dressed(t)
		base := profiled(t, flags(raster("base_gab.tif"), creek, "--z-unit", "m")...)
		r := profiled(t, flags(raster("stateplane_ftUS_z_ftUS_compound_gab.tif"), creek)...)
		wantFall(t, "state plane", r, base.fall(), 0.15) // cells were resampled by the maker
		for _, in := range r.Inputs {
			if in.Role == "terrain" && (in.VerticalUnit != "US survey foot" || !strings.Contains(in.CellText, "US survey feet of the map")) {
				t.Errorf("height in %q, plan in %q: both units must be named", in.VerticalUnit, in.CellText)
			}
		}
		refused(t, command("profile", flags(raster("stateplane_ftUS_z_ftUS_unlabelled_gab.tif"), creek)), "vertical_unit_unknown", "stateplane_ftUS_z_ftUS_unlabelled_gab.tif", "--z-unit")
	})

	t.Run("row 04 latitude and longitude swapped", func(t *testing.T) {
		var swapped []fix
		for _, f := range v.walk() {
			swapped = append(swapped, fix{lon: f.lat, lat: f.lon})
		}
		path := save(t, filepath.Join(t.TempDir(), "swapped.gpx"), gpx("<trk>"+segment(swapped)+"</trk>"))
		refused(t, command("profile", flags(ground, path)), "points_outside_raster", "ground.vrt", "swapped.gpx look swapped", "latitude")
		refused(t, command("plan", flags(ground, creek, "--tank", "-39.998,0.0", "--creek-flow", "5 L/s", "--out", dir)), "points_outside_raster", "ground.vrt", "the tank look swapped", "latitude first")
	})

	t.Run("row 05 track and raster in different systems", func(t *testing.T) {
		dir := t.TempDir()
		utm, line := filepath.Join(dir, "utm.tif"), filepath.Join(dir, "creek.gpkg")
		gdal(t, "gdalwarp", "-t_srs", "EPSG:32724", "-tr", "1", "1", "-r", "cubic", "-dstnodata", "-9999", ground, utm)
		wantFall(t, "UTM raster", profiled(t, flags(utm, creek, "--z-unit", "m")...), clean.fall(), 0.05)
		drawn := filepath.Join(dir, "drawn.geojson")
		gdal(t, "ogr2ogr", "-lco", "COORDINATE_PRECISION=9", drawn, creek, "tracks")
		gdal(t, "ogr2ogr", "-t_srs", "EPSG:32724", line, creek, "tracks")
		wantFall(t, "UTM line", profiled(t, flags(ground, line)...), profiled(t, flags(ground, drawn)...).fall(), 0.01)
		// Another continent is refused, not sampled.
		far := v
		far.lonW = 20
		refused(t, command("profile", flags(ground, far.track(t, dir))), "points_outside_raster", "ground.vrt", "96 of 96 points", "creek.gpx", "extent")
	})

	t.Run("row 06 no coordinate system", func(t *testing.T) {
		bare := v
		bare.name, bare.crs = "bare", ""
		path := bare.write(t, t.TempDir())
		refused(t, command("profile", flags(path, creek)), "no_crs", "bare.vrt", "--crs EPSG:n")
		r := profiled(t, flags(path, creek, "--crs", "EPSG:4326")...)
		wantFall(t, "system named", r, clean.fall(), 0.01)
		bare.name, bare.crs = "mine", `LOCAL_CS["mine grid",UNIT["metre",1]]`
		bare.gt = "1000, 1, 0, 2000, 0, -1"
		refused(t, command("profile", flags(bare.write(t, t.TempDir()), creek)), "engineering_crs", "mine.vrt", "mine grid")
		if raster := os.Getenv("ROUTE_TERRAIN"); raster != "" {
			raster, creek := dressed(t)
			base := profiled(t, flags(raster("base_gab.tif"), creek, "--z-unit", "m")...)
			refused(t, command("profile", flags(raster("no_crs_gab.tif"), creek)), "no_crs", "no_crs_gab.tif", "--crs")
			wantFall(t, "no_crs_gab", profiled(t, flags(raster("no_crs_gab.tif"), creek, "--z-unit", "m", "--crs", "EPSG:26910")...), base.fall(), 0.01)
		}
	})

	t.Run("row 07 Web Mercator", func(t *testing.T) {
		// At 60 degrees north a map metre of Web Mercator is half a metre.
		north := v
		north.latS, north.name = 60, "north"
		north.dLon, north.dLat = 2e-5, 1e-5*ravineNorthM/1.1141 // metres of a degree at 60°, by the radii of WGS 84
		dir := t.TempDir()
		ground, creek := north.write(t, dir), north.track(t, dir)
		merc := filepath.Join(dir, "merc.tif")
		gdal(t, "gdalwarp", "-t_srs", "EPSG:3857", "-tr", "2", "2", "-r", "cubic", "-dstnodata", "-9999", ground, merc)
		want, got := profiled(t, flags(ground, creek)...), profiled(t, flags(merc, creek, "--z-unit", "m")...)
		wantFall(t, "Web Mercator", got, want.fall(), 0.05)
		if r := got.Creek.LengthM / want.Creek.LengthM; math.Abs(float64(r)-1) > 0.02 {
			t.Errorf("%.1f m of creek, %.1f m without Mercator", float64(got.Creek.LengthM), float64(want.Creek.LengthM))
		}
	})

	t.Run("row 08 voids", func(t *testing.T) {
		// The same hole across the creek under each mark: 6 m are bridged,
		// with a warning that says where; 60 m of 380 are too much.
		for name, mark := range map[string]float64{"-9999": -9999, "-32768": -32768, "float32 least": -3.4028234663852886e38, "float32 most": 3.4028234663852886e38, "nan": math.NaN(), "zero": 0} {
			holed := func(file string, width float64, track string) []string {
				h := v
				h.name = file
				h.cell = "%.9g"
				h.z = func(x, y, creekY, z float64) float64 {
					if x > 200 && x < 200+width {
						return mark
					}
					return z
				}
				return flags(h.write(t, t.TempDir()), track)
			}
			small := profiled(t, holed("small", 6, creek)...)
			wantFall(t, name, small, clean.fall(), 0.05)
			small.message(t, "warning", "creek_void", "no height for")
			refused(t, command("profile", holed("large", 60, creek)), "creek_void", "creek.gpx", "% of the creek", "5 %", "0+")
		}
	})

	t.Run("row 08 voids on real ground", func(t *testing.T) {
		raster, creek := dressed(t)
		// Where the whole bottom is a hole, the way round it is no creek.
		refused(t, command("profile", flags(raster("valley_bottom_void_gab.tif"), creek, "--z-unit", "m")), "creek_void", "creek.gpx", "17 of 55 points", "holes")
		// These lose about 5 % of the creek, to one side or the other of what
		// is bridged: never is a hole passed over in silence.
		for _, name := range []string{"nan_void_nodata_nan_gab.tif", "undeclared_-9999_gab.tif"} {
			args := flags(raster(name), creek, "--z-unit", "m")
			if r := read(t, command("profile", args)...); r.Error != nil {
				refused(t, command("profile", args), "creek_void", "creek.gpx", "% of the creek", "0+")
			} else {
				r.message(t, "warning", "creek_void", "no height for", "measure the fall")
				r.message(t, "warning", "creek_off_terrain", "of 55 points of the creek line", "no height")
			}
		}
		profiled(t, flags(raster("undeclared_zero_gab.tif"), creek, "--z-unit", "m")...).message(t, "warning", "undeclared_nodata", "hold 0")
	})

	t.Run("row 09 cell centres and corners", func(t *testing.T) {
		dir := t.TempDir()
		area, centre := filepath.Join(dir, "area.tif"), filepath.Join(dir, "point.tif")
		gdal(t, "gdal_translate", ground, area)
		gdal(t, "gdal_translate", "-mo", "AREA_OR_POINT=Point", ground, centre)
		a, b := profiled(t, flags(area, creek)...), profiled(t, flags(centre, creek)...)
		wantFall(t, "PixelIsArea", a, clean.fall(), 0.01)
		wantFall(t, "PixelIsPoint", b, clean.fall(), 0.01)
		for i := range b.Creek.Stations {
			if d := math.Abs(float64(a.Creek.Stations[i].ZM - b.Creek.Stations[i].ZM)); d > 0.01 {
				t.Fatalf("station %d differs by %.3f m", i, d)
			}
		}
		if os.Getenv("ROUTE_TERRAIN") != "" {
			raster, creek := dressed(t)
			base := profiled(t, flags(raster("base_gab.tif"), creek, "--z-unit", "m")...)
			wantFall(t, "real ground", profiled(t, flags(raster("pixel_is_point_gab.tif"), creek, "--z-unit", "m")...), base.fall(), 0.01)
		}
	})

	t.Run("row 10 south-up and rotated", func(t *testing.T) {
		up := v
		up.name, up.southernRows = "up", true
		wantFall(t, "south-up", profiled(t, flags(up.write(t, t.TempDir()), creek)...), clean.fall(), 0.01)
		turned := v
		turned.name, turned.gt = "turned", "-40, 9e-6, 4e-6, 0.0008, 4e-6, -9e-6"
		refused(t, command("profile", flags(turned.write(t, t.TempDir()), creek)), "rotated_raster", "turned.vrt", "rotated", "gdalwarp")
		if os.Getenv("ROUTE_TERRAIN") != "" {
			raster, creek := dressed(t)
			base := profiled(t, flags(raster("base_gab.tif"), creek, "--z-unit", "m")...)
			wantFall(t, "real ground", profiled(t, flags(raster("south_up_gab.tif"), creek, "--z-unit", "m")...), base.fall(), 0.01)
			refused(t, command("profile", flags(raster("rotated25_gab.tif"), creek, "--z-unit", "m")), "rotated_raster", "rotated25_gab.tif", "25.0 degrees")
		}
	})

	t.Run("row 11 antimeridian and 0 to 360", func(t *testing.T) {
		across := v
		across.lonW = 179.998
		dir := t.TempDir()
		raster := across.write(t, dir)
		wrapped := across.walk()
		for i := range wrapped {
			if wrapped[i].lon > 180 {
				wrapped[i].lon -= 360
			}
		}
		track := save(t, filepath.Join(dir, "creek.gpx"), gpx("<trk>"+segment(wrapped)+"</trk>"))
		r := profiled(t, flags(raster, track)...)
		wantFall(t, "across 180 degrees", r, clean.fall(), 0.01)
		if d := math.Abs(float64(r.Creek.LengthM - clean.Creek.LengthM)); d > 0.5 {
			t.Errorf("the creek across 180 degrees is %.2f m longer or shorter", d)
		}
		east := v
		east.lonW, east.name = 320, "east"
		wantFall(t, "0 to 360", profiled(t, flags(east.write(t, dir), creek)...), clean.fall(), 0.01)
		// More than a degree of creek is a mistake.
		var long []fix
		for k := range 120 {
			long = append(long, fix{lon: -40 + 0.002 + 0.02*float64(k), lat: 0})
		}
		wide := save(t, filepath.Join(dir, "wide.gpx"), gpx("<trk>"+segment(long)+"</trk>"))
		refused(t, command("profile", flags(ground, wide)), "track_too_wide", "wide.gpx", "km")
	})

	t.Run("row 12 heights missing in the track", func(t *testing.T) {
		dir := t.TempDir()
		for name, ele := range map[string]func(i int, f fix) string{
			"none":    nil,
			"all":     func(_ int, f fix) string { return fmt.Sprintf("%.2f", f.ele) },
			"some":    func(i int, f fix) string { return []string{"", fmt.Sprintf("%.2f", f.ele)}[i%2] },
			"zero":    func(int, fix) string { return "0" },
			"rubbish": func(i int, _ fix) string { return []string{"n/a", "NaN", "12,5"}[i%3] },
		} {
			var body strings.Builder
			for i, f := range v.walk() {
				if ele == nil || ele(i, f) == "" {
					body.WriteString(withoutEle("trkpt", f))
				} else {
					body.WriteString(withEle("trkpt", f, ele(i, f)))
				}
			}
			path := save(t, filepath.Join(dir, name+".gpx"), gpx("<trk><trkseg>"+body.String()+"</trkseg></trk>"))
			r := profiled(t, flags(ground, path)...)
			if !slices.EqualFunc(r.Creek.Stations, clean.Creek.Stations, func(a, b plan.CreekStation) bool { return a.ZM == b.ZM && a.Lon == b.Lon && a.Lat == b.Lat }) {
				t.Errorf("heights of the track (%s) change the profile", name)
			}
		}
	})

	t.Run("row 13 ellipsoidal heights", func(t *testing.T) {
		var body strings.Builder
		for _, f := range v.walk() {
			body.WriteString(withEle("trkpt", f, fmt.Sprintf("%.1f", f.ele-34+3*math.Sin(f.x))))
		}
		path := save(t, filepath.Join(t.TempDir(), "ellipsoid.gpx"), gpx("<trk><trkseg>"+body.String()+"</trkseg></trk>"))
		r := profiled(t, flags(ground, path)...)
		r.message(t, "note", "heights_ellipsoidal", "ellipsoid", "-34", "not used")
		wantFall(t, "ellipsoidal", r, clean.fall(), 1e-9)
	})

	t.Run("row 14 shapes of GPX", func(t *testing.T) {
		dir := t.TempDir()
		walk := v.walk()
		half := len(walk) / 2
		routePoints := ""
		for _, f := range walk {
			routePoints += withoutEle("rtept", f)
		}
		var doubled []fix
		for _, f := range walk {
			doubled = append(doubled, f, f)
		}
		for name, body := range map[string]string{
			"route":          "<rte><name>creek</name>" + routePoints + "</rte>",
			"empty segments": "<trk><trkseg/>" + segment(walk) + "<trkseg></trkseg></trk>",
			"two segments":   "<trk>" + segment(walk[:half]) + segment(walk[half:]) + "</trk>",
			"duplicates":     "<trk>" + segment(doubled) + "</trk>",
			"a short track":  "<trk>" + segment(walk[:4]) + "</trk><trk>" + segment(walk) + "</trk>",
		} {
			path := save(t, filepath.Join(dir, name+".gpx"), gpx(body))
			wantFall(t, name, profiled(t, flags(ground, path)...), clean.fall(), 0.01)
		}
		profiled(t, flags(ground, filepath.Join(dir, "a short track.gpx"))...).message(t, "note", "track_chosen", "longest")
		old := strings.Replace(gpx("<trk>"+segment(walk)+"</trk>"), `version="1.1" creator="receiver" xmlns="http://www.topografix.com/GPX/1/1"`, `version="1.0" creator="receiver" xmlns="http://www.topografix.com/GPX/1/0"`, 1)
		wantFall(t, "GPX 1.0", profiled(t, flags(ground, save(t, filepath.Join(dir, "old.gpx"), old))...), clean.fall(), 1e-9)
		for name, c := range map[string]struct{ body, code, says string }{
			"waypoints": {withoutEle("wpt", walk[0]) + withoutEle("wpt", walk[1]), "no_track", "at least 2 points (0 tracks and routes, 2 waypoints)"},
			"one point": {"<trk>" + segment(walk[:1]) + "</trk>", "no_track", "at least 2 points"},
			"nothing":   {"", "no_track", "at least 2 points"},
		} {
			path := save(t, filepath.Join(dir, name+".gpx"), gpx(c.body))
			refused(t, command("profile", flags(ground, path)), c.code, name+".gpx", c.says)
		}
		refused(t, command("profile", flags(ground, save(t, filepath.Join(dir, "empty.gpx"), ""))), "gpx_empty", "empty.gpx")
	})

	t.Run("row 15 track off the raster", func(t *testing.T) {
		partly := v
		partly.trackToM = 510
		dir := t.TempDir()
		r := profiled(t, flags(ground, partly.track(t, dir))...)
		r.message(t, "warning", "points_outside_raster", "of 121 points", "extent", "latitude")
		r.message(t, "warning", "creek_cut_to_terrain", "cut off")
		for _, s := range r.Creek.Stations {
			if s.ZM < 280 {
				t.Fatalf("a height of %.1f m was made up", float64(s.ZM))
			}
		}
		partly.trackFromM, partly.trackToM = 500, 600
		refused(t, command("profile", flags(ground, partly.track(t, dir))), "points_outside_raster", "ground.vrt", "26 of 26 points", "creek.gpx", "extent: latitude")
	})

	t.Run("row 16 compressions", func(t *testing.T) {
		dir := t.TempDir()
		for name, options := range map[string][]string{
			"plain": {}, "lzw": {"-co", "COMPRESS=LZW"}, "lzw2": {"-co", "COMPRESS=LZW", "-co", "PREDICTOR=2"},
			"deflate3": {"-co", "COMPRESS=DEFLATE", "-co", "PREDICTOR=3", "-co", "TILED=YES"}, "zstd": {"-co", "COMPRESS=ZSTD"},
		} {
			path := filepath.Join(dir, name+".tif")
			gdal(t, "gdal_translate", append(options, ground, path)...)
			wantFall(t, name, profiled(t, flags(path, creek)...), clean.fall(), 1e-9)
		}
		// Tag 259, Compression, of type SHORT (TIFF 6.0, page 30): 65123 is no code.
		data, err := os.ReadFile(filepath.Join(dir, "plain.tif"))
		if err != nil {
			t.Fatal(err)
		}
		at := strings.Index(string(data), string([]byte{3, 1, 3, 0, 1, 0, 0, 0, 1, 0}))
		if at < 0 {
			t.Fatal("no compression tag")
		}
		binary.LittleEndian.PutUint16(data[at+8:], 65123)
		odd := save(t, filepath.Join(dir, "odd.tif"), string(data))
		refused(t, command("profile", flags(odd, creek)), "compression_unsupported", "odd.tif", "65123")
		// What was decoded to garbage has no place on Earth.
		garbage := v
		garbage.name = "garbage"
		garbage.z = func(x, y, _, z float64) float64 { return z + 30000*math.Sin(40*x*y) }
		refused(t, command("profile", flags(garbage.write(t, dir), creek)), "heights_implausible", "garbage.vrt")
	})

	t.Run("row 17 truncated TIFF", func(t *testing.T) {
		dir := t.TempDir()
		path := filepath.Join(dir, "cut.tif")
		gdal(t, "gdal_translate", "-co", "TILED=YES", "-co", "BLOCKXSIZE=64", "-co", "BLOCKYSIZE=64", ground, path)
		info, err := os.Stat(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.Truncate(path, info.Size()*2/3); err != nil {
			t.Fatal(err)
		}
		refused(t, command("profile", flags(path, creek)), "raster_damaged", "cut.tif", "block", "byte", "cut short")
		if err := os.Truncate(path, 0); err != nil {
			t.Fatal(err)
		}
		refused(t, command("profile", flags(path, creek)), "not_a_raster", "cut.tif")
		refused(t, command("profile", flags(filepath.Join(dir, "gone.tif"), creek)), "file_not_found", "gone.tif", "no such file")
	})

	t.Run("row 18 whole metres", func(t *testing.T) {
		coarse := v
		coarse.name = "whole"
		coarse.z = func(_, _, _, z float64) float64 { return math.Round(z) }
		r := profiled(t, flags(coarse.write(t, t.TempDir()), creek)...)
		r.message(t, "warning", "coarse_steps", "steps of 1.00 m")
		wantFall(t, "whole metres", r, clean.fall(), 1)
		// A step of 1 m is an error of 1/√12 m on top of what the cells have.
		if s, fine := r.Creek.Stations[100].ZSigmaM, clean.Creek.Stations[100].ZSigmaM; math.Abs(math.Sqrt(float64(s*s-fine*fine))-1/math.Sqrt(12)) > 0.05 {
			t.Errorf("sigma %.3f m, of the fine raster %.3f m", float64(s), float64(fine))
		}
	})

	t.Run("row 19 surface model", func(t *testing.T) {
		canopy := v
		canopy.name = "valley_dsm_1m"
		r := profiled(t, flags(canopy.write(t, t.TempDir()), creek)...)
		r.message(t, "warning", "surface_model", "trees", "finding a place only")
		// Without a word in its name: crowns of 5 m, 12 m high, on every other
		// patch beside the creek.
		canopy.name = "ground"
		canopy.z = func(x, y, creekY, z float64) float64 {
			if i, j := int(math.Floor(x/5)), int(math.Floor(y/5)); math.Abs(y-creekY) > 8 && (i+j)%2 == 0 {
				return z + 12
			}
			return z
		}
		r = profiled(t, flags(canopy.write(t, t.TempDir()), creek)...)
		r.message(t, "warning", "surface_model", "looks like a surface model", "trees and roofs", "accuracy:")
		for _, in := range r.Inputs {
			if in.Role == "terrain" && !strings.Contains(in.AccuracyWhy, "stands in it like trees") {
				t.Errorf("accuracy because %q", in.AccuracyWhy)
			}
		}
		profiled(t, flags(canopy.write(t, t.TempDir()), creek, "--set", "accuracy=lidar_forest")...).silent(t, "surface_model")
	})

	t.Run("row 20 road fill across the creek", func(t *testing.T) {
		filled := v
		filled.name = "fill"
		filled.z = func(x, y, creekY, z float64) float64 {
			if x > 200 && x < 212 {
				return math.Max(z, ravineTopM-ravineGrade*200+2.5)
			}
			return z
		}
		r := profiled(t, flags(filled.write(t, t.TempDir()), creek)...)
		r.message(t, "warning", "creek_bridged", "high stands across the creek", "look at it")
		wantFall(t, "fill", r, clean.fall(), 0.05)
		flagged := 0
		for i, s := range r.Creek.Stations {
			if slices.Contains(s.Flags, "bridge") {
				flagged++
			}
			if i > 0 && s.ZM > r.Creek.Stations[i-1].ZM {
				t.Fatalf("the profile climbs at %.1f m", float64(s.StationM))
			}
		}
		if m := float64(flagged) * 0.55; m < 8 || m > 22 {
			t.Errorf("%d stations, about %.0f m, are flagged; the fill is 12 m wide", flagged, m)
		}
	})

	t.Run("row 21 made-level water and a dam", func(t *testing.T) {
		pond := v
		pond.name = "pond"
		const level = ravineTopM - ravineGrade*150
		pond.z = func(x, y, creekY, z float64) float64 {
			if x > 150 && x < 200 {
				return math.Max(z, level)
			}
			return z
		}
		r := profiled(t, flags(pond.write(t, t.TempDir()), creek)...)
		r.message(t, "note", "creek_flat", "level", "measure the fall")
		wantFall(t, "pond", r, clean.fall(), 0.05)
		flat := 0
		for _, s := range r.Creek.Stations {
			if slices.Contains(s.Flags, "flat") {
				flat++
			}
		}
		if m := float64(flat) * 0.55; m < 35 || m > 65 {
			t.Errorf("about %.0f m are flagged as flat; the pond is 50 m long", m)
		}
	})

	t.Run("row 22 pits and flats", func(t *testing.T) {
		const seed = 22
		t.Logf("seed %d", seed)
		r := rand.New(rand.NewPCG(seed, 1))
		noisy := v
		noisy.name = "noisy"
		noisy.z = func(_, _, _, z float64) float64 { return z + 0.15*r.NormFloat64() }
		got := profiled(t, flags(noisy.write(t, t.TempDir()), creek)...)
		pits := 0
		for i := 1; i < len(got.Creek.Stations); i++ {
			a, b := got.Creek.Stations[i-1], got.Creek.Stations[i]
			if b.ZM > a.ZM {
				t.Fatalf("the profile climbs at %.1f m", float64(b.StationM))
			}
			if b.RawM > a.RawM {
				pits++
			}
		}
		if pits < 50 {
			t.Errorf("only %d steps of the raw profile climb: this proves nothing", pits)
		}
	})

	t.Run("row 23 one processor or several", func(t *testing.T) {
		args := flags(ground, creek, tinyPlan()...)
		var files [2]string
		for i, n := range []int{1, max(4, runtime.NumCPU())} {
			before := runtime.GOMAXPROCS(n)
			out := t.TempDir()
			code, _, stderr := route(append(command("plan", args), "--out", out)...)
			runtime.GOMAXPROCS(before)
			if code != exitDone && code != exitInfeasible {
				t.Fatalf("exit code %d: %s", code, stderr)
			}
			content, err := os.ReadFile(filepath.Join(out, "plan.json"))
			if err != nil {
				t.Fatal(err)
			}
			files[i] = string(content)
		}
		if files[0] != files[1] {
			t.Error("plan.json differs between one processor and several")
		}
		if !strings.Contains(files[0], `"id": "A"`) && !strings.Contains(files[0], `"id":"A"`) {
			t.Error("the plan holds no layout: this proves little")
		}
	})

	t.Run("row 24 huge raster", func(t *testing.T) {
		huge := save(t, filepath.Join(t.TempDir(), "huge.vrt"), `<VRTDataset rasterXSize="4000000" rasterYSize="1600000"><SRS>EPSG:4326</SRS>
<GeoTransform>-40, 1e-9, 0, 0.0008, 0, -1e-9</GeoTransform>
<VRTRasterBand dataType="Float32" band="1"><UnitType>m</UnitType><SimpleSource><SourceFilename>`+filepath.Join(dir, "ground.asc")+`</SourceFilename><SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>`)
		refused(t, command("profile", flags(huge, creek)), "window_too_large", "huge.vrt", "million", "GiB of memory", "coarser")
	})

	t.Run("row 25 the explicit setting wins", func(t *testing.T) {
		declared := v
		declared.name, declared.unit = "declared", "ft"
		dir := t.TempDir()
		path := declared.write(t, dir)
		r := profiled(t, flags(path, creek, "--z-unit", "m")...)
		r.message(t, "warning", "vertical_unit_overridden", "metres", "feet")
		wantFall(t, "as asked", r, clean.fall(), 0.01)
		for _, in := range r.Inputs {
			if in.Role == "terrain" && in.VerticalUnit != "metre" {
				t.Errorf("the effective unit %q is not echoed", in.VerticalUnit)
			}
		}
		moved := profiled(t, flags(ground, creek, "--crs", "EPSG:4269")...)
		moved.message(t, "warning", "crs_overridden", "NAD83", "WGS 84")
		// A flag wins over the site file, --set over both, and a value that
		// cannot be is an error, not a silent other value.
		site := save(t, filepath.Join(dir, "site.yaml"), "terrain: [declared.vrt]\ncreek: "+creek+"\nz_unit: ft\nunits: us\n")
		wantFall(t, "site file", profiled(t, site), 0.3048*clean.fall(), 0.01)
		wantFall(t, "flag", profiled(t, site, "--z-unit", "m"), clean.fall(), 0.01)
		wantFall(t, "--set", profiled(t, site, "--z-unit", "ft", "--set", "z_unit=m"), clean.fall(), 0.01)
		code, _, stderr := route("profile", site, "--z-unit", "yard")
		if code != exitUsage || !strings.Contains(stderr, "yard") || !strings.Contains(stderr, "us-ft") {
			t.Errorf("exit code %d: %s", code, stderr)
		}
		code, _, stderr = route("inspect", site, "--set", "limits.drive_head.min=400 m")
		if code != exitUsage || !strings.Contains(stderr, "400 m") {
			t.Errorf("exit code %d: %s", code, stderr)
		}
	})

	t.Run("row 26 too small, and tanks in the wrong place", func(t *testing.T) {
		dir := t.TempDir()
		short := v
		short.trackToM = short.trackFromM + 4
		walk := short.walk()
		walk[1].lon = walk[0].lon + 0.6e-5
		path := save(t, filepath.Join(dir, "short.gpx"), gpx("<trk>"+segment(walk)+"</trk>"))
		code, _, stderr := route(command("profile", flags(ground, path))...)
		r := read(t, command("profile", flags(ground, path))...)
		if code != exitFailed || r.Error == nil || (r.Error.Code != "creek_too_short" && r.Error.Code != "track_stands_still") || r.Error.Hint == "" || !strings.Contains(r.Error.Text, "short.gpx") {
			t.Errorf("exit code %d: %s", code, stderr)
		}
		at := func(x, off float64) string {
			lon, lat := v.lonLat(x, v.creekY(x)+off)
			return fmt.Sprintf("%.7f,%.7f", lat, lon)
		}
		holed := v
		holed.name = "holed"
		holed.z = func(x, y, creekY, z float64) float64 {
			if x > 300 && x < 310 && y-creekY > 35 && y-creekY < 45 {
				return -9999
			}
			return z
		}
		refused(t, command("plan", flags(holed.write(t, dir), creek, append(tinyPlan(), "--tank", at(305, 40), "--out", dir)...)), "tank_void", "holed.vrt", "no height at the tank")
		refusedTank := func(creek, tank, code string, says ...string) {
			t.Helper()
			for _, name := range []string{"plan", "inspect"} {
				args := flags(ground, creek, "--tank", tank, "--json")
				if name == "plan" {
					args = append(append(args, tinyPlan()...), "--tank", tank, "--out", dir)
				}
				exit, out, _ := route(command(name, args)...)
				if exit != exitFailed || !strings.Contains(out, `"`+code+`"`) {
					t.Errorf("%s with the tank at %s: exit code %d, no %s in %.400s", name, tank, exit, code, out)
				}
				for _, word := range says {
					if !strings.Contains(out, word) {
						t.Errorf("%s does not say %q", name, word)
					}
				}
			}
		}
		refusedTank(creek, at(250, 0.5), "tank_on_creek", "stands in the creek", "check the tank's coordinates")
		// Beyond the lower end of the track, 6 m below it.
		below := v
		below.trackToM = 200
		refusedTank(below.track(t, t.TempDir()), at(425, 6), "no_pump_needed", "no pump is needed", "above the tank's inlet")
		// On the bank, 2.5 m above the creek beside it, but below its upper end.
		exit, out, _ := route(append(command("plan", flags(ground, creek, tinyPlan()...)), "--tank", at(300, 4), "--out", dir)...)
		if exit != exitDone && exit != exitInfeasible || !strings.Contains(out, "without a pump") {
			t.Errorf("exit code %d: nothing is said of a plain pipe:\n%s", exit, out)
		}
	})

	t.Run("row 27 seams between tiles", func(t *testing.T) {
		dir := t.TempDir()
		west, east := v, v
		west.name, west.westCols = "west", 200
		east.name, east.eastCols = "east", 200
		same := profiled(t, flags(west.write(t, dir), creek, "--terrain", east.write(t, dir))...)
		wantFall(t, "tiles that fit", same, clean.fall(), 0.01)
		same.silent(t, "tile_step")
		east.z = func(_, _, _, z float64) float64 { return z - 0.6 }
		east.write(t, dir)
		profiled(t, flags(filepath.Join(dir, "west.vrt"), creek, "--terrain", filepath.Join(dir, "east.vrt"))...).message(t, "warning", "tile_step", "west.vrt", "east.vrt", "0.6")
	})
}

// tinyPlan are flags for a plan that takes little time: one pipe of each use.
func tinyPlan() []string {
	lat, lon := 0.00022, -39.9985
	return []string{"--tank", fmt.Sprintf("%.7f,%.7f", lat, lon), "--creek-flow", "8 L/s", "--demand", "500 L/day",
		"--set", "limits.drive_head.min=1 m", "--set", "limits.pumps.max=1", "--set", "settling_box=never",
		"--set", "pipes.supply=PE100 SDR 17 DN110", "--set", "pipes.drive=steel Sch 40 1-1/2 in", "--set", "pipes.delivery=PE100 SDR 11 DN32"}
}

// What people try first, and what editors do to a site file.
func TestFirstTries(t *testing.T) {
	v := newRavine()
	dir := filepath.Join(t.TempDir(), "dir with spaces", "ünï")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	ground, creek := v.write(t, dir), v.track(t, dir)
	text := "name: Ravine\nterrain: [ground.vrt]\ncreek: creek.gpx\ntank: {lat: 0.000407, lon: -39.9986525}\nlimits:\n  drive_head: {min: 1 m}\n"
	clean := profiled(t, save(t, filepath.Join(dir, "site.yaml"), text))
	wide := []byte{0xff, 0xfe}
	for _, b := range []byte(text) {
		wide = append(wide, b, 0)
	}
	for name, content := range map[string]string{
		"windows.yaml": strings.ReplaceAll(text, "\n", "\r\n"),
		"marked.yaml":  "\ufeff" + text,
		"renamed.yaml": strings.Replace(text, "creek.gpx", "creek.txt", 1),
	} {
		save(t, filepath.Join(dir, "creek.txt"), gpx("<trk><name>creek</name>"+segment(v.walk())+"</trk>"))
		wantFall(t, name, profiled(t, save(t, filepath.Join(dir, name), content)), clean.fall(), 1e-9)
	}
	var piped strings.Builder
	absolute := strings.NewReplacer("ground.vrt", `"`+ground+`"`, "creek.gpx", `"`+creek+`"`).Replace(text)
	if code := run([]string{"profile", "-", "--json"}, strings.NewReader(absolute), &piped, os.Stderr); code != exitDone || !strings.Contains(piped.String(), `"fall_m"`) {
		t.Errorf("from standard input: exit code %d: %.300s", code, piped.String())
	}
	for name, c := range map[string]struct{ content, says string }{
		"tabs.yaml":    {strings.Replace(text, "  drive", "\tdrive", 1), "never a tab"},
		"wide.yaml":    {string(wide), "UTF-8"},
		"comma.yaml":   {strings.Replace(text, "0.000407", "0,000407", 1), "with a point"},
		"twice.yaml":   {text + "name: again\n", "already defined"},
		"empty.yaml":   {"", "no terrain"},
		"folders.yaml": {strings.Replace(text, "creek.gpx", ".", 1), "is a folder"},
	} {
		save(t, filepath.Join(dir, name), c.content)
		code, _, stderr := route("profile", filepath.Join(dir, name))
		if code != exitFailed || !strings.Contains(stderr, c.says) || !strings.Contains(stderr, "what to do") {
			t.Errorf("%s: exit code %d, %q does not say %q", name, code, stderr, c.says)
		}
	}
	site, taken := filepath.Join(dir, "site.yaml"), filepath.Join(dir, "creek.txt")
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"plan", dir}, exitFailed, "site.yaml"},
		{[]string{"plan", site, "--out", taken}, exitFailed, "--out DIR"},
		{[]string{"plan", site, "--out", filepath.Join(taken, "deeper")}, exitFailed, "is a file"},
		{[]string{"inspect", site, "--tank", "91,0"}, exitUsage, "LAT,LON"},
		{[]string{"inspect", site, "--tank", "-0.0004,-39.999"}, exitDone, ""}, // half of all latitudes begin with a minus
		{[]string{"plan", site, "--demand", "1500"}, exitUsage, "quote a value that has a space"},
		{[]string{"profile", site, "--every", "-3 m"}, exitUsage, "above 0"},
		{[]string{"help", "plan"}, exitDone, ""},
		{[]string{"--version"}, exitDone, ""},
	} {
		code, _, stderr := route(c.args...)
		if code != c.code || !strings.Contains(stderr, c.says) {
			t.Errorf("%v: exit code %d, want %d; %q does not say %q", c.args, code, c.code, stderr, c.says)
		}
	}
	// Every raster that is wrong is named, and one document is printed.
	several := read(t, "profile", "--terrain", "no,ne.tif", "--terrain", "nix.tif", "--creek", creek)
	if several.Error == nil || !strings.Contains(several.Error.Text, "no,ne.tif") || !strings.Contains(several.Error.Text, "nix.tif") {
		t.Errorf("%+v", several.Error)
	}
	// inspect --json says all that it found, also of a raster that is refused.
	var found plan.Inspection
	bare := v
	bare.name, bare.unit = "bare", ""
	code, out, _ := route(append(command("inspect", flags(bare.write(t, dir), creek)), "--json")...)
	if err := json.Unmarshal([]byte(out), &found); err != nil || code != exitFailed {
		t.Fatalf("exit code %d, %v: %s", code, err, out)
	}
	if len(found.Inputs) != 2 || found.Inputs[1].CRS != "WGS 84 (EPSG:4326)" || !found.TrackM.Known() || len(found.Defaults) < 20 {
		t.Errorf("%+v", found)
	}
	_, out, _ = route(append(command("inspect", flags(ground, creek)), "--json")...)
	if err := json.Unmarshal([]byte(out), &found); err != nil || len(found.Extents) != 1 {
		t.Fatalf("%v: %s", err, out)
	}
	if e := found.Extents[0]; math.Abs(float64(e.West)+40) > 1e-6 || math.Abs(float64(e.North)-0.0008) > 1e-6 || math.Abs(float64(e.East-e.West)-0.004) > 1e-6 {
		t.Errorf("extent %+v", e)
	}
}
