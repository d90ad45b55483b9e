package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"route/internal/commission"
)

// siteCopy is a demo site that a test may change.
func siteCopy(t *testing.T, name string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), name)
	if err := os.CopyFS(dir, os.DirFS(filepath.Dir(demo(t, name)))); err != nil {
		t.Fatal(err)
	}
	return filepath.Join(dir, "site.yaml")
}

// readingsOf writes a readings file in SI from what a plan predicts, with some
// readings a given share of that; of the rest those that are named.
func readingsOf(t *testing.T, r *commissionJSON, changed map[string]float64, as ...string) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("reading,value\n")
	for _, name := range as {
		for _, x := range r.Readings {
			if x.Reading != name {
				continue
			}
			value := x.Predicted
			if share, ok := changed[name]; ok {
				value *= share
			}
			unit := map[string]string{"m": " m", "l_min": " L/min"}[x.Unit]
			if strings.HasPrefix(name, "gauge") || name == "shut-off" {
				unit = " m of head"
			}
			fmt.Fprintf(&b, "%s,%.4f%s\n", name, value, unit)
		}
	}
	file := filepath.Join(t.TempDir(), "readings.csv")
	if err := os.WriteFile(file, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	return file
}

// quick leaves out of a plan what a diagnosis does not hang on.
var quick = []string{"--set", "replans=0", "--set", "front=0", "--set", "layouts=1"}

func diagnosed(t *testing.T, wantCode int, args ...string) *commissionJSON {
	t.Helper()
	code, stdout, stderr := route(slices.Concat([]string{"commission", "--json"}, quick, args)...)
	if code != wantCode {
		t.Fatalf("exit code %d, want %d: %s%s", code, wantCode, stdout, stderr)
	}
	var r commissionJSON
	if err := json.Unmarshal([]byte(stdout), &r); err != nil {
		t.Fatal(err)
	}
	return &r
}

// A template is written, filled in, diagnosed; readings without a fault are
// kept, and the next plan knows the pump and the drop.
func TestCommission(t *testing.T) {
	site := siteCopy(t, "eilwern")
	dir := filepath.Dir(site)
	template := filepath.Join(dir, "template.csv")
	if code, _, stderr := route(append([]string{"commission", site, "--template", template}, quick...)...); code != exitDone {
		t.Fatal(stderr)
	}
	text, err := os.ReadFile(template)
	if err != nil || !strings.Contains(string(text), "standpipe running") {
		t.Fatalf("%v: %s", err, text)
	}
	if code, _, stderr := route(append([]string{"commission", site, "--template", template}, quick...)...); code != exitFailed || !strings.Contains(stderr, "there already") {
		t.Errorf("a file that may hold readings was written over: %d %s", code, stderr)
	}
	one := filepath.Join(dir, "one.csv")
	if err := os.WriteFile(one, []byte("reading,value\nbeats,70\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	planned := diagnosed(t, exitDone, site, one)
	running := []string{"pool level", "standpipe running", "open flow", "waste flow", "delivered", "beats", "gauge at rest", "gauge running"}

	leak := readingsOf(t, planned, map[string]float64{"delivered": 0.4, "gauge held": 0.5}, append(running, "gauge held")...)
	bad := diagnosed(t, exitWarnings, "--strict", site, leak)
	if !bad.Fault || bad.Causes[0].Cause != string(commission.DeliveryValveLeak) {
		t.Errorf("half of the pressure gone in ten minutes is %s", bad.Causes[0].Cause)
	}
	before, err := os.ReadFile(site)
	if err != nil {
		t.Fatal(err)
	}
	if code, _, stderr := route(append([]string{"commission", site, leak, "--accept"}, quick...)...); code != exitFailed || !strings.Contains(stderr, "fault") {
		t.Errorf("the readings of a fault were taken: %d %s", code, stderr)
	}
	if after, _ := os.ReadFile(site); string(after) != string(before) {
		t.Error("refused readings changed the site file")
	}

	good := readingsOf(t, planned, map[string]float64{"delivered": 1.06, "waste flow": 1.03}, running...)
	// The lift as levelled, which no plan predicts.
	levelled, err := os.OpenFile(good, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprintln(levelled, "lift,21.45 m")
	if err := levelled.Close(); err != nil {
		t.Fatal(err)
	}
	kept := diagnosed(t, exitDone, site, good, "--accept")
	if kept.Fault || len(kept.Accepted) != 4 {
		t.Errorf("fault %v, kept %q", kept.Fault, kept.Accepted)
	}
	after, err := os.ReadFile(site)
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(before)) {
		if !strings.Contains(string(after), line) {
			t.Errorf("this line is gone: %s", line)
		}
	}
	for _, want := range []string{"pump_measured:", "  model: ram-", "drop: ", "lift: \"21.450 m\"", "  drive_flow: \"", "pins:"} {
		if !strings.Contains(string(after), want) {
			t.Errorf("no %q in\n%s", want, after)
		}
	}
	p := planFrom(t, append([]string{"plan", site, "--json", "--out", t.TempDir()}, quick...)...)
	said := map[string]bool{}
	for _, m := range p.Messages {
		said[m.Code] = true
	}
	if !said["pump_measured"] || !said["field_reading"] || !said["field_lift"] || len(p.Pins) == 0 {
		t.Errorf("the next plan says %v and has %d pins", said, len(p.Pins))
	}
}

func TestCommissionUsage(t *testing.T) {
	for _, args := range [][]string{
		{"commission"}, {"commission", "site.yaml"}, {"commission", "site.yaml", "r.csv", "--template", "t.csv"},
		{"commission", "-", "r.csv", "--accept"}, {"commission", "site.yaml", "--template", "t.csv", "--accept"},
	} {
		if code, _, _ := route(args...); code != exitUsage {
			t.Errorf("%v: exit code %d", args, code)
		}
	}
}
