package plan

import (
	"fmt"
	"math"
	"strings"

	"route/internal/catalog"
	"route/internal/finding"
	"route/internal/hydraulics"
	"route/internal/quantity"
)

// MeasuredPump is a pump of the price list whose parameters were measured on
// one that runs; what is 0 keeps its usual value.
type MeasuredPump struct {
	Model            string // its item in the price list; "" for none
	WasteValveK      float64
	VolumetricFactor float64
	SlipM3           float64 // a beat
	DriveFlow        float64 // m³/s, of all pumps together, as they were set
}

// pumpMeasuredKeys are the settings of a measured pump.
var pumpMeasuredKeys = []key{
	text("pump_measured.model", "the item of a pump in the price list, such as \"ram-1\"", func(s *Site) *string { return &s.PumpMeasured.Model }),
	number("pump_measured.waste_valve_k", quantity.Ratio, "0.1", "100", "", "", func(s *Site) *float64 { return &s.PumpMeasured.WasteValveK }),
	number("pump_measured.volumetric_factor", quantity.Ratio, "1 %", "100 %", "", "", func(s *Site) *float64 { return &s.PumpMeasured.VolumetricFactor }),
	number("pump_measured.drive_flow", quantity.Flow, "0.01 L/min", "10000 L/s", "", "", func(s *Site) *float64 { return &s.PumpMeasured.DriveFlow }),
	number("pump_measured.slip", quantity.Volume, "0 mL", "1 L", "", "", func(s *Site) *float64 { return &s.PumpMeasured.SlipM3 }),
}

// measuredSpread is what a measurement leaves of the spread of a pump's
// parameters; judgement.
const measuredSpread = 0.5

// measuredParameters are those of variedRam that a measurement narrows: waste
// valve, slip and volumetric factor.
var measuredParameters = [...]int{0, 3, 4}

// PumpItem finds a pump of the price list by its name.
func (p *Plan) PumpItem(model string) (*catalog.Item, bool) {
	for _, it := range p.Prices.All() {
		if it.Ram != nil && it.Name == model {
			return it, true
		}
	}
	return nil, false
}

// measurePump puts the measured pump in the place of the usual one.
func (j *job) measurePump() error {
	m := j.site.PumpMeasured
	if m.Model == "" {
		return nil
	}
	item, ok := j.plan.Prices.Item(m.Model)
	if !ok || item.Ram == nil {
		var known []string
		for _, it := range j.plan.Prices.All() {
			if it.Ram != nil {
				known = append(known, it.ID)
			}
		}
		return &finding.Fault{Code: "pump_measured", File: j.site.File, Text: fmt.Sprintf("pump_measured.model is %q, and the price list has no such pump", m.Model), Hint: "its pumps are " + strings.Join(known, ", ")}
	}
	ram := *item.Ram
	for _, x := range []struct {
		from float64
		to   *float64
	}{{m.WasteValveK, &ram.WasteValveK}, {m.VolumetricFactor, &ram.VolumetricFactor}, {m.SlipM3, &ram.SlipM3}} {
		if x.from > 0 {
			*x.to = x.from
		}
	}
	j.plan.Prices = j.plan.Prices.WithRam(m.Model, ram)
	j.tell(finding.New(finding.Note, "pump_measured", "the pump "+item.Name+" is taken as it was measured", "").In(j.site.File))
	return nil
}

// narrowed are the factors of a draw on the pump's parameters, nearer to 1
// for a pump that was measured.
func (g *grader) narrowed(by [len(pumpSpreads)]float64) [len(pumpSpreads)]float64 {
	if !g.measured {
		return by
	}
	for _, k := range measuredParameters {
		by[k] = math.Pow(by[k], measuredSpread)
	}
	return by
}

// drawnRam is the ram of a draw.
func (g *grader) drawnRam(d *draw) hydraulics.Ram { return variedRam(g.ram, g.narrowed(d.pump)) }
