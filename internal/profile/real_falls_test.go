package profile_test

import (
	"context"
	"math"
	"path/filepath"
	"slices"
	"testing"

	"github.com/paulmach/orb"

	"route/internal/dem"
	"route/internal/geodesy"
	"route/internal/profile"
)

// fallErrors are the errors of falls against values from elsewhere.
type fallErrors struct {
	n, sum, square, stated float64
	in80, in95             float64
	sizes                  []float64
	asUncertain            bool // the other value is taken to err as much as ours
}

func (e *fallErrors) add(t testing.TB, p *profile.Profile, g profile.Ground, from, to profile.Station, wantM float64) {
	t.Helper()
	fall, err := p.Fall(from, to, g)
	if err != nil {
		t.Fatal(err)
	}
	off := fall.Value - wantM
	if e.asUncertain {
		fall.Sigma *= math.Sqrt2
	}
	e.n, e.sum, e.square, e.stated = e.n+1, e.sum+off, e.square+off*off, e.stated+fall.Sigma*fall.Sigma
	e.sizes = append(e.sizes, math.Abs(off))
	if math.Abs(off) < 1.2816*fall.Sigma {
		e.in80++
	}
	if math.Abs(off) < 1.9600*fall.Sigma {
		e.in95++
	}
}

func (e fallErrors) rmsM() float64 { return math.Sqrt(e.square / e.n) }

// medianM is the median size of the errors.
func (e fallErrors) medianM() float64 {
	if len(e.sizes) == 0 {
		return math.NaN()
	}
	slices.Sort(e.sizes)
	return e.sizes[len(e.sizes)/2]
}

func (e fallErrors) log(t testing.TB, what string) {
	t.Helper()
	t.Logf("%-58s %4.0f falls: bias %+.2f, RMS %.2f, median %.2f, stated %.2f m; %3.0f %% in 80 %%, %3.0f %% in 95 %%", what, e.n, e.sum/e.n, e.rmsM(), e.medianM(), math.Sqrt(e.stated/e.n), 100*e.in80/e.n, 100*e.in95/e.n)
}

// lidarLine is terrain known along a line alone: the heights that ArcGIS sampled
// from 1 m lidar along a flowline, with banks of 1 in 10 beside it.
type lidarLine struct {
	along *profile.Alignment
	zM    []float64
	atM   []profile.Station
}

func (g lidarLine) At(p orb.Point) (float64, bool) {
	s, off := g.along.StationOf(p)
	i := 0
	for i+2 < len(g.atM) && g.atM[i+1] < s {
		i++
	}
	t := math.Max(0, math.Min(1, float64((s-g.atM[i])/(g.atM[i+1]-g.atM[i]))))
	return g.zM[i]*(1-t) + g.zM[i+1]*t + 0.1*math.Abs(off), true
}

func (g lidarLine) DiffSigma(p, q orb.Point) float64 {
	return dem.LidarForest.DropSigma(math.Hypot(p[0]-q[0], p[1]-q[1]))
}

// TestFallsOnRealGround is a table of fall errors on real ground against values
// that others give, and the share of them inside our stated intervals. What is
// asked of each row stands beside it.
func TestFallsOnRealGround(t *testing.T) {
	dir := folder(t)
	antelope(t, filepath.Join(dir, "antelope_creek_nd"))
	cole(t, filepath.Join(dir, "cole_creek_ne"), "2010", "2010")
	cole(t, filepath.Join(dir, "cole_creek_ne"), "2006", "2010")
	for _, s := range []struct{ site, raster string }{
		{"gabilan_mesa_ca", "dem_1m.tif"}, {"sagehen_creek_ca", "dem_ned_third_arcsec.tif"}, {"tirol_alr", "dem_5m.tif"}, {"tirol_wog", "dem_5m.tif"},
	} {
		grassFalls(t, dir, s.site, s.raster)
	}
	mcGregor(t, filepath.Join(dir, "mcgregor_bc"))
}

// antelope: the thalweg surveyed in 2017 against the lidar of 2013. The survey
// has the bed, the lidar the water and four years less; the collection's
// description finds a scatter of 0.23 m in each height, 0.32 m in a fall.
func antelope(t *testing.T, dir string) {
	survey := table(t, filepath.Join(dir, "survey_thalweg_2017.csv"))
	near := gpxTrack(t, filepath.Join(dir, "survey_thalweg_2017_wgs84.gpx"))[0]
	frame, err := geodesy.NewFrame(near, 600)
	if err != nil {
		t.Fatal(err)
	}
	zone, north := geodesy.UTM(near)
	place := func(r map[string]string, e, n string) orb.Point {
		return frame.ToFrame(fromUTM(near, number(t, r[e]), number(t, r[n]), zone, north))
	}
	e0, n0 := geodesy.ToUTM(near, zone, north)
	var g lidarLine
	var line orb.LineString
	rows := table(t, filepath.Join(dir, "lidar2013_flowline_points_ft.csv"))
	for k := len(rows) - 1; k >= 0; k-- { // station 0 is the mouth
		if math.Hypot(number(t, rows[k]["POINT_X"])-e0, number(t, rows[k]["POINT_Y"])-n0) < 300 {
			line = append(line, place(rows[k], "POINT_X", "POINT_Y"))
			g.zM = append(g.zM, number(t, rows[k]["Z"])*0.3048)
		}
	}
	if g.along, err = profile.NewAlignment(line, 0); err != nil {
		t.Fatal(err)
	}
	for _, p := range line {
		s, _ := g.along.StationOf(p)
		g.atM = append(g.atM, s)
	}
	p, _, err := profile.Thalweg(context.Background(), g, []orb.LineString{line}, profile.ThalwegOptions{CellM: 1, TrackSigmaM: 1})
	if err != nil {
		t.Fatal(err)
	}
	var e fallErrors
	for i, a := range survey {
		from, _ := p.Alignment.StationOf(place(a, "Easting", "Northing"))
		for _, b := range survey[i+1:] {
			to, _ := p.Alignment.StationOf(place(b, "Easting", "Northing"))
			if math.Abs(float64(to-from)) >= 10 {
				e.add(t, p, g, from, to, number(t, a["elev_m"])-number(t, b["elev_m"]))
			}
		}
	}
	e.log(t, "Antelope, lidar line against surveyed bed, over 10 m and more")
	// The water was surveyed at both banks of two sections.
	shots := map[string][]float64{}
	at := map[string]orb.Point{}
	for _, r := range table(t, filepath.Join(dir, "field_xs_points.csv")) {
		if r["Code"] == "WSE" {
			shots[r["XSName"]] = append(shots[r["XSName"]], number(t, r["elev_m"]))
			q := place(r, "Easting", "Northing")
			at[r["XSName"]] = orb.Point{at[r["XSName"]][0] + q[0]/2, at[r["XSName"]][1] + q[1]/2}
		}
	}
	from, _ := p.Alignment.StationOf(at["XS02"])
	to, _ := p.Alignment.StationOf(at["XS01"])
	want := (shots["XS02"][0] + shots["XS02"][1] - shots["XS01"][0] - shots["XS01"][1]) / 2
	fall, err := p.Fall(from, to, g)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("Antelope, water between the two sections, %.0f m apart: %.2f ± %.2f m, surveyed %.2f m", to-from, fall.Value, fall.Sigma, want)
	// The two shots of a section differ by 0.03 m; four years lie between.
	if math.Abs(fall.Value-want) > 1.96*math.Hypot(fall.Sigma, 0.03) {
		t.Error("Antelope: the fall of the water is not what was surveyed")
	}
	if e.n < 100 || e.rmsM() > 0.4 {
		t.Errorf("Antelope: %.0f falls, RMS %.2f m", e.n, e.rmsM())
	}
}

// cole: falls over 100 m on the lidar of one year against the heights that
// ArcGIS sampled along the flowline from that of another, road fills left out.
// Of one year the two read the same cells.
func cole(t *testing.T, dir, year, against string) {
	line := gpxTrack(t, filepath.Join(dir, "flowline_wgs84.gpx"))
	g := load(t, filepath.Join(dir, "dem_"+year+"_1m_zft.tif"), dem.Options{ZUnit: "ft"}, [][]geodesy.LonLat{line})
	p, _, err := profile.Thalweg(context.Background(), g.surface, g.legs, profile.ThalwegOptions{CellM: g.surface.CellM(), TrackSigmaM: 3})
	if err != nil {
		t.Fatal(err)
	}
	places := colePlaces(t, p, g, line[0], filepath.Join(dir, "flowline_points_"+against+".csv"))
	var e fallErrors
	for i := 10; i < len(places); i++ {
		if lower, upper := places[i-10], places[i]; lower.clear && upper.clear {
			e.add(t, p, g.surface, upper.at, lower.at, upper.zM-lower.zM)
		}
	}
	e.log(t, "Cole, lidar of "+year+" against ArcGIS heights of "+against+", over 100 m")
	if most := map[bool]float64{true: 0.15, false: 0.7}[year == against]; e.n < 50 || e.medianM() > most {
		t.Errorf("Cole %s against %s: %.0f falls, median error %.2f m, allowed %.2f m", year, against, e.n, e.medianM(), most)
	}
}

// grassFalls: whole creeks and tributaries against the heights that GRASS GIS
// gives for the ends of its lines on the same cells.
func grassFalls(t *testing.T, dir, site, raster string) {
	var e fallErrors
	for _, part := range []string{"main", "tributary1", "tributary2", "tributary3"} {
		line, up, down, _ := grassLine(t, dir, site, part)
		g := load(t, filepath.Join(dir, site, raster), dem.Options{ZUnit: "m"}, [][]geodesy.LonLat{line})
		p, _, err := profile.Thalweg(context.Background(), g.surface, g.legs, profile.ThalwegOptions{CellM: g.surface.CellM(), TrackSigmaM: 1})
		if err != nil {
			t.Logf("%s %s: %v", site, part, err)
			continue
		}
		from, _ := p.Alignment.StationOf(g.legs[0][0])
		to, _ := p.Alignment.StationOf(g.legs[0][len(g.legs[0])-1])
		e.add(t, p, g.surface, max(from, p.Stations[0]), min(to, p.Stations[p.Len()-1]), up-down)
	}
	e.log(t, site+", whole creeks against GRASS on the same cells")
	if e.n < 3 {
		t.Errorf("%s: only %.0f creeks", site, e.n)
	}
}

// mcGregor: falls on the 25 m raster of whole metres against the heights of the
// Freshwater Atlas's streams, over 100 and 300 m: independent heights, but no truer
// than the raster's, so that they are taken to err as much.
func mcGregor(t *testing.T, dir string) {
	streams, err := dem.ReadVector(filepath.Join(dir, "fwa_streams.gpkg"))
	if err != nil {
		t.Fatal(err)
	}
	corners := []geodesy.LonLat{{Lon: -122.22, Lat: 54.59}, {Lon: -121.98, Lat: 54.71}}
	g := load(t, filepath.Join(dir, "dem_25m_int_m.tif"), dem.Options{ZUnit: "m"}, [][]geodesy.LonLat{corners})
	over := []float64{100, 300}
	errors, creeks := []fallErrors{{asUncertain: true}, {asUncertain: true}}, 0
	for _, l := range streams.Lines {
		line, z := slices.Clone(l.Points), slices.Clone(l.Z)
		if z[0] < z[len(z)-1] { // the atlas draws streams from the mouth up
			slices.Reverse(line)
			slices.Reverse(z)
		}
		if n := len(line); n < 20 || z[0]-z[n-1] < 10 || creeks == 25 {
			continue
		}
		leg := make(orb.LineString, len(line))
		for i, q := range line {
			leg[i] = g.frame.ToFrame(q)
		}
		if a, err := profile.NewAlignment(leg, 0); err != nil || a.LengthM() < 1000 {
			continue
		}
		p, _, err := profile.Thalweg(context.Background(), g.surface, []orb.LineString{leg}, profile.ThalwegOptions{CellM: g.surface.CellM(), TrackSigmaM: 10})
		if err != nil {
			continue // for a reason that it states
		}
		creeks++
		at, near := make([]profile.Station, len(line)), make([]bool, len(line))
		for i, q := range leg {
			s, off := p.Alignment.StationOf(q)
			at[i], near[i] = s, math.Abs(off) < g.surface.CellM()
		}
		for k, m := range over {
			for i, j := 0, 0; i < len(line); i++ {
				for j < len(line) && float64(at[j]-at[i]) < m {
					j++
				}
				if j < len(line) && near[i] && near[j] && float64(at[j]-at[i]) < 1.5*m {
					errors[k].add(t, p, g.surface, at[i], at[j], z[i]-z[j])
					i = j
				}
			}
		}
	}
	for k, e := range errors {
		e.log(t, map[int]string{0: "McGregor, 25 m against atlas heights, over 100 m", 1: "McGregor, 25 m against atlas heights, over 300 m"}[k])
		if creeks < 10 || e.n < 50 || e.in80/e.n < 0.65 || e.in95/e.n < 0.8 {
			t.Errorf("McGregor over %g m: %d creeks, %.0f falls, %.0f %% in 80 %%, %.0f %% in 95 %%", over[k], creeks, e.n, 100*e.in80/e.n, 100*e.in95/e.n)
		}
	}
}
