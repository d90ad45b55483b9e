package main

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"route/internal/plan"
)

// builtAt plans a site with the places of a layout pinned, its items alone
// allowed, and further settings.
func builtAt(t testing.TB, site string, l *plan.Layout, more ...string) *plan.Plan {
	t.Helper()
	set := func(key, format string, args ...any) []string {
		return []string{"--set", key + "=" + fmt.Sprintf(format, args...)}
	}
	return planFrom(t, slices.Concat([]string{"plan", site, "--json", "--out", t.TempDir(),
		"--intake-at", fmt.Sprintf("%.3f m", float64(l.Intake.StationM)), "--pump-at", fmt.Sprintf("%.3f m", float64(l.Pump.StationM)),
		"--standpipe-at", fmt.Sprintf("%.3f m", float64(l.Standpipe.StationM)), "--box-at", "none"},
		set("pipes.supply", "%s", l.Supply.Item), set("pipes.drive", "%s", l.Drive.Item), set("pipes.delivery", "%s", l.Delivery.Item),
		set("limits.pumps.max", "%d", l.Pump.Count), quick, more)...)
}

// A measured lift and that of the terrain are weighed by their variances, as
// two independent normal readings of one thing are; one that the terrain all
// but rules out is left out unless its entry stands by it.
func TestMeasuredLift(t *testing.T) {
	bare := &handOver(t, "fernhollow").plan
	first := &bare.Layouts[0]
	before := builtAt(t, demo(t, "fernhollow"), first).Layouts[0]
	lift, sigma := float64(before.Delivery.LiftM), math.Hypot(float64(before.Delivery.LiftSigmaM), 0.1) // the inlet over its ground
	const above, read = 0.3, 0.05
	entry := func(m float64, more string) string {
		return fmt.Sprintf(`{lift: "%.4f m", from: "%.3f m", sigma: "%g m", above_water: "%g m"%s}`, m, float64(first.Pump.StationM), read, above, more)
	}
	measured := lift + 0.2
	p := builtAt(t, withField(t, entry(measured, "")), first)
	got := &p.Layouts[0].Delivery
	weighed := func(reading float64) float64 {
		return (lift*read*read + reading*sigma*sigma) / (read*read + sigma*sigma)
	}
	want := weighed(measured)
	if wantSigma := sigma * read / math.Hypot(sigma, read); math.Abs(float64(got.LiftM)-want) > 0.005 || math.Abs(float64(got.LiftSigmaM)-wantSigma) > 0.003 {
		t.Errorf("lift %.3f ± %.3f m, by hand %.3f ± %.3f m", got.LiftM, got.LiftSigmaM, want, wantSigma)
	}
	if len(coded(p.Messages, "field_lift")) != 1 {
		t.Error("nothing is said of the lift that counts")
	}
	// From the intake, almost without error: what is left at the pump is the
	// drop between them. With s of both lifts and d of the drop the conditional
	// variance is s² - (s² - d²/2)²/s²; d holds the friction too, so that the
	// hand has a little too much.
	p = builtAt(t, withField(t, fmt.Sprintf(`{lift: "%.4f m", from: "%.3f m", sigma: "5 mm"}`, lift-float64(first.Intake.WaterM-first.Pump.OutletM), float64(first.Intake.StationM))), first)
	s2, d2 := sigma*sigma, math.Pow(float64(before.DriveHeadSigmaM), 2)
	if got, want := float64(p.Layouts[0].Delivery.LiftSigmaM), math.Sqrt(s2-math.Pow(s2-d2/2, 2)/s2); got < 0.85*want || got > 1.02*want {
		t.Errorf("a lift measured from the intake leaves %.3f m at the pump, by hand %.3f m", got, want)
	}
	wrong := lift + 10*sigma
	p = builtAt(t, withField(t, entry(wrong, "")), first)
	if got := float64(p.Layouts[0].Delivery.LiftM); got != float64(before.Delivery.LiftM) || len(coded(p.Messages, "field_questioned")) != 1 {
		t.Errorf("a lift %.1f standard deviations off moved it from %.3f to %.3f m", 10.0, before.Delivery.LiftM, got)
	}
	p = builtAt(t, withField(t, entry(wrong, ", accept: true")), first, "--set", "demand=500 L/day")
	if got := float64(p.Layouts[0].Delivery.LiftM); math.Abs(got-weighed(wrong)) > 0.005 {
		t.Errorf("a lift that is stood by is %.3f m, not %.3f m", got, weighed(wrong))
	}
}

// Tuned up, the pumps bring what the exact search finds for the same places and
// pipes on a creek of which it may take just that flow at its lowest.
func TestTunedUpIsWhatTheSearchFindsForMoreWater(t *testing.T) {
	bare := &handOver(t, "fernhollow").plan
	compared := 0
	for k := range bare.Layouts {
		l := &bare.Layouts[k]
		if l.Supply == nil || l.Standpipe == nil || l.SettlingBox != nil || float64(l.TunedUpFlowLMin) < 1.1*float64(l.DriveFlowLMin) {
			continue
		}
		p := builtAt(t, demo(t, "fernhollow"), l, "--set", fmt.Sprintf("creek_flow.low=%.6f L/min", float64(l.TunedUpFlowLMin*bare.LowFlow/bare.Take)), "--set", "objective=most_water", "--set", "pipes.pumps="+pumpID(t, bare, l))
		want := float64(p.Layouts[0].DeliveredLDay)
		got := float64(l.TunedUpLDay) * float64(l.DeliveredLDay) / float64(l.WaterToCountOn())
		if math.Abs(got/want-1) > 0.01 {
			t.Errorf("layout %s tuned up: %.0f L a day at %.1f L/min, the search finds %.0f at %.1f", l.ID, got, l.TunedUpFlowLMin, want, p.Layouts[0].DriveFlowLMin)
		}
		if compared++; compared == 2 {
			return
		}
	}
	if compared == 0 {
		t.Error("no layout could be compared")
	}
}

// pumpID is the price list's name of a layout's pump.
func pumpID(t testing.TB, p *plan.Plan, l *plan.Layout) string {
	t.Helper()
	for _, line := range l.Takeoff {
		if line.Name == l.Pump.Model {
			return line.Item
		}
	}
	t.Fatalf("the takeoff of layout %s has no pump", l.ID)
	return ""
}

// A pump that was set otherwise than a layout asks for is spoken of, and one
// that is set as it asks is not.
func TestOtherTuningIsNamed(t *testing.T) {
	bare := &handOver(t, "fernhollow").plan
	l := &bare.Layouts[0]
	for share, want := range map[float64]string{0.85: "heavier", 1: ""} {
		p := builtAt(t, demo(t, "fernhollow"), l, "--set", "pump_measured.model="+pumpID(t, bare, l), "--set", fmt.Sprintf("pump_measured.drive_flow=%.4f L/min", share*float64(l.DriveFlowLMin)))
		said := coded(p.Layouts[0].Messages, "other_tuning")
		if want == "" && len(said) > 0 || want != "" && (len(said) != 1 || !strings.Contains(said[0].Hint, want) || !strings.Contains(said[0].Text, "left as it was")) {
			t.Errorf("set to draw %.0f %% of what the plan asks for: %v", 100*share, said)
		}
	}
}
