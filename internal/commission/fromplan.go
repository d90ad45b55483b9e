package commission

import (
	"fmt"
	"math"

	"route/internal/hydraulics"
	"route/internal/plan"
	"route/internal/quantity"
)

// FromPlan makes the model of a layout of a plan. The site is that of the
// plan. An error says that the plan lacks what the model needs.
func FromPlan(site *plan.Site, p *plan.Plan, l *plan.Layout) (Model, error) {
	outlet := float64(l.Pump.OutletM)
	altitude := site.AltitudeM
	if math.IsNaN(altitude) {
		altitude = outlet
	}
	water, err := hydraulics.Water(site.TemperatureK, altitude)
	if err != nil {
		return Model{}, err
	}
	pipe := func(run *plan.PipeRun) (hydraulics.Pipe, error) {
		item, ok := p.Prices.Item(run.Item)
		if !ok || item.Pipe == nil {
			return hydraulics.Pipe{}, fmt.Errorf("commission: the price list has no pipe %q", run.Item)
		}
		return item.Pipe.Pipe, nil
	}
	m := Model{
		Fluid: water, BoxM: math.NaN(), RimM: math.NaN(), Pumps: l.Pump.Count,
		Source:  quantity.Measure{Value: float64(l.Intake.WaterM) - outlet, Sigma: known(l.DriveHeadSigmaM)},
		Lift:    quantity.Measure{Value: float64(l.Delivery.LiftM), Sigma: known(l.Delivery.LiftSigmaM)},
		IntakeK: site.Limits.IntakeLossK, BoxK: 0.5, // flush with a wall: Crane TP 410, A-29 (from memory)
		MouthM:          math.Max(0.05, known(l.Intake.SubmergenceM)),
		ClosingVelocity: float64(l.ClosingVelocityMS),
		HighAt:          highPlaces(l),
		OverCrest:       l.Delivery.CrestM > l.Tank.InletM,
	}
	drive, err := pipe(&l.Drive.PipeRun)
	if err != nil {
		return m, err
	}
	m.Drive = hydraulics.Run{Pipe: drive, LengthM: float64(l.Drive.LengthM)}
	m.Ram = hydraulics.DefaultRam(drive.Inside)
	if item, ok := p.PumpItem(l.Pump.Model); ok {
		m.Ram = *item.Ram
		m.Calibrated = site.PumpMeasured.Model == item.ID
	}
	delivery, err := pipe(&l.Delivery.PipeRun)
	if err != nil {
		return m, err
	}
	m.Delivery = hydraulics.Run{Pipe: delivery, LengthM: float64(l.Delivery.LengthM)}
	if box := l.SettlingBox; box != nil {
		m.BoxM = float64(box.WaterM) - outlet
	}
	if l.Supply != nil {
		if m.SupplyPipe, err = pipe(&l.Supply.PipeRun); err != nil {
			return m, err
		}
		m.UpperM = float64(l.Supply.LengthM)
		if box := l.SettlingBox; box != nil {
			m.UpperM = math.Min(m.UpperM, float64(box.AlongM))
			m.LowerM = float64(l.Supply.LengthM) - m.UpperM
		}
	}
	if s := l.Standpipe; s != nil {
		m.RimM = float64(s.GroundM) + float64(s.HeightM) - outlet
	}
	return m, nil
}

// known is a number, 0 where it is unknown.
func known(n plan.Number) float64 {
	if math.IsNaN(float64(n)) {
		return 0
	}
	return float64(n)
}

// highPlaces are those of the delivery pipe with the fall behind each of them
// to the lowest place before the pipe is as high again.
func highPlaces(l *plan.Layout) []HighPlace {
	path := l.Delivery.Path
	var list []HighPlace
	for k, along := range l.Delivery.Vents {
		h := HighPlace{AlongM: float64(along), Name: fmt.Sprintf("VENT%d", k+1)}
		top := math.NaN()
		for _, v := range path {
			switch {
			case v.AlongM < along-1e-6:
				continue
			case math.IsNaN(top):
				top = float64(v.InvertM)
			case float64(v.InvertM) > top:
				top = math.Inf(-1) // nothing beyond counts
			}
			h.SagM = math.Max(h.SagM, top-float64(v.InvertM))
		}
		list = append(list, h)
	}
	return list
}
