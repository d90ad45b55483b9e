package plan

import (
	"route/internal/finding"
	"route/internal/optimize"
	"route/internal/quantity"
)

// reasons are the sentences behind the codes of the search: {0} is the value
// of the nearest miss, {1} the limit.
var reasons = map[string]string{
	optimize.NotBest:             "a layout works here, but others are better",
	optimize.PinnedElsewhere:     "the pump is given another place",
	optimize.TooLittleHead:       "too little drive head: {0}, {1} is wanted",
	optimize.DrivePipeTooLong:    "the drive pipe would be too long: {0}, the limit is {1}",
	optimize.DrivePipeTooShort:   "no straight drive pipe of {1} or more leads here from a place where one could begin",
	optimize.DriveGround:         "a straight drive pipe would lie {0} below or above the ground, the limit is {1}",
	optimize.StandpipeTooHigh:    "the standpipe would be too high: water {0} above its foot, the limit is {1}",
	optimize.SupplySummit:        "the supply pipe would have a summit {0} above its grade line",
	optimize.SupplyTooLong:       "the supply pipe would be too long: {0}, the limit is {1}",
	optimize.TooLittleWater:      "too little water reaches the tank: {0}, {1} is wanted",
	optimize.NotSureEnough:       "a layout works here as planned, but with the certainty that is asked for only {0} of {1} reach the tank",
	optimize.NoDeliveryWay:       "no way over the ground to the tank within the greatest length",
	optimize.Land:                "not on land that may be used, or under something that stands across the creek",
	optimize.LiftRatioTooHigh:    "the lift is {0} the drive head, the limit is {1}",
	optimize.LiftTooLow:          "the tank is no higher than the source: no pump is needed",
	optimize.LiftTooHigh:         "the lift is beyond what a beat of this pump can reach",
	optimize.DriveHeadTooHigh:    "the drive head is too high: {0}, the limit is {1}",
	optimize.SurgeAboveRating:    "the beat's pressure would be {0}, above the drive pipe's rating of {1}",
	optimize.DeliveryAboveRating: "the pressure in the delivery pipe would be {0}, above its rating of {1}",
	optimize.PumpTooSmall:        "the pumps are too small or too large for the flow",
	optimize.DriveRises:          "the drive pipe would rise: its lower end stands {0} above its upper end",
	optimize.DriveOffLand:        "the drive pipe would cross land that may not be used",
	optimize.SupplyOffLand:       "the supply pipe would cross land that may not be used",
	optimize.SupplyTooFlat:       "the supply pipe falls too little there: {0}, the limit is {1}",
	optimize.BoxTooNear:          "the settling box is too near to the intake: {0}, {1} is wanted",
	optimize.BoxTooLow:           "the water in the settling box would stand {0} below the creek",
	optimize.StandpipeTooLow:     "the water in the standpipe would stand too low: {0} above its foot, {1} is wanted",
	OutOfOrder:                   "water would have to run uphill: downstream come intake, settling box, standpipe, pump",
	optimize.OverBudget:          "a layout works here, but it is dearer than others",
}

// reason words a code.
func (j *job) reason(code string, value, limit quantity.Value) string {
	template, ok := reasons[code]
	if !ok {
		return code
	}
	return quantity.Text(j.site.Units, template, value, limit)
}

// explain says what each reach of the creek could do, and why no layout stands
// elsewhere.
func (j *job) explain() {
	for _, r := range j.result.Reaches {
		reach := Reach{FromM: Number(r.FromM), ToM: Number(r.ToM), DriveHeadM: Number(r.HeadM), DeliveredLDay: Number(r.Water * litresPerDay), Reason: r.Reason}
		if r.Candidate >= 0 {
			reach.Layout = j.layoutOf[r.Candidate]
		}
		if r.Reason != "" {
			reach.Text = j.reason(r.Reason, r.Value, r.Limit)
		}
		j.plan.Reaches = append(j.plan.Reaches, reach)
	}
	for _, r := range j.result.Rejected {
		nearest := Nearest{StationM: Number(r.StationM), Value: Number(r.Value.SI), Limit: Number(r.Limit.SI), Unit: siUnit(r.Value.Dim)}
		if r.Reason == optimize.Land || r.Reason == optimize.NoDeliveryWay {
			nearest.Value, nearest.Limit, nearest.Unit = Unknown, Unknown, ""
		}
		if r.Reason == optimize.DrivePipeTooShort { // there is none to measure
			nearest.Value = Unknown
		}
		j.plan.Rejected = append(j.plan.Rejected, Rejected{Reason: r.Reason, Count: r.Count, Text: j.reason(r.Reason, r.Value, r.Limit), Nearest: nearest})
	}
	j.tell(j.result.Findings...)
	if len(j.plan.Layouts) == 0 && len(j.result.Findings) == 0 && len(j.pins) == 0 {
		j.tell(finding.New(finding.Error, "no_feasible_layout", "no layout keeps all limits", "the reasons are listed by place"))
	}
}

// siUnit names the SI unit of a nearest miss.
func siUnit(d quantity.Dimension) string {
	switch d {
	case quantity.Flow, quantity.DailyVolume:
		return "m3/s"
	case quantity.Ratio, quantity.Multiple:
		return "1"
	case quantity.Pressure:
		return "Pa"
	default:
		return "m"
	}
}
