package main

import (
	"errors"
	"fmt"
	"os"

	"github.com/goccy/go-yaml"

	"route/internal/finding"
	"route/internal/quantity"
)

// pumpFile is the YAML form of a pump's parameters; what is left out keeps its
// usual value.
type pumpFile struct {
	Name             string   `yaml:"name,omitempty"`
	WasteValveK      *float64 `yaml:"waste_valve_k,omitempty"`
	DeliveryValveK   *float64 `yaml:"delivery_valve_k,omitempty"`
	EntranceK        *float64 `yaml:"entrance_k,omitempty"`
	CloseTime        string   `yaml:"close_time,omitempty"`
	OpenTime         string   `yaml:"open_time,omitempty"`
	Slip             string   `yaml:"slip,omitempty"`              // a beat
	VolumetricFactor string   `yaml:"volumetric_factor,omitempty"` // a share
	ClosingVelocity  string   `yaml:"closing_velocity,omitempty"`
	Band             string   `yaml:"band,omitempty"` // share by which predictions may be off
}

// readPumpFile lays a pump file over the usual parameters.
func readPumpFile(name string, q *ramQuestion) error {
	text, err := os.ReadFile(name)
	if err != nil {
		return &finding.Fault{Code: "pump_file_unreadable", File: name, Text: err.Error(), Hint: "check the name", Err: err}
	}
	return parsePump(name, text, q)
}

// parsePump is readPumpFile on the bytes.
func parsePump(name string, text []byte, q *ramQuestion) error {
	var p pumpFile
	if err := yaml.UnmarshalWithOptions(text, &p, yaml.Strict()); err != nil {
		f := &finding.Fault{Code: "pump_file_wrong", File: name, Text: err.Error(), Hint: "route ram --calibrate writes such a file", Err: err}
		var at yaml.Error
		if errors.As(err, &at) && at.GetToken() != nil {
			f.Text, f.Line, f.Column = at.GetMessage(), at.GetToken().Position.Line, at.GetToken().Position.Column
		}
		return f
	}
	return p.lay(name, q)
}

func (p *pumpFile) lay(name string, q *ramQuestion) error {
	var bad error
	read := func(key, text string, d quantity.Dimension, to *float64) {
		if text == "" || bad != nil {
			return
		}
		v, err := quantity.Parse(d, text)
		if err != nil {
			bad = &finding.Fault{Code: "pump_file_wrong", File: name, Text: key + ": " + err.Error(), Err: err}
			return
		}
		*to = v
	}
	r := &q.in.Ram
	for _, k := range []struct {
		key  string
		from *float64
		to   *float64
	}{{"waste_valve_k", p.WasteValveK, &r.WasteValveK}, {"delivery_valve_k", p.DeliveryValveK, &r.DeliveryValveK}, {"entrance_k", p.EntranceK, &r.EntranceK}} {
		if k.from == nil {
			continue
		}
		if !(*k.from >= 0) {
			return &finding.Fault{Code: "pump_file_wrong", File: name, Text: fmt.Sprintf("%s: %g is not a loss coefficient", k.key, *k.from)}
		}
		*k.to = *k.from
	}
	read("close_time", p.CloseTime, quantity.Duration, &r.CloseTimeS)
	read("open_time", p.OpenTime, quantity.Duration, &r.OpenTimeS)
	read("slip", p.Slip, quantity.Volume, &r.SlipM3)
	read("volumetric_factor", p.VolumetricFactor, quantity.Ratio, &r.VolumetricFactor)
	read("band", p.Band, quantity.Ratio, &q.band)
	if q.closingVelocity == 0 {
		read("closing_velocity", p.ClosingVelocity, quantity.Velocity, &q.closingVelocity)
	}
	return bad
}
