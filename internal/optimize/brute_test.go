package optimize

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"route/internal/catalog"
	"route/internal/hydraulics"
	"route/internal/profile"
)

// randomProblem is a short creek with a random choice of pipes, pumps and
// limits: some have plenty of head, some too much for their pumps, some almost
// none.
func randomProblem(r *rand.Rand) Problem {
	n := 8 + r.IntN(8)
	// Some creeks have many places close together and few choices, so that
	// many layouts cost the same.
	dense := r.IntN(12) == 0
	if dense {
		n = 32
	}
	p := &profile.Profile{}
	slope := 0.01 * math.Pow(20, r.Float64())
	x, y, z, length, heading := 0.0, 0.0, 50.0, 0.0, 0.0
	for range n {
		p.Stations = append(p.Stations, profile.Station(length))
		p.Points = append(p.Points, orb.Point{x, y})
		p.ZM = append(p.ZM, z)
		p.SlopeM = append(p.SlopeM, length)
		step := 1 + 9*r.Float64()
		if dense {
			step = 1.5
		}
		fall := step * slope * 2 * r.Float64()
		if r.IntN(4) == 0 {
			fall = 0
		}
		heading += (r.Float64() - 0.5) * 2
		x, y, z = x+step*math.Cos(heading), y+step*math.Sin(heading), z-fall
		length += math.Hypot(step, fall)
	}
	water, err := hydraulics.Water(273.15+30*r.Float64(), 100)
	if err != nil {
		panic(err)
	}
	full := catalog.Default("USD").In(catalog.Inch)
	weak := r.IntN(4) == 0
	if weak {
		full = weakPipes()
	}
	l := usualLimits()
	l.DriveHeadMinM = 0.3 + r.Float64()
	l.DriveHeadMaxM = l.DriveHeadMinM + 8*r.Float64()
	l.DriveLengthMinM, l.DriveLengthMaxM = 2+4*r.Float64(), 8+25*r.Float64()
	l.StandpipeMinM, l.StandpipeMaxM = 0.1*r.Float64(), 0.5+4*r.Float64()
	l.SupplyLengthMaxM = 10 + 90*r.Float64()
	l.BoxLeadM, l.BoxLeadMaxM = 8*r.Float64(), 25*r.Float64()
	l.BoxRiseM = 0.2 + r.Float64()
	l.BedDepthM = 0.4 * r.Float64()
	l.LiftRatioMax = 4 + 20*r.Float64()
	l.SeparationM = 10
	pr := Problem{
		Creek: p, TakeFlow: 2e-4 * math.Pow(10, r.Float64()), Fluid: water, Catalog: full, Limits: l,
		WasteFraction: 0.05, ContingencyPart: 0.1, TankInletM: p.ZM[0] + 2 + 25*r.Float64(),
	}
	some := func(items []*catalog.Item, n int) []string {
		var ids []string
		for _, k := range r.Perm(len(items))[:n] {
			ids = append(ids, items[k].ID)
		}
		return ids
	}
	pr.Choices = Choices{
		SupplyPipes:   some(full.Items(catalog.KindPipe, catalog.UseSupply), 2),
		DrivePipes:    some(full.Items(catalog.KindPipe, catalog.UseDrive)[:5], 2),
		DeliveryPipes: some(full.Items(catalog.KindPipe, catalog.UseDelivery), 2),
		PumpCounts:    [][]int{{1}, {2}, {1, 2}}[r.IntN(3)],
		SettlingBox:   [][]bool{{false}, {true}, {false, true}}[r.IntN(3)],
		Tuning:        [2]float64{0.3 + 0.2*r.Float64(), 0.6 + 0.3*r.Float64()},
	}
	if weak {
		pr.Choices.SupplyPipes, pr.Choices.DrivePipes = []string{"s1", "s2"}, []string{"d1", "d2"}
		pr.Choices.DeliveryPipes, pr.Choices.Pumps = []string{"w1", "w2"}, []string{"r1", "r2"}
	}
	if dense {
		c := &pr.Choices
		c.SupplyPipes, c.DrivePipes, c.DeliveryPipes, c.PumpCounts, c.SettlingBox = c.SupplyPipes[:1], c.DrivePipes[:1], c.DeliveryPipes[:1], []int{1}, []bool{false}
	}
	if r.IntN(4) == 0 {
		pr.Choices.Tuning[1] = pr.Choices.Tuning[0]
	}
	for k := range n {
		pr.DeliveryAt = append(pr.DeliveryAt, DeliveryWay{LengthM: 50 + 200*r.Float64(), CrestM: p.ZM[k] + 10*r.Float64(), OK: r.IntN(6) > 0, HighPoints: r.IntN(3), LowPoints: r.IntN(2), Bends: r.IntN(3), Laying: catalog.Money{Minor: r.Int64N(60000), Currency: "USD"}})
	}
	pr.Demand = 2e-6 * math.Pow(20, r.Float64())
	return pr
}

// weakPipes is a price list whose drive pipes just bear the beat of a pump, and
// whose delivery pipes just bear a lift of ten to twenty metres.
func weakPipes() *catalog.Catalog {
	const list = `id,kind,part,name,product,inside,wall,material,rating,joint,size,use,unit,pack,bore,price,currency
s1,pipe,,supply 40,supply 40,40 mm,3 mm,pe,100 psi,insert,1-1/2 in,supply,coil,50 m,,90,USD
s2,pipe,,supply 60,supply 60,60 mm,4 mm,pe,100 psi,insert,2 in,supply,coil,50 m,,190,USD
d1,pipe,,light 1,light 1,26 mm,1 mm,steel,180 psi,thread,1 in,drive,stick,6 m,,40,USD
d2,pipe,,light 2,light 2,40 mm,1 mm,steel,170 psi,thread,1-1/2 in,drive,stick,6 m,,60,USD
w1,pipe,,hose 1,hose 1,20 mm,1 mm,pe,24 psi,insert,3/4 in,delivery,coil,50 m,,30,USD
w2,pipe,,hose 2,hose 2,25 mm,1 mm,pe,32 psi,insert,1 in,delivery,coil,50 m,,50,USD
p1,pipe,,stand,stand,80 mm,3 mm,pvc,100 psi,solvent,3 in,standpipe,stick,3 m,,30,USD
r1,pump,,ram 1,,,,,,,1 in,,each,,1 in,300,USD
r2,pump,,ram 2,,,,,,,1-1/2 in,,each,,1-1/2 in,500,USD
`
	c, err := catalog.Read("weak.csv", strings.NewReader(list))
	if err != nil {
		panic(err)
	}
	return c
}

// layoutOf is what the brute force buys for a layout.
func layoutOf(p *Problem, o *supplyOption, stand *catalog.Item, e *engine, way *deliveryPipe, i, s, pump int, length, supplyM float64, standpipe bool) catalog.Layout {
	w := p.DeliveryAt[pump]
	l := catalog.Layout{
		DrivePipe: e.drive.ID, DriveM: length, Pump: e.pump.ID, Pumps: e.pumps,
		DeliveryPipe: way.item.ID, DeliveryM: w.LengthM, DeliveryBends: w.Bends, HighPoints: w.HighPoints, LowPoints: w.LowPoints, LayingSum: w.Laying,
		WasteFraction: p.WasteFraction, ContingencyPart: p.ContingencyPart,
	}
	if supplyM > 0 {
		l.SupplyPipe, l.SupplyM, l.SettlingBox = o.item.ID, supplyM, o.box
	}
	if standpipe {
		drop := 0.0
		if o.box {
			drop = p.Limits.BoxDropM
		}
		l.StandpipePipe = stand.ID
		l.StandpipeM = min(p.Creek.ZM[i]-drop-p.Creek.ZM[s]+p.Limits.StandpipeFreeboardM, p.Limits.StandpipeMaxM)
	}
	return l
}

// bruteWay is a way to bring water to the head of a drive pipe at s.
type bruteWay struct {
	box, s        int
	level, length float64
	standing      bool
}

// pipeValues are the friction slope of a supply pipe, what its intake loses and
// how wide it is outside.
func pipeValues(st *site, f *flow, o *supplyOption) (slope, loss, outside float64, ok bool) {
	slope, err := hydraulics.HeadLoss(st.Fluid, o.pipe, 1, f.m3s, 0)
	v := f.m3s / o.pipe.Area()
	if outside = o.item.Pipe.OutsideM; outside == 0 {
		outside = o.pipe.Inside + 2*o.pipe.Wall
	}
	return slope, st.Limits.IntakeLossK * v * v / (2 * hydraulics.Gravity), outside, err == nil
}

// creekWays tries every box and standpipe along the creek below an intake.
func creekWays(st *site, f *flow, o *supplyOption, i int) (ways []bruteWay) {
	p, l := st.Problem, &st.Limits
	z, s3 := p.Creek.ZM, p.Creek.SlopeM
	slope, loss, outside, ok := pipeValues(st, f, o)
	if !ok {
		return nil
	}
	boxes := []int{-1}
	if o.box {
		boxes = nil
		st.boxRange().places(i, st.n-1, func(b int) bool { return leaves(p.Pins.Box, b) && (p.StandpipeAt == nil || p.StandpipeAt[b]) },
			func(b int) (float64, bool) { return s3[b] - s3[i], true },
			func(b int, _ float64) { boxes = append(boxes, b) })
	}
	for _, box := range boxes {
		source, from := z[i]-loss, i
		for s := i + 1; s < st.n; s++ {
			line := source - slope*(s3[s]-s3[from])
			if p.PassAt != nil && (!p.PassAt[i] || !p.PassAt[s]) {
				break
			}
			if s3[s]-s3[i] > l.SupplyLengthMaxM || z[s]-l.BedDepthM+outside+l.GradeLineCoverM > line {
				break
			}
			if s == box {
				if source, from = min(line-l.BoxDropM, z[s]+l.BoxRiseM), s; source < z[s] {
					break
				}
				if source-z[s] <= l.StandpipeMaxM-l.StandpipeFreeboardM {
					ways = append(ways, bruteWay{box, s, source, s3[s] - s3[i], false})
				}
			}
			if h := line - z[s]; s > box && (p.StandpipeAt == nil || p.StandpipeAt[s]) && h >= l.StandpipeMinM && h <= l.StandpipeMaxM-l.StandpipeFreeboardM {
				ways = append(ways, bruteWay{box, s, line, s3[s] - s3[i], true})
			}
		}
	}
	return ways
}

// bruteRun tries every flow, supply pipe, box, intake, standpipe, pump, engine
// and delivery pipe. It shares with the search only the flow levels, the list
// of choices and the evaluation of one layout; places and costs are its own.
func bruteRun(st *site) best { return bruteRunOver(st, creekWays) }

func bruteRunOver(st *site, waysOf func(st *site, f *flow, o *supplyOption, i int) []bruteWay) (b best) {
	b = nothing()
	p, l := st.Problem, &st.Limits
	z := p.Creek.ZM
	take := func(f *flow, o *supplyOption, i, box, s, pump int, level, supplyM float64, standpipe bool) {
		outlet := z[pump] + l.PumpAboveCreekM
		head := level - outlet
		dx, dy, dz := p.Creek.Points[s][0]-p.Creek.Points[pump][0], p.Creek.Points[s][1]-p.Creek.Points[pump][1], z[s]-outlet
		length := math.Sqrt(dx*dx + dy*dy + dz*dz)
		if !keepsPins(&p.Pins, i, box, s, pump, standpipe) {
			return
		}
		if !p.DeliveryAt[pump].OK || outlet >= z[s] || length < l.DriveLengthMinM || length > l.DriveLengthMaxM || head < l.DriveHeadMinM || head > l.DriveHeadMaxM || head > st.lift[pump]/1.5 {
			return
		}
		for e := range st.engines {
			for way := range st.ways {
				op, m := st.evaluate(choice{f, &st.engines[e], way}, pump, length, head)
				if m != nil {
					continue
				}
				if op.DeliveredTotal >= p.Demand {
					b.head = max(b.head, head)
				}
				b.water = max(b.water, op.DeliveredTotal)
				if op.DeliveredTotal >= p.Demand {
					lay := layoutOf(p, o, st.stands[st.engines[e].standpipe], &st.engines[e], &st.ways[way], i, s, pump, length, supplyM, standpipe)
					t, err := p.Catalog.Materials(lay)
					if err != nil {
						panic(err)
					}
					total, err := t.Total()
					if err != nil {
						panic(err)
					}
					if cheap := -float64(total.Minor); cheap > b.cheap {
						b.cheap, b.cheapWater = cheap, op.DeliveredTotal
					} else if cheap == b.cheap {
						b.cheapWater = max(b.cheapWater, op.DeliveredTotal)
					}
				}
			}
		}
	}
	for _, f := range st.flows {
		for i := range st.n {
			if p.IntakeAt != nil && !p.IntakeAt[i] {
				continue
			}
			if st.poolAllowed() {
				for pump := i + 1; pump < st.n; pump++ {
					take(f, nil, i, -1, i, pump, z[i], 0, false)
				}
			}
			for k := range st.options {
				for _, w := range waysOf(st, f, &st.options[k], i) {
					for pump := w.s + 1; pump < st.n; pump++ {
						take(f, &st.options[k], i, w.box, w.s, pump, w.level, w.length, w.standing)
					}
				}
			}
		}
	}
	return b
}

// leaves says whether a pin leaves a place to a station.
func leaves(p *Pin, k int) bool { return p == nil || p.Station == k && !p.None }

// keepsPins says whether the places of a layout are those that are given; box
// is -1 where there is none.
func keepsPins(p *Pins, i, box, s, pump int, standpipe bool) bool {
	switch {
	case !leaves(p.Intake, i), !leaves(p.Pump, pump):
		return false
	case p.Box != nil && p.Box.None != (box < 0), box >= 0 && !leaves(p.Box, box):
		return false
	case p.Standpipe != nil && p.Standpipe.None == standpipe, standpipe && !leaves(p.Standpipe, s):
		return false
	}
	return true
}

// better is the best of two.
func better(a, b best) best {
	w := best{head: max(a.head, b.head), water: max(a.water, b.water), cheap: a.cheap, cheapWater: a.cheapWater}
	if b.cheap > a.cheap || b.cheap == a.cheap && b.cheapWater > a.cheapWater {
		w.cheap, w.cheapWater = b.cheap, b.cheapWater
	}
	return w
}

// winners reads the three objectives off a result.
func winners(res *Result) best {
	b := nothing()
	for _, c := range res.Ranked {
		for _, goal := range c.BestAt {
			switch goal {
			case MostHead:
				b.head = c.DriveHeadM
			case MostWater:
				b.water = c.Operation.DeliveredTotal
			case LeastCost:
				b.cheap, b.cheapWater = -float64(c.Cost.Minor), c.Operation.DeliveredTotal
			}
		}
	}
	return b
}

func near(a, b float64) bool {
	return a == b || math.Abs(a-b) <= 1e-9*math.Max(math.Abs(a), math.Abs(b))
}

// few is how many instances are tried: all, or a tenth where the race detector
// slows them down, which looks at how goroutines work together, not at what
// they find.
func few(instances int) int {
	if testing.Short() {
		return instances / 10
	}
	return instances
}

// The whole search and the brute force over all options agree for all three
// objectives, also with more than one delivery line from each station.
func TestSearchEqualsBruteForceOverAllOptions(t *testing.T) {
	const seed = 77
	instances := few(250)
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 2))
	lines := rand.New(rand.NewPCG(seed, 9))
	feasible, cheap, lower := 0, 0, 0
	var brute, searched int64
	for k := range instances {
		p := randomProblem(r)
		p.Objective = []Objective{MostHead, MostWater, LeastCost}[k%3]
		st, err := newSite(t.Context(), &p, &Settings{Workers: 1})
		if err != nil {
			t.Fatal(err)
		}
		want := bruteRun(st)
		brute += st.evaluations.Load()
		if k%2 == 0 {
			// A further set of lines: some lower, some dearer, some not there.
			var more []DeliveryWay
			for _, w := range p.DeliveryAt {
				w.CrestM += 10*lines.Float64() - 8
				w.LengthM *= 0.7 + 0.5*lines.Float64()
				w.OK = lines.IntN(4) > 0
				more = append(more, w)
			}
			p.DeliveryOthers = [][]DeliveryWay{more}
			alone := p.WithDelivery(1)
			other, err := newSite(t.Context(), &alone, &Settings{Workers: 1})
			if err != nil {
				t.Fatal(err)
			}
			before := want
			want = better(want, bruteRun(other))
			if want != before {
				lower++
			}
			brute += other.evaluations.Load()
		}
		res, err := Run(t.Context(), p, &Settings{Workers: 2})
		if err != nil {
			t.Fatal(err)
		}
		searched += res.Stats.Evaluations
		got := winners(res)
		if !near(got.head, want.head) || !near(got.water, want.water) || got.cheap != want.cheap || !near(got.cheapWater, want.cheapWater) {
			t.Errorf("instance %d, %s: search %v, brute force %v", k, describe(&p), got, want)
		}
		if (res.Status == Infeasible) != math.IsInf(want.water, -1) {
			t.Errorf("instance %d: status %v, brute force %v", k, res.Status, want)
		}
		if !math.IsInf(want.water, -1) {
			feasible++
		}
		if !math.IsInf(want.cheap, -1) {
			cheap++
		}
	}
	t.Logf("%d instances, %d feasible, %d meet the demand, %d better by another delivery line; %d evaluations by brute force, %d by search", instances, feasible, cheap, lower, brute, searched)
	if !testing.Short() && (feasible < instances/4 || cheap < instances/8 || lower < 5) {
		t.Errorf("too few instances say something")
	}
}

func describe(p *Problem) string {
	return fmt.Sprintf("%d stations, take %.3g, demand %.3g, tuning %v, limits %+v, choices %+v", p.Creek.Len(), p.TakeFlow, p.Demand, p.Choices.Tuning, p.Limits, p.Choices)
}
