package hydraulics

import "math"

// FillTime is the time in seconds that water let into an empty line at a level
// needs to reach its lower end. The front moves with the flow that the fall
// behind it gives, friction included; the inertia of the column, a few
// seconds, is left out. A line that rises above the level never fills: a
// *RangeError names the station.
func FillTime(f Fluid, l Line, levelM float64) (float64, error) {
	if err := l.check("FillTime"); err != nil {
		return 0, err
	}
	total, length, k := 0.0, 0.0, 0.0
	for i := range l.Pipe {
		// Cut a stretch so that the fall to the front is known along it.
		const cuts = 10
		dx, dz := l.PipeLength(i)/cuts, (l.Invert[i+1]-l.Invert[i])/cuts
		if l.MinorK != nil {
			k += l.MinorK[i]
		}
		for c := range cuts {
			z := l.Invert[i] + dz*(float64(c)+0.5)
			fall := levelM - z
			if !(fall > 0) {
				return 0, &RangeError{"FillTime", "invert in m", z, math.Inf(-1), levelM}
			}
			// The velocity head of the front itself is one more K.
			q, err := FlowFor(f, l.Pipe[i], length+dx/2, fall, k+1)
			if err != nil {
				return 0, err
			}
			total += dx * l.Pipe[i].Area() / q
			length += dx
		}
	}
	return total, nil
}

// Overflow is the flow in m³/s that runs over the top of a standpipe while the
// pump stands still: what the supply pipe passes under the fall from source to
// top. It is 0 where the top stands above the source.
func (in *Installation) Overflow(standpipeTopM float64) (float64, error) {
	fall := in.SourceM - standpipeTopM
	if fall <= 0 || in.Supply.none() {
		return 0, nil
	}
	return FlowFor(in.Fluid, in.Supply.Pipe, in.Supply.LengthM, fall, in.Supply.MinorK+1)
}

// selfRunning is the back pressure in m that a waste valve needs behind it to
// fall open by itself: 10 psi, Clemson extension.
const selfRunning = 10 * psi

// Start is what it takes to get a pump going.
type Start struct {
	// StrokesShut is the number of strokes by hand until the pump runs by
	// itself with the delivery valve shut or barely open: they press the air
	// in the vessel together.
	StrokesShut float64
	// StrokesOpen is the number with the delivery pipe open and empty, which
	// has to be filled to the same height as well.
	StrokesOpen float64
	// TankAfterS is the time from running by itself until water comes out at
	// the tank.
	TankAfterS float64
}

// Starting works out Start for a closing velocity, with the air in the vessel
// (m³, at atmospheric pressure) and a delivery pipe that rises evenly. Common
// practice, no source, is 10 to 100 strokes. Errors as of Running; a lift below
// 10 psi gives infinite strokes, since the pump then never runs by itself.
func (in *Installation) Starting(closingVelocity, vesselAirM3 float64) (Start, error) {
	o, err := in.Running(closingVelocity)
	if _, weak := err.(*WeakBeatError); err != nil && !weak {
		return Start{}, err
	}
	r := in.ram()
	c, err := r.columnAt(in.Fluid, in.Drive.Pipe, in.Drive.LengthM, closingVelocity)
	if err != nil {
		return Start{}, err
	}
	s := Start{StrokesShut: math.Inf(1), StrokesOpen: math.Inf(1)}
	riser := 0.0
	if !in.Delivery.none() {
		riser = in.Delivery.Pipe.Area() * in.Delivery.LengthM
	}
	if in.LiftM > selfRunning {
		s.StrokesShut = in.strokes(&c, o.LevelM, vesselAirM3, 0)
		s.StrokesOpen = in.strokes(&c, o.LevelM, vesselAirM3, riser)
	}
	s.TankAfterS, err = in.riseTime(closingVelocity, riser)
	return s, err
}

// strokes counts the beats that lift the head at the vessel from nothing to
// selfRunning: each brings the volume that its beat delivers at the head it
// finds, the air gives way by Boyle's law, the pipe fills evenly.
func (in *Installation) strokes(c *column, level, air, riser float64) float64 {
	const parts = 50
	n := 0.0
	p0 := in.Fluid.BarometricHead
	for i := range parts {
		h := selfRunning * (float64(i) + 0.5) / parts
		room := air*p0/sq(p0+h) + riser/in.LiftM
		b := c.beat(level, max(h, 1.02*level)) // below the drive head the water comes by itself
		n += room * selfRunning / parts / (in.pumps() * b.deliveryV)
	}
	return n
}

// riseTime follows the water up the delivery pipe from selfRunning to the tank.
func (in *Installation) riseTime(closingVelocity, riser float64) (float64, error) {
	const parts = 20
	total := 0.0
	part := *in
	for i := range parts {
		share := (float64(i) + 0.5) / parts
		lift := in.LiftM * share
		if lift < selfRunning {
			continue
		}
		part.LiftM = lift
		part.Delivery.LengthM = in.Delivery.LengthM * share
		o, err := part.Running(closingVelocity)
		if _, weak := err.(*WeakBeatError); err != nil && !weak {
			return 0, err
		}
		total += riser / parts / o.DeliveredTotal
	}
	return total, nil
}
