package plan

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"route/internal/catalog"
	"route/internal/optimize"
	"route/internal/quantity"
)

// NextStep is one change to the first layout, and what it would bring. Every
// figure is that of a real layout with its pump tuned to the most water.
type NextStep struct {
	Code string `json:"code"`
	Text string `json:"text"` // for people
	// How the layout was found: same_places, with one item changed and nothing
	// moved; or search, the exact search with one limit eased and the places
	// that Text names moved.
	How         string  `json:"how"`
	BeyondLimit bool    `json:"beyond_limit"` // needs more than a limit of the site allows
	AddedHeadM  Number  `json:"added_head_m"`
	AddedLDay   Number  `json:"added_l_day"`
	AddedCost   Decimal `json:"added_cost"`
	// LDayForMoney is the added water for each unit of the currency; null when
	// it brings none, or costs nothing.
	LDayForMoney Number `json:"l_day_for_money"`
	Sketch
}

// Stage is a part of a layout that is bought at once.
type Stage struct {
	Text string  `json:"text"`
	Buy  Decimal `json:"buy"` // cost of this stage alone
	Sketch
}

// Codes of the next steps.
const (
	stepRetune   = "tune_for_more"
	stepSupply   = "more_supply_pipe"
	stepWider    = "wider_supply_pipe"
	stepDrive    = "wider_drive_pipe"
	stepDelivery = "wider_delivery_pipe"
	stepPump     = "one_more_pump"
	stepTaller   = "taller_standpipe"
	stepLonger   = "longer_drive_pipe"
)

// By how much limits are eased to see what that brings: 2 ft of standpipe and
// 10 ft of drive pipe.
const (
	tallerM = 2 * 0.3048
	longerM = 10 * 0.3048
)

// stepping works out the next steps after one layout.
type stepping struct {
	*job
	base   *optimize.Candidate
	tuned  *Layout // the base tuned to the most water
	tries  []*optimize.Trials
	places optimize.TrialPlaces
	same   optimize.TrialChoice // everything as in the base
	most   optimize.Problem     // for most water, with one pump more than allowed
}

// nextSteps works out what to buy next.
func (j *job) nextSteps() error {
	if len(j.plan.Layouts) == 0 || j.plan.ScreeningOnly {
		return nil
	}
	j.record(Progress{Step: "looking at the next step"})
	s := stepping{job: j, base: &j.result.Ranked[slices.Index(j.layoutOf, j.plan.Layouts[0].ID)]}
	if err := s.prepare(); err != nil {
		return err
	}
	if s.tuned == nil {
		return nil
	}
	for _, step := range []func() error{s.retune, s.widerSupply, s.widerDrive, s.widerDelivery, s.morePumps, s.moreSupply, s.tallerStandpipe, s.longerDrive, s.stages} {
		if err := step(); err != nil {
			return err
		}
	}
	slices.SortStableFunc(j.plan.Next, func(a, b NextStep) int {
		return cmp.Compare(b.worthiness(), a.worthiness())
	})
	return nil
}

// worthiness ranks steps by water for money: what costs nothing first, what
// brings nothing last.
func (n *NextStep) worthiness() float64 {
	switch {
	case !(n.AddedLDay > 0):
		return float64(n.AddedLDay) - 1e12
	case !n.LDayForMoney.Known():
		return math.Inf(1)
	}
	return float64(n.LDayForMoney)
}

// prepare makes ready to try changes at the places of the base.
func (s *stepping) prepare() error {
	c := s.base
	s.places = optimize.TrialPlaces{Intake: c.Intake, Box: c.Box, Standpipe: c.Standpipe, Pump: c.Pump}
	s.same = optimize.TrialChoice{SupplyPipe: c.SupplyPipe, DrivePipe: c.DrivePipe, DeliveryPipe: c.DeliveryPipe, Pump: c.PumpItem, Pumps: c.Layout.Pumps}
	s.most = s.problem
	s.most.Objective, s.most.Pins = optimize.MostWater, optimize.Pins{}
	s.most.FlowStep = finely
	s.most.Choices.PumpCounts = []int{c.Layout.Pumps, c.Layout.Pumps + 1}
	var err error
	if s.tries, err = s.trials(s.ctx, s.most); err != nil {
		return err
	}
	s.tuned, err = s.try(s.same)
	return err
}

// try works out a choice at the places of the base; nil when it breaks a limit.
func (s *stepping) try(choice optimize.TrialChoice) (*Layout, error) {
	t := s.bestTrial(s.tries, s.places, choice)
	if t.Candidate == nil || len(t.Breaches) > 0 {
		return nil, nil
	}
	return s.inBrief(t.Candidate)
}

// add notes a step that leads to a layout; nil is none.
func (s *stepping) add(code, how string, beyond bool, l *Layout, text string, values ...quantity.Value) error {
	if l == nil {
		return nil
	}
	n := NextStep{
		Code: code, How: how, BeyondLimit: beyond, Text: quantity.Text(s.site.Units, text, values...),
		AddedHeadM: l.DriveHeadM - s.tuned.DriveHeadM, AddedLDay: l.DeliveredLDay - s.tuned.DeliveredLDay, LDayForMoney: Unknown, Sketch: s.sketchOf(l),
	}
	more, err := s.dearer(l, s.tuned)
	if err != nil {
		return err
	}
	n.AddedCost = Decimal(more.Decimal())
	if more.Minor > 0 && n.AddedLDay > 0 {
		n.LDayForMoney = n.AddedLDay / Number(more.Float())
	}
	s.plan.Next = append(s.plan.Next, n)
	return nil
}

// dearer is by how much one layout costs more than another.
func (s *stepping) dearer(a, b *Layout) (catalog.Money, error) {
	x, err := catalog.ParseMoney(string(a.Cost.Total), a.Cost.Currency)
	if err != nil {
		return x, err
	}
	y, err := catalog.ParseMoney(string(b.Cost.Total), b.Cost.Currency)
	if err != nil {
		return y, err
	}
	y.Minor = -y.Minor
	return x.Add(y)
}

// finely is the ratio of one flow that is tried to the next. The search's own
// steps of a fifth would hide what a change brings.
const finely = 0.97

// leastGain is what retuning must bring to be worth a word.
const leastGain = 0.02

// retune compares the base as planned with the base tuned to the most water.
func (s *stepping) retune() error {
	planned := &s.plan.Layouts[0]
	if !(s.tuned.DeliveredLDay > planned.DeliveredLDay*(1+leastGain)) {
		return nil
	}
	n := NextStep{
		Code: stepRetune, How: "same_places", Text: quantity.Text(s.site.Units, "buy nothing, and set the pump to draw {0}", quantity.Of(quantity.Flow, float64(s.tuned.DriveFlowLMin)/60000)),
		AddedHeadM: s.tuned.DriveHeadM - planned.DriveHeadM, AddedLDay: s.tuned.DeliveredLDay - planned.DeliveredLDay, AddedCost: "0", LDayForMoney: Unknown, Sketch: s.sketchOf(s.tuned),
	}
	s.plan.Next = append(s.plan.Next, n)
	return nil
}

// wider gives the next wider item of those that may be used, of the same make
// where there is one.
func (s *stepping) wider(ids []string, than string) (id string, ok bool) {
	now, _ := s.plan.Prices.Item(than)
	if now == nil || now.Pipe == nil {
		return "", false
	}
	make := func(it *catalog.Item) string { return strings.TrimSuffix(it.Pipe.Family, " "+it.Pipe.Size) }
	var best *catalog.Item
	better := func(it *catalog.Item) bool {
		if best == nil {
			return true
		}
		if same := make(it) == make(now); same != (make(best) == make(now)) {
			return same
		}
		return it.Pipe.Pipe.Inside < best.Pipe.Pipe.Inside
	}
	for _, other := range ids {
		if it, _ := s.plan.Prices.Item(other); it != nil && it.Pipe != nil && it.Pipe.Pipe.Inside > now.Pipe.Pipe.Inside && better(it) {
			best = it
		}
	}
	if best == nil {
		return "", false
	}
	return best.ID, true
}

// widen tries the next wider pipe at the same places.
func (s *stepping) widen(code, what string, ids []string, now string, set func(c *optimize.TrialChoice, id string)) error {
	id, ok := s.wider(ids, now)
	if !ok {
		return nil
	}
	choice := s.same
	set(&choice, id)
	l, err := s.try(choice)
	if err != nil {
		return err
	}
	it, _ := s.plan.Prices.Item(id)
	return s.add(code, "same_places", false, l, what+" one size wider: "+it.Pipe.Name)
}

func (s *stepping) widerSupply() error {
	if s.base.SupplyPipe == "" {
		return nil
	}
	return s.widen(stepWider, "a supply pipe", s.most.Choices.SupplyPipes, s.base.SupplyPipe, func(c *optimize.TrialChoice, id string) { c.SupplyPipe = id })
}

func (s *stepping) widerDrive() error {
	return s.widen(stepDrive, "a drive pipe, with its pump,", s.most.Choices.DrivePipes, s.base.DrivePipe, func(c *optimize.TrialChoice, id string) { c.DrivePipe, c.Pump = id, "" })
}

func (s *stepping) widerDelivery() error {
	return s.widen(stepDelivery, "a delivery pipe", s.most.Choices.DeliveryPipes, s.base.DeliveryPipe, func(c *optimize.TrialChoice, id string) { c.DeliveryPipe = id })
}

func (s *stepping) morePumps() error {
	choice := s.same
	choice.Pumps++
	l, err := s.try(choice)
	if err != nil {
		return err
	}
	return s.add(stepPump, "same_places", choice.Pumps > s.site.Choices.MaxPumps, l, "one more pump, with its drive pipe, on the same water")
}

// eased searches with the same items and some places pinned, under other
// limits.
func (s *stepping) eased(pins optimize.Pins, ease func(l *optimize.Limits)) (*Layout, error) {
	p, c := s.most, s.base
	p.Pins = pins
	p.Choices.DrivePipes, p.Choices.DeliveryPipes, p.Choices.Pumps, p.Choices.PumpCounts = []string{c.DrivePipe}, []string{c.DeliveryPipe}, []string{c.PumpItem}, []int{c.Layout.Pumps}
	if c.SupplyPipe != "" {
		p.Choices.SupplyPipes = []string{c.SupplyPipe}
	}
	p.Choices.SettlingBox = []bool{c.Box >= 0}
	ease(&p.Limits)
	if p.Supply != nil && p.Limits.SupplyLengthMaxM > s.site.Limits.SupplyLengthMaxM {
		// Longer pipes reach more ground; those that matter end at the standpipe.
		p.Supply = nil
		if err := s.supplyGroundAbove(&p, c.DriveFrom); err != nil {
			return nil, err
		}
	}
	best, err := optimize.Best(s.ctx, p)
	if err != nil || best == nil {
		return nil, err
	}
	s.onWholeProfile(best)
	return s.inBrief(best)
}

// pinAt pins a place of the base for the search; -1 pins that there is none.
func (s *stepping) pinAt(station int) *optimize.Pin {
	k, _ := slices.BinarySearch(s.job.places, station)
	return &optimize.Pin{Station: k, None: station < 0}
}

// moreSupply moves the intake upstream by what one more coil, or stick, allows.
func (s *stepping) moreSupply() error {
	it, _ := s.plan.Prices.Item(s.base.SupplyPipe)
	if it == nil || it.PackM <= 0 {
		return nil
	}
	long := s.base.SupplyM + it.PackM
	l, err := s.eased(optimize.Pins{Standpipe: s.pinAt(s.base.Standpipe), Pump: s.pinAt(s.base.Pump)}, func(l *optimize.Limits) { l.SupplyLengthMaxM = long })
	if err != nil {
		return err
	}
	return s.add(stepSupply, "search", long > s.site.Limits.SupplyLengthMaxM, l, "up to {0} more supply pipe (one "+it.Unit+"), the intake moved to where it helps most", quantity.Metres(it.PackM))
}

// tallerStandpipe lets the water stand higher; the intake moves.
func (s *stepping) tallerStandpipe() error {
	if s.base.Standpipe < 0 {
		return nil
	}
	tall := s.base.StandpipeM + tallerM
	l, err := s.eased(optimize.Pins{Standpipe: s.pinAt(s.base.Standpipe), Pump: s.pinAt(s.base.Pump)}, func(l *optimize.Limits) { l.StandpipeMaxM = tall })
	if err != nil {
		return err
	}
	return s.add(stepTaller, "search", tall > s.site.Limits.StandpipeMaxM, l, "a standpipe up to {0} taller, the intake moved to where it helps most", quantity.Metres(tallerM))
}

// longerDrive moves the pump downstream.
func (s *stepping) longerDrive() error {
	long := s.base.DriveM + longerM
	l, err := s.eased(optimize.Pins{Intake: s.pinAt(s.base.Intake), Box: s.pinAt(s.base.Box), Standpipe: s.pinAt(s.base.Standpipe)}, func(l *optimize.Limits) { l.DriveLengthMaxM = long })
	if err != nil {
		return err
	}
	return s.add(stepLonger, "search", long > s.site.Limits.DriveLengthMaxM, l, "up to {0} more drive pipe, the pump moved to where it helps most", quantity.Metres(longerM))
}

// stages plans one more pump for later: pipes that serve all are laid now, and
// nothing moves when it comes. Of the pipes of today and the next two wider ones
// those are taken that bring the most water for the money in the end.
func (s *stepping) stages() error {
	if s.same.Pumps+1 > s.site.Choices.MaxPumps {
		return nil
	}
	var last, first *Layout
	most := 0.0
	for _, supply := range s.upTo(s.most.Choices.SupplyPipes, s.base.SupplyPipe, 2) {
		for _, delivery := range s.upTo(s.most.Choices.DeliveryPipes, s.base.DeliveryPipe, 1) {
			whole := s.same
			whole.SupplyPipe, whole.DeliveryPipe = supply, delivery
			now, err := s.try(whole)
			if err != nil {
				return err
			}
			whole.Pumps++
			later, err := s.try(whole)
			if err != nil {
				return err
			}
			if now == nil || later == nil || !(later.DeliveredLDay > now.DeliveredLDay*(1+leastGain)) {
				continue
			}
			more, err := s.dearer(later, s.tuned)
			if err != nil {
				return err
			}
			if gain := float64(later.DeliveredLDay-s.tuned.DeliveredLDay) / math.Max(1, more.Float()); gain > most {
				most, first, last = gain, now, later
			}
		}
	}
	if last == nil {
		return nil
	}
	more, err := s.dearer(last, first)
	if err != nil {
		return err
	}
	s.plan.Stages = []Stage{
		{Text: "now: pipes wide enough for one more pump, without it", Buy: first.Cost.Total, Sketch: s.sketchOf(first)},
		{Text: "later: that pump with its drive pipe; nothing is moved", Buy: Decimal(more.Decimal()), Sketch: s.sketchOf(last)},
	}
	return nil
}

// upTo lists a pipe and so many of the next wider ones.
func (s *stepping) upTo(ids []string, from string, more int) []string {
	list := []string{from}
	for range more {
		id, ok := s.wider(ids, list[len(list)-1])
		if !ok {
			break
		}
		list = append(list, id)
	}
	return list
}
