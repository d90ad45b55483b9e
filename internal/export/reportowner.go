package export

import (
	"fmt"
	"math"

	"route/internal/plan"
	"route/internal/quantity"
)

// owner is what the report says to somebody who does not know rams and will
// live with one.
type owner struct {
	What     []string // paragraphs
	Year     [][]string
	YearText []string
	Decide   []check
	Leave    []check    // to ask for
	Upkeep   [][]string // when, what, what is amiss
}

func ownerOf(p *plan.Plan, w words) owner {
	l := &p.Layouts[0]
	o := owner{What: whatItDoes(p, l, w), Decide: decisions(p, l, w), Leave: permissions(l), Upkeep: upkeep(l, w)}
	o.year(p, w)
	return o
}

// whatItDoes explains the ram with the figures of this one.
func whatItDoes(p *plan.Plan, l *plan.Layout, w words) []string {
	text := "A ram lifts a little of the creek’s water far up by the fall of much of it. It needs no engine, no fuel and no electricity."
	if share := l.DeliveredLMin / l.DriveFlowLMin; share.Known() && l.DriveFlowLMin > 0 {
		text += fmt.Sprintf(" Of every 100 parts of water that run down the drive pipe, about %.0f reach the tank, %s up; the others leave at the pump and run back into the creek.", math.Max(1, math.Round(100*float64(share))), w.length(l.Delivery.LiftM))
	}
	work := "It works day and night"
	if l.BeatsPerMin.Known() {
		work += fmt.Sprintf(", with a beat of about %s knocks a minute that can be heard and felt near by", plain(l.BeatsPerMin, 0))
	}
	work += fmt.Sprintf(". Count on %s at the tank.", w.perDay(l.WaterToCountOn()))
	if p.Demand.Known() {
		work += fmt.Sprintf(" Wanted are %s;", w.perDay(p.Demand))
		if l.WaterToCountOn() >= p.Demand {
			work += " what is over runs from the tank’s overflow, for which a place is needed."
		} else {
			work += " that is not reached."
		}
	}
	return []string{text, work}
}

// year fills in what the creek and the tank have at low and usual flow.
func (o *owner) year(p *plan.Plan, w words) {
	low, usual, tuned, runs, stops := p.Year()
	if !low.CreekLS.Known() {
		return
	}
	row := func(when string, s plan.SeasonWater) {
		o.Year = append(o.Year, []string{when, w.creekFlow(s.CreekLS), w.creekFlow(s.DrawnLS), w.creekFlow(s.LeftLS), w.perDay(s.DeliveredLDay)})
	}
	row("In the driest month", low)
	if usual.CreekLS.Known() {
		row("At the usual flow, tuned as in the driest month", usual)
		text := "The pump draws what it was tuned to and delivers the same all year; what more the creek carries stays in the creek. "
		if tuned.CreekLS.Known() {
			row("At the usual flow, tuned up", tuned)
			text += "In wetter months it may be tuned to draw more, where that is allowed, and must be tuned back before the dry ones: else the standpipe runs empty and the pump stops."
		} else {
			text += "Tuned up it would bring hardly more: its pipes and its pump are sized for the driest month."
		}
		o.YearText = append(o.YearText, text)
	} else {
		o.YearText = append(o.YearText, "The pump draws what it was tuned to and delivers the same whenever the creek carries more than in the driest month. What the creek usually carries is not known: measure it in an ordinary month too, and give it as creek_flow, usual.")
	}
	dry := "In a drier year than that: "
	if runs.Known() && p.Take.Known() && p.LowFlow > 0 {
		dry += fmt.Sprintf("below %s in the creek the pump, tuned as it is, takes more than the %s of the creek that this plan allows; tune it down then, or shut it. ", w.creekFlow(runs), w.share(p.Take/p.LowFlow))
	}
	o.YearText = append(o.YearText, dry+fmt.Sprintf("Below %s even the whole creek does not keep it beating.", w.creekFlow(stops)))
	if p.TankVolume.Known() && p.TankVolume > 0 && p.Demand.Known() && p.Demand > 0 {
		o.YearText = append(o.YearText, fmt.Sprintf("A full tank lasts about %s days while the pump stands still.", plain(p.TankVolume/p.Demand, 0)))
	}
}

// creekFlow prints litres a second to three digits in one unit, whatever their
// size, for what stands side by side.
func (w words) creekFlow(v plan.Number) string {
	if !v.Known() || w.system == quantity.US {
		return w.perSec(v)
	}
	decimals := 2 - int(math.Floor(math.Log10(math.Max(float64(v), 0.01))))
	return plain(v, max(0, decimals)) + " L/s"
}

// bucket says in what time a flow fills a bucket of the usual size.
func (w words) bucket(litresPerMin plan.Number) string {
	litres := 20.0
	if w.system == quantity.US {
		litres = 5 * 3.785411784
	}
	if !(litresPerMin > 0) {
		return "as long as when it was new"
	}
	return fmt.Sprintf("%s in %s (%s)", quantity.Format(w.system, quantity.Volume, litres/1000), w.duration(plan.Number(60*litres)/litresPerMin), w.perMin(litresPerMin))
}

// decisions are what only the owner can say.
func decisions(p *plan.Plan, l *plan.Layout, w words) []check {
	var list []check
	if len(p.Layouts) > 1 {
		list = append(list, check{"Which layout", fmt.Sprintf("%s is the first of %d. The table of the layouts side by side says what each gives and costs, and what it would mean to choose another.", l.ID, len(p.Layouts))})
	}
	list = append(list, check{"Whether this is sure enough", fmt.Sprintf("As far as is known today it works as asked with a chance of %s. A visit with a level costs hours and no material; the list “Measure before you buy” says what to measure first.", w.share(l.ChanceWorks))})
	if p.Take.Known() && p.LowFlow > 0 {
		list = append(list, check{"How much the creek may lose", fmt.Sprintf("The plan takes up to %s of the lowest flow. Between intake and pump the creek has that much less.", w.share(p.Take/p.LowFlow))})
	}
	return append(list,
		check{"What the water is for", "Garden and animals can have it as it comes. For drinking it must be tested and treated, and that is not in the price."},
		check{"How it gets through the winter", "Pipes below the frost, a pump in a pit with a lid, and moving water; or all of it drained and shut until spring."},
		check{"Who looks after it", "The upkeep calendar below takes somebody who walks there every few weeks and after each flood."},
		check{"Who builds it", builders(l)})
}

// builders says what the price leaves out of the work, and how much it is.
func builders(l *plan.Layout) string {
	text := "The price is that of materials, and of such work as the list “What to buy” prices. The rest of the digging, carrying and setting comes on top, with your own hands or with wages"
	if hours := l.LabourText(); hours != "" {
		text += ": " + hours + " in all, by rough figures that the crew’s packet has task by task"
	}
	return text + "."
}

// permissions name whom to ask before anything is bought. They name no
// statute: those differ from place to place.
func permissions(l *plan.Layout) []check {
	list := []check{
		{"To take the water", "The authority for water: a right, a licence or a registration, even where most of the water runs back."},
		{"To work in the creek", "The same authority, or that for fish and nature: for the intake, for any weir, and for the months in which digging in bed and banks is allowed."},
		{"To cross or use the land of others", "Neighbours for pipes and paths on their land, the road’s owner for a pipe under a road, and those whose cables and pipes lie in the ground before digging."},
		{"To use it in the house", "The plumbing inspector or water supplier, where creek water comes near to a house that has another supply."},
	}
	if l.Standpipe != nil {
		list = append(list, check{"To set up a standpipe or a tank on a stand", "The building authority, where such things need leave."})
	}
	return list
}

// upkeep is the calendar: common practice put into our own words, without a
// source, with the figures of this layout.
func upkeep(l *plan.Layout, w words) [][]string {
	beat := "The beat is even."
	if l.BeatsPerMin.Known() {
		beat = fmt.Sprintf("The beat is even, about %s a minute.", plain(l.BeatsPerMin, 0))
	}
	drains := "Where frost comes: open the drains and leave the pump empty, or see that cover and lid are whole."
	if n := len(l.Delivery.Drains); n > 0 {
		drains = fmt.Sprintf("Where frost comes: open the drains of the delivery pipe (%s), and leave the pump empty, or see that cover and lid are whole.", w.pegs("DRAIN", l.Delivery.Drains))
	}
	box := "Clean the screen of the intake."
	if l.SettlingBox != nil {
		box = "Clean the screen of the intake and flush the sand out of the settling box."
	}
	return [][]string{
		{"Every day of the first week, then whenever you pass", "Listen. " + beat + " Look at the tank.", "Silence: the waste valve stuck open or shut, or too little water came. A quick, hard beat: the air vessel is full of water."},
		{"After a flood, and often while leaves fall", box + " Look whether pump, pipes and their anchors stand as they did.", "A lower level in the standpipe or a slow beat: the screen or the supply pipe is clogged."},
		{"Every month", "At the tank take the time until a bucket is full: " + w.bucket(l.DeliveredLMin) + ".", "A fifth less than when it was new: worn valves, a leak, air in the delivery pipe."},
		{"Every six months", "Stop it, let the pressure off, and empty the water out of the air vessel so that it fills with air.", "A gauge that jumps with each beat, or a hammering pipe: the air is gone."},
		{"In the driest month of every year", "Measure the creek, and note it. Tune the pump down where the creek has less than planned.", "The water in the standpipe sinks beat by beat: the pump draws more than comes."},
		{"Before winter", drains, "A cracked pipe or pump in spring: water stood in it."},
		{"Every year", "Open the pump: look at both valves and their seats, tighten bolts and anchors, clean the tank, and try the vents.", "The waste valve leaks when it is shut, the tank’s water runs back at rest: renew the rubbers; keep a set of them."},
	}
}
