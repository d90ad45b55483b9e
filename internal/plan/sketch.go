package plan

import (
	"errors"

	"route/internal/optimize"
)

// Sketch is a layout in short: what would be built, and what it gives.
type Sketch struct {
	Layout           string  `json:"layout"` // ID of the layout that it is; "" when it is none of them
	IntakeStationM   Number  `json:"intake_station_m"`
	BoxStationM      Number  `json:"settling_box_station_m"` // null: none
	StandpipeStation Number  `json:"standpipe_station_m"`    // null: none
	PumpStationM     Number  `json:"pump_station_m"`
	Pumps            int     `json:"pumps"`
	PumpModel        string  `json:"pump_model"`
	SupplyItem       string  `json:"supply_item"` // "" when the drive pipe starts at the intake
	SupplyLengthM    Number  `json:"supply_length_m"`
	DriveItem        string  `json:"drive_item"`
	DriveLengthM     Number  `json:"drive_length_m"`
	DeliveryItem     string  `json:"delivery_item"`
	DeliveryLengthM  Number  `json:"delivery_length_m"`
	DriveHeadM       Number  `json:"drive_head_m"`
	DeliveredLDay    Number  `json:"delivered_l_day"`
	DeliveredLow     Number  `json:"delivered_l_day_low"`
	DeliveredHigh    Number  `json:"delivered_l_day_high"`
	ChanceWorks      Number  `json:"chance_works"`
	Currency         string  `json:"currency"`
	Cost             Decimal `json:"cost"`
}

// sketchOf shortens a layout.
func (j *job) sketchOf(l *Layout) Sketch {
	s := Sketch{
		IntakeStationM: l.Intake.StationM, BoxStationM: Unknown, StandpipeStation: Unknown, PumpStationM: l.Pump.StationM,
		Pumps: l.Pump.Count, PumpModel: l.Pump.Model, SupplyLengthM: Unknown,
		DriveItem: l.Drive.Item, DriveLengthM: l.Drive.LengthM, DeliveryItem: l.Delivery.Item, DeliveryLengthM: l.Delivery.LengthM,
		DriveHeadM: l.DriveHeadM, DeliveredLDay: l.DeliveredLDay, DeliveredLow: l.DeliveredLDayLow, DeliveredHigh: l.DeliveredLDayHigh,
		ChanceWorks: l.ChanceWorks, Currency: l.Cost.Currency, Cost: l.Cost.Total,
	}
	if l.SettlingBox != nil {
		s.BoxStationM = l.SettlingBox.StationM
	}
	if l.Standpipe != nil {
		s.StandpipeStation = l.Standpipe.StationM
	}
	if l.Supply != nil {
		s.SupplyItem, s.SupplyLengthM = l.Supply.Item, l.Supply.LengthM
	}
	for k := range j.plan.Layouts {
		if o := &j.plan.Layouts[k]; sameBuild(o, l) {
			s.Layout = o.ID
		}
	}
	return s
}

// sameBuild says whether two layouts are the same thing built.
func sameBuild(a, b *Layout) bool {
	station := func(l *Layout) (box, stand Number) {
		if l.SettlingBox != nil {
			box = l.SettlingBox.StationM
		}
		if l.Standpipe != nil {
			stand = l.Standpipe.StationM
		}
		return box, stand
	}
	supply := func(l *Layout) string {
		if l.Supply == nil {
			return ""
		}
		return l.Supply.Item
	}
	aBox, aStand := station(a)
	bBox, bStand := station(b)
	return a.Intake.StationM == b.Intake.StationM && a.Pump.StationM == b.Pump.StationM && aBox == bBox && aStand == bStand &&
		a.Pump.Count == b.Pump.Count && a.Pump.Model == b.Pump.Model && supply(a) == supply(b) && a.Drive.Item == b.Drive.Item && a.Delivery.Item == b.Delivery.Item &&
		a.DriveFlowLMin == b.DriveFlowLMin
}

// inBrief grades a candidate without what only a plan to be built needs; nil
// when it does not hold with its delivery line straightened. Its stations are
// those of the whole profile.
func (j *job) inBrief(c *optimize.Candidate) (*Layout, error) {
	g := grader{job: j, c: c, brief: true}
	err := g.grade(0)
	var withdrawn *withdrawnError
	if errors.As(err, &withdrawn) {
		return nil, nil
	}
	return &g.l, err
}

// onWholeProfile turns the stations of a candidate of the search into those of
// the whole profile.
func (j *job) onWholeProfile(c *optimize.Candidate) {
	for _, at := range []*int{&c.Intake, &c.Pump, &c.Box, &c.Standpipe, &c.DriveFrom} {
		if *at >= 0 {
			*at = j.places[*at]
		}
	}
	c.OnStations(j.places)
}
