package dem

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/airbusgeo/godal"
	"github.com/paulmach/orb"

	"route/internal/geodesy"
)

// The numbers in the names of these tests are those of the list of bad inputs
// seen in the trackers of general libraries.

// says fails unless the text holds every one of the words.
func says(t testing.TB, text string, words ...string) {
	t.Helper()
	for _, w := range words {
		if !strings.Contains(text, w) {
			t.Errorf("%q does not say %q", text, w)
		}
	}
}

func slope(i, j int) float64 { return 100 + 0.5*float64(i) - 0.25*float64(j) }

// degrees is a small raster in degrees; heights are 2 m a column, so the
// slope on the ground follows from the length of a degree.
func degrees(lon, lat, step float64, n int) spec {
	return spec{crs: "EPSG:4326", cols: n, rows: n, gt: [6]float64{lon, step, 0, lat, 0, -step}, kind: godal.Float32,
		z: func(i, j int) float64 { return 100 + 2*float64(i) }}
}

func TestBadInput01DegreesAreMetresOnTheGround(t *testing.T) {
	const lat = 45.0
	s := degrees(10, lat+0.005, 1.0/10800, 108) // a third of an arc-second, middle at 45° north
	src := open(t, Options{ZUnit: "m"}, s.make(t, "deg.tif"))
	surface, f := load(t, src, 300)
	info := src.Infos()[0]
	// One degree at 45° on the WGS 84 ellipsoid: 78 846.8 m of longitude,
	// 111 131.8 m of latitude (NGA.STND.0036, table of lengths of a degree).
	near(t, "cell along the parallel", info.CellEastM, 78846.8/10800, 0.001)
	near(t, "cell along the meridian", info.CellNorthM, 111131.8/10800, 0.001)
	says(t, info.Cell, "0.333 arc-seconds", "7.3 x 10.3 m here")
	dE, dN := surface.Gradient(f.ToFrame(f.Origin()))
	near(t, "slope to the east", dE, 2/(78846.8/10800), 1e-4)
	near(t, "slope to the north", dN, 0, 1e-4)
}

func TestBadInput02FeetAreNotGuessed(t *testing.T) {
	s := utm(100, 100, slope)
	path := s.make(t, "z.tif")
	src, err := Open([]string{path}, Options{})
	f := fault(t, err, "vertical_unit_unknown")
	says(t, f.Text, "metres or feet")
	says(t, f.Hint, "--z-unit m, ft or us-ft", "z_unit:")
	if src.Infos()[0].CRS != "NAD83 / UTM zone 10N (EPSG:26910)" {
		t.Errorf("the infos of a refused raster: %+v", src.Infos()[0])
	}
	if _, err := src.Load(context.Background(), frameAt(t, geodesy.LonLat{Lon: -123, Lat: 36}), orb.Bound{Max: orb.Point{1, 1}}); err == nil {
		t.Error("a raster without a known unit was read")
	}
	must(t, src.Close())
	// With the unit said, both feet are themselves: 1200/3937 and 0.3048 m.
	for unit, metres := range map[string]float64{"m": 1, "ft": 0.3048, "us-ft": 1200.0 / 3937} {
		src := open(t, Options{ZUnit: unit}, path)
		surface, frame := load(t, src, 40)
		p := frameOf(t, frame, "EPSG:26910", []float64{500050.5}, []float64{3999949.5})[0]
		z, ok := surface.At(p)
		if !ok {
			t.Fatal("no height")
		}
		near(t, unit, z, slope(50, 50)*metres, 1e-3)
	}
}

func TestBadInput03PlanAndHeightUnitsAreSeparate(t *testing.T) {
	// California zone 4 in US survey feet with heights in metres, then in
	// international feet, then the vertical CRS NAVD88 in US survey feet.
	ftUS := 1200.0 / 3937
	s := spec{crs: "EPSG:2228", cols: 200, rows: 200, gt: [6]float64{6000000, 3, 0, 1800000, 0, -3}, kind: godal.Float64,
		z: func(i, j int) float64 { return 500 + 3*float64(i) }} // slope 1 when both units are the same
	for _, c := range []struct {
		crs, unit, asked string
		metres           float64
		name, how        string
	}{
		{"EPSG:2228", "", "m", 1, "metre", "asked for"},
		{"EPSG:2228", "ft", "", 0.3048, "foot", "the band"},
		{"EPSG:2228", "metre", "", 1, "metre", "the band"},
		{"EPSG:2228+6360", "", "", ftUS, "US survey foot", "the vertical CRS"},
		{"EPSG:2228+8228", "", "", 0.3048, "foot", "the vertical CRS"},
		{"EPSG:2228+6360", "ft", "", ftUS, "US survey foot", "the vertical CRS"}, // "ft" is said of both
	} {
		s.crs, s.unit = c.crs, c.unit
		src := open(t, Options{ZUnit: c.asked}, s.make(t, "ft.tif"))
		surface, f := load(t, src, 60)
		info := src.Infos()[0]
		if info.PlanUnit != "US survey foot" || info.VerticalUnit != c.name || info.VerticalUnitHow != c.how {
			t.Errorf("%s %q: plan %q, height %q by %q", c.crs, c.unit, info.PlanUnit, info.VerticalUnit, info.VerticalUnitHow)
		}
		dE, dN := surface.Gradient(f.ToFrame(f.Origin()))
		// Grid north is turned and the scale differs by up to 1e-4 from the
		// ground's; the steepest slope does not mind the turn.
		near(t, c.crs+" "+c.unit, math.Hypot(dE, dN), c.metres/ftUS, 2e-4*c.metres/ftUS)
	}
	s.crs, s.unit = "EPSG:2228+6360", ""
	if zero := open(t, Options{}, s.make(t, "d.tif")).Infos()[0].VerticalDatum; zero != "NAVD88 height (ftUS)" {
		t.Errorf("vertical datum %q", zero)
	}
}

func TestBadInput03UnitsThatContradictEachOtherStop(t *testing.T) {
	s := utm(50, 50, slope)
	s.crs = "EPSG:26910+6360" // heights in US survey feet
	path := s.make(t, "c.tif")
	vrt := filepath.Join(t.TempDir(), "c.vrt")
	virtual(t, path, vrt, "<UnitType>US survey foot</UnitType>", "<UnitType>m</UnitType>")
	_, err := Open([]string{vrt}, Options{})
	says(t, fault(t, err, "vertical_unit_conflict").Text, "metres", "US survey feet")
	if got := open(t, Options{ZUnit: "m"}, vrt).Infos()[0].VerticalUnit; got != "metre" {
		t.Errorf("the person's word did not win: %q", got)
	}
}

// virtual writes a virtual raster over path with one text exchanged.
func virtual(t testing.TB, path, vrt, old, replacement string) {
	t.Helper()
	ds, err := godal.Open(path)
	must(t, err)
	v, err := ds.Translate(vrt, []string{"-of", "VRT"})
	must(t, err)
	must(t, v.Close())
	must(t, ds.Close())
	text, err := os.ReadFile(vrt)
	must(t, err)
	changed := strings.Replace(string(text), old, replacement, 1)
	if changed == string(text) {
		t.Fatalf("%q is not in the virtual raster:\n%s", old, text)
	}
	must(t, os.WriteFile(vrt, []byte(changed), 0o600))
}

func TestBadInput04SwappedCoordinates(t *testing.T) {
	src := open(t, Options{ZUnit: "m"}, degrees(-70.05, -33, 0.001, 100).make(t, "d.tif"))
	track := []geodesy.LonLat{{Lon: -70, Lat: -33.05}, {Lon: -70.01, Lat: -33.06}}
	swapped := []geodesy.LonLat{{Lon: -33.05, Lat: -70}, {Lon: -33.06, Lat: -70.01}}
	if found, err := src.CheckPoints("the creek track", track); err != nil || len(found) > 0 {
		t.Errorf("good points: %v, %v", found, err)
	}
	_, err := src.CheckPoints("the creek track", swapped)
	says(t, fault(t, err, "points_outside_raster").Text, "coordinates of the creek track look swapped")
}

// A raster on another datum and projection is met at the right cell: a mark
// in one cell is found where another program, cs2cs, says that it is.
func TestBadInput05OtherCRSIsReprojected(t *testing.T) {
	s := spec{crs: "EPSG:23030", cols: 200, rows: 200, gt: [6]float64{270000, 10, 0, 4460000, 0, -10}, kind: godal.Float32,
		z: func(i, j int) float64 {
			if i == 120 && j == 90 {
				return 900
			}
			return 100
		}}
	src := open(t, Options{ZUnit: "m"}, s.make(t, "ed50.tif"))
	// Centre of the marked cell, 271205 E 4459095 N in ED50 / UTM 30N, by
	// `cs2cs EPSG:23030 EPSG:4326` (PROJ 9.1.1).
	mark := geodesy.LonLat{Lon: -5.69128232, Lat: 40.24917701}
	z, err := src.HeightNear(mark)
	must(t, err)
	near(t, "height at the mark", z, 900, 15) // a centimetre off its centre costs under a metre
	shift := has(t, src.Findings(), "datum_shift")
	says(t, shift.Text, "European Datum 1950", "GPS")
	surface, f := load(t, src, 900)
	if z, ok := surface.At(f.ToFrame(mark)); !ok || math.Abs(z-900) > 15 {
		t.Errorf("surface at the mark: %v, %v", z, ok)
	}
}

func TestBadInput06NoCRS(t *testing.T) {
	s := utm(100, 100, slope)
	s.crs = ""
	path := s.make(t, "nocrs.tif")
	_, err := Open([]string{path}, Options{ZUnit: "m"})
	f := fault(t, err, "no_crs")
	says(t, f.Hint, "--crs EPSG:n", "crs:")
	for _, asked := range []string{"EPSG:26910", "26910", "+proj=utm +zone=10 +datum=NAD83"} {
		src := open(t, Options{ZUnit: "m", CRS: asked}, path)
		if z, ok := loadMiddle(t, src); !ok || math.Abs(z-slope(50, 50)) > 0.6 {
			t.Errorf("%s: %v %v", asked, z, ok)
		}
	}
	_, err = Open([]string{path}, Options{ZUnit: "m", CRS: "EPSG:1"})
	fault(t, err, "bad_crs")

	d := degrees(10, 45, 0.001, 50)
	d.crs = ""
	_, err = Open([]string{d.make(t, "d.tif")}, Options{ZUnit: "m"})
	says(t, fault(t, err, "no_crs").Text, "look like degrees")

	e := utm(100, 100, slope)
	e.crs = `LOCAL_CS["mine grid",UNIT["metre",1]]`
	_, err = Open([]string{e.make(t, "eng.tif")}, Options{ZUnit: "m"})
	says(t, fault(t, err, "engineering_crs").Text, "mine grid", "local")

	// A label of degrees on metres.
	w := utm(100, 100, slope)
	w.crs = "EPSG:4326"
	_, err = Open([]string{w.make(t, "w.tif")}, Options{ZUnit: "m"})
	says(t, fault(t, err, "crs_mismatch").Text, "degrees")
}

// loadMiddle is the height at the middle of a source's first raster.
func loadMiddle(t testing.TB, src *Source) (float64, bool) {
	t.Helper()
	surface, f := load(t, src, 30)
	return surface.At(f.ToFrame(f.Origin()))
}

func TestBadInput07WebMercatorIsNotMetres(t *testing.T) {
	// At 60° north a metre of Web Mercator is half a metre on the ground
	// (on the sphere of its definition; 0.5009 m and 0.4999 m on the
	// ellipsoid by the radii of curvature there).
	merc := func(lon, lat float64) (x, y float64) {
		const a = 6378137
		return a * lon * math.Pi / 180, a * math.Log(math.Tan(math.Pi/4+lat*math.Pi/360))
	}
	x, y := merc(10, 60)
	s := spec{crs: "EPSG:3857", cols: 400, rows: 400, gt: [6]float64{x - 400, 2, 0, y + 400, 0, -2}, kind: godal.Float32,
		z: func(i, j int) float64 { return 100 + float64(i) }} // 1 m of height a cell of 2 map metres
	src := open(t, Options{ZUnit: "m"}, s.make(t, "merc.tif"))
	surface, f := load(t, src, 150)
	const nu, rho = 6394209.174, 6383453.857 // radii of curvature at 60° on WGS 84, from its a and f
	near(t, "cell along the parallel", src.Infos()[0].CellEastM, 2*nu*0.5/6378137, 1e-4)
	near(t, "cell along the meridian", src.Infos()[0].CellNorthM, 2*rho*0.5/6378137, 1e-4)
	dE, _ := surface.Gradient(f.ToFrame(f.Origin()))
	near(t, "slope", dE, 1/(2*nu*0.5/6378137), 1e-3)
}

func TestBadInput08NodataInEveryForm(t *testing.T) {
	nan, minus := math.NaN(), -3.4028234663852886e38
	hole := func(mark float64) func(i, j int) float64 {
		return func(i, j int) float64 {
			if i >= 45 && i < 55 && j >= 45 && j < 55 {
				return mark
			}
			return slope(i, j)
		}
	}
	f64 := func(v float64) *float64 { return &v }
	for _, c := range []struct {
		name     string
		mark     float64
		declared *float64
		kind     godal.DataType
		finding  string
	}{
		{"declared_nan", nan, f64(nan), godal.Float32, ""},
		{"undeclared_nan", nan, nil, godal.Float32, ""},
		{"declared_9999", -9999, f64(-9999), godal.Float32, ""},
		{"declared_float32_min", minus, f64(minus), godal.Float32, ""},
		{"undeclared_9999", -9999, nil, godal.Float32, "undeclared_nodata"},
		{"undeclared_32768", -32768, nil, godal.Int16, "undeclared_nodata"},
		{"undeclared_minus_3e38", minus, nil, godal.Float32, "undeclared_nodata"},
		{"undeclared_plus_3e38", -minus, nil, godal.Float32, "undeclared_nodata"},
		{"undeclared_zero", 0, nil, godal.Float32, "undeclared_nodata"},
		{"declared_but_another_used", -9999, f64(-32768), godal.Float32, "undeclared_nodata"},
		{"declared_zero", 0, f64(0), godal.Float64, ""},
		{"declared_decimal", 1234.1, f64(1234.1), godal.Float32, ""}, // not exact in float32
	} {
		t.Run(c.name, func(t *testing.T) {
			s := utm(100, 100, hole(c.mark))
			s.kind, s.noData = c.kind, c.declared
			src := open(t, Options{ZUnit: "m"}, s.make(t, "n.tif"))
			surface, f := load(t, src, 60)
			near(t, "void share", surface.VoidShare(), 100.0/10000, 1e-12)
			near(t, "nodata share", src.Infos()[0].NoDataShare, 100.0/10000, 1e-12)
			at := func(col, row float64) (float64, bool, error) {
				p := frameOf(t, f, "EPSG:26910", []float64{500000 + col}, []float64{4000000 - row})[0]
				z, ok := surface.At(p)
				return z, ok, surface.Why(p)
			}
			// Inside the hole, and within a cell of it: no height. Beyond: height.
			for _, p := range [][2]float64{{50, 50}, {45.5, 45.5}, {44.8, 50}, {55.2, 50}} {
				if z, ok, why := at(p[0], p[1]); ok || z == z || why != ErrNoData {
					t.Errorf("at %v: %v %v %v", p, z, ok, why)
				}
			}
			for _, p := range [][2]float64{{44.4, 50.5}, {55.6, 50.5}, {50.5, 44.4}, {20, 30}} {
				if z, ok, _ := at(p[0], p[1]); !ok || math.Abs(z-(100+0.5*(p[0]-0.5)-0.25*(p[1]-0.5))) > 0.51 {
					t.Errorf("at %v: %v %v", p, z, ok)
				}
			}
			if _, ok, why := at(-3, 50); ok || why != ErrOutside {
				t.Errorf("outside: %v", why)
			}
			if c.finding == "" {
				hasNot(t, surface.Findings(), "undeclared_nodata")
			} else {
				says(t, has(t, surface.Findings(), c.finding).Text, "100 cells")
			}
			middle := f.ToLonLat(frameOf(t, f, "EPSG:26910", []float64{500050}, []float64{3999950})[0])
			if z, err := src.HeightNear(middle); err == nil && c.mark != 0 {
				t.Errorf("HeightNear in the hole: %v", z)
			}
		})
	}
}

func TestBadInput08MaskBand(t *testing.T) {
	path := utm(64, 64, slope).make(t, "m.tif")
	ds, err := godal.Open(path, godal.Update())
	must(t, err)
	mask, err := ds.CreateMaskBand(0x02, godal.ConfigOption("GDAL_TIFF_INTERNAL_MASK=YES"))
	must(t, err)
	bits := make([]byte, 64*64)
	for k := range bits {
		if k%64 < 32 {
			bits[k] = 255
		}
	}
	must(t, mask.Write(0, 0, bits, 64, 64))
	must(t, ds.Close())
	src := open(t, Options{ZUnit: "m"}, path)
	surface, f := load(t, src, 40)
	near(t, "void share", surface.VoidShare(), 0.5, 1e-12)
	p := frameOf(t, f, "EPSG:26910", []float64{500010.5, 500050}, []float64{3999970.5, 3999970})
	if z, ok := surface.At(p[0]); !ok || math.Abs(z-slope(10, 29)) > 1e-3 {
		t.Errorf("unmasked: %v %v", z, ok)
	}
	if z, ok := surface.At(p[1]); ok {
		t.Errorf("masked: %v", z)
	}
}

func TestBadInput08AllVoid(t *testing.T) {
	minus := -9999.0
	s := utm(50, 50, func(i, j int) float64 { return minus })
	s.noData = &minus
	src := open(t, Options{ZUnit: "m"}, s.make(t, "v.tif"))
	f := site(t, src)
	_, err := src.Load(context.Background(), f, around(f, 20))
	fault(t, err, "no_height_in_window")
}

// The same ground stored as pixel-is-area and as pixel-is-point gives equal
// heights: GDAL moves the georeference by half a cell, once.
func TestBadInput09PixelIsPoint(t *testing.T) {
	area := utm(80, 80, slope)
	point := area
	point.metadata = map[string]string{"AREA_OR_POINT": "Point"}
	a := open(t, Options{ZUnit: "m"}, area.make(t, "a.tif"))
	b := open(t, Options{ZUnit: "m"}, point.make(t, "p.tif"))
	if got := b.files[0].ds.Metadata("AREA_OR_POINT"); got != "Point" {
		t.Fatalf("the test's file is not pixel-is-point: %q", got)
	}
	f := site(t, a)
	sa, err := a.Load(context.Background(), f, around(f, 30))
	must(t, err)
	sb, err := b.Load(context.Background(), f, around(f, 30))
	must(t, err)
	for i := 0; i < 200; i++ {
		p := orb.Point{float64(i%20) - 10.3, float64(i/20)*2 - 9.7}
		za, oka := sa.At(p)
		zb, okb := sb.At(p)
		if !oka || !okb || math.Abs(za-zb) > 1e-6 {
			t.Fatalf("at %v: %v %v, %v %v", p, za, oka, zb, okb)
		}
	}
}

func TestBadInput10Rotated(t *testing.T) {
	s := utm(50, 50, slope)
	c, n := math.Cos(0.1), math.Sin(0.1)
	s.gt = [6]float64{500000, c, n, 4000000, n, -c}
	_, err := Open([]string{s.make(t, "r.tif")}, Options{ZUnit: "m"})
	f := fault(t, err, "rotated_raster")
	says(t, f.Text, "5.7 degrees")
	says(t, f.Hint, "gdalwarp")
	for _, gt := range [][6]float64{{500000, 1, 0.2, 4000000, 0, -1}, {500000, 1, 0, 4000000, 0.2, -1}, {500000, 0, 1, 4000000, 1, 0}} {
		s.gt = gt // sheared either way, and turned by a right angle
		_, err := Open([]string{s.make(t, "s.tif")}, Options{ZUnit: "m"})
		fault(t, err, "rotated_raster")
	}
}

// The antimeridian in four dresses: one raster across it, two tiles that meet
// there, a raster of longitudes 0 to 360, and one that goes round the Earth.
func TestBadInput11Antimeridian(t *testing.T) {
	height := func(lon, lat float64) float64 { // lon unwrapped around 180
		return 500 + 4000*(turnTo(lon, 180, 360)-180) + 2000*(lat+10)
	}
	const step = 0.001
	tile := func(west float64, cols int) spec {
		return spec{crs: "EPSG:4326", cols: cols, rows: 100, gt: [6]float64{west, step, 0, -9.95, 0, -step}, kind: godal.Float64,
			z: func(i, j int) float64 { return height(west+(float64(i)+0.5)*step, -9.95-(float64(j)+0.5)*step) }}
	}
	world := spec{crs: "EPSG:4326", cols: 3600, rows: 100, gt: [6]float64{-180, 0.1, 0, -5, 0, -0.1}, kind: godal.Float64,
		z: func(i, j int) float64 {
			lon := turnTo(-180+(float64(i)+0.5)*0.1, 180, 360)
			return 500 + 10*math.Max(-20, math.Min(20, lon-180)) + 20*(-5-(float64(j)+0.5)*0.1+10)
		}}
	dir := t.TempDir()
	write := func(name string, s spec) string {
		register()
		path := filepath.Join(dir, name)
		s.write(t, path)
		return path
	}
	for _, c := range []struct {
		name  string
		paths []string
		half  float64
		want  func(lon, lat float64) float64
	}{
		{"across", []string{write("a.tif", tile(179.95, 100))}, 3000, height},
		{"across_negative", []string{write("n.tif", tile(-180.05, 100))}, 3000, height},
		{"two_tiles", []string{write("w.tif", tile(179.95, 50)), write("e.tif", tile(-180, 50))}, 3000, height},
		{"round_the_earth", []string{write("world.tif", world)}, 30000, func(lon, lat float64) float64 {
			return 500 + 10*(turnTo(lon, 180, 360)-180) + 20*(lat+10)
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			src := open(t, Options{ZUnit: "m"}, c.paths...)
			f := frameAt(t, geodesy.LonLat{Lon: -179.9999, Lat: -10})
			if !src.Covers(f.Origin()) || !src.Covers(geodesy.LonLat{Lon: 179.9999, Lat: -10}) {
				t.Error("the place is not covered")
			}
			surface, err := src.Load(context.Background(), f, around(f, c.half))
			must(t, err)
			hasNot(t, surface.Findings(), "tile_step")
			r := rand.New(rand.NewPCG(11, 11)) // seed 11
			for i := 0; i < 500; i++ {
				p := orb.Point{(2*r.Float64() - 1) * c.half, (2*r.Float64() - 1) * c.half}
				at := f.ToLonLat(p)
				z, ok := surface.At(p)
				if want := c.want(at.Lon, at.Lat); !ok || math.Abs(z-want) > 0.005 {
					t.Fatalf("at %v: %v %v, want %v", at, z, ok, want)
				}
			}
		})
	}
	merc := spec{crs: "EPSG:3857", cols: 200, rows: 200, gt: [6]float64{20037508.342789244 - 1000, 10, 0, -1118889.97 + 1000, 0, -10}, kind: godal.Float64,
		z: func(i, j int) float64 { return 400 + float64(i) }}
	mercator := open(t, Options{ZUnit: "m"}, write("merc.tif", merc))
	for lon, want := range map[float64]float64{179.9955: 449.4, -179.9955: 549.6} { // 0.0045 degrees are 500.9 map metres
		z, err := mercator.HeightNear(geodesy.LonLat{Lon: lon, Lat: -10})
		must(t, err)
		near(t, "Web Mercator", z, want, 0.02)
	}
	f := frameAt(t, geodesy.LonLat{Lon: 180, Lat: -10})
	surface, err := mercator.Load(context.Background(), f, around(f, 500))
	must(t, err)
	for _, e := range []float64{-400, -1, 0, 1, 400} { // a map metre is cos(10°) on the sphere of its definition
		at := f.ToLonLat(orb.Point{e, 0})
		z, ok := surface.At(orb.Point{e, 0})
		want := 400 + (turnTo(at.Lon, 180, 360)-180)*math.Pi/180*6378137/10 + 99.5
		if !ok || math.Abs(z-want) > 0.002 {
			t.Errorf("Web Mercator at %v: %v %v, want %v", e, z, ok, want)
		}
	}
	east := tile(205, 100) // longitudes 0 to 360: the site is at -154.95
	east.z = func(i, j int) float64 { return 700 + float64(i) }
	src := open(t, Options{ZUnit: "m"}, write("360.tif", east))
	z, err := src.HeightNear(geodesy.LonLat{Lon: -154.95 + step/2, Lat: -10})
	must(t, err)
	near(t, "0 to 360", z, 750, 0.01)
}

func TestBadInput15OffTheRaster(t *testing.T) {
	src := open(t, Options{ZUnit: "m"}, utm(100, 100, slope).make(t, "o.tif"))
	f := site(t, src)
	in, out := f.Origin(), f.ToLonLat(orb.Point{500, 0})
	found, err := src.CheckPoints("the creek track", []geodesy.LonLat{in, out, out})
	must(t, err)
	says(t, has(t, found, "points_outside_raster").Text, "2 of 3 points of the creek track lie outside the raster", "extent: latitude 36.1", "longitude -123.0")
	_, err = src.CheckPoints("the creek track", []geodesy.LonLat{out, out})
	says(t, fault(t, err, "points_outside_raster").Text, "2 of 2 points")
	if src.Covers(out) || !src.Covers(in) {
		t.Error("Covers")
	}
	if z, err := src.HeightNear(out); err == nil || z == z {
		t.Errorf("height outside: %v", z)
	}
	_, err = src.Load(context.Background(), f, orb.Bound{Min: orb.Point{1000, 0}, Max: orb.Point{1100, 100}})
	says(t, fault(t, err, "outside_raster").Text, "outside the raster; extent")
	surface, err := src.Load(context.Background(), f, orb.Bound{Min: orb.Point{0, 0}, Max: orb.Point{100, 40}})
	must(t, err)
	says(t, has(t, surface.Findings(), "area_partly_outside").Text, "about 5")
	if b := surface.Bound(); math.Abs(b.Max[0]-49.5) > 0.5 || b.Min[0] != 0 {
		t.Errorf("bound %v", b)
	}
	if z, ok := surface.At(orb.Point{80, 20}); ok || z == z || surface.Why(orb.Point{80, 20}) != ErrOutside {
		t.Errorf("a height outside: %v", z)
	}
}

func TestBadInput16UnknownCompression(t *testing.T) {
	path := utm(16, 16, slope).make(t, "c.tif")
	data, err := os.ReadFile(path)
	must(t, err)
	// The entry of tag 259, Compression: type SHORT, one value, 1 = none
	// (TIFF 6.0, page 30); 34925 is LZMA, which few builds have, 65123 none.
	entry := []byte{3, 1, 3, 0, 1, 0, 0, 0, 1, 0}
	at := strings.Index(string(data), string(entry))
	if at < 0 {
		t.Fatal("no compression tag")
	}
	binary.LittleEndian.PutUint16(data[at+8:], 65123)
	must(t, os.WriteFile(path, data, 0o600))
	_, err = Open([]string{path}, Options{ZUnit: "m"})
	f := fault(t, err, "compression_unsupported")
	says(t, f.Text, "65123")
}

func TestBadInput17TruncatedTIFF(t *testing.T) {
	s := utm(512, 512, func(i, j int) float64 { return float64(i*j%97) + 100 })
	s.create = []string{"TILED=YES", "BLOCKXSIZE=128", "BLOCKYSIZE=128"}
	path := s.make(t, "t.tif")
	stat, err := os.Stat(path)
	must(t, err)
	must(t, os.Truncate(path, stat.Size()*3/4))
	src, err := Open([]string{path}, Options{ZUnit: "m"})
	must(t, err)
	t.Cleanup(func() { must(t, src.Close()) })
	f := site(t, src)
	_, err = src.Load(context.Background(), f, around(f, 250))
	bad := fault(t, err, "raster_damaged")
	says(t, bad.Text, "block", "byte", fmt.Sprintf("%d bytes", stat.Size()*3/4), "rows")
	says(t, bad.Hint, "cut short")

	// Cut inside the header, and not a raster at all.
	must(t, os.Truncate(path, 60))
	_, err = Open([]string{path}, Options{ZUnit: "m"})
	if c := code(err); c != "raster_unreadable" && c != "not_a_raster" {
		t.Errorf("cut header: %v", err)
	}
	text := filepath.Join(t.TempDir(), "notes.txt")
	must(t, os.WriteFile(text, []byte("dear surveyor\n"), 0o600))
	_, err = Open([]string{text}, Options{ZUnit: "m"})
	fault(t, err, "not_a_raster")
	_, err = Open([]string{filepath.Join(t.TempDir(), "gone.tif")}, Options{ZUnit: "m"})
	if f := fault(t, err, "file_not_found"); !os.IsNotExist(f.Err) {
		t.Errorf("cause %v", f.Err)
	}
	// Every file that is wrong is named.
	_, err = Open([]string{text, filepath.Join(t.TempDir(), "gone.tif")}, Options{ZUnit: "m"})
	fault(t, err, "not_a_raster")
	fault(t, err, "file_not_found")
}

func TestBadInput18CoarseSteps(t *testing.T) {
	rough := func(i, j int) float64 {
		return 200 + 30*math.Sin(float64(i)/17) + 20*math.Cos(float64(j)/23)
	}
	for _, c := range []struct {
		name  string
		kind  godal.DataType
		unit  string
		scale float64
		step  float64 // of stored values
		stepM float64 // expected, metres; 0 for none
		warns bool
	}{
		{"int16_metre", godal.Int16, "m", 0, 1, 1, true},
		{"float_whole_metre", godal.Float32, "m", 0, 1, 1, true},
		{"five_metres", godal.Float32, "m", 0, 5, 5, true},
		{"half_metre", godal.Float32, "m", 0, 0.5, 0.5, true},
		{"whole_feet", godal.Int16, "ft", 0, 1, 0.3048, false},
		{"decimetres", godal.Int16, "m", 0.1, 1, 0.1, false},
		{"float", godal.Float32, "m", 0, 0, 0, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := utm(120, 120, func(i, j int) float64 {
				v := rough(i, j)
				if c.scale != 0 {
					v /= c.scale
				}
				if c.step != 0 {
					v = math.Round(v/c.step) * c.step
				} else {
					v += 0.07 * noiseAt(i, j) // detail, as real ground has
				}
				return v
			})
			s.kind, s.scale = c.kind, c.scale
			surface, _ := load(t, open(t, Options{ZUnit: c.unit}, s.make(t, "q.tif")), 70)
			// Rounding to a step is uniform: sigma = step/√12.
			want := math.Hypot(LidarForest.NuggetM, c.stepM/math.Sqrt(12))
			near(t, "nugget", surface.Error().NuggetM, want, 1e-9)
			if c.warns {
				f := has(t, surface.Findings(), "coarse_steps")
				near(t, "step", f.Values[0].SI, c.stepM, 1e-9)
			} else {
				hasNot(t, surface.Findings(), "coarse_steps")
			}
		})
	}
}

// A few cells between the steps do not hide them; a lake at a round height
// does not make steps out of good ground.
func TestBadInput18StepsWithExceptionsAndLakes(t *testing.T) {
	rough := func(i, j int) float64 { return 200 + 30*math.Sin(float64(i)/17) + 20*math.Cos(float64(j)/23) }
	stepped := utm(120, 120, func(i, j int) float64 {
		if (i*7+j*13)%100 == 0 {
			return rough(i, j)
		}
		return math.Round(rough(i, j))
	})
	surface, _ := load(t, open(t, Options{ZUnit: "m"}, stepped.make(t, "s.tif")), 70)
	near(t, "step", has(t, surface.Findings(), "coarse_steps").Values[0].SI, 1, 1e-9)
	lake := utm(120, 120, func(i, j int) float64 {
		if i < 117 {
			return 200
		}
		return rough(i, j)
	})
	surface, _ = load(t, open(t, Options{ZUnit: "m"}, lake.make(t, "l.tif")), 70)
	hasNot(t, surface.Findings(), "coarse_steps")
}

func TestBadInput19SurfaceModel(t *testing.T) {
	for name, want := range map[string]bool{
		"town_DSM_1m.tif": true, "dsm.tif": true, "first_return.tif": true,
		"goodsmith_creek.tif": false, "merit_srtm_creek.tif": false, "dtm.tif": false,
	} {
		src := open(t, Options{ZUnit: "m"}, utm(20, 20, slope).make(t, name))
		if got := src.Infos()[0].SurfaceModel; got != want {
			t.Errorf("%s: surface model %v", name, got)
		}
		if want {
			says(t, has(t, src.Findings(), "surface_model").Text, "trees and roofs")
		}
	}
	for name, want := range map[string]string{
		"Copernicus_DSM_COG_10_N46_00_E011_00_DEM.tif": "Copernicus GLO-30", "n46_e011_1arc_v3.tif": "cells of", "srtm_30.tif": "SRTM", "ALPSMLC30_AW3D30.tif": "ALOS AW3D30",
	} {
		s := degrees(11, 46, 1.0/3600, 50)
		src := open(t, Options{ZUnit: "m"}, s.make(t, name))
		info := src.Infos()[0]
		says(t, info.AccuracyWhy, want)
		if info.AccuracyClass != Global30.Class || !info.ScreeningOnly {
			t.Errorf("%s: %s, screening %v", name, info.AccuracyClass, info.ScreeningOnly)
		}
	}
}

// A raster of 200 000 x 200 000 cells takes no disk as a virtual raster
// without sources; a window of all of it is refused before it is read.
func TestBadInput24HugeRaster(t *testing.T) {
	vrt := `<VRTDataset rasterXSize="200000" rasterYSize="200000"><SRS>EPSG:26910</SRS>
<GeoTransform>400000, 1, 0, 4100000, 0, -1</GeoTransform>
<VRTRasterBand dataType="Float32" band="1"><UnitType>m</UnitType></VRTRasterBand></VRTDataset>`
	path := filepath.Join(t.TempDir(), "huge.vrt")
	must(t, os.WriteFile(path, []byte(vrt), 0o600))
	src := open(t, Options{}, path)
	f := site(t, src)
	_, err := src.Load(context.Background(), f, around(f, 30000))
	bad := fault(t, err, "window_too_large")
	says(t, bad.Text, "million", "13.4", "GiB of memory", "2.0 GiB are allowed")
	small := open(t, Options{MaxBytes: 1 << 20}, path)
	_, err = small.Load(context.Background(), f, around(f, 270)) // 544 x 544 x 4 bytes are 1.13 MiB
	fault(t, err, "window_too_large")
	if _, err = small.Load(context.Background(), f, around(f, 250)); code(err) == "window_too_large" {
		t.Errorf("a window of 504 x 504 x 4 bytes fits into a MiB: %v", err)
	}
	// A mask takes memory as well, and so do tiles while they are put together.
	one := window{file: &file{}, cols: 100, rows: 100}
	masked := window{file: &file{masked: true, wide: true}, cols: 100, rows: 100}
	for _, c := range []struct {
		windows []window
		want    int64
	}{{[]window{one}, 40000}, {[]window{masked}, 90000}, {[]window{one, one}, 40000 + 20000 + 40000}} {
		if got := (sheetPlan{windows: c.windows, cols: 100, rows: 100}).bytes(); got != c.want {
			t.Errorf("%d windows: %d bytes, want %d", len(c.windows), got, c.want)
		}
	}
}

func TestBadInput25ThePersonsWordWinsAndIsEchoed(t *testing.T) {
	s := utm(60, 60, slope)
	s.unit = "ft"
	path := s.make(t, "u.tif")
	src := open(t, Options{ZUnit: "m", CRS: "EPSG:26911"}, path)
	says(t, has(t, src.Findings(), "vertical_unit_overridden").Text, "taken as metres as asked", "says feet")
	says(t, has(t, src.Findings(), "crs_overridden").Text, "EPSG:26911", "EPSG:26910")
	info := src.Infos()[0]
	if info.VerticalUnit != "metre" || !strings.Contains(info.VerticalUnitHow, "asked for") || !strings.Contains(info.CRS, "26911") {
		t.Errorf("effective values %+v", info)
	}
	z, ok := loadMiddle(t, src)
	if !ok || math.Abs(z-slope(30, 30)) > 0.6 {
		t.Errorf("height %v %v", z, ok)
	}
	has(t, open(t, Options{ZUnit: "us-ft"}, path).Findings(), "vertical_unit_overridden") // 2 parts in a million, and yet another unit
	same := open(t, Options{ZUnit: "ft", CRS: "EPSG:26910"}, path)
	hasNot(t, same.Findings(), "vertical_unit_overridden")
	hasNot(t, same.Findings(), "crs_overridden")
	_, err := Open([]string{path}, Options{ZUnit: "feet?"})
	fault(t, err, "bad_z_unit")
}

func TestBadInput27SeamsBetweenTiles(t *testing.T) {
	r := rand.New(rand.NewPCG(27, 27)) // seed 27
	noise := make([]float64, 400*400)
	for i := range noise {
		noise[i] = 0.03 * r.NormFloat64()
	}
	ground := func(i, j int) float64 {
		return 100 + 5*math.Sin(float64(i)/11) + 3*math.Cos(float64(j)/13) + noise[j*400+i]
	}
	// Two tiles of the same ground; the second starts at column from, shifted
	// by part of a cell where it is not on the same grid, and raised by up.
	pair := func(from int, part, up float64) []string {
		a := utm(100, 120, ground)
		b := utm(100, 120, func(i, j int) float64 { return ground(i+from, j) + up })
		b.gt[0] += float64(from) + part
		return []string{a.make(t, "west.tif"), b.make(t, "east.tif")}
	}
	for _, c := range []struct {
		name string
		from int
		part float64
		up   float64
		step bool
	}{
		{"adjoining", 100, 0, 0, false},
		{"adjoining_step", 100, 0, 0.5, true},
		{"overlapping", 80, 0, 0, false},
		{"overlapping_step", 80, 0, 0.3, true},
		{"other_grid", 80, 0.01, 0, false},
		{"other_grid_step", 80, 0.01, 0.8, true},
		{"other_grid_adjoining", 100, 0.01, 0, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			src := open(t, Options{ZUnit: "m"}, pair(c.from, c.part, c.up)...)
			f := frameAt(t, geodesy.LonLat{Lon: -123 + 0.00111, Lat: 36.1441})
			// The middle of both tiles, from their plan coordinates.
			ends := frameOf(t, f, "EPSG:26910", []float64{500002, 500000 + float64(c.from) + 95, 500000 + float64(c.from)}, []float64{3999940, 3999940, 3999940})
			area := orb.MultiPoint(ends).Bound().Pad(30)
			surface, err := src.Load(context.Background(), f, area)
			must(t, err)
			for i := 0; i <= 400; i++ { // no gap on the way from end to end
				w := float64(i) / 400
				p := orb.Point{ends[0][0] + w*(ends[1][0]-ends[0][0]), ends[0][1] + w*(ends[1][1]-ends[0][1])}
				if _, ok := surface.At(p); !ok {
					t.Fatalf("gap at %.2f of the way: %v", w, surface.Why(p))
				}
			}
			plain := surface.Error().DropSigma(math.Hypot(ends[0][0]-ends[1][0], ends[0][1]-ends[1][1]))
			sigma := surface.DiffSigma(ends[0], ends[1])
			if !c.step {
				hasNot(t, surface.Findings(), "tile_step")
				near(t, "sigma", sigma, plain, 1e-12)
				return
			}
			found := has(t, surface.Findings(), "tile_step")
			says(t, found.Text, "west.tif", "east.tif", "{0}")
			near(t, "step", found.Values[0].SI, c.up, 0.05)
			near(t, "sigma across the seam", sigma, math.Hypot(plain, found.Values[0].SI), 1e-9)
			near(t, "sigma on one side", surface.DiffSigma(ends[0], orb.Point{ends[0][0] + 10, ends[0][1]}), surface.Error().DropSigma(10), 1e-9)
		})
	}
}

// A tile that fills a hole of another meets it on all four sides: the step has
// one sign, whichever way an edge is crossed.
func TestBadInput27StepAroundAHole(t *testing.T) {
	noData := -1.0
	bumps := func(i, j int) float64 { return 100 + noiseAt(i, j)*0.05 }
	outer := utm(60, 60, func(i, j int) float64 {
		if i >= 20 && i < 40 && j >= 20 && j < 40 {
			return noData
		}
		return bumps(i, j)
	})
	outer.noData = &noData
	inner := utm(20, 20, func(i, j int) float64 { return bumps(i+20, j+20) + 0.6 })
	inner.gt[0], inner.gt[3] = inner.gt[0]+20, inner.gt[3]-20
	src := open(t, Options{ZUnit: "m"}, outer.make(t, "outer.tif"), inner.make(t, "inner.tif"))
	surface, _ := load(t, src, 40)
	near(t, "step", has(t, surface.Findings(), "tile_step").Values[0].SI, 0.6, 0.03)
}

// Between tiles on different grids the height runs from one to the other
// without a jump, whatever the two differ by.
func TestBetweenTilesOnDifferentGrids(t *testing.T) {
	west := utm(50, 60, func(i, j int) float64 { return 100 })
	east := utm(50, 60, func(i, j int) float64 { return 101 })
	east.gt[0] += 50.2
	src := open(t, Options{ZUnit: "m"}, west.make(t, "w.tif"), east.make(t, "e.tif"))
	f := site(t, src)
	surface, err := src.Load(context.Background(), f, around(f, 100))
	must(t, err)
	last := 100.0
	for col := 45.0; col < 55; col += 0.01 {
		p := frameOf(t, f, "EPSG:26910", []float64{500000 + col}, []float64{3999970})[0]
		z, ok := surface.At(p)
		if !ok || z < last-1e-9 || z > last+0.011 { // the strip is 1.2 m wide
			t.Fatalf("column %.2f: %v %v after %v", col, z, ok, last)
		}
		last = z
	}
	near(t, "in the eastern tile", last, 101, 1e-9)
}

func TestVerticalDatumsThatDiffer(t *testing.T) {
	a, b := utm(20, 20, slope), utm(20, 20, slope)
	a.crs = "EPSG:26910+5703"
	src := open(t, Options{ZUnit: "m"}, a.make(t, "a.tif"), b.make(t, "b.tif"))
	says(t, has(t, src.Findings(), "vertical_datum_mixed").Text, "a.tif are on NAVD88 height", "b.tif are on a datum that is not stated")
	if d := src.Infos()[0].VerticalDatum; d != "NAVD88 height" {
		t.Errorf("datum %q", d)
	}
}

// A projected CRS in which the raster's coordinates have no place.
func TestCoordinatesThatHaveNoPlace(t *testing.T) {
	s := utm(20, 20, slope)
	s.gt[0], s.gt[3] = 5e8, 9e9
	_, err := Open([]string{s.make(t, "far.tif")}, Options{ZUnit: "m"})
	says(t, fault(t, err, "crs_mismatch").Text, "have no place in NAD83 / UTM zone 10N")
}

// A virtual raster keeps its mark for "no data" with more digits than its
// cells have.
func TestBadInput08MarkWithMoreDigitsThanTheCells(t *testing.T) {
	path := utm(40, 40, func(i, j int) float64 {
		if i < 10 {
			return 1234.1 // 1234.0999755859375 in float32
		}
		return 100
	}).make(t, "v.tif")
	vrt := filepath.Join(t.TempDir(), "v.vrt")
	virtual(t, path, vrt, "<ColorInterp>", "<NoDataValue>1234.1</NoDataValue><ColorInterp>")
	src := open(t, Options{ZUnit: "m"}, vrt)
	surface, f := load(t, src, 30)
	near(t, "void share", surface.VoidShare(), 0.25, 1e-12)
	p := f.ToLonLat(frameOf(t, f, "EPSG:26910", []float64{500005}, []float64{3999980})[0])
	if z, err := src.HeightNear(p); err == nil {
		t.Errorf("HeightNear in the void: %v", z)
	}
}
