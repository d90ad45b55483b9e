package export

import (
	"fmt"

	"route/internal/plan"
)

// ahead is what the report says about more water: what it costs, and what to
// buy next.
type ahead struct {
	Front  [][]string // demand, gives, chance, intake, pump, pumps, cost, layout
	Next   [][]string // what, more water, more head, cost
	Idle   []string   // steps that bring no water
	Stages [][]string // when and what, cost, water a day
}

func aheadOf(p *plan.Plan, w words) ahead {
	var a ahead
	if len(p.Front) > 1 {
		for _, f := range p.Front {
			a.Front = append(a.Front, []string{w.perDay(f.DemandLDay), w.perDay(f.DeliveredLDay), w.share(f.ChanceWorks), w.length(f.IntakeStationM), w.length(f.PumpStationM), fmt.Sprintf("%d × %s", f.Pumps, f.PumpModel), priced(f.Currency, f.Cost), f.Layout})
		}
	}
	for _, n := range p.Next {
		if !(n.AddedLDay > 0) {
			a.Idle = append(a.Idle, n.Text)
			continue
		}
		text := sentenceStart(n.Text)
		if n.BeyondLimit {
			text += " (beyond a limit of this site)"
		}
		a.Next = append(a.Next, []string{text, signed(n.AddedLDay, w.perDay(n.AddedLDay)), signed(n.AddedHeadM, w.length(n.AddedHeadM)), priced(n.Currency, n.AddedCost)})
	}
	for _, s := range p.Stages {
		a.Stages = append(a.Stages, []string{sentenceStart(s.Text), priced(s.Currency, s.Buy), w.perDay(s.DeliveredLDay)})
	}
	return a
}

func priced(currency string, amount plan.Decimal) string { return currency + " " + string(amount) }

// signed puts a plus before what is more.
func signed(v plan.Number, text string) string {
	if v > 0 {
		return "+" + text
	}
	return text
}
