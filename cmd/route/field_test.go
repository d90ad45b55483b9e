package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"route/internal/geodesy"
	"route/internal/plan"
	"route/sample-data/valley"
)

// withField writes the site file of Fernhollow with measurements into a folder
// of its own and gives its name.
func withField(t testing.TB, entries ...string) string {
	t.Helper()
	original := demo(t, "fernhollow")
	content, err := os.ReadFile(original)
	if err != nil {
		t.Fatal(err)
	}
	text := string(content)
	for _, name := range []string{"ground.tif", "creek.gpx", "land.geojson", "prices.csv"} {
		text = strings.Replace(text, name, filepath.Join(filepath.Dir(original), name), 1)
	}
	text += "\nfield:\n"
	for _, e := range entries {
		text += "  - " + e + "\n"
	}
	site := filepath.Join(t.TempDir(), "site.yaml")
	save(t, site, text)
	return site
}

// profileOf runs route profile on a site.
func profileOf(t testing.TB, site string) *plan.Plan {
	t.Helper()
	return planFrom(t, "profile", site, "--json")
}

// waterAt is the profile's water at the station nearest to a place.
func waterAt(p *plan.Plan, at geodesy.LonLat) float64 {
	best, least := math.NaN(), math.Inf(1)
	for _, s := range p.Creek.Stations {
		if d, _ := geodesy.Distance(at, geodesy.LonLat{Lon: float64(s.Lon), Lat: float64(s.Lat)}); d < least {
			best, least = float64(s.ZM), d
		}
	}
	return best
}

func coded(messages []plan.Message, code string) []plan.Message {
	return slices.DeleteFunc(slices.Clone(messages), func(m plan.Message) bool { return m.Code != code })
}

// The model of Fernhollow knows the water without error. A drop between two of
// its places, measured to 2 cm, brings the fall of the profile between them
// from the error of the scan to about that of the measurement; the places are
// found in the profile to half its step of 0.5 m, a centimetre on this creek.
func TestMeasuredDropMakesTheFallSure(t *testing.T) {
	const seed, sigma = 31, 0.02
	random := rand.New(rand.NewPCG(seed, 1))
	place := valley.Fernhollow()
	bare := profileOf(t, demo(t, "fernhollow"))
	var before, after float64
	falls := place.Truth().Falls
	for _, fall := range falls {
		a, b := place.LonLat(place.CreekPoint(fall.FromM)), place.LonLat(place.CreekPoint(fall.ToM))
		p := profileOf(t, withField(t, fmt.Sprintf(`{drop: "%.4f m", from: {lat: %.7f, lon: %.7f}, to: {lat: %.7f, lon: %.7f}, sigma: "2 cm"}`,
			fall.FallM+sigma*random.NormFloat64(), a.Lat, a.Lon, b.Lat, b.Lon)))
		if len(coded(p.Messages, "field_reading")) != 1 {
			t.Fatalf("the reading of the fall %+v is not used: %v", fall, coded(p.Messages, "field_questioned"))
		}
		before += math.Pow(waterAt(bare, a)-waterAt(bare, b)-fall.FallM, 2)
		after += math.Pow(waterAt(p, a)-waterAt(p, b)-fall.FallM, 2)
	}
	before, after = math.Sqrt(before/float64(len(falls))), math.Sqrt(after/float64(len(falls)))
	t.Logf("seed %d: rms error of %d falls %.3f m from the scan, %.3f m with each of them measured to %.2f m", seed, len(falls), before, after, sigma)
	if after > 1.5*sigma || before < 2*after {
		t.Errorf("seed %d: rms error %.3f m before, %.3f m after", seed, before, after)
	}
}

// Measuring the drop that a layout stands on makes its drive head as sure as
// the reading, but for what the supply pipe's loss adds.
func TestMeasuredDropMakesTheLayoutSure(t *testing.T) {
	bare := planDemo(t, "fernhollow").Layouts[0]
	drop := float64(bare.Intake.WaterM - bare.Pump.GroundM)
	site := withField(t, fmt.Sprintf(`{drop: "%.4f m", from: "%.4f m", to: "%.4f m", by: level, sigma: "2 cm"}`, drop, bare.Intake.StationM, bare.Pump.StationM))
	p := planFrom(t, "plan", site, "--json", "--out", t.TempDir())
	k := slices.IndexFunc(p.Layouts, func(l plan.Layout) bool {
		return l.Intake.StationM == bare.Intake.StationM && l.Pump.StationM == bare.Pump.StationM
	})
	if k < 0 {
		t.Fatal("a reading that says what the terrain said moved the layout")
	}
	loss := 0.0
	if l := p.Layouts[k]; l.Supply != nil {
		loss = 0.15 * float64(l.Supply.LossM) // the spread of a pipe's loss that the draws use
	}
	if got, most := float64(p.Layouts[k].DriveHeadSigmaM), math.Hypot(0.0202, loss); got > most || got > 0.5*float64(bare.DriveHeadSigmaM) {
		t.Errorf("drive head known to %.4f m, want at most %.4f m; %.4f m before", got, most, float64(bare.DriveHeadSigmaM))
	}
	if note := coded(p.Messages, "field_reading"); len(note) != 1 || !strings.Contains(note[0].Text, "the terrain said") {
		t.Errorf("notes %+v", note)
	}
	if !slices.ContainsFunc(p.WorksCited, func(s string) bool { return strings.Contains(s, "conditioning") }) {
		t.Error("the method is not cited")
	}
}

// Each way to give a drop, the truth of Fernhollow behind each: they are used,
// and a wrong one is questioned unless its entry says accept.
func TestKindsOfFieldReadings(t *testing.T) {
	place := valley.Fernhollow()
	at := func(s float64) string {
		q := place.LonLat(place.CreekPoint(s))
		return fmt.Sprintf("{lat: %.7f, lon: %.7f}", q.Lat, q.Lon)
	}
	drop := place.Water(150) - place.Water(700)
	// 1 m of water at 10 °C presses with 999.70 kg/m³ (CRC Handbook) times
	// 9.80665 m/s².
	pressure := 999.70 * 9.80665 * drop
	book := filepath.Join(t.TempDir(), "levels.csv")
	b, c := place.LonLat(place.CreekPoint(150)), place.LonLat(place.CreekPoint(240))
	save(t, book, fmt.Sprintf("point,bs (m),is (m),fs (m),lat,lon\nstart,1,,,%.7f,%.7f\nend,0.5,,%.4f,%.7f,%.7f\nstart,,,%.4f,,\n",
		b.Lat, b.Lon, 1+place.Water(150)-place.Water(240), c.Lat, c.Lon, 0.5-place.Water(150)+place.Water(240)))
	for _, k := range []struct {
		name    string
		entries []string
		used    int
		doubts  int
		says    string
	}{
		{"drop", []string{fmt.Sprintf(`{drop: "%.3f m", from: %s, to: %s, by: hand_level}`, drop, at(150), at(700))}, 1, 0, ""},
		// The profile's stations are a few metres off the model's.
		{"drop in feet between stations", []string{fmt.Sprintf(`{drop: "%.2f ft", from: "500 ft", to: "800 ft", by: hose, legs: 6, sigma: "10 cm"}`, (place.Water(500*0.3048)-place.Water(800*0.3048))/0.3048)}, 1, 0, "500.0 ft to 800.0 ft"},
		{"pressure", []string{fmt.Sprintf(`{pressure: "%.0f Pa", from: %s, to: %s, by: digital_gauge}`, pressure, at(150), at(700))}, 1, 0, ""},
		{"pressure with a gauge above the water", []string{fmt.Sprintf(`{pressure: "%.0f Pa", from: %s, to: %s, sigma: "300 Pa", above_water: "0.5 m"}`, pressure-999.7*9.80665*0.5, at(150), at(700))}, 1, 0, ""},
		{"heights", []string{fmt.Sprintf(`{height: "%.3f m", at: %s, by: rtk}`, 50+drop, at(150)), fmt.Sprintf(`{height: "50 m", at: %s, by: rtk, sigma: "2 cm"}`, at(700))}, 1, 0, ""},
		{"one height", []string{fmt.Sprintf(`{height: "50 m", at: %s, by: rtk}`, at(150))}, 0, 0, "datum"},
		{"levelling book", []string{fmt.Sprintf(`{levels: %q}`, book)}, 1, 0, "levelled in one step"},
		{"a metre off", []string{fmt.Sprintf(`{drop: "%.3f m", from: %s, to: %s}`, drop+1, at(150), at(700))}, 0, 1, "left out"},
		{"a metre off, accepted", []string{fmt.Sprintf(`{drop: "%.3f m", from: %s, to: %s, accept: true}`, drop+1, at(150), at(700))}, 1, 1, "accept"},
		{"two that contradict each other", []string{
			fmt.Sprintf(`{drop: "%.3f m", from: %s, to: %s}`, drop+0.15, at(150), at(700)),
			fmt.Sprintf(`{drop: "%.3f m", from: %s, to: %s}`, drop-0.15, at(150), at(700))}, 0, 2, "other readings"},
	} {
		t.Run(k.name, func(t *testing.T) {
			p := profileOf(t, withField(t, k.entries...))
			used, doubts := coded(p.Messages, "field_reading"), coded(p.Messages, "field_questioned")
			if len(used) != k.used || len(doubts) != k.doubts {
				t.Fatalf("used: %+v\nquestioned: %+v", used, doubts)
			}
			all := ""
			for _, m := range p.Messages {
				all += m.Text + " " + m.Hint + "\n"
			}
			if !strings.Contains(all, k.says) {
				t.Errorf("nothing says %q:\n%s", k.says, all)
			}
			for i := 1; i < len(p.Creek.Stations); i++ {
				if p.Creek.Stations[i].ZM > p.Creek.Stations[i-1].ZM {
					t.Fatalf("the creek rises at %v m", p.Creek.Stations[i].StationM)
				}
			}
		})
	}
}

func TestFieldFaultsOnTheGround(t *testing.T) {
	book := filepath.Join(t.TempDir(), "levels.csv")
	save(t, book, "point,bs (m),fs (m),station (m)\nA,1,,10\nB,,2,9000\n")
	for _, c := range []struct{ name, entry, says string }{
		{"beyond the creek", `{drop: "1 m", from: "100 m", to: "9 km"}`, "beyond the creek"},
		{"upstream", `{drop: "1 m", from: "300 m", to: "100 m"}`, "upstream"},
		{"far from the creek", `{drop: "1 m", from: "100 m", to: {lat: 41.2165, lon: -148.5628}}`, "from the creek"},
		{"no such waypoint", `{drop: "1 m", from: "100 m", to: stake 9}`, "stake 9"},
		{"a pump far from the creek", `{place: pump, at: "41.2165,-148.5628"}`, "from the creek"},
		{"no such book", `{levels: none.csv}`, "no such file"},
		{"a point of the book beyond the creek", fmt.Sprintf(`{levels: %q}`, book), "levels.csv:3: the place lies beyond"},
	} {
		t.Run(c.name, func(t *testing.T) {
			site := withField(t, c.entry)
			code, stdout, stderr := route("profile", site)
			if code != exitFailed || !strings.Contains(stderr, c.says) {
				t.Errorf("exit code %d\n%s%s", code, stdout, stderr)
			}
			if strings.HasPrefix(c.entry, "{drop") && !strings.Contains(stderr, site+":") {
				t.Errorf("the site file and line are not named: %s", stderr)
			}
		})
	}
}
