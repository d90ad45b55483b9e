package valley

import (
	"math"
	"math/rand/v2"

	"github.com/paulmach/orb"
)

// creekStepM is the spacing of the samples that carry the creek.
const creekStepM = 0.5

// creek is the channel as a list of samples every creekStepM, upstream first.
// Everything about it is a function of the station, so that the fall between
// any two stations is known exactly.
type creek struct {
	first     float64     // station of sample 0, metres
	points    []orb.Point // thalweg
	water     []float64   // water surface, metres; never rises downstream
	bed       []float64   // lowest point of the channel, metres
	bank      []float64   // ground beside the channel, metres
	halfWidth []float64   // of the water surface, metres
	bankRunM  float64     // horizontal width of one bank
	axis      []orb.Point // middle of the valley beside each sample
	floor     []float64   // half the width of the valley floor, metres
	squares   squares
}

// creekPlan says how a creek is to be drawn.
type creekPlan struct {
	seed               uint64
	first, last        float64 // stations of the two ends of the model
	headingDeg         float64 // of the valley, anticlockwise from east
	swingDeg           float64 // how far the valley turns either way
	swingM             float64 // over which length it turns
	meanderM           float64 // usual wavelength of the meanders
	meanderRad         float64 // usual angle between meander and valley
	centre             orb.Point
	centreAt           float64 // station that lies on centre
	lowestM            float64 // water at the lower end
	slope              float64 // mean fall of the water
	slopeSwing         float64 // slow changes of the slope, as a share of it
	unitMinM, unitMaxM float64 // length of a pool with its riffle
	poolShare          float64 // of that length
	poolSlope          float64
	stepShare          float64 // of the riffles that are a step
	halfWidthM         float64 // of the water
	floorM             float64 // usual half width of the valley floor
	bankRunM           float64
	bankM              float64 // bank above water
	poolDepthM         float64
	riffleDepthM       float64
	dam                *dam
	waterfall          *waterfall
}

// dam is a low wall across the creek with a level pool behind it.
type dam struct {
	from, crest float64 // stations of the pool's upper end and of the wall
	dropM       float64 // of the water over the wall
	halfWidthM  float64 // of the pool
	depthM      float64 // behind the wall
}

// waterfall is one drop in the rock.
type waterfall struct{ station, dropM float64 }

// newCreek draws the creek.
func newCreek(p creekPlan) *creek {
	n := int(math.Round((p.last-p.first)/creekStepM)) + 1
	c := &creek{first: p.first, bankRunM: p.bankRunM}
	random := rand.New(rand.NewPCG(p.seed, 1))
	c.points = meander(p, n, random)
	c.fall(p, n, random)
	c.valleyFloor(p, random)
	c.squares = newSquares(c.points)
	return c
}

// meander draws a sine-generated curve (Langbein and Leopold 1966, from
// memory) whose wavelength and angle wander, along a valley that turns slowly.
func meander(p creekPlan, n int, random *rand.Rand) []orb.Point {
	points := make([]orb.Point, n)
	phase := random.Float64() * 2 * math.Pi
	wavelength := newWander(random, 160)
	angle := newWander(random, 110)
	slow := random.Float64() * 2 * math.Pi
	at := orb.Point{}
	for i := range points {
		points[i] = at
		s := p.first + float64(i)*creekStepM
		valley := p.headingDeg + p.swingDeg*math.Sin(2*math.Pi*s/p.swingM+slow)
		swing := p.meanderRad * math.Exp(0.4*angle.next())
		swing = math.Min(swing, 1.75*p.meanderRad) // beyond it the loops would touch
		phase += 2 * math.Pi * creekStepM / (p.meanderM * math.Exp(0.4*wavelength.next()))
		heading := valley*math.Pi/180 + swing*math.Sin(phase)
		at[0] += creekStepM * math.Cos(heading)
		at[1] += creekStepM * math.Sin(heading)
	}
	pin := points[int(math.Round((p.centreAt-p.first)/creekStepM))]
	for i := range points {
		points[i][0] += p.centre[0] - pin[0]
		points[i][1] += p.centre[1] - pin[1]
	}
	return points
}

// wander is a smooth random function of the distance with mean 0 and standard
// deviation about 1.
type wander struct {
	random  *rand.Rand
	keep    float64
	a, b, c float64
}

// newWander makes one that changes over about lengthM metres.
func newWander(random *rand.Rand, lengthM float64) *wander {
	w := &wander{random: random, keep: math.Exp(-3 * creekStepM / lengthM)}
	for range int(3 * lengthM / creekStepM) {
		w.next()
	}
	return w
}

// next advances by one creek step. Three first-order filters in a row make it
// smooth; the factor restores the unit variance of the cascade.
func (w *wander) next() float64 {
	in := w.random.NormFloat64()
	w.a += (1 - w.keep) * (in - w.a)
	w.b += (1 - w.keep) * (w.a - w.b)
	w.c += (1 - w.keep) * (w.b - w.c)
	// Variance of three equal poles fed with white noise: (3/16)(1-keep), for
	// small 1-keep.
	return w.c / math.Sqrt(3.0/16*(1-w.keep))
}

// fall gives the creek its pools, riffles, steps, dam and waterfall, and the
// widths and depths that go with them.
func (c *creek) fall(p creekPlan, n int, random *rand.Rand) {
	drop := make([]float64, n) // of the water over the step that ends here
	pool := make([]float64, n) // 1 in a pool, 0 in a riffle
	for i := 0; i < n; {
		s := p.first + float64(i)*creekStepM
		i = c.unit(p, s, i, drop, pool, random)
	}
	c.obstacles(p, drop, pool)

	c.water = make([]float64, n)
	level := p.lowestM
	for i := n - 1; i >= 0; i-- {
		c.water[i] = level
		level += drop[i]
	}
	c.bank = movingMean(c.water, int(15/creekStepM))
	pool = movingMean(pool, int(1.5/creekStepM))
	c.bed = make([]float64, n)
	c.halfWidth = make([]float64, n)
	for i := range n {
		c.bank[i] = math.Max(c.bank[i]+p.bankM, c.water[i]+0.4*p.bankM)
		c.bed[i] = c.water[i] - p.riffleDepthM - pool[i]*(p.poolDepthM-p.riffleDepthM)
		c.halfWidth[i] = p.halfWidthM * (0.85 + 0.3*pool[i])
	}
	c.widenForDam(p)
}

// unit lays one pool with its riffle from sample i and gives the next sample.
func (c *creek) unit(p creekPlan, s float64, i int, drop, pool []float64, random *rand.Rand) int {
	length := p.unitMinM + (p.unitMaxM-p.unitMinM)*random.Float64()
	slope := p.slope * (1 + p.slopeSwing*math.Sin(2*math.Pi*s/310+0.7))
	fall := slope * length * (0.75 + 0.5*random.Float64())
	poolM := p.poolShare * length * (0.8 + 0.4*random.Float64())
	riffleM := math.Max(length-poolM, 2*creekStepM)
	if random.Float64() < p.stepShare {
		// The same fall over the last metre or so only.
		poolM, riffleM = length-1.5, 1.5
	}
	poolN, riffleN := int(poolM/creekStepM), int(riffleM/creekStepM)
	for k := 0; k < poolN+riffleN && i < len(drop); k++ {
		if k < poolN {
			drop[i], pool[i] = p.poolSlope*creekStepM, 1
		} else {
			drop[i] = math.Max(fall-p.poolSlope*poolM, 0) / float64(riffleN)
		}
		i++
	}
	return i
}

// obstacles replaces the drops at the dam and at the waterfall.
func (c *creek) obstacles(p creekPlan, drop, pool []float64) {
	sample := func(s float64) int { return int(math.Round((s - p.first) / creekStepM)) }
	if d := p.dam; d != nil {
		for i := sample(d.from); i < sample(d.crest); i++ {
			drop[i], pool[i] = 0, 1
		}
		over := 3 // samples: the water falls over the wall within 1.5 m
		for i := range over {
			drop[sample(d.crest)+i] = d.dropM / float64(over)
		}
	}
	if w := p.waterfall; w != nil {
		i := sample(w.station)
		drop[i], drop[i+1] = w.dropM/2, w.dropM/2
		for k := 2; k < 10; k++ { // plunge pool
			drop[i+k], pool[i+k] = 0, 1
		}
	}
}

// widenForDam gives the pool behind the dam its width, depth and low banks.
func (c *creek) widenForDam(p creekPlan) {
	d := p.dam
	if d == nil {
		return
	}
	for i := range c.water {
		s := c.first + float64(i)*creekStepM
		if s < d.from || s > d.crest {
			continue
		}
		along := (s - d.from) / (d.crest - d.from)
		// It widens over most of its length and narrows to the wall.
		shape := smooth(along/0.6) * smooth((1-along)/0.08)
		c.halfWidth[i] += shape * (d.halfWidthM - c.halfWidth[i])
		c.bed[i] = math.Min(c.bed[i], c.water[i]-d.depthM*along)
		c.bank[i] = math.Max(c.bank[i], c.water[i]+0.5)
	}
}

// valleyFloor lays the flat ground that the creek has made for itself over
// time: a band of changing width around the middle of its meanders.
func (c *creek) valleyFloor(p creekPlan, random *rand.Rand) {
	n := len(c.points)
	x, y := make([]float64, n), make([]float64, n)
	for i, at := range c.points {
		x[i], y[i] = at[0], at[1]
	}
	k := int(0.5 * p.meanderM / creekStepM)
	x, y = movingMean(movingMean(x, k), k), movingMean(movingMean(y, k), k)
	c.axis, c.floor = make([]orb.Point, n), make([]float64, n)
	width := newWander(random, 140)
	for i := range c.axis {
		c.axis[i] = orb.Point{x[i], y[i]}
		c.floor[i] = p.floorM * math.Exp(0.45*width.next())
	}
}

// movingMean is the mean over 2k+1 samples, fewer at the ends.
func movingMean(v []float64, k int) []float64 {
	sums := make([]float64, len(v)+1)
	for i, x := range v {
		sums[i+1] = sums[i] + x
	}
	out := make([]float64, len(v))
	for i := range v {
		lo, hi := max(i-k, 0), min(i+k+1, len(v))
		out[i] = (sums[hi] - sums[lo]) / float64(hi-lo)
	}
	return out
}

// smooth rises from 0 at 0 to 1 at 1 without a kink, and stays there.
func smooth(t float64) float64 {
	t = math.Min(math.Max(t, 0), 1)
	return t * t * (3 - 2*t)
}

// at interpolates one of the creek's slices at a station; outside the model it
// holds the end value.
func (c *creek) at(values []float64, station float64) float64 {
	return interpolate(values, (station-c.first)/creekStepM)
}

// interpolate is linear between the entries of a slice and holds its end
// values.
func interpolate(values []float64, position float64) float64 {
	i := min(max(int(math.Floor(position)), 0), len(values)-2)
	t := math.Min(math.Max(position-float64(i), 0), 1)
	return values[i] + t*(values[i+1]-values[i])
}

// point is the thalweg at a station.
func (c *creek) point(station float64) orb.Point {
	position := (station - c.first) / creekStepM
	i := min(max(int(math.Floor(position)), 0), len(c.points)-2)
	t := math.Min(math.Max(position-float64(i), 0), 1)
	a, b := c.points[i], c.points[i+1]
	return orb.Point{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1])}
}

// squareM is the side of the squares of the spatial index.
const squareM = 8

// squares sorts points into squares so that those near a place are found
// without a look at the rest. It is immutable once made.
type squares struct {
	points     []orb.Point
	origin     orb.Point
	cols, rows int
	start      []int32 // of each square in members; one more than squares
	members    []int32
}

func newSquares(points []orb.Point) squares {
	bound := orb.MultiPoint(points).Bound()
	q := squares{points: points, origin: bound.Min}
	q.cols = int((bound.Max[0]-bound.Min[0])/squareM) + 1
	q.rows = int((bound.Max[1]-bound.Min[1])/squareM) + 1
	q.start = make([]int32, q.cols*q.rows+1)
	for _, p := range points {
		q.start[q.of(p)+1]++
	}
	for i := range q.cols * q.rows {
		q.start[i+1] += q.start[i]
	}
	q.members = make([]int32, len(points))
	next := append([]int32(nil), q.start...)
	for i, p := range points {
		k := q.of(p)
		q.members[next[k]] = int32(i)
		next[k]++
	}
	return q
}

// of is the square of a point inside the index.
func (q *squares) of(p orb.Point) int {
	return int((p[1]-q.origin[1])/squareM)*q.cols + int((p[0]-q.origin[0])/squareM)
}

// nearby calls f for every point within reachM of p, in a fixed order.
func (q *squares) nearby(p orb.Point, reachM float64, f func(i int, d2 float64)) {
	span := func(v float64, n int) (lo, hi int) {
		return max(int(math.Floor((v-reachM)/squareM)), 0), min(int(math.Floor((v+reachM)/squareM)), n-1)
	}
	x0, x1 := span(p[0]-q.origin[0], q.cols)
	y0, y1 := span(p[1]-q.origin[1], q.rows)
	for y := y0; y <= y1; y++ {
		for k := y*q.cols + x0; k <= y*q.cols+x1; k++ {
			for _, i := range q.members[q.start[k]:q.start[k+1]] {
				dx, dy := q.points[i][0]-p[0], q.points[i][1]-p[1]
				if d2 := dx*dx + dy*dy; d2 <= reachM*reachM {
					f(int(i), d2)
				}
			}
		}
	}
}

// nearest is the point nearest to p within reachM, -1 when there is none.
func (q *squares) nearest(p orb.Point, reachM float64) (i int, distanceM float64) {
	best, least := -1, math.Inf(1)
	q.nearby(p, reachM, func(i int, d2 float64) {
		if d2 < least || d2 == least && i < best {
			best, least = i, d2
		}
	})
	return best, math.Sqrt(least)
}

// alongLine takes the points as a line and gives the nearest place on it to p,
// counted in points from its beginning, and the distance; ok is false when it
// is further away than reachM. stepM is the distance between points.
func (q *squares) alongLine(p orb.Point, reachM, stepM float64) (position, distanceM float64, ok bool) {
	best, distanceM := q.nearest(p, reachM+stepM)
	if best < 0 {
		return 0, 0, false
	}
	position = float64(best)
	for _, i := range [2]int{best - 1, best} {
		if i < 0 || i+1 >= len(q.points) {
			continue
		}
		t, d := footOn(q.points[i], q.points[i+1], p)
		if d < distanceM {
			position, distanceM = float64(i)+t, d
		}
	}
	return position, distanceM, distanceM <= reachM
}

// nearest gives the station of the thalweg's nearest point and its distance;
// ok is false when it is further away than reachM.
func (c *creek) nearest(p orb.Point, reachM float64) (station, distanceM float64, ok bool) {
	position, distanceM, ok := c.squares.alongLine(p, reachM, creekStepM)
	return c.first + position*creekStepM, distanceM, ok
}

// footOn is the nearest point of the piece a-b to p, as a share of the piece,
// and its distance.
func footOn(a, b, p orb.Point) (t, distanceM float64) {
	dx, dy := b[0]-a[0], b[1]-a[1]
	t = ((p[0]-a[0])*dx + (p[1]-a[1])*dy) / (dx*dx + dy*dy)
	t = math.Min(math.Max(t, 0), 1)
	return t, math.Hypot(a[0]+t*dx-p[0], a[1]+t*dy-p[1])
}
