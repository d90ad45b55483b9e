package plan

// SeasonWater is what the first layout makes of the creek in one part of the
// year.
type SeasonWater struct {
	CreekLS       Number // what the creek carries at the intake, L/s
	DrawnLS       Number // of it into the pipes, L/s
	LeftLS        Number // in the creek between intake and pump, L/s
	DeliveredLDay Number // to count on at the tank, L/day
}

// Year says what the first layout makes of the creek at its lowest and at its
// usual flow, as it is tuned and tuned up to what the usual flow gives; usual
// and tuned are all unknown where the site gives no usual flow. A tuned ram
// draws what its weight and stroke let through, whatever more there is, so
// that more water in the creek stays in the creek. runs is the least flow of
// the creek, L/s, at which the share agreed upon can be drawn and the pump
// runs as tuned; stops is the flow below which even the whole creek is not
// enough. Without a layout all of it is unknown.
func (p *Plan) Year() (low, usual, tuned SeasonWater, runs, stops Number) {
	unknown := SeasonWater{Unknown, Unknown, Unknown, Unknown}
	if len(p.Layouts) == 0 || !p.LowFlow.Known() || !p.Layouts[0].CreekLeftShare.Known() {
		return unknown, unknown, unknown, Unknown, Unknown
	}
	l := &p.Layouts[0]
	stops = p.LowFlow * (1 - l.CreekLeftShare)
	low = SeasonWater{p.LowFlow, stops, p.LowFlow - stops, l.WaterToCountOn()}
	usual, tuned, runs = unknown, unknown, Unknown
	if p.UsualFlow.Known() {
		usual = SeasonWater{p.UsualFlow, stops, p.UsualFlow - stops, low.DeliveredLDay}
		if draws := l.TunedUpFlowLMin / 60; draws.Known() && draws > stops {
			tuned = SeasonWater{p.UsualFlow, draws, p.UsualFlow - draws, l.TunedUpLDay}
		}
	}
	if p.Take.Known() && p.Take > 0 {
		runs = stops * p.LowFlow / p.Take
	}
	return low, usual, tuned, runs, stops
}
