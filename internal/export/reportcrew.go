package export

import (
	"fmt"
	"math"
	"strings"

	"route/internal/plan"
	"route/internal/quantity"
)

// crew tells those who build a layout to which size, and those who start it
// what to expect.
func crew(l *plan.Layout, w words) []group {
	intake := [][2]string{
		{"Screen, whole area, at least", w.of(quantity.Area, l.Intake.ScreenAreaM2, 1)},
		{"Water above the pipe’s mouth, at least", w.length(l.Intake.SubmergenceM)},
	}
	if b := l.SettlingBox; b != nil {
		intake = append(intake,
			[2]string{"Settling box, water surface, at least", w.of(quantity.Area, b.AreaM2, 1)},
			[2]string{"Settling box, water in it, at least", w.of(quantity.Volume, b.VolumeM3, 1)})
	}
	pump := [][2]string{{"Push of a beat on the pump, like a weight of", w.weight(l.Pump.ThrustN)}}
	if s := l.Standpipe; s != nil {
		pump = append(pump,
			[2]string{"Water in the standpipe moves with the beat by", "± " + w.length(s.RippleM)},
			[2]string{"It swings up, when the pump stops, by", w.length(s.SurgeM)})
	}
	d := &l.Delivery
	return []group{
		{"Intake", intake},
		{"Starting", starting(l, w)},
		{"Pump", pump},
		{"Delivery pipe", [][2]string{
			{"Pressure with a valve shut at the tank, up to", w.pressure(d.ShutM)},
			{"Air vents, from the pump", w.pegs("VENT", d.Vents)},
			{"Drains, from the pump", w.pegs("DRAIN", d.Drains)},
			{"Push on the sharpest bend, like a weight of", w.weight(d.BendThrustN)},
		}},
	}
}

func starting(l *plan.Layout, w words) [][2]string {
	var rows [][2]string
	if l.Supply != nil {
		rows = append(rows, [2]string{"Supply pipe full after about", w.duration(l.Starting.FillS)})
	}
	rows = append(rows,
		[2]string{"Strokes by hand, delivery valve nearly shut", strokes(l.Starting.StrokesLow)},
		[2]string{"Strokes by hand, delivery pipe open and empty", strokes(l.Starting.StrokesHigh)},
		[2]string{"Water at the tank after about", w.duration(l.Starting.FirstWaterS)})
	if restarts := l.StuckOpen.Restarts; restarts != nil {
		rows = append(rows, [2]string{"Starts again after the valve stuck open", map[bool]string{true: "yes", false: "no, by hand"}[*restarts]})
	}
	return rows
}

// strokes are whole, and one at least.
func strokes(v plan.Number) string {
	if !v.Known() {
		return "–"
	}
	return fmt.Sprint(max(1, int(math.Ceil(float64(v)))))
}

// duration prints seconds as what a watch shows.
func (w words) duration(v plan.Number) string {
	switch s := float64(v); {
	case !v.Known():
		return "–"
	case s < 90:
		return fmt.Sprintf("%.0f s", s)
	case s < 90*60:
		return fmt.Sprintf("%.0f min", s/60)
	default:
		return fmt.Sprintf("%.1f h", s/3600)
	}
}

// weight prints a force in newtons as the weight of a mass, which people can
// picture.
func (w words) weight(newtons plan.Number) string {
	return w.of(quantity.Mass, newtons, 1/9.80665)
}

// pegs lists distances along a pipe; many are left to the pegs that stand
// there.
func (w words) pegs(label string, at []plan.Number) string {
	const most = 3
	switch n := len(at); {
	case n == 0:
		return "none"
	case n > most:
		return fmt.Sprintf("%d: pegs %s1 to %s%d", n, label, label, n)
	}
	var all []string
	for k, v := range at {
		text := w.length(v)
		if k < len(at)-1 {
			text = numberOnly(text)
		}
		all = append(all, text)
	}
	return strings.Join(all, ", ")
}
