package plan

import (
	"math"

	"route/internal/finding"
	"route/internal/hydraulics"
	"route/internal/quantity"
)

// This file follows the water along the pipes as they are laid, from the
// intake to the tank: what the crew has to build to which size, what it takes
// to start, and where air, silt or pressure make trouble.

// Sizes that the formulas leave open.
const (
	// vesselAir is the air in the pump's vessel over the volume that a beat
	// delivers: handbooks have 20 to 50 (from memory).
	vesselAir = 50
	// settledGrain is the finest sand, in metres, that a settling box keeps
	// back, and settlingStay how many seconds water stays in it: fine sand and
	// 5 to 10 minutes; from memory.
	settledGrain = 0.2e-3
	settlingStay = 300.0
	// levelRunM is the length from which a level stretch is worth a word.
	levelRunM = 5.0
)

// waterPath is one layout while its water is followed.
type waterPath struct {
	*grader
	legs  []hydraulics.Leg       // of the supply pipe, none without one
	lines []hydraulics.GradeLine // of the legs, running
	whole hydraulics.Installation
	found []finding.Finding
}

// waterPath fills in what follows from the laid lines, and gives the doubts.
func (g *grader) waterPath() []finding.Finding {
	w := &waterPath{grader: g, whole: g.installation()}
	w.legs = g.supplyLegs()
	w.runSupply()
	w.intake()
	w.box()
	w.head()
	w.pump()
	w.rise()
	w.start()
	w.take()
	return w.found
}

func (w *waterPath) add(level finding.Level, code, text, hint string, stationM float64, v ...quantity.Value) {
	f := finding.New(level, code, text, hint, v...)
	if !math.IsNaN(stationM) {
		f = f.At(stationM)
	}
	w.found = append(w.found, f)
}

// rated is the pipe of a product with its rating in the water of the site.
func (g *grader) rated(p *hydraulics.Product) hydraulics.Pipe {
	pipe := p.Pipe
	pipe.Rating = p.RatingAt(g.site.TemperatureK)
	return pipe
}

// installation is the whole chain, heights above the waste valve outlet.
func (g *grader) installation() hydraulics.Installation {
	c := g.c
	in := hydraulics.Installation{
		Fluid:    g.fluid,
		SourceM:  c.StaticLevelM - c.OutletM,
		Drive:    hydraulics.Run{Pipe: g.rated(g.drivePipe.Pipe), LengthM: c.DriveM},
		Ram:      g.ram,
		Pumps:    c.Layout.Pumps,
		Delivery: hydraulics.Run{Pipe: g.rated(g.deliveryPipe.Pipe), LengthM: g.route.LengthM},
		LiftM:    g.liftM(),
	}
	if g.l.Supply != nil {
		in.Supply = hydraulics.Run{Pipe: g.rated(g.supplyPipe.Pipe), LengthM: c.SupplyM, MinorK: g.site.Limits.IntakeLossK}
	}
	return in
}

// supplyLegs cuts the laid supply pipe at the settling box, which is a free
// surface.
func (g *grader) supplyLegs() []hydraulics.Leg {
	if g.l.Supply == nil {
		return nil
	}
	pipe := g.rated(g.supplyPipe.Pipe)
	path, box := g.l.Supply.Path, math.Inf(1)
	if g.l.SettlingBox != nil {
		box = float64(g.l.SettlingBox.AlongM)
	}
	leg := hydraulics.Leg{LevelM: float64(g.l.Intake.WaterM)}
	var legs []hydraulics.Leg
	chainage := chainageOf(path)
	for k, v := range path {
		leg.Station = append(leg.Station, chainage[k])
		leg.Invert = append(leg.Invert, float64(v.InvertM))
		if n := len(leg.Station); n > 1 {
			leg.Pipe = append(leg.Pipe, pipe)
			leg.MinorK = append(leg.MinorK, 0)
		}
		atBox := float64(v.AlongM) >= box-1e-6
		if last := k == len(path)-1; len(leg.Pipe) > 0 && (last || atBox) {
			leg.MinorK[0] = g.site.Limits.IntakeLossK
			if len(legs) > 0 {
				leg.MinorK[0] = sharpEntrance
			}
			legs = append(legs, leg)
			if atBox && !last {
				leg = hydraulics.Leg{LevelM: float64(g.l.SettlingBox.WaterM)}
				leg.Station, leg.Invert = []float64{chainage[k]}, []float64{float64(v.InvertM)}
				box = math.Inf(1)
			}
		}
	}
	return legs
}

// chainageOf gives the horizontal distance of each vertex along a pipe.
func chainageOf(path []Vertex) []float64 {
	chainage := make([]float64, len(path))
	for k := 1; k < len(path); k++ {
		along, fall := float64(path[k].AlongM-path[k-1].AlongM), float64(path[k].InvertM-path[k-1].InvertM)
		chainage[k] = chainage[k-1] + math.Sqrt(math.Max(along*along-fall*fall, 0))
	}
	return chainage
}

// creekStation is the station of the creek at a distance down the supply pipe:
// of the vertex itself, or of the last one before it that lies on the creek.
func (w *waterPath) creekStation(chainage float64) float64 {
	station := float64(w.l.Intake.StationM)
	for k, at := range chainageOf(w.l.Supply.Path) {
		if at > chainage+1e-9 {
			break
		}
		if s := w.l.Supply.Path[k].StationM; s.Known() {
			station = float64(s)
		}
	}
	return station
}

// sharpEntrance is the loss coefficient of a pipe flush with a wall, Crane
// TP 410, A-29 (from memory).
const sharpEntrance = 0.5

// runSupply follows the drive flow down the supply pipe and names the worst
// place of each kind.
func (w *waterPath) runSupply() {
	if len(w.legs) == 0 {
		return
	}
	lines, _, err := hydraulics.GradePath(w.fluid, w.legs, w.c.Flow)
	if short, ok := err.(*hydraulics.ShortLegError); ok {
		w.add(finding.Warning, "box_too_high", "the water reaches the settling box {0} too low", "seat the box lower, or take a wider pipe down to it", float64(w.l.SettlingBox.StationM), quantity.Metres(short.NeedsM-short.LevelM))
	}
	if err != nil {
		return
	}
	w.lines = lines
	var above, rating, summit, sag, slow, flat worst
	for i := range w.legs {
		leg := &w.legs[i]
		for _, s := range leg.Inspect(lines[i], leg.LevelM, 0) {
			switch s.Code {
			case hydraulics.SpotAboveGrade:
				above.of(leg, s, -s.Value)
			case hydraulics.SpotRating:
				rating.of(leg, s, s.Value-s.Limit)
			case hydraulics.SpotSummit:
				if s.Value < s.Limit {
					summit.of(leg, s, s.Limit-s.Value)
				}
			case hydraulics.SpotSag:
				sag.of(leg, s, s.Value)
			case hydraulics.SpotSlow:
				slow.of(leg, s, s.Limit-s.Value)
			}
		}
		run := levelRun(leg)
		flat.of(leg, run, run.Value)
	}
	for _, k := range []*worst{&above, &rating, &summit, &sag, &slow, &flat} {
		k.stationM = w.creekStation(k.stationM)
	}
	w.tellSupply(above, rating, summit, sag, slow, flat)
}

// worst keeps the worst of the spots of one kind.
type worst struct {
	hydraulics.Spot
	stationM, by float64
	count        int
}

func (k *worst) of(leg *hydraulics.Leg, s hydraulics.Spot, by float64) {
	k.count++
	if k.count == 1 || by > k.by {
		k.Spot, k.stationM, k.by = s, leg.Station[s.At], by
	}
}

// levelRun is the longest stretch of a leg that falls less than two in a
// thousand: its first station and its length; its Limit is the velocity that
// carries air down the pipe behind it, by the safer of two formulas.
func levelRun(leg *hydraulics.Leg) hydraulics.Spot {
	const leastSlope = 0.002 // common practice, no source
	best := hydraulics.Spot{Code: hydraulics.SpotFlat}
	for i := 0; i < len(leg.Pipe); {
		from, length := i, 0.0
		for i < len(leg.Pipe) && math.Abs(leg.Invert[i+1]-leg.Invert[i]) < leastSlope*leg.PipeLength(i) {
			length += leg.PipeLength(i)
			i++
		}
		if length > best.Value {
			slope := 0.0
			if i < len(leg.Pipe) {
				slope = (leg.Invert[i] - leg.Invert[i+1]) / leg.PipeLength(i)
			}
			best.At, best.Value, best.Limit = from, length, flushing(leg.Pipe[from].Inside, slope)
		}
		if i == from {
			i++
		}
	}
	return best
}

// flushing is the velocity at which large pockets of air go along with the
// water: the greater of Escarameia's and Wisner's.
func flushing(inside, slope float64) float64 {
	return math.Max(hydraulics.FlushingVelocity(inside, slope, 1), hydraulics.FlushingVelocityWisner(inside, slope))
}

func (w *waterPath) tellSupply(above, rating, summit, sag, slow, flat worst) {
	v := float64(w.l.Supply.VelocityMS)
	if above.count > 0 {
		w.add(finding.Warning, "supply_above_grade", "the supply pipe stands {0} above its grade line there: it would suck air and stop", "lay it lower there", above.stationM, quantity.Metres(-above.Value))
	}
	if rating.count > 0 {
		w.add(finding.Warning, "supply_rating", "with its lower end shut the supply pipe holds {0} of water there, above its rating of {1}", "take the next pressure class for its lower part", rating.stationM, quantity.Of(quantity.Head, rating.Value), quantity.Of(quantity.Head, rating.Limit))
	}
	if summit.count > 0 {
		w.add(finding.Warning, "supply_summit", "the supply pipe rises to a hump there, and water at {0} does not flush the air out of it ({1} would)", "dig it in so that it falls all the way, or put an air vent on it", summit.stationM, quantity.Of(quantity.Velocity, summit.Value), quantity.Of(quantity.Velocity, summit.Limit))
	}
	if sag.count > 0 {
		w.add(finding.Note, "supply_sag", "the supply pipe has a low place there, {0} below the next hump: silt gathers in it", "give it a drain", sag.stationM, quantity.Metres(sag.Value))
	}
	switch level := flat.Value >= levelRunM && v < flat.Limit; {
	case level:
		w.add(finding.Note, "supply_level", "the supply pipe lies level for {0} there and its water runs at {1}: too slow to carry air along ({2} would) or silt (from {3})", "spread the fall evenly over that stretch, and flush the pipe now and then", flat.stationM,
			quantity.Metres(flat.Value), quantity.Of(quantity.Velocity, v), quantity.Of(quantity.Velocity, flat.Limit), quantity.Of(quantity.Velocity, silting))
	case slow.count > 0:
		w.add(finding.Note, "supply_slow", "the water in the supply pipe runs at {0}; below {1} silt settles in it", "flush it now and then, or let a settling box keep the silt out", math.NaN(),
			quantity.Of(quantity.Velocity, v), quantity.Of(quantity.Velocity, slow.Limit))
	}
}

// silting is the velocity in m/s below which silt settles: Jordan, Handbook of
// Gravity-Flow Water Systems, pp. 52–53.
const silting = 0.7

// intakeFlow is the greatest flow through one mouth in the pool, its bore, and
// how many mouths there are. A drive pipe that starts in the pool draws its
// greatest flow at the end of each beat.
func (w *waterPath) intakeFlow() (flow, bore float64, mouths int) {
	if w.l.Supply != nil {
		return w.c.Flow, w.supplyPipe.Pipe.Pipe.Inside, 1
	}
	pipe := w.drivePipe.Pipe.Pipe
	return w.operation.ClosingVelocity * pipe.Area(), pipe.Inside, w.c.Layout.Pumps
}

// intake sizes the screen, for water so slow that leaves and fry can leave it,
// and the cover of water.
func (w *waterPath) intake() {
	flow, bore, mouths := w.intakeFlow()
	_, gross := hydraulics.ScreenArea(flow*float64(mouths), hydraulics.ScreenPassive, hydraulics.ScreenOpening)
	need := hydraulics.Submergence(bore, flow)
	w.l.Intake.ScreenAreaM2, w.l.Intake.SubmergenceM = Number(gross), Number(need)
	if has := w.site.Limits.BedDepthM - bore; need > has {
		w.add(finding.Warning, "intake_shallow", "the pipe's mouth needs {0} of water above it to draw no air, and a pool of {1} leaves {2}", "find or make a deeper pool, or turn the mouth down inside a screened box", float64(w.l.Intake.StationM),
			quantity.Metres(need), quantity.Metres(w.site.Limits.BedDepthM), quantity.Metres(math.Max(has, 0)))
	}
}

func (w *waterPath) box() {
	if w.l.SettlingBox == nil {
		return
	}
	area, volume := hydraulics.SettlingBox(w.fluid, w.c.Flow, settledGrain, settlingStay)
	w.l.SettlingBox.AreaM2, w.l.SettlingBox.VolumeM3 = Number(area), Number(volume)
}

// head looks at the standpipe: how its level moves, and whether air can get
// into the drive pipe.
func (w *waterPath) head() {
	s := w.l.Standpipe
	if s == nil {
		return
	}
	o, bore := w.operation, float64(s.InsideM)
	ripple := hydraulics.StandpipeRipple(bore, w.c.Flow, o.PeriodS)
	surge := hydraulics.StandpipeSurge(w.whole.Supply, bore, w.c.Flow)
	s.RippleM, s.SurgeM = Number(ripple), Number(surge)

	drive := w.drivePipe.Pipe.Pipe
	need := drive.Inside + hydraulics.Submergence(drive.Inside, o.ClosingVelocity*drive.Area())
	if has := w.c.StandpipeWaterM - ripple; has < need {
		w.add(finding.Warning, "standpipe_draws_air", "at the end of a beat {0} of water stand above the foot of the standpipe; below {1} the drive pipe may draw air", "a wider or taller standpipe, or a lighter tuning helps", float64(s.StationM), quantity.Metres(has), quantity.Metres(need))
	}
	top := float64(s.GroundM + s.HeightM)
	spills := top < float64(s.StaticLevelM)+w.site.Limits.StandpipeFreeboardM-1e-6 // said by the search
	if over := float64(s.StaticLevelM) + surge - top; over > 0 && !spills {
		w.add(finding.Note, "standpipe_splashes", "when the pump stops, the water in the standpipe swings up to {0} above its level at rest and some runs over the top", "let it find its way back to the creek without washing the ground out", float64(s.StationM), quantity.Metres(surge))
	}
}

// pump works out the push on the pump, and tells what the design rules say of
// it.
func (w *waterPath) pump() {
	o, station := w.operation, float64(w.l.Pump.StationM)
	w.l.Pump.ThrustN = Number(hydraulics.EndThrust(w.fluid, w.drivePipe.Pipe.Pipe, o.ShutoffHeadM))
	for _, c := range w.whole.Cautions(o) {
		value := func(d quantity.Dimension) (quantity.Value, quantity.Value) {
			return quantity.Of(d, c.Value), quantity.Of(d, c.Limit)
		}
		switch c.Code {
		case hydraulics.CautionLiftRatio:
			if v, l := value(quantity.Multiple); c.Value > 1.02*c.Limit { // else both print alike
				w.add(finding.Note, "lift_ratio_high", "the delivery head is {0} the drive head; beyond {1} small pumps lose more than the model shows", "more drive head or less lift makes it surer", station, v, l)
			}
		case hydraulics.CautionDriveRating:
			w.add(finding.Note, "drive_rating_margin", "when the delivery is shut the beat can raise the pressure in the drive pipe to {0} of water, more than four fifths of its rating of {1}", "take a heavier pipe, or fit a relief valve at the pump", station,
				quantity.Of(quantity.Head, o.ShutoffHeadM), quantity.Of(quantity.Head, c.Limit))
		case hydraulics.CautionSelfStart:
			v, l := value(quantity.Head)
			w.add(finding.Note, "starts_slowly", "the delivery pipe pushes back with {0} of water only; below {1} the waste valve has to be worked by hand for long, or never runs by itself", "throttle the delivery valve at the pump", station, v, l)
		case hydraulics.CautionBeatRate:
			w.add(finding.Note, "beat_rate", textf("the pump would beat %.0f times a minute; usual are 25 to 150", c.Value), "a longer drive pipe or a harder tuning slows it down, a shorter or lighter one quickens it", station)
		case hydraulics.CautionFastSupply:
			v, l := value(quantity.Velocity)
			w.add(finding.Note, "supply_fast", "the water in the supply pipe runs at {0}, faster than {1}", "a wider pipe loses less", math.NaN(), v, l)
		case hydraulics.CautionFastDelivery:
			v, l := value(quantity.Velocity)
			w.add(finding.Note, "delivery_fast", "the water in the delivery pipe runs at {0}, faster than {1}", "shut valves slowly, or take a wider pipe", math.NaN(), v, l)
		}
	}
	w.uncertainFriction()
}

// uncertainFriction tells where friction between laminar and turbulent flow,
// which is uncertain by a fifth, matters.
func (w *waterPath) uncertainFriction() {
	const matters = 0.02 // of the head
	check := func(name string, pipe hydraulics.Pipe, flow, loss, head float64) {
		if hydraulics.RegimeOf(hydraulics.Reynolds(w.fluid, pipe, flow)) == hydraulics.Transition && 0.2*loss > matters*head {
			w.add(finding.Note, "uncertain_friction", "the flow in the "+name+" pipe is between laminar and turbulent: its loss of {0} may be a fifth more or less", "", math.NaN(), quantity.Metres(loss))
		}
	}
	if w.l.Supply != nil {
		check("supply", w.supplyPipe.Pipe.Pipe, w.c.Flow, w.c.SupplyLossM, w.c.DriveHeadM)
	}
	check("delivery", w.deliveryPipe.Pipe.Pipe, w.operation.DeliveredTotal, w.operation.DeliveryLossM, w.liftM())
}

// rise looks at the delivery pipe: where it holds air and water, what it
// must stand when a valve is shut, and how it pushes at its bends.
func (w *waterPath) rise() {
	d, pipe := &w.l.Delivery, w.whole.Delivery.Pipe
	d.Vents, d.Drains = []Number{}, []Number{}
	for _, k := range w.route.HighAt {
		if float64(d.VelocityMS) < flushing(pipe.Inside, fallBehind(d.Path, k)) {
			d.Vents = append(d.Vents, d.Path[k].AlongM)
		}
	}
	for _, k := range w.route.LowAt {
		d.Drains = append(d.Drains, d.Path[k].AlongM)
	}
	shut := w.c.OutletM + w.operation.ShutoffHeadM
	d.ShutM, d.BendThrustN = 0, 0
	for k, v := range d.Path {
		d.ShutM = max(d.ShutM, Number(shut)-v.InvertM)
		if k > 0 && k < len(d.Path)-1 {
			head := math.Max(shut-float64(v.InvertM), 0)
			d.BendThrustN = max(d.BendThrustN, Number(hydraulics.BendThrust(w.fluid, pipe, head, turn(d.Path[k-1], v, d.Path[k+1]))))
		}
	}
	over := pipe.Rating > 0 && float64(d.ShutM) > pipe.Rating
	for _, s := range d.changes() {
		over = over || float64(s.RatingM) < shut-float64(pointAlong(d.Path, float64(s.FromM)).InvertM)
	}
	if over {
		w.add(finding.Note, "delivery_shut", "if the delivery pipe is shut while the pump beats, the pressure in it can rise to {0} of water; it is rated for {1}", "fit no valve at the tank and let it overflow; stop the pump before shutting anything", math.NaN(),
			quantity.Of(quantity.Head, float64(d.ShutM)), quantity.Of(quantity.Head, pipe.Rating))
	}
}

// fallBehind is the mean slope of a pipe from a high place to the next low one.
func fallBehind(path []Vertex, k int) float64 {
	end := k
	for end+1 < len(path) && path[end+1].InvertM <= path[end].InvertM {
		end++
	}
	if end == k {
		return 0
	}
	return float64((path[k].InvertM - path[end].InvertM) / (path[end].AlongM - path[k].AlongM))
}

// turn is the angle in radians by which a laid line changes its direction.
func turn(a, b, c Vertex) float64 {
	u := [3]float64{float64(b.EastingM - a.EastingM), float64(b.NorthM - a.NorthM), float64(b.InvertM - a.InvertM)}
	v := [3]float64{float64(c.EastingM - b.EastingM), float64(c.NorthM - b.NorthM), float64(c.InvertM - b.InvertM)}
	dot, uu, vv := 0.0, 0.0, 0.0
	for i := range u {
		dot, uu, vv = dot+u[i]*v[i], uu+u[i]*u[i], vv+v[i]*v[i]
	}
	if uu == 0 || vv == 0 {
		return 0
	}
	return math.Acos(math.Max(-1, math.Min(1, dot/math.Sqrt(uu*vv))))
}

// start works out what it takes to get going, and the state with the valve
// stuck open.
func (w *waterPath) start() {
	s := Starting{FillS: Unknown, StrokesLow: Unknown, StrokesHigh: Unknown, FirstWaterS: Unknown}
	fill := 0.0
	for i := range w.legs {
		t, err := hydraulics.FillTime(w.fluid, w.legs[i].Line, w.legs[i].LevelM)
		if err != nil {
			t = math.NaN()
		}
		fill += t
	}
	s.FillS = Number(fill)
	v := w.operation.ClosingVelocity
	air := vesselAir * w.operation.DeliveredVolumeM3
	first, err := w.whole.Starting(v, air)
	if err != nil { // the running level of the search stands in for the supply pipe's
		plain := w.whole
		plain.SourceM, plain.Supply = w.c.DriveHeadM, hydraulics.Run{}
		first, err = plain.Starting(v, air)
	}
	if err == nil {
		s.StrokesLow, s.StrokesHigh, s.FirstWaterS = finite(first.StrokesShut), finite(first.StrokesOpen), finite(first.TankAfterS)
	}
	w.l.Starting = s
	w.l.StuckOpen = StuckOpen{LevelM: Unknown, FlowLMin: Unknown}
	if open, err := w.whole.StuckOpen(v); err == nil {
		restarts := open.Restarts(v)
		w.l.StuckOpen = StuckOpen{LevelM: Number(w.c.OutletM + open.LevelM), FlowLMin: Number(open.Flow * 60000), Restarts: &restarts}
	}
}

// finite is a value, unknown where it is without end.
func finite(v float64) Number {
	if math.IsInf(v, 0) {
		return Unknown
	}
	return Number(v)
}

// take judges what is drawn from the creek. It is a warning only where the
// pump makes the reach worse than the creek's own low flow.
func (w *waterPath) take() {
	t := hydraulics.JudgeTake(w.c.Flow, w.site.LowFlow, w.site.UsualFlow)
	share := func(v float64) quantity.Value { return quantity.Of(quantity.Ratio, math.Round(v*100)/100) }
	text := "the pump draws {0} of the creek's lowest flow and leaves {1} between intake and pump"
	values := []quantity.Value{share(t.ShareOfLow), quantity.Of(quantity.Flow, t.LeftFlow)}
	level, hint := finding.Note, ""
	if t.Judgement != "" {
		text += ", {2} of its usual flow: by Tennant's scale " + tennant[t.Judgement]
		values = append(values, share(t.LeftOfMean))
		own := hydraulics.JudgeTake(0, w.site.LowFlow, w.site.UsualFlow)
		if poor := t.Judgement == "severe harm" || t.Judgement == "short-term survival"; poor && own.Judgement != t.Judgement {
			level, hint = finding.Warning, "ask who looks after the creek; draw less in the driest weeks, or bring the pump nearer to the intake"
		}
	}
	w.add(level, "creek_take", text, hint, math.NaN(), values...)
}

// tennant puts the words of the scale into a sentence.
var tennant = map[string]string{
	"excellent":           "an excellent home for what lives in it",
	"good":                "a good home for what lives in it",
	"short-term survival": "enough for what lives in it to survive for a short time only",
	"severe harm":         "too little for most of what lives in it",
}
