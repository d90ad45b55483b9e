package commission

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"route/internal/hydraulics"
	"route/internal/quantity"
)

// The truth of the tests below does not come from the model that diagnoses.
// Running, flows, beats, swings and shut-off are simulated in time by the
// method of characteristics (hydraulics.Simulation), which shares the friction
// formula with the closed form and nothing else. The parameters of pump and
// pipes are drawn evenly, not normally as the diagnosis takes them, from ±√3
// standard deviations; readings are those of one gauge with one error of
// scale, of buckets, watches and rules, and are rounded as people read them.

// drawn is an installation as planned and as it came to be.
type drawn struct {
	model Model
	real  Model // with the parameters that nobody knows
	cause Cause
	place *HighPlace
	// What is wrong.
	airLock, valveLeak, pipeLeak, throttleK, poolDrop, screenK, blockK, airShare, tuning, rim, wave float64
}

func pipeOf(t testing.TB, name string) hydraulics.Pipe {
	t.Helper()
	for _, p := range hydraulics.Products() {
		if p.Name == name {
			return p.Pipe
		}
	}
	t.Fatalf("there is no pipe %q", name)
	return hydraulics.Pipe{}
}

func pick[T any](r *rand.Rand, list ...T) T { return list[r.IntN(len(list))] }

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// evenly draws a factor whose logarithm is even with a standard deviation.
func evenly(r *rand.Rand, sigma float64) float64 {
	return math.Exp(sigma * math.Sqrt(3) * between(r, -1, 1))
}

// drawPlan draws an installation as a plan would have it; false where the
// draw makes none.
func drawPlan(t testing.TB, r *rand.Rand) (Model, bool) {
	water, err := hydraulics.Water(283.15, 300)
	if err != nil {
		t.Fatal(err)
	}
	size := pick(r, "1-1/4 in", "1-1/2 in", "2 in", "2 in")
	drive := pipeOf(t, "steel Sch 40 "+size)
	running := between(r, 1.2, 5)
	m := Model{
		Fluid: water, BoxM: math.NaN(), RimM: math.NaN(),
		Drive:   hydraulics.Run{Pipe: drive, LengthM: between(r, 3, 6) * running},
		Ram:     hydraulics.DefaultRam(drive.Inside),
		Pumps:   pick(r, 1, 1, 1, 2),
		Lift:    quantity.Measure{Value: running * between(r, 4, 12), Sigma: between(r, 0.1, 0.8)},
		IntakeK: 1.5, BoxK: 0.5, MouthM: 0.15,
		SupplyPipe: pipeOf(t, pick(r, "PE100 SDR 17 DN75", "PE100 SDR 17 DN90", "PE100 SDR 17 DN110")),
		Delivery:   hydraulics.Run{Pipe: pipeOf(t, pick(r, "PE100 SDR 11 DN25", "PE100 SDR 11 DN32", "PE100 SDR 11 DN40")), LengthM: between(r, 60, 400)},
	}
	m.Drive.LengthM = math.Max(6, m.Drive.LengthM)
	// Tuned to a share of the velocity with the valve locked open.
	in := hydraulics.Installation{Fluid: water, SourceM: running, Drive: m.Drive, Ram: m.Ram, Pumps: m.Pumps, Delivery: m.Delivery, LiftM: m.Lift.Value}
	op, err := in.AtTuning(between(r, 0.45, 0.7))
	if err != nil || op.Mu < 3.5 || op.DeliveryLossM > 0.2*m.Lift.Value {
		return m, false
	}
	m.ClosingVelocity = op.ClosingVelocity
	whole := between(r, 15, 90)
	m.UpperM = whole
	if r.Float64() < 0.5 {
		m.UpperM = between(r, 5, 10)
		m.LowerM = whole
	}
	loss := func(length, k float64) float64 {
		h, err := hydraulics.HeadLoss(water, m.SupplyPipe, length, op.DriveTotal, k)
		if err != nil {
			t.Fatal(err)
		}
		return h
	}
	source := running + loss(m.UpperM+m.LowerM, m.IntakeK)
	if m.LowerM > 0 {
		m.BoxM = running + loss(m.LowerM, m.BoxK)
		source = m.BoxM + loss(m.UpperM, m.IntakeK) + 0.1
	}
	if source-running > 0.4*running || source-running < 0.05 {
		return m, false
	}
	m.Source = quantity.Measure{Value: source, Sigma: between(r, 0.03, 0.4)}
	m.RimM = running + between(r, 0.15, 0.4)
	along := 0.0
	for range r.IntN(3) {
		along += between(r, 0.15, 0.35) * m.Delivery.LengthM
		m.HighAt = append(m.HighAt, HighPlace{AlongM: along, SagM: between(r, 0.8, 0.25*m.Lift.Value)})
	}
	return m, m.prepare() == nil
}

// drawReal draws how it came to be.
func drawReal(r *rand.Rand, m Model) Model {
	even := func(sigma float64) float64 { return sigma * math.Sqrt(3) * between(r, -1, 1) }
	shift := even(m.Source.Sigma)
	m.Source.Value += shift
	m.BoxM += shift
	m.RimM += even(spread[pRim])
	m.Lift.Value += even(m.Lift.Sigma)
	loss := evenly(r, spread[pSupplyLoss])
	m.UpperM, m.LowerM, m.IntakeK, m.BoxK = m.UpperM*loss, m.LowerM*loss, m.IntakeK*loss, m.BoxK*loss
	loss = evenly(r, spread[pDeliveryLoss])
	m.Delivery.LengthM *= loss
	m.Ram.WasteValveK *= evenly(r, spread[pWasteK])
	m.Ram.DeliveryValveK *= evenly(r, 0.2) // which the diagnosis takes as known
	m.Ram.EntranceK *= evenly(r, spread[pDriveLoss])
	m.Ram.CloseTimeS *= evenly(r, spread[pTimes])
	m.Ram.OpenTimeS *= evenly(r, spread[pTimes])
	m.Ram.VolumetricFactor = math.Min(1, m.Ram.VolumetricFactor*evenly(r, spread[pFactor]))
	m.Ram.SlipM3 *= evenly(r, spread[pSlip])
	m.Drive.Pipe.Roughness *= evenly(r, 0.4)
	m.ClosingVelocity *= evenly(r, spread[pClosing])
	m.VesselAirM3 *= evenly(r, spread[pAir])
	return m
}

// drawFault draws what is wrong. How bad faults are is drawn evenly, from
// what costs something to what nearly stops the pump.
func (d *drawn) drawFault(r *rand.Rand, cause Cause) bool {
	m := &d.model
	d.cause, d.airShare, d.tuning, d.wave, d.rim = cause, 1, 1, 1, m.RimM
	blocked := func() float64 {
		v := m.planned.waste / m.SupplyPipe.Area()
		return between(r, 0.12, 0.6) * m.planned.level * twoG / (v * v)
	}
	switch cause {
	case AirLock:
		if len(m.HighAt) == 0 {
			return false
		}
		d.place = &m.HighAt[r.IntN(len(m.HighAt))]
		d.airLock = between(r, 0.1, 1) * d.place.SagM
		if d.airLock < 0.05*m.Lift.Value {
			return false
		}
	case DeliveryValveLeak:
		d.valveLeak = between(r, 0.2, 0.8) * m.planned.delivered / math.Sqrt(m.planned.head)
	case DeliveryPipeLeak:
		d.pipeLeak = between(r, 0.2, 0.8) * m.planned.delivered / math.Sqrt(m.planned.head)
	case DeliveryThrottled:
		v := m.planned.delivered / m.Delivery.Pipe.Area()
		d.throttleK = between(r, 0.15, 0.9) * m.Lift.Value * twoG / (v * v)
	case SupplyLow:
		d.poolDrop = between(r, 0.1, 0.5) * m.planned.level
	case ScreenClogged:
		d.screenK = blocked()
	case SupplyBlocked:
		d.blockK = blocked()
	case VesselWaterlogged:
		d.airShare = between(r, 0.01, 0.15)
	case TunedTooLight:
		d.tuning = between(r, 0.5, 0.78)
	case TunedTooHeavy:
		d.tuning = between(r, 1.28, 1.8)
	case StandpipeShort:
		d.rim = m.planned.level * between(r, 0.65, 0.93)
	case DriveAir:
		d.wave = between(r, 0.35, 0.7)
	}
	return true
}

// simulation is the real installation in time, with the given chain above.
func (d *drawn) simulation(c chain) hydraulics.Simulation {
	m := &d.real
	s := hydraulics.Simulation{
		Installation: hydraulics.Installation{
			Fluid: m.Fluid, SourceM: c.source, Supply: c.supply, Drive: m.Drive, Ram: m.Ram, Pumps: m.Pumps,
			Delivery: m.Delivery, LiftM: m.Lift.Value + d.airLock,
		},
		ClosingVelocity: m.ClosingVelocity * d.tuning, Reaches: 6, StandpipeBoreM: 0.15,
		VesselAirM3: m.VesselAirM3 * d.airShare * float64(m.Pumps), ValveLeak: d.valveLeak / float64(m.Pumps), PipeLeak: d.pipeLeak,
		WarmUpS: 35, MeasureS: 15,
	}
	s.Delivery.MinorK += d.throttleK
	s.Fluid.BulkModulus *= d.wave * d.wave
	s.Drive.Pipe.YoungModulus *= d.wave * d.wave
	s.StandpipeTopM = d.rim + m.RimM - d.model.RimM
	if c.supply.LengthM == 0 {
		s.StandpipeTopM = 0
	}
	return s
}

// above are the pipes above the standpipe: the whole from the pool, and that
// from the settling box while it is full.
func (d *drawn) above(screenK, intakeK float64) (pool chain, box *chain, upper hydraulics.Run) {
	m := &d.real
	run := func(length, k float64) hydraulics.Run {
		return hydraulics.Run{Pipe: m.SupplyPipe, LengthM: length, MinorK: k}
	}
	if m.LowerM == 0 {
		return chain{m.Source.Value - d.poolDrop, run(m.UpperM, intakeK+screenK+d.blockK)}, nil, upper
	}
	pool = chain{m.Source.Value - d.poolDrop, run(m.UpperM+m.LowerM, intakeK+m.BoxK+screenK+d.blockK)}
	return pool, &chain{m.BoxM, run(m.LowerM, m.BoxK+d.blockK)}, run(m.UpperM, intakeK+screenK)
}

func headLoss(m *Model, r hydraulics.Run, q float64) float64 {
	h, err := hydraulics.HeadLoss(m.Fluid, r.Pipe, r.LengthM, q, r.MinorK)
	if err != nil {
		return math.NaN()
	}
	return h
}

// runs simulates the running under whatever rules above.
func (d *drawn) runs(t testing.TB, screenK, intakeK float64) (hydraulics.Simulated, float64) {
	run := func(c chain) hydraulics.Simulated {
		s := d.simulation(c)
		out, err := s.Run(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	pool, box, upper := d.above(screenK, intakeK)
	boxLevel := math.NaN()
	out := hydraulics.Simulated{}
	if box != nil {
		out = run(*box)
		boxLevel = box.source
		if pool.source-headLoss(&d.real, upper, out.DriveFlow) >= box.source {
			return out, boxLevel
		}
	}
	out = run(pool)
	return out, pool.source - headLoss(&d.real, upper, out.DriveFlow)
}

// read simulates what the crew reads. ok is false where the draw is not an
// installation that runs.
func (d *drawn) read(t testing.TB, r *rand.Rand) (readings []Reading, ok bool) {
	m := &d.real
	out, boxLevel := d.runs(t, d.screenK, m.IntakeK)
	if out.Beats == 0 && !out.StuckOpen {
		return nil, false // it stalls with its valve shut; nobody commissions that
	}
	y := map[Kind]float64{}
	pool, box, upper := d.above(d.screenK, m.IntakeK)
	rim := d.rim + m.RimM - d.model.RimM
	y[PoolLevel] = m.Source.Value - math.Min(d.poolDrop, m.MouthM)
	y[StandpipeRest] = math.Min(m.Source.Value, rim)
	if box != nil {
		y[BoxLevel] = math.Min(boxLevel, box.source)
		y[StandpipeRest] = math.Min(box.source, rim)
	}
	y[StandpipeRuns] = out.LevelM
	// A standpipe that overflows holds its level at the rim; what runs over is
	// what the pipe brings at that level and the pump does not take.
	if out.LevelM > rim-0.005 {
		brings := (&plant{m: m, fluid: m.Fluid, source: m.Source.Value}).passes(pool, rim)
		if box != nil {
			brings = math.Min(brings, (&plant{m: m, fluid: m.Fluid}).passes(*box, rim))
		}
		y[Overflow] = math.Max(0, brings-out.DriveFlow)
	}
	// Rounding, workmanship and slip of the real pump are left out of the
	// simulation by itself.
	pumped := out.TankFlow
	if out.StuckOpen || out.Beats == 0 {
		y[Beats], y[Delivered], y[WasteFlow], y[GaugeRuns], y[GaugeSwing] = 0, 0, out.DriveFlow, m.Lift.Value+d.airLock, 0
	} else {
		y[Beats] = out.BeatsPerMinute
		lost := (1-m.Ram.VolumetricFactor)*out.DeliveredFlow + m.Ram.VolumetricFactor*m.Ram.SlipM3*out.BeatsPerMinute/60*float64(m.Pumps)
		y[Delivered] = math.Max(0, pumped-lost)
		y[WasteFlow] = out.WasteFlow
		// The simulation's own flow is greater by what is lost, and so is its
		// friction.
		delivery := m.Delivery
		delivery.MinorK += d.throttleK
		y[GaugeRuns] = out.DeliveryHeadM - headLoss(m, delivery, out.TankFlow) + headLoss(m, delivery, y[Delivered])
		y[GaugeSwing] = out.RippleM
	}
	y[GaugeRest] = m.Lift.Value + d.airLock
	y[GaugeHeld] = d.held(y[StandpipeRest])
	y[ShutOff] = d.shutOff(t, &out)
	y[ScreenOff] = out.LevelM
	switch {
	case d.screenK > 0:
		off, _ := d.runs(t, 0, 0)
		y[ScreenOff] = off.LevelM
	case box == nil: // a clean screen takes little: at the same flow
		v := out.DriveFlow / m.SupplyPipe.Area()
		y[ScreenOff] = math.Min(out.LevelM+m.IntakeK*v*v/twoG, math.Max(rim, out.LevelM))
	}
	y[OpenFlow] = d.open(pool, box, upper)
	return d.reading(r, y), true
}

// held is the gauge after the hold: an isothermal cushion stepped by seconds.
func (d *drawn) held(feed float64) float64 {
	m := &d.real
	head, atmosphere := m.Lift.Value+d.airLock, m.Fluid.BarometricHead
	air := m.VesselAirM3 * d.airShare * float64(m.Pumps)
	for range int(holdS) {
		out := d.valveLeak * math.Sqrt(math.Max(0, head-feed))
		next := (head+atmosphere)*air/(air+out) - atmosphere
		air += out
		head = math.Max(feed, next)
	}
	return head
}

// shutOff looks for the highest head against which anything is lifted.
func (d *drawn) shutOff(t testing.TB, out *hydraulics.Simulated) float64 {
	if out.StuckOpen || out.Beats == 0 {
		return d.real.Lift.Value
	}
	s := d.simulation(chain{source: out.LevelM})
	s.Delivery, s.VesselAirM3, s.PipeLeak, s.WarmUpS, s.MeasureS = hydraulics.Run{}, 0, 0, 2, 4
	s.Pumps = 1
	lo, hi := out.LevelM, 400.0
	for range 9 {
		s.LiftM = (lo + hi) / 2
		got, err := s.Run(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		if got.DeliveredFlow > 1e-7 {
			lo = s.LiftM
		} else {
			hi = s.LiftM
		}
	}
	return (lo + hi) / 2
}

// open is the flow with the valves held open: a plain pipe, with the loss of
// the open valve.
func (d *drawn) open(pool chain, box *chain, upper hydraulics.Run) float64 {
	m := &d.real
	at := func(c chain) float64 {
		lo, hi := 0.0, 0.2
		for range 50 {
			q := (lo + hi) / 2
			drive := hydraulics.Run{Pipe: m.Drive.Pipe, LengthM: m.Drive.LengthM, MinorK: m.Drive.MinorK + m.Ram.EntranceK + m.Ram.WasteValveK}
			if headLoss(m, c.supply, q)+headLoss(m, drive, q/float64(m.Pumps)) < c.source {
				lo = q
			} else {
				hi = q
			}
		}
		return lo
	}
	q := at(pool)
	if box != nil {
		if full := at(*box); pool.source-headLoss(m, upper, full) >= box.source {
			q = full
		}
	}
	return q
}

// reading turns truths into what people write down.
func (d *drawn) reading(r *rand.Rand, y map[Kind]float64) []Reading {
	round := func(v, step float64) float64 { return math.Round(v/step) * step }
	scale := gaugeScale(d.model.Lift.Value)
	gauge := 0.016 * between(r, -1, 1) * scale // one gauge, one error
	high := gaugeScale(y[ShutOff])
	var list []Reading
	for i := range kinds {
		k := infos[i].kind
		v := y[k]
		if !d.model.has(i) {
			continue
		}
		switch i {
		case iPool, iBox:
			v = round(v+0.015*r.NormFloat64(), 0.005)
		case iRest, iRuns, iScreenOff:
			v = round(v+0.01*r.NormFloat64(), 0.005)
		case iOpen, iWaste, iDelivered:
			v = v*(1+0.03*r.NormFloat64()) + 0.005*d.model.planned.delivered*math.Abs(r.NormFloat64())
		case iOverflow:
			v *= 1 + 0.1*r.NormFloat64()
		case iBeats:
			v = round(v, 0.5)
		case iGaugeRest, iGaugeRuns, iHeld:
			v = round(v+gauge+0.002*scale*r.NormFloat64(), scale/100)
		case iSwing:
			v = round(math.Max(0, v+0.003*scale*r.NormFloat64()), scale/100)
		case iShutOff:
			v = round(v+0.016*high*between(r, -1, 1), high/100)
		}
		list = append(list, Reading{Kind: k, Value: math.Max(0, v)})
	}
	return list
}
