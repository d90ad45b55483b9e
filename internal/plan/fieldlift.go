package plan

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"route/internal/finding"
	"route/internal/quantity"
)

// This file takes the lift that was measured on site, from the creek up to the
// tank's inlet.

// liftUsed is the code of the note about a measured lift that counts.
const liftUsed = "field_lift"

// inletSigmaM is how well the height of the inlet over the ground at the tank
// is known where nobody measured it; judgement.
const inletSigmaM = 0.1

// leastLiftSigmaM is what no reading of a lift gets below.
const leastLiftSigmaM = 0.001

// liftReading is what the readings together say of the tank's inlet.
type liftReading struct {
	at       orb.Point // on the creek, from where it was measured
	variance float64   // of the readings, m²
	inletM   float64   // with the terrain
}

// takeLift takes the measured lifts. Each is a height of the inlet above the
// creek's water; readings and terrain are weighed by their variances. What is
// more than three standard deviations off the terrain is left out, unless its
// entry says accept.
func (j *job) takeLift() error {
	j.lift = nil
	var taken []*FieldReading
	precision, mean := 0.0, 0.0
	for i := range j.site.Field {
		e := &j.site.Field[i]
		if e.Kind != "lift" {
			continue
		}
		s, err := j.stationOf(e.From)
		if err != nil {
			return err
		}
		at := j.creek.Alignment.PointAt(s)
		water, _ := j.creek.HeightAt(s)
		sigma := e.SigmaM
		if sigma == 0 {
			sigma = instrumentSigma(e.By, e.Legs, dist(at, j.tank))
		}
		said := quantity.Measure{Value: j.tankM + j.site.Tank.InletAboveGroundM - water - e.AboveWaterM, Sigma: j.groundLiftSigmaM(at)}
		if off := math.Abs(e.Value - said.Value); off > 3*math.Hypot(sigma, said.Sigma) && !e.Accept {
			f := finding.New(finding.Warning, "field_questioned", fmt.Sprintf("the lift to the tank's inlet from %s along the creek was measured %s, but the terrain says %s; it is left out",
				j.length(float64(s)), j.measure(quantity.Measure{Value: e.Value, Sigma: sigma}), j.measure(said)),
				"check the reading, its unit, its place and tank.inlet_above_ground; if it stands, add accept: true to its entry").In(j.site.File).At(float64(s))
			f.Line = e.Line
			j.tell(f)
			continue
		}
		if j.lift == nil {
			j.lift = &liftReading{at: at}
		}
		between := j.certain.DiffSigma(at, j.lift.at)
		weight := 1 / (sigma*sigma + between*between)
		precision, mean = precision+weight, mean+weight*(water+e.AboveWaterM+e.Value)
		taken = append(taken, e)
	}
	if j.lift == nil {
		return nil
	}
	j.lift.variance = 1 / precision
	ground := j.groundLiftSigmaM(j.lift.at)
	prior := 1 / (ground * ground)
	j.lift.inletM = (mean + prior*(j.tankM+j.site.Tank.InletAboveGroundM)) / (precision + prior)
	for _, e := range taken {
		j.tellLift(e)
	}
	return nil
}

// tellLift says of a lift that counts what it changed.
func (j *job) tellLift(e *FieldReading) {
	s, err := j.stationOf(e.From)
	if err != nil {
		return
	}
	at := j.creek.Alignment.PointAt(s)
	water, _ := j.creek.HeightAt(s)
	water += e.AboveWaterM
	f := finding.New(finding.Note, liftUsed, fmt.Sprintf("the lift to the tank's inlet from %s along the creek was measured %s; the terrain said %s, and together it is %s",
		j.length(float64(s)), j.length(e.Value),
		j.measure(quantity.Measure{Value: j.tankM + j.site.Tank.InletAboveGroundM - water, Sigma: j.groundLiftSigmaM(at)}),
		j.measure(quantity.Measure{Value: j.inletM() - water, Sigma: j.liftSigmaM(at)})), "").In(j.site.File).At(float64(s))
	f.Line = e.Line
	j.tell(f)
}

// groundLiftSigmaM is the standard deviation of the lift from a place on the
// creek as the terrain has it.
func (j *job) groundLiftSigmaM(at orb.Point) float64 {
	return math.Hypot(j.certain.DiffSigma(at, j.tank), inletSigmaM)
}

// liftSigmaM is the standard deviation of the lift from a place on the creek.
// A reading from another place counts as far as the two lifts go together: the
// conditional variance of one of two normal numbers, the other of which was
// read with an error.
func (j *job) liftSigmaM(at orb.Point) float64 {
	ground := j.certain.DiffSigma(at, j.tank)
	if j.lift == nil {
		return ground
	}
	here, there, apart := j.groundLiftSigmaM(at), j.groundLiftSigmaM(j.lift.at), j.certain.DiffSigma(at, j.lift.at)
	together := (here*here + there*there - apart*apart) / 2
	return math.Sqrt(math.Max(leastLiftSigmaM*leastLiftSigmaM, here*here-together*together/(there*there+j.lift.variance)))
}
