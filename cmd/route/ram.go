package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"route/internal/finding"
	"route/internal/hydraulics"
	"route/internal/quantity"
)

// ramCommand is `route ram`.
type ramCommand struct {
	DriveHead   string `help:"Free surface that feeds the drive pipe above the waste valve outlet; with --supply-pipe, the surface that feeds the supply pipe." placeholder:"HEIGHT"`
	Lift        string `help:"Tank inlet above the waste valve outlet; the friction of the delivery pipe comes on top." placeholder:"HEIGHT"`
	DrivePipe   string `help:"Drive pipe by its name; route pipe --list shows all." placeholder:"NAME"`
	DriveLength string `help:"Length of the drive pipe." placeholder:"LENGTH"`

	Available string `help:"Most flow that may be drawn: the tuning is lowered until it fits." placeholder:"FLOW"`
	Pumps     int    `help:"Pumps of this kind beside each other, each with its own drive pipe." default:"1" placeholder:"N"`

	ClosingVelocity string `help:"Velocity in the drive pipe at which the waste valve shuts." placeholder:"VELOCITY"`
	Tuning          string `help:"Closing velocity as a share of the locked-open velocity, 0.3 to 0.9; 0.6 when nothing is said." placeholder:"SHARE"`
	PumpFile        string `help:"Parameters of a pump, as --calibrate writes them." placeholder:"FILE"`

	SupplyPipe   string `help:"Supply pipe by its name." placeholder:"NAME"`
	SupplyLength string `help:"Length of the supply pipe." placeholder:"LENGTH"`
	SupplyMinor  string `help:"Sum of its minor loss coefficients: intake screen, bends, exit." default:"1.5" placeholder:"K"`
	Standpipe    string `help:"Inside diameter of the standpipe." placeholder:"DIAMETER"`
	FootHeight   string `help:"Foot of the standpipe above the waste valve outlet, to check for air." placeholder:"HEIGHT"`

	DeliveryPipe   string `help:"Delivery pipe by its name." placeholder:"NAME"`
	DeliveryLength string `help:"Length of the delivery pipe." placeholder:"LENGTH"`
	DeliveryMinor  string `help:"Sum of its minor loss coefficients." default:"1" placeholder:"K"`

	Calibrate    string `help:"Fit a pump to the readings of a CSV file (reading, drive_head, value, delivery_head, error) instead." placeholder:"FILE"`
	Save         string `help:"With --calibrate: write the fitted pump to a file for --pump-file." placeholder:"FILE"`
	Simulate     bool   `help:"Follow the water through the beats with a time-domain model as well."`
	Plot         string `help:"With --simulate: draw head and flow over a few beats and over the start, to a .svg or .csv file." placeholder:"FILE"`
	VesselAir    string `help:"Air in the vessel before the start; fifty times what a beat delivers when nothing is said." placeholder:"VOLUME"`
	StandpipeTop string `help:"Where the standpipe overflows, above the waste valve outlet." placeholder:"HEIGHT"`

	Temp     string `help:"Temperature of the water." default:"10 °C" placeholder:"TEMPERATURE"`
	Altitude string `help:"Altitude of the place." default:"0 m" placeholder:"LENGTH"`
	Units    string `help:"What is printed: us or si." default:"si" enum:"us,si" placeholder:"us|si"`
}

// Help is shown below the flags.
func (ramCommand) Help() string {
	return `Examples:
  route ram --drive-head 3m --lift 30m --drive-pipe "steel Sch 40 2 in" --drive-length 15m
  route ram --drive-head "10 ft" --lift "70 ft" --drive-pipe "steel Sch 40 1-1/4 in" --drive-length "60 ft" --available "6 gpm" --units us
  route ram --drive-head 2.5m --lift 20m --drive-pipe "steel Sch 40 2 in" --drive-length 10m \
            --supply-pipe "PE100 SDR 11 DN63" --supply-length 100m --standpipe 100mm \
            --delivery-pipe "PE100 SDR 11 DN25" --delivery-length 150m --json
  route ram --drive-head 2m --lift 20m --drive-pipe "steel Sch 40 2 in" --drive-length 10m --simulate --plot beats.svg
  route ram --calibrate readings.csv --drive-pipe "steel Sch 40 2 in" --drive-length 12m --save pump.yaml
  route ram --drive-head 2.4m --lift 22m --drive-pipe "steel Sch 40 2 in" --drive-length 12m --pump-file pump.yaml

A readings file has a line for each reading: open flow (the waste valve locked open), beats (a minute), drive flow, waste flow, delivered, shut-off (the gauge with the delivery shut):
  reading,drive_head,value,delivery_head,error
  open flow,2.5 m,260 L/min,,
  beats,2.5 m,74,18 m,
  delivered,2.5 m,4.1 L/min,18 m,3 %

A pump that cannot work as asked for exits with code 3 and says why.`
}

// usualTuning is λ where nothing else is said.
const usualTuning = 0.6

// leastTuning is how far the tuning may be lowered to fit a flow.
const leastTuning = 0.25

// uncalibratedBand is the share by which an uncalibrated prediction may be off
// (judgement from the comparison with the simulation).
const uncalibratedBand = 0.25

// ramResult is the JSON answer; the field names are part of the contract.
type ramResult struct {
	DriveFlowLMin       float64       `json:"drive_flow_l_min"` // of all pumps
	WasteLMin           float64       `json:"waste_l_min"`
	DeliveredLMin       float64       `json:"delivered_l_min"`
	DeliveredLDay       float64       `json:"delivered_l_day"`
	DeliveredLDayLow    float64       `json:"delivered_l_day_low"`
	DeliveredLDayHigh   float64       `json:"delivered_l_day_high"`
	BeatsPerMin         float64       `json:"beats_per_min"`
	EfficiencyDaubisson float64       `json:"efficiency_daubuisson"`
	EfficiencyRankine   float64       `json:"efficiency_rankine"`
	Lambda              float64       `json:"lambda"`
	Mu                  float64       `json:"mu"`
	LiftRatio           float64       `json:"lift_ratio"`
	LengthToDiameter    float64       `json:"length_to_diameter"`
	ShutoffHeadM        float64       `json:"shutoff_head_m"`
	SurgeHeadM          float64       `json:"surge_head_m"` // Joukowsky rise in the drive pipe when the waste valve shuts
	StandpipeLevelM     float64       `json:"standpipe_level_m"`
	Warnings            []warningJSON `json:"warnings"`
	ClosingVelocityMS   float64       `json:"closing_velocity_m_s"`
	Pumps               int           `json:"pumps"`
	SupplyLossM         float64       `json:"supply_loss_m"`
	DeliveryLossM       float64       `json:"delivery_loss_m"`
	DeliveryHeadM       float64       `json:"delivery_head_m"`
	StuckOpenLevelM     float64       `json:"stuck_open_level_m"`
	StuckOpenFlowLMin   float64       `json:"stuck_open_flow_l_min"`
	DeliverySurgeHeadM  *float64      `json:"delivery_surge_head_m"` // when a valve at the end of the delivery pipe shuts; null without that pipe
	StandpipeSurgeM     *float64      `json:"standpipe_surge_m"`     // null without a supply pipe and a standpipe
	OverflowLMin        *float64      `json:"overflow_l_min"`        // over the standpipe while the pump stands; null without --standpipe-top
	SupplyFillS         *float64      `json:"supply_fill_s"`         // null without a supply pipe
	StartStrokesShut    *float64      `json:"start_strokes_shut"`
	StartStrokesOpen    *float64      `json:"start_strokes_open"` // null: the lift never pushes back enough
	TankAfterS          *float64      `json:"tank_after_s"`       // null without a delivery pipe
	WorksCited          []string      `json:"works_cited"`
}

// ramQuestion is the command line, read.
type ramQuestion struct {
	in              hydraulics.Installation
	drive           hydraulics.Product
	available       float64 // 0 when not given
	closingVelocity float64 // 0 when not given
	tuning          float64
	band            float64
	standpipeBore   float64
	altitude        float64
	vesselAir       float64 // at atmospheric pressure; 0 when not given
	standpipeTop    float64
	sources         []string
	notes           []finding.Finding
}

// usualVessel is the air in a vessel over the volume that a beat delivers,
// where no vessel is given: handbooks have 20 to 50 (from memory).
const usualVessel = 50

// Run answers for one installation.
func (c *ramCommand) Run(s *session) error {
	sys := unitSystem(c.Units)
	if c.Calibrate != "" {
		return c.calibrate(s, sys)
	}
	if c.Save != "" || !c.Simulate && c.Plot != "" {
		return &usageError{text: "--save belongs to --calibrate, --plot to --simulate"}
	}
	q, err := c.question()
	if err != nil {
		return explain(err, sys)
	}
	if c.Simulate {
		return c.simulate(s, q, sys)
	}
	o, err := q.operate()
	if err != nil {
		return s.refuse(explain(err, sys))
	}
	r := q.result(o, sys)
	s.warned = len(r.Warnings) > 0
	if s.json {
		return s.printJSON(r)
	}
	return printRam(s.stdout, r, q, o, sys)
}

// refuse prints an answer that is "no" and passes it on; other errors pass
// unprinted.
func (s *session) refuse(err error) error {
	var no *infeasibleError
	if !errors.As(err, &no) {
		return err
	}
	if s.json {
		if err := s.printJSON(map[string]failure{"error": {Code: "pump_cannot_work", Text: no.text, Hint: no.hint}}); err != nil {
			return err
		}
		return no
	}
	fmt.Fprintln(s.stdout, no.text)
	if no.hint != "" {
		fmt.Fprintln(s.stdout, "What to do:", no.hint)
	}
	return no
}

// question reads the flags.
func (c *ramCommand) question() (*ramQuestion, error) {
	for _, need := range []struct{ flag, value, example string }{
		{"--drive-head", c.DriveHead, "3m"}, {"--lift", c.Lift, "30m"},
		{"--drive-pipe", c.DrivePipe, `"steel Sch 40 2 in"`}, {"--drive-length", c.DriveLength, "15m"},
	} {
		if need.value == "" {
			return nil, &usageError{text: need.flag + " is missing", hint: "for example " + need.flag + " " + need.example}
		}
	}
	if c.ClosingVelocity != "" && c.Tuning != "" {
		return nil, &usageError{text: "--closing-velocity and --tuning say the same thing: give one"}
	}
	if c.Pumps < 1 {
		return nil, &usageError{text: fmt.Sprintf("--pumps %d: there must be at least one", c.Pumps)}
	}
	q := &ramQuestion{band: uncalibratedBand, tuning: usualTuning}
	var f flagReader
	q.in.SourceM = f.positive(quantity.Head, "--drive-head", c.DriveHead)
	q.in.LiftM = f.positive(quantity.Head, "--lift", c.Lift)
	q.in.Drive.LengthM = f.positive(quantity.Length, "--drive-length", c.DriveLength)
	q.in.Pumps = c.Pumps
	if c.Available != "" {
		q.available = f.positive(quantity.Flow, "--available", c.Available)
	}
	if c.ClosingVelocity != "" {
		q.closingVelocity = f.positive(quantity.Velocity, "--closing-velocity", c.ClosingVelocity)
	}
	if c.Tuning != "" {
		q.tuning = f.number("--tuning", c.Tuning)
	}
	if c.Standpipe != "" {
		q.standpipeBore = f.positive(quantity.Diameter, "--standpipe", c.Standpipe)
	}
	if c.VesselAir != "" {
		q.vesselAir = f.positive(quantity.Volume, "--vessel-air", c.VesselAir)
	}
	if c.StandpipeTop != "" {
		q.standpipeTop = f.positive(quantity.Length, "--standpipe-top", c.StandpipeTop)
	}
	if c.FootHeight != "" {
		q.in.FootM = f.positive(quantity.Length, "--foot-height", c.FootHeight)
	}
	temp := f.read(quantity.Temperature, "--temp", c.Temp)
	q.altitude = f.read(quantity.Length, "--altitude", c.Altitude)
	if f.err != nil {
		return nil, f.err
	}
	var err error
	if q.in.Fluid, err = hydraulics.Water(temp, q.altitude); err != nil {
		return nil, err
	}
	if err := c.pipes(q, &f, temp); err != nil {
		return nil, err
	}
	q.in.Ram = hydraulics.DefaultRam(q.in.Drive.Pipe.Inside)
	if c.PumpFile != "" {
		if err := readPumpFile(c.PumpFile, q); err != nil {
			return nil, err
		}
	}
	if q.available > 0 && q.closingVelocity > 0 && c.ClosingVelocity != "" {
		q.notes = append(q.notes, finding.New(finding.Note, "tuning_given", "the closing velocity is given: the pump is not tuned down to the available flow", ""))
	}
	return q, nil
}

// pipes reads the three pipe runs; their ratings are taken at the water's
// temperature.
func (c *ramCommand) pipes(q *ramQuestion, f *flagReader, temperatureK float64) error {
	run := func(flag, name, length, minor string) (hydraulics.Run, hydraulics.Product, error) {
		if (name == "") != (length == "") {
			return hydraulics.Run{}, hydraulics.Product{}, &usageError{text: "--" + flag + "-pipe and --" + flag + "-length belong together"}
		}
		if name == "" {
			return hydraulics.Run{}, hydraulics.Product{}, nil
		}
		p, err := pipeNamed("--"+flag+"-pipe", name)
		if err != nil {
			return hydraulics.Run{}, p, err
		}
		q.sources = append(q.sources, p.Name+": "+p.Standard+": "+p.Source)
		pipe := p.Pipe
		pipe.Rating = p.RatingAt(temperatureK)
		r := hydraulics.Run{Pipe: pipe, LengthM: f.positive(quantity.Length, "--"+flag+"-length", length), MinorK: f.number("--"+flag+"-minor", minor)}
		return r, p, f.err
	}
	var err error
	if q.in.Supply, _, err = run("supply", c.SupplyPipe, c.SupplyLength, c.SupplyMinor); err != nil {
		return err
	}
	if q.in.Delivery, _, err = run("delivery", c.DeliveryPipe, c.DeliveryLength, c.DeliveryMinor); err != nil {
		return err
	}
	if q.in.Drive, q.drive, err = run("drive", c.DrivePipe, c.DriveLength, "0"); err != nil {
		return err
	}
	if q.standpipeBore > 0 && q.in.Supply.LengthM == 0 {
		return &usageError{text: "--standpipe matters only with a supply pipe", hint: "give --supply-pipe and --supply-length as well"}
	}
	return nil
}

// operate finds the running state: at the closing velocity or tuning that was
// asked for, lowered where less water is available than it would draw.
func (q *ramQuestion) operate() (hydraulics.Operation, error) {
	if q.closingVelocity > 0 {
		o, err := q.in.Running(q.closingVelocity)
		if err == nil && q.available > 0 && o.DriveTotal > q.available {
			q.notes = append(q.notes, finding.New(finding.Warning, "not_enough_water",
				"the pump draws {0} at this closing velocity and {1} is available: it will run dry", "",
				quantity.Of(quantity.Flow, o.DriveTotal), quantity.Of(quantity.Flow, q.available)))
		}
		return o, err
	}
	o, err := q.in.AtTuning(q.tuning)
	if q.available == 0 || err == nil && o.DriveTotal <= q.available {
		return o, err
	}
	if err != nil && o.DriveTotal == 0 {
		return o, err
	}
	tuned, err := q.in.TunedTo(q.available, [2]float64{min(leastTuning, q.tuning), q.tuning})
	if err == nil {
		q.notes = append(q.notes, finding.New(finding.Note, "tuned_down",
			fmt.Sprintf("tuned down from λ %.2f, where it would draw {0}, to λ %.2f to fit the water that is there", q.tuning, tuned.Lambda), "",
			quantity.Of(quantity.Flow, o.DriveTotal)))
	}
	return tuned, err
}

// result puts an operation into the contract's fields.
func (q *ramQuestion) result(o hydraulics.Operation, sys quantity.System) *ramResult {
	perDay := o.DeliveredTotal * 86400e3
	r := &ramResult{
		DriveFlowLMin: o.DriveTotal * 60e3, WasteLMin: (o.DriveTotal - o.DeliveredTotal) * 60e3,
		DeliveredLMin: o.DeliveredTotal * 60e3, DeliveredLDay: perDay,
		DeliveredLDayLow: perDay * (1 - q.band), DeliveredLDayHigh: perDay * (1 + q.band),
		BeatsPerMin: o.BeatsPerMinute(), EfficiencyDaubisson: o.EfficiencyDAubuisson, EfficiencyRankine: o.EfficiencyRankine,
		Lambda: o.Lambda, Mu: o.Mu, LiftRatio: o.LiftRatio,
		LengthToDiameter: q.in.Drive.LengthM / q.in.Drive.Pipe.Inside,
		ShutoffHeadM:     o.ShutoffHeadM, SurgeHeadM: hydraulics.Surge(q.in.Fluid, q.in.Drive.Pipe, o.ClosingVelocity), StandpipeLevelM: o.LevelM,
		ClosingVelocityMS: o.ClosingVelocity, Pumps: o.Pumps,
		SupplyLossM: o.SupplyLossM, DeliveryLossM: o.DeliveryLossM, DeliveryHeadM: o.DeliveryHeadM,
		Warnings: []warningJSON{},
		WorksCited: append([]string{
			"Three-phase cycle in λ, μ and R: own derivation, parameters of Thomas, Warwick DTU working paper 41 (1994); verified against a simulation by characteristics, not validated by measurement",
			"Joukowsky surge; wave speed after Wylie & Streeter",
			"Darcy–Weisbach with Colebrook 1939; water after Kell 1975 and Kestin, Sokolov & Wakeham 1978",
		}, q.sources...),
	}
	if q.in.Delivery.LengthM > 0 {
		rise := hydraulics.Surge(q.in.Fluid, q.in.Delivery.Pipe, o.DeliveredTotal/q.in.Delivery.Pipe.Area())
		r.DeliverySurgeHeadM = &rise
	}
	if open, err := q.in.StuckOpen(o.ClosingVelocity); err == nil {
		r.StuckOpenLevelM, r.StuckOpenFlowLMin = open.LevelM, open.Flow*60e3
	}
	if q.standpipeBore > 0 {
		z := hydraulics.StandpipeSurge(q.in.Supply, q.standpipeBore, o.DriveTotal)
		r.StandpipeSurgeM = &z
	}
	q.start(r, o)
	for _, c := range q.in.Cautions(o) {
		f := cautionText(c)
		r.Warnings = append(r.Warnings, warningJSON{f.Code, quantity.Text(sys, f.Text, f.Values...)})
	}
	for _, n := range q.notes {
		r.Warnings = append(r.Warnings, warningJSON{n.Code, quantity.Text(sys, n.Text, n.Values...)})
	}
	return r
}

// start fills in what it takes to get going.
func (q *ramQuestion) start(r *ramResult, o hydraulics.Operation) {
	some := func(v float64) *float64 {
		if math.IsInf(v, 0) || math.IsNaN(v) {
			return nil
		}
		return &v
	}
	air := q.vesselAir
	if air == 0 {
		air = usualVessel * o.DeliveredVolumeM3
	}
	if s, err := q.in.Starting(o.ClosingVelocity, air); err == nil {
		r.StartStrokesShut, r.StartStrokesOpen = some(s.StrokesShut), some(s.StrokesOpen)
		if q.in.Delivery.LengthM > 0 {
			r.TankAfterS = some(s.TankAfterS)
		}
	}
	if q.in.Supply.LengthM == 0 {
		return
	}
	// The pipe is taken to fall evenly from just below the source to the foot.
	l := hydraulics.Line{Station: []float64{0, q.in.Supply.LengthM}, Invert: []float64{q.in.SourceM - 0.05, q.in.FootM}, Pipe: []hydraulics.Pipe{q.in.Supply.Pipe}, MinorK: []float64{q.in.Supply.MinorK}}
	if t, err := hydraulics.FillTime(q.in.Fluid, l, q.in.SourceM); err == nil {
		r.SupplyFillS = some(t)
	}
	if q.standpipeTop > 0 {
		if over, err := q.in.Overflow(q.standpipeTop); err == nil {
			r.OverflowLMin = some(over * 60e3)
		}
	}
}

func printStart(row func(label, format string, args ...any), r *ramResult, sys quantity.System) {
	if r.StartStrokesShut != nil {
		text := "one or two strokes by hand with the delivery valve nearly shut"
		if n := math.Ceil(*r.StartStrokesShut); n > 2 {
			text = fmt.Sprintf("about %.0f strokes by hand with the delivery valve nearly shut", n)
		}
		if r.StartStrokesOpen != nil && *r.StartStrokesOpen > *r.StartStrokesShut+1 {
			text += fmt.Sprintf(", %.0f with the empty delivery pipe open", math.Ceil(*r.StartStrokesOpen))
		}
		row("Starting", "%s; 10 to 100 are usual", text)
	}
	if r.SupplyFillS != nil {
		row("Supply pipe fills", "in %s", quantity.Format(sys, quantity.Duration, *r.SupplyFillS))
	}
	if r.TankAfterS != nil {
		row("Water at the tank", "%s after the pump runs by itself", quantity.Format(sys, quantity.Duration, *r.TankAfterS))
	}
	if r.OverflowLMin != nil {
		row("While it stands", "%s runs over the standpipe", quantity.Format(sys, quantity.Flow, *r.OverflowLMin/60e3))
	}
}

func printRam(w io.Writer, r *ramResult, q *ramQuestion, o hydraulics.Operation, sys quantity.System) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	val := func(d quantity.Dimension, v float64) string { return quantity.Format(sys, d, v) }
	row := func(label, format string, args ...any) { fmt.Fprintf(t, label+"\t"+format+"\n", args...) }
	row("Delivered", "%s (%s to %s), %s", val(quantity.DailyVolume, o.DeliveredTotal),
		val(quantity.DailyVolume, r.DeliveredLDayLow/86400e3), val(quantity.DailyVolume, r.DeliveredLDayHigh/86400e3), val(quantity.Flow, o.DeliveredTotal))
	if o.Pumps > 1 {
		row("Pumps", "%d, each with its own drive pipe", o.Pumps)
	}
	row("Drawn", "%s, of which wasted %s", val(quantity.Flow, o.DriveTotal), val(quantity.Flow, o.DriveTotal-o.DeliveredTotal))
	if o.SupplyLossM > 0 {
		row("Running level", "%s above the waste valve; the supply pipe takes %s of %s", val(quantity.Head, o.LevelM), val(quantity.Head, o.SupplyLossM), val(quantity.Head, q.in.SourceM))
		row("Valve stuck open", "the level falls to %s and %s runs to waste", val(quantity.Head, r.StuckOpenLevelM), val(quantity.Flow, r.StuckOpenFlowLMin/60e3))
	} else {
		row("Drive head", "%s", val(quantity.Head, o.LevelM))
	}
	if r.StandpipeSurgeM != nil {
		row("Standpipe", "the water rises %s when the pump stops, falls as much when it starts", val(quantity.Head, *r.StandpipeSurgeM))
	}
	row("Delivery head", "%s, of which pipe friction %s", val(quantity.Head, o.DeliveryHeadM), val(quantity.Head, o.DeliveryLossM))
	row("Beats", "%.0f a minute", o.BeatsPerMinute())
	row("Efficiency", "%.0f %% (D'Aubuisson), %.0f %% (Rankine)", 100*o.EfficiencyDAubuisson, 100*o.EfficiencyRankine)
	row("Tuning", "the waste valve shuts at %s, λ %.2f", val(quantity.Velocity, o.ClosingVelocity), o.Lambda)
	row("Lift ratio", "%.1f times the drive head; μ %.1f", o.LiftRatio, o.Mu)
	row("Drive pipe", "%s, %s long: %.0f diameters, %.1f times the drive head", q.drive.Name, val(quantity.Length, q.in.Drive.LengthM), r.LengthToDiameter, q.in.Drive.LengthM/o.LevelM)
	shortest, longest := hydraulics.DriveLengths(q.in.Drive.Pipe.Inside)
	row("Handbooks want", "%s to %s by its bore (150 to 1000), %s to %s by the drive head (3 to 7); installers of small pumps stop at %s; your own limit rules",
		val(quantity.Length, shortest), val(quantity.Length, longest), val(quantity.Length, 3*o.LevelM), val(quantity.Length, 7*o.LevelM), val(quantity.Length, hydraulics.InstallersLongestDriveM))
	row("Shut-off", "the drive pipe sees %s of head (%s) when the delivery is shut", val(quantity.Head, o.ShutoffHeadM), val(quantity.Pressure, o.ShutoffHeadM*q.in.Fluid.Density*hydraulics.Gravity))
	printStart(row, r, sys)
	for _, warning := range r.Warnings {
		row("Note", "%s", warning.Text)
	}
	return t.Flush()
}

// cautionText puts a caution into words.
func cautionText(c hydraulics.Caution) finding.Finding {
	head, length, speed := func(v float64) quantity.Value { return quantity.Of(quantity.Head, v) }, quantity.Metres, func(v float64) quantity.Value { return quantity.Of(quantity.Velocity, v) }
	warn := func(text string, values ...quantity.Value) finding.Finding {
		return finding.New(finding.Warning, c.Code, text, "", values...)
	}
	switch c.Code {
	case hydraulics.CautionWeakBeat:
		return warn(fmt.Sprintf("the pressure rise is only %.1f times the delivery head; below %.0f times the beat is erratic and the figures are doubtful: close later, use a stiffer drive pipe, or lift less", c.Value, c.Limit))
	case hydraulics.CautionLiftRatio:
		return warn(fmt.Sprintf("the lift is %.1f times the drive head; small pumps in everyday use do %.0f times at most", c.Value, c.Limit))
	case hydraulics.CautionLengthDiameter:
		return warn(fmt.Sprintf("the drive pipe is %.0f diameters long; handbooks keep to 150 to 1000", c.Value))
	case hydraulics.CautionLengthHead:
		return warn(fmt.Sprintf("the drive pipe is %.1f times as long as the drive head is high; handbooks keep to 3 to 7", c.Value))
	case hydraulics.CautionPlasticDrive:
		return warn("a plastic drive pipe: the pressure wave runs at {0} instead of {1} in steel, so the beat lifts less and the wall tires; use metal for permanent work", speed(c.Value), speed(c.Limit))
	case hydraulics.CautionLowHead:
		return warn("the drive head is {0}; below {1} few pumps keep beating", head(c.Value), head(c.Limit))
	case hydraulics.CautionHighHead:
		return warn("the drive head is {0}; small pumps are made for up to {1}", head(c.Value), head(c.Limit))
	case hydraulics.CautionDriveRating:
		return warn("with the delivery shut the drive pipe must stand {0} of head, a quarter in reserve included; it is rated for {1}", head(c.Value), head(c.Limit))
	case hydraulics.CautionDeliveryRating:
		return warn("the delivery pipe must stand {0} of head, surge included; it is rated for {1}", head(c.Value), head(c.Limit))
	case hydraulics.CautionNoRestart:
		return warn("stuck open, the drive pipe reaches {0} and the valve needs {1}: the pump will not restart by itself; use a larger supply pipe or an earlier closing valve", speed(c.Value), speed(c.Limit))
	case hydraulics.CautionAirEntry:
		return warn("the running level is {0} above the waste valve; below {1} air enters the drive pipe", head(c.Value), head(c.Limit))
	case hydraulics.CautionSelfStart:
		return warn("the lift is {0}; a pump starts by itself only once the delivery pushes back with some {1}: throttle the delivery at the start", head(c.Value), head(c.Limit))
	case hydraulics.CautionBeatRate:
		return warn(fmt.Sprintf("%.0f beats a minute is outside the usual 25 to 150", c.Value))
	case hydraulics.CautionTransition:
		return warn(fmt.Sprintf("the flow in a pipe is between laminar and turbulent (Re %.0f): its friction may be 20 %% off either way", c.Value))
	case hydraulics.CautionFastSupply:
		return warn("the water in the supply pipe runs at {0}; keep it below {1}", speed(c.Value), speed(c.Limit))
	case hydraulics.CautionFastDelivery:
		return warn("the water in the delivery pipe runs at {0}; keep it below {1}", speed(c.Value), speed(c.Limit))
	}
	return warn(fmt.Sprintf("%s: %.3g against %.3g", c.Code, c.Value, c.Limit), length(c.Value))
}

// explain turns an error of the physics into one for the person at the
// command line: a wrong input is wrong usage, a pump that cannot work is an
// answer.
func explain(err error, sys quantity.System) error {
	var (
		rang   *hydraulics.RangeError
		stuck  *hydraulics.StuckOpenError
		none   *hydraulics.NoDeliveryError
		weak   *hydraulics.WeakBeatError
		tuning *hydraulics.TuningError
		level  *hydraulics.NoRunningLevelError
	)
	no := func(text, hint string, values ...quantity.Value) error {
		return &infeasibleError{text: quantity.Text(sys, text, values...), hint: quantity.Text(sys, hint, values...)}
	}
	switch {
	case errors.As(err, &rang) && (rang.Param == "lift in m" || rang.Param == "delivery head in m") && rang.Value <= rang.Min:
		return &usageError{
			text: quantity.Text(sys, "the lift of {0} is no more than the drive head of {1}: the tank fills by gravity, without a pump", quantity.Of(quantity.Head, rang.Value), quantity.Of(quantity.Head, rang.Min)),
			hint: "route pipe tells what flows",
		}
	case errors.As(err, &rang):
		return &usageError{text: rangeText(rang, sys)}
	case errors.As(err, &stuck):
		return no("the waste valve never closes: it needs {0} in the drive pipe and the water reaches {1}", "tune it to close earlier, or find more drive head",
			quantity.Of(quantity.Velocity, stuck.ClosingVelocity), quantity.Of(quantity.Velocity, stuck.OpenVelocity))
	case errors.As(err, &none):
		return no("nothing is delivered against {0} of head: the beat reaches {1} at most", "tune it to close later, find more drive head, or lift less",
			quantity.Of(quantity.Head, none.DeliveryHead), quantity.Of(quantity.Head, none.ShutoffHead))
	case errors.As(err, &weak):
		return no(fmt.Sprintf("the beat is too weak: the pressure rise is %.1f times the delivery head; it must be 1.5 times at the very least and 4 times for steady running", weak.Mu), "tune it to close later, use a stiffer drive pipe, find more drive head, or lift less")
	case errors.As(err, &tuning) && tuning.TooLittle():
		return no("the pump is too large for the water: tuned as low as it goes it draws {1} and {0} is available", "use a smaller drive pipe and pump, or fewer pumps",
			quantity.Of(quantity.Flow, tuning.Wanted), quantity.Of(quantity.Flow, tuning.Least))
	case errors.As(err, &tuning):
		return no("the pump is too small to draw {0}: it takes {1} at most", "use a larger drive pipe and pump, or more of them",
			quantity.Of(quantity.Flow, tuning.Wanted), quantity.Of(quantity.Flow, tuning.Most))
	case errors.As(err, &level):
		return no("the supply pipe is too small: it draws the standpipe down until the waste valve stays open", "use a larger supply pipe, a smaller pump or fewer of them, or tune it to close earlier")
	}
	return err
}

// rangeDimensions are the units that end the name of a parameter out of range.
var rangeDimensions = map[string]quantity.Dimension{
	"kelvin": quantity.Temperature, "m": quantity.Length, "metres": quantity.Length, "m/s": quantity.Velocity, "m³/s": quantity.Flow, "s": quantity.Duration,
}

// rangeText says in the person's units what lies outside the range of a formula.
func rangeText(e *hydraulics.RangeError, sys quantity.System) string {
	name, unit, _ := strings.Cut(e.Param, " in ")
	show := func(v float64) string { return fmt.Sprintf("%.4g", v) }
	if d, ok := rangeDimensions[unit]; ok {
		show = func(v float64) string { return quantity.Format(sys, d, v) }
	} else {
		name = e.Param
	}
	if math.IsInf(e.Max, 1) {
		return fmt.Sprintf("the %s is %s and must be more than %s", name, show(e.Value), show(e.Min))
	}
	return fmt.Sprintf("the %s is %s, outside %s to %s where the formulas hold", name, show(e.Value), show(e.Min), show(e.Max))
}
