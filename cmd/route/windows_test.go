package main

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"route/internal/plan"
)

// TestRewrittenWindows reads every file of the collection's rewritten windows:
// the same ground gives the same fall to 1 cm, or it is refused, or it says
// what the rewriting took away. The collection describes what each is.
func TestRewrittenWindows(t *testing.T) {
	raster, creek := dressed(t)
	base := profiled(t, flags(raster("base_gab.tif"), creek, "--z-unit", "m")...)
	const cm = 0.01
	type window struct {
		within  float64 // of the fall; 0 is refused
		code    string  // of the refusal, or of what must be said
		options []string
	}
	windows := map[string]window{
		// Whole metres: each end is off by up to half a step, and the fit by one.
		"int16_metre_gab.tif": {within: 1, code: "coarse_steps"},
		// Resampled to other cells by the maker, whose own heights at one point
		// differ by up to 5 mm; at two ends, on banks of 1 in 2.
		"geographic_1e-5deg_gab.tif":                {within: 2 * cm, code: "heights_resampled"},
		"stateplane_ftUS_z_ftUS_compound_gab.tif":   {within: 15 * cm, code: "heights_resampled", options: []string{"--z-unit", "us-ft"}},
		"stateplane_ftUS_z_ftUS_unlabelled_gab.tif": {within: 15 * cm, code: "heights_resampled", options: []string{"--z-unit", "us-ft"}},
		// Holes: on the creek they are named, or too large to bridge.
		"internal_mask_gab.tif":              {within: 10 * cm, code: "creek_cut_to_terrain"},
		"undeclared_zero_gab.tif":            {within: 0.5, code: "undeclared_nodata"},
		"nan_void_nodata_nan_gab.tif":        {code: "creek_void"},
		"undeclared_-9999_gab.tif":           {code: "creek_void"},
		"valley_bottom_void_gab.tif":         {code: "creek_void"},
		"tile_east_gab.tif":                  {code: "creek_void"},
		"tile_west_gab.tif":                  {code: "creek_void"},
		"rotated25_gab.tif":                  {code: "rotated_raster"},
		"gab.prj":                            {code: "not_a_raster"},
		"gab_saga.prj":                       {code: "not_a_raster"},
		"gab_saga.sgrd":                      {code: "not_a_raster"},
		"gab_ehdr.bil.aux.xml":               {code: "not_a_raster"},
		"gab_ehdr.hdr":                       {code: "raster_unreadable"},
		"gab_envi.hdr":                       {code: "raster_unreadable"},
		"gab_ehdr.prj":                       {code: "raster_damaged"},
		"no_crs_gab.tif":                     {within: cm, options: []string{"--crs", "EPSG:26910"}},
		"gab_surfer6.grd":                    {within: cm, options: []string{"--crs", "EPSG:26910"}},
		"web_mercator_gab.tif":               {within: cm, code: "heights_resampled"},
		"uint16_scale0.01_offset100_gab.tif": {within: cm},
	}
	for _, name := range []string{"base_gab.tif", "bigtiff_tiled64_zstd_gab.tif", "cog_gab.tif", "float64_bigendian_lzw_gab.tif", "gab.asc", "gab.nc", "gab_ehdr.bil", "gab_envi.img", "gab_hfa.img", "gab_raster.gpkg", "gab_relative.vrt", "gab_saga.sdat", "mosaic_gab.vrt", "pixel_is_point_gab.tif", "south_up_gab.tif"} {
		windows[name] = window{within: cm}
	}
	files, err := os.ReadDir(filepath.Dir(raster("base_gab.tif")))
	if err != nil {
		t.Fatal(err)
	}
	same := 0
	for _, file := range files {
		name := file.Name()
		w, known := windows[name]
		if !known {
			t.Errorf("%s is not in the table", name)
			continue
		}
		options := append([]string{"--z-unit", "m"}, w.options...)
		if slices.Contains(w.options, "--z-unit") {
			options = w.options
		}
		args := flags(raster(name), creek, options...)
		if w.within == 0 {
			on := name
			if w.code == "creek_void" {
				on = "creek.gpx"
			}
			refused(t, command("profile", args), w.code, on)
			continue
		}
		r := profiled(t, args...)
		d := math.Abs(r.fall() - base.fall())
		if d > w.within {
			t.Errorf("%s: fall %.4f m, of the same ground %.4f m", name, r.fall(), base.fall())
		}
		if d <= cm {
			same++
		}
		said := func(code string) bool {
			return slices.ContainsFunc(r.Messages, func(m plan.Message) bool { return m.Code == code })
		}
		if w.code != "" && !said(w.code) {
			t.Errorf("%s: nothing says %s: %+v", name, w.code, r.Messages)
		}
		if w.code != "heights_resampled" && said("heights_resampled") {
			t.Errorf("%s is taken for resampled", name)
		}
	}
	if len(files) < 38 || same < 19 {
		t.Errorf("%d files, %d with the same fall to 1 cm", len(files), same)
	}
	t.Logf("of %d files %d have the same fall to 1 cm", len(files), same)
	both := profiled(t, flags(raster("tile_west_gab.tif"), creek, "--terrain", raster("tile_east_gab.tif"), "--z-unit", "m")...)
	wantFall(t, "two tiles", both, base.fall(), cm)
}

// The list of bad inputs is whole: 27 rows, each with its test.
func TestEveryRowOfBadInputHasATest(t *testing.T) {
	content, err := os.ReadFile("badinput_test.go")
	if err != nil {
		t.Fatal(err)
	}
	for row := 1; row <= 27; row++ {
		if title := `t.Run("row ` + string(rune('0'+row/10)) + string(rune('0'+row%10)) + " "; !strings.Contains(string(content), title) {
			t.Errorf("row %d has no test", row)
		}
	}
}
