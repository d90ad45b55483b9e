package main

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"route/internal/plan"
)

// pinned plans a demo site with flags that pin places; the plan may hold no
// layout.
func pinned(t testing.TB, name string, flags ...string) (code int, p *plan.Plan) {
	t.Helper()
	args := append([]string{"plan", demo(t, name), "--json", "--out", t.TempDir()}, flags...)
	code, stdout, stderr := route(args...)
	p = &plan.Plan{}
	if code == exitFailed || code == exitUsage {
		t.Fatalf("%v: exit %d, %s, %s", flags, code, stdout, stderr)
	}
	if err := json.Unmarshal([]byte(stdout), p); err != nil {
		t.Fatalf("%v: exit %d, %v, %s", flags, code, err, stderr)
	}
	return code, p
}

func station(v plan.Number) string { return fmt.Sprintf("%.4fm", float64(v)) }

// Whatever place of the best layout is pinned, the same layout is the best
// again; with the pump elsewhere, every layout has it there.
func TestPinnedPlacesStayWhereTheyAre(t *testing.T) {
	for _, name := range []string{"fernhollow", "eilwern"} {
		free := planDemo(t, name)
		best := &free.Layouts[0]
		for _, pin := range [][]string{
			{"--intake-at", station(best.Intake.StationM)},
			{"--standpipe-at", station(best.Standpipe.StationM)},
			{"--pump-at", station(best.Pump.StationM)},
			{"--pump-at", fmt.Sprintf("%.8f,%.8f", float64(best.Pump.Lat), float64(best.Pump.Lon))},
		} {
			code, p := pinned(t, name, pin...)
			if code != exitDone || len(p.Layouts) == 0 {
				t.Errorf("%s %v: exit %d, %+v", name, pin, code, p)
			} else if !samePlaces(&p.Layouts[0], best) || p.Layouts[0].Cost.Total != best.Cost.Total || p.Layouts[0].DeliveredLDay != best.DeliveredLDay {
				t.Errorf("%s %v: exit %d, layout %+v, free %+v", name, pin, code, p.Layouts[0].Pump, best.Pump)
			}
		}
		away := station(best.Pump.StationM - 10)
		_, p := pinned(t, name, "--pump-at", away)
		for _, l := range p.Layouts {
			if math.Abs(float64(l.Pump.StationM-best.Pump.StationM)+10) > 0.3 { // half a station of the profile
				t.Errorf("%s: the pump of layout %s is pinned at %s and stands at %s", name, l.ID, away, station(l.Pump.StationM))
			}
		}
	}
}

// A place that does not work is answered: why, by how much, and the nearest
// that does; and that place works when it is tried.
func TestAPlaceThatDoesNotWorkIsAnswered(t *testing.T) {
	best := &planDemo(t, "fernhollow").Layouts[0]
	// The drive pipe may be 90 ft (27.4 m) long.
	far := best.Standpipe.StationM + 50
	code, p := pinned(t, "fernhollow", "--standpipe-at", station(best.Standpipe.StationM), "--pump-at", station(far))
	if code != exitInfeasible || len(p.Layouts) > 0 || len(p.Pins) != 2 {
		t.Fatalf("exit %d with %d layouts and %d answers", code, len(p.Layouts), len(p.Pins))
	}
	at := p.Pins[1]
	if at.Place != "pump" || at.Works || at.Reason != "drive_pipe_too_long" || !(at.Value > at.Limit) || math.Abs(float64(at.Limit)-90*0.3048) > 1e-6 || at.Unit != "m" {
		t.Errorf("%+v", at)
	}
	if m := p.Messages[0]; m.Level != "error" || m.Code != "pinned_place" || !strings.Contains(m.Text, "90.0 ft") || !strings.Contains(m.Hint, "nearest place for the pump") {
		t.Errorf("%+v", m)
	}
	if !at.NearestM.Known() {
		t.Fatal("no nearest place is named")
	}
	code, p = pinned(t, "fernhollow", "--standpipe-at", station(best.Standpipe.StationM), "--pump-at", station(at.NearestM))
	if code != exitDone || !p.Pins[1].Works || p.Pins[1].NearestM.Known() {
		t.Errorf("the nearest place: exit %d, %+v", code, p.Pins[1])
	}
}

// Mistakes in a pin are wrong usage or bad data, with what to do.
func TestPinsThatCannotBe(t *testing.T) {
	site := demo(t, "fernhollow")
	for _, c := range []struct {
		flags []string
		code  int
		says  string
	}{
		{[]string{"--pump-at", "55"}, exitUsage, "unit"},
		{[]string{"--pump-at", "9000 ft"}, exitFailed, "beyond the creek"},
		{[]string{"--pump-at", "41.2000,-148.5600"}, exitFailed, "from the creek"},
		{[]string{"--pump-at", "300 ft", "--intake-at", "900 ft"}, exitFailed, "uphill"},
		{[]string{"--pump-at", "weir"}, exitFailed, "no waypoint"},
	} {
		args := append([]string{"plan", site, "--out", t.TempDir()}, c.flags...)
		if code, _, stderr := route(args...); code != c.code || !strings.Contains(stderr, c.says) {
			t.Errorf("%v: exit %d, %q; expected exit %d and %q", c.flags, code, stderr, c.code, c.says)
		}
	}
}
