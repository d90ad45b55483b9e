package main

import (
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"route/internal/finding"
)

// The contract's field names.
var ramKeys = []string{"drive_flow_l_min", "waste_l_min", "delivered_l_min", "delivered_l_day", "delivered_l_day_low", "delivered_l_day_high",
	"beats_per_min", "efficiency_daubuisson", "efficiency_rankine", "lambda", "mu", "lift_ratio", "length_to_diameter", "shutoff_head_m",
	"surge_head_m", "standpipe_level_m", "warnings"}

func codes(doc map[string]any) map[string]bool {
	list := map[string]bool{}
	for _, w := range doc["warnings"].([]any) {
		list[w.(map[string]any)["code"].(string)] = true
	}
	return list
}

// The standpipe system of the reference; its own simulation by another program
// settles at 1.44 m, 80.6 L/min, 53 beats a minute.
var standpipeArgs = []string{"ram", "--drive-head", "2.5m", "--lift", "20m", "--drive-pipe", "steel Sch 40 2 in", "--drive-length", "10m",
	"--supply-pipe", "PE100 SDR 11 DN63", "--supply-length", "100m", "--supply-minor", "0", "--standpipe", "100mm", "--closing-velocity", "1.2m/s"}

func TestRamCommand(t *testing.T) {
	doc := calculateJSON(t, standpipeArgs...)
	hasKeys(t, doc, ramKeys)
	wantNumbers(t, doc, 0.05, map[string]float64{"drive_flow_l_min": 80.6, "standpipe_level_m": 1.44})
	wantNumbers(t, doc, 0.10, map[string]float64{"beats_per_min": 53, "stuck_open_flow_l_min": 118})
	// 100 m of 51.4 mm at 0.65 m/s and a 100 mm standpipe swing by 1.06 m.
	wantNumbers(t, doc, 0.02, map[string]float64{"standpipe_surge_m": 1.06})
	// The rise in the drive pipe is μ times the delivery head by the definition
	// of μ; with the waste valve's own head it is the shut-off head. a·v/g by
	// hand: 1354 m/s · 1.2 m/s / 9.807 m/s² = 165.7 m. Without a delivery pipe
	// there is no rise in it.
	wantNumbers(t, doc, 2e-3, map[string]float64{"surge_head_m": 165.7})
	wantNumbers(t, doc, 1e-9, map[string]float64{"surge_head_m": doc["mu"].(float64) * doc["delivery_head_m"].(float64)})
	if surge, shut := doc["surge_head_m"].(float64), doc["shutoff_head_m"].(float64); !(surge < shut && shut < 1.01*surge) || doc["delivery_surge_head_m"] != nil {
		t.Errorf("rise %v m, shut-off %v m, in no delivery pipe %v", surge, shut, doc["delivery_surge_head_m"])
	}
	if !codes(doc)["will_not_restart"] {
		t.Errorf("no word about the restart: %v", doc["warnings"])
	}
	// Drive = waste + delivered; the day is 1440 minutes; the band holds it.
	n := func(k string) float64 { return doc[k].(float64) }
	if math.Abs(n("waste_l_min")+n("delivered_l_min")-n("drive_flow_l_min")) > 1e-9 || math.Abs(n("delivered_l_day")-1440*n("delivered_l_min")) > 1e-6 {
		t.Errorf("the flows do not add up: %v", doc)
	}
	if !(n("delivered_l_day_low") < n("delivered_l_day") && n("delivered_l_day") < n("delivered_l_day_high")) {
		t.Errorf("the band does not hold the value: %v", doc)
	}
}

func TestRamCommandFitsTheWater(t *testing.T) {
	base := []string{"ram", "--drive-head", "10 ft", "--lift", "70 ft", "--drive-pipe", "steel Sch 40 1-1/4 in", "--drive-length", "50 ft"}
	free := calculateJSON(t, base...)
	doc := calculateJSON(t, append(base, "--available", "6 gpm")...)
	wantNumbers(t, doc, 1e-6, map[string]float64{"drive_flow_l_min": 6 * 3.785411784})
	if !codes(doc)["tuned_down"] || doc["lambda"].(float64) >= free["lambda"].(float64) {
		t.Errorf("not tuned down: λ %v from %v, %v", doc["lambda"], free["lambda"], doc["warnings"])
	}
	// With plenty it draws what it draws.
	plenty := calculateJSON(t, append(base, "--available", "60 gpm")...)
	wantNumbers(t, plenty, 1e-9, map[string]float64{"drive_flow_l_min": free["drive_flow_l_min"].(float64)})
	// Two pumps beside each other draw and deliver twice.
	two := calculateJSON(t, append(base, "--pumps", "2")...)
	wantNumbers(t, two, 1e-9, map[string]float64{"drive_flow_l_min": 2 * free["drive_flow_l_min"].(float64), "delivered_l_min": 2 * free["delivered_l_min"].(float64)})
}

// Answers that are "no": exit code 3, one document, words for the person.
func TestRamCommandSaysNo(t *testing.T) {
	base := []string{"ram", "--drive-head", "1m", "--lift", "10m", "--drive-pipe", "steel Sch 40 2 in", "--drive-length", "10m"}
	for _, c := range []struct {
		more []string
		says string
	}{
		{[]string{"--available", "5 L/min"}, "too large"},
		{[]string{"--closing-velocity", "2.5 m/s"}, "never closes"},
		{[]string{"--closing-velocity", "0.05 m/s"}, "nothing is delivered"},
		{[]string{"--supply-pipe", "PE100 SDR 11 DN20", "--supply-length", "300m", "--closing-velocity", "1 m/s"}, "supply pipe is too small"},
	} {
		args := append(append([]string{}, base...), c.more...)
		out, _, code := calculate(t, args...)
		if code != exitInfeasible || !strings.Contains(out, c.says) || !strings.Contains(out, "What to do") {
			t.Errorf("%v: exit %d, %q; want %q", c.more, code, out, c.says)
		}
		out, _, code = calculate(t, append(args, "--json")...)
		var doc struct{ Error failure }
		if err := json.Unmarshal([]byte(out), &doc); err != nil || code != exitInfeasible || !strings.Contains(doc.Error.Text, c.says) {
			t.Errorf("%v --json: exit %d, %s", c.more, code, out)
		}
	}
	for _, c := range []struct {
		args []string
		says string
	}{
		{base[:5], "--drive-pipe"},
		{append(append([]string{}, base...), "--tuning", "0.5", "--closing-velocity", "1m/s"), "give one"},
		{append(append([]string{}, base...), "--supply-pipe", "PE100 SDR 11 DN63"), "belong together"},
		{append(append([]string{}, base...), "--standpipe", "4 in"), "supply pipe"},
		{append(append([]string{}, base...), "--pumps", "0"), "at least one"},
		{append(append([]string{}, base...), "--plot", "x.svg"), "--simulate"},
		{[]string{"ram", "--drive-head", "10m", "--lift", "5m", "--drive-pipe", "steel Sch 40 2 in", "--drive-length", "40m"}, "by gravity"},
	} {
		if _, errs, code := calculate(t, c.args...); code != exitUsage || !strings.Contains(errs, c.says) {
			t.Errorf("%v: exit %d, %q; want %q", c.args, code, errs, c.says)
		}
	}
}

// A plastic drive pipe, a long lift, a weak pipe: each has its warning.
func TestRamCommandWarns(t *testing.T) {
	doc := calculateJSON(t, "ram", "--drive-head", "3m", "--lift", "15m", "--drive-pipe", "PVC Sch 40 2 in", "--drive-length", "30m", "--temp", "38C",
		"--delivery-pipe", "PE SIDR 19 1/2 in", "--delivery-length", "50m")
	got := codes(doc)
	for _, want := range []string{"plastic_drive_pipe", "weak_beat", "length_to_head"} {
		if !got[want] {
			t.Errorf("no %s in %v", want, got)
		}
	}
	doc = calculateJSON(t, "ram", "--drive-head", "1m", "--lift", "12m", "--drive-pipe", "steel Sch 40 1 in", "--drive-length", "3m", "--foot-height", "0.99m")
	got = codes(doc)
	for _, want := range []string{"lift_ratio_high", "length_to_diameter", "air_enters"} {
		if !got[want] {
			t.Errorf("no %s in %v", want, got)
		}
	}
}

const readings = `reading,drive_head,value,delivery_head,error
# a 2 in pump on 12 m of steel pipe
open flow,2.5 m,260 L/min,,
beats,2.5 m,74,10 m,
delivered,2.5 m,9.2 L/min,10 m,3 %
shut-off,2.5 m,165 m,,
`

// Calibrate, save, predict with the saved pump: the band is narrower than
// without.
func TestRamCommandCalibrates(t *testing.T) {
	dir := t.TempDir()
	file, pump := filepath.Join(dir, "readings.csv"), filepath.Join(dir, "pump.yaml")
	if err := os.WriteFile(file, []byte(readings), 0o644); err != nil {
		t.Fatal(err)
	}
	doc := calculateJSON(t, "ram", "--calibrate", file, "--drive-pipe", "steel Sch 40 2 in", "--drive-length", "12m", "--save", pump)
	if n := len(doc["residuals"].([]any)); n != 4 {
		t.Errorf("%d residuals, want 4", n)
	}
	// K_w from the open flow by hand: v = 2.003 m/s, k = 2gH/v² = 12.2; f·L/D =
	// 0.0263·12/0.05248 = 6.0 and entrance 0.6 leave 5.6.
	if k := doc["waste_valve_k"].(map[string]any)["value"].(float64); math.Abs(k-5.6) > 0.8 {
		t.Errorf("K_w %.2f, want about 5.6", k)
	}
	got := calculateJSON(t, "ram", "--drive-head", "2.5m", "--lift", "14m", "--drive-pipe", "steel Sch 40 2 in", "--drive-length", "12m", "--pump-file", pump)
	q := got["delivered_l_day"].(float64)
	if band := got["delivered_l_day_high"].(float64)/q - 1; band > 0.2 || band < 0.09 {
		t.Errorf("band ± %.0f %%", 100*band)
	}
	if out, _, code := calculate(t, "ram", "--calibrate", file, "--drive-pipe", "steel Sch 40 2 in", "--drive-length", "12m"); code != exitDone || !strings.Contains(out, "Waste valve K") {
		t.Errorf("exit %d\n%s", code, out)
	}
	if _, errs, code := calculate(t, "ram", "--calibrate", filepath.Join(dir, "none.csv"), "--drive-pipe", "steel Sch 40 2 in", "--drive-length", "12m"); code != exitFailed || !strings.Contains(errs, "none.csv") {
		t.Errorf("a missing file: exit %d, %q", code, errs)
	}
}

func TestReadingsAreRefusedWithTheirLine(t *testing.T) {
	for text, line := range map[string]int{
		"": 1, "reading,value\nbeats,60\n": 1,
		"reading,drive_head,value\nopen flow,2 m,95\n":                            2,
		"reading,drive_head,value\n# x\nopen flow,2 m,95 L/min\ncolour,2 m,red\n": 4,
		"reading,drive_head,value,delivery_head\nbeats,2,60,10 m\n":               2,
		"reading,drive_head,value,delivery_head,error\nbeats,2 m,60,10 m,much\n":  2,
		"reading,drive_head,value,delivery_head,error\nbeats,2 m,-60,10 m,\n":     2,
		"reading,drive_head,value,delivery_head,error\nbeats,2 m,\"60,10 m,\n":    2,
	} {
		_, err := readReadings("r.csv", strings.NewReader(text))
		var f *finding.Fault
		if !errors.As(err, &f) || f.Line != line || f.Hint == "" {
			t.Errorf("%q: %v, want a fault in line %d", text, err, line)
		}
	}
}

// Whatever the bytes, reading ends in readings or in a fault.
func FuzzReadings(f *testing.F) {
	f.Add(readings)
	f.Add("reading,drive_head,value\nopen flow,2 m,\"95 L/min\"\n")
	f.Add("reading,drive_head,value\n\"0") // an open quote at the end once stopped the reader
	f.Fuzz(func(t *testing.T, text string) {
		list, err := readReadings("r.csv", strings.NewReader(text))
		var fault *finding.Fault
		if err != nil && !errors.As(err, &fault) {
			t.Fatalf("%v is no fault", err)
		}
		for _, r := range list {
			if !(r.Value > 0 && r.DriveHeadM > 0) {
				t.Fatalf("%+v", r)
			}
		}
	})
}

func TestPumpFileIsRefusedWithItsPlace(t *testing.T) {
	dir := t.TempDir()
	for text, says := range map[string]string{
		"waste_valve_k: 3\nspringiness: 4\n": "springiness",
		"slip: 8\n":                          "slip",
		"waste_valve_k: -1\n":                "waste_valve_k",
		"waste_valve_k: [\n":                 "pump.yaml",
	} {
		name := filepath.Join(dir, "pump.yaml")
		if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		_, errs, code := calculate(t, "ram", "--drive-head", "2.5m", "--lift", "14m", "--drive-pipe", "steel Sch 40 2 in", "--drive-length", "12m", "--pump-file", name)
		if code != exitFailed || !strings.Contains(errs, says) {
			t.Errorf("%q: exit %d, %q; want %q", text, code, errs, says)
		}
	}
}

// Whatever the bytes, a pump file is read or refused with a fault.
func FuzzPumpFile(f *testing.F) {
	f.Add("waste_valve_k: 3\nslip: 8 mL\nvolumetric_factor: 85 %\nclosing_velocity: 1.1 m/s\nband: 12 %\n")
	f.Add("name: x\nclose_time: [0.03 s]\n")
	f.Fuzz(func(t *testing.T, text string) {
		var q ramQuestion
		var fault *finding.Fault
		if err := parsePump("p.yaml", []byte(text), &q); err != nil && !errors.As(err, &fault) {
			t.Fatalf("%v is no fault", err)
		}
	})
}

// The start: strokes, filling, and the water that runs over meanwhile.
func TestRamCommandStarts(t *testing.T) {
	doc := calculateJSON(t, append(append([]string{}, standpipeArgs...), "--delivery-pipe", "PE100 SDR 11 DN32", "--delivery-length", "80m", "--standpipe-top", "2.3m")...)
	n := func(k string) float64 {
		v, ok := doc[k].(float64)
		if !ok {
			t.Fatalf("%s is %v", k, doc[k])
		}
		return v
	}
	// Common practice, no source: 10 to 100 strokes.
	if s := n("start_strokes_open"); s < 10 || s > 100 || n("start_strokes_shut") > s {
		t.Errorf("%v strokes open, %v shut", s, n("start_strokes_shut"))
	}
	// 80 m of 26 mm hold 42.5 L; the pump brings 3 to 6 L/min on the way up.
	if s := n("tank_after_s"); s < 42.5/6*60*0.6 || s > 42.5/2.5*60 {
		t.Errorf("water after %v s", s)
	}
	// 100 m at 1.08 m/s, which loses 2.5 m by f 0.021 (Moody chart).
	if s := n("supply_fill_s"); s < 85 || s > 105 {
		t.Errorf("filled after %v s", s)
	}
	if q := n("overflow_l_min"); q < 20 || q > 50 {
		t.Errorf("%v L/min over the standpipe", q)
	}
	out, _, code := calculate(t, append(append([]string{}, standpipeArgs...), "--delivery-pipe", "PE100 SDR 11 DN32", "--delivery-length", "80m")...)
	if code != exitDone || !strings.Contains(out, "strokes by hand") || !strings.Contains(out, "Water at the tank") {
		t.Errorf("exit %d\n%s", code, out)
	}
}

// The simulation agrees with the closed form beside it, its plot is
// well-formed, its table can be read, and a plot that cannot be written leaves
// nothing behind.
func TestRamCommandSimulates(t *testing.T) {
	dir := t.TempDir()
	base := []string{"ram", "--drive-head", "2m", "--lift", "20m", "--drive-pipe", "steel Sch 40 2 in", "--drive-length", "10m", "--closing-velocity", "1.2m/s", "--simulate"}
	svg, table := filepath.Join(dir, "beats.svg"), filepath.Join(dir, "beats.csv")
	doc := calculateJSON(t, append(base, "--plot", svg)...)
	// 5.36 to 5.43 L/min, 75 beats: another program's grid test.
	wantNumbers(t, doc, 0.03, map[string]float64{"delivered_l_min": 5.40, "waste_l_min": 71.5, "beats_per_min": 75})
	text, err := os.ReadFile(svg)
	if err != nil {
		t.Fatal(err)
	}
	d, texts := xml.NewDecoder(strings.NewReader(string(text))), 0
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if e, ok := token.(xml.StartElement); ok && e.Name.Local == "text" {
			texts++
		}
	}
	if texts < 6*4 || len(text) > 600_000 {
		t.Errorf("%d labels in %d bytes", texts, len(text))
	}
	if _, errs, code := calculate(t, append(base, "--plot", table)...); code != exitDone {
		t.Fatalf("exit %d: %s", code, errs)
	}
	f, err := os.Open(table)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 10_000 || len(rows[0]) != 9 {
		t.Errorf("%d rows, %v", len(rows), err)
	}
	if _, _, code := calculate(t, append(base, "--plot", filepath.Join(dir, "none", "x.svg"))...); code != exitFailed {
		t.Errorf("a plot into a folder that is not there: exit %d", code)
	}
	if _, errs, code := calculate(t, append(base, "--plot", filepath.Join(dir, "x.png"))...); code != exitUsage || !strings.Contains(errs, ".svg") {
		t.Errorf("a plot of an unknown kind: exit %d, %s", code, errs)
	}
	left, err := filepath.Glob(filepath.Join(dir, ".route-*"))
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}
