package plan

import (
	"fmt"
	"math"

	"route/internal/catalog"
)

// LabourLine is one kind of work with the hours that it takes one person.
type LabourLine struct {
	Task     string `json:"task"`
	Quantity Number `json:"quantity"`
	Unit     string `json:"unit"` // m, m3 or each
	PerUnit  Number `json:"hours_per_unit"`
	Hours    Number `json:"hours"`
	Source   string `json:"source"` // of the hours for a unit
}

// Hours of one person for a unit of work, by hand, where things are carried in
// on foot. They are common practice without a source; only digging is from
// handbooks of hand labour (0.5 to 0.7 m³ an hour in ordinary ground, with
// filling in; from memory).
const (
	hoursSetOutStake = 0.1
	hoursIntake      = 6.0
	hoursBox         = 6.0
	hoursStandpipe   = 4.0
	hoursSupplyM     = 0.12 // in the bed, weighted down
	hoursDriveM      = 0.25
	hoursSupport     = 0.5
	hoursPump        = 8.0  // base, setting, bolting
	hoursDeliveryM   = 0.05 // rolled out and pegged on easy ground
	hoursTrenchM3    = 1.7
	hoursFitting     = 0.15
	hoursCrossing    = 6.0
	hoursTank        = 3.0 // connections; the tank itself is not counted
	hoursStart       = 4.0
)

const noSource = "common practice, no source"

// labour lists the hours of work of the layout by what is laid and counted.
func (g *grader) labour(q *catalog.Layout) {
	var lines []LabourLine
	add := func(task string, quantity float64, unit string, each float64, source string) {
		if quantity > 0 {
			lines = append(lines, LabourLine{Task: task, Quantity: Number(quantity), Unit: unit, PerUnit: Number(each), Hours: Number(quantity * each), Source: source})
		}
	}
	add("intake with its screen", 1, "each", hoursIntake, noSource)
	add("supply pipe, in the bed", q.SupplyM, "m", hoursSupplyM, noSource)
	if q.SettlingBox {
		add("settling box", 1, "each", hoursBox, noSource)
	}
	if q.StandpipeM > 0 {
		add("standpipe", 1, "each", hoursStandpipe, noSource)
	}
	add("drive pipe, jointed and aligned", q.DriveM*float64(q.Pumps), "m", hoursDriveM, noSource)
	add("supports and anchors", float64(catalog.Anchors(q.DriveM)*q.Pumps), "each", hoursSupport, noSource)
	add("pump on its base", float64(q.Pumps), "each", hoursPump, noSource)
	easy, volume := 0.0, 0.0
	for _, run := range q.DeliveryLaid {
		factor := run.Factor
		if factor == 0 {
			factor = 1
		}
		easy += run.LengthM * factor
		volume += run.LengthM * factor * q.TrenchDepthM * q.TrenchWidthM
	}
	if len(q.DeliveryLaid) == 0 {
		easy = q.DeliveryM
	}
	add("delivery pipe, as so much on easy ground", easy, "m", hoursDeliveryM, noSource)
	add("trench, as so much in easy ground", volume, "m3", hoursTrenchM3, "hand labour in ordinary ground, from memory")
	crossings := 0
	for _, c := range q.DeliveryCrossed {
		crossings += c.Count
	}
	add("crossings", float64(crossings), "each", hoursCrossing, noSource)
	add("elbows, tees, vents and drains", float64(q.SupplyBends+q.DeliveryBends+2*(q.HighPoints+q.LowPoints)), "each", hoursFitting, noSource)
	add("connections at the tank", 1, "each", hoursTank, noSource)
	add("setting out, by stake", float64(len(g.l.Stakes)), "each", hoursSetOutStake, noSource)
	add("starting and checking", 1, "each", hoursStart, noSource)
	g.l.Labour, g.l.LabourHours = lines, 0
	for _, line := range lines {
		g.l.LabourHours += line.Hours
	}
}

// LabourText says how many hours of one person the layout takes, to five hours.
func (l *Layout) LabourText() string {
	if !(l.LabourHours > 0) {
		return ""
	}
	return fmt.Sprintf("about %.0f hours of one person", 5*math.Ceil(float64(l.LabourHours)/5))
}
