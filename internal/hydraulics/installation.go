package hydraulics

import (
	"fmt"
	"math"
)

// Run is a length of one pipe. A run of no length and no minor loss loses
// nothing and may leave its pipe empty.
type Run struct {
	Pipe    Pipe
	LengthM float64
	MinorK  float64 // bends, valves, entrance and exit, on the pipe's velocity head
}

// none says that the run is not there.
func (r *Run) none() bool { return r.LengthM == 0 && r.MinorK == 0 }

// resistance is the run made ready for many flows.
func (r *Run) resistance(f *Fluid) resistance {
	if r.none() {
		return resistance{}
	}
	return newResistance(f, &r.Pipe, r.LengthM, r.MinorK)
}

// loss is the head that a flow loses in the run.
func (r *Run) loss(f *Fluid, flow float64) float64 {
	if r.none() {
		return 0
	}
	return headLoss(*f, r.Pipe, r.LengthM, flow, r.MinorK)
}

// Installation is the whole chain of a ram: a free surface (pool or settling
// box), the supply pipe, an open standpipe, one drive pipe and pump or several
// of the same kind beside each other, the delivery pipe they share, the tank.
// Heights are in metres above the waste valve outlet.
type Installation struct {
	Fluid    Fluid
	SourceM  float64 // free surface that feeds the supply pipe
	Supply   Run     // empty: the drive pipes start at the source itself
	FootM    float64 // drive pipe inlet at the foot of the standpipe; 0 when unknown
	Drive    Run     // of one pump; MinorK comes on top of the ram's entrance loss
	Ram      Ram
	Pumps    int // 0 counts as 1
	Delivery Run
	LiftM    float64 // tank inlet, or the crest of the delivery pipe where that is higher
}

// Operation is an installation in one of its steady states.
type Operation struct {
	Duty                   // of one pump
	Pumps          int     //
	DriveTotal     float64 // m³/s through the supply pipe
	DeliveredTotal float64 // m³/s at the tank
	LevelM         float64 // running level in the standpipe = drive head, m above the waste valve outlet
	DeliveryHeadM  float64 // at the air vessel, m above the waste valve outlet
	SupplyLossM    float64
	DeliveryLossM  float64
}

// OpenState is the other steady state of the supply side: every waste valve
// locked or stuck open, the standpipe drawn down.
type OpenState struct {
	LevelM   float64 // in the standpipe, m above the waste valve outlet
	Flow     float64 // m³/s through the supply pipe
	Velocity float64 // m/s in each drive pipe
}

// Restarts says whether a ram with a closing velocity gets going by itself
// from this state: the open pipe must reach it with five per cent to spare.
func (o OpenState) Restarts(closingVelocity float64) bool {
	return o.Velocity > closingVelocity/0.95
}

// NoRunningLevelError says that the supply pipe cannot keep the standpipe high
// enough for the ram to go on beating: the level falls until the valve stays
// open.
type NoRunningLevelError struct {
	ClosingVelocity float64 // m/s
	SourceM         float64 // m
	NeededM         float64 // m, the level at which the valve just closes
}

func (e *NoRunningLevelError) Error() string {
	return fmt.Sprintf("hydraulics: no running level: the supply pipe draws the standpipe down below the %.3g m that the valve needs", e.NeededM)
}

func (in *Installation) pumps() float64 { return float64(max(in.Pumps, 1)) }

// ram is the pump with the drive pipe's own minor losses added.
func (in *Installation) ram() Ram {
	r := in.Ram
	r.EntranceK += in.Drive.MinorK
	return r
}

func (in *Installation) check(fn string) error {
	r := in.ram()
	if err := r.check(fn, in.Fluid, in.Drive.Pipe, in.Drive.LengthM, in.SourceM, max(in.LiftM, math.Nextafter(in.SourceM, math.Inf(1)))); err != nil {
		return err
	}
	if !(in.LiftM > 0 && in.LiftM < math.Inf(1)) {
		return &RangeError{fn, "lift in m", in.LiftM, 0, math.Inf(1)}
	}
	if !in.Supply.none() {
		if err := checkRun(fn, in.Fluid, in.Supply.Pipe, in.Supply.LengthM, in.Supply.MinorK); err != nil {
			return err
		}
	}
	if !in.Delivery.none() {
		return checkRun(fn, in.Fluid, in.Delivery.Pipe, in.Delivery.LengthM, in.Delivery.MinorK)
	}
	return nil
}

// Running finds the state in which the installation runs at a closing velocity
// (m/s): the level in the standpipe, the delivery head and the flows together.
//
// At a fixed delivery head the level H solves H = source − loss(Q(H)). The
// state that the ram runs in is the highest such level: started with a full
// standpipe, it is the first one that the falling level meets. See level for
// why it is always found.
//
// Errors: as of Cycle, and *NoRunningLevelError.
func (in *Installation) Running(closingVelocity float64) (Operation, error) {
	if err := in.check("Running"); err != nil {
		return Operation{}, err
	}
	r := in.ram()
	c, err := r.columnAt(in.Fluid, in.Drive.Pipe, in.Drive.LengthM, closingVelocity)
	if err != nil {
		return Operation{}, err
	}
	if v := c.openVelocity(in.SourceM); closingVelocity >= latestLambda*v {
		return Operation{}, &StuckOpenError{closingVelocity, v}
	}
	s := in.solver()
	s.c, s.needed = c, c.ka*sq(closingVelocity/latestLambda)/(2*Gravity)
	level, head, ok := s.newton()
	if !ok {
		if level, ok = s.level(); !ok {
			return Operation{}, &NoRunningLevelError{closingVelocity, in.SourceM, s.needed}
		}
		head = s.deliveryHead(level)
	}
	b := c.beat(level, head)
	return in.operation(&c, &b, level, head)
}

func sq(x float64) float64 { return x * x }

// operation puts a solved state together and judges it.
func (in *Installation) operation(c *column, b *beat, level, head float64) (Operation, error) {
	if !(in.LiftM > level) { // the tank would fill by gravity
		return Operation{}, &RangeError{"Running", "lift in m", in.LiftM, level, math.Inf(1)}
	}
	err := c.verdict(b, head)
	if _, weak := err.(*WeakBeatError); err != nil && !weak {
		return Operation{}, err
	}
	n := in.pumps()
	o := Operation{Duty: c.duty(b, level, head), Pumps: max(in.Pumps, 1), LevelM: level, DeliveryHeadM: head}
	o.DriveTotal, o.DeliveredTotal = n*o.DriveFlow, n*o.DeliveredFlow
	o.SupplyLossM, o.DeliveryLossM = in.SourceM-level, head-in.LiftM // solved for
	return o, err
}

// solver holds one installation at one closing velocity while the level is
// looked for.
type solver struct {
	in               *Installation
	c                column
	supply, delivery resistance
	needed           float64 // level at which the valve just closes
	head             float64 // last delivery head, the next first guess
}

func (in *Installation) solver() solver {
	return solver{in: in, supply: in.Supply.resistance(&in.Fluid), delivery: in.Delivery.resistance(&in.Fluid)}
}

// deliveryHead solves h = lift + loss(q(h)) at a level. q falls as h rises, so
// the right side does too and there is one answer between the lift and the
// lift plus the loss of the flow that the bare lift would give.
func (s *solver) deliveryHead(level float64) float64 {
	in := s.in
	// The crest of a pipe that lies lower than the free surface does not
	// hold the water back: the delivery valve sees the drive head at least.
	lo := max(in.LiftM, level*(1+1e-9))
	if in.Delivery.none() {
		return lo
	}
	n := in.pumps()
	// The residual rises with h and is concave where q is convex: Newton's
	// steps from the left come up to the root without passing it.
	h := lo
	if s.head > lo {
		h = s.head
	}
	for range 20 {
		b := s.c.beat(level, h)
		loss, slope := s.delivery.lossSlope(n * b.delivered)
		step := (lo + loss - h) / (1 - slope*n*b.slopes.deliveredByDelivery)
		if h+step < lo {
			step = lo - h
		}
		h += step
		if math.Abs(step) <= 1e-7*h { // the next one would be its square
			s.head = h
			return h
		}
	}
	residual := func(h float64) float64 {
		b := s.c.beat(level, h)
		loss, _ := s.delivery.lossSlope(n * b.delivered)
		return h - lo - loss
	}
	r := residual(lo)
	if r >= 0 { // nothing is delivered, or it costs nothing
		return lo
	}
	s.head = rootBetween(residual, lo, lo-r, r, residual(lo-r))
	return s.head
}

// newton solves level and delivery head together from the top down, which
// takes three or four steps; ok is false where it does not settle on the upper
// level, and level must search.
func (s *solver) newton() (level, head float64, ok bool) {
	in := s.in
	n := in.pumps()
	level, head = in.SourceM, max(in.LiftM, in.SourceM*(1+1e-9))
	for range 10 {
		b := s.c.beat(level, head)
		lossS, slopeS := s.supply.lossSlope(n * (b.waste + b.delivered))
		lossD, slopeD := s.delivery.lossSlope(n * b.delivered)
		f1 := in.SourceM - lossS - level
		f2 := in.LiftM + lossD - head
		slopeS, slopeD = slopeS*n, slopeD*n
		a11 := -1 - slopeS*(b.slopes.wasteByDrive+b.slopes.deliveredByDrive)
		a12 := -slopeS * (b.slopes.wasteByDelivery + b.slopes.deliveredByDelivery)
		a21 := slopeD * b.slopes.deliveredByDrive
		a22 := slopeD*b.slopes.deliveredByDelivery - 1
		det := a11*a22 - a12*a21
		dLevel := (a12*f2 - a22*f1) / det
		dHead := (a21*f1 - a11*f2) / det
		level += dLevel
		head += dHead
		if !(level >= s.needed && level <= in.SourceM*(1+1e-12) && head > level) {
			return 0, 0, false
		}
		if math.Abs(dLevel) <= 1e-7*level && math.Abs(dHead) <= 1e-7*head { // the next step would be its square
			// The level above which no other lies is the one where a drop of
			// level is made good: slope det/a22 below zero.
			return level, head, det > 0
		}
	}
	return 0, 0, false
}

// flow is the total drive flow at a level.
func (s *solver) flow(level float64) float64 {
	b := s.c.beat(level, s.deliveryHead(level))
	return s.in.pumps() * (b.waste + b.delivered)
}

// level finds the highest level H at or above the needed one with
// G(H) = source − loss(Q(H)) − H = 0; ok is false where there is none.
//
// The search goes down from the source, where G ≤ 0. A higher level fills the
// pipe sooner, so the waste flow Q(H) falls towards half of A·v_c and is
// convex; where Q falls and is convex, G is concave, and a secant through two
// points right of the highest root meets zero right of it again: the steps
// come down to it without passing. Where delivery makes Q rise, G falls
// steadily, there is one root and a step past it leaves it bracketed. Both
// ways the result is compared with a dense scan in the tests. Whenever G turns
// positive the root is bracketed and rootBetween ends it; a step that is not
// downward falls back on the plain iteration H → source − loss(Q(H)), which
// comes down monotonically while Q falls with H.
func (s *solver) level() (level float64, ok bool) {
	in := s.in
	if in.Supply.none() {
		return in.SourceM, true
	}
	g := func(h float64) float64 {
		loss, _ := s.supply.lossSlope(s.flow(h))
		return in.SourceM - loss - h
	}
	h0 := in.SourceM
	g0 := g(h0)
	tol := 1e-11 * in.SourceM
	if -g0 <= tol {
		return h0, true
	}
	h1 := h0 + g0
	for range 200 {
		if h1 < s.needed {
			// Past the end: a root may still hide between the last level and
			// the needed one.
			g1 := g(s.needed)
			if g1 < 0 {
				return s.peak(g, h0)
			}
			return rootBetween(g, s.needed, h0, g1, g0), true
		}
		g1 := g(h1)
		if math.Abs(g1) <= tol {
			return h1, true
		}
		if g1 > 0 {
			return rootBetween(g, h1, h0, g1, g0), true
		}
		next := h1 - g1*(h1-h0)/(g1-g0)
		if !(next < h1) {
			next = h1 + g1
		}
		h0, g0, h1 = h1, g1, next
	}
	return h1, true
}

// peak looks for a positive G between the needed level and top, where G is
// negative at both ends: the golden section climbs the one hill of a concave
// function.
func (s *solver) peak(g func(float64) float64, top float64) (float64, bool) {
	const ratio = 0.6180339887498949
	lo, hi := s.needed, top
	a, b := hi-ratio*(hi-lo), lo+ratio*(hi-lo)
	ga, gb := g(a), g(b)
	for range 60 {
		switch {
		case gb >= 0:
			return rootBetween(g, b, top, gb, g(top)), true
		case ga >= 0:
			return rootBetween(g, a, top, ga, g(top)), true
		}
		if hi-lo <= 1e-9*top {
			break
		}
		if ga > gb {
			hi, b, gb = b, a, ga
			a = hi - ratio*(hi-lo)
			ga = g(a)
		} else {
			lo, a, ga = a, b, gb
			b = lo + ratio*(hi-lo)
			gb = g(b)
		}
	}
	return 0, false
}

// TunedTo finds the state in which the installation draws a total drive flow
// (m³/s) with λ inside the tuning range. The flow fixes the supply loss and so
// the level; closing velocity and delivery head follow. Errors as of Running,
// and *TuningError, whose flows are totals.
func (in *Installation) TunedTo(driveTotal float64, tuning [2]float64) (Operation, error) {
	if err := in.check("TunedTo"); err != nil {
		return Operation{}, err
	}
	if !(driveTotal > 0) {
		return Operation{}, &RangeError{"TunedTo", "drive flow in m³/s", driveTotal, 0, math.Inf(1)}
	}
	level := in.SourceM - in.Supply.loss(&in.Fluid, driveTotal)
	r := in.ram()
	if !(level > 0) {
		return Operation{}, &NoRunningLevelError{0, in.SourceM, 0}
	}
	if !(in.LiftM > level) {
		return Operation{}, &RangeError{"TunedTo", "lift in m", in.LiftM, level, math.Inf(1)}
	}
	lo := r.velocityAt(in.Fluid, in.Drive.Pipe, in.Drive.LengthM, level, tuning[0])
	hi := r.velocityAt(in.Fluid, in.Drive.Pipe, in.Drive.LengthM, level, tuning[1])
	s := in.solver()
	residual := func(v float64) float64 {
		c, err := r.columnAt(in.Fluid, in.Drive.Pipe, in.Drive.LengthM, v)
		if err != nil {
			return math.NaN()
		}
		s.c = c
		return s.flow(level) - driveTotal
	}
	flo, fhi := residual(lo), residual(hi)
	const slack = 1e-9 // of the flow: the ends of the range belong to it
	v := lo
	switch {
	case math.Abs(flo) <= slack*driveTotal:
	case math.Abs(fhi) <= slack*driveTotal:
		v = hi
	case flo < 0 && fhi > 0:
		v = rootWithin(1e-9, residual, lo, hi, flo, fhi)
	default:
		return Operation{}, &TuningError{driveTotal, flo + driveTotal, fhi + driveTotal}
	}
	c, err := r.columnAt(in.Fluid, in.Drive.Pipe, in.Drive.LengthM, v)
	if err != nil {
		return Operation{}, err
	}
	s.c = c
	head := s.deliveryHead(level)
	b := c.beat(level, head)
	return in.operation(&c, &b, level, head)
}

// AtTuning finds the state in which λ, the closing velocity's share of the
// locked-open velocity at the running level, has a given value. At fixed λ the
// flow rises with the level, so the level is the one root of a falling
// function. Errors as of Running.
func (in *Installation) AtTuning(lambda float64) (Operation, error) {
	if err := in.check("AtTuning"); err != nil {
		return Operation{}, err
	}
	if !(lambda > 0 && lambda < latestLambda) {
		return Operation{}, &RangeError{"AtTuning", "tuning λ", lambda, 0, latestLambda}
	}
	r := in.ram()
	var failed error
	at := func(level float64) solver {
		v := r.velocityAt(in.Fluid, in.Drive.Pipe, in.Drive.LengthM, level, lambda)
		c, err := r.columnAt(in.Fluid, in.Drive.Pipe, in.Drive.LengthM, v)
		if err != nil {
			failed = err
		}
		s := in.solver()
		s.c = c
		return s
	}
	g := func(level float64) float64 {
		s := at(level)
		return in.SourceM - in.Supply.loss(&in.Fluid, s.flow(level)) - level
	}
	level := in.SourceM
	if !in.Supply.none() {
		lo := 1e-6 * in.SourceM
		glo, ghi := g(lo), g(in.SourceM)
		if glo < 0 { // not even a trickle comes through
			return Operation{}, &NoRunningLevelError{0, in.SourceM, lo}
		}
		level = rootBetween(g, lo, in.SourceM, glo, ghi)
	}
	s := at(level)
	if failed != nil {
		return Operation{}, failed
	}
	head := s.deliveryHead(level)
	b := s.c.beat(level, head)
	return in.operation(&s.c, &b, level, head)
}

// StuckOpen finds the steady state with every waste valve open: the flow of
// the bare pipe run from the source through the valves. The resistance of the
// drive pipe is the one that the cycle uses at the closing velocity, so that λ
// means the same in both states.
func (in *Installation) StuckOpen(closingVelocity float64) (OpenState, error) {
	if err := in.check("StuckOpen"); err != nil {
		return OpenState{}, err
	}
	r := in.ram()
	c, err := r.columnAt(in.Fluid, in.Drive.Pipe, in.Drive.LengthM, closingVelocity)
	if err != nil {
		return OpenState{}, err
	}
	perPump := in.Drive.Pipe.Area() * in.pumps()
	level := in.SourceM
	if !in.Supply.none() {
		g := func(h float64) float64 {
			return in.SourceM - in.Supply.loss(&in.Fluid, perPump*c.openVelocity(h)) - h
		}
		level = rootBetween(g, 0, in.SourceM, in.SourceM, g(in.SourceM))
	}
	v := c.openVelocity(level)
	return OpenState{LevelM: level, Flow: perPump * v, Velocity: v}, nil
}
