package dem

import (
	"context"
	"io/fs"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/airbusgeo/godal"
	"github.com/paulmach/orb"

	"route/internal/geodesy"
	"route/internal/profile"
)

var _ profile.Ground = (*Surface)(nil)

// A formula that is bilinear in the frame is met exactly, with its gradient,
// all over the area and on its edges; a hole is a hole.
func TestFromFunc(t *testing.T) {
	z := func(e, n float64) float64 { return 50 + 0.02*e - 0.01*n + 1e-4*e*n }
	area := orb.Bound{Min: orb.Point{-100.3, 20}, Max: orb.Point{57, 140.7}}
	s := FromFunc(area, 2.5, z)
	r := rand.New(rand.NewPCG(14, 15)) // seed 14, 15
	points := []orb.Point{area.Min, area.Max, {area.Min[0], area.Max[1]}, {area.Max[0], area.Min[1]}}
	for i := 0; i < 1000; i++ {
		points = append(points, orb.Point{area.Min[0] + r.Float64()*157.3, area.Min[1] + r.Float64()*120.7})
	}
	for _, p := range points {
		have, ok := s.At(p)
		if !ok {
			t.Fatalf("no height at %v", p)
		}
		near(t, "height", have, z(p[0], p[1]), 1e-9)
		dE, dN := s.Gradient(p)
		near(t, "slope east", dE, 0.02+1e-4*p[1], 1e-9)
		near(t, "slope north", dN, -0.01+1e-4*p[0], 1e-9)
	}
	if s.CellM() != 2.5 || s.Bound() != area || s.VoidShare() != 0 || s.DiffSigma(points[0], points[1]) != 0 {
		t.Errorf("cell %v, bound %v, void %v", s.CellM(), s.Bound(), s.VoidShare())
	}
	if s.WithError(LidarForest).DiffSigma(orb.Point{0, 0}, orb.Point{30, 0}) != LidarForest.DropSigma(30) {
		t.Error("WithError")
	}
	hole := FromFunc(area, 2.5, func(e, n float64) float64 {
		if math.Hypot(e, n-80) < 10 {
			return math.NaN()
		}
		return 1
	})
	if _, ok := hole.At(orb.Point{0, 80}); ok || hole.Why(orb.Point{0, 80}) != ErrNoData || hole.Why(orb.Point{500, 0}) != ErrOutside || hole.Why(orb.Point{40, 40}) != nil {
		t.Error("the hole is not a hole")
	}
}

// Heights between cell centres lie between those of the cells around, and a
// cell's own height stands at its centre: properties of any bilinear surface,
// on a rough one.
func TestBilinearProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(16, 17)) // seed 16, 17
	values := make([]float64, 60*60)
	for i := range values {
		values[i] = 100 + 10*r.Float64()
	}
	src := open(t, Options{ZUnit: "m"}, utm(60, 60, func(i, j int) float64 { return values[j*60+i] }).make(t, "r.tif"))
	surface, f := load(t, src, 40)
	for k := 0; k < 500; k++ {
		i, j := 1+r.IntN(57), 1+r.IntN(57)
		fx, fy := r.Float64(), r.Float64()
		at := func(col, row float64) float64 {
			p := frameOf(t, f, "EPSG:26910", []float64{500000.5 + col}, []float64{3999999.5 - row})[0]
			z, ok := surface.At(p)
			if !ok {
				t.Fatalf("no height at %v, %v: %v", col, row, surface.Why(p))
			}
			return z
		}
		near(t, "at the centre", at(float64(i), float64(j)), float64(float32(values[j*60+i])), 0.004) // slopes of up to 10
		z00, z10, z01, z11 := values[j*60+i], values[j*60+i+1], values[(j+1)*60+i], values[(j+1)*60+i+1]
		z := at(float64(i)+fx, float64(j)+fy)
		lo, hi := min(z00, z10, z01, z11), max(z00, z10, z01, z11)
		if z < lo-0.004 || z > hi+0.004 {
			t.Errorf("%v outside %v to %v", z, lo, hi)
		}
		near(t, "bilinear", z, (z00*(1-fx)+z10*fx)*(1-fy)+(z01*(1-fx)+z11*fx)*fy, 0.004)
	}
}

// Between a void and the edge the outermost cell centres still answer.
func TestEdgesOfTheRaster(t *testing.T) {
	src := open(t, Options{ZUnit: "m"}, utm(20, 20, slope).make(t, "e.tif"))
	surface, f := load(t, src, 50)
	for _, c := range []struct {
		col, row float64 // from cell centres
		ok       bool
	}{{0, 0, true}, {19, 19, true}, {0, 19, true}, {7.3, 0, true}, {19, 3.3, true}, {-0.02, 5, false}, {5, 19.02, false}, {19.4, 4, false}} {
		p := frameOf(t, f, "EPSG:26910", []float64{500000.5 + c.col}, []float64{3999999.5 - c.row})[0]
		z, ok := surface.At(p)
		if ok != c.ok || ok && math.Abs(z-(100+0.5*c.col-0.25*c.row)) > 1e-3 {
			t.Errorf("%v: %v %v", c, z, ok)
		}
	}
}

// gdallocationinfo, another program, names the same cell heights at places
// given in degrees.
func TestAgainstGdallocationinfo(t *testing.T) {
	program, err := exec.LookPath("gdallocationinfo")
	if err != nil {
		t.Skip("gdallocationinfo is not installed")
	}
	dir := terrainDir(t)
	for _, name := range []string{"jerte_spain/dem_25m_int_ed50.tif", "sagehen_creek_ca/dem_ned_third_arcsec.tif", "coast_range_or/dem_3dep_10m_wrong_zone_utm15.tif", "tirol_alr/dem_5m.tif", "pathologies/synth_from_gabilan/south_up_gab.tif"} {
		path := filepath.Join(dir, name)
		src := open(t, Options{ZUnit: "m"}, path)
		surface, f := load(t, src, 30*src.files[0].info.CellM)
		file := src.files[0]
		var places strings.Builder
		var have []float64
		// Centres of cells around the middle, taken to degrees by PROJ.
		for k := 0; k < 60; k++ {
			x, y := file.affine.plan(float64(file.cols/2-15+k%30)+0.5, float64(file.rows/2-11+k/3)+0.5)
			xs, ys := []float64{x}, []float64{y}
			file.toWGS.convert(xs, ys)
			z, ok := surface.At(f.ToFrame(geodesy.LonLat{Lon: xs[0], Lat: ys[0]}))
			if !ok {
				t.Fatalf("%s: no height at %v %v", name, xs[0], ys[0])
			}
			have = append(have, z)
			places.WriteString(strconv.FormatFloat(xs[0], 'f', 12, 64) + " " + strconv.FormatFloat(ys[0], 'f', 12, 64) + "\n")
		}
		cmd := exec.Command(program, "-valonly", "-wgs84", path)
		cmd.Stdin = strings.NewReader(places.String())
		out, err := cmd.Output()
		must(t, err)
		lines := strings.Fields(string(out))
		if len(lines) != len(have) {
			t.Fatalf("%s: %d answers for %d places", name, len(lines), len(have))
		}
		for i, text := range lines {
			want, err := strconv.ParseFloat(text, 64)
			must(t, err)
			near(t, name, have[i], want, 0.02) // 1e-3 cell on a slope of up to 20 m a cell
		}
	}
}

// Two files in different units and one surface: each in its own.
func TestTilesInDifferentUnits(t *testing.T) {
	metres := utm(50, 60, func(i, j int) float64 { return 100 + float64(i) })
	metres.unit = "m"
	feet := utm(50, 60, func(i, j int) float64 { return (100 + float64(i) + 50) / 0.3048 })
	feet.unit = "ft"
	feet.gt[0] += 50
	src := open(t, Options{}, metres.make(t, "m.tif"), feet.make(t, "ft.tif"))
	f := site(t, src)
	surface, err := src.Load(context.Background(), f, around(f, 100))
	must(t, err)
	for col := 0.5; col < 98; col += 0.9 {
		p := frameOf(t, f, "EPSG:26910", []float64{500000.5 + col}, []float64{3999970})[0]
		z, ok := surface.At(p)
		if !ok || math.Abs(z-100-col) > 2e-3 {
			t.Fatalf("column %v: %v %v", col, z, ok)
		}
	}
	hasNot(t, surface.Findings(), "tile_step")
}

// The first listed wins where tiles overlap, and a later one fills its voids.
func TestFirstListedWins(t *testing.T) {
	noData := -1.0
	top := utm(40, 40, func(i, j int) float64 {
		if i < 10 {
			return noData
		}
		return 200
	})
	top.noData = &noData
	below := utm(40, 40, func(i, j int) float64 { return 100 })
	src := open(t, Options{ZUnit: "m"}, top.make(t, "top.tif"), below.make(t, "below.tif"))
	surface, f := load(t, src, 30)
	for col, want := range map[float64]float64{5: 100, 20: 200} {
		p := frameOf(t, f, "EPSG:26910", []float64{500000.5 + col}, []float64{3999980})[0]
		if z, ok := surface.At(p); !ok || z != want {
			t.Errorf("column %v: %v %v", col, z, ok)
		}
	}
}

// Reading leaves nothing beside the person's files, and hundreds of
// goroutines may read one surface and one source.
func TestNothingIsWrittenAndConcurrentUse(t *testing.T) {
	dir := t.TempDir()
	register()
	s := utm(200, 200, slope)
	s.write(t, filepath.Join(dir, "a.tif"))
	s.unit = "ft"
	s.write(t, filepath.Join(dir, "b.tif"))
	if root := os.Getenv("ROUTE_TERRAIN"); root != "" {
		copyDir(t, filepath.Join(root, "pathologies", "synth_from_gabilan"), dir)
	}
	before := listing(t, dir)
	for _, path := range before {
		src, err := Open([]string{filepath.Join(dir, path)}, Options{ZUnit: "m", CRS: "EPSG:26910"})
		if err == nil {
			f := site(t, src)
			if _, err := src.Load(context.Background(), f, around(f, 100)); err == nil {
				src.Infos()
			}
		}
		if src != nil {
			must(t, src.Close())
		}
	}
	if after := listing(t, dir); strings.Join(after, "\n") != strings.Join(before, "\n") {
		t.Errorf("files before: %v\nafter: %v", before, after)
	}

	src := open(t, Options{ZUnit: "m"}, filepath.Join(dir, "a.tif"))
	surface, f := load(t, src, 80)
	var wait sync.WaitGroup
	for g := 0; g < 16; g++ {
		wait.Add(1)
		go func() {
			defer wait.Done()
			r := rand.New(rand.NewPCG(18, uint64(g))) // seed 18 and the goroutine
			for i := 0; i < 300; i++ {
				p := orb.Point{100*r.Float64() - 50, 100*r.Float64() - 50}
				z, ok := surface.At(p)
				if i%100 != 0 {
					continue
				}
				near, err := src.HeightNear(f.ToLonLat(p))
				if !ok || err != nil || math.Abs(near-z) > 1e-3 {
					t.Errorf("at %v: %v %v, %v %v", p, z, ok, near, err)
				}
				surface.Gradient(p)
				surface.DiffSigma(p, orb.Point{})
				src.Infos()
				src.Findings()
			}
			if _, err := src.Load(context.Background(), f, around(f, 20)); err != nil {
				t.Error(err)
			}
		}()
	}
	wait.Wait()
}

func listing(t testing.TB, dir string) []string {
	t.Helper()
	var names []string
	entries, err := os.ReadDir(dir)
	must(t, err)
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names
}

func copyDir(t testing.TB, from, to string) {
	t.Helper()
	must(t, filepath.WalkDir(from, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		return os.WriteFile(filepath.Join(to, d.Name()), data, 0o600)
	}))
}

// A cancelled context stops a load; progress counts rows up to all of them.
func TestCancelAndProgress(t *testing.T) {
	path := utm(300, 900, slope).make(t, "c.tif")
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	src := open(t, Options{ZUnit: "m"}, path)
	f := site(t, src)
	if _, err := src.Load(ctx, f, around(f, 100)); err != context.Canceled {
		t.Errorf("have %v", err)
	}
	var steps []int
	total := 0
	src = open(t, Options{ZUnit: "m", Record: func(done, all int) { steps, total = append(steps, done), all }}, path)
	_, err := src.Load(context.Background(), f, around(f, 1000))
	must(t, err)
	if total != 900 || len(steps) < 5 || steps[len(steps)-1] != 900 {
		t.Errorf("total %d, steps %v", total, steps)
	}
}

// Sidecar files count: a world file and a .prj place a bare TIFF.
func TestSidecars(t *testing.T) {
	s := utm(30, 30, slope)
	s.crs, s.gt = "", [6]float64{}
	path := s.make(t, "bare.tif")
	_, err := Open([]string{path}, Options{ZUnit: "m", CRS: "EPSG:26910"})
	fault(t, err, "no_georeference")
	world := "1\n0\n0\n-1\n500000.5\n3999999.5\n" // centre of the first cell
	must(t, os.WriteFile(strings.TrimSuffix(path, "tif")+"tfw", []byte(world), 0o600))
	src := open(t, Options{ZUnit: "m", CRS: "EPSG:26910"}, path)
	surface, f := load(t, src, 10)
	z, ok := surface.At(f.ToFrame(f.Origin()))
	if !ok || math.Abs(z-(100+0.5*14.5-0.25*14.5)) > 1e-3 {
		t.Errorf("height %v %v", z, ok)
	}
}

func TestBands(t *testing.T) {
	register()
	path := filepath.Join(t.TempDir(), "two.tif")
	ds, err := godal.Create(godal.GTiff, path, 2, godal.Float32, 20, 20)
	must(t, err)
	must(t, ds.SetGeoTransform([6]float64{500000, 1, 0, 4000000, 0, -1}))
	sr, err := godal.NewSpatialRef("EPSG:26910")
	must(t, err)
	must(t, ds.SetSpatialRef(sr))
	for i, b := range ds.Bands() {
		must(t, b.Fill(float64(100*(i+1)), 0))
	}
	must(t, ds.Close())
	for band, want := range map[int]float64{0: 100, 1: 100, 2: 200} {
		src := open(t, Options{ZUnit: "m", Band: band}, path)
		if z, ok := loadMiddle(t, src); !ok || z != want {
			t.Errorf("band %d: %v %v", band, z, ok)
		}
		if band == 0 {
			has(t, src.Findings(), "first_band")
		}
	}
	_, err = Open([]string{path}, Options{ZUnit: "m", Band: 3})
	fault(t, err, "no_band")
	picture := filepath.Join(t.TempDir(), "picture.tif")
	ds, err = godal.Create(godal.GTiff, picture, 3, godal.Byte, 8, 8, godal.CreationOption("PHOTOMETRIC=RGB"))
	must(t, err)
	must(t, ds.Close())
	_, err = Open([]string{picture}, Options{ZUnit: "m"})
	fault(t, err, "not_elevation")
}

func TestImplausibleHeights(t *testing.T) {
	for _, c := range []struct {
		factor float64
		says   string
	}{{1 / 0.3048, "look like feet"}, {10, "look like decimetres"}, {100, "look like centimetres"}, {1e6, "the numbers run from"}} {
		src := open(t, Options{ZUnit: "m"}, utm(40, 40, func(i, j int) float64 { return (3000 + float64(i)) * c.factor }).make(t, "h.tif"))
		f := site(t, src)
		_, err := src.Load(context.Background(), f, around(f, 30))
		says(t, fault(t, err, "heights_implausible").Text, c.says, "ground lies between -500 and 9000 m")
	}
	few := utm(40, 40, func(i, j int) float64 {
		if i == 20 && j == 20 {
			return 1e6
		}
		return 500
	})
	surface, f := load(t, open(t, Options{ZUnit: "m"}, few.make(t, "f.tif")), 30)
	has(t, surface.Findings(), "heights_out_of_range")
	p := frameOf(t, f, "EPSG:26910", []float64{500020.5}, []float64{3999979.5})[0]
	if z, ok := surface.At(p); ok {
		t.Errorf("a wild cell was kept: %v", z)
	}
}

// The size of a cell on the ground: the geometric mean of its sides. UTM
// counts 0.9996 map metres to a metre on the central meridian.
func TestCellSize(t *testing.T) {
	s := utm(200, 200, slope)
	s.gt = [6]float64{500000 - 400, 4, 0, 4000000, 0, -1}
	src := open(t, Options{ZUnit: "m"}, s.make(t, "c.tif"))
	surface, _ := load(t, src, 50)
	near(t, "surface", surface.CellM(), 2/0.9996, 1e-5)
	info := src.Infos()[0]
	near(t, "east", info.CellEastM, 4/0.9996, 1e-5)
	near(t, "north", info.CellNorthM, 1/0.9996, 1e-5)
	near(t, "mean", info.CellM, 2/0.9996, 1e-5)
	says(t, info.Cell, "4 x 1 metres of the map = 4 x 1 m here")
}

// A raster inside a container is opened by the name that GDAL gives it, and a
// container of several says what it holds.
func TestContainers(t *testing.T) {
	register()
	box := filepath.Join(t.TempDir(), "box.gpkg")
	for i, name := range []string{"low", "high"} {
		in, err := godal.Open(utm(30, 30, func(int, int) float64 { return float64(100 + 50*i) }).make(t, name+".tif"))
		must(t, err)
		out, err := in.Translate(box, []string{"-of", "GPKG", "-co", "RASTER_TABLE=" + name, "-co", "APPEND_SUBDATASET=YES"})
		must(t, err)
		must(t, out.Close())
		must(t, in.Close())
	}
	src := open(t, Options{ZUnit: "m"}, "GPKG:"+box+":high")
	if z, ok := loadMiddle(t, src); !ok || math.Abs(z-150) > 1e-3 {
		t.Errorf("height %v %v", z, ok)
	}
	_, err := Open([]string{box}, Options{ZUnit: "m"})
	says(t, fault(t, err, "no_band").Text, "GPKG:"+box+":low", "GPKG:"+box+":high")
}

func TestVersion(t *testing.T) {
	for _, v := range []string{Versions(), ProjVersion()} {
		if len(strings.Split(v, ".")) != 3 {
			t.Errorf("%q", v)
		}
	}
}

func TestPercent(t *testing.T) {
	for share, want := range map[float64]string{0: "0 %", 1: "100 %", 0.9971: "over 99 %", 0.149: "15 %", 0.052: "5.2 %", 0.00069: "0.069 %", 1e-6: "under 0.01 %"} {
		if got := percent(share); got != want {
			t.Errorf("%v: %q", share, got)
		}
	}
}

// The gradient against differences of the heights themselves, on a raster
// whose grid is turned by 20 degrees against the frame.
func TestGradientOnATurnedGrid(t *testing.T) {
	s := spec{crs: "EPSG:26915", cols: 300, rows: 300, gt: [6]float64{-1949820, 1, 0, 5349280, 0, -1}, kind: godal.Float64,
		z: func(i, j int) float64 {
			return 300 + 20*math.Sin(float64(i)/40) + 15*math.Cos(float64(j)/30) + 0.01*float64(i*j)/30
		}}
	surface, f := load(t, open(t, Options{ZUnit: "m"}, s.make(t, "g.tif")), 90)
	r := rand.New(rand.NewPCG(19, 20)) // seed 19, 20
	const h = 1e-4
	checked := 0
	for i := 0; i < 500; i++ {
		p := orb.Point{160*r.Float64() - 80, 160*r.Float64() - 80}
		dE, dN := surface.Gradient(p)
		east, _ := surface.At(orb.Point{p[0] + h, p[1]})
		west, _ := surface.At(orb.Point{p[0] - h, p[1]})
		north, _ := surface.At(orb.Point{p[0], p[1] + h})
		south, _ := surface.At(orb.Point{p[0], p[1] - h})
		// Across a cell boundary the two sides differ.
		b, u, v := surface.sheets[0].mapping.patchAt(p)
		x, y := b.at(u, v)
		if math.Abs(x-math.Round(x)) < 0.01 || math.Abs(y-math.Round(y)) < 0.01 {
			continue
		}
		checked++
		near(t, "east", dE, (east-west)/(2*h), 1e-6)
		near(t, "north", dN, (north-south)/(2*h), 1e-6)
	}
	if checked < 400 {
		t.Errorf("only %d points checked", checked)
	}
	if dE, dN := surface.Gradient(f.ToFrame(geodesy.LonLat{Lon: 0, Lat: 0})); dE == dE || dN == dN {
		t.Error("a slope outside the surface")
	}
}

// Which tiles share a grid: the same cells, whole cells apart.
func TestTilesThatFit(t *testing.T) {
	base := window{file: &file{crs: crs{wkt: "a"}, affine: affine{100, 2, 500, -2}, cols: 100, rows: 100, scaleM: 1}}
	for _, c := range []struct {
		change   func(*file)
		col, row int
		ok       bool
	}{
		{func(f *file) {}, 0, 0, true},
		{func(f *file) { f.affine.x0 += 200 }, 100, 0, true},
		{func(f *file) { f.affine.y0 += 40 }, 0, -20, true},
		{func(f *file) { f.affine.x0 += 0.001 }, 0, 0, true},    // half a thousandth of a cell
		{func(f *file) { f.affine.x0 += 0.01 }, 0, 0, false},    // five thousandths
		{func(f *file) { f.affine.y0 += 1 }, 0, 0, false},       // half a cell
		{func(f *file) { f.affine.dx *= 1.00004 }, 0, 0, false}, // four thousandths at the far end
		{func(f *file) { f.affine.dy *= 1.00004 }, 0, 0, false},
		{func(f *file) { f.affine.dy = -f.affine.dy }, 0, 0, false},
		{func(f *file) { f.scaleM = 0.3048 }, 0, 0, false},
		{func(f *file) { f.offsetM = 1 }, 0, 0, false},
		{func(f *file) { f.crs.wkt = "b" }, 0, 0, false},
		{func(f *file) { f.wide = true }, 0, 0, false},
	} {
		other := *base.file
		c.change(&other)
		col, row, ok := base.fits(window{file: &other})
		if ok != c.ok || ok && (col != c.col || row != c.row) {
			t.Errorf("%+v: %d %d %v", other.affine, col, row, ok)
		}
	}
}

// The worst raster speaks for the whole surface.
func TestWorstModelCounts(t *testing.T) {
	fine := utm(50, 50, func(i, j int) float64 { return 100 + noiseAt(i, j) })
	coarse := utm(10, 10, func(i, j int) float64 { return 100 + noiseAt(i, j) })
	coarse.gt = [6]float64{500050, 30, 0, 4000100, 0, -30}
	for _, order := range [][]spec{{fine, coarse}, {coarse, fine}} {
		src := open(t, Options{ZUnit: "m"}, order[0].make(t, "0.tif"), order[1].make(t, "1.tif"))
		f := site(t, src)
		surface, err := src.Load(context.Background(), f, around(f, 300))
		must(t, err)
		if m := surface.Error(); m.Class != Global30.Class || !m.ScreeningOnly {
			t.Errorf("class %s, screening %v", m.Class, m.ScreeningOnly)
		}
		near(t, "cell", surface.CellM(), 1/0.9996, 1e-4)
	}
}

func TestAllOneHeight(t *testing.T) {
	surface, _ := load(t, open(t, Options{ZUnit: "m"}, utm(40, 40, func(i, j int) float64 { return 0 }).make(t, "0.tif")), 30)
	near(t, "height", has(t, surface.Findings(), "all_one_height").Values[0].SI, 0, 0)
	surface, _ = load(t, open(t, Options{ZUnit: "m"}, utm(40, 40, slope).make(t, "s.tif")), 30)
	hasNot(t, surface.Findings(), "all_one_height")
}
