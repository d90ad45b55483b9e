package profile_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/paulmach/orb"

	"route/internal/dem"
	"route/internal/geodesy"
	"route/internal/profile"
	"route/internal/quantity"
	"route/internal/survey"
)

// folder is the collection of real terrain; without it these tests are skipped.
func folder(t testing.TB) string {
	dir := os.Getenv("ROUTE_TERRAIN")
	if dir == "" {
		t.Skip("ROUTE_TERRAIN is not set: no real terrain")
	}
	return dir
}

// grassLine reads one line of derived_thalweg.geojson, which GRASS GIS 8.2
// r.watershed made from the same raster, upstream to downstream, with the
// heights of its ends from the cells.
func grassLine(t testing.TB, dir, site, part string) (line []geodesy.LonLat, upM, downM, lengthM float64) {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(dir, site, "derived_thalweg.geojson"))
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Features []struct {
			Properties map[string]any
			Geometry   struct{ Coordinates [][]float64 }
		}
	}
	if err := json.Unmarshal(raw, &doc); err != nil {
		t.Fatal(err)
	}
	for _, f := range doc.Features {
		if f.Properties["part"] != part {
			continue
		}
		for _, c := range f.Geometry.Coordinates {
			line = append(line, geodesy.LonLat{Lon: c[0], Lat: c[1]})
		}
		return line, f.Properties["z_up_m"].(float64), f.Properties["z_down_m"].(float64), f.Properties["length_m"].(float64)
	}
	t.Fatalf("%s has no part %q", site, part)
	return nil, 0, 0, 0
}

type ground struct {
	frame   *geodesy.Frame
	surface *dem.Surface
	legs    []orb.LineString
}

// load opens a raster around legs.
func load(t testing.TB, path string, o dem.Options, legs [][]geodesy.LonLat) ground {
	t.Helper()
	src, err := dem.Open([]string{path}, o)
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	mid := legs[len(legs)/2]
	origin := mid[len(mid)/2]
	z, err := src.HeightNear(origin)
	if err != nil {
		z = 0
	}
	frame, err := geodesy.NewFrame(origin, z)
	if err != nil {
		t.Fatal(err)
	}
	g := ground{frame: frame}
	var area orb.Bound
	for i, leg := range legs {
		line := make(orb.LineString, len(leg))
		for k, p := range leg {
			line[k] = frame.ToFrame(p)
		}
		if i == 0 {
			area = line.Bound()
		}
		area = area.Union(line.Bound())
		g.legs = append(g.legs, line)
	}
	g.surface, err = src.Load(context.Background(), frame, area.Pad(300))
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func TestProbeReal(t *testing.T) {
	dir := folder(t)
	for _, s := range []struct{ site, raster string }{
		{"gabilan_mesa_ca", "dem_1m.tif"}, {"ptuj_slovenia", "dem_1m.tif"}, {"sagehen_creek_ca", "dem_ned_third_arcsec.tif"},
		{"tirol_alr", "dem_5m.tif"}, {"tirol_wog", "dem_5m.tif"},
	} {
		line, up, down, length := grassLine(t, dir, s.site, "main")
		g := load(t, filepath.Join(dir, s.site, s.raster), dem.Options{ZUnit: "m"}, [][]geodesy.LonLat{line})
		for _, sigma := range []float64{0, 5} {
			rng := rand.New(rand.NewPCG(1, 1))
			track := orb.LineString{}
			for _, p := range g.legs[0] {
				track = append(track, orb.Point{p[0] + sigma*rng.NormFloat64(), p[1] + sigma*rng.NormFloat64()})
			}
			p, fs, err := profile.Thalweg(context.Background(), g.surface, []orb.LineString{track}, profile.ThalwegOptions{CellM: g.surface.CellM(), TrackSigmaM: max(3, sigma)})
			if err != nil {
				t.Logf("%s %+v", s.site, err)
				continue
			}
			a, _ := profile.NewAlignment(g.legs[0], 0)
			sum := 0.0
			for _, q := range p.Points {
				_, off := a.StationOf(q)
				sum += math.Abs(off)
			}
			n := p.Len() - 1
			fall, err := p.Fall(p.Stations[0], p.Stations[n], g.surface)
			t.Logf("%-18s cell %.2f noise %g: length %.0f (grass %.0f) fall %.2f ± %.2f (grass %.2f) off %.2f residual %.3f n %d", s.site, g.surface.CellM(), sigma, p.Alignment.LengthM(), length,
				fall.Value, fall.Sigma, up-down, sum/float64(n+1), p.ResidualM, n+1)
			for _, f := range fs {
				t.Log("     ", f.Code, quantity.Text(quantity.SI, f.Text, f.Values...))
			}
		}
	}
	_ = fmt.Sprint
	_ = survey.Fix{}
}
