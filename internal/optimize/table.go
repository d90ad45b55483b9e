package optimize

import (
	"math"
	"sync/atomic"

	"route/internal/hydraulics"
)

// table bounds from above what an engine delivers at one flow.
//
// It holds the delivered flow at the corners of a grid in drive head H,
// inverse drive-pipe length 1/L and delivery head h, each worked out when first
// asked for, with the tuning range widened by a third either way. Within a
// cell the bound is the trilinear value and a margin; where a corner does not
// work, the largest corner and the margin. The delivered flow is smooth and
// nearly linear in H and 1/L and convex in h, so that the trilinear value is
// off by less than the margin; the tests measure it. Where the pump draws more
// than the flow even at its lightest (too much head for the flow), the corner
// counts with the value of the next lower head that works, so that the bound
// holds for all lower heads as well.
type table struct {
	site    *site
	engine  *engine
	perPump float64 // m³/s
	idle    bool    // the pump cannot draw this flow anywhere
	tuning  [2]float64

	head, inverse, lift []float64 // grid, rising
	values              []atomic.Uint64
	ends                [2]ends // of the windows
	bears               float64 // most head of any window
}

const (
	tableMargin = 1.02
	widening    = 1.35
	// Ratios of neighbouring grid lines.
	headRatio, lengthRatio, liftRatio, drawRatio = 1.2, 1.4, 1.2, 1.4
)

// extent is the part of the world that tables cover.
type extent struct{ headLow, headHigh, lengthLow, lengthHigh, liftLow, liftHigh float64 }

// extent covers all pairs, what any flow brings to them, and their lifts with
// room for friction; higher lifts count as the highest.
func (st *site) extent() extent {
	x := extent{math.Inf(1), 0.1, math.Inf(1), 0.1, math.Inf(1), 0.5}
	for p := range st.n {
		if math.IsNaN(st.lift[p]) {
			continue
		}
		x.headLow = min(x.headLow, st.needed(p))
		x.liftLow, x.liftHigh = min(x.liftLow, st.lift[p]), max(x.liftHigh, st.lift[p])
		for _, s := range st.pairs.heads(p) {
			l := st.drive.lengthSquared(int(s), p)
			x.lengthLow, x.lengthHigh = min(x.lengthLow, l), max(x.lengthHigh, l)
		}
	}
	for _, f := range st.flows {
		for p, h := range f.pumpTop {
			if !math.IsNaN(st.lift[p]) {
				x.headHigh = max(x.headHigh, min(h, st.allowed(p)))
			}
		}
	}
	x.headLow = min(max(x.headLow, 0.05), x.headHigh/1.01)
	x.lengthLow, x.lengthHigh = min(math.Sqrt(x.lengthLow), 1e3), math.Sqrt(x.lengthHigh)
	x.lengthHigh = max(x.lengthHigh, 1.01*x.lengthLow)
	x.liftLow = min(max(x.liftLow, 0.4), x.liftHigh/1.01)
	x.liftHigh = 1.2*x.liftHigh + 5
	return x
}

// tables makes the tables of a flow, with all corners unknown.
func (f *flow) makeTables(x extent) {
	st := f.site
	head := ladderOf(x.headLow, x.headHigh, headRatio)
	inverse := ladderOf(1/x.lengthHigh, 1.01/x.lengthLow, lengthRatio)
	lift := ladderOf(x.liftLow, x.liftHigh, liftRatio)
	f.tables = make([]table, len(st.engines))
	for k := range f.tables {
		e := &st.engines[k]
		t := &f.tables[k]
		*t = table{
			site: st, engine: e, perPump: f.m3s / float64(e.pumps),
			tuning: [2]float64{st.tuning[0] / widening, min(st.tuning[1]*widening, 0.99)},
			head:   head, inverse: inverse, lift: lift,
			values: make([]atomic.Uint64, len(head)*len(inverse)*len(lift)),
			idle:   true,
		}
		for a := range lengthLines {
			for b := range liftLines {
				low, high := e.draws.headAt(heaviest, a, b, t.perPump), e.draws.headAt(lightest, a, b, t.perPump)
				t.ends[heaviest][a][b], t.ends[lightest][a][b] = low, high
				t.bears = max(t.bears, high*windowMargin)
				if low < windowMargin*x.headHigh && high*windowMargin > x.headLow {
					t.idle = false
				}
			}
		}
	}
}

// ladderOf gives at least two numbers from low to high or beyond, each ratio
// times the one before.
func ladderOf(low, high, ratio float64) []float64 {
	steps := max(1, int(math.Ceil(math.Log(high/low)/math.Log(ratio)-1e-9)))
	grid := make([]float64, steps+1)
	for k := range grid {
		grid[k] = low * math.Pow(ratio, float64(k))
	}
	return grid
}

// potential bounds what is delivered without a look at the pump's tuning: the
// energy of the flow times the volumetric factor, q·(h − H) ≤ η·(Q − q)·H.
func (t *table) potential(head, lift float64) float64 {
	eta := t.engine.ram.VolumetricFactor
	if lift <= head {
		return math.Inf(1)
	}
	return tableMargin * t.perPump * float64(t.engine.pumps) * eta * head / (lift - head + eta*head)
}

// headForEnergy is the drive head at which the potential is a flow: no less
// delivers it.
func (t *table) headForEnergy(m3s, lift float64) float64 {
	eta := t.engine.ram.VolumetricFactor
	flow := tableMargin * t.perPump * float64(t.engine.pumps)
	return m3s * lift / (eta*flow + m3s*(1-eta))
}

// A corner's value is its delivered flow by all pumps; these stand for others.
const (
	cornerUnknown = 0 // bits of +0, which no corner has
	deadCorner    = -1.0
)

// corner gives the delivered flow at a grid point; dead where the pump cannot
// work, +Inf where the lift is no higher than the head and nothing is known.
func (t *table) corner(j, a, b int) float64 {
	at := &t.values[(j*len(t.inverse)+a)*len(t.lift)+b]
	if bits := at.Load(); bits != cornerUnknown {
		return math.Float64frombits(bits)
	}
	v := t.work(j, a, b)
	at.Store(math.Float64bits(v))
	return v
}

func (t *table) work(j, a, b int) float64 {
	if t.lift[b] <= t.head[j]*1.01 {
		return math.Inf(1)
	}
	t.site.bounds.Add(1)
	d, err := t.engine.ram.TunedTo(t.site.Fluid, t.engine.pipe, 1/t.inverse[a], t.head[j], t.lift[b], t.perPump, t.tuning)
	switch e := err.(type) {
	case nil, *hydraulics.WeakBeatError:
		return d.DeliveredFlow * float64(t.engine.pumps)
	case *hydraulics.TuningError:
		if e.TooLittle() && j > 0 {
			return t.corner(j-1, a, b)
		}
	}
	return deadCorner
}

// cellOf finds the cell of a grid and the place in it, from 0 to 1; values
// outside count as the nearest end.
func cellOf(grid []float64, v float64) (k int, t float64) {
	last := len(grid) - 2
	for k < last && grid[k+1] < v {
		k++
	}
	return k, min(max((v-grid[k])/(grid[k+1]-grid[k]), 0), 1)
}

// at bounds the delivered flow at this drive head or less, this delivery head
// or more, and this length; 0 when the pump cannot work.
func (t *table) at(head, lift, length float64) float64 {
	j, th := cellOf(t.head, head)
	b, tl := cellOf(t.lift, lift)
	a, ta := cellOf(t.inverse, 1/length)
	near := t.plane(j, th, a, b, tl)
	far := t.plane(j, th, a+1, b, tl)
	return max(mix(near, far, ta), 0) * tableMargin
}

// headBelow is a drive head between least and most up to which no more than a
// flow is delivered, near the greatest such head; least where none is known. What
// bears only less is not worth a look.
func (t *table) headBelow(m3s, lift, length, least, most float64) float64 {
	const halvings = 8
	for range halvings {
		middle := (least + most) / 2
		if t.at(middle, lift, length) <= m3s {
			least = middle
		} else {
			most = middle
		}
	}
	return least
}

// atAnyLength is at for the best of all lengths.
func (t *table) atAnyLength(head, lift float64) float64 {
	j, th := cellOf(t.head, head)
	b, tl := cellOf(t.lift, lift)
	best := 0.0
	for a := range t.inverse {
		best = max(best, t.plane(j, th, a, b, tl))
	}
	return best * tableMargin * lengthMargin
}

// lengthMargin covers the rise of the delivered flow between two lines of the
// grid in 1/L, beyond the higher of the two.
const lengthMargin = 1.02

// plane interpolates in head and lift at one length.
func (t *table) plane(j int, th float64, a, b int, tl float64) float64 {
	low := mix(t.corner(j, a, b), t.corner(j, a, b+1), tl)
	high := mix(t.corner(j+1, a, b), t.corner(j+1, a, b+1), tl)
	return mix(low, high, th)
}

// mix interpolates between two values; where one is dead or unbounded, the
// larger counts.
func mix(u, v, t float64) float64 {
	if u < 0 || v < 0 || math.IsInf(u, 1) || math.IsInf(v, 1) {
		return max(u, v)
	}
	return u + t*(v-u)
}

// window bounds the drive heads at which the engine can be tuned to this flow
// in a drive pipe of a length against a lift: below low even the heaviest
// tuning draws too little, above high even the lightest draws too much. A
// margin covers the friction of the delivery pipe and what lies between the
// lines of the draws.
func (t *table) window(length, lift float64) (low, high float64) {
	d := t.engine.draws
	a := 0
	for a < lengthLines-2 && length > d.lengths[a+1] {
		a++
	}
	along := min(max((length-d.lengths[a])/(d.lengths[a+1]-d.lengths[a]), 0), 1)
	b := 0
	for b < liftLines-2 && lift > d.lifts[b+1] {
		b++
	}
	up := min(max((lift-d.lifts[b])/(d.lifts[b+1]-d.lifts[b]), 0), 1)
	end := func(which int) float64 {
		e := &t.ends[which]
		return mixEnds(which, mixEnds(which, e[a][b], e[a+1][b], along), mixEnds(which, e[a][b+1], e[a+1][b+1], along), up)
	}
	return end(heaviest) / windowMargin, end(lightest) * windowMargin
}

// bearsAny is the most head that the engine bears in any drive pipe.
func (t *table) bearsAny() float64 { return t.bears }

const windowMargin = 1.1

// mixEnds interpolates the ends of windows; next to one that is outside the
// table, the other counts when it is the safer.
func mixEnds(which int, u, v, t float64) float64 {
	outside := u == 0 || v == 0 || math.IsInf(u, 1) || math.IsInf(v, 1)
	switch {
	case outside && which == heaviest:
		return min(u, v)
	case outside:
		return max(u, v)
	}
	return u + t*(v-u)
}

// Ends of the tuning range.
const (
	heaviest = iota
	lightest
)

// draws is what a pump draws at the ends of its tuning range, by drive head,
// for some lengths of drive pipe and some lifts. The draw goes about with the
// square root of the head over the resistance of the drive pipe, which is
// linear in its length, and changes with the lift by a fifth at most, up and
// down again.
type draws struct {
	head    []float64
	lengths [lengthLines]float64
	lifts   [liftLines]float64
	m3s     [2][lengthLines][liftLines][]float64
}

const (
	lengthLines = 4
	liftLines   = 6
)

// ends holds heads by length and lift.
type ends [lengthLines][liftLines]float64

// drawsOf tabulates an engine's pump.
func (st *site) drawsOf(e *engine, x extent) *draws {
	d := &draws{head: ladderOf(x.headLow/4, 6*x.headHigh, drawRatio)}
	for a := range d.lengths {
		d.lengths[a] = x.lengthLow + (x.lengthHigh-x.lengthLow)*float64(a)/(lengthLines-1)
	}
	for b := range d.lifts {
		d.lifts[b] = x.liftLow * math.Pow(x.liftHigh/x.liftLow, float64(b)/(liftLines-1))
	}
	for a, length := range d.lengths {
		for b, lift := range d.lifts {
			for _, head := range d.head {
				least, most := st.draw(e, length, head, max(lift, 1.1*head))
				d.m3s[heaviest][a][b] = append(d.m3s[heaviest][a][b], most)
				d.m3s[lightest][a][b] = append(d.m3s[lightest][a][b], least)
			}
		}
	}
	return d
}

// headAt is the drive head at which the draw is a flow; 0 below the table,
// +Inf above it.
func (d *draws) headAt(which, a, b int, m3s float64) float64 {
	q := d.m3s[which][a][b]
	k := 0
	for k < len(q) && q[k] < m3s {
		k++
	}
	switch {
	case k == 0:
		return 0
	case k == len(q):
		return math.Inf(1)
	}
	share := math.Log(m3s/q[k-1]) / math.Log(q[k]/q[k-1])
	return d.head[k-1] * math.Pow(d.head[k]/d.head[k-1], share)
}

// draw is what one pump draws at its lightest and its heaviest tuning; +Inf and
// 0 where it cannot be said.
func (st *site) draw(e *engine, length, head, lift float64) (least, most float64) {
	st.bounds.Add(1)
	const dribble = 1e-12 // m³/s, less than any pump draws
	_, err := e.ram.TunedTo(st.Fluid, e.pipe, length, head, lift, dribble, st.tuning)
	if t, ok := err.(*hydraulics.TuningError); ok {
		return t.Least, t.Most
	}
	return math.Inf(1), 0
}

// backSteps of ceiling come within some thousandths of the head that is borne.
const backSteps = 6
