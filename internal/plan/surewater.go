package plan

import (
	"fmt"
	"math"

	"route/internal/finding"
	"route/internal/optimize"
	"route/internal/quantity"
)

// This file asks the search for layouts that are sure enough, and holds what it
// finds against the draws. The search knows the error of the drive head alone,
// by a closed form; the draws vary the creek, the friction, the lengths and the
// pump as well.

// usualCertainty is that of the most sure water where the site gives none.
const usualCertainty = 0.9

// askForCertainty tells the search how sure the water has to be, and how well
// the drive heads are known.
func (j *job) askForCertainty(p *optimize.Problem) {
	j.plan.Certainty = Unknown
	p.Certainty = j.site.Certainty
	if p.Certainty == 0 && p.Objective == optimize.MostSureWater {
		p.Certainty = usualCertainty
	}
	if p.Certainty > 0 {
		j.plan.Certainty = Number(p.Certainty)
		p.HeadSigma = j.certain.DropSigmas(p.Creek.Points)
	}
}

// writeSure puts down what a layout gives with the certainty that is asked for:
// by the search, and by the draws.
func (g *grader) writeSure(b *band) {
	l := &g.l
	l.DriveHeadSureM, l.DeliveredLDaySure, l.DeliveredLDayDrawn = Unknown, Unknown, Unknown
	if g.problem.Certainty > 0 {
		l.DriveHeadSureM, l.DeliveredLDaySure = Number(g.c.SureHeadM), Number(g.c.SureWater*litresPerDay)
		l.DeliveredLDayDrawn = Number(b.sure * litresPerDay)
	}
}

// tellSure says where the first layout is less sure than was asked for.
func (j *job) tellSure() {
	if !j.plan.Certainty.Known() || len(j.plan.Layouts) == 0 {
		return
	}
	l, asked := &j.plan.Layouts[0], j.plan.Certainty
	const hint = "a measured drop, the creek's flow from several readings, a demand_margin that is larger, or a pump that was tried out make it surer"
	switch j.problem.Objective {
	case optimize.LeastCost:
		if chance := l.ChanceWorks; chance.Known() && chance < asked {
			j.tell(finding.New(finding.Warning, "less_sure_than_asked",
				fmt.Sprintf("%s were asked for, and as far as the heights of the terrain go layout %s delivers the water wanted with that certainty; with the creek's flow, the friction, the level in the standpipe and the pump uncertain as well it works as asked in %s of the cases drawn", percent(asked), l.ID, percent(chance)), hint))
		}
	case optimize.MostSureWater:
		if l.DeliveredLDayDrawn < l.DeliveredLDaySure {
			j.tell(finding.New(finding.Note, "less_sure_than_asked",
				fmt.Sprintf("as far as the heights of the terrain go, layout %s delivers {0} or more with a certainty of %s; with the creek's flow, the friction and the pump uncertain as well that falls to {1}", l.ID, percent(asked)), hint,
				quantity.Of(quantity.DailyVolume, float64(l.DeliveredLDaySure)/litresPerDay), quantity.Of(quantity.DailyVolume, float64(l.DeliveredLDayDrawn)/litresPerDay)))
		}
	}
}

// surely is the delivered flow that a share of the sorted draws reach.
func surely(delivered []float64, certainty float64) float64 {
	missed := int(math.Floor((1 - certainty) * float64(len(delivered)) * (1 + 1e-9)))
	return delivered[min(missed, len(delivered)-1)]
}
