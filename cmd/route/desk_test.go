package main

import (
	"bytes"
	"fmt"
	"maps"
	"os"
	"slices"
	"testing"

	"route/internal/export"
	"route/internal/plan"
)

func siteOf(t testing.TB, name string) *plan.Site {
	t.Helper()
	path := demo(t, name)
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	site, err := plan.ReadSite(path, file)
	if err != nil {
		t.Fatal(err)
	}
	if err := site.Set("replans", "4"); err != nil { // a few say as much here as many
		t.Fatal(err)
	}
	return site
}

func deskOf(t testing.TB, name string) *plan.Desk {
	t.Helper()
	desk, err := plan.Prepare(t.Context(), siteOf(t, name), nil)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(desk.Close)
	return desk
}

func bytesOf(t testing.TB, p *plan.Plan) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := export.Write(&b, export.PlanJSON, p); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// firstDifference shows where two texts part.
func firstDifference(a, b []byte) string {
	k := 0
	for k < len(a) && k < len(b) && a[k] == b[k] {
		k++
	}
	cut := func(s []byte) []byte { return s[max(0, min(k-200, len(s))):min(len(s), k+100)] }
	return fmt.Sprintf("…%s…\n--- against ---\n…%s…", cut(a), cut(b))
}

// A plan made at a desk has the same bytes as a fresh run of a site with the
// same settings, whatever was changed and however much of the desk holds.
func TestDeskPlansTheSameBytes(t *testing.T) {
	for _, name := range []string{"fernhollow", "eilwern"} {
		desk := deskOf(t, name)
		best := planDemo(t, name).Layouts[0]
		near := fmt.Sprintf("%.6f,%.6f", float64(best.Tank.Lat)+2e-5, float64(best.Tank.Lon))
		drop := fmt.Sprintf("{drop: %q, from: %q, to: %q, by: level}", "3.1 m", station(best.Intake.StationM), station(best.Pump.StationM))
		for _, c := range []plan.Changes{
			{},
			{Set: map[string]string{"pins.pump": station(best.Pump.StationM)}},
			{Set: map[string]string{"pins.intake": station(best.Intake.StationM), "pins.pump": station(best.Pump.StationM - 3)}},
			{Set: map[string]string{"demand": "900 L/day", "limits.standpipe_height.max": "2 m", "objective": "most_water"}},
			{Set: map[string]string{"limits.supply_pipe_length.max": "80 m", "creek_flow.take_at_most": "20 %"}},
			{Set: map[string]string{"units": "si", "tank.inlet_above_ground": "1 m"}},
			{Tank: near},
			{Field: []string{drop}, Set: map[string]string{"seed": "7", "certainty": "90 %"}},
		} {
			p, err := desk.Plan(t.Context(), c)
			if err != nil {
				t.Fatalf("%s %+v: %v", name, c, err)
			}
			site := siteOf(t, name)
			for _, key := range slices.Sorted(maps.Keys(c.Set)) {
				if err := site.Set(key, c.Set[key]); err != nil {
					t.Fatal(err)
				}
			}
			if c.Tank != "" {
				if err := site.SetTank(c.Tank); err != nil {
					t.Fatal(err)
				}
			}
			for _, text := range c.Field {
				r, err := plan.ParseFieldReading(text)
				if err != nil {
					t.Fatal(err)
				}
				site.Field = append(site.Field, r)
			}
			fresh, err := plan.Run(t.Context(), site, nil)
			if err != nil {
				t.Fatal(err)
			}
			if got, want := bytesOf(t, p), bytesOf(t, fresh); !bytes.Equal(got, want) {
				t.Errorf("%s %+v: the desk's plan differs from a fresh one:\n%s", name, c, firstDifference(got, want))
			}
		}
	}
}
