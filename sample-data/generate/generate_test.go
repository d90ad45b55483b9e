package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"encoding/xml"
	"io"
	"io/fs"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"

	"github.com/airbusgeo/godal"
	"github.com/paulmach/orb"

	"route/internal/geodesy"
	"route/sample-data/valley"
)

// generated writes the sites once for all tests that only read them.
var generated = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "sample-sites-")
	if err != nil {
		return "", err
	}
	var out, errs bytes.Buffer
	if code := run([]string{"-out", dir}, &out, &errs); code != 0 {
		return dir, &os.PathError{Op: "generate", Path: dir, Err: os.NewSyscallError(errs.String(), nil)}
	}
	return dir, nil
})

func TestMain(m *testing.M) {
	code := m.Run()
	if dir, _ := generated(); dir != "" {
		_ = os.RemoveAll(dir)
	}
	os.Exit(code)
}

func sitesDir(t *testing.T) string {
	t.Helper()
	dir, err := generated()
	if err != nil {
		t.Fatal(err)
	}
	return dir
}

// sums hashes every file below a folder.
func sums(t *testing.T, dir string) map[string][32]byte {
	t.Helper()
	found := map[string][32]byte{}
	err := filepath.WalkDir(dir, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		content, err := os.ReadFile(name)
		rel, _ := filepath.Rel(dir, name)
		found[rel] = sha256.Sum256(content)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

func TestTwoRunsWriteTheSameBytes(t *testing.T) {
	first, again := sums(t, sitesDir(t)), t.TempDir()
	var out, errs bytes.Buffer
	if code := run([]string{"-out", again}, &out, &errs); code != 0 {
		t.Fatalf("exit code %d: %s", code, errs.String())
	}
	second := sums(t, again)
	want := []string{"ground.tif", "creek.gpx", "land.geojson", "site.yaml", "truth.json"}
	for _, s := range sites {
		for _, name := range want {
			rel := filepath.Join(s.folder, name)
			a, ok := first[rel]
			if !ok {
				t.Errorf("%s is missing", rel)
			}
			if a != second[rel] {
				t.Errorf("%s differs between two runs", rel)
			}
			t.Logf("%x  %s", a[:8], rel)
		}
	}
	if len(first) != len(second) || len(first) != len(sites)*len(want)+1 {
		t.Errorf("%d and %d files, want %d (one site has its own prices)", len(first), len(second), len(sites)*len(want)+1)
	}
}

func TestASecondRunReplacesTheFirst(t *testing.T) {
	dir, small := t.TempDir(), sites[1]
	old := filepath.Join(dir, "truth.json")
	if err := os.WriteFile(old, []byte("old"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := small.write(dir); err != nil {
		t.Fatal(err)
	}
	if content, err := os.ReadFile(old); err != nil || len(content) < 1000 {
		t.Errorf("the old file was not replaced: %d bytes, %v", len(content), err)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, "*.partial")); len(left) > 0 {
		t.Errorf("half-written files remain: %v", left)
	}
}

func TestWrongUsageAndUnwritableFolder(t *testing.T) {
	file := filepath.Join(t.TempDir(), "a-file")
	if err := os.WriteFile(file, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		want int
	}{
		{[]string{"-nonsense"}, 2},
		{[]string{"somewhere"}, 2},
		{[]string{"-out", file}, 1},
	} {
		var out, errs bytes.Buffer
		if code := run(c.args, &out, &errs); code != c.want || errs.Len() == 0 {
			t.Errorf("%v: exit code %d with %q, want %d and a reason", c.args, code, errs.String(), c.want)
		}
	}
}

// gdalinfo is an independent reader: what it says about the files is what any
// other program will see.
func TestGDALReadsBackWhatWasDeclared(t *testing.T) {
	if _, err := exec.LookPath("gdalinfo"); err != nil {
		t.Skip("gdalinfo is not installed (package gdal-bin)")
	}
	for _, c := range []struct {
		folder, epsg, vertical, unit string
		noData                       float64
		size                         [2]int
		cell                         float64
	}{
		{"fernhollow", `ID["EPSG",32606]`, `VERTCRS["MSL height (ft)"`, "ft", -9999, [2]int{1000, 1000}, 1},
		{"eilwern", `ID["EPSG",4326]`, "", "metre", -32768, [2]int{540, 360}, 1.5e-5},
	} {
		out, err := exec.Command("gdalinfo", "-json", filepath.Join(sitesDir(t), c.folder, "ground.tif")).Output()
		if err != nil {
			t.Fatal(err)
		}
		var info struct {
			Size             [2]int     `json:"size"`
			GeoTransform     [6]float64 `json:"geoTransform"`
			CoordinateSystem struct {
				WKT string `json:"wkt"`
			} `json:"coordinateSystem"`
			Metadata map[string]map[string]string `json:"metadata"`
			Bands    []struct {
				Type        string   `json:"type"`
				Unit        string   `json:"unit"`
				Block       [2]int   `json:"block"`
				NoDataValue *float64 `json:"noDataValue"`
			} `json:"bands"`
		}
		if err := json.Unmarshal(out, &info); err != nil {
			t.Fatal(err)
		}
		wkt := []byte(info.CoordinateSystem.WKT)
		if !bytes.Contains(wkt, []byte(c.epsg)) || !bytes.Contains(wkt, []byte(c.vertical)) || (c.vertical == "") != !bytes.Contains(wkt, []byte("VERTCRS")) {
			t.Errorf("%s: coordinate system\n%s", c.folder, wkt)
		}
		if info.Size != c.size || info.GeoTransform[1] != c.cell || info.GeoTransform[5] != -c.cell {
			t.Errorf("%s: %v cells of %v", c.folder, info.Size, info.GeoTransform)
		}
		b := info.Bands[0]
		if len(info.Bands) != 1 || b.Type != "Float32" || b.Unit != c.unit || b.Block != [2]int{256, 256} || b.NoDataValue == nil || *b.NoDataValue != c.noData {
			t.Errorf("%s: band %+v", c.folder, b)
		}
		if s := info.Metadata["IMAGE_STRUCTURE"]; s["COMPRESSION"] != "DEFLATE" || s["PREDICTOR"] != "3" {
			t.Errorf("%s: %v", c.folder, s)
		}
	}
}

// scanned is a raster read back, in metres, NaN where it is void.
type scanned struct {
	cols, rows int
	g          [6]float64
	z          []float64
}

func readBack(t *testing.T, s site) scanned {
	t.Helper()
	registerOnce.Do(func() { godal.RegisterInternalDrivers() })
	ds, err := godal.Open(filepath.Join(sitesDir(t), s.folder, "ground.tif"), godal.RasterOnly())
	if err != nil {
		t.Fatal(err)
	}
	defer ds.Close()
	g, err := ds.GeoTransform()
	if err != nil {
		t.Fatal(err)
	}
	r := scanned{cols: ds.Structure().SizeX, rows: ds.Structure().SizeY, g: g}
	r.z = make([]float64, r.cols*r.rows)
	if err := ds.Bands()[0].Read(0, 0, r.z, r.cols, r.rows); err != nil {
		t.Fatal(err)
	}
	// The international foot is 0.3048 m exactly (1959 agreement).
	unitM := map[string]float64{"ft": 0.3048, "metre": 1}[s.scan.unit]
	for i, v := range r.z {
		r.z[i] = v * unitM
		if v == s.scan.noData {
			r.z[i] = math.NaN()
		}
	}
	return r
}

// centreInFrame finds the middle of a cell by our own projections, where the
// generator went through PROJ: forward UTM, turned round by iteration.
func centreInFrame(t *testing.T, s site, r scanned, col, row int) orb.Point {
	t.Helper()
	x, y := r.g[0]+r.g[1]*(float64(col)+0.5), r.g[3]+r.g[5]*(float64(row)+0.5)
	f := s.place().Frame()
	if !s.scan.projected {
		return f.ToFrame(geodesy.LonLat{Lon: x, Lat: y})
	}
	zone, north := geodesy.UTM(s.place().Origin)
	var at orb.Point
	for range 10 {
		e, n := geodesy.ToUTM(f.ToLonLat(at), zone, north)
		at[0] += x - e
		at[1] += y - n
	}
	return at
}

// The raster is the model plus the declared error and nothing else. A raster
// that is shifted by half a cell, in the wrong unit, upside down or in another
// zone fails here.
func TestRasterIsTheModelPlusItsError(t *testing.T) {
	const seed = 23
	t.Logf("seed %d", seed)
	for _, s := range sites {
		random := rand.New(rand.NewPCG(seed, 0))
		place, r := s.place(), readBack(t, s)
		sum, squares, n, voids := 0.0, 0.0, 0, 0
		for range 6000 {
			col, row := random.IntN(r.cols), random.IntN(r.rows)
			at := centreInFrame(t, s, r, col, row)
			z := r.z[row*r.cols+col]
			if math.IsNaN(z) != inVoid(place.Voids, at) {
				t.Fatalf("%s: cell %d %d is void: %v", s.folder, col, row, math.IsNaN(z))
			}
			if math.IsNaN(z) {
				voids++
				continue
			}
			e := z - place.Ground(at)
			sum, squares, n = sum+e, squares+e*e, n+1
			if math.Abs(e) > 0.6 {
				t.Errorf("%s: cell %d %d is %.3f m off the model", s.folder, col, row, e)
			}
		}
		rms := math.Sqrt(squares / float64(n))
		t.Logf("%s: %d cells, error mean %.3f m, rms %.3f m, %d in voids", s.folder, n, sum/float64(n), rms, voids)
		// One standard deviation of the model is sqrt(0.03²+0.05²+0.08²) =
		// 0.099 m; the long part has few independent patches in a square
		// kilometre, so the rms of one draw wanders.
		if rms < 0.06 || rms > 0.15 {
			t.Errorf("%s: rms %.3f m, want about 0.099 m", s.folder, rms)
		}
	}
}

// cellOf is the cell that holds a point of the frame.
func cellOf(s site, r scanned, at orb.Point) (col, row int) {
	q := s.place().Frame().ToLonLat(at)
	x, y := q.Lon, q.Lat
	if s.scan.projected {
		zone, north := geodesy.UTM(s.place().Origin)
		x, y = geodesy.ToUTM(q, zone, north)
	}
	return int((x - r.g[0]) / r.g[1]), int((y - r.g[3]) / r.g[5])
}

// A raster that lies aside by d errs by d times the slope. The steep banks of
// the creek, which face every way, show a shift of centimetres.
func TestRasterIsNotShifted(t *testing.T) {
	const seed = 29
	t.Logf("seed %d", seed)
	for _, s := range sites {
		random := rand.New(rand.NewPCG(seed, 0))
		place, r := s.place(), readBack(t, s)
		upper, lower := place.Walked()
		var along, steep [2]float64
		for range 4000 {
			near := place.CreekPoint(upper + (lower-upper)*random.Float64())
			near[0] += 6 * (random.Float64() - 0.5)
			near[1] += 6 * (random.Float64() - 0.5)
			col, row := cellOf(s, r, near)
			at := centreInFrame(t, s, r, col, row)
			e := r.z[row*r.cols+col] - place.Ground(at)
			if math.IsNaN(e) {
				continue
			}
			for k := range along {
				before, after := at, at
				before[k], after[k] = at[k]-0.1, at[k]+0.1
				slope := (place.Ground(after) - place.Ground(before)) / 0.2
				along[k] += e * slope
				steep[k] += slope * slope
			}
		}
		for k, towards := range []string{"east", "north"} {
			shift := along[k] / steep[k]
			t.Logf("%s: %.3f m aside to the %s", s.folder, shift, towards)
			if math.Abs(shift) > 0.03 {
				t.Errorf("%s: the raster lies %.2f m aside to the %s", s.folder, shift, towards)
			}
		}
	}
}

// The semivariance of the difference between raster and model, at the lags
// that matter to a drive pipe.
func TestRasterErrorHasTheModelsSemivariance(t *testing.T) {
	s := sites[0]
	place, r := s.place(), readBack(t, s)
	errorAt := make([]float64, len(r.z))
	const step = 3 // every third row is plenty
	for row := 0; row < r.rows; row += step {
		a, b := centreInFrame(t, s, r, 0, row), centreInFrame(t, s, r, r.cols-1, row)
		for col := range r.cols {
			u := float64(col) / float64(r.cols-1) // rows are straight to 1 mm
			at := orb.Point{a[0] + u*(b[0]-a[0]), a[1] + u*(b[1]-a[1])}
			errorAt[row*r.cols+col] = r.z[row*r.cols+col] - place.Ground(at)
			if _, pool := place.InPool(at); pool {
				errorAt[row*r.cols+col] = math.NaN()
			}
		}
	}
	for _, c := range []struct {
		lag       int
		tolerance float64 // of one draw; the long part has few independent pairs
	}{{1, 0.05}, {8, 0.05}, {30, 0.1}, {300, 0.5}} {
		sum, n := 0.0, 0
		for row := 0; row < r.rows; row += step {
			for col := 0; col+c.lag < r.cols; col++ {
				d := errorAt[row*r.cols+col] - errorAt[row*r.cols+col+c.lag]
				if !math.IsNaN(d) {
					sum, n = sum+d*d/2, n+1
				}
			}
		}
		got, want := sum/float64(n), valley.LidarForest.Semivariance(float64(c.lag))
		t.Logf("lag %3d m: semivariance %.6f m², model %.6f m²", c.lag, got, want)
		if math.Abs(got/want-1) > c.tolerance {
			t.Errorf("lag %d m: semivariance %.6f m², want %.6f m²", c.lag, got, want)
		}
	}
}

func TestTrackFileHoldsTheWalk(t *testing.T) {
	for _, s := range sites {
		content, err := os.ReadFile(filepath.Join(sitesDir(t), s.folder, "creek.gpx"))
		if err != nil {
			t.Fatal(err)
		}
		var file struct {
			XMLName xml.Name `xml:"http://www.topografix.com/GPX/1/1 gpx"`
			Version string   `xml:"version,attr"`
			Points  []struct {
				Lat  float64 `xml:"lat,attr"`
				Lon  float64 `xml:"lon,attr"`
				Name string  `xml:"name"`
			} `xml:"wpt"`
			Segments []struct {
				Points []struct {
					Lat float64  `xml:"lat,attr"`
					Lon float64  `xml:"lon,attr"`
					Ele *float64 `xml:"ele"`
				} `xml:"trkpt"`
			} `xml:"trk>trkseg"`
		}
		if err := xml.Unmarshal(content, &file); err != nil {
			t.Fatal(err)
		}
		place := s.place()
		walk := place.Walk()
		if file.Version != "1.1" || len(file.Segments) != len(walk) {
			t.Fatalf("%s: version %q with %d segments, want 1.1 with %d", s.folder, file.Version, len(file.Segments), len(walk))
		}
		for i, leg := range walk {
			if len(file.Segments[i].Points) != len(leg) {
				t.Fatalf("%s: segment %d has %d points, want %d", s.folder, i, len(file.Segments[i].Points), len(leg))
			}
			for k, fix := range leg {
				p := file.Segments[i].Points[k]
				at := place.Frame().ToFrame(geodesy.LonLat{Lon: p.Lon, Lat: p.Lat})
				if off := math.Hypot(at[0]-fix.Recorded[0], at[1]-fix.Recorded[1]); off > 0.01 {
					t.Fatalf("%s: point %d is %.3f m from the fix", s.folder, k, off)
				}
				if (p.Ele == nil) != math.IsNaN(fix.EleM) {
					t.Fatalf("%s: point %d has a height: %v", s.folder, k, p.Ele != nil)
				}
			}
		}
		for _, p := range file.Points {
			at := place.Frame().ToFrame(geodesy.LonLat{Lon: p.Lon, Lat: p.Lat})
			if off := math.Hypot(at[0]-place.Tank.At[0], at[1]-place.Tank.At[1]); p.Name != "tank" || off > 3 {
				t.Errorf("%s: waypoint %q %.1f m from the tank", s.folder, p.Name, off)
			}
		}
	}
}

func TestLandFileIsGeoJSON(t *testing.T) {
	for _, s := range sites {
		content, err := os.ReadFile(filepath.Join(sitesDir(t), s.folder, "land.geojson"))
		if err != nil {
			t.Fatal(err)
		}
		var file struct {
			Type     string
			Features []struct {
				Type       string
				Properties map[string]string
				Geometry   struct {
					Type        string
					Coordinates json.RawMessage
				}
			}
		}
		if err := json.Unmarshal(content, &file); err != nil {
			t.Fatal(err)
		}
		if file.Type != "FeatureCollection" || len(file.Features) != len(s.place().Land) {
			t.Errorf("%s: %s of %d", s.folder, file.Type, len(file.Features))
		}
		for _, f := range file.Features {
			if f.Properties["role"] == "crossing" {
				if f.Geometry.Type != "LineString" {
					t.Errorf("%s: a crossing is a %s", s.folder, f.Geometry.Type)
				}
				continue
			}
			var polygon orb.Polygon
			if err := json.Unmarshal(f.Geometry.Coordinates, &polygon); err != nil {
				t.Fatal(err)
			}
			// RFC 7946 section 3.1.6: closed, anticlockwise outside.
			if ring := polygon[0]; f.Geometry.Type != "Polygon" || !ring.Closed() || ring.Orientation() != orb.CCW {
				t.Errorf("%s: %s is not a closed anticlockwise polygon", s.folder, f.Properties["name"])
			}
		}
	}
}

func TestTruthFileHoldsTheTruth(t *testing.T) {
	for _, s := range sites {
		content, err := os.ReadFile(filepath.Join(sitesDir(t), s.folder, "truth.json"))
		if err != nil {
			t.Fatal(err)
		}
		decoder := json.NewDecoder(bytes.NewReader(content))
		decoder.DisallowUnknownFields()
		var truth valley.Truth
		if err := decoder.Decode(&truth); err != nil {
			t.Fatal(err)
		}
		if _, err := decoder.Token(); err != io.EOF {
			t.Errorf("%s: something follows the document: %v", s.folder, err)
		}
		want := s.place().Truth()
		if len(truth.Thalweg) != len(want.Thalweg) || len(truth.Falls) != len(want.Falls) || truth.Tank != want.Tank {
			t.Errorf("%s: %d points and %d falls, want %d and %d", s.folder, len(truth.Thalweg), len(truth.Falls), len(want.Thalweg), len(want.Falls))
		}
		for i, b := range truth.Thalweg {
			if b != want.Thalweg[i] {
				t.Fatalf("%s: point %d is %+v, want %+v", s.folder, i, b, want.Thalweg[i])
			}
		}
	}
}

func BenchmarkGenerate(b *testing.B) {
	for _, s := range sites {
		b.Run(s.folder, func(b *testing.B) {
			dir := b.TempDir()
			s.place() // the model itself has its own benchmark
			for b.Loop() {
				if err := s.write(dir); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
