package valley

import (
	"math"

	"github.com/paulmach/orb"
)

// blendM is the width over which the valley floor passes into the hillside.
const blendM = 12

// Ground is the height in metres that a laser scan without error would give at
// a point of the place's frame: the water where it stands open, the ground
// elsewhere, the top of the road fill where the creek runs under it.
func (p *Place) Ground(at orb.Point) float64 {
	return p.road.over(p.natural(at), at)
}

// At and DiffSigma make a place a surface without error for the searches and
// profiles that read one.
func (p *Place) At(at orb.Point) (zM float64, ok bool) {
	if math.Abs(at[0]) > p.halfM || math.Abs(at[1]) > p.halfM {
		return math.NaN(), false
	}
	return p.Ground(at), true
}

// DiffSigma is zero: the model knows its own heights.
func (p *Place) DiffSigma(_, _ orb.Point) float64 { return 0 }

// natural is the ground without the road.
func (p *Place) natural(at orb.Point) float64 {
	c := p.creek
	station, d, beside := c.nearest(at, p.widest+2+blendM)
	if !beside {
		return p.upland(at)
	}
	half := c.at(c.halfWidth, station)
	water := c.at(c.water, station)
	beyond := d - half
	if beyond <= 0 {
		return water
	}
	bank := p.bankBeside(at, d)
	if beyond < c.bankRunM {
		return water + (bank-water)*smooth(beyond/c.bankRunM)
	}
	floor := bank + 0.03*(beyond-c.bankRunM)
	t := smooth((beyond - 2) / blendM)
	if t == 0 {
		return floor
	}
	return floor + t*(p.upland(at)-floor)
}

// bankBeside is the height of the valley floor: a mean over the creek nearby
// with weights that fall off fast, so that it does not jump where the nearest
// station does, between two limbs of a meander.
func (p *Place) bankBeside(at orb.Point, distanceM float64) float64 {
	c := p.creek
	sum, weights := 0.0, 0.0
	c.squares.nearby(at, distanceM+10, func(i int, d2 float64) {
		w := 1 / sq(d2+1)
		sum += w * c.bank[i]
		weights += w
	})
	return sum / weights
}

// upland is the hillside with its small bumps and the bench for the house.
func (p *Place) upland(at orb.Point) float64 {
	z := p.hills.at(at)
	z += 0.35*roughness(p.seed+10, at, 28) + 0.14*roughness(p.seed+11, at, 9) + 0.05*roughness(p.seed+12, at, 3.5)
	return p.bench.level(z, at)
}

// bench is a level place cut and filled into the hillside.
type bench struct {
	centre        orb.Point
	alongM, deepM float64 // half its length and half its depth
	directionDeg  float64 // of its length, anticlockwise from east
	zM            float64
	slopeM        float64 // width of the slopes around it
	fallsOutward  float64 // gentle slope of the bench across its depth
}

// level blends the bench into the ground.
func (b *bench) level(z float64, at orb.Point) float64 {
	angle := b.directionDeg * math.Pi / 180
	dx, dy := at[0]-b.centre[0], at[1]-b.centre[1]
	u := dx*math.Cos(angle) + dy*math.Sin(angle)
	v := -dx*math.Sin(angle) + dy*math.Cos(angle)
	r := math.Hypot(math.Max(math.Abs(u)-b.alongM, 0), math.Max(math.Abs(v)-b.deepM, 0))
	t := smooth(1 - r/b.slopeM)
	return z + t*(b.zM+b.fallsOutward*v-z)
}

// road is a farm track on an earth fill where it crosses the creek.
type road struct {
	line    []orb.Point // every roadStepM
	formed  []float64   // height of its top
	halfM   float64     // half its width
	batter  float64     // horizontal over vertical of its slopes
	reachM  float64     // as far as its slopes can go
	squares squares
}

const roadStepM = 1.0

// newRoad forms the road over the ground: smoothed lengthwise, and fillM above
// the water where it crosses.
func newRoad(line []orb.Point, crossing int, waterM, fillM float64, ground func(orb.Point) float64) *road {
	r := &road{line: line, halfM: 1.8, batter: 1.5, reachM: 14}
	natural := make([]float64, len(line))
	for i, at := range line {
		natural[i] = ground(at)
	}
	r.formed = movingMean(movingMean(natural, 14), 8)
	lift := waterM + fillM - r.formed[crossing]
	for i := range r.formed {
		r.formed[i] += lift * math.Exp(-sq(float64(i-crossing)*roadStepM/28))
	}
	for i := range r.formed {
		// Both ends run out level with the ground.
		end := float64(min(i, len(line)-1-i)) * roadStepM
		r.formed[i] = natural[i] + smooth(end/15)*(r.formed[i]-natural[i])
	}
	r.squares = newSquares(line)
	return r
}

// over is the ground with the road in it: its top, and slopes that cut into
// higher and fill over lower ground.
func (r *road) over(z float64, at orb.Point) float64 {
	if r == nil {
		return z
	}
	position, d, ok := r.squares.alongLine(at, r.reachM, roadStepM)
	if !ok {
		return z
	}
	top := interpolate(r.formed, position)
	slope := math.Max(d-r.halfM, 0) / r.batter
	return math.Min(math.Max(z, top-slope), top+slope)
}
