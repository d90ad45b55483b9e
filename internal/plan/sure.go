package plan

import (
	"fmt"
	"math"

	"route/internal/finding"
	"route/internal/quantity"
)

// This file words how sure a layout is.

// Sure is one test that a layout has to pass, and the chance that it does.
type Sure struct {
	What   string
	Chance Number
}

// Sureties lists the tests of a layout by themselves.
func (l *Layout) Sureties() []Sure {
	c := l.Chances
	return []Sure{
		{"drive head is enough", c.DriveHead},
		{"standpipe holds the level", c.Standpipe},
		{"creek gives the flow", c.Flow},
		{"pump runs", c.Pump},
		{"demand is met", c.Demand},
	}
}

// percent prints a chance in whole per cent: the draws support no more.
func percent(chance Number) string { return fmt.Sprintf("%.0f %%", 100*float64(chance)) }

// Text is the chance in whole per cent, – where there is no such test.
func (s Sure) Text() string {
	if !s.Chance.Known() {
		return "–"
	}
	return percent(s.Chance)
}

// HeadToCountOn is the drive head less what the search claims too much, in
// metres; the drive head itself where that is not known.
func (l *Layout) HeadToCountOn() Number {
	if l.DriveHeadCorrectedM.Known() {
		return l.DriveHeadCorrectedM
	}
	return l.DriveHeadM
}

// WaterToCountOn is the delivered flow corrected likewise, litres a day.
func (l *Layout) WaterToCountOn() Number {
	if l.DeliveredLDayCorrected.Known() {
		return l.DeliveredLDayCorrected
	}
	return l.DeliveredLDay
}

// tellLuck says what the search claims too much of the best layout.
func (j *job) tellLuck() {
	if len(j.plan.Layouts) == 0 || !j.plan.Layouts[0].DriveHeadCorrectedM.Known() {
		return
	}
	l := &j.plan.Layouts[0]
	head, water := float64(l.DriveHeadM-l.DriveHeadCorrectedM), float64(l.DeliveredLDay-l.DeliveredLDayCorrected)
	if head <= 0 && water <= 0 {
		j.tell(finding.New(finding.Note, "luck_of_the_search", fmt.Sprintf("planned again %.0f times on terrain that errs as much again, a layout like %s claimed no more than it had: what it says can be counted on as it stands", float64(j.plan.Replans), l.ID), ""))
		return
	}
	j.tell(finding.New(finding.Note, "luck_of_the_search",
		fmt.Sprintf("of many places the search takes the best, and that is often one that the terrain's error makes look better than it is. Planned again %.0f times on terrain that errs as much again, a layout like %s claimed {0} of drive head and {1} more than it had; that is taken off what to count on", float64(j.plan.Replans), l.ID),
		"chances and ranges hold for what to count on; a drop that is measured on site leaves less to luck",
		quantity.Metres(math.Max(0, head)), quantity.Of(quantity.DailyVolume, math.Max(0, water)/litresPerDay)))
}
