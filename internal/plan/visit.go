package plan

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"route/internal/catalog"
	"route/internal/finding"
	"route/internal/optimize"
	"route/internal/quantity"
)

// This file says which drop is worth measuring on site before anything is
// bought. A reading is worth what it lets one choose better: the expected
// value of sample information of one reading, which for utilities that are
// linear in what is read is a sum over the upper envelope of straight lines
// (Frazier, Powell & Dayanik 2009, INFORMS J. Computing 21, 599–613, eq. 11 to
// 14). One reading at a time is looked at; after it, plan again.

// method is one way to measure a drop, and the work that it takes. Reaches,
// steps and hours are common practice, no source.
type method struct {
	by     string
	verb   string
	reachM float64 // between the two ends of a set-up, along the creek
	stepM  float64 // fall that a set-up can span
	startH float64 // to unpack, and to get going
	setUpH float64 // of work a set-up, two people
}

// methods that a crew has at hand. A pressure gauge is not among them: it
// needs a filled pipe from end to end.
var methods = []method{
	{by: "hose", verb: "hose-level", reachM: 20, stepM: 1.5, startH: 0.25, setUpH: 0.15},
	{by: "hand_level", verb: "hand-level", reachM: handLevelReachM, stepM: 1.2, startH: 0.25, setUpH: 0.1},
	{by: "level", verb: "level", reachM: levelReachM, stepM: 2, startH: 0.5, setUpH: 0.15},
}

// setUps is how often the instrument is set up for a drop.
func (m method) setUps(alongM, dropM float64) int {
	return int(math.Max(1, math.Max(math.Ceil(alongM/m.reachM), math.Ceil(math.Abs(dropM)/m.stepM))))
}

// hours of work for a number of set-ups.
func (m method) hours(setUps int) float64 { return m.startH + m.setUpH*float64(setUps) }

// prospect is a layout as a choice: what it is worth, and how that hangs on the
// fall from its intake to its pump.
type prospect struct {
	layout       string
	intake, pump int // stations of the creek
	foot         int // head of the drive pipe
	places       []visitStop
	mean         float64 // expected worth
	slope        float64 // worth a metre of drive head
	luck         luck    // what the search claims too much of it
	lone         *lone   // as the only choice
}

// tooMuch is what the search claims too much of the drop between two places of
// this layout; ok is false where they are not its.
func (p *prospect) tooMuch(from, to int) (m float64, ok bool) {
	switch {
	case from == p.intake && to == p.pump:
		return p.luck.headM, true
	case from == p.intake && to == p.foot:
		return p.luck.aboveFootM, true
	case from == p.foot && to == p.pump:
		return p.luck.headM - p.luck.aboveFootM, true
	}
	return 0, false
}

// expectedDrop is the drop between two stations less what the search claims
// too much of it where they are places of one layout: no reading will show
// that.
func (j *job) expectedDrop(from, to int) (quantity.Measure, error) {
	drop, err := j.certain.Drop(j.creek.Stations[from], j.creek.Stations[to])
	if err != nil {
		return drop, err
	}
	for _, p := range j.prospects {
		tooMuch, ok := p.tooMuch(from, to)
		if ok {
			drop.Value -= tooMuch
			break
		}
	}
	return drop, nil
}

// visitStop is a place of a layout along the creek.
type visitStop struct {
	role    string
	station int
}

// worth is what one draw of a layout is worth under an objective, and in which
// unit. With a demand the worth is money: what is bought and does not do what
// was asked has to be bought again, so that a failure costs the materials
// twice.
func worth(o optimize.Objective, currency string) (func(flow, headM, cost float64, works bool) float64, string) {
	switch o {
	case optimize.LeastCost:
		return func(_, _, cost float64, works bool) float64 {
			if works {
				return -cost
			}
			return -2 * cost
		}, currency
	case optimize.MostHead:
		return func(flow, headM, _ float64, _ bool) float64 {
			if flow > 0 {
				return headM
			}
			return 0
		}, "m"
	default:
		return func(flow, _, _ float64, _ bool) float64 { return flow * litresPerDay }, "L/day"
	}
}

// envelope is the upper envelope of the lines means[j] + slopes[j]·z: the
// lines that are highest somewhere, from low z to high z, and the z at which
// one takes over from the one before.
func envelope(means, slopes []float64) (lines []int, breaks []float64) {
	order := make([]int, len(means))
	for j := range order {
		order[j] = j
	}
	slices.SortStableFunc(order, func(a, b int) int {
		if c := cmp.Compare(slopes[a], slopes[b]); c != 0 {
			return c
		}
		return cmp.Compare(means[b], means[a])
	})
	for _, j := range order {
		at := math.Inf(-1)
		for len(lines) > 0 {
			top := lines[len(lines)-1]
			if slopes[j] == slopes[top] { // parallel, and not higher
				at = math.Inf(1)
				break
			}
			at = (means[top] - means[j]) / (slopes[j] - slopes[top])
			if len(breaks) == 0 || at > breaks[len(breaks)-1] {
				break
			}
			lines, breaks = lines[:len(lines)-1], breaks[:len(breaks)-1]
		}
		if math.IsInf(at, 1) {
			continue
		}
		if len(lines) > 0 {
			breaks = append(breaks, at)
		}
		lines = append(lines, j)
	}
	return lines, breaks
}

// valueOfReading is E max(means + slopes·Z) − max means for a standard normal
// Z: what one reading is worth whose outcome moves the expected worths by
// slopes a standard deviation.
func valueOfReading(means, slopes []float64) float64 {
	lines, breaks := envelope(means, slopes)
	sum := 0.0
	for r, c := range breaks {
		x := -math.Abs(c)
		sum += (slopes[lines[r+1]] - slopes[lines[r]]) * (distuv.UnitNormal.Prob(x) + x*distuv.UnitNormal.CDF(x))
	}
	return sum
}

// falls knows the covariances of drops between places, from the standard
// deviations of differences in height.
type falls struct {
	variance func(a, b int) float64 // of the difference between two stations
}

// covariance of the drops from a to b and from c to d; see profile.Certainty.
func (f falls) covariance(a, b, c, d int) float64 {
	return (f.variance(a, d) + f.variance(b, c) - f.variance(a, c) - f.variance(b, d)) / 2
}

// moves is by how much a reading of the drop from one station to another, with
// a standard deviation of its own, moves the expected worth of each prospect
// for each standard deviation by which it surprises; and that deviation.
func (f falls) moves(prospects []prospect, from, to int, sigmaM float64) (slopes []float64, surpriseM float64) {
	surpriseM = math.Sqrt(f.variance(from, to) + sigmaM*sigmaM)
	slopes = make([]float64, len(prospects))
	if surpriseM == 0 {
		return slopes, 0
	}
	for j, p := range prospects {
		slopes[j] = p.slope * f.covariance(p.intake, p.pump, from, to) / surpriseM
	}
	return slopes, surpriseM
}

// visitsShown is how many readings are named; visitChance is the least chance
// that a reading changes the choice for it to be worth naming.
const (
	visitsShown = 5
	visitChance = 0.002
)

// planVisits ranks the readings by their value for each hour of work.
func (j *job) planVisits() error {
	if len(j.prospects) == 0 {
		return nil
	}
	visits, err := j.allVisits()
	if err != nil {
		return err
	}
	slices.SortStableFunc(visits, func(a, b Visit) int { return cmp.Compare(b.ValuePerHour, a.ValuePerHour) })
	pays := visits[:min(len(visits), visitsShown)]
	pays = slices.DeleteFunc(slices.Clone(pays), func(v Visit) bool { return v.Money < v.Cost })
	if len(pays) == 0 { // whether anything is built at all is always worth knowing
		if pays, err = j.loneVisits(); err != nil {
			return err
		}
	}
	for k := range pays {
		pays[k].Rank = k + 1
	}
	j.plan.Visits = append(j.plan.Visits, pays...)
	j.tellVisits(len(visits), len(pays))
	j.tellWorth()
	return nil
}

// tellVisits says why nothing is to be measured first.
func (j *job) tellVisits(telling, paying int) {
	const still = "the fall is still to be levelled before the pegs are driven"
	switch {
	case paying > 0:
	case telling > 0:
		j.tell(finding.New(finding.Note, "visits_do_not_pay", fmt.Sprintf("no reading is worth its hours at %s %s an hour", j.currency(), strconv.FormatFloat(j.hourCost(), 'f', -1, 64)), still+"; crew_hour says what an hour costs"))
	case len(j.prospects) > 1:
		j.tell(finding.New(finding.Note, "visits_decide_nothing", "no single drop is likely to change which layout is best", still))
	default:
		j.tell(finding.New(finding.Note, "visits_decide_nothing", "no single drop is likely to decide against the one layout there is", still))
	}
}

// currency of the prices.
func (j *job) currency() string { return j.plan.Layouts[0].Cost.Currency }

// hourCost is what an hour of measuring costs. Where the site does not say, it
// is the same number of the smallest coin in every currency, as the prices of
// the built-in list are.
func (j *job) hourCost() float64 {
	if j.site.Given("crew_hour") {
		return j.site.HourCost
	}
	return j.site.HourCost * math.Pow10(2-catalog.MinorDigits(j.currency()))
}

// costOfFirst is what the first layout costs, in its currency.
func (j *job) costOfFirst() float64 {
	cost, err := strconv.ParseFloat(string(j.plan.Layouts[0].Cost.Total), 64)
	if err != nil {
		return 0
	}
	return cost
}

// value fills in what a reading is worth and what it costs. Water and head are
// worth in money what they cost in the first layout.
func (j *job) value(v *Visit, value float64, unit string) {
	perUnit := 1.0
	switch first := &j.plan.Layouts[0]; unit {
	case "L/day":
		perUnit = j.costOfFirst() / float64(first.DeliveredLDay)
	case "m":
		perUnit = j.costOfFirst() / float64(first.DriveHeadM)
	}
	v.Value, v.ValueUnit, v.ValuePerHour = Number(value), unit, Number(value)/v.Hours
	v.Money, v.Cost = Number(value*perUnit), v.Hours*Number(j.hourCost())
}

// allVisits lists every reading that may decide something.
func (j *job) allVisits() ([]Visit, error) {
	if len(j.prospects) == 1 {
		return nil, nil
	}
	known := map[[2]int]float64{}
	f := falls{variance: func(a, b int) float64 {
		key := [2]int{min(a, b), max(a, b)}
		v, ok := known[key]
		if !ok {
			s := j.certain.DiffSigma(j.creek.Points[a], j.creek.Points[b])
			v = s * s
			known[key] = v
		}
		return v
	}}
	var visits []Visit
	for _, pair := range j.pairs() {
		best, err := j.bestReading(f, pair)
		if err != nil {
			return nil, err
		}
		if best != nil {
			visits = append(visits, *best)
		}
	}
	return visits, nil
}

// tellWorth says when the risk of failure puts another layout before the first.
func (j *job) tellWorth() {
	best := j.bestProspect()
	if first := j.prospects[0]; j.problem.Objective == optimize.LeastCost && first.mean < j.prospects[best].mean {
		j.tell(finding.New(finding.Note, "risk_favours_another", fmt.Sprintf("with the chance of failure weighed in, layout %s is the better buy than layout %s", j.prospects[best].layout, first.layout), "what is bought and fails is counted twice; see what to measure first"))
	}
}

// bestProspect is the choice before any reading: the first of the best.
func (j *job) bestProspect() int {
	best := 0
	for k, p := range j.prospects {
		if p.mean > j.prospects[best].mean {
			best = k
		}
	}
	return best
}

// pairs are the drops that may be measured: between two places of one layout,
// the upper first, each once.
func (j *job) pairs() [][2]int {
	var out [][2]int
	for _, p := range j.prospects {
		for a, upper := range p.places {
			for _, lower := range p.places[a+1:] {
				pair := [2]int{upper.station, lower.station}
				if pair[0] < pair[1] && !slices.Contains(out, pair) {
					out = append(out, pair)
				}
			}
		}
	}
	return out
}

// bestReading is the reading of a drop by the method that is worth most for
// its hours; nil when none is likely to decide anything.
func (j *job) bestReading(f falls, pair [2]int) (*Visit, error) {
	from, to := pair[0], pair[1]
	drop, err := j.expectedDrop(from, to)
	if err != nil {
		return nil, err
	}
	means := make([]float64, len(j.prospects))
	for k, p := range j.prospects {
		means[k] = p.mean
	}
	alongM := float64(j.creek.Stations[to] - j.creek.Stations[from])
	var best *Visit
	for _, m := range methods {
		n := m.setUps(alongM, drop.Value)
		sigma := instrumentSigma(m.by, n, alongM)
		slopes, surpriseM := f.moves(j.prospects, from, to, sigma)
		hours, value := m.hours(n), valueOfReading(means, slopes)
		if best != nil && value/hours <= float64(best.ValuePerHour) {
			continue
		}
		outcomes := j.outcomes(means, slopes, drop.Value, surpriseM)
		changes := j.chanceChanges(outcomes)
		if changes < visitChance {
			continue
		}
		best = &Visit{
			From: j.visitPlace(from), To: j.visitPlace(to),
			Instrument: m.by, SetUps: n, SigmaM: Number(sigma), Hours: Number(hours),
			DropM: Number(drop.Value), DropSigmaM: Number(drop.Sigma),
			ChanceChanges: Number(changes), Outcomes: outcomes,
		}
		j.value(best, value, j.worthUnit)
		best.Text = j.visitText(m.verb, best)
	}
	return best, nil
}

// outcomes says which layout each range of the reading decides for, from the
// least to the greatest drop.
func (j *job) outcomes(means, slopes []float64, dropM, surpriseM float64) []VisitOutcome {
	lines, breaks := envelope(means, slopes)
	var out []VisitOutcome
	below, from := 0.0, Unknown
	for r, k := range lines {
		o := VisitOutcome{FromM: from, ToM: Unknown, Layout: j.prospects[k].layout}
		upTo := 1.0
		if r < len(breaks) {
			upTo = distuv.UnitNormal.CDF(breaks[r])
			o.ToM = Number(dropM + surpriseM*breaks[r])
		}
		o.Chance = Number(upTo - below)
		below, from = upTo, o.ToM
		out = append(out, o)
	}
	return out
}

// chanceChanges is the chance that a reading leads away from what would be
// chosen without it.
func (j *job) chanceChanges(outcomes []VisitOutcome) float64 {
	sum, now := 0.0, j.prospects[j.bestProspect()].layout
	for _, o := range outcomes {
		if o.Layout != now {
			sum += float64(o.Chance)
		}
	}
	return sum
}

// visitPlace names a station after what the layouts put there.
func (j *job) visitPlace(station int) VisitPlace {
	var roles []string
	of := map[string][]string{}
	for _, p := range j.prospects {
		for _, s := range p.places {
			if s.station != station {
				continue
			}
			if of[s.role] == nil {
				roles = append(roles, s.role)
			}
			of[s.role] = append(of[s.role], p.layout)
		}
	}
	var names []string
	for _, role := range roles {
		layouts := "layout " + of[role][0]
		if n := len(of[role]); n > 1 {
			layouts = "layouts " + strings.Join(of[role][:n-1], ", ") + " and " + of[role][n-1]
		}
		names = append(names, "the "+role+" of "+layouts)
	}
	return VisitPlace{Name: strings.Join(names, " and "), Place: j.atStation(station, j.creek.ZM[station])}
}

// visitText says what to do, and what each outcome decides.
func (j *job) visitText(verb string, v *Visit) string {
	now := j.prospects[j.bestProspect()].layout
	goOrNot := slices.ContainsFunc(v.Outcomes, func(o VisitOutcome) bool { return o.Layout == "" })
	if goOrNot {
		now = j.prospects[0].layout
	}
	// What hardly ever comes out is not worth a word: its range goes to its
	// neighbour.
	likely := slices.DeleteFunc(slices.Clone(v.Outcomes), func(o VisitOutcome) bool { return float64(o.Chance) < visitChance/2 })
	var decides []string
	for k, o := range likely {
		what := "take layout " + o.Layout
		switch {
		case o.Layout == "":
			what = "do not build layout " + now + " as it stands"
		case o.Layout == now && goOrNot:
			what = "go ahead with layout " + o.Layout
		case o.Layout == now:
			what = "stay with layout " + o.Layout
		}
		when := "from " + j.fineLength(o.FromM) + " to " + j.fineLength(o.ToM)
		switch {
		case len(likely) == 1:
			when = "whatever it is"
		case k == 0:
			when = "below " + j.fineLength(o.ToM)
		case k == len(likely)-1:
			when = "above " + j.fineLength(o.FromM)
		}
		decides = append(decides, when+" "+what)
	}
	return fmt.Sprintf("%s the drop of the water from %s (%s along the creek) to %s (%s) to %s: %s",
		verb, v.From.Name, j.length(float64(v.From.StationM)), v.To.Name, j.length(float64(v.To.StationM)),
		j.fineSigma(v.SigmaM), strings.Join(decides, ", "))
}

// fineLength prints a threshold to a centimetre or a hundredth of a foot: it
// is held against a reading that is as fine.
func (j *job) fineLength(m Number) string {
	unit, perSI, _ := quantity.Unit(j.site.Units, quantity.Length)
	return strconv.FormatFloat(float64(m)*perSI, 'f', 2, 64) + " " + unit
}

// fineSigma prints the standard deviation of a reading.
func (j *job) fineSigma(m Number) string {
	if j.site.Units == quantity.US {
		return strconv.FormatFloat(float64(m)/0.0254, 'f', 1, 64) + " in"
	}
	return strconv.FormatFloat(float64(m)*100, 'f', 1, 64) + " cm"
}

// prospectOf describes a graded layout as a choice; b are its draws as they
// are, and less and more those with a drive head one standard deviation lower
// and higher.
func (g *grader) prospectOf(b, less, more band) prospect {
	c := g.c
	p := prospect{layout: g.l.ID, intake: c.Intake, pump: c.Pump, foot: c.DriveFrom, mean: b.worth, luck: g.luck}
	if b.dropSigmaM > 0 {
		p.slope = (more.worth - less.worth) / (2 * b.dropSigmaM)
	}
	for _, s := range []visitStop{{"intake", c.Intake}, {"settling box", c.Box}, {"standpipe", c.Standpipe}, {"pump", c.Pump}} {
		if s.station >= 0 {
			p.places = append(p.places, s)
		}
	}
	p.lone = &lone{intake: c.Intake, foot: c.DriveFrom, pump: c.Pump}
	return p
}

// Worth prints what a reading is worth, to two digits: no more is known of it.
func (v *Visit) Worth(s quantity.System) string {
	amount, unit := float64(v.Value), v.ValueUnit
	perSI := 1.0
	switch unit {
	case "L/day":
		unit, perSI, _ = quantity.Unit(s, quantity.DailyVolume)
		amount /= litresPerDay
	case "m":
		unit, perSI, _ = quantity.Unit(s, quantity.Length)
	default:
		return unit + " " + strconv.FormatFloat(twoDigits(amount), 'f', -1, 64)
	}
	return strconv.FormatFloat(twoDigits(amount*perSI), 'f', -1, 64) + " " + unit
}

// Pays prints the hours, what they cost and what the reading is worth:
// "0.8 h, USD 20; worth USD 24".
func (v *Visit) Pays(s quantity.System, currency string) string {
	text := strconv.FormatFloat(float64(v.Hours), 'f', 1, 64) + " h"
	if v.Cost.Known() && v.Cost > 0 {
		text += ", " + currency + " " + strconv.FormatFloat(float64(v.Cost), 'f', 0, 64)
	}
	text += "; worth " + v.Worth(s)
	if v.Money.Known() && v.ValueUnit != currency {
		text += " or " + currency + " " + strconv.FormatFloat(twoDigits(float64(v.Money)), 'f', -1, 64)
	}
	return text
}

// LatLon prints the place for a receiver.
func (p *VisitPlace) LatLon() string {
	return fmt.Sprintf("%.6f, %.6f", float64(p.Lat), float64(p.Lon))
}

// twoDigits rounds to two significant digits.
func twoDigits(v float64) float64 {
	if v == 0 {
		return 0
	}
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'e', 1, 64), 64)
	return rounded
}

// stationText is a station as the site file takes it.
func stationText(system quantity.System, s Number) string {
	if system == quantity.US {
		return strconv.FormatFloat(float64(s)/0.3048, 'f', 1, 64) + " ft"
	}
	return strconv.FormatFloat(float64(s), 'f', 1, 64) + " m"
}

// Entry is the reading as it goes into the site file.
func (v *Visit) Entry(system quantity.System) string {
	return fmt.Sprintf("- {drop: \"…\", from: %q, to: %q, by: %s, legs: %d}", stationText(system, v.From.StationM), stationText(system, v.To.StationM), v.Instrument, v.SetUps)
}
