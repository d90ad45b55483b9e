package optimize

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/paulmach/orb"
)

// Everything in these instances is a small multiple of 1/64, so that every sum
// and difference in the search and in the brute force is exact and ties are
// real ones.
const grain = 1.0 / 64

// instance is a small creek with one grade and everything that bounds it.
type instance struct {
	z, s                        []float64
	at                          []orb.Point
	intakeOK, standOK, passOK   []bool
	pumpOK                      []bool
	grade                       grade
	boxes                       boxRange
	slopeMin, lengthMax         float64
	heightMin, heightMax        float64
	driveMin, driveMax          float64
	pumpAbove, headMin, headMax float64
	supplyPrice, standPrice     []step // of lengths and of heights
	drivePrice, freeboard       float64
	demand                      float64
	resistance                  []float64 // of the toy pump at each station
	describe                    string
}

// step is a stand-in for a catalog's price steps.
type step struct {
	upTo  float64
	price int64
}

func priceOf(steps []step, v float64) int64 {
	for _, st := range steps {
		if v <= st.upTo {
			return st.price
		}
	}
	return steps[len(steps)-1].price + 1000
}

// randomInstance makes creeks of all the awkward kinds.
func randomInstance(r *rand.Rand) *instance {
	n := 2 + r.IntN(20)
	in := &instance{}
	kind := r.IntN(6)
	in.describe = [...]string{"riffles", "pools", "one flat", "waterfall", "steep", "steps of equal fall"}[kind]
	z, s := 40.0, 0.0
	heading := r.IntN(4)
	x, y := 0.0, 0.0
	for k := range n {
		in.z = append(in.z, z)
		in.s = append(in.s, s)
		in.at = append(in.at, orb.Point{x, y})
		fall := 0.0
		switch kind {
		case 0:
			fall = float64(r.IntN(24)) * grain
		case 1:
			if r.IntN(3) == 0 {
				fall = float64(r.IntN(4)) * 16 * grain
			}
		case 3:
			fall = float64(r.IntN(3)) * 4 * grain
			if r.IntN(8) == 0 {
				fall = 12 // a waterfall higher than the longest drive pipe
			}
		case 4:
			fall = float64(32+r.IntN(64)) * grain
		case 5:
			fall = 16 * grain
		}
		z -= fall
		length := float64(1 + r.IntN(3))
		s += length
		// A rectangular meander: now and then the creek turns, sometimes
		// back on itself, so that chords are much shorter than arcs.
		if r.IntN(3) == 0 {
			heading = (heading + 1 + 2*r.IntN(2)) % 4
		}
		x += length * [...]float64{1, 0, -1, 0}[heading]
		y += length * [...]float64{0, 1, 0, -1}[heading]
		_ = k
	}
	mask := func(p int) []bool {
		if r.IntN(3) > 0 {
			return nil
		}
		m := make([]bool, n)
		for k := range m {
			m[k] = r.IntN(p) > 0
		}
		return m
	}
	in.intakeOK, in.standOK, in.pumpOK, in.passOK = mask(3), mask(3), mask(3), mask(12)
	in.grade = grade{
		slope: float64(r.IntN(20)) * grain, // more and less than the creek's own
		loss:  float64(r.IntN(5)) * 4 * grain * float64(r.IntN(2)),
		cover: float64(r.IntN(7)-3) * 8 * grain,
	}
	if r.IntN(3) == 0 {
		in.grade.box, in.grade.drop = true, float64(r.IntN(4))*4*grain
		in.grade.rise = [...]float64{8 * grain, 32 * grain, math.Inf(1)}[r.IntN(3)]
		in.boxes = boxRange{float64(1 + r.IntN(6)), 0, float64(r.IntN(3)) * 1.5}
		in.boxes.most = in.boxes.least + float64(r.IntN(8))
	}
	in.lengthMax = float64(2 + r.IntN(24))
	if r.IntN(4) == 0 {
		in.slopeMin = float64(r.IntN(8)) * grain
	}
	in.heightMin = float64(r.IntN(5)-2) * 16 * grain
	in.heightMax = in.heightMin + float64(r.IntN(10))*16*grain
	in.driveMin, in.driveMax = float64(r.IntN(3)), float64(3+r.IntN(8))
	in.pumpAbove = float64(r.IntN(3)) * 16 * grain
	in.headMin = float64(r.IntN(6)) * 16 * grain
	in.headMax = in.headMin + float64(1+r.IntN(20))*32*grain
	in.freeboard = float64(r.IntN(3)) * 8 * grain
	price := int64(0)
	for up := float64(1 + r.IntN(4)); up < 30; up += float64(1 + r.IntN(8)) {
		price += int64(1 + r.IntN(4))
		in.supplyPrice = append(in.supplyPrice, step{up, price})
	}
	price = 0
	for up := -1.0; up < 6; up += float64(1+r.IntN(4)) * 0.5 {
		price += int64(1 + r.IntN(3))
		in.standPrice = append(in.standPrice, step{up, price})
	}
	in.drivePrice = float64(r.IntN(3))
	in.demand = float64(r.IntN(60)) * grain
	for range n {
		in.resistance = append(in.resistance, float64(r.IntN(8))*grain)
	}
	return in
}

func (in *instance) water() *water {
	w := newWater(in.z, in.s, in.intakeOK, in.standOK, in.passOK, in.slopeMin)
	w.heightMin, w.heightMax, w.lengthMax = in.heightMin, in.heightMax, in.lengthMax
	w.seats = w.placeBoxes(in.boxes)
	return w
}

func (in *instance) drive() *driveSite {
	d := &driveSite{at: in.at, z: in.z, lengthMin: in.driveMin, lengthMax: in.driveMax, pumpOK: in.pumpOK}
	for _, z := range in.z {
		d.outlet = append(d.outlet, z+in.pumpAbove)
	}
	return d
}

// q is a toy pump: what it delivers never falls with the head, has flat parts,
// and differs from pump station to pump station.
func (in *instance) q(head float64, p int) float64 {
	return math.Floor(head*8)/16 - in.resistance[p]
}

// cost of the layout; a pump straight at the intake needs no supply.
func (in *instance) cost(i, s, p int) int64 {
	c := int64(in.drivePrice * math.Ceil(in.drive().length(s, p)/2))
	if i < s {
		c += priceOf(in.supplyPrice, in.s[s]-in.s[i]) + priceOf(in.standPrice, in.z[i]-in.z[s]+in.freeboard)
	}
	return c
}

func allowed(mask []bool, k int) bool { return mask == nil || mask[k] }

// boxesOf lists the places that the settling box of an intake is tried at, from
// the description of boxRange: of the stations where one may stand, those that
// come first at or beyond least, least + step, least + 2·step … up to most.
func (in *instance) boxesOf(i int) []int {
	if !in.grade.box {
		return []int{-1}
	}
	var list []int
	for b := i + 1; b < len(in.z); b++ {
		along := in.s[b] - in.s[i]
		if along < in.boxes.least || along > in.boxes.most || !allowed(in.standOK, b) {
			continue
		}
		// The number of steps that end at or before a station.
		steps := func(k int) float64 { return math.Floor((in.s[k] - in.s[i] - in.boxes.least) / in.boxes.step) }
		if n := len(list); in.boxes.step == 0 || n == 0 || steps(b) > steps(list[n-1]) {
			list = append(list, b)
		}
	}
	return list
}

// feasible is the model of the site, written down constraint by constraint; it
// gives the drive head. box is -1 where there is none.
func (in *instance) feasible(i, box, s, p int) (head float64, ok bool) {
	g := in.grade
	if !allowed(in.intakeOK, i) || !allowed(in.pumpOK, p) {
		return 0, false
	}
	level := in.z[s]
	if i < s {
		if !allowed(in.standOK, s) || in.s[s]-in.s[i] > in.lengthMax || box >= s {
			return 0, false
		}
		source, from := in.z[i]-g.loss, i // of the grade line
		for k := i; k <= s; k++ {
			if !allowed(in.passOK, k) {
				return 0, false
			}
			if k < s && in.z[k]-in.z[k+1] < in.slopeMin*(in.s[k+1]-in.s[k]) {
				return 0, false
			}
			level = source - g.slope*(in.s[k]-in.s[from])
			if k > i && in.z[k]+g.cover > level {
				return 0, false
			}
			if k == box {
				source, from = min(level-g.drop, in.z[k]+g.rise), k
				level = source
				if source < in.z[k] {
					return 0, false
				}
			}
		}
		if h := level - in.z[s]; h < in.heightMin || h > in.heightMax {
			return 0, false
		}
	}
	outlet := in.z[p] + in.pumpAbove
	dx, dy, dz := in.at[s][0]-in.at[p][0], in.at[s][1]-in.at[p][1], in.z[s]-outlet
	l2 := dx*dx + dy*dy + dz*dz
	if outlet >= in.z[s] || l2 < in.driveMin*in.driveMin || l2 > in.driveMax*in.driveMax {
		return 0, false
	}
	head = level - outlet
	return head, head >= in.headMin && head <= in.headMax
}

// best of the three objectives; cost is negative so that more is better.
type best struct {
	head, water, cheap float64
	cheapWater         float64 // most water for the least cost; brute force over all options only
}

func nothing() best { return best{head: math.Inf(-1), water: math.Inf(-1), cheap: math.Inf(-1)} }

func (b *best) take(in *instance, head float64, i, s, p int) {
	b.head = max(b.head, head)
	q := in.q(head, p)
	b.water = max(b.water, q)
	if q >= in.demand {
		b.cheap = max(b.cheap, -float64(in.cost(i, s, p)))
	}
}

// bruteForce tries every intake, standpipe and pump: O(n³) triples.
func (in *instance) bruteForce() best {
	b := nothing()
	n := len(in.z)
	for i := range n {
		for s := i; s < n; s++ {
			boxes := []int{-1}
			if i < s {
				boxes = in.boxesOf(i)
			}
			for p := s + 1; p < n; p++ {
				for _, box := range boxes {
					if head, ok := in.feasible(i, box, s, p); ok {
						b.take(in, head, i, s, p)
					}
				}
			}
		}
	}
	return b
}

func toPrices(steps []step) *prices {
	p := &prices{}
	for _, st := range steps {
		p.upTo = append(p.upTo, st.upTo)
		p.total = append(p.total, st.price)
	}
	last := len(p.total) - 1
	p.upTo = append(p.upTo, math.Inf(1))
	p.total = append(p.total, p.total[last]+1000)
	return p
}

// search answers the same question as bruteForce with the parts of the search.
// Where a pump's greatest head forbids the highest ways, it goes on below them.
func (in *instance) search() best {
	var l lines
	w := in.water()
	l.prepare(w, in.grade)
	d := in.drive()
	near := d.pairs()
	n := len(in.z)
	price := &supplyPrices{pipe: toPrices(in.supplyPrice), standpipe: toPrices(in.standPrice), freeboard: in.freeboard, tallest: math.Inf(1)}
	ladders := make([][]rung, n)
	for s := range n {
		if allowed(in.standOK, s) {
			l.moveTo(s)
			ladders[s] = l.ladder(nil, 0, price, math.Inf(-1))
		}
	}
	b := nothing()
	for p := range n {
		for _, s32 := range near.heads(p) {
			s := int(s32)
			rungs := ladders[s]
			if len(rungs) > 0 && rungs[0].level-d.outlet[p] > in.headMax {
				u := usedOption{lines: l}
				rungs = slices.DeleteFunc(u.feeding(nil, s), func(r rung) bool { return r.level-d.outlet[p] > in.headMax })
				for k := range rungs {
					rungs[k].cost = price.of(w, int(rungs[k].intake), s, rungs[k].length)
				}
				rungs = unbeaten(rungs)
			}
			if allowed(in.intakeOK, s) {
				rungs = append([]rung{{level: in.z[s], intake: s32}}, rungs...)
			}
			for _, r := range rungs {
				if head := r.level - d.outlet[p]; head >= in.headMin && head <= in.headMax {
					b.take(in, head, int(r.intake), s, p)
				}
			}
		}
	}
	return b
}

const coreInstances = 100000

// The search and the brute force agree on random creeks with ties, loops,
// masks and waterfalls, with and without settling box, for the best head, the
// most water and the least cost.
func TestSearchEqualsBruteForce(t *testing.T) {
	const seed = 20240611
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	feasible, cheap, crossed := 0, 0, 0
	instances := few(coreInstances)
	for k := range instances {
		in := randomInstance(r)
		want, got := in.bruteForce(), in.search()
		if got != want {
			t.Fatalf("instance %d (%s, %d stations): search found %+v, brute force %+v\n%+v", k, in.describe, len(in.z), got, want, in)
		}
		if !math.IsInf(want.head, -1) {
			feasible++
		}
		if !math.IsInf(want.cheap, -1) {
			cheap++
		}
		if in.grade.cover+in.grade.loss < 0 {
			crossed++
		}
	}
	t.Logf("%d instances: %d feasible, %d meet their demand, %d with c + m < 0", instances, feasible, cheap, crossed)
	if feasible < instances/3 || crossed < instances/10 {
		t.Errorf("too few instances say something: %d feasible, %d with c + m < 0", feasible, crossed)
	}
}
