package terrain

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Costs inside the search are whole numbers: a straight step over flat ground
// in the cheapest slope class costs unitCost. Rounding is then below 0.1 % of
// a step and as often up as down. It is a little more than the width of a
// bucket of the search, so that no rounding can make a step narrower than one.
const (
	bucketShift = 9
	unitCost    = 1<<bucketShift + 2
)

// class is a slope class in the terms of the search.
type class struct {
	grade  float64
	factor float64
	// The steepest rise that is still in the class over each kind of step.
	straight, diagonal, half float32
	// Integer cost of a metre along the slope: perM in all where the ground has
	// the factor 1, and layM of it goes with the factor of the ground.
	perM, layM float32
}

// leastSteps bounds the cost of each kind of step from below.
type leastSteps struct{ straight, diagonal, knight uint32 }

// pricing turns heights into integer step costs.
type pricing struct {
	perMetre float64 // cost of laying a metre at factor 1, in the unit of LayingCost
	pipeM    float64 // cost of a metre that no factor changes
	cheapest float64 // metre, on the level
	units    float64 // integer cost of one unit of LayingCost
	pipe     float32 // integer cost of pipeM
	classes  []class
	factor   [256]float32 // of ground, by class
	// dearestGround is the greatest of them, at least 1.
	dearestGround float64
	// Squared horizontal lengths of a straight step, a diagonal one and half
	// a knight's move.
	straight2, diagonal2, half2 float32
	// The least integer cost of the three kinds of step from ground of each
	// class.
	least [256]leastSteps
}

func newPricing(c LayingCost, cellM float64) (*pricing, error) {
	slopes := c.SlopeClasses
	if len(slopes) == 0 {
		slopes = []SlopeClass{{math.Inf(1), 1}}
	}
	p := &pricing{perMetre: c.PerMetre, pipeM: c.PipePerMetre, dearestGround: 1}
	if p.perMetre == 0 && p.pipeM == 0 {
		p.perMetre = 1
	}
	if sum := p.perMetre + p.pipeM; !(p.perMetre >= 0 && p.pipeM >= 0 && sum > 0 && !math.IsInf(sum, 0)) {
		return nil, fmt.Errorf("terrain: a laying cost of %g and %g a metre is not possible", c.PerMetre, c.PipePerMetre)
	}
	cheapest, steepest := math.Inf(1), 0.0
	for _, s := range slopes {
		if !(s.Factor > 0 && !math.IsInf(s.Factor, 0)) {
			return nil, fmt.Errorf("terrain: a laying cost factor of %g is not possible", s.Factor)
		}
		if !(s.MaxGrade > steepest) {
			return nil, errors.New("terrain: the slope classes of the laying cost must rise from class to class")
		}
		steepest = s.MaxGrade
		cheapest = math.Min(cheapest, s.Factor)
	}
	flattest := cheapest // of the slope classes
	p.factor[0] = 1
	if c.Ground != nil {
		least := math.Inf(1)
		for i, f := range c.Ground.Factor {
			p.factor[i] = float32(f)
			least = math.Min(least, f)
			p.dearestGround = math.Max(p.dearestGround, f)
		}
		cheapest *= least
	}
	p.cheapest = p.pipeM + p.perMetre*cheapest
	p.units = unitCost / (cellM * p.cheapest)
	p.pipe = float32(p.units * p.pipeM)
	diagonal, half := cellM*math.Sqrt2, cellM*math.Sqrt(5)/2
	for _, s := range slopes {
		lay := float32(p.units * p.perMetre * s.Factor)
		p.classes = append(p.classes, class{
			grade: math.Min(s.MaxGrade, math.MaxFloat64), factor: s.Factor, // infinity times 0 would be no number
			straight: rise(s.MaxGrade, cellM), diagonal: rise(s.MaxGrade, diagonal), half: rise(s.MaxGrade, half),
			perM: p.pipe + lay, layM: lay, // so that even ground costs to the last unit what ground of one class does
		})
	}
	p.straight2, p.diagonal2, p.half2 = float32(cellM*cellM), float32(diagonal*diagonal), float32(half*half)
	p.boundSteps(c.Ground, flattest)
	return p, nil
}

// boundSteps works out least. A step lies half on the ground that it starts
// from, a knight's move a quarter; the rest is no better than the best ground.
func (p *pricing) boundSteps(ground *GroundClasses, slope float64) {
	factors, best := []float64{1}, 1.0
	if ground != nil {
		factors, best = ground.Factor, slices.Min(ground.Factor)
	}
	for i, f := range factors {
		times := func(f float64) float64 { return unitCost * (p.pipeM + p.perMetre*slope*f) / p.cheapest }
		// Two units of slack, and a part of the cost, for the rounding of float32.
		floor := func(v float64) uint32 { return uint32(math.Floor(v*(1-1e-5))) - 2 }
		p.least[i] = leastSteps{floor(times((f + best) / 2)), floor(math.Sqrt2 * times((f+best)/2)), floor(math.Sqrt(5) * times((f+3*best)/4))}
	}
}

// rise is the height that a grade makes over a run. An infinite grade takes
// every finite height, and the comparison with NaN still fails.
func rise(grade, runM float64) float32 {
	if math.IsInf(grade, 1) {
		return math.MaxFloat32
	}
	// A hair more, so that a plane of exactly the grade stays in its class
	// although its heights are rounded to float32.
	return float32(grade*runM*(1+1e-5) + 1e-4)
}

// Each of the following gives the cost of one step between heights, and false
// where it is too steep or a height is NaN. They are symmetric in their ends.
// The conversions to float32 keep the compiler from fusing multiplication and
// addition, so that all machines agree.

func (p *pricing) straightStep(a, b float32) (uint32, bool) {
	dz := abs(b - a)
	for i := range p.classes {
		if c := &p.classes[i]; dz <= c.straight {
			return uint32(float32(c.perM*root(float32(dz*dz)+p.straight2)) + 0.5), true
		}
	}
	return 0, false
}

func (p *pricing) diagonalStep(a, b float32) (uint32, bool) {
	dz := abs(b - a)
	for i := range p.classes {
		if c := &p.classes[i]; dz <= c.diagonal {
			return uint32(float32(c.perM*root(float32(dz*dz)+p.diagonal2)) + 0.5), true
		}
	}
	return 0, false
}

// knightStep is a knight's move from a to b. Half-way it crosses the line
// between the two cells m and n that it jumps over, at their mean height.
func (p *pricing) knightStep(a, b, m, n float32) (uint32, bool) {
	mid := (m + n) * 0.5
	first, ok := p.halfStep(abs(mid - a))
	if !ok {
		return 0, false
	}
	second, ok := p.halfStep(abs(b - mid))
	if !ok {
		return 0, false
	}
	return uint32(first + second + 0.5), true
}

func (p *pricing) halfStep(dz float32) (float32, bool) {
	for i := range p.classes {
		if c := &p.classes[i]; dz <= c.half {
			return float32(c.perM * root(float32(dz*dz)+p.half2)), true
		}
	}
	return 0, false
}

// The kinds of step for over.
const (
	straight = iota
	diagonal
)

// over is a straight or a diagonal step over ground with a factor.
func (p *pricing) over(a, b, ground float32, kind int) (uint32, bool) {
	dz := abs(b - a)
	run2 := p.straight2
	if kind == diagonal {
		run2 = p.diagonal2
	}
	for i := range p.classes {
		c := &p.classes[i]
		most := c.straight
		if kind == diagonal {
			most = c.diagonal
		}
		if dz <= most {
			perM := p.pipe + float32(c.layM*ground)
			return uint32(float32(perM*root(float32(dz*dz)+run2)) + 0.5), true
		}
	}
	return 0, false
}

// knightOver is a knight's move from a to b over ground whose factor is here
// and there at its ends and mid half-way.
func (p *pricing) knightOver(a, b, m, n, here, there, mid float32) (uint32, bool) {
	z := (m + n) * 0.5
	first, ok := p.halfOver(abs(z-a), (here+mid)*0.5)
	if !ok {
		return 0, false
	}
	second, ok := p.halfOver(abs(b-z), (there+mid)*0.5)
	if !ok {
		return 0, false
	}
	return uint32(first + second + 0.5), true
}

func (p *pricing) halfOver(dz, ground float32) (float32, bool) {
	for i := range p.classes {
		if c := &p.classes[i]; dz <= c.half {
			return float32((p.pipe + float32(c.layM*ground)) * root(float32(dz*dz)+p.half2)), true
		}
	}
	return 0, false
}

// dearestStep bounds the cost of any step on ground with the given range of
// heights.
func (p *pricing) dearestStep(rangeM float64) float64 {
	dearest := 0.0
	for _, c := range p.classes {
		perM := float64(p.pipe) + float64(c.layM)*p.dearestGround
		dz := math.Min(rangeM, float64(c.half))
		dearest = math.Max(dearest, 2*perM*math.Sqrt(dz*dz+float64(p.half2)))
		dz = math.Min(rangeM, float64(c.diagonal))
		dearest = math.Max(dearest, perM*math.Sqrt(dz*dz+float64(p.diagonal2)))
	}
	return dearest + 2
}

// slopeClass finds the class of a stretch of line; -1 where it is too steep.
func (p *pricing) slopeClass(runM, dzM float64) int {
	dz := math.Abs(dzM)
	for i := range p.classes {
		if dz <= p.classes[i].grade*runM*(1+1e-5)+1e-4 {
			return i
		}
	}
	return -1
}

// cost is the price of a stretch of line over ground with a factor in the unit
// of LayingCost; infinite where it is too steep. It is what the steps above
// cost before rounding.
func (p *pricing) cost(runM, dzM, ground float64) float64 {
	i := p.slopeClass(runM, dzM)
	if i < 0 {
		return math.Inf(1)
	}
	return (p.pipeM + p.perMetre*p.classes[i].factor*ground) * math.Hypot(runM, dzM)
}

func abs(x float32) float32 { return math.Float32frombits(math.Float32bits(x) &^ (1 << 31)) }

func root(x float32) float32 { return float32(math.Sqrt(float64(x))) }
