package dem

import (
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/airbusgeo/godal"
	"github.com/paulmach/orb"

	"route/internal/finding"
	"route/internal/geodesy"
)

// spec describes a raster that a test makes with GDAL.
type spec struct {
	crs        string // EPSG code or well-known text; "" for none
	cols, rows int
	gt         [6]float64
	kind       godal.DataType
	z          func(col, row int) float64 // stored value of a cell
	create     []string                   // creation options
	noData     *float64
	scale      float64
	offset     float64
	metadata   map[string]string
	unit       string // of the band
}

// utm is a small raster in UTM zone 10 north, cells of 1 m.
func utm(cols, rows int, z func(col, row int) float64) spec {
	return spec{crs: "EPSG:26910", cols: cols, rows: rows, gt: [6]float64{500000, 1, 0, 4000000, 0, -1}, kind: godal.Float32, z: z}
}

// make writes the raster and returns its path.
func (s spec) make(t testing.TB, name string) string {
	t.Helper()
	register()
	path := filepath.Join(t.TempDir(), name)
	s.write(t, path)
	return path
}

func (s spec) write(t testing.TB, path string) {
	t.Helper()
	ds, err := godal.Create(godal.GTiff, path, 1, s.kind, s.cols, s.rows, godal.CreationOption(s.create...))
	must(t, err)
	if s.gt != [6]float64{} {
		must(t, ds.SetGeoTransform(s.gt))
	}
	if s.crs != "" {
		sr, err := godal.NewSpatialRef(s.crs)
		must(t, err)
		must(t, ds.SetSpatialRef(sr))
		sr.Close()
	}
	for k, v := range s.metadata {
		must(t, ds.SetMetadata(k, v))
	}
	band := ds.Bands()[0]
	if s.noData != nil {
		must(t, band.SetNoData(*s.noData))
	}
	if s.scale != 0 {
		must(t, band.SetScaleOffset(s.scale, s.offset))
	}
	values := make([]float64, s.cols*s.rows)
	for j := 0; j < s.rows; j++ {
		for i := 0; i < s.cols; i++ {
			values[j*s.cols+i] = s.z(i, j)
		}
	}
	must(t, band.Write(0, 0, values, s.cols, s.rows))
	must(t, ds.Close())
	if s.unit != "" {
		setUnit(t, path, s.unit)
	}
}

// setUnit writes the unit of the band, which godal has no call for, by way of
// a virtual raster.
func setUnit(t testing.TB, path, unit string) {
	t.Helper()
	ds, err := godal.Open(path)
	must(t, err)
	vrtPath := path + ".vrt"
	vrt, err := ds.Translate(vrtPath, []string{"-of", "VRT"})
	must(t, err)
	must(t, vrt.Close())
	text, err := os.ReadFile(vrtPath)
	must(t, err)
	changed := strings.Replace(string(text), "<ColorInterp>", "<UnitType>"+unit+"</UnitType><ColorInterp>", 1)
	if changed == string(text) {
		t.Fatal("no place for the unit in the virtual raster")
	}
	must(t, os.WriteFile(vrtPath, []byte(changed), 0o600))
	in, err := godal.Open(vrtPath)
	must(t, err)
	out, err := in.Translate(path+".tmp.tif", []string{"-of", "GTiff"})
	must(t, err)
	must(t, out.Close())
	must(t, in.Close())
	must(t, ds.Close())
	must(t, os.Remove(vrtPath))
	must(t, os.Rename(path+".tmp.tif", path))
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// site is a frame on the middle of a source's first raster.
func site(t testing.TB, s *Source) *geodesy.Frame {
	t.Helper()
	i := s.files[0].info
	return frameAt(t, geodesy.LonLat{Lon: (i.West + i.East) / 2, Lat: (i.South + i.North) / 2})
}

func frameAt(t testing.TB, p geodesy.LonLat) *geodesy.Frame {
	t.Helper()
	f, err := geodesy.NewFrame(p, 0)
	must(t, err)
	return f
}

// around is a square around the frame's origin, half metres to each side.
func around(f *geodesy.Frame, half float64) orb.Bound {
	o := f.ToFrame(f.Origin())
	return orb.Bound{Min: orb.Point{o[0] - half, o[1] - half}, Max: orb.Point{o[0] + half, o[1] + half}}
}

// open opens a raster that must be usable.
func open(t testing.TB, o Options, paths ...string) *Source {
	t.Helper()
	s, err := Open(paths, o)
	must(t, err)
	t.Cleanup(func() { must(t, s.Close()) })
	return s
}

// load reads a square window around the middle of the first raster.
func load(t testing.TB, s *Source, half float64) (*Surface, *geodesy.Frame) {
	t.Helper()
	f := site(t, s)
	surface, err := s.Load(context.Background(), f, around(f, half))
	must(t, err)
	return surface, f
}

// fault is the fault with the code among err, and fails when there is none.
func fault(t testing.TB, err error, code string) *finding.Fault {
	t.Helper()
	var all []*finding.Fault
	var walk func(error)
	walk = func(e error) {
		if many, ok := e.(interface{ Unwrap() []error }); ok {
			for _, one := range many.Unwrap() {
				walk(one)
			}
			return
		}
		var f *finding.Fault
		if errors.As(e, &f) {
			all = append(all, f)
		}
	}
	if err != nil {
		walk(err)
	}
	for _, f := range all {
		if f.Code == code {
			return f
		}
	}
	t.Fatalf("want fault %s, have %v", code, err)
	return nil
}

// has is the finding with the code, and fails when there is none.
func has(t testing.TB, list []finding.Finding, code string) finding.Finding {
	t.Helper()
	for _, f := range list {
		if f.Code == code {
			return f
		}
	}
	t.Fatalf("want finding %s, have %v", code, list)
	return finding.Finding{}
}

func hasNot(t testing.TB, list []finding.Finding, code string) {
	t.Helper()
	for _, f := range list {
		if f.Code == code {
			t.Fatalf("unexpected finding %s: %s", code, f.Text)
		}
	}
}

// planOf converts frame points to plan coordinates with PROJ itself.
func planOf(t testing.TB, f *geodesy.Frame, crs string, points []orb.Point) (x, y []float64) {
	t.Helper()
	p, err := newProjector(f.PROJ(), crs)
	must(t, err)
	defer p.close()
	for _, q := range points {
		x, y = append(x, q[0]), append(y, q[1])
	}
	p.convert(x, y)
	return x, y
}

// frameOf converts plan coordinates to frame points with PROJ itself.
func frameOf(t testing.TB, f *geodesy.Frame, crs string, x, y []float64) []orb.Point {
	t.Helper()
	p, err := newProjector(crs, f.PROJ())
	must(t, err)
	defer p.close()
	e, n := append([]float64(nil), x...), append([]float64(nil), y...)
	p.convert(e, n)
	out := make([]orb.Point, len(e))
	for i := range e {
		out[i] = orb.Point{e[i], n[i]}
	}
	return out
}

func near(t testing.TB, what string, have, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(have-want) <= tolerance) {
		t.Errorf("%s: have %.9g, want %.9g ± %.2g", what, have, want, tolerance)
	}
}
