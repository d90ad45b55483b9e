package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/goccy/go-yaml"

	"route/internal/finding"
	"route/internal/hydraulics"
	"route/internal/quantity"
)

// readingColumns are the columns of a readings file; the last two may be
// missing or empty.
var readingColumns = []string{"reading", "drive_head", "value", "delivery_head", "error"}

// readReadings reads a CSV of measurements on a pump:
//
//	reading,drive_head,value,delivery_head,error
//	open flow,2.5 m,260 L/min,,
//	beats,2.5 m,74,18 m,
//	delivered,2.5 m,4.1 L/min,18 m,3 %
//
// Lines that start with # are comments. Errors are *finding.Fault.
func readReadings(name string, r io.Reader) ([]hydraulics.Reading, error) {
	c := csv.NewReader(r)
	c.Comment, c.FieldsPerRecord, c.TrimLeadingSpace = '#', -1, true
	head, err := c.Read()
	if err != nil {
		return nil, readingFault(name, 1, err)
	}
	at := map[string]int{}
	for i, h := range head {
		at[strings.ToLower(strings.TrimSpace(h))] = i
	}
	for _, want := range readingColumns[:3] {
		if _, ok := at[want]; !ok {
			return nil, &finding.Fault{Code: "readings_wrong", File: name, Line: 1, Text: fmt.Sprintf("there is no column %q", want), Hint: "the first line must be " + strings.Join(readingColumns, ",")}
		}
	}
	var list []hydraulics.Reading
	for {
		record, err := c.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, readingFault(name, 0, err) // the parser's error knows the line
		}
		line, _ := c.FieldPos(0)
		reading, err := parseReading(func(column string) string {
			if i, ok := at[column]; ok && i < len(record) {
				return strings.TrimSpace(record[i])
			}
			return ""
		})
		if err != nil {
			return nil, readingFault(name, line, err)
		}
		list = append(list, reading)
	}
	if len(list) == 0 {
		return nil, &finding.Fault{Code: "readings_wrong", File: name, Text: "there are no readings in it", Hint: "one line for each: open flow, beats, drive flow, waste flow, delivered, shut-off"}
	}
	return list, nil
}

func readingFault(name string, line int, err error) error {
	f := &finding.Fault{Code: "readings_wrong", File: name, Line: line, Text: err.Error(), Hint: "write quantities with their units, beats as a bare number", Err: err}
	var p *csv.ParseError
	if errors.As(err, &p) {
		f.Line, f.Column, f.Text = p.Line, p.Column, p.Err.Error()
	}
	if errors.Is(err, io.EOF) {
		f.Text = "the file is empty"
	}
	return f
}

// parseReading reads one line by its columns.
func parseReading(field func(string) string) (hydraulics.Reading, error) {
	r := hydraulics.Reading{Kind: hydraulics.ReadingKind(strings.ToLower(field("reading")))}
	var err error
	if r.DriveHeadM, err = quantity.Parse(quantity.Head, field("drive_head")); err != nil {
		return r, fmt.Errorf("drive_head: %w", err)
	}
	switch r.Kind {
	case hydraulics.ReadOpenFlow, hydraulics.ReadDriveFlow, hydraulics.ReadWasteFlow, hydraulics.ReadDelivered:
		r.Value, err = quantity.Parse(quantity.Flow, field("value"))
	case hydraulics.ReadShutoff:
		r.Value, err = quantity.Parse(quantity.Head, field("value"))
	case hydraulics.ReadBeats:
		r.Value, err = strconv.ParseFloat(field("value"), 64)
	default:
		return r, fmt.Errorf("%q is no reading: use open flow, beats, drive flow, waste flow, delivered or shut-off", r.Kind)
	}
	if err != nil {
		return r, fmt.Errorf("value: %w", err)
	}
	if text := field("delivery_head"); text != "" {
		if r.DeliveryHeadM, err = quantity.Parse(quantity.Head, text); err != nil {
			return r, fmt.Errorf("delivery_head: %w", err)
		}
	}
	if text := field("error"); text != "" {
		share, err := quantity.Parse(quantity.Ratio, text)
		if err != nil {
			return r, fmt.Errorf("error: %w", err)
		}
		r.Sigma = share * r.Value
	}
	if !(r.Value > 0) || !(r.DriveHeadM > 0) {
		return r, fmt.Errorf("value and drive head must be more than zero")
	}
	return r, nil
}

// calibrationJSON is the JSON form of a calibration.
type calibrationJSON struct {
	WasteValveK      estimateJSON   `json:"waste_valve_k"`
	ClosingVelocity  estimateJSON   `json:"closing_velocity_m_s"`
	VolumetricFactor estimateJSON   `json:"volumetric_factor"`
	SlipL            estimateJSON   `json:"slip_l"`
	Residuals        []residualJSON `json:"residuals"`
	ChiSquare        float64        `json:"chi_square"`
	DegreesOfFreedom int            `json:"degrees_of_freedom"`
	Fits             bool           `json:"fits"`
	Band             float64        `json:"band"`
	PumpFile         *string        `json:"pump_file"`
	Warnings         []warningJSON  `json:"warnings"`
}

type estimateJSON struct {
	Value    float64 `json:"value"`
	Sigma    float64 `json:"sd"`
	Narrowed float64 `json:"narrowed"` // 0: the readings say nothing about it; near 1: they fix it
}

type residualJSON struct {
	Reading   string  `json:"reading"`
	Measured  float64 `json:"measured"`
	Predicted float64 `json:"predicted"`
	Off       float64 `json:"off_sd"`
}

// calibrate fits a pump to the readings of a file.
func (c *ramCommand) calibrate(s *session, sys quantity.System) error {
	if c.DrivePipe == "" || c.DriveLength == "" {
		return &usageError{text: "--calibrate needs --drive-pipe and --drive-length", hint: "they are those of the pump that was measured"}
	}
	var f flagReader
	length := f.positive(quantity.Length, "--drive-length", c.DriveLength)
	temp := f.read(quantity.Temperature, "--temp", c.Temp)
	altitude := f.read(quantity.Length, "--altitude", c.Altitude)
	if f.err != nil {
		return f.err
	}
	drive, err := pipeNamed("--drive-pipe", c.DrivePipe)
	if err != nil {
		return err
	}
	water, err := hydraulics.Water(temp, altitude)
	if err != nil {
		return explain(err, sys)
	}
	file, err := os.Open(c.Calibrate)
	if err != nil {
		return &finding.Fault{Code: "readings_unreadable", File: c.Calibrate, Text: err.Error(), Hint: "check the name", Err: err}
	}
	defer file.Close()
	readings, err := readReadings(c.Calibrate, file)
	if err != nil {
		return err
	}
	fit, err := hydraulics.Calibrate(water, drive.Pipe, length, hydraulics.DefaultRam(drive.Pipe.Inside), readings)
	if err != nil {
		return explain(err, sys)
	}
	head, lift := middleHeads(readings)
	band := fit.Band(water, drive.Pipe, length, head, lift)
	r := calibrationResult(&fit, band, sys)
	s.warned = len(r.Warnings) > 0
	if c.Save != "" {
		if err := savePump(c.Save, &fit, drive.Name, band); err != nil {
			return err
		}
		r.PumpFile = &c.Save
	}
	if s.json {
		return s.printJSON(r)
	}
	return printCalibration(s.stdout, r, &fit, sys)
}

// middleHeads are the heads about which a calibration speaks best: the means of
// the readings.
func middleHeads(readings []hydraulics.Reading) (drive, delivery float64) {
	n, m := 0.0, 0.0
	for _, r := range readings {
		drive += r.DriveHeadM
		n++
		if r.DeliveryHeadM > 0 {
			delivery += r.DeliveryHeadM
			m++
		}
	}
	drive /= n
	if m == 0 {
		return drive, 7 * drive // a usual lift
	}
	return drive, delivery / m
}

func calibrationResult(fit *hydraulics.Calibration, band float64, sys quantity.System) *calibrationJSON {
	e := func(x hydraulics.Estimate, scale float64) estimateJSON {
		return estimateJSON{x.Value * scale, x.Sigma * scale, x.Narrowed}
	}
	r := &calibrationJSON{
		WasteValveK: e(fit.WasteValveK, 1), ClosingVelocity: e(fit.ClosingVelocity, 1), VolumetricFactor: e(fit.VolumetricFactor, 1), SlipL: e(fit.SlipM3, 1e3),
		ChiSquare: fit.ChiSquare, DegreesOfFreedom: fit.Freedom, Fits: fit.Fits(), Band: band, Warnings: []warningJSON{},
	}
	for _, x := range fit.Residuals {
		scale := 1.0
		if x.Kind != hydraulics.ReadBeats && x.Kind != hydraulics.ReadShutoff {
			scale = 60e3 // L/min
		}
		r.Residuals = append(r.Residuals, residualJSON{string(x.Kind), x.Value * scale, x.Predicted * scale, x.Off})
		if x.Off > 3 || x.Off < -3 {
			r.Warnings = append(r.Warnings, warningJSON{"reading_doubtful", fmt.Sprintf("the %s of %s does not fit the others: the pump that fits best would give %s", x.Kind, readingText(x.Kind, x.Value, sys), readingText(x.Kind, x.Predicted, sys))})
		}
	}
	if !r.Fits && len(r.Warnings) == 0 {
		r.Warnings = append(r.Warnings, warningJSON{"readings_disagree", "the readings do not agree with each other within their errors"})
	}
	return r
}

// readingText prints a reading in the person's units.
func readingText(kind hydraulics.ReadingKind, v float64, sys quantity.System) string {
	switch kind {
	case hydraulics.ReadBeats:
		return fmt.Sprintf("%.1f a minute", v)
	case hydraulics.ReadShutoff:
		return quantity.Format(sys, quantity.Head, v)
	}
	return quantity.Format(sys, quantity.Flow, v)
}

func printCalibration(w io.Writer, r *calibrationJSON, fit *hydraulics.Calibration, sys quantity.System) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	known := func(n float64) string {
		switch {
		case n > 0.8:
			return "fixed by the readings"
		case n > 0.3:
			return "narrowed by the readings"
		}
		return "hardly touched by the readings: mostly the usual value"
	}
	fmt.Fprintf(t, "Waste valve K\t%.2f ± %.2f\t%s\n", r.WasteValveK.Value, r.WasteValveK.Sigma, known(r.WasteValveK.Narrowed))
	fmt.Fprintf(t, "Closing velocity\t%s\t%s\n", quantity.FormatMeasure(sys, quantity.Velocity, quantity.Measure{Value: fit.ClosingVelocity.Value, Sigma: fit.ClosingVelocity.Sigma}), known(r.ClosingVelocity.Narrowed))
	fmt.Fprintf(t, "Volumetric factor\t%.0f ± %.0f %%\t%s\n", 100*r.VolumetricFactor.Value, 100*r.VolumetricFactor.Sigma, known(r.VolumetricFactor.Narrowed))
	fmt.Fprintf(t, "Slip a beat\t%s\t%s\n", quantity.FormatMeasure(sys, quantity.Volume, quantity.Measure{Value: fit.SlipM3.Value, Sigma: fit.SlipM3.Sigma}), known(r.SlipL.Narrowed))
	fmt.Fprintf(t, "Predictions\t± %.0f %% near the measured heads\t95 times in 100\n", 100*r.Band)
	fmt.Fprintln(t, "\nreading\tmeasured\tfitted pump\toff by")
	for _, x := range fit.Residuals {
		fmt.Fprintf(t, "%s\t%s\t%s\t%+.1f times its error\n", x.Kind, readingText(x.Kind, x.Value, sys), readingText(x.Kind, x.Predicted, sys), x.Off)
	}
	for _, warning := range r.Warnings {
		fmt.Fprintf(t, "Note\t%s\n", warning.Text)
	}
	if r.PumpFile != nil {
		fmt.Fprintf(t, "\nThe pump is in %s: give it with --pump-file.\n", *r.PumpFile)
	}
	return t.Flush()
}

// savePump writes a pump file, whole or not at all.
func savePump(name string, fit *hydraulics.Calibration, drive string, band float64) error {
	r := fit.Ram
	k := math.Round(1000*r.WasteValveK) / 1000
	p := pumpFile{
		Name:        "calibrated on " + drive,
		WasteValveK: &k, DeliveryValveK: &r.DeliveryValveK, EntranceK: &r.EntranceK,
		CloseTime: fmt.Sprintf("%.4g s", r.CloseTimeS), OpenTime: fmt.Sprintf("%.4g s", r.OpenTimeS),
		Slip: fmt.Sprintf("%.4g mL", r.SlipM3*1e6), VolumetricFactor: fmt.Sprintf("%.4g %%", 100*r.VolumetricFactor),
		ClosingVelocity: fmt.Sprintf("%.5g m/s", fit.ClosingVelocityMS), Band: fmt.Sprintf("%.3g %%", 100*band),
	}
	text, err := yaml.Marshal(p)
	if err != nil {
		return err
	}
	return writeWhole(name, text)
}

// writeWhole writes under a temporary name and renames, so that a failed run
// leaves an earlier file as it was.
func writeWhole(name string, text []byte) error {
	fault := func(err error) error {
		return &finding.Fault{Code: "file_unwritable", File: name, Text: err.Error(), Hint: "give a name in a folder that can be written to", Err: err}
	}
	f, err := os.CreateTemp(filepath.Dir(name), ".route-*")
	if err != nil {
		return fault(err)
	}
	defer os.Remove(f.Name()) // gone already when all went well
	if _, err := f.Write(text); err != nil {
		f.Close()
		return fault(err)
	}
	if err := f.Chmod(0o644); err != nil {
		f.Close()
		return fault(err)
	}
	if err := f.Close(); err != nil {
		return fault(err)
	}
	if err := os.Rename(f.Name(), name); err != nil {
		return fault(err)
	}
	return nil
}
