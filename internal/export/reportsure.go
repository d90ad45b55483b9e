package export

import (
	"math"

	"route/internal/plan"
	"route/internal/quantity"
)

// sureness is what the report says about how sure a layout is.
type sureness struct {
	Rows    [][4]string // what, by the terrain, to count on, in 8 of 10 cases
	Luck    string      // why the two differ
	Asked   string      // what is reached with the certainty asked for
	Chances [][2]string
}

// inEightOfTen is half the width of the range that holds 8 of 10 cases of a
// normal error, in standard deviations.
const inEightOfTen = 1.2816

// theSame stands for what the search has no luck with.
const theSame = "the same"

func sure(p *plan.Plan, l *plan.Layout, w words) sureness {
	around := func(v, sigma plan.Number) string {
		if !v.Known() || !sigma.Known() {
			return "–"
		}
		return span(w.length(v-inEightOfTen*sigma), w.length(v+inEightOfTen*sigma))
	}
	same := func(what string, v, sigma plan.Number) [4]string {
		return [4]string{what, w.measure(v, sigma), theSame, around(v, sigma)}
	}
	s := sureness{Rows: [][4]string{
		{"Water a day", w.perDay(l.DeliveredLDay), w.perDay(l.WaterToCountOn()), w.dayRange(l.DeliveredLDayLow, l.DeliveredLDayHigh)},
		{"Drive head", w.measure(l.DriveHeadM, l.DriveHeadSigmaM), w.length(l.HeadToCountOn()), around(l.HeadToCountOn(), l.DriveHeadSigmaM)},
		same("Lift to the tank inlet", l.Delivery.LiftM, l.Delivery.LiftSigmaM),
	}}
	if l.Supply != nil {
		s.Rows = append(s.Rows, same("Length of the supply pipe", l.Supply.LengthM, l.Supply.LengthSigmaM))
	}
	s.Rows = append(s.Rows, same("Length of the drive pipe", l.Drive.LengthM, l.Drive.LengthSigmaM),
		same("Length of the delivery pipe", l.Delivery.LengthM, l.Delivery.LengthSigmaM))
	if l.Cost.Low.Known() {
		s.Rows = append(s.Rows, [4]string{"Materials", total(l.Cost), theSame, plain(l.Cost.Low, 0) + " to " + plain(l.Cost.High, 0)})
	}
	s.Luck, s.Asked = luckText(p, l, w), askedText(p, l, w)
	for _, t := range l.Sureties() {
		s.Chances = append(s.Chances, [2]string{sentenceStart(t.What), t.Text()})
	}
	s.Chances = append(s.Chances, [2]string{"All that was asked for together", w.share(l.ChanceWorks)})
	return s
}

// luckText says why what to count on is less than what the terrain says.
func luckText(p *plan.Plan, l *plan.Layout, w words) string {
	if !p.Replans.Known() || !l.DriveHeadCorrectedM.Known() {
		return ""
	}
	head := plan.Number(math.Max(0, float64(l.DriveHeadM-l.DriveHeadCorrectedM)))
	water := plan.Number(math.Max(0, float64(l.DeliveredLDay-l.DeliveredLDayCorrected)))
	again := "Of many places the search takes the best, and that is often one that the error of the terrain makes look better than it is. The plan was made again " +
		plain(p.Replans, 0) + " times on terrain that errs as much again; a layout like " + l.ID + " claimed "
	if head == 0 && water == 0 {
		return again + "no more than it had, on average, so that nothing is taken off."
	}
	return again + w.length(head) + " of drive head and " +
		quantity.Format(w.system, quantity.DailyVolume, float64(water)/86400/1000) + " more than it had, on average. That is taken off what to count on, and the chances and ranges hold for what is left."
}

// askedText says what is reached with the certainty that was asked for.
func askedText(p *plan.Plan, l *plan.Layout, w words) string {
	if !p.Certainty.Known() || !l.DeliveredLDaySure.Known() {
		return ""
	}
	text := "A certainty of " + w.share(p.Certainty) + " was asked for. As far as the heights of the terrain go, "
	if l.DeliveredLDaySure == 0 {
		return text + "the pump does not run with it."
	}
	return text + "the drive head is " + w.length(l.DriveHeadSureM) + " or more with it, and " + w.perDay(l.DeliveredLDaySure) +
		" or more reach the tank; with the creek, the friction and the pump uncertain as well, " + w.perDay(l.DeliveredLDayDrawn) + " or more."
}

// sentenceStart gives a text a capital.
func sentenceStart(s string) string {
	full := sentence(s)
	return full[:len(full)-1]
}
