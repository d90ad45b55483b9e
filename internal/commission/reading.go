// Package commission holds what was measured on a new installation against
// what its plan predicts, names the likely cause where they differ, and turns
// accepted readings into knowledge for the next plan.
package commission

import (
	"math"
	"slices"

	"route/internal/quantity"
)

// Kind is what was read.
type Kind string

// The readings that a crew takes with a staff or hose, a bucket, a watch and
// a gauge at the air vessel. Levels count from the waste valve outlet.
const (
	PoolLevel     Kind = "pool level"           // water of the intake pool, the pump running
	BoxLevel      Kind = "box level"            // water in the settling box, the pump running
	StandpipeRest Kind = "standpipe at rest"    // the waste valve held shut
	StandpipeRuns Kind = "standpipe running"    //
	ScreenOff     Kind = "standpipe screen off" // running, the screen lifted off or brushed clean
	Overflow      Kind = "overflow"             // over the top of the standpipe, running
	OpenFlow      Kind = "open flow"            // through the waste valve held open, all pumps
	WasteFlow     Kind = "waste flow"           // running, all pumps
	Delivered     Kind = "delivered"            // into the tank
	Beats         Kind = "beats"                // a minute
	GaugeRest     Kind = "gauge at rest"        // delivery pipe full, pump stopped, read at once
	GaugeRuns     Kind = "gauge running"        // the middle of the needle's swing
	GaugeSwing    Kind = "gauge swing"          // from the lowest to the highest of the needle
	ShutOff       Kind = "shut-off"             // the highest with the delivery's stop valve shut and the pump beating
	GaugeHeld     Kind = "gauge held"           // holdS after the pump stopped, the stop valve shut
	OutletAbove   Kind = "outlet above creek"   // waste valve outlet above the creek's water beside it
	Rise          Kind = "lift"                 // tank inlet above the waste valve outlet
)

// holdS is how long after stopping the pump the held gauge is read: ten
// minutes, long enough for a valve that drips to show.
const holdS = 600.0

// index numbers the kinds that the model predicts, in the order of a visit.
type index int

const (
	iPool index = iota
	iBox
	iRest
	iRuns
	iScreenOff
	iOverflow
	iOpen
	iWaste
	iDelivered
	iBeats
	iGaugeRest
	iGaugeRuns
	iSwing
	iShutOff
	iHeld
	kinds
)

// kindInfo is what is known of a kind of reading.
type kindInfo struct {
	kind Kind
	dim  quantity.Dimension // of its value; a count has none
	bare bool               // a bare number
	how  string             // how to take it
}

var infos = [kinds]kindInfo{
	{PoolLevel, quantity.Length, false, "water of the intake pool above the waste valve outlet, pump running (level or water hose)"},
	{BoxLevel, quantity.Length, false, "water in the settling box above the waste valve outlet, pump running"},
	{StandpipeRest, quantity.Length, false, "water in the standpipe above the waste valve outlet, waste valve held shut until the level stands"},
	{StandpipeRuns, quantity.Length, false, "the same with the pump running steadily, in the middle of its swing"},
	{ScreenOff, quantity.Length, false, "the same a few minutes after the intake screen was lifted off or brushed clean"},
	{Overflow, quantity.Flow, false, "flow over the top of the standpipe, pump running; 0 L/min when it stays dry"},
	{OpenFlow, quantity.Flow, false, "flow out of the waste valve held open until the level stands, bucket and watch, all pumps"},
	{WasteFlow, quantity.Flow, false, "flow out of the waste valve, pump running, bucket and watch, all pumps"},
	{Delivered, quantity.Flow, false, "flow into the tank, bucket and watch"},
	{Beats, quantity.Ratio, true, "beats a minute, counted over two minutes"},
	{GaugeRest, quantity.Pressure, false, "gauge at the air vessel, delivery pipe full, just after the pump was stopped"},
	{GaugeRuns, quantity.Pressure, false, "the same with the pump running: the middle of the needle's swing"},
	{GaugeSwing, quantity.Pressure, false, "how far the needle swings from lowest to highest, pump running"},
	{ShutOff, quantity.Pressure, false, "highest reading with the stop valve of the delivery pipe shut and the pump beating; only with a gauge and a pipe rated for it"},
	{GaugeHeld, quantity.Pressure, false, "gauge 10 minutes after the pump was stopped, stop valve of the delivery pipe shut"},
}

// others are the readings that the model does not predict.
var others = []kindInfo{
	{OutletAbove, quantity.Length, false, "waste valve outlet above the creek's water beside the pump; needed to take levels into the terrain"},
	{Rise, quantity.Length, false, "tank inlet above the waste valve outlet (level or water hose); the gauge at rest says the same, less exactly"},
}

// indexOf finds a kind among those that are predicted.
func indexOf(k Kind) (index, bool) {
	i := slices.IndexFunc(infos[:], func(x kindInfo) bool { return x.kind == k })
	return index(i), i >= 0
}

// Reading is one measurement, in SI: metres, m³/s, beats a minute; what a
// gauge shows in metres of the water of the site.
type Reading struct {
	Kind  Kind
	Value float64
	Sigma float64 // of the value; 0 takes the usual error
	Line  int     // in the readings file
}

// Usual errors of readings, one standard deviation; common practice, no
// source, but for the gauge: class 1.6 of EN 837-1 (from memory) allows 1.6 %
// of full scale anywhere, which evenly spread is 0.9 %.
const (
	poolSigmaM  = 0.015 // a set-up of a hose
	pipeSigmaM  = 0.01  // a rule on a standpipe whose water moves
	flowSigma   = 0.03  // of a bucket and a watch, share
	beatSigma   = 0.5   // beats a minute, of a count over two minutes
	gaugeSigma  = 0.01  // of full scale
	swingSigma  = 0.005 // of full scale: the gauge's own error falls out
	littleFlow  = 0.01  // of the planned flow: what a trickle is guessed to
	outletSigma = 0.02  // m
	riseSigmaM  = 0.05  // of a lift levelled in several set-ups
)

// gaugeScales are the ends of scale of gauges in m of head, after EN 837-1
// (from memory); a gauge is chosen that the head fills to three quarters.
var gaugeScales = []float64{10, 16, 25, 40, 60, 100, 160, 250, 400}

func gaugeScale(headM float64) float64 {
	for _, s := range gaugeScales {
		if headM <= 0.75*s {
			return s
		}
	}
	return headM / 0.75
}

// usualSigma is the error of a reading whose own is not given.
func (m *Model) usualSigma(i index, value float64) float64 {
	switch i {
	case iPool, iBox:
		return poolSigmaM
	case iRest, iRuns, iScreenOff:
		return pipeSigmaM
	case iOpen, iWaste:
		return math.Hypot(flowSigma*value, littleFlow*m.planned.waste)
	case iDelivered:
		return math.Hypot(flowSigma*value, littleFlow*m.planned.delivered)
	case iOverflow:
		return math.Hypot(0.1*value, littleFlow*m.planned.waste)
	case iBeats:
		return beatSigma
	case iShutOff:
		return gaugeSigma * gaugeScale(value)
	case iSwing:
		return math.Hypot(swingSigma*gaugeScale(m.Lift.Value), 0.1*value)
	default:
		return gaugeSigma * gaugeScale(m.Lift.Value)
	}
}
