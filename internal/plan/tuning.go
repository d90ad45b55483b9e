package plan

import (
	"fmt"
	"math"

	"route/internal/finding"
	"route/internal/hydraulics"
	"route/internal/quantity"
)

// This file sets the pumps of a layout to draw another flow than planned, as
// weight or stroke of the waste valve do: what a wetter season may bring, and
// what the pumps bring as a crew has set them.

// tuningStep is how far apart the flows are at which a pump is looked at, as a
// share.
const tuningStep = 0.02

// leastTuneUp is how much more water, as a share, makes it worth while to tune a
// pump up and back again; judgement.
const leastTuneUp = 0.05

// drawing is how the layout runs when its pumps draw another flow, m³/s: the
// supply pipe takes more or less of the head. ok is false where a limit of the
// site or of the pump forbids it.
func (g *grader) drawing(flow float64) (op hydraulics.Operation, ok bool) {
	more := 0.0 // that is lost before the drive pipe
	if g.l.Supply != nil {
		entrance, err := g.moreLoss(flow, 0)
		friction, e := g.moreLoss(flow, g.c.SupplyM)
		if friction -= entrance; err != nil || e != nil || !g.staysFull(entrance, friction) {
			return op, false
		}
		more = entrance + friction
		if g.c.ThrottleM > 0 { // the gate valve gives way first, or takes what is too much
			more = math.Max(0, more-g.c.ThrottleM)
		}
	}
	head := g.c.DriveHeadM - more
	if head < g.site.Limits.DriveHeadMinM || g.c.Standpipe >= 0 && g.c.StandpipeWaterM-more < g.site.Limits.StandpipeMinM {
		return op, false
	}
	in := hydraulics.Installation{
		Fluid: g.fluid, SourceM: head, Drive: hydraulics.Run{Pipe: g.drivePipe.Pipe.Pipe, LengthM: g.c.DriveM}, Ram: g.ram, Pumps: g.c.Layout.Pumps,
		Delivery: hydraulics.Run{Pipe: g.deliveryPipe.Pipe.Pipe, LengthM: g.route.LengthM}, LiftM: g.liftM(),
	}
	op, err := in.TunedTo(flow, pumpTuning)
	if err != nil {
		return op, false
	}
	// A waste valve that closes at a faster flow beats harder.
	tooHard := g.l.Drive.RatingM.Known() && op.ShutoffHeadM > float64(g.l.Drive.RatingM)
	tooHigh := g.site.Limits.LiftRatioMax > 0 && op.LiftRatio > g.site.Limits.LiftRatioMax
	return op, !tooHard && !tooHigh
}

// moreLoss is what another flow loses more at the entrance and over a length of
// the supply pipe, in metres.
func (g *grader) moreLoss(flow, lengthM float64) (float64, error) {
	own, err := hydraulics.HeadLoss(g.fluid, g.supplyPipe.Pipe.Pipe, lengthM, g.c.Flow, g.site.Limits.IntakeLossK)
	if err != nil {
		return 0, err
	}
	other, err := hydraulics.HeadLoss(g.fluid, g.supplyPipe.Pipe.Pipe, lengthM, flow, g.site.Limits.IntakeLossK)
	return other - own, err
}

// betweenPlacesM is by how much a supply pipe may miss its cover between the
// places that the search looks at.
const betweenPlacesM = 0.02

// staysFull says whether the supply pipe stays below its grade line by the cover
// that the site wants when so much more is lost at the entrance and, evenly,
// along it.
func (g *grader) staysFull(entranceM, frictionM float64) bool {
	pipe := g.supplyPipe.Pipe
	outside := pipe.OutsideM
	if outside == 0 {
		outside = pipe.Pipe.Inside + 2*pipe.Pipe.Wall
	}
	cover := outside + g.site.Limits.GradeLineCoverM
	for _, v := range g.l.Supply.Path[1:] {
		grade := float64(v.GradeM) - entranceM - frictionM*float64(v.AlongM)/g.c.SupplyM
		if grade < float64(v.InvertM)+cover-betweenPlacesM {
			return false
		}
	}
	return true
}

// tuneUp looks for the flow at which the layout delivers the most of the
// creek's usual flow, of which no larger share is taken than of the lowest.
func (g *grader) tuneUp() {
	if !(g.site.UsualFlow > g.site.LowFlow) {
		return
	}
	best, at := g.operation.DeliveredTotal, g.c.Flow
	for flow := g.c.Flow * (1 + tuningStep); flow <= g.site.TakeShare*g.site.UsualFlow; flow *= 1 + tuningStep {
		op, ok := g.drawing(flow)
		if !ok {
			break
		}
		if op.DeliveredTotal > best {
			best, at = op.DeliveredTotal, flow
		}
	}
	if best < (1+leastTuneUp)*g.operation.DeliveredTotal {
		best, at = g.operation.DeliveredTotal, g.c.Flow
	}
	g.l.TunedUpFlowLMin = Number(at * 60000)
	g.l.TunedUpLDay = g.l.WaterToCountOn() * Number(best/g.operation.DeliveredTotal)
}

// tellTuning says where pumps that were measured were set otherwise than this
// layout asks for, and what they bring as they were set.
func (g *grader) tellTuning() []finding.Finding {
	set := g.site.PumpMeasured.DriveFlow
	if !g.measured || set == 0 || math.Abs(set/g.c.Flow-1) < leastOtherTuning {
		return nil
	}
	how := "heavier"
	if set > g.c.Flow {
		how = "lighter"
	}
	text, left := "the pump drew {0} when it was measured, and this layout wants {1}", "; left as it was it would deliver {2} here, not {3}"
	if g.c.Layout.Pumps > 1 {
		text, left = "the pumps drew {0} when they were measured, and this layout wants {1}", "; left as they were they would deliver {2} here, not {3}"
	}
	values := []quantity.Value{quantity.Of(quantity.Flow, set), quantity.Of(quantity.Flow, g.c.Flow)}
	if op, ok := g.drawing(set); ok {
		text += left
		values = append(values, quantity.Of(quantity.DailyVolume, op.DeliveredTotal), quantity.Of(quantity.DailyVolume, g.operation.DeliveredTotal))
	}
	return []finding.Finding{finding.New(finding.Note, "other_tuning", text,
		fmt.Sprintf("set the waste valve %s, to %.0f beats a minute, or leave it and count on what it brings", how, g.operation.BeatsPerMinute()), values...)}
}

// leastOtherTuning is from what share on two flows are two settings: a bucket
// and a watch tell no less apart.
const leastOtherTuning = 0.05
