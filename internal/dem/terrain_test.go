package dem

import (
	"context"
	"encoding/csv"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"route/internal/finding"
	"route/internal/geodesy"
)

// terrainDir is where the collection of real rasters lies.
func terrainDir(t testing.TB) string {
	t.Helper()
	dir := os.Getenv("ROUTE_TERRAIN")
	if dir == "" {
		t.Skip("ROUTE_TERRAIN is not set: real rasters are not tested")
	}
	return dir
}

// gabilan holds the window of pathologies/synth_from_gabilan: one stretch of
// real ground written in many ways. Expected heights are those of
// base_gab.tif, and the figures of the collection's own description.
type gabilan struct {
	dir     string
	frame   *geodesy.Frame
	base    *Surface
	points  []orb.Point // inside, away from the edge
	centres []orb.Point // of cells
}

func newGabilan(t *testing.T) gabilan {
	g := gabilan{dir: filepath.Join(terrainDir(t), "pathologies", "synth_from_gabilan")}
	src := open(t, Options{ZUnit: "m"}, filepath.Join(g.dir, "base_gab.tif"))
	g.frame = site(t, src)
	var err error
	g.base, err = src.Load(context.Background(), g.frame, around(g.frame, 200))
	must(t, err)
	r := rand.New(rand.NewPCG(3, 4)) // seed 3, 4
	var x, y []float64
	for i := 0; i < 3000; i++ {
		x, y = append(x, 696605+r.Float64()*184), append(y, 3977479+r.Float64()*184)
	}
	g.points = frameOf(t, g.frame, "EPSG:26910", x, y)
	return g
}

// compare gives the largest and the 95 % quantile of the height differences
// from the base, and how many points have no height.
func (g gabilan) compare(s *Surface) (worst, q95 float64, void int) {
	var diffs []float64
	for _, p := range g.points {
		want, ok := g.base.At(p)
		if !ok {
			panic("the base has no height")
		}
		z, ok := s.At(p)
		if !ok {
			void++
			continue
		}
		diffs = append(diffs, math.Abs(z-want))
	}
	if len(diffs) == 0 {
		return math.NaN(), math.NaN(), void
	}
	median(diffs) // sorts
	return diffs[len(diffs)-1], diffs[len(diffs)*95/100], void
}

// Every dress of the same ground gives the same heights, within what the
// dress can hold, or is refused for the stated reason.
func TestGabilanInManyDresses(t *testing.T) {
	g := newGabilan(t)
	near(t, "the collection's point", g.heightAt(t, g.base), 213.912, 0.0006)
	for _, c := range []struct {
		file    string
		o       Options
		worst   float64 // largest difference allowed, metres
		q95     float64 // 95 % of differences
		void    [2]int  // points without a height, least and most of 3000
		point   float64 // the collection's height at its point; NaN for none
		finding string
	}{
		// Exact copies: only the mapping may differ, 2.5e-4 cell on slopes of up to 2.
		{"base_gab.tif", Options{}, 1e-9, 1e-9, [2]int{}, 213.912, ""},
		{"south_up_gab.tif", Options{}, 1e-3, 1e-3, [2]int{}, 213.912, ""},
		{"float64_bigendian_lzw_gab.tif", Options{}, 1e-3, 1e-3, [2]int{}, 213.912, ""},
		{"bigtiff_tiled64_zstd_gab.tif", Options{}, 1e-3, 1e-3, [2]int{}, 213.912, ""},
		{"cog_gab.tif", Options{}, 1e-3, 1e-3, [2]int{}, 213.912, ""},
		{"pixel_is_point_gab.tif", Options{}, 1e-3, 1e-3, [2]int{}, 213.912, ""},
		{"gab.asc", Options{}, 1e-3, 1e-3, [2]int{}, 213.912, ""},
		{"gab_ehdr.bil", Options{}, 1e-3, 1e-3, [2]int{}, 213.912, ""},
		{"gab_envi.img", Options{}, 1e-3, 1e-3, [2]int{}, 213.912, ""},
		{"gab_hfa.img", Options{}, 1e-3, 1e-3, [2]int{}, 213.912, ""},
		{"gab.nc", Options{}, 1e-3, 1e-3, [2]int{}, 213.912, ""},
		{"gab_saga.sdat", Options{}, 1e-3, 1e-3, [2]int{}, 213.912, ""},
		{"gab_raster.gpkg", Options{}, 1e-3, 1e-3, [2]int{}, 213.912, ""},
		{"gab_relative.vrt", Options{}, 1e-3, 1e-3, [2]int{}, 213.912, ""},
		{"mosaic_gab.vrt", Options{}, 1e-3, 1e-3, [2]int{}, 213.912, ""},
		{"no_crs_gab.tif", Options{CRS: "EPSG:26910"}, 1e-3, 1e-3, [2]int{}, 213.912, ""},
		{"gab_surfer6.grd", Options{CRS: "26910"}, 1e-3, 1e-3, [2]int{}, 213.912, ""},
		// Stored in steps: half a step either way.
		{"int16_metre_gab.tif", Options{}, 0.501, 0.5, [2]int{}, 214, "coarse_steps"},
		{"uint16_scale0.01_offset100_gab.tif", Options{}, 0.0055, 0.0055, [2]int{}, 213.912, ""},
		// Voids: of 3000 points about as many as the void's share.
		{"internal_mask_gab.tif", Options{}, 1e-3, 1e-3, [2]int{1, 3000}, math.NaN(), "voids"},
		{"nan_void_nodata_nan_gab.tif", Options{}, 1e-3, 1e-3, [2]int{60, 160}, math.NaN(), "voids"},
		{"valley_bottom_void_gab.tif", Options{}, 1e-3, 1e-3, [2]int{100, 350}, math.NaN(), "voids"},
		{"undeclared_-9999_gab.tif", Options{}, 1e-3, 1e-3, [2]int{1, 1000}, math.NaN(), "undeclared_nodata"},
		{"undeclared_zero_gab.tif", Options{}, 1e-3, 1e-3, [2]int{1, 1000}, math.NaN(), "undeclared_nodata"},
		// Resampled to other cells by the maker, so only about the same.
		{"geographic_1e-5deg_gab.tif", Options{}, 1.0, 0.15, [2]int{0, 30}, 213.913, ""},
		{"web_mercator_gab.tif", Options{}, 1.0, 0.15, [2]int{0, 30}, 213.915, ""},
		{"stateplane_ftUS_z_ftUS_compound_gab.tif", Options{}, 1.0, 0.15, [2]int{0, 30}, 213.917, ""},
		{"stateplane_ftUS_z_ftUS_unlabelled_gab.tif", Options{ZUnit: "us-ft"}, 1.0, 0.15, [2]int{0, 30}, 213.917, ""},
	} {
		t.Run(c.file, func(t *testing.T) {
			o := c.o
			if o.ZUnit == "" && !strings.Contains(c.file, "compound") {
				o.ZUnit = "m"
			}
			src := open(t, o, filepath.Join(g.dir, c.file))
			s, err := src.Load(context.Background(), g.frame, around(g.frame, 200))
			must(t, err)
			worst, q95, void := g.compare(s)
			t.Logf("largest difference %.2g m, 95 %% within %.2g m, %d points void", worst, q95, void)
			if !(worst <= c.worst && q95 <= c.q95) {
				t.Errorf("differences of %.3g m (95 %% %.3g m), allowed %.3g and %.3g", worst, q95, c.worst, c.q95)
			}
			if void < c.void[0] || void > c.void[1] {
				t.Errorf("%d points void, want %v", void, c.void)
			}
			if c.point == c.point {
				near(t, "the collection's point", g.heightAt(t, s), c.point, 0.0006)
			}
			if c.finding != "" {
				has(t, s.Findings(), c.finding)
			}
		})
	}
}

// heightAt is the height at the point that the collection's README names.
func (g gabilan) heightAt(t testing.TB, s *Surface) float64 {
	t.Helper()
	p := frameOf(t, g.frame, "EPSG:26910", []float64{696712.3}, []float64{3977600.3})[0]
	z, ok := s.At(p)
	if !ok {
		t.Fatalf("no height at the collection's point: %v", s.Why(p))
	}
	return z
}

// Two tiles given as a list are one surface without a gap between them.
func TestTwoTilesAreOneSurface(t *testing.T) {
	g := newGabilan(t)
	for _, order := range [][]string{{"tile_west_gab.tif", "tile_east_gab.tif"}, {"tile_east_gab.tif", "tile_west_gab.tif"}} {
		var paths []string
		for _, name := range order {
			paths = append(paths, filepath.Join(g.dir, name))
		}
		src := open(t, Options{ZUnit: "m"}, paths...)
		s, err := src.Load(context.Background(), g.frame, around(g.frame, 200))
		must(t, err)
		worst, _, void := g.compare(s)
		if worst > 1e-3 || void > 0 {
			t.Errorf("%v: largest difference %.2g m, %d points void", order, worst, void)
		}
		hasNot(t, s.Findings(), "tile_step")
	}
}

// What is refused, and why.
func TestCollectionRefusals(t *testing.T) {
	dir := terrainDir(t)
	synth, found := filepath.Join(dir, "pathologies", "synth_from_gabilan"), filepath.Join(dir, "pathologies", "as_found")
	for _, c := range []struct{ path, zUnit, code, says string }{
		{filepath.Join(synth, "rotated25_gab.tif"), "m", "rotated_raster", "25.0 degrees"},
		{filepath.Join(found, "rotated_geotransform_20x20.tif"), "m", "rotated_raster", "rotated"},
		{filepath.Join(synth, "no_crs_gab.tif"), "m", "no_crs", "coordinate reference system"},
		{filepath.Join(synth, "gab_surfer6.grd"), "m", "no_crs", "coordinate reference system"},
		{filepath.Join(synth, "base_gab.tif"), "", "vertical_unit_unknown", "metres or feet"},
		{filepath.Join(synth, "stateplane_ftUS_z_ftUS_unlabelled_gab.tif"), "", "vertical_unit_unknown", "metres or feet"},
		{filepath.Join(dir, "cole_creek_ne", "dem_2006_1m_zft.tif"), "", "vertical_unit_unknown", "metres or feet"},
		{filepath.Join(dir, "west_bijou_co", "gully_3m_no_crs.asc"), "m", "no_crs", "coordinate reference system"},
		{filepath.Join(dir, "west_bijou_co", "gully_subset_5m_no_georef.asc"), "m", "no_crs", "coordinate reference system"},
		{filepath.Join(dir, "west_bijou_co", "escarpment_1arcsec_no_crs.asc"), "m", "no_crs", "look like degrees"},
	} {
		t.Run(filepath.Base(c.path), func(t *testing.T) {
			s, err := Open([]string{c.path}, Options{ZUnit: c.zUnit})
			if s != nil {
				defer s.Close()
			}
			f := fault(t, err, c.code)
			if !strings.Contains(f.Text, c.says) || f.Hint == "" || f.File != c.path {
				t.Errorf("have %q, hint %q, file %q", f.Text, f.Hint, f.File)
			}
		})
	}
}

// Every raster of the collection opens and loads a window at its middle, or
// is refused with the reason stated here.
func TestEveryRasterOfTheCollection(t *testing.T) {
	dir := terrainDir(t)
	// Told to the program where the file does not say it.
	extra := map[string]Options{
		"gully_3m_no_crs.asc":                       {CRS: "EPSG:26913"},
		"escarpment_1arcsec_no_crs.asc":             {CRS: "EPSG:4269"},
		"no_crs_gab.tif":                            {CRS: "EPSG:26910"},
		"gab_surfer6.grd":                           {CRS: "EPSG:26910"},
		"dem_2006_1m_zft.tif":                       {ZUnit: "ft"},
		"dem_2010_1m_zft.tif":                       {ZUnit: "ft"},
		"dem_field_survey_0.1m_ft.tif":              {ZUnit: "ft"},
		"gabilan_wrong_utm_zone_label.bil":          {CRS: "EPSG:26910"},
		"stateplane_ftUS_z_ftUS_unlabelled_gab.tif": {ZUnit: "us-ft"},
	}
	refused := map[string]string{
		"rotated25_gab.tif":              "rotated_raster",
		"rotated_geotransform_20x20.tif": "rotated_raster",
		"gully_subset_5m_no_georef.asc":  "no_crs",
		"reference_accflow_m2.tif":       "heights_implausible",
	}
	n := 0
	walk := func(path string, entry os.DirEntry, err error) error {
		must(t, err)
		switch ext := filepath.Ext(path); {
		case entry.IsDir():
			return nil
		case strings.Contains(".tif.tiff.asc.bil.img.nc.grd.sdat.vrt.zip", ext) && ext != "", strings.HasSuffix(path, "raster.gpkg"):
		default:
			return nil
		}
		n++
		name := filepath.Base(path)
		t.Run(name, func(t *testing.T) {
			o := extra[name]
			if o.ZUnit == "" {
				o.ZUnit = "m"
			}
			s, err := Open([]string{path}, o)
			if s != nil {
				defer s.Close()
			}
			var surface *Surface
			if err == nil {
				f := site(t, s)
				surface, err = s.Load(context.Background(), f, around(f, 40*s.files[0].info.CellM))
				if code := code(err); code == "no_height_in_window" { // empty in the middle: read it all
					surface, err = s.Load(context.Background(), f, around(f, 1e5))
				}
			}
			if want := refused[name]; want != "" {
				fault(t, err, want)
				return
			}
			must(t, err)
			info := s.Infos()[0]
			if surface.VoidShare() >= 1 || !(info.LowestM > -500 && info.HighestM < 9000 && info.HighestM > info.LowestM) || len(info.SHA256) != 64 {
				t.Errorf("void %.2f, heights %.1f to %.1f m, checksum %q", surface.VoidShare(), info.LowestM, info.HighestM, info.SHA256)
			}
			t.Logf("%s; %s; %s; heights %.1f to %.1f m; void %.1f %%; %s", info.CRS, info.Cell, info.Type, info.LowestM, info.HighestM, 100*info.NoDataShare, info.AccuracyClass)
			for _, f := range append(s.Findings(), surface.Findings()...) {
				t.Logf("  %s %s: %s", f.Level, f.Code, f.Text)
			}
		})
		return nil
	}
	must(t, filepath.WalkDir(dir, walk))
	if n < 50 {
		t.Errorf("only %d rasters found", n)
	}
}

// code is the code of a fault, "" for none.
func code(err error) string {
	var f *finding.Fault
	if errors.As(err, &f) {
		return f.Code
	}
	return ""
}

// The heights that ArcGIS sampled along Cole Creek, bilinear and in feet, are
// met within 0.001 ft (USACE FluvialGeomorph test data, CC0; its description
// found 0.0005 ft with its own sampler).
func TestColeCreekPublishedHeights(t *testing.T) {
	dir := filepath.Join(terrainDir(t), "cole_creek_ne")
	for _, year := range []string{"2006", "2010"} {
		src := open(t, Options{ZUnit: "ft"}, filepath.Join(dir, "dem_"+year+"_1m_zft.tif"))
		in, err := os.Open(filepath.Join(dir, "flowline_points_"+year+".csv"))
		must(t, err)
		rows, err := csv.NewReader(in).ReadAll()
		must(t, err)
		must(t, in.Close())
		var x, y, want []float64
		for _, row := range rows[1:] {
			for i, list := range []*[]float64{&x, &y} {
				v, err := strconv.ParseFloat(row[i+1], 64)
				must(t, err)
				*list = append(*list, v)
			}
			v, err := strconv.ParseFloat(row[4], 64)
			must(t, err)
			want = append(want, v)
		}
		frame := site(t, src)
		s, err := src.Load(context.Background(), frame, around(frame, 1100))
		must(t, err)
		worst := 0.0
		for i, p := range frameOf(t, frame, "EPSG:26914", x, y) {
			z, ok := s.At(p)
			if !ok {
				t.Fatalf("%s: no height at point %d: %v", year, i, s.Why(p))
			}
			worst = math.Max(worst, math.Abs(z/0.3048-want[i]))
		}
		t.Logf("%s: %d points, largest difference %.2g ft", year, len(want), worst)
		if len(want) != 2205 || worst > 0.001 {
			t.Errorf("%s: %d points, largest difference %.5f ft", year, len(want), worst)
		}
	}
}
