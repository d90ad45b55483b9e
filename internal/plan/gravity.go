package plan

import (
	"fmt"
	"math"
	"slices"

	"route/internal/finding"
	"route/internal/quantity"
	"route/internal/terrain"
)

// A pump is for a tank that the creek's water cannot reach by itself. This
// file looks for the tanks that it can.

// checkTank refuses a tank in the creek, and one that the creek beside it
// already stands above.
func (j *job) checkTank() error {
	near, least := 0, math.Inf(1)
	for i, p := range j.creek.Points {
		if d := dist(p, j.tank); d < least {
			near, least = i, d
		}
	}
	metres := func(v float64) string { return quantity.Format(j.site.Units, quantity.Length, v) }
	at := metres(float64(j.creek.Stations[near]))
	// On coarse cells the line is known to a cell or two; a tank that near may
	// yet stand well above the water.
	if low := j.tankM-j.creek.ZM[near] < 2; least < 3 || low && least < 2*j.ground.CellM() {
		return &finding.Fault{Code: "tank_on_creek", File: j.site.File,
			Text: fmt.Sprintf("the tank (%.6f, %.6f) stands in the creek, %s from its line at %s", j.tankAt.Lat, j.tankAt.Lon, metres(least), at),
			Hint: "check the tank's coordinates: is this the place of the intake or of the pump?"}
	}
	if above := j.creek.ZM[near] - j.inletM(); above >= 0 {
		return &finding.Fault{Code: "no_pump_needed", File: j.site.File,
			Text: fmt.Sprintf("no pump is needed: the creek beside the tank, %s away at %s, stands %s above the tank's inlet", metres(least), at, metres(above)),
			Hint: "let the water run there through a pipe; or check the tank's coordinates and tank.inlet_above_ground"}
	}
	return nil
}

// inletM is the height of the tank's inlet.
func (j *job) inletM() float64 {
	if j.lift != nil {
		return j.lift.inletM
	}
	return j.tankM + j.site.Tank.InletAboveGroundM
}

// A pipe runs by itself when its upper end stands above its lower by a foot
// and 1 % of its length, and no ground on its way stands so much above its
// upper end that a shallow trench would not pass it; common practice, no
// source.
const (
	gravityHeadM   = 0.3
	gravitySlope   = 0.01
	gravityTrenchM = 0.3
)

// tellGravity says from where a pipe would fill the tank without a pump: that
// place may lie far upstream, so it is the user who decides.
func (j *job) tellGravity() error {
	if slices.Max(j.creek.ZM) < j.inletM()+gravityHeadM {
		return nil
	}
	// A plain pipe may lie in the bed of the creek, over which the delivery pipe
	// is charged.
	cost := j.laying(j.grid)
	cost.Crossed = nil
	field, err := terrain.FromTankTo(j.ctx, j.grid, j.tank, cost, terrain.FieldOptions{Targets: j.creek.Points})
	if err != nil {
		return err
	}
	best, shortest := -1, j.site.DeliveryMaxM
	for i, p := range j.creek.Points {
		length, crest, ok := field.Reach(p)
		z := j.creek.ZM[i]
		if ok && length < shortest && z >= j.inletM()+gravityHeadM+gravitySlope*length && z >= crest-gravityTrenchM {
			best, shortest = i, length
		}
	}
	if best >= 0 {
		j.tell(finding.New(finding.Warning, "gravity_would_do",
			"the creek stands {0} above the tank's inlet there, and about {1} of pipe would lead to the tank without a rise: water may run down by itself, without a pump",
			"compare a plain pipe from there with the layouts before buying a pump",
			quantity.Metres(j.creek.ZM[best]-j.inletM()), quantity.Metres(shortest)).At(float64(j.creek.Stations[best])))
	}
	return nil
}
