package hydraulics

import "math"

// waterColumn is an elastic column of water in one pipe, cut into reaches that
// a wave crosses in one time step, and moved by the method of characteristics
// (Wylie & Streeter, Fluid Transients, chapter 3):
//
//	C⁺: H_P = H_A + B·Q_A − R·|Q_A|·Q_P − B·Q_P
//	C⁻: H_P = H_B − B·Q_B + R·|Q_B|·Q_P + B·Q_P
//
// with B = a/(g·A) and R = f·Δx/(2·g·D·A²). Friction counts half the old flow
// and half the new one (as a product), which is stable at any flow and of
// second order.
type waterColumn struct {
	b, r        float64
	dt, area    float64
	head, flow  []float64 // at the nodes, upstream first
	head2, flo2 []float64 // of the next step
	// The books, in m³ and in m³ of water times m of head.
	in, out, lost     float64 // energy through the ends and into friction
	volIn, volOut     float64
	energy0, storage0 float64
}

// newWaterColumn is at rest under a head.
func newWaterColumn(f Fluid, p Pipe, length, frictionFactor, head float64, reaches int) waterColumn {
	a, area := WaveSpeed(f, p), p.Area()
	dx := length / float64(reaches)
	c := waterColumn{
		b: a / (Gravity * area), r: frictionFactor * dx / (2 * Gravity * p.Inside * area * area), dt: dx / a, area: area,
		head: make([]float64, reaches+1), flow: make([]float64, reaches+1),
		head2: make([]float64, reaches+1), flo2: make([]float64, reaches+1),
	}
	for i := range c.head {
		c.head[i] = head
	}
	c.energy0, c.storage0 = c.energy(), c.storage()
	return c
}

// interior moves the inner nodes and gives what the ends need: the head at the
// downstream end is cp − bp·Q, at the upstream end cm + bm·Q.
func (c *waterColumn) interior() (cp, bp, cm, bm float64) {
	n := len(c.head) - 1
	h, q := c.head, c.flow
	h2, q2 := c.head2, c.flo2
	b, r := c.b, c.r
	h2, q2, q = h2[:len(h)], q2[:len(h)], q[:len(h)]
	plus, bPlus := h[0]+b*q[0], b+r*math.Abs(q[0])
	for i := 1; i < n; i++ {
		minus, bMinus := h[i+1]-b*q[i+1], b+r*math.Abs(q[i+1])
		q2[i] = (plus - minus) / (bPlus + bMinus)
		h2[i] = plus - bPlus*q2[i]
		plus, bPlus = h[i]+b*q[i], b+r*math.Abs(q[i])
	}
	return plus, bPlus, h[1] - b*q[1], b + r*math.Abs(q[1])
}

// finish takes the ends of the new step and keeps the books. The sums are
// arranged as the waves travel: what leaves node i downstream at one step
// arrives at node i + 1 at the next, so without friction the books close to
// the last digit.
func (c *waterColumn) finish(up, upFlow, down, downFlow float64) {
	n := len(c.head) - 1
	c.head2[0], c.flo2[0], c.head2[n], c.flo2[n] = up, upFlow, down, downFlow
	c.head, c.head2 = c.head2, c.head
	c.flow, c.flo2 = c.flo2, c.flow
	c.in += up * upFlow * c.dt
	c.out += down * downFlow * c.dt
	c.volIn += upFlow * c.dt
	c.volOut += downFlow * c.dt
	var lost float64
	for i := range n { // friction along both characteristics of each reach
		qa, qp := c.flo2[i], c.flow[i+1]
		qb, qm := c.flo2[i+1], c.flow[i]
		lost += math.Abs(qa)*qp*(qa+qp) + math.Abs(qb)*qm*(qb+qm)
	}
	c.lost += lost * c.r * c.dt / 4
}

// energy is kinetic and elastic energy over the weight of a m³, from the
// travelling waves.
func (c *waterColumn) energy() float64 {
	sum := 0.0
	n := len(c.head) - 1
	for i := range n {
		sum += sq(c.head[i]+c.b*c.flow[i]) + sq(c.head[i+1]-c.b*c.flow[i+1])
	}
	return sum * c.dt / (4 * c.b)
}

// storage is the volume that pressure has pressed in, m³.
func (c *waterColumn) storage() float64 {
	sum := 0.0
	n := len(c.head) - 1
	for i := range n {
		sum += c.head[i] + c.b*c.flow[i] + c.head[i+1] - c.b*c.flow[i+1]
	}
	return sum * c.dt / (2 * c.b)
}

// imbalance is what the books of volume and energy miss, as a share of what
// came in.
func (c *waterColumn) imbalance() (volume, energy float64) {
	volume = (c.volIn - c.volOut - (c.storage() - c.storage0)) / c.volIn
	energy = (c.in - c.out - c.lost - (c.energy() - c.energy0)) / c.in
	return math.Abs(volume), math.Abs(energy)
}
