package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"route/internal/geodesy"
	"route/internal/plan"
)

// realSite is open terrain of a place that nobody here made, described by the
// README beside it.
type realSite struct {
	name   string
	raster string
	creek  string // "" when the place has no creek line
	track  string
	zUnit  string // as the README says; most files do not
	crs    string
	fallM  float64 // published or surveyed fall over the creek line, NaN when there is none
	within float64 // how near our fall must come: the source's own rounding and the misfit it states
	plan   bool
}

var none = math.NaN()

// The falls are those of the READMEs: heights along the same line in another
// program's reading (GRASS r.watershed, ArcGIS) or as published with the line.
var realSites = []realSite{
	{"gabilan", "gabilan_mesa_ca/dem_1m.tif", "gabilan_mesa_ca/derived_thalweg.geojson", "", "m", "", 232.2 - 194.52, 0.5, true},
	{"ptuj", "ptuj_slovenia/dem_1m.tif", "ptuj_slovenia/derived_thalweg.geojson", "", "m", "", 275.05 - 256.71, 0.7, true},
	{"cole 2010", "cole_creek_ne/dem_2010_1m_zft.tif", "cole_creek_ne/flowline_wgs84.gpx", "", "ft", "", none, none, true},
	{"cole 2006", "cole_creek_ne/dem_2006_1m_zft.tif", "cole_creek_ne/flowline_wgs84.gpx", "", "ft", "", none, none, true},
	{"antelope", "antelope_creek_nd/dem_field_survey_0.1m_ft.tif", "antelope_creek_nd/survey_thalweg_2017_wgs84.gpx", "", "ft", "", none, none, false},
	{"sagehen", "sagehen_creek_ca/dem_ned_third_arcsec.tif", "sagehen_creek_ca/derived_thalweg.geojson", "", "m", "", 2521.72 - 1912.654, 8, true},
	{"sagehen NHD", "sagehen_creek_ca/dem_ned_third_arcsec.tif", "sagehen_creek_ca/sagehen_creek_nhd_wgs84.gpx", "", "m", "", none, none, true},
	{"tirol wog", "tirol_wog/dem_5m.tif", "tirol_wog/derived_thalweg.geojson", "", "m", "", 1979.368 - 1249.035, 8, true},
	{"tirol alr", "tirol_alr/dem_5m.tif", "tirol_alr/derived_thalweg.geojson", "", "m", "", 2174.932 - 716.703, 8, true},
	{"mcgregor", "mcgregor_bc/dem_25m_int_m.tif", "mcgregor_bc/fwa_streams.gpkg", "", "m", "", none, none, true},
	{"jerte", "jerte_spain/dem_25m_int_ed50.tif", "jerte_spain/derived_thalweg.geojson", "", "m", "", none, none, true},
	{"big tujunga", "big_tujunga_ca/dem_srtm_30m.tif", "big_tujunga_ca/derived_thalweg.geojson", "", "m", "", 1692 - 350, 40, true},
	{"kroombit", "kroombit_qld/dem_srtm_1arcsec.tif", "kroombit_qld/derived_thalweg.geojson", "", "m", "", none, none, true},
	{"raleigh", "raleigh_nc/dem_ned_30m.tif", "raleigh_nc/streams.gpkg", "", "m", "", none, none, true},
	{"lahnstein degrees", "lahnstein_de/dem_nasadem_1arcsec_int.tif", "lahnstein_de/derived_thalweg.geojson", "", "m", "", none, none, true},
	{"lahnstein UTM", "lahnstein_de/dem_utm32_reprojected_int.tif", "lahnstein_de/derived_thalweg.geojson", "", "m", "", none, none, true},
}

// measured is one run of the program.
type measured struct {
	code    int
	stdout  []byte
	stderr  string
	seconds float64
	peakMB  float64
}

func runBinary(t *testing.T, binary string, args ...string) measured {
	t.Helper()
	cmd := exec.Command(binary, args...)
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	start := time.Now()
	err := cmd.Start()
	if err != nil {
		t.Fatal(err)
	}
	peak := watchPeak(cmd.Process.Pid)
	err = cmd.Wait()
	m := measured{stdout: out.Bytes(), stderr: errs.String(), seconds: time.Since(start).Seconds()}
	if err != nil {
		if _, ok := err.(*exec.ExitError); !ok {
			t.Fatal(err)
		}
	}
	m.code = cmd.ProcessState.ExitCode()
	m.peakMB = peak()
	return m
}

// watchPeak follows the most memory that a process has taken, in MB, until it
// is asked. The kernel's own sum at the end (getrusage) will not do: it begins
// with what the process took that started it, here the tests.
func watchPeak(pid int) (peak func() float64) {
	done, most := make(chan struct{}), make(chan float64)
	go func() {
		highest := 0.0
		for {
			if kB, err := highWater(pid); err == nil {
				highest = max(highest, kB/1024)
			}
			select {
			case <-done:
				most <- highest
				return
			case <-time.After(10 * time.Millisecond):
			}
		}
	}()
	return func() float64 {
		close(done)
		return <-most
	}
}

// highWater is VmHWM of proc(5), in kB.
func highWater(pid int) (kB float64, err error) {
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0, err
	}
	_, rest, _ := strings.Cut(string(status), "VmHWM:")
	_, err = fmt.Sscan(rest, &kB)
	return kB, err
}

func buildBinary(t *testing.T) string {
	t.Helper()
	binary := filepath.Join(t.TempDir(), "route")
	if out, err := exec.Command("go", "build", "-o", binary, ".").CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	return binary
}

// TestRealTerrain runs inspect, profile and plan on every place that has a
// raster, with a tank 15 to 25 m above the creek and within 300 m of it, and
// logs what came out. It fails when a place is neither answered nor refused
// for a stated reason, and when a fall misses the published one.
func TestRealTerrain(t *testing.T) {
	root := os.Getenv("ROUTE_TERRAIN")
	if root == "" {
		t.Skip("ROUTE_TERRAIN is not set: no terrain of real places here")
	}
	binary := buildBinary(t)
	for _, site := range realSites {
		t.Run(site.name, func(t *testing.T) {
			args := []string{"--json", "--terrain", filepath.Join(root, site.raster), "--creek", filepath.Join(root, site.creek), "--z-unit", site.zUnit}
			if site.crs != "" {
				args = append(args, "--crs", site.crs)
			}
			inspected := runBinary(t, binary, append([]string{"inspect"}, args...)...)
			if inspected.code != exitDone && inspected.code != exitFailed {
				t.Errorf("inspect: exit code %d: %s", inspected.code, inspected.stderr)
			}
			profiled := runBinary(t, binary, append([]string{"profile"}, args...)...)
			var long struct {
				Inputs []plan.Input `json:"inputs"`
				Creek  plan.Creek   `json:"creek"`
				Error  *failure     `json:"error"`
			}
			if err := json.Unmarshal(profiled.stdout, &long); err != nil {
				t.Fatalf("profile: %v\n%s", err, profiled.stdout)
			}
			if long.Error != nil {
				if long.Error.Code == "failed" || long.Error.Hint == "" {
					t.Errorf("refused without a reason: %+v", *long.Error)
				}
				t.Logf("refused: %s (%s)", long.Error.Text, long.Error.Hint)
				return
			}
			cell := ""
			for _, in := range long.Inputs {
				if in.Role == "terrain" {
					cell = in.CellText
				}
			}
			t.Logf("profile: cell %s, length %.0f m, fall %.2f m (published %.2f), %.2f s, %.0f MB", cell, float64(long.Creek.LengthM), float64(long.Creek.FallM), site.fallM, profiled.seconds, profiled.peakMB)
			if d := math.Abs(float64(long.Creek.FallM) - site.fallM); d > site.within {
				t.Errorf("fall %.2f m, published %.2f m", float64(long.Creek.FallM), site.fallM)
			}
			if !site.plan {
				return
			}
			tank, above, away := placeTank(t, filepath.Join(root, site.raster), site.zUnit, long.Creek.Stations)
			if away == 0 {
				t.Log("plan: no ground 15 to 25 m above the creek within 300 m")
				return
			}
			planned := runBinary(t, binary, append([]string{"plan", "--out", t.TempDir(), "--creek-flow", "20 L/s", "--tank", fmt.Sprintf("%.7f,%.7f", tank.Lat, tank.Lon)}, args...)...)
			if planned.code != exitDone && planned.code != exitInfeasible {
				t.Fatalf("plan: exit code %d\n%s%s", planned.code, planned.stdout, planned.stderr)
			}
			var p plan.Plan
			if err := json.Unmarshal(planned.stdout, &p); err != nil {
				t.Fatal(err)
			}
			t.Logf("plan: tank %.1f m up, %.0f m away, %d layouts, %.2f s, %.0f MB: %s", above, away, len(p.Layouts), planned.seconds, planned.peakMB, p.Headline())
			for _, l := range p.Layouts {
				checkLayout(t, &p, &l)
			}
			checkOrder(t, &p)
		})
	}
}

// checkLayout asks of a layout what any layout must fulfil.
func checkLayout(t *testing.T, p *plan.Plan, l *plan.Layout) {
	t.Helper()
	if l.Supply != nil {
		for _, v := range l.Supply.Path[1:] {
			if v.InvertM > v.GradeM {
				t.Errorf("layout %s: the supply pipe stands above its grade line at %.1f m", l.ID, float64(v.AlongM))
				break
			}
		}
	}
	if !(l.DriveHeadM > 0 && l.DeliveredLMin > 0 && l.DeliveredLMin < l.DriveFlowLMin) {
		t.Errorf("layout %s: head %v, drive flow %v, delivered %v", l.ID, l.DriveHeadM, l.DriveFlowLMin, l.DeliveredLMin)
	}
	// Energy: what is lifted is less than what falls.
	if l.DeliveredLMin*l.Delivery.LiftM >= l.DriveFlowLMin*l.DriveHeadM {
		t.Errorf("layout %s lifts more than falls", l.ID)
	}
	// Common practice, no source: 100 ft is the most that installers of small
	// pumps give the drive pipe.
	if most := plan.Number(100 * 0.3048); l.Drive.LengthM > most+0.001 {
		t.Errorf("layout %s: drive pipe of %.2f m, the usual limit is 100 ft", l.ID, float64(l.Drive.LengthM))
	}
}

// placeTank looks for ground 15 to 25 m above the nearest part of the creek,
// within 300 m of it, on a spiral around the creek's middle stations.
func placeTank(t *testing.T, raster, zUnit string, stations []plan.CreekStation) (at geodesy.LonLat, aboveM, awayM float64) {
	t.Helper()
	middle := len(stations) / 2
	origin := geodesy.LonLat{Lon: float64(stations[middle].Lon), Lat: float64(stations[middle].Lat)}
	frame, err := geodesy.NewFrame(origin, float64(stations[middle].ZM))
	if err != nil {
		t.Fatal(err)
	}
	heights := openHeights(t, raster, zUnit)
	for _, share := range []float64{0.5, 0.35, 0.65, 0.2, 0.8} {
		s := stations[int(share*float64(len(stations)-1))]
		foot := frame.ToFrame(geodesy.LonLat{Lon: float64(s.Lon), Lat: float64(s.Lat)})
		for away := 60.0; away <= 300; away += 20 {
			for k := range 24 {
				a := 2 * math.Pi * float64(k) / 24
				p := orb.Point{foot[0] + away*math.Cos(a), foot[1] + away*math.Sin(a)}
				ll := frame.ToLonLat(p)
				z, ok := heights(ll)
				if !ok {
					continue
				}
				nearest, least := 0.0, math.Inf(1)
				for _, q := range stations {
					d := math.Hypot(frame.ToFrame(geodesy.LonLat{Lon: float64(q.Lon), Lat: float64(q.Lat)})[0]-p[0], frame.ToFrame(geodesy.LonLat{Lon: float64(q.Lon), Lat: float64(q.Lat)})[1]-p[1])
					if d < least {
						least, nearest = d, float64(q.ZM)
					}
				}
				if above := z - nearest; above >= 15 && above <= 25 {
					return ll, above, least
				}
			}
		}
	}
	return geodesy.LonLat{}, 0, 0
}
