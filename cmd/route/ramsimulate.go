package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strconv"
	"strings"
	"text/tabwriter"

	"route/internal/hydraulics"
	"route/internal/quantity"
)

// simulationJSON is the JSON form of a simulation, with the closed form beside
// it.
type simulationJSON struct {
	DriveFlowLMin     float64       `json:"drive_flow_l_min"`
	WasteLMin         float64       `json:"waste_l_min"`
	DeliveredLMin     float64       `json:"delivered_l_min"`
	BeatsPerMin       float64       `json:"beats_per_min"`
	EfficiencyDA      float64       `json:"efficiency_daubuisson"`
	EfficiencyRankine float64       `json:"efficiency_rankine"`
	StandpipeLevelM   float64       `json:"standpipe_level_m"`
	LowestLevelM      float64       `json:"standpipe_lowest_m"`
	HighestHeadM      float64       `json:"highest_head_m"`
	LowestHeadM       float64       `json:"lowest_head_m"`
	DeliveryHeadM     float64       `json:"delivery_head_m"`
	RippleM           float64       `json:"delivery_ripple_m"`
	OverflowL         float64       `json:"overflow_l"`
	StuckOpen         bool          `json:"stuck_open"`
	AirEntered        bool          `json:"air_entered"`
	Beats             int           `json:"beats"`
	VolumeError       float64       `json:"volume_error"`
	EnergyError       float64       `json:"energy_error"`
	ClosedForm        *ramResult    `json:"closed_form"` // null where it finds no running state
	Plot              *string       `json:"plot"`
	Warnings          []warningJSON `json:"warnings"`
}

// How long the start and how many seconds of steady beats are drawn.
const (
	startShownS  = 20.0
	steadyFromS  = 40.0
	steadyShownS = 6.0
	beatsShown   = 4
)

// simulate runs the time-domain model for the installation of the flags.
func (c *ramCommand) simulate(s *session, q *ramQuestion, sys quantity.System) error {
	q.in.Ram.SlipM3, q.in.Ram.VolumetricFactor = 0, 1 // the simulation knows neither
	o, closedErr := q.operate()
	sim := hydraulics.Simulation{
		Installation: q.in, ClosingVelocity: o.ClosingVelocity, StandpipeBoreM: q.standpipeBore,
		WarmUpS: steadyFromS, Traces: [][2]float64{{0, startShownS}, {steadyFromS, steadyFromS + steadyShownS}},
	}
	if sim.ClosingVelocity == 0 {
		if sim.ClosingVelocity = q.closingVelocity; sim.ClosingVelocity == 0 {
			return s.refuse(explain(closedErr, sys))
		}
	}
	sim.StandpipeTopM = q.standpipeTop
	if q.vesselAir > 0 { // pressed together to the delivery head, slowly
		sim.VesselAirM3 = q.vesselAir * q.in.Fluid.BarometricHead / (q.in.Fluid.BarometricHead + q.in.LiftM)
	}
	got, err := sim.Run(s.ctx)
	if err != nil {
		return explain(err, sys)
	}
	r := simulationResult(got, sys)
	if closedErr == nil {
		r.ClosedForm = q.result(o, sys)
	}
	if c.Plot != "" {
		if err := writePlot(c.Plot, got, sys); err != nil {
			return err
		}
		r.Plot = &c.Plot
	}
	s.warned = len(r.Warnings) > 0
	if s.json {
		return s.printJSON(r)
	}
	return printSimulation(s.stdout, r, sys)
}

func simulationResult(got hydraulics.Simulated, sys quantity.System) *simulationJSON {
	finite := func(v float64) float64 {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return 0
		}
		return v
	}
	r := &simulationJSON{
		DriveFlowLMin: got.DriveFlow * 60e3, WasteLMin: got.WasteFlow * 60e3, DeliveredLMin: got.DeliveredFlow * 60e3, BeatsPerMin: got.BeatsPerMinute,
		EfficiencyDA: finite(got.EfficiencyDAubuisson), EfficiencyRankine: finite(got.EfficiencyRankine),
		StandpipeLevelM: got.LevelM, LowestLevelM: got.LowestLevelM, HighestHeadM: got.HighestHeadM, LowestHeadM: got.LowestHeadM,
		DeliveryHeadM: got.DeliveryHeadM, RippleM: got.RippleM, OverflowL: got.OverflowM3 * 1e3, StuckOpen: got.StuckOpen, AirEntered: got.AirEntered,
		Beats: got.Beats, VolumeError: finite(got.VolumeError), EnergyError: finite(got.EnergyError), Warnings: []warningJSON{},
	}
	warn := func(code, text string, values ...quantity.Value) {
		r.Warnings = append(r.Warnings, warningJSON{code, quantity.Text(sys, text, values...)})
	}
	if got.StuckOpen {
		warn("stuck_open", "the waste valve stays open: the standpipe has fallen to {0} and the water no longer reaches the closing velocity", quantity.Of(quantity.Head, got.LevelM))
	}
	if got.AirEntered {
		warn("air_enters", "the standpipe has fallen to its foot: air enters the drive pipe")
	}
	if got.LowestHeadM < -9 {
		warn("cavity", "between beats the water at the pump parts from the valve (head {0}): a snifter hole that admits air softens it", quantity.Of(quantity.Head, got.LowestHeadM))
	}
	return r
}

func printSimulation(w io.Writer, r *simulationJSON, sys quantity.System) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	val := func(d quantity.Dimension, v float64) string { return quantity.Format(sys, d, v) }
	closed := func(pick func(*ramResult) string) string {
		if r.ClosedForm == nil {
			return "—"
		}
		return pick(r.ClosedForm)
	}
	fmt.Fprintln(t, "\tsimulated\tclosed form")
	flow := func(lMin float64) string { return val(quantity.Flow, lMin/60e3) }
	fmt.Fprintf(t, "Delivered\t%s\t%s\n", flow(r.DeliveredLMin), closed(func(c *ramResult) string { return flow(c.DeliveredLMin) }))
	fmt.Fprintf(t, "Wasted\t%s\t%s\n", flow(r.WasteLMin), closed(func(c *ramResult) string { return flow(c.WasteLMin) }))
	fmt.Fprintf(t, "Beats\t%.1f a minute\t%s\n", r.BeatsPerMin, closed(func(c *ramResult) string { return fmt.Sprintf("%.1f a minute", c.BeatsPerMin) }))
	fmt.Fprintf(t, "Efficiency (Rankine)\t%.0f %%\t%s\n", 100*r.EfficiencyRankine, closed(func(c *ramResult) string { return fmt.Sprintf("%.0f %%", 100*c.EfficiencyRankine) }))
	fmt.Fprintf(t, "Running level\t%s\t%s\n", val(quantity.Head, r.StandpipeLevelM), closed(func(c *ramResult) string { return val(quantity.Head, c.StandpipeLevelM) }))
	fmt.Fprintf(t, "Lowest level\t%s\t\n", val(quantity.Head, r.LowestLevelM))
	fmt.Fprintf(t, "Head at the pump\t%s to %s\t\n", val(quantity.Head, r.LowestHeadM), val(quantity.Head, r.HighestHeadM))
	fmt.Fprintf(t, "Bookkeeping\twater adds up within %s, energy within %s\t\n", sharePercent(r.VolumeError), sharePercent(r.EnergyError))
	for _, warning := range r.Warnings {
		fmt.Fprintf(t, "Note\t%s\n", warning.Text)
	}
	fmt.Fprintln(t, "\nBoth are of the pump without faults: no slip, nothing lost to workmanship.")
	if r.Plot != nil {
		fmt.Fprintf(t, "The plot is in %s.\n", *r.Plot)
	}
	return t.Flush()
}

// sharePercent prints a small share; below a hundred-thousandth nobody cares
// how far.
func sharePercent(share float64) string {
	if share < 1e-5 {
		return "0.001 %"
	}
	return fmt.Sprintf("%.2g %%", 100*share)
}

// writePlot writes the traces as SVG or CSV, by the name's ending.
func writePlot(name string, got hydraulics.Simulated, sys quantity.System) error {
	if len(got.Traces) < 2 {
		return fmt.Errorf("the simulation kept no trace")
	}
	var b bytes.Buffer
	switch strings.ToLower(filepath.Ext(name)) {
	case ".csv":
		if err := traceCSV(&b, got.Traces); err != nil {
			return err
		}
	case ".svg":
		drawSimulation(&b, got, sys)
	default:
		return &usageError{text: fmt.Sprintf("--plot %s: the name must end in .svg or .csv", name)}
	}
	return writeWhole(name, b.Bytes())
}

// traceCSV writes every step in SI units.
func traceCSV(w io.Writer, traces [][]hydraulics.Moment) error {
	c := csv.NewWriter(w)
	c.Write([]string{"part", "time_s", "pump_head_m", "drive_velocity_m_s", "waste_opening", "standpipe_level_m", "delivery_head_m", "delivered_m3_s", "tank_m3_s"})
	for i, part := range []string{"start", "steady"} {
		for _, m := range traces[i] {
			row := []string{part}
			for _, v := range []float64{m.TimeS, m.HeadM, m.VelocityMS, m.WasteOpening, m.LevelM, m.DeliveryHeadM, m.DeliveredFlow, m.TankFlow} {
				row = append(row, strconv.FormatFloat(v, 'g', 6, 64))
			}
			c.Write(row)
		}
	}
	c.Flush()
	return c.Error()
}

// fewBeats cuts a trace after some beats.
func fewBeats(trace []hydraulics.Moment) []hydraulics.Moment {
	shut := 0
	for i := 1; i < len(trace); i++ {
		if trace[i].WasteOpening == 0 && trace[i-1].WasteOpening > 0 {
			if shut++; shut > beatsShown {
				return trace[:i]
			}
		}
	}
	return trace
}

// drawSimulation draws a few beats on the left and the start on the right.
func drawSimulation(w io.Writer, got hydraulics.Simulated, sys quantity.System) {
	beats, start := fewBeats(got.Traces[1]), got.Traces[0]
	curve := func(trace []hydraulics.Moment, d quantity.Dimension, pick func(hydraulics.Moment) float64) []point {
		_, perSI, offset := quantity.Unit(sys, d)
		points := make([]point, len(trace))
		for i, m := range trace {
			points[i] = point{m.TimeS, perSI*pick(m) + offset}
		}
		return points
	}
	unit := func(d quantity.Dimension) string { name, _, _ := quantity.Unit(sys, d); return name }
	head := func(m hydraulics.Moment) float64 { return m.HeadM }
	speed := func(m hydraulics.Moment) float64 { return m.VelocityMS }
	lifted := func(m hydraulics.Moment) float64 { return m.DeliveredFlow }
	level := func(m hydraulics.Moment) float64 { return m.LevelM }
	f := newFigure(1080, 900)
	f.panel(0, 0, "A few beats: head at the pump", "head, "+unit(quantity.Head), curve(beats, quantity.Head, head))
	f.panel(0, 1, "Velocity in the drive pipe at the pump", "velocity, "+unit(quantity.Velocity), curve(beats, quantity.Velocity, speed))
	f.panel(0, 2, "Flow through the delivery valve", "flow, "+unit(quantity.Flow), curve(beats, quantity.Flow, lifted))
	f.panel(1, 0, "The start: head at the pump", "head, "+unit(quantity.Head), curve(start, quantity.Head, head))
	f.panel(1, 1, "Velocity in the drive pipe at the pump", "velocity, "+unit(quantity.Velocity), curve(start, quantity.Velocity, speed))
	f.panel(1, 2, "Water in the standpipe above the waste valve", "level, "+unit(quantity.Head), curve(start, quantity.Head, level))
	f.writeTo(w)
}
