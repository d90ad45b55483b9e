package optimize

import (
	"context"
	"math"
	"slices"

	"route/internal/quantity"
	"route/internal/terrain"
)

// trialReach are the ways over the ground of one flow and supply option.
type trialReach struct {
	fromIntake, fromBox *terrain.SupplyReach // nil where there is none
}

// layOver finds the supply pipes over the ground, by flow and supply option.
// The ground has the trial's own stations, so that they are those of a search
// with the same places pinned. It is nil where pipes follow the creek.
func (r *trial) layOver(t *Trials) []trialReach {
	if t.supply == nil || r.s == r.i {
		return nil
	}
	if r.Supply = r.ground(t); r.Supply == nil {
		return nil
	}
	over := make([]trialReach, len(r.flows)*len(r.options))
	var fromIntake, fromBox []demand
	each := func(visit func(way *trialReach, g *grade)) {
		for f := range r.flows {
			for k := range r.options {
				if g, ok := r.gradeOf(f, k); ok {
					visit(&over[f*len(r.options)+k], &g)
				}
			}
		}
	}
	each(func(way *trialReach, g *grade) {
		fromIntake = append(fromIntake, demand{r.pipeGrade(g, r.water.z[r.i]-g.loss), &way.fromIntake})
	})
	r.Supply.satisfy(r.i, fromIntake)
	if r.box < 0 || r.s == r.box {
		return over
	}
	each(func(way *trialReach, g *grade) {
		if level, _, ok := way.toBox(r, g); ok && level >= r.water.z[r.box] {
			fromBox = append(fromBox, demand{r.pipeGrade(g, level), &way.fromBox})
		}
	})
	r.Supply.satisfy(r.box, fromBox)
	return over
}

// ground is the ground between intake and pump with the stations of the trial.
func (r *trial) ground(t *Trials) *Supply {
	c := terrain.SupplyCreek{At: r.Creek.Points, AlongM: r.Creek.SlopeM, BedM: make([]float64, r.n), Closed: make([]bool, r.n)}
	same := make([]int, r.n)
	next := 0
	for k, of := range r.of {
		c.BedM[k] = r.Creek.ZM[k] - r.Limits.BedDepthM
		c.Closed[k] = !t.land.MayPass(of)
		for next < len(t.regular) && t.regular[next] < of {
			next++
		}
		if same[k] = -1; next < len(t.regular) && t.regular[next] == of {
			same[k] = next
		}
	}
	ground, err := t.supply.Among(context.Background(), c, same)
	if err != nil || !ground.Leaves() {
		return nil
	}
	return NewSupply(ground)
}

// toBox gives the level of the water in the settling box and the pipe to it; ok
// is false where no pipe leads there.
func (way *trialReach) toBox(r *trial, g *grade) (level, length float64, ok bool) {
	if way.fromIntake == nil {
		return 0, 0, false
	}
	w := r.water
	length, ok = way.fromIntake.Length(r.box)
	level = w.z[r.i] - g.loss - g.slope*length
	if !ok || !(w.z[r.box]+g.cover <= level) {
		return 0, 0, false
	}
	return min(level-g.drop, w.z[r.box]+g.rise), length, true
}

// carry completes a way over the ground, with the limits that it breaks; ok is
// false where there is none. Its terms are those of routed.
func (way *trialReach) carry(r *trial, g *grade, to rung) (_ rung, breaches []Breach, ok bool) {
	w, from := r.water, way.fromIntake
	to.level = w.z[r.i] - g.loss
	if r.box >= 0 {
		if to.level, to.length, ok = way.toBox(r, g); !ok {
			return to, nil, false
		}
		from = way.fromBox
	}
	none := quantity.Value{}
	if r.class == bare {
		switch h := to.level - w.z[r.s]; {
		case !(h >= 0):
			breaches = r.breach(breaches, r.s, BoxTooLow, quantity.Metres(-h), none)
		case !(h <= w.heightMax):
			breaches = r.breach(breaches, r.s, StandpipeTooHigh, quantity.Metres(h+r.Limits.StandpipeFreeboardM), quantity.Metres(r.Limits.StandpipeMaxM))
		}
		return to, breaches, true
	}
	if from == nil {
		return to, nil, false
	}
	along, ok := from.Length(r.s)
	if !ok {
		return to, nil, false
	}
	to.level -= g.slope * along
	to.length += along
	if !(w.z[r.s]+g.cover <= to.level) || to.length > w.lengthMax {
		return to, nil, false
	}
	if h := to.level - w.z[r.s]; !(h >= w.heightMin) {
		breaches = r.breach(breaches, r.s, StandpipeTooLow, quantity.Metres(h), quantity.Metres(w.heightMin))
	}
	to.level = math.Min(to.level, w.z[r.s]+w.heightMax)
	return to, breaches, true
}

// OnStations gives the stations that a supply line passes their numbers in
// another profile, of which the candidate's is a part.
func (c *Candidate) OnStations(of []int) {
	c.SupplyLine = slices.Clone(c.SupplyLine)
	for i := range c.SupplyLine {
		line := &c.SupplyLine[i]
		station := make([]int, len(line.Station))
		for k, s := range line.Station {
			if station[k] = -1; s >= 0 {
				station[k] = of[s]
			}
		}
		line.Station = station
	}
}
