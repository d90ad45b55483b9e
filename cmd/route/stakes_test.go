package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/tidwall/geodesic"

	"route/internal/catalog"
	"route/internal/hydraulics"
)

// laidLine is a pipe as route.geojson has it: degrees and metres.
type laidLine [][3]float64

// lines reads the pipes out of the GeoJSON file.
func (h *handedOver) lines(t testing.TB) map[string]laidLine {
	t.Helper()
	var document struct {
		Features []struct {
			Properties struct{ Layout, Role string }
			Geometry   struct {
				Type        string
				Coordinates json.RawMessage
			}
		}
	}
	if err := json.Unmarshal(h.file(t, "route.geojson"), &document); err != nil {
		t.Fatal(err)
	}
	lines := map[string]laidLine{}
	for _, f := range document.Features {
		if f.Geometry.Type != "LineString" || f.Properties.Role == "creek" {
			continue
		}
		var l laidLine
		if err := json.Unmarshal(f.Geometry.Coordinates, &l); err != nil {
			t.Fatal(err)
		}
		lines[f.Properties.Layout+" "+f.Properties.Role] = l
	}
	return lines
}

// heightAt is the height of a line where it comes nearest to a place, and how
// far that is in metres; distances are Karney's geodesics (J. Geodesy 87, 2013)
// on WGS 84.
func (l laidLine) heightAt(lon, lat float64) (z, away float64) {
	var metresLon, metresLat float64
	geodesic.WGS84.Inverse(lat, lon, lat, lon+1e-3, &metresLon, nil, nil)
	geodesic.WGS84.Inverse(lat, lon, lat+1e-3, lon, &metresLat, nil, nil)
	flat := func(p [3]float64) (x, y float64) {
		return (p[0] - lon) * metresLon / 1e-3, (p[1] - lat) * metresLat / 1e-3
	}
	away = math.Inf(1)
	for i := 1; i < len(l); i++ {
		ax, ay := flat(l[i-1])
		bx, by := flat(l[i])
		dx, dy := bx-ax, by-ay
		t := 0.0
		if d := dx*dx + dy*dy; d > 0 {
			t = math.Max(0, math.Min(1, -(ax*dx+ay*dy)/d))
		}
		if d := math.Hypot(ax+t*dx, ay+t*dy); d < away {
			z, away = l[i-1][2]+t*(l[i][2]-l[i-1][2]), d
		}
	}
	return z, away
}

// The levels of the stakes come out of route.geojson and profile.csv alone, to
// a millimetre: those along a pipe from its line where the stake stands; ground
// and pipe along the creek from the profile at the stake's station, the pipe
// lying limits.bed_depth (0.2 m) below; and where it leaves the creek it is held
// up no further than the site allows.
func TestStakeLevelsFollowFromTheFiles(t *testing.T) {
	onDemos(t, func(t *testing.T, h *handedOver) {
		const mm = 0.001 + 0.00051 // and half a digit of the file
		lines, rows := h.lines(t), h.table(t, "stakeout.csv")
		creek := h.table(t, "profile.csv")
		water := func(station float64) float64 {
			i := 1
			for i < len(creek)-1 && numberIn(t, creek[i], "station_m") < station {
				i++
			}
			s0, s1 := numberIn(t, creek[i-1], "station_m"), numberIn(t, creek[i], "station_m")
			z0, z1 := numberIn(t, creek[i-1], "fitted_m"), numberIn(t, creek[i], "fitted_m")
			return z0 + (station-s0)/(s1-s0)*(z1-z0)
		}
		checked := map[string]int{}
		last, lastID := 0.0, ""
		for _, row := range rows {
			id, role, invert := row["layout"], row["role"], numberIn(t, row, "pipe_invert_m")
			want := math.NaN()
			switch role {
			case "supply", "drive", "delivery":
				key := id + " " + role
				var away float64
				want, away = lines[key].heightAt(numberIn(t, row, "lon"), numberIn(t, row, "lat"))
				if away > 0.003 {
					t.Errorf("%s %s stands %.3f m beside its line", id, row["label"], away)
				}
				if role == "supply" && row["station_m"] == "" {
					// Away from the creek: no higher on its supports than
					// limits.supply_pipe_trestle (0.3 m).
					if up := invert - numberIn(t, row, "ground_m"); up > 0.3+mm {
						t.Errorf("%s %s lies %.3f m above the ground", id, row["label"], up)
					}
					checked["away"]++
				} else if role == "supply" {
					if byCreek := water(numberIn(t, row, "station_m")) - 0.2; math.Abs(byCreek-invert) > mm {
						t.Errorf("%s %s: %.3f, the profile says %.4f", id, row["label"], invert, byCreek)
					}
				}
			case "intake":
				want = water(numberIn(t, row, "station_m")) - 0.2
			case "standpipe":
				want = lines[id+" drive"][0][2]
				if ground := water(numberIn(t, row, "station_m")); math.Abs(ground-numberIn(t, row, "ground_m")) > mm {
					t.Errorf("%s %s: ground %s, the profile says %.4f", id, row["label"], row["ground_m"], ground)
				}
			case "pump":
				want = lines[id+" delivery"][0][2]
			case "tank":
				line := lines[id+" delivery"]
				want = line[len(line)-1][2]
			default:
				checked[role]++
				last, lastID = invert, id
				continue // the water in the box is a level of its own
			}
			checked[role]++
			if !(math.Abs(want-invert) <= mm) {
				t.Errorf("%s %s: level %.3f, the files say %.4f", id, row["label"], invert, want)
			}
			if id == lastID {
				if fall := numberIn(t, row, "fall_since_last_m"); math.Abs(last-invert-fall) > 0.0011 {
					t.Errorf("%s %s: fall %.3f since the last stake, the levels say %.3f", id, row["label"], fall, last-invert)
				}
			}
			last, lastID = invert, id
		}
		for _, role := range []string{"intake", "supply", "away", "standpipe", "drive", "pump", "delivery", "tank"} {
			if checked[role] == 0 {
				t.Errorf("no stake of role %s was checked", role)
			}
		}
	})
}

// Every layout has stakes at its places, at each vent and drain, and no two
// neighbours of a pipe further apart than a tape.
func TestStakesStandWhereTheyShould(t *testing.T) {
	onDemos(t, func(t *testing.T, h *handedOver) {
		tape := 20.0
		if h.plan.Units == "us" {
			tape = 50 * 0.3048
		}
		for i := range h.plan.Layouts {
			l := &h.plan.Layouts[i]
			labels := map[string]bool{}
			for k, s := range l.Stakes {
				if labels[s.Label] || len(s.Label) > 10 || s.Do == "" {
					t.Errorf("%s: stake %q twice, too long or without a task", l.ID, s.Label)
				}
				labels[s.Label] = true
				// The last tape length may be a third longer: no peg stands that near to the end.
				if k > 0 && float64(s.AlongM-l.Stakes[k-1].AlongM) > tape*4/3+0.01 {
					t.Errorf("%s: %.1f m from %s to %s", l.ID, float64(s.AlongM-l.Stakes[k-1].AlongM), l.Stakes[k-1].Label, s.Label)
				}
			}
			for _, want := range []string{"INTAKE", "PUMP", "TANK"} {
				if !labels[want] {
					t.Errorf("%s has no stake %s", l.ID, want)
				}
			}
			vents, drains, supports := 0, 0, 0
			for label := range labels {
				switch {
				case strings.HasPrefix(label, "VENT"):
					vents++
				case strings.HasPrefix(label, "DRAIN"):
					drains++
				case strings.HasPrefix(label, "SUP"):
					supports++
				}
			}
			anchors := 0.0
			for _, line := range l.Takeoff {
				if line.Item == "anchor" && line.Group == "drive" {
					anchors += float64(line.Need)
				}
			}
			if vents != len(l.Delivery.Vents) || drains != len(l.Delivery.Drains) || float64(supports*l.Pump.Count) != anchors {
				t.Errorf("%s: %d vents, %d drains and %d supports are pegged; %d, %d and %v are planned", l.ID, vents, drains, supports, len(l.Delivery.Vents), len(l.Delivery.Drains), anchors)
			}
		}
	})
}

// At the bounds of what is accepted of the pump's and the tank's stake, the
// whole installation (another way through the hydraulics than the draws take)
// stands at its limit: a little inside it delivers what is wanted, and beyond it
// does not or cannot be tuned.
func TestAcceptedDropsAreTheLimits(t *testing.T) {
	tried := 0
	onDemos(t, func(t *testing.T, h *handedOver) {
		whole := catalog.Default("USD")
		fluid, err := hydraulics.Water(283.15, 0)
		if err != nil {
			t.Fatal(err)
		}
		for i := range h.plan.Layouts {
			l := &h.plan.Layouts[i]
			drive, _ := whole.Item(l.Drive.Item)
			delivery, _ := whole.Item(l.Delivery.Item)
			var ram hydraulics.Ram
			for _, it := range whole.Items(catalog.KindPump, 0) {
				if it.Name == l.Pump.Model {
					ram = *it.Ram
				}
			}
			delivered := func(head, lift float64) (litresPerDay float64, ok bool) {
				in := hydraulics.Installation{Fluid: fluid, SourceM: head, Drive: hydraulics.Run{Pipe: drive.Pipe.Pipe, LengthM: float64(l.Drive.LengthM)}, Ram: ram, Pumps: l.Pump.Count,
					Delivery: hydraulics.Run{Pipe: delivery.Pipe.Pipe, LengthM: float64(l.Delivery.LengthM)}, LiftM: lift}
				o, err := in.TunedTo(float64(l.DriveFlowLMin)/60000, [2]float64{0.35, 0.8})
				return o.DeliveredTotal * 86400e3, err == nil
			}
			head, lift := float64(l.DriveHeadM), float64(l.Delivery.LiftM)
			try := func(label, why string, inside, outside func() (float64, bool)) {
				demand := float64(h.plan.Demand)
				in, ok := inside()
				out, okOut := outside()
				switch why {
				case "less water than wanted":
					// The bound keeps the pipe's friction as planned: a small part of the whole.
					if !ok || in < 0.99*demand || okOut && out > 1.01*demand {
						t.Errorf("layout %s, %s: %.0f L/day inside and %.0f outside, wanted are %.0f", l.ID, label, in, out, demand)
					}
				case "the pump cannot be tuned to this flow":
					if !ok || okOut {
						t.Errorf("layout %s, %s: tuned inside %v, outside %v", l.ID, label, ok, okOut)
					}
				case "less water than promised":
					if low := float64(l.DeliveredLDayLow); !ok || in < 0.99*low || okOut && out > 1.01*low {
						t.Errorf("layout %s, %s: %.0f L/day inside and %.0f outside, promised are %.0f or more", l.ID, label, in, out, low)
					}
				case "more water than promised: read again, and plan again with it":
					if high := float64(l.DeliveredLDayHigh); !ok || in > 1.01*high || okOut && out < 0.99*high {
						t.Errorf("layout %s, %s: %.0f L/day inside and %.0f outside, promised are %.0f or less", l.ID, label, in, out, high)
					}
				default:
					t.Errorf("layout %s, %s: nobody tries %q", l.ID, label, why)
					return
				}
				tried++
			}
			for _, s := range l.Stakes {
				hair := 0.03 * head // at the end of its range a pump draws hardly more for more head: a hundredth of flow is that much
				switch c := s.Check; {
				case c == nil:
				case s.Label == "PUMP":
					at := func(below float64) func() (float64, bool) {
						return func() (float64, bool) { return delivered(below, lift+below-head) }
					}
					try("PUMP above", c.LowWhy, at(float64(c.LowM)+hair), at(float64(c.LowM)-hair))
					try("PUMP below", c.HighWhy, at(float64(c.HighM)-hair), at(float64(c.HighM)+hair))
				case s.Label == "TANK":
					rise := float64(l.Tank.InletM - l.Pump.OutletM)
					at := func(above float64) func() (float64, bool) {
						return func() (float64, bool) { return delivered(head, lift+above-rise) }
					}
					// The tank may rise to the crest for nothing.
					if math.Abs(rise-lift) < 0.001 {
						try("TANK above", c.LowWhy, at(-float64(c.LowM)-hair), at(-float64(c.LowM)+hair))
					}
				}
			}
		}
	})
	if tried < 5 {
		t.Errorf("only %d bounds were tried", tried)
	}
}

// The grid that the site asks for reaches every file, and a grid that does not
// serve here is refused before the work is done.
func TestStakesInAGridOfOnesOwn(t *testing.T) {
	site := demo(t, "eilwern")
	dir := t.TempDir()
	p := planFrom(t, "plan", site, "--json", "--out", dir, "--stakes-crs", "32727", "--set", "layouts=1")
	if p.Frame.Grid != "EPSG:32727" || p.Frame.UTM != "EPSG:32726" {
		t.Errorf("%+v", p.Frame)
	}
	content, err := os.ReadFile(filepath.Join(dir, "stakeout.csv"))
	if err != nil {
		t.Fatal(err)
	}
	// One zone further east the same place lies about 6 degrees of longitude
	// further west: at latitude 44.6 some 475 km.
	for _, row := range namedRows(t, content) {
		away := numberIn(t, row, "easting_m") - numberIn(t, row, "own_easting")
		if row["own_grid"] != "EPSG:32727 (metre)" || math.Abs(away-475e3) > 5e3 {
			t.Fatalf("%v", row)
		}
	}
	for crs, want := range map[string]string{"EPSG:4326": "grid_not_projected", "EPSG:123456": "grid_unknown"} {
		code, stdout, _ := route("plan", site, "--json", "--out", t.TempDir(), "--stakes-crs", crs)
		if code != exitFailed || !strings.Contains(stdout, want) {
			t.Errorf("%s: %d, %s; want the fault %s", crs, code, stdout, want)
		}
	}
}
