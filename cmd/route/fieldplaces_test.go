package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"route/internal/plan"
)

// A crew that found no ground for the pump where the plan had it and put it
// elsewhere gets its plan around that place: of every layout the pump stands
// there, to half a step of the profile, and the intake is looked for anew. A
// flag may ask for another place still.
func TestPlanAroundThePumpOfTheCrew(t *testing.T) {
	bare := planDemo(t, "fernhollow")
	first := bare.Layouts[0]
	moved := float64(first.Pump.StationM) + 6
	at := ""
	for _, s := range bare.Creek.Stations {
		if math.Abs(float64(s.StationM)-moved) < 0.3 {
			at = fmt.Sprintf("%.7f,%.7f", float64(s.Lat), float64(s.Lon))
		}
	}
	site := withField(t, fmt.Sprintf(`{place: pump, at: %q, sigma: "3 m"}`, at))
	run := func(more ...string) *plan.Plan {
		t.Helper()
		out := t.TempDir()
		code, stdout, stderr := route(append([]string{"plan", site, "--out", out}, more...)...)
		if code != exitDone {
			t.Fatalf("exit code %d: %s%s", code, stdout, stderr)
		}
		content, err := os.ReadFile(filepath.Join(out, "plan.json"))
		if err != nil {
			t.Fatal(err)
		}
		var p plan.Plan
		if err := json.Unmarshal(content, &p); err != nil {
			t.Fatal(err)
		}
		return &p
	}
	p := run()
	if len(p.Layouts) == 0 {
		t.Fatalf("no layout: %+v", p.Messages)
	}
	for _, l := range p.Layouts {
		if math.Abs(float64(l.Pump.StationM)-moved) > 0.51 {
			t.Errorf("layout %s has its pump at %.1f m, the crew put it at %.1f m", l.ID, float64(l.Pump.StationM), moved)
		}
	}
	note := coded(p.Messages, "field_place_chosen")
	if len(note) != 1 || !strings.Contains(note[0].Text, "the crew put the pump at") || !strings.Contains(note[0].Text, "9.8 ft") || note[0].Line == 0 {
		t.Errorf("%+v", note)
	}
	// 3 m along a creek that falls with its own grade are that much of height.
	grade := float64(bare.Creek.FallM / bare.Creek.LengthM)
	if warn := note[0].Level == "warning"; warn != (note[0].Hint != "") {
		t.Errorf("grade %.3f: %+v", grade, note[0])
	}
	p = run("--pump-at", fmt.Sprintf("%.3f m", float64(first.Pump.StationM)))
	if got := p.Layouts[0].Pump.StationM; got != first.Pump.StationM || len(coded(p.Messages, "field_place_chosen")) != 0 {
		t.Errorf("asked for the pump at %v, got %v", first.Pump.StationM, got)
	}
}
