package hydraulics

import (
	"context"
	"math"
)

// Simulation is a time-domain model of an installation: the supply pipe and
// the delivery pipe as rigid columns, settling box and standpipe as free
// surfaces, each drive pipe by the method of characteristics, the valves as
// orifices that move in straight lines, the air vessel as a cushion of air.
//
// It shares the friction formula with the closed form of Ram.Cycle and nothing
// else, so it checks it. It leaves out the inflow of air through the snifter,
// the mass of the valves, unsteady friction and the creep of plastic walls,
// all of which damp the waves that are left over from a beat: real pumps are
// steadier than it where μ is low.
type Simulation struct {
	Installation
	ClosingVelocity float64 // m/s
	// Reaches of each drive pipe; 0 counts as 20.
	Reaches int
	// StandpipeBoreM is the inside diameter of the standpipe; 0 counts as
	// three times the drive pipe's bore. It matters only with a supply pipe.
	StandpipeBoreM float64
	// StandpipeTopM is where the standpipe overflows, m above the waste valve
	// outlet; 0 counts as 0.3 m above the source.
	StandpipeTopM float64
	// BoxAreaM2 is the water surface of a settling box at the head of the
	// supply pipe, which is then filled by BoxInflow (m³/s) and overflows at
	// SourceM; 0 means that the source never falls.
	BoxAreaM2, BoxInflow float64
	// VesselAirM3 is the air in the vessel at the delivery head; 0 means that
	// the delivery head is constant.
	VesselAirM3 float64
	// ValveLeak and PipeLeak are leaks as of orifices, m³/s per √m of head: each
	// pump's delivery valve, through which the vessel's water comes back while
	// the head at the pump is lower, and the delivery pipe just above the
	// vessel.
	ValveLeak, PipeLeak float64
	// EmptyDelivery starts with an empty delivery pipe, which rises evenly
	// from the pump to the tank. Until it pushes back enough the waste valve
	// does not open again by itself, and a hand opens it.
	EmptyDelivery bool
	// DrawnDown starts from the steady state with the waste valves open
	// instead of from rest.
	DrawnDown bool
	// WarmUpS is run before anything is measured; 0 counts as 10 s. At least
	// MeasureS (0 counts as 30 s) is then measured, in whole beats.
	WarmUpS, MeasureS float64
	// Traces lists the times, from and to, of which every step is kept.
	Traces [][2]float64

	// For comparison with a program that lets a cavity close at once and has
	// it at another head.
	forgetCavity bool
	cavityAtM    float64
}

// Simulated is what a simulation found. Flows are totals of all pumps.
type Simulated struct {
	DriveFlow, WasteFlow, DeliveredFlow float64 // m³/s
	TankFlow                            float64 // m³/s out of the delivery pipe
	BeatsPerMinute                      float64 // of the first pump
	EfficiencyRankine                   float64 // at the mean level and delivery head
	EfficiencyDAubuisson                float64
	LevelM, LowestLevelM                float64    // standpipe: mean, and lowest since the start
	HighestHeadM, LowestHeadM           float64    // at the pump
	DeliveryHeadM                       float64    // mean at the air vessel
	RippleM                             float64    // swing of the delivery head over the measured time
	OverflowM3                          float64    // out of the standpipe since the start
	AirEntered                          bool       // the level fell to the foot of the standpipe
	StuckOpen                           bool       // no valve shut for the last 5 s
	HandStrokes                         int        // that it took until the pump ran by itself
	RunsAloneS                          float64    // when it did; NaN when it never needed a hand or never did
	TankReachedS                        float64    // when water came out at the tank; NaN when it has not
	Beats                               int        // measured, of the first pump
	VolumeError, EnergyError            float64    // what the books miss, shares of what came in
	Traces                              [][]Moment // one for each that was asked for
}

// Moment is one line of a trace, for the first pump.
type Moment struct {
	TimeS, HeadM, VelocityMS float64 // at the downstream end of the drive pipe
	WasteOpening             float64 // 0 to 1
	LevelM                   float64 // standpipe
	DeliveryHeadM            float64
	DeliveredFlow            float64 // m³/s into the vessel, all pumps
	TankFlow                 float64 // m³/s
}

// What the simulation assumes of the valves.
const (
	openingHead   = 0.3 // m at the pump below which the waste valve falls open
	polytropic    = 1.2 // exponent of the air in the vessel
	patience      = 1.0 // s that a hand waits before it opens the valve
	stuckAfter    = 5.0 // s without a beat
	aloneAfter    = 10  // beats in a row without a hand
	usualReaches  = 20
	usualWarmUp   = 10.0
	usualMeasured = 30.0
)

// valveState is what the waste valve is doing.
type valveState int

const (
	valveOpen valveState = iota
	valveClosing
	valveShut
	valveOpening
)

// pumpState is one pump with its drive pipe.
type pumpState struct {
	column     waterColumn
	state      valveState
	opening    float64 // 0 to 1
	cavity     float64 // m³ of vapour at the pump
	waste      float64 // m³/s of this step
	delivered  float64
	shutAt     float64 // s, of the last closing
	alone      int     // beats in a row without a hand
	startAt    float64 // s at which the valve is first let go
	handStroke int
}

// plant is the whole installation in motion.
type plant struct {
	*Simulation
	ram           Ram
	pumps         []pumpState
	dt            float64
	entrance      float64 // K/(2gA²) of the drive inlet
	wasteC, liftC float64 // orifice constants, m³/s per √m
	cavityHead    float64
	supply        resistance
	supplyInertia float64 // g·A/L
	supplyFlow    float64
	box, level    float64
	rim           float64 // where the standpipe overflows
	standArea     float64
	delivery      resistance
	inertia       float64 // g·A/L of the delivery pipe
	riser         float64 // m³ that the delivery pipe holds
	filled        float64 // m³ of it that hold water
	tankFlow      float64
	head          float64 // at the vessel
	air           float64 // m³
	airConstant   float64
	time          float64
	result        Simulated
}

// Run simulates. Errors: *RangeError, and the context's.
func (s *Simulation) Run(ctx context.Context) (Simulated, error) {
	p, err := s.plant()
	if err != nil {
		return Simulated{}, err
	}
	warmUp, measure := orElse(s.WarmUpS, usualWarmUp), orElse(s.MeasureS, usualMeasured)
	var m meter
	end := warmUp + measure
	for step := 0; ; step++ {
		if step&0xfff == 0 && ctx.Err() != nil {
			return Simulated{}, ctx.Err()
		}
		beat := p.step()
		if p.time >= warmUp {
			m.add(p, beat)
		}
		// Measured from one shutting of the first valve to another.
		if p.time >= end && (beat || p.time >= end+stuckAfter) {
			break
		}
	}
	m.finish(p)
	return p.result, nil
}

func orElse(v, usual float64) float64 {
	if v > 0 {
		return v
	}
	return usual
}

// plant sets everything up at rest, or in the drawn-down state.
func (s *Simulation) plant() (*plant, error) {
	in := &s.Installation
	if err := in.check("Simulation"); err != nil {
		return nil, err
	}
	r := in.ram()
	c, err := r.columnAt(in.Fluid, in.Drive.Pipe, in.Drive.LengthM, s.ClosingVelocity)
	if err != nil {
		return nil, err
	}
	reaches := s.Reaches
	if reaches == 0 {
		reaches = usualReaches
	}
	if reaches < 2 || reaches > 10000 {
		return nil, &RangeError{"Simulation", "number of reaches", float64(reaches), 2, 10000}
	}
	area := in.Drive.Pipe.Area()
	ff := (c.ka - r.EntranceK - r.WasteValveK) * in.Drive.Pipe.Inside / in.Drive.LengthM
	p := &plant{
		Simulation: s, ram: r, box: in.SourceM, level: in.SourceM,
		entrance:   r.EntranceK / (2 * Gravity * area * area),
		wasteC:     area * math.Sqrt(2*Gravity/r.WasteValveK),
		liftC:      area * math.Sqrt(2*Gravity/math.Max(r.DeliveryValveK, 1e-9)),
		cavityHead: in.Fluid.VapourHead - in.Fluid.BarometricHead,
		supply:     in.Supply.resistance(&in.Fluid), delivery: in.Delivery.resistance(&in.Fluid),
		head: in.LiftM, filled: math.Inf(1),
	}
	if s.cavityAtM < 0 {
		p.cavityHead = s.cavityAtM
	}
	p.result.LowestLevelM, p.result.LowestHeadM = math.Inf(1), math.Inf(1)
	p.result.RunsAloneS, p.result.TankReachedS = math.NaN(), math.NaN()
	if !in.Supply.none() {
		p.supplyInertia = Gravity * in.Supply.Pipe.Area() / in.Supply.LengthM
		p.standArea = math.Pi / 4 * sq(orElse(s.StandpipeBoreM, 3*in.Drive.Pipe.Inside))
		p.rim = orElse(s.StandpipeTopM, in.SourceM+0.3)
		p.level = math.Min(p.level, p.rim)
	}
	p.setDelivery()
	if s.DrawnDown {
		open, err := in.StuckOpen(s.ClosingVelocity)
		if err != nil {
			return nil, err
		}
		p.level, p.supplyFlow = open.LevelM, open.Flow
	}
	for i := range max(in.Pumps, 1) {
		q := pumpState{
			column: newWaterColumn(in.Fluid, in.Drive.Pipe, in.Drive.LengthM, ff, p.level, reaches),
			// The valves of several pumps are let go one after the other.
			startAt: float64(i) * 0.37, opening: 1, shutAt: float64(i) * 0.37,
		}
		if s.DrawnDown {
			q.startSteady(p.supplyFlow / float64(max(in.Pumps, 1)))
			q.startAt = 0
		}
		p.pumps = append(p.pumps, q)
	}
	p.dt = p.pumps[0].column.dt
	return p, nil
}

// startSteady gives the drive pipe a steady flow with its straight grade line.
func (q *pumpState) startSteady(flow float64) {
	c := &q.column
	for i := range c.head {
		c.flow[i] = flow
		c.head[i] -= c.r * flow * flow * float64(i)
	}
	c.energy0, c.storage0 = c.energy(), c.storage()
}

// setDelivery sets up the air vessel and the delivery pipe.
func (p *plant) setDelivery() {
	in := &p.Installation
	if in.Delivery.none() {
		return
	}
	area := in.Delivery.Pipe.Area()
	p.riser = area * in.Delivery.LengthM
	if p.VesselAirM3 > 0 && in.Delivery.LengthM > 0 {
		p.inertia = Gravity * area / in.Delivery.LengthM
	}
	absolute := in.LiftM + in.Fluid.BarometricHead
	p.air = p.VesselAirM3
	p.airConstant = absolute * math.Pow(p.air, polytropic)
	if p.EmptyDelivery {
		p.filled, p.head = 0, 0
		if p.air > 0 { // the cushion begins at atmospheric pressure
			p.air = math.Pow(p.airConstant/in.Fluid.BarometricHead, 1/polytropic)
		}
	}
}

// step moves everything by one time step; beat says that the first waste valve
// began to shut.
func (p *plant) step() (beat bool) {
	p.time += p.dt
	var drawn, lifted float64
	for i := range p.pumps {
		q := &p.pumps[i]
		if p.stepPump(q) && i == 0 {
			beat = true
		}
		drawn += q.column.flow[0]
		lifted += q.delivered
	}
	p.stepSupply(drawn)
	p.stepDelivery(lifted - p.PipeLeak*math.Sqrt(math.Max(0, p.head)))
	r := &p.result
	r.LowestLevelM = math.Min(r.LowestLevelM, p.level)
	h := p.pumps[0].column.head
	r.HighestHeadM = math.Max(r.HighestHeadM, h[len(h)-1])
	r.LowestHeadM = math.Min(r.LowestHeadM, h[len(h)-1])
	p.trace(lifted)
	return beat
}

// stepPump moves one drive pipe, its valves and its cavity.
func (p *plant) stepPump(q *pumpState) (beat bool) {
	c := &q.column
	cp, bp, cm, bm := c.interior()
	// Inlet: the standpipe's level, less the entrance loss of water going in.
	rest := p.level - cm
	in := rest / bm
	if rest > 0 {
		in = 2 * rest / (bm + math.Sqrt(bm*bm+4*p.entrance*rest))
	}
	if share := math.Max(p.supplyFlow, 0) / float64(len(p.pumps)); p.supplyInertia > 0 && p.level <= p.FootM && in > share {
		in = share // the rest is air
		p.result.AirEntered = true
	}
	// What leaks back through the delivery valve comes to the pump besides
	// what the pipe brings; the head of the last step is near enough.
	back := 0.0
	if p.ValveLeak > 0 {
		back = p.ValveLeak * math.Sqrt(math.Max(0, p.head-c.head[len(c.head)-1]))
	}
	head, flow := p.valves(q, cp+bp*back, bp)
	q.delivered -= back
	c.finish(cm+bm*in, in, head, flow-back)
	return p.moveValve(q, head, flow)
}

// valves finds head and flow at the pump: what the wave brings against what
// the two orifices pass. Below atmospheric pressure the open waste valve draws
// in; whether that is air or spilt water, it goes out again first and counts as
// negative waste.
func (p *plant) valves(q *pumpState, cp, bp float64) (head, flow float64) {
	c := p.wasteC * q.opening
	if q.cavity > 0 { // until water from the pipe and through the valve fills it
		flow = (cp - p.cavityHead) / bp
		q.waste, q.delivered = -c*math.Sqrt(-p.cavityHead), 0
		q.cavity -= (flow - q.waste) * p.dt
		if q.cavity > 0 && !p.forgetCavity {
			return p.cavityHead, flow
		}
		q.cavity = 0
	}
	head, q.waste, q.delivered = cp, 0, 0
	if c > 0 {
		s := 2 * math.Abs(cp) / (bp*c + math.Sqrt(bp*bp*c*c+4*math.Abs(cp)))
		head, q.waste = math.Copysign(s*s, cp), math.Copysign(c*s, cp)
	}
	if head > p.head { // the delivery valve opens as well
		head = p.bothValves(c, cp, bp)
		q.waste = c * math.Sqrt(head)
		q.delivered = p.liftC * math.Sqrt(head-p.head)
	}
	if head < p.cavityHead {
		head = p.cavityHead
		flow = (cp - head) / bp
		q.waste = -c * math.Sqrt(-head)
		q.cavity = (q.waste - flow) * p.dt
		return head, flow
	}
	return head, q.waste + q.delivered
}

// bothValves solves cp − bp·(c·√H + d·√(H − h)) = H for H above the delivery
// head, where the left side falls and the right side rises.
func (p *plant) bothValves(c, cp, bp float64) float64 {
	h, d := p.head, p.liftC
	if c == 0 { // a quadratic in √(H − h)
		s := 2 * (cp - h) / (bp*d + math.Sqrt(bp*bp*d*d+4*(cp-h)))
		return h + s*s
	}
	// Newton in s = √(H − h): the residual is convex and rises.
	s := 2 * (cp - h) / (bp*d + math.Sqrt(bp*bp*d*d+4*(cp-h)))
	for range 30 {
		root := math.Sqrt(h + s*s)
		res := h + s*s + bp*(c*root+d*s) - cp
		step := res / (2*s + bp*(c*s/root+d))
		s = math.Max(s-step, 0)
		if math.Abs(step) <= 1e-12 {
			break
		}
	}
	return h + s*s
}

// moveValve lets the waste valve follow the water; beat says that it began to
// shut.
func (p *plant) moveValve(q *pumpState, head, flow float64) (beat bool) {
	v := flow / q.column.area
	switch q.state {
	case valveOpen:
		if v >= p.ClosingVelocity && p.time >= q.startAt {
			q.state, q.shutAt, beat = valveClosing, p.time, true
			q.alone++
			if q.alone == aloneAfter && q.handStroke > 0 && math.IsNaN(p.result.RunsAloneS) {
				p.result.RunsAloneS, p.result.HandStrokes = p.time, q.handStroke
			}
		}
	case valveClosing:
		if q.opening -= travel(p.dt, p.ram.CloseTimeS); q.opening <= 0 {
			q.opening, q.state = 0, valveShut
		}
	case valveShut:
		if head < openingHead && flow <= 0 {
			q.state = valveOpening
		} else if p.time-q.shutAt > patience && p.EmptyDelivery {
			q.state, q.alone = valveOpening, 0
			q.handStroke++
		}
	case valveOpening:
		if q.opening += travel(p.dt, p.ram.OpenTimeS); q.opening >= 1 {
			q.opening, q.state = 1, valveOpen
		}
	}
	return beat
}

// travel is the share of its way that a valve moves in a step.
func travel(dt, full float64) float64 {
	if full <= dt {
		return 1
	}
	return dt / full
}

// stepSupply moves box, supply pipe and standpipe. The supply pipe is a rigid
// column; its own swing takes tens of seconds, so a step of a millisecond is
// fine enough.
func (p *plant) stepSupply(drawn float64) {
	if p.supplyInertia == 0 {
		return
	}
	loss, _ := p.supply.lossSlope(math.Abs(p.supplyFlow))
	loss = math.Copysign(loss, p.supplyFlow)
	p.supplyFlow += p.supplyInertia * (p.box - p.level - loss) * p.dt
	p.level += (p.supplyFlow - drawn) / p.standArea * p.dt
	if p.level > p.rim {
		p.result.OverflowM3 += (p.level - p.rim) * p.standArea
		p.level = p.rim
	}
	p.level = math.Max(p.level, p.FootM)
	if p.BoxAreaM2 > 0 {
		p.box = math.Min(p.box+(p.BoxInflow-p.supplyFlow)/p.BoxAreaM2*p.dt, p.SourceM)
	}
}

// stepDelivery moves air vessel and delivery pipe.
func (p *plant) stepDelivery(lifted float64) {
	lift := p.LiftM
	full := p.filled >= p.riser
	if !full { // the pipe rises evenly
		lift *= p.filled / p.riser
	}
	switch {
	case p.Delivery.none():
		p.tankFlow = lifted
	case p.inertia > 0:
		p.stepVessel(lifted, lift)
	default: // no cushion: the head follows at once, smoothed over the pipe
		p.tankFlow += (lifted - p.tankFlow) * p.dt / 0.5
		loss, _ := p.delivery.lossSlope(p.tankFlow)
		p.head = lift + loss
	}
	if !full {
		p.filled += p.tankFlow * p.dt
		if p.filled >= p.riser && math.IsNaN(p.result.TankReachedS) {
			p.result.TankReachedS = p.time
		}
	}
}

// stepVessel moves the cushion and the water in the delivery pipe, which flows
// only outwards: the delivery valve keeps the vessel from emptying back.
func (p *plant) stepVessel(lifted, lift float64) {
	share := 1.0
	if p.filled < p.riser {
		share = math.Max(p.filled/p.riser, 0.02)
	}
	loss, slope := p.delivery.lossSlope(math.Abs(p.tankFlow))
	loss = math.Copysign(loss*share, p.tankFlow)
	k := p.inertia / share * p.dt
	// Friction counts at the end of the step (linearised): a stiff filling
	// pipe must not ring.
	p.tankFlow += k * (p.head - lift - loss) / (1 + k*slope*share)
	p.air -= (lifted - p.tankFlow) * p.dt
	p.air = math.Max(p.air, 1e-9)
	p.head = p.airConstant/math.Pow(p.air, polytropic) - p.Fluid.BarometricHead
}

// trace keeps a moment when it is asked for.
func (p *plant) trace(lifted float64) {
	for i, t := range p.Simulation.Traces {
		if p.time < t[0] || p.time > t[1] {
			continue
		}
		if p.result.Traces == nil {
			p.result.Traces = make([][]Moment, len(p.Simulation.Traces))
		}
		c := &p.pumps[0].column
		n := len(c.head) - 1
		p.result.Traces[i] = append(p.result.Traces[i], Moment{
			TimeS: p.time, HeadM: c.head[n], VelocityMS: c.flow[n] / c.area, WasteOpening: p.pumps[0].opening,
			LevelM: p.level, DeliveryHeadM: p.head, DeliveredFlow: lifted, TankFlow: p.tankFlow,
		})
	}
}

// meter sums up between two shuttings of the first valve.
type meter struct {
	started, ended            bool
	from, to                  float64
	beats                     int
	sums, kept                [6]float64 // drive, waste, delivered, tank, level, head, times dt
	lowHead, highHead         float64
	keptLowHead, keptHighHead float64
}

func (m *meter) add(p *plant, beat bool) {
	if !m.started {
		if !beat {
			return
		}
		m.started, m.from = true, p.time
		m.lowHead, m.highHead = p.head, p.head
		return
	}
	var drive, waste, lifted float64
	for i := range p.pumps {
		drive += p.pumps[i].column.flow[0]
		waste += p.pumps[i].waste
		lifted += p.pumps[i].delivered
	}
	for i, v := range [...]float64{drive, waste, lifted, p.tankFlow, p.level, p.head} {
		m.sums[i] += v * p.dt
	}
	m.lowHead, m.highHead = math.Min(m.lowHead, p.head), math.Max(m.highHead, p.head)
	if beat {
		m.beats++
		m.ended, m.to, m.kept = true, p.time, m.sums
		m.keptLowHead, m.keptHighHead = m.lowHead, m.highHead
	}
}

// finish turns the sums into means over whole beats.
func (m *meter) finish(p *plant) {
	r := &p.result
	r.StuckOpen = p.time-p.pumps[0].shutAt > stuckAfter && p.pumps[0].state == valveOpen
	r.VolumeError, r.EnergyError = p.pumps[0].column.imbalance()
	if !m.ended {
		r.LevelM, r.DeliveryHeadM = p.level, p.head
		for i := range p.pumps {
			r.WasteFlow += p.pumps[i].waste
		}
		r.DriveFlow = r.WasteFlow
		return
	}
	t := m.to - m.from
	r.DriveFlow, r.WasteFlow, r.DeliveredFlow, r.TankFlow = m.kept[0]/t, m.kept[1]/t, m.kept[2]/t, m.kept[3]/t
	r.LevelM, r.DeliveryHeadM = m.kept[4]/t, m.kept[5]/t
	r.Beats, r.BeatsPerMinute = m.beats, 60*float64(m.beats)/t
	r.RippleM = m.keptHighHead - m.keptLowHead
	r.EfficiencyRankine = EfficiencyRankine(r.WasteFlow, r.LevelM, r.DeliveredFlow, r.DeliveryHeadM)
	r.EfficiencyDAubuisson = EfficiencyDAubuisson(r.WasteFlow+r.DeliveredFlow, r.LevelM, r.DeliveredFlow, r.DeliveryHeadM)
}
