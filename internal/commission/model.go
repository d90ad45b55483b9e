package commission

import (
	"errors"
	"fmt"
	"math"

	"route/internal/hydraulics"
	"route/internal/quantity"
)

// Model is an installation as it was planned, and how well each part of it is
// known. Heights are in metres above the waste valve outlet.
type Model struct {
	Fluid hydraulics.Fluid
	// Source is the water of the intake pool, Lift the tank's inlet or the
	// crest of the delivery pipe where that is higher.
	Source, Lift quantity.Measure
	// BoxM is the water in the settling box; NaN without one. UpperM is the
	// supply pipe above it, all of it without a box.
	BoxM           float64
	SupplyPipe     hydraulics.Pipe
	UpperM, LowerM float64
	IntakeK        float64 // screen and entrance
	BoxK           float64 // entrance of the pipe that leaves the box
	RimM           float64 // top of the standpipe; NaN without one
	// OverCrest says that a crest of the delivery pipe, not the inlet, is Lift.
	OverCrest bool
	// MouthM is how far the pool may fall until the pipe's mouth draws air.
	MouthM   float64
	Drive    hydraulics.Run
	Ram      hydraulics.Ram
	Pumps    int
	Delivery hydraulics.Run
	HighAt   []HighPlace // of the delivery pipe
	// ClosingVelocity in m/s is the tuning that was planned.
	ClosingVelocity float64
	// VesselAirM3 is the air in each pump's vessel at the delivery head; 0 takes
	// vesselBeats times what a beat delivers.
	VesselAirM3 float64
	// Calibrated says that the pump's parameters were measured before.
	Calibrated bool

	planned planned
}

// HighPlace is a high place of the delivery pipe that can hold air.
type HighPlace struct {
	AlongM float64 // from the pump
	SagM   float64 // how deep the pipe falls behind it before it rises again
	Name   string  // of its stake
}

// planned are the figures that severities of faults are measured in.
type planned struct {
	waste, delivered, head, level, swing float64
	beats, shutOff, open                 float64
}

// vesselBeats is the air in the vessel over the volume that a beat delivers:
// handbooks have 20 to 50 (from memory).
const vesselBeats = 50

// errNoModel says that the plan's installation does not run in the model.
var errNoModel = errors.New("commission: the planned installation does not run in the model")

// prepare works out the planned state.
func (m *Model) prepare() error {
	p := m.plant([parameters]float64{})
	op, overflow, err := p.run(p.intakeK())
	if err != nil {
		return fmt.Errorf("%w: %w", errNoModel, err)
	}
	if op.open || op.DeliveredTotal <= 0 || overflow > 0.5*op.DriveTotal {
		return errNoModel
	}
	if m.VesselAirM3 == 0 {
		m.VesselAirM3 = vesselBeats * op.DeliveredVolumeM3
	}
	m.planned = planned{waste: op.DriveTotal - op.DeliveredTotal, delivered: op.DeliveredTotal, head: op.DeliveryHeadM, level: op.LevelM}
	y, ok := m.plant([parameters]float64{}).observe()
	if !ok {
		return errNoModel
	}
	m.planned.swing, m.planned.beats, m.planned.shutOff, m.planned.open = y[iSwing], y[iBeats], y[iShutOff], y[iOpen]
	return nil
}

// risen narrows the lift by its own levelled reading: the mean of both by their
// variances.
func (m *Model) risen(readings []Reading) {
	r, ok := find(readings, Rise)
	if !ok || m.OverCrest {
		return
	}
	if r.Sigma == 0 {
		r.Sigma = riseSigmaM
	}
	plan, read := m.Lift.Sigma*m.Lift.Sigma, r.Sigma*r.Sigma
	m.Lift = quantity.Measure{Value: (m.Lift.Value*read + r.Value*plan) / (plan + read), Sigma: math.Sqrt(plan * read / (plan + read))}
}

// has says whether a reading can be taken on this installation.
func (m *Model) has(i index) bool {
	switch i {
	case iBox:
		return !math.IsNaN(m.BoxM)
	case iRest, iRuns, iOverflow:
		return m.standpipe()
	case iScreenOff:
		return m.standpipe() && m.UpperM > 0
	}
	return true
}

func (m *Model) standpipe() bool { return !math.IsNaN(m.RimM) }

// The parameters that a plan leaves open, each in its standard deviations.
const (
	pSource = iota
	pLift
	pSupplyLoss
	pDeliveryLoss
	pWasteK
	pClosing
	pFactor
	pSlip
	pWave
	pTimes
	pDriveLoss
	pRim
	pAir
	parameters
)

// Spreads of the parameters, standard deviations of their logarithms, rims in
// metres. They are judgements: roughness known to 40 % and bends to 10 % leave
// about 12 % of a plastic pipe's loss; K, valve times and slip of a pump that
// nobody has measured scatter as widely as internal/plan draws them or wider;
// a pump that was set as its plan says beats with a closing velocity within a
// tenth of it.
var spread = [parameters]float64{
	pSupplyLoss: 0.12, pDeliveryLoss: 0.12, pWasteK: 0.2, pClosing: 0.08, pFactor: 0.08, pSlip: 0.5,
	pWave: 0.04, pTimes: 0.3, pDriveLoss: 0.2, pRim: 0.02, pAir: 0.4,
}

// calibratedSpread replaces those that a calibration has narrowed.
var calibratedSpread = map[int]float64{pWasteK: 0.1, pFactor: 0.05, pSlip: 0.3}

// plant is one installation in one condition.
type plant struct {
	m                   *Model
	source, lift        float64
	poolDrop            float64 // while running
	upperK, lowerK      float64 // of stoppages, on the supply pipe's velocity
	supplyLoss          float64 // factor
	screenK             float64 // of what clogs the screen
	rim                 float64
	drive               hydraulics.Run
	delivery            hydraulics.Run
	ram                 hydraulics.Ram
	fluid               hydraulics.Fluid
	closing             float64
	air                 float64
	valveLeak, pipeLeak float64 // m³/s per √m; the valves' of all pumps
}

// plant lays the parameters over the model.
func (m *Model) plant(theta [parameters]float64) *plant {
	by := func(k int) float64 {
		s := spread[k]
		if narrow, ok := calibratedSpread[k]; ok && m.Calibrated {
			s = narrow
		}
		return math.Exp(s * theta[k])
	}
	p := &plant{
		m: m, fluid: m.Fluid, ram: m.Ram, drive: m.Drive, delivery: m.Delivery,
		source: m.Source.Value + m.Source.Sigma*theta[pSource], lift: m.Lift.Value + m.Lift.Sigma*theta[pLift],
		rim: m.RimM + spread[pRim]*theta[pRim], supplyLoss: by(pSupplyLoss), closing: m.ClosingVelocity * by(pClosing), air: m.VesselAirM3 * by(pAir),
	}
	loss := by(pDeliveryLoss)
	p.delivery.LengthM *= loss
	p.delivery.MinorK *= loss
	p.ram.WasteValveK *= by(pWasteK)
	p.ram.VolumetricFactor = math.Min(1, p.ram.VolumetricFactor*by(pFactor))
	p.ram.SlipM3 *= by(pSlip)
	p.ram.CloseTimeS *= by(pTimes)
	p.ram.OpenTimeS *= by(pTimes)
	p.ram.EntranceK *= by(pDriveLoss)
	p.drive.Pipe.Roughness *= math.Pow(by(pDriveLoss), 2)
	p.softer(by(pWave))
	return p
}

// softer makes the waves in the drive pipe so many times as fast: their speed
// squared is proportional to both moduli together.
func (p *plant) softer(factor float64) {
	p.fluid.BulkModulus *= factor * factor
	p.drive.Pipe.YoungModulus *= factor * factor
}

// intakeK is the loss coefficient of the intake as it is.
func (p *plant) intakeK() float64 { return p.m.IntakeK + p.screenK }

// supplyRun is a run of supply pipe with its losses as they are.
func (p *plant) supplyRun(lengthM, k float64) hydraulics.Run {
	return hydraulics.Run{Pipe: p.m.SupplyPipe, LengthM: lengthM * p.supplyLoss, MinorK: k * p.supplyLoss}
}

// running is a steady state, one of the two.
type running struct {
	hydraulics.Operation
	open bool    // the waste valves never shut
	back float64 // m³/s that leaks back through the delivery valves
}

// chain is a free surface and the pipe from it to the head of the drive pipe.
type chain struct {
	source float64
	supply hydraulics.Run
}

// chains are those that may rule, for an intake with a loss coefficient: from
// the pool, and from the settling box while it is full.
func (p *plant) chains(intakeK float64) (pool chain, box *chain, upper hydraulics.Run) {
	m := p.m
	source := p.source - p.poolDrop
	pool = chain{source, p.supplyRun(m.UpperM+m.LowerM, intakeK+p.upperK+p.lowerK)}
	if m.UpperM == 0 {
		pool.supply = hydraulics.Run{}
	}
	if math.IsNaN(m.BoxM) {
		return pool, nil, hydraulics.Run{}
	}
	pool.supply.MinorK += m.BoxK * p.supplyLoss
	// The box moves with the pool's own error: it was seated from there.
	box = &chain{source: m.BoxM + p.source - m.Source.Value}
	if m.LowerM > 0 {
		box.supply = p.supplyRun(m.LowerM, m.BoxK+p.lowerK)
	}
	return pool, box, p.supplyRun(m.UpperM, intakeK+p.upperK)
}

// run finds the running state and what runs over the standpipe's rim.
func (p *plant) run(intakeK float64) (running, float64, error) {
	pool, box, upper := p.chains(intakeK)
	state, err := p.under(pool)
	passes := func(rim float64) float64 { return p.passes(pool, rim) }
	if box != nil {
		full, fullErr := p.under(*box)
		need := p.loss(upper, full.DriveTotal)
		if fullErr == nil && pool.source-need >= box.source {
			state, err = full, nil
		}
		passes = func(rim float64) float64 {
			return math.Min(p.passes(*box, rim), p.passes(pool, rim))
		}
	}
	if err != nil || math.IsNaN(p.rim) || state.LevelM <= p.rim {
		return state, 0, err
	}
	state, err = p.under(chain{source: p.rim})
	return state, math.Max(0, passes(p.rim)-state.DriveTotal), err
}

// passes is what a chain brings to a level.
func (p *plant) passes(c chain, level float64) float64 {
	fall := c.source - level
	if fall <= 0 {
		return 0
	}
	if c.supply.LengthM == 0 {
		return math.Inf(1)
	}
	q, err := hydraulics.FlowFor(p.fluid, c.supply.Pipe, c.supply.LengthM, fall, c.supply.MinorK)
	if err != nil {
		return math.NaN()
	}
	return q
}

func (p *plant) loss(r hydraulics.Run, flow float64) float64 {
	if r.LengthM == 0 || flow <= 0 {
		return 0
	}
	h, err := hydraulics.HeadLoss(p.fluid, r.Pipe, r.LengthM, flow, r.MinorK)
	if err != nil {
		return math.NaN()
	}
	return h
}

// installation is the plant under one chain.
func (p *plant) installation(c chain) hydraulics.Installation {
	return hydraulics.Installation{Fluid: p.fluid, SourceM: c.source, Supply: c.supply, Drive: p.drive, Ram: p.ram, Pumps: p.m.Pumps, Delivery: p.delivery, LiftM: p.lift}
}

// under finds the steady state under one chain, leaks included.
func (p *plant) under(c chain) (running, error) {
	in := p.installation(c)
	if p.valveLeak == 0 && p.pipeLeak == 0 {
		return p.settle(&in)
	}
	// A leak hangs on the head and the head on what is left to flow; three
	// rounds settle it far below the error of any reading.
	state, err := p.settle(&in)
	pumps := float64(max(p.m.Pumps, 1))
	leak := 0.0
	for range 3 {
		if err != nil || state.open {
			return state, err
		}
		if p.valveLeak > 0 {
			// What flows back between two beats is slip.
			leak = p.valveLeak * math.Sqrt(state.DeliveryHeadM)
			in.Ram.SlipM3 = p.ram.SlipM3 + leak/pumps*state.PeriodS/p.ram.VolumetricFactor
		} else {
			// A leak half way up: the lower half carries what is pumped, the
			// upper half what is left.
			leak = math.Min(state.DeliveredTotal, p.pipeLeak*math.Sqrt(state.DeliveryHeadM/2))
			half := hydraulics.Run{Pipe: p.delivery.Pipe, LengthM: p.delivery.LengthM / 2, MinorK: p.delivery.MinorK / 2}
			in.Delivery = half
			in.LiftM = p.lift + p.loss(half, state.DeliveredTotal-leak)
		}
		state, err = p.settle(&in)
	}
	if p.valveLeak > 0 {
		state.back = leak
	}
	if p.pipeLeak > 0 && err == nil {
		state.DeliveredTotal = math.Max(0, state.DeliveredTotal-leak)
	}
	return state, err
}

// settle is the running state of an installation, or the one that it falls
// into when it does not run or reaches the tank no more.
func (p *plant) settle(in *hydraulics.Installation) (running, error) {
	op, err := in.Running(p.closing)
	var (
		stuck *hydraulics.StuckOpenError
		dry   *hydraulics.NoRunningLevelError
		none  *hydraulics.NoDeliveryError
		weak  *hydraulics.WeakBeatError
	)
	switch {
	case err == nil, errors.As(err, &weak):
		return running{Operation: op}, nil
	case errors.As(err, &stuck), errors.As(err, &dry):
		state, err := in.StuckOpen(p.closing)
		if err != nil {
			return running{}, err
		}
		r := running{open: true}
		r.LevelM, r.DriveTotal, r.DeliveryHeadM, r.PeriodS = state.LevelM, state.Flow, in.LiftM, math.Inf(1)
		return r, nil
	case errors.As(err, &none):
		return p.lower(in)
	}
	return running{}, err
}

// lower looks for the height at which the water in the delivery pipe stands
// when the pump no longer lifts it to the tank.
func (p *plant) lower(in *hydraulics.Installation) (running, error) {
	reach := *in
	lo, hi := in.SourceM*1.02, in.LiftM
	var best running
	for range 12 {
		reach.LiftM = (lo + hi) / 2
		op, err := reach.Running(p.closing)
		var weak *hydraulics.WeakBeatError
		if err == nil || errors.As(err, &weak) {
			lo, best = reach.LiftM, running{Operation: op}
		} else {
			hi = reach.LiftM
		}
	}
	if best.PeriodS == 0 {
		return best, errNoModel
	}
	best.DriveTotal -= best.DeliveredTotal // it falls back
	best.DeliveredTotal, best.DeliveryHeadM = 0, lo
	return best, nil
}

// observe predicts every reading; ok is false where the model says nothing.
func (p *plant) observe() (y [kinds]float64, ok bool) {
	m := p.m
	pumps := float64(max(m.Pumps, 1))
	state, overflow, err := p.run(p.intakeK())
	if err != nil {
		return y, false
	}
	pool, box, upper := p.chains(p.intakeK())
	y[iPool] = p.source - math.Min(p.poolDrop, m.MouthM)
	y[iRest] = p.source
	if box != nil {
		y[iBox] = math.Min(box.source, pool.source-p.loss(upper, state.DriveTotal+overflow))
		y[iRest] = box.source
	}
	y[iRuns], y[iOverflow] = state.LevelM, overflow
	if m.standpipe() {
		y[iRest], y[iRuns] = math.Min(y[iRest], p.rim), math.Min(state.LevelM, p.rim)
	}
	y[iWaste], y[iDelivered] = state.DriveTotal-state.DeliveredTotal+state.back, state.DeliveredTotal
	if p.pipeLeak > 0 && !state.open { // what leaks out was pumped
		y[iWaste] = pumps * state.WasteFlow
	}
	if !state.open {
		y[iBeats] = state.BeatsPerMinute()
	}
	y[iGaugeRest], y[iGaugeRuns] = p.lift, state.DeliveryHeadM
	y[iSwing] = p.swing(&state)
	y[iDelivered] *= stiffShare(y[iSwing] / state.DeliveryHeadM)
	y[iHeld] = p.held(y[iRest])
	y[iShutOff] = p.shutOff(&state)
	y[iScreenOff] = y[iRuns]
	if m.has(iScreenOff) && m.IntakeK > 0 {
		off, _, err := p.run(0)
		if err != nil {
			return y, false
		}
		y[iScreenOff] = math.Min(off.LevelM, p.rim)
	}
	y[iOpen], _ = p.heldOpen()
	for _, v := range y {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return y, false
		}
	}
	return y, true
}

// heldOpen is what runs with the waste valves held open, and the level at the
// head of the drive pipe; the standpipe is drawn down, so that its rim does not
// matter.
func (p *plant) heldOpen() (flow, level float64) {
	pool, box, upper := p.chains(p.intakeK())
	flow = p.openUnder(pool)
	level = pool.source - p.loss(pool.supply, flow)
	if box != nil {
		if full := p.openUnder(*box); pool.source-p.loss(upper, full) >= box.source {
			return full, box.source - p.loss(box.supply, full)
		}
	}
	return flow, level
}

// openUnder is the flow of a chain and the open drive pipes behind it. The
// running model takes the friction of the drive pipe at the speed at which its
// valve shuts; a valve that is held knows nothing of that.
func (p *plant) openUnder(c chain) float64 {
	pumps := float64(max(p.m.Pumps, 1))
	open := p.drive
	open.MinorK += p.ram.EntranceK + p.ram.WasteValveK
	most, err := hydraulics.FlowFor(p.fluid, open.Pipe, open.LengthM, c.source, open.MinorK)
	if err != nil {
		return math.NaN()
	}
	if c.supply.LengthM == 0 {
		return pumps * most
	}
	missing := func(square float64) float64 { // head that a flow takes beyond what there is
		q := math.Sqrt(square)
		return p.loss(c.supply, q) + p.loss(open, q/pumps) - c.source
	}
	// Losses grow nearly with the square of the flow: over the squares the rule
	// of false position runs along almost a straight line. An end that stays
	// twice is halved (the Illinois rule), so that it cannot hang.
	lo, hi := 0.0, pumps*most*pumps*most
	below, above, last := -c.source, missing(hi), 0.0
	for range 60 {
		square := lo - below*(hi-lo)/(above-below)
		off := missing(square)
		if math.IsNaN(off) || math.Abs(off) < 1e-8*c.source {
			return math.Sqrt(square)
		}
		if off < 0 {
			if lo, below = square, off; last < 0 {
				above /= 2
			}
		} else {
			if hi, above = square, off; last > 0 {
				below /= 2
			}
		}
		last = off
	}
	return math.Sqrt(lo)
}

// polytropic is the exponent of the air in the vessel, between a slow and a
// fast change of its volume (from memory).
const polytropic = 1.2

// swing is how far the head in the air vessel swings over a beat: what a beat
// brings above what flows on meanwhile presses the air together. It cannot
// swing much further than from nothing to twice the mean.
func (p *plant) swing(s *running) float64 {
	if s.open || s.DeliveredVolumeM3 == 0 {
		return 0
	}
	brings := s.DeliveredVolumeM3 * 0.9 // the rest flows on while it comes
	rise := polytropic * (s.DeliveryHeadM + p.fluid.BarometricHead) * brings / p.air
	most := 2 * s.DeliveryHeadM
	return rise / (1 + rise/most)
}

// stiffShare is what is left of the delivered flow when the head swings by a
// share of its mean: a beat works against the upper half of the swing.
func stiffShare(share float64) float64 { return 1 / (1 + share*share/4) }

// held is what the gauge shows holdS after the pump was stopped and the stop
// valve shut: the water that leaks back through the delivery valves lets the
// air in the vessels expand, at constant temperature, down to the level of the
// water that feeds the drive pipe.
func (p *plant) held(feed float64) float64 {
	head := p.lift
	if p.valveLeak == 0 {
		return head
	}
	air := p.air * float64(max(p.m.Pumps, 1))
	constant := (head + p.fluid.BarometricHead) * air
	const steps = 60
	for range steps {
		air += p.valveLeak * math.Sqrt(math.Max(0, head-feed)) * holdS / steps
		head = math.Max(feed, constant/air-p.fluid.BarometricHead)
	}
	return head
}

// shutOff is the highest reading with the delivery shut: the head that the
// beat can reach, or that at which all that it lifts leaks back.
func (p *plant) shutOff(s *running) float64 {
	if s.open {
		return p.lift
	}
	in := p.installation(chain{source: s.LevelM})
	in.Delivery = hydraulics.Run{}
	reach := s.ShutoffHeadM
	if p.valveLeak == 0 {
		return reach
	}
	pumps := float64(max(p.m.Pumps, 1))
	lo, hi := s.LevelM*1.02, reach
	for range 12 {
		in.LiftM = (lo + hi) / 2
		op, err := in.Running(p.closing)
		var weak *hydraulics.WeakBeatError
		if (err == nil || errors.As(err, &weak)) && op.DeliveredTotal/pumps > p.valveLeak/pumps*math.Sqrt(in.LiftM) {
			lo = in.LiftM
		} else {
			hi = in.LiftM
		}
	}
	return lo
}
