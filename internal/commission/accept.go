package commission

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"route/internal/finding"
	"route/internal/hydraulics"
	"route/internal/plan"
	"route/internal/quantity"
)

// usualOutletSigmaM is how well the height of the waste valve outlet above the
// creek is known where it was built as planned and nobody measured it.
const usualOutletSigmaM = 0.05

// Accepted is what readings teach for the next plan.
type Accepted struct {
	Edits []plan.SiteEdit
	Says  []string // what they are, for people
}

// Accept turns readings into settings of the site file: the pump as it was
// measured and set, the drop from intake to pump, the lift, and the places that were built as
// pins where nothing is pinned yet. Readings that speak of a fault are refused:
// a pump that is to be put right first must not teach the next plan.
func Accept(site *plan.Site, p *plan.Plan, l *plan.Layout, d *Diagnosis, readings []Reading) (*Accepted, error) {
	if d.Alarm {
		return nil, &finding.Fault{Code: "readings_of_a_fault", Text: "the readings speak of a fault: " + d.Candidates[0].Name(site.Units), Hint: "put it right, read again and accept then"}
	}
	a := &Accepted{}
	if err := a.pump(site, p, l, d, readings); err != nil {
		return nil, err
	}
	a.levels(site, l, readings)
	a.lift(site, l, d, readings)
	if len(a.Edits) == 0 {
		return nil, &finding.Fault{Code: "readings_too_few", Text: "nothing in the readings teaches the next plan", Hint: "read beats, waste flow and delivered for the pump, the pool level and the lift for the terrain"}
	}
	a.pins(site, l)
	return a, nil
}

func find(readings []Reading, k Kind) (Reading, bool) {
	i := slices.IndexFunc(readings, func(r Reading) bool { return r.Kind == k })
	if i < 0 {
		return Reading{}, false
	}
	return readings[i], true
}

// pump fits the pump. The heads are those of the installation that fits all
// readings best: a gauge alone is off by more than the pump cares for.
func (a *Accepted) pump(site *plan.Site, p *plan.Plan, l *plan.Layout, d *Diagnosis, readings []Reading) error {
	item, ok := p.PumpItem(l.Pump.Model)
	if !ok {
		return nil
	}
	m := d.model
	k := slices.IndexFunc(d.Candidates, func(c Candidate) bool { return c.Cause == Nothing })
	best := &d.Candidates[k]
	plant := m.plant([parameters]float64(best.theta[:parameters]))
	pumps := float64(max(m.Pumps, 1))
	var list []hydraulics.Reading
	for _, x := range []struct {
		kind Kind
		as   hydraulics.ReadingKind
		per  float64 // pumps that share it
	}{{OpenFlow, hydraulics.ReadOpenFlow, pumps}, {WasteFlow, hydraulics.ReadWasteFlow, pumps}, {Delivered, hydraulics.ReadDelivered, pumps}, {Beats, hydraulics.ReadBeats, 1}, {ShutOff, hydraulics.ReadShutoff, 1}} {
		r, ok := find(readings, x.kind)
		if !ok || r.Value <= 0 {
			continue
		}
		i, _ := indexOf(x.kind)
		sigma := r.Sigma
		if sigma == 0 {
			sigma = m.usualSigma(i, r.Value)
		}
		head := best.y[iRuns]
		if x.kind == OpenFlow {
			_, head = plant.heldOpen()
		}
		if x.kind == ShutOff { // slow valves take from it what the formula does not know
			sigma = math.Hypot(sigma, modelShutOff*r.Value)
		}
		list = append(list, hydraulics.Reading{Kind: x.as, DriveHeadM: head, DeliveryHeadM: best.y[iGaugeRuns], Value: r.Value / x.per, Sigma: sigma / x.per})
	}
	if len(list) < 2 {
		return nil
	}
	fit, err := hydraulics.Calibrate(m.Fluid, m.Drive.Pipe, m.Drive.LengthM, hydraulics.DefaultRam(m.Drive.Pipe.Inside), list)
	if err != nil {
		return err
	}
	// What the readings say nothing about keeps its usual value. The editor
	// puts a key above those that are there.
	says := "pump " + item.Name
	set := func(key, value, text string, e hydraulics.Estimate) {
		if e.Narrowed < leastNarrowed {
			return
		}
		a.Edits = append(a.Edits, plan.SiteEdit{Key: "pump_measured." + key, Value: value})
		says += ", " + text
	}
	set("slip", fmt.Sprintf("%q", fmt.Sprintf("%.3g mL", 1e6*fit.Ram.SlipM3)),
		"slip "+quantity.FormatMeasure(site.Units, quantity.Volume, quantity.Measure{Value: fit.SlipM3.Value, Sigma: fit.SlipM3.Sigma})+" a beat", fit.SlipM3)
	set("volumetric_factor", fmt.Sprintf("%q", fmt.Sprintf("%.3g %%", 100*fit.Ram.VolumetricFactor)),
		fmt.Sprintf("volumetric factor %.0f ± %.0f %%", 100*fit.VolumetricFactor.Value, 100*fit.VolumetricFactor.Sigma), fit.VolumetricFactor)
	set("waste_valve_k", fmt.Sprintf("%.3g", fit.Ram.WasteValveK), fmt.Sprintf("waste valve K %.2g ± %.1g", fit.WasteValveK.Value, fit.WasteValveK.Sigma), fit.WasteValveK)
	if len(a.Edits) == 0 {
		return nil
	}
	if flow, ok := drawnFlow(readings); ok {
		a.Edits = append(a.Edits, plan.SiteEdit{Key: "pump_measured.drive_flow", Value: fmt.Sprintf("\"%.4g L/min\"", 60e3*flow)})
		says += ", set to draw " + quantity.Format(site.Units, quantity.Flow, flow)
	}
	a.Edits = append(a.Edits, plan.SiteEdit{Key: "pump_measured.model", Value: item.ID})
	a.Says = append(a.Says, says)
	return nil
}

// drawnFlow is what the pumps draw as they are set: what leaves them at both ends.
func drawnFlow(readings []Reading) (flow float64, ok bool) {
	waste, hasWaste := find(readings, WasteFlow)
	delivered, hasDelivered := find(readings, Delivered)
	return waste.Value + delivered.Value, hasWaste && hasDelivered
}

// leastNarrowed is how much readings must narrow a parameter to be kept.
const leastNarrowed = 0.2

// levels makes the pool's height above the outlet a drop along the creek.
func (a *Accepted) levels(site *plan.Site, l *plan.Layout, readings []Reading) {
	pool, ok := find(readings, PoolLevel)
	// The same drop is not taken twice: two readings would count as two.
	known := slices.ContainsFunc(site.Field, func(f plan.FieldReading) bool {
		return f.Kind == "drop" && math.Abs(f.Value-pool.Value) < 5e-4
	})
	if !ok || known {
		return
	}
	sigma := pool.Sigma
	if sigma == 0 {
		sigma = poolSigmaM
	}
	above, spread, how := outletAbove(site, readings)
	sigma = math.Hypot(sigma, spread)
	a.Edits = append(a.Edits, plan.SiteEdit{Key: "field", Append: true, Value: fmt.Sprintf(
		"{drop: \"%.3f m\", from: %s, to: %s, by: level, sigma: \"%.3f m\", above_water: \"%.3f m\"}", pool.Value, place(l.Intake.Place), place(l.Pump.Place), sigma, above)})
	a.Says = append(a.Says, fmt.Sprintf("drop from the intake pool to the waste valve outlet %s, which stands %s above the creek (%s)",
		quantity.FormatMeasure(site.Units, quantity.Length, quantity.Measure{Value: pool.Value, Sigma: sigma}), quantity.Format(site.Units, quantity.Length, above), how))
}

// lift makes the tank's height above the outlet a lift from the creek: the
// levelled one, else that of the gauge at rest where it is not far worse than
// what the plan knows.
func (a *Accepted) lift(site *plan.Site, l *plan.Layout, d *Diagnosis, readings []Reading) {
	if d.model.OverCrest { // neither says how high the inlet is
		return
	}
	by := "level"
	r, ok := find(readings, Rise)
	if r.Sigma == 0 {
		r.Sigma = riseSigmaM
	}
	if !ok {
		by = "gauge"
		if r, ok = find(readings, GaugeRest); !ok {
			return
		}
		if r.Sigma == 0 {
			r.Sigma = d.model.usualSigma(iGaugeRest, r.Value)
		}
		if r.Sigma > worthM*float64(l.Delivery.LiftSigmaM) {
			return
		}
	}
	if slices.ContainsFunc(site.Field, func(f plan.FieldReading) bool { return f.Kind == "lift" && math.Abs(f.Value-r.Value) < 5e-4 }) {
		return
	}
	above, spread, how := outletAbove(site, readings)
	sigma := math.Hypot(r.Sigma, spread)
	a.Edits = append(a.Edits, plan.SiteEdit{Key: "field", Append: true, Value: fmt.Sprintf(
		"{lift: \"%.3f m\", from: %s, by: %s, sigma: \"%.3f m\", above_water: \"%.3f m\"}", r.Value, place(l.Pump.Place), by, sigma, above)})
	a.Says = append(a.Says, fmt.Sprintf("lift from the waste valve outlet, %s above the creek (%s), to the tank inlet %s",
		quantity.Format(site.Units, quantity.Length, above), how, quantity.FormatMeasure(site.Units, quantity.Length, quantity.Measure{Value: r.Value, Sigma: sigma})))
}

// worthM is how many times as uncertain as the plan's lift a gauge may be to
// be worth keeping: at twice it still narrows the lift by a tenth.
const worthM = 2

// outletAbove is how high the waste valve outlet stands above the creek's
// water, how well that is known, and from where.
func outletAbove(site *plan.Site, readings []Reading) (aboveM, sigmaM float64, how string) {
	r, ok := find(readings, OutletAbove)
	switch {
	case !ok:
		return site.Limits.PumpAboveCreekM, usualOutletSigmaM, "as planned"
	case r.Sigma > 0:
		return r.Value, r.Sigma, "measured"
	}
	return r.Value, outletSigma, "measured"
}

// place is a place as the site file takes it.
func place(p plan.Place) string {
	return fmt.Sprintf("\"%.7f,%.7f\"", float64(p.Lat), float64(p.Lon))
}

// pins keeps what was built where it is.
func (a *Accepted) pins(site *plan.Site, l *plan.Layout) {
	if site.Pins != (plan.Pins{}) {
		return
	}
	pin := func(key string, p plan.Place) {
		a.Edits = append(a.Edits, plan.SiteEdit{Key: "pins." + key, Value: place(p)})
	}
	none := func(key string) { a.Edits = append(a.Edits, plan.SiteEdit{Key: "pins." + key, Value: "none"}) }
	pin("pump", l.Pump.Place)
	if l.Standpipe != nil {
		pin("standpipe", l.Standpipe.Place)
	} else {
		none("standpipe")
	}
	if l.SettlingBox != nil {
		pin("settling_box", l.SettlingBox.Place)
	} else {
		none("settling_box")
	}
	pin("intake", l.Intake.Place)
	a.Says = append(a.Says, "what was built is pinned where it is: intake, pump and what stands between them")
}

// Save writes what was learned into the site file, whole or not at all, with
// its comments kept.
func (a *Accepted) Save(file string) (changed bool, err error) {
	if file == "" || file == "-" {
		return false, errors.New("commission: there is no site file to write to")
	}
	return plan.SaveSite(file, a.Edits)
}
