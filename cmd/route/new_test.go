package main

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"route/internal/plan"
)

// answered runs route new with answers on standard input in an empty folder,
// beside which the demo sites lie.
func answered(t *testing.T, args []string, answers ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, said bytes.Buffer
	code = run(append([]string{"new"}, args...), strings.NewReader(strings.Join(answers, "\n")+"\n"), &out, &said)
	return code, out.String(), said.String()
}

// A beginner's answers, wrong ones among them, make a site file that plans.
func TestQuestionsLeadToAPlan(t *testing.T) {
	ground, creek := demo(t, "fernhollow"), ""
	ground, creek = filepath.Join(filepath.Dir(ground), "ground.tif"), filepath.Join(filepath.Dir(ground), "creek.gpx")
	t.Chdir(t.TempDir())
	code, stdout, said := answered(t, []string{"--ask"},
		"Mill Creek: \"upper\" #2", // everything that means something to YAML
		"furlongs", "us",
		"nothing.tif", creek, "'"+ground+"'",
		ground, creek,
		"50, 8", "tank",
		"6",
		"a bucket", "5 gal",
		"two", "2.4, 2.3 2.5s",
		"140 %", "40",
		"4",
		"20 unicorns", "20 sheep, 12 hens",
		"none")
	if code != exitDone {
		t.Fatalf("exit code %d:\n%s", code, said)
	}
	name := filepath.Join("mill-creek-upper-2", "site.yaml")
	if strings.TrimSpace(stdout) != name {
		t.Errorf("prints %q, want %q", stdout, name)
	}
	for _, want := range []string{
		"the answer is us or si", "no file nothing.tif", "Taken as 6 ft", "not a number of seconds", "unicorns",
		"heights in feet",    // what the raster says of itself
		"4085 ft long",       // gpsbabel and ogr read the same track; see the tests of the demo
		"route plan " + name, // the next thing to type
		"5 of 9. Where will the tank",
	} {
		if !strings.Contains(said, want) {
			t.Errorf("never says %q", want)
		}
	}
	if asked := strings.Count(said, "Where will the tank stand"); asked != 2 {
		t.Errorf("the tank off the terrain was asked for %d times, want 2", asked)
	}
	site, err := plan.OpenSite(name)
	if err != nil {
		t.Fatal(err)
	}
	if site.Name != `Mill Creek: "upper" #2` || site.Tank.Waypoint != "tank" || math.Abs(site.Tank.InletAboveGroundM-1.8288) > 1e-9 || site.TakeShare != 0.4 {
		t.Errorf("read back: %q, tank %+v, share %v", site.Name, site.Tank, site.TakeShare)
	}
	// 5 gal of 231 in³ each: the mean of three readings
	if want := 5 * 231 * 0.0254 * 0.0254 * 0.0254 * (1/2.4 + 1/2.3 + 1/2.5) / 3; site.LowFlow < want*0.999999 || site.LowFlow > want*1.000001 {
		t.Errorf("flow %v, want %v", site.LowFlow, want)
	}
	if code, _, stderr := route("plan", name, "--packet", "none"); code != exitDone {
		t.Errorf("route plan: exit code %d: %s", code, stderr)
	}
	before, _ := os.ReadFile(name)
	code, _, said = answered(t, []string{"--ask", "mill-creek-upper-2"}, "Other")
	after, _ := os.ReadFile(name)
	if code != exitFailed || !strings.Contains(said, "left as it is") || !bytes.Equal(before, after) {
		t.Errorf("asked into a folder with a site: exit code %d, %s", code, said)
	}
}

// Whoever stops half way leaves nothing behind.
func TestQuestionsNotAnsweredWriteNothing(t *testing.T) {
	dir := t.TempDir()
	t.Chdir(dir)
	code, stdout, said := answered(t, []string{"--ask"}, "Mill Creek", "si", "back", "us")
	if code != exitFailed || stdout != "" || !strings.Contains(said, "nothing was written") {
		t.Errorf("exit code %d, prints %q and says %s", code, stdout, said)
	}
	if asked := strings.Count(said, "Feet and gallons"); asked != 2 {
		t.Errorf("back: the units were asked for %d times, want 2", asked)
	}
	if left, _ := os.ReadDir(dir); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

// Where nobody can answer, the starter is written as ever, and a folder must
// be named.
func TestNewDoesNotAskWhereNobodyAnswers(t *testing.T) {
	t.Chdir(t.TempDir())
	null, err := os.Open(os.DevNull)
	if err != nil {
		t.Fatal(err)
	}
	defer null.Close()
	var out, said bytes.Buffer
	if code := run([]string{"new", "place"}, null, &out, &said); code != exitDone || strings.Contains(said.String(), "?") {
		t.Errorf("exit code %d: %s", code, said.String())
	}
	text, err := os.ReadFile(filepath.Join("place", "site.yaml"))
	if err != nil || string(text) != plan.StarterSite() {
		t.Errorf("not the starter: %v", err)
	}
	if code := run([]string{"new"}, null, &out, &said); code != exitUsage {
		t.Errorf("without a folder: exit code %d, want %d", code, exitUsage)
	}
}
