package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"route/internal/plan"
)

// Terrain of the class of world-wide rasters carries no purchase: neither
// plan.json, nor the list of what to buy, nor the report or the terminal holds
// an exact cost, and the run ends well all the same. With the class of its
// making the same site has both. That global rasters of 30 m are for screening
// only is the rule of the accuracy classes: RMSE above 2 m.
func TestScreeningOnly(t *testing.T) {
	site := demo(t, "fernhollow")
	for _, c := range []struct {
		class     string
		screening bool
	}{{"global_30m", true}, {"lidar_open", false}} {
		out := t.TempDir()
		code, stdout, stderr := route("plan", site, "--set", "accuracy="+c.class, "--set", "limits.standpipe_height.max=6 m", "--out", out)
		if code != 0 {
			t.Fatalf("%s: exit code %d\n%s", c.class, code, stderr)
		}
		var p plan.Plan
		content, err := os.ReadFile(filepath.Join(out, "plan.json"))
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(content, &p); err != nil {
			t.Fatal(err)
		}
		if p.ScreeningOnly != c.screening || len(p.Layouts) == 0 {
			t.Fatalf("%s: screening only %v, %d layouts", c.class, p.ScreeningOnly, len(p.Layouts))
		}
		if !strings.Contains(stdout, "accuracy: "+c.class+" in the site file") || strings.Contains(stdout, "Screening only.") != c.screening {
			t.Errorf("%s: %s", c.class, stdout)
		}
		for _, l := range p.Layouts {
			exact := l.Cost.Total != "" && len(l.Takeoff) > 0 && l.Cost.Range == nil
			bracket := l.Cost.Total == "" && l.Cost.Supply == "" && l.Cost.Other == "" && len(l.Takeoff) == 0 && l.Cost.Range != nil && l.Cost.Range.Low < l.Cost.Range.High
			if exact == c.screening || bracket != c.screening {
				t.Errorf("%s: cost %+v with %d lines to buy", c.class, l.Cost, len(l.Takeoff))
			}
		}
		list, err := os.ReadFile(filepath.Join(out, "takeoff.csv"))
		if err != nil {
			t.Fatal(err)
		}
		report, err := os.ReadFile(filepath.Join(out, "report.html"))
		if err != nil {
			t.Fatal(err)
		}
		if (bytes.Count(list, []byte("\n")) == 1) != c.screening || bytes.Contains(report, []byte("What to buy for")) == c.screening {
			t.Errorf("%s: the list of what to buy:\n%.300s", c.class, list)
		}
	}
}
