package optimize

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"github.com/paulmach/orb"

	"route/internal/catalog"
	"route/internal/finding"
	"route/internal/hydraulics"
	"route/internal/terrain"
)

// crestCoverM is how far the water must rise above the highest ground of the
// delivery line.
const crestCoverM = 0.1

// Usual values where the problem gives none.
var usualTuning = [2]float64{0.35, 0.8}

const usualLayouts = 5

// engine is one drive pipe with its pump, and how many of them.
type engine struct {
	index       int
	drive, pump *catalog.Item
	ram         hydraulics.Ram
	pipe        hydraulics.Pipe
	pumps       int
	rating      float64 // of the drive pipe at the water's temperature, m; +Inf when unknown
	standpipe   int     // index into site.standpipes
	driveCost   *prices
	pumpCost    int64
	driveLeast  int64 // of driveCost
	draws       *draws
	delivery    []deliveryPrices // by delivery pipe
}

// deliveryPipe is one choice of delivery pipe.
type deliveryPipe struct {
	item   *catalog.Item
	pipe   hydraulics.Pipe
	rating float64 // m; +Inf when unknown
	wave   float64 // m/s
}

// supplyOption is one choice of supply pipe and settling box.
type supplyOption struct {
	item  *catalog.Item
	pipe  hydraulics.Pipe
	box   bool
	price []supplyPrices // by standpipe
}

// site is a problem made ready: everything that does not depend on the
// objective.
type site struct {
	*Problem
	n       int
	workers int
	record  func(Progress)

	water   *water
	drive   driveSite
	pairs   pairs
	chords  []atomic.Uint32 // verdict on each pair's chord
	lift    []float64       // above the outlet; NaN where no pump can stand
	tuning  [2]float64
	options []supplyOption
	engines []engine
	ways    []deliveryPipe
	stands  []*catalog.Item // standpipes; nil where the catalog has none
	flows   []*flow
	loosest []*terrain.SupplyReach // from every intake, no longer than at any flow; nil where no ground is given
	costs   costing
	risk    *headRisk // nil where no certainty is asked for
	set     int       // of delivery lines
	others  []*site   // with the other sets

	evaluations, bounds atomic.Int64
}

func newSite(ctx context.Context, p *Problem, s *Settings) (*site, error) {
	st, err := prepareSite(p, s)
	if err != nil {
		return nil, err
	}
	if err := st.takeFlows(ctx); err != nil {
		return nil, err
	}
	return st, st.addOthers(ctx, s)
}

// prepareSite makes ready all but the flows.
func prepareSite(p *Problem, s *Settings) (*site, error) {
	st := &site{Problem: p, n: p.Creek.Len(), workers: s.Workers, record: s.Record, tuning: p.Choices.Tuning}
	if st.workers <= 0 {
		st.workers = runtime.GOMAXPROCS(0)
	}
	if st.record == nil {
		st.record = func(Progress) {}
	}
	if st.tuning == ([2]float64{}) {
		st.tuning = usualTuning
	}
	if p.Objective == "" {
		p.Objective = MostWater
		if p.Demand > 0 {
			p.Objective = LeastCost
		}
	}
	if p.Objective == MostSureWater && p.Certainty == 0 {
		p.Certainty = usualCertainty
	}
	st.risk = newHeadRisk(p)
	if p.Layouts <= 0 {
		p.Layouts = usualLayouts
	}
	if box := p.Pins.Box; box != nil {
		p.Choices.SettlingBox = []bool{!box.None}
	}
	st.costs = costing{catalog: p.Catalog, waste: p.WasteFraction}
	st.placeCreek()
	return st, st.choose()
}

// placeCreek prepares the geometry that all options share.
func (st *site) placeCreek() {
	st.placeHeights()
	st.pairs = st.drive.pairs()
	st.chords = make([]atomic.Uint32, len(st.pairs.from))
}

// placeHeights prepares it as far as each station by itself goes.
func (st *site) placeHeights() {
	p, l := st.Problem, &st.Limits
	st.water = newWater(p.Creek.ZM, p.Creek.SlopeM, p.IntakeAt, p.StandpipeAt, p.PassAt, l.SupplySlopeMin)
	st.water.heightMin, st.water.heightMax = l.StandpipeMinM, l.StandpipeMaxM-l.StandpipeFreeboardM
	st.water.lengthMax = l.SupplyLengthMaxM
	if p.BoxAt != nil {
		st.water.boxOK = p.BoxAt
	}
	st.water.pin(&p.Pins)
	st.water.mustStand = st.water.mustStand || p.mustStand
	st.water.seats = st.water.placeBoxes(st.boxRange())
	st.drive = driveSite{at: p.Creek.Points, z: p.Creek.ZM, outlet: make([]float64, st.n), lengthMin: l.DriveLengthMinM, lengthMax: l.DriveLengthMaxM, pumpOK: make([]bool, st.n)}
	st.lift = make([]float64, st.n)
	for k := range st.n {
		outlet := p.Creek.ZM[k] + l.PumpAboveCreekM
		st.drive.outlet[k] = outlet
		st.drive.pumpOK[k] = (p.PumpAt == nil || p.PumpAt[k]) && p.DeliveryAt[k].OK && p.Pins.Pump.allows(k)
		st.lift[k] = math.NaN()
		if st.drive.pumpOK[k] {
			st.lift[k] = max(p.TankInletM, p.DeliveryAt[k].CrestM+crestCoverM) - outlet
		}
	}
}

// choose looks up the items that may be used.
func (st *site) choose() error {
	c := &st.Choices
	supplies, err := st.items(c.SupplyPipes, catalog.KindPipe, catalog.UseSupply)
	if err != nil {
		return err
	}
	drives, err := st.items(c.DrivePipes, catalog.KindPipe, catalog.UseDrive)
	if err != nil {
		return err
	}
	deliveries, err := st.items(c.DeliveryPipes, catalog.KindPipe, catalog.UseDelivery)
	if err != nil {
		return err
	}
	pumps, err := st.items(c.Pumps, catalog.KindPump, 0)
	if err != nil {
		return err
	}
	st.chooseEngines(drives, pumps)
	st.chooseSupplies(supplies)
	st.chooseDeliveries(deliveries)
	return nil
}

// items finds the allowed items, or all of a kind where none are named.
func (st *site) items(ids []string, kind catalog.Kind, use catalog.Use) ([]*catalog.Item, error) {
	if len(ids) == 0 {
		return st.Catalog.Items(kind, use), nil
	}
	var list []*catalog.Item
	for _, id := range ids {
		it, ok := st.Catalog.Item(id)
		if !ok || it.Kind != kind {
			return nil, &finding.Fault{Code: "unknown_item", Text: fmt.Sprintf("the catalog has no %s %q", kind, id), Hint: "choose from the items of the catalog"}
		}
		list = append(list, it)
	}
	return list, nil
}

// standpipeBores is how many drive-pipe bores a standpipe is wide at least
// (trade practice, from memory), so that its level stays steady in a beat.
const standpipeBores = 3

// standpipeFor gives the index of the narrowest standpipe wide enough for a
// drive pipe, or of the widest there is.
func (st *site) standpipeFor(bore float64) int {
	var best *catalog.Item
	for _, it := range st.Catalog.Items(catalog.KindPipe, catalog.UseStandpipe) {
		wide := it.Pipe.Pipe.Inside
		switch {
		case best == nil:
			best = it
		case best.Pipe.Pipe.Inside < standpipeBores*bore:
			if wide > best.Pipe.Pipe.Inside {
				best = it
			}
		case wide >= standpipeBores*bore && wide < best.Pipe.Pipe.Inside:
			best = it
		}
	}
	if i := slices.Index(st.stands, best); i >= 0 {
		return i
	}
	st.stands = append(st.stands, best)
	return len(st.stands) - 1
}

// pumpFits says whether a pump goes with a drive pipe: the same nominal size,
// or, where the list of pumps has none of that size, the nearest bore within
// 15 %.
func pumpFits(pump, drive *catalog.Item, pumps []*catalog.Item) bool {
	if pump.Size != "" && pump.Size == drive.Size {
		return true
	}
	bore := drive.Pipe.Pipe.Inside
	off := math.Abs(pump.BoreM - bore)
	if off > 0.15*bore {
		return false
	}
	for _, other := range pumps {
		if other.Size != "" && other.Size == drive.Size || math.Abs(other.BoreM-bore) < off {
			return false
		}
	}
	return true
}

func (st *site) chooseEngines(drives, pumps []*catalog.Item) {
	counts := st.Choices.PumpCounts
	if len(counts) == 0 {
		counts = []int{1}
	}
	for _, d := range drives {
		for _, p := range pumps {
			if !pumpFits(p, d, pumps) {
				continue
			}
			e := engine{drive: d, pump: p, pipe: d.Pipe.Pipe, ram: hydraulics.DefaultRam(d.Pipe.Pipe.Inside), rating: ratingOf(d, st.Fluid)}
			if p.Ram != nil {
				e.ram = *p.Ram
			}
			e.standpipe = st.standpipeFor(e.pipe.Inside)
			for _, n := range counts {
				e.index, e.pumps = len(st.engines), n
				e.driveCost = st.costs.drive(d.ID, n, st.Limits.DriveLengthMaxM)
				e.driveLeast = e.driveCost.at(st.Limits.DriveLengthMinM)
				e.pumpCost = st.costs.pumps(p.ID, n)
				st.engines = append(st.engines, e)
			}
		}
	}
}

// ratingOf is the allowed head of a pipe in this water. A standard that gives
// none sets no limit here.
func ratingOf(it *catalog.Item, f hydraulics.Fluid) float64 {
	if it.Pipe.Pipe.Rating == 0 {
		return math.Inf(1)
	}
	return it.Pipe.RatingAt(f.TemperatureK)
}

func (st *site) chooseSupplies(items []*catalog.Item) {
	boxes := st.Choices.SettlingBox
	if len(boxes) == 0 {
		boxes = []bool{false}
	}
	l := &st.Limits
	longest := min(l.SupplyLengthMaxM, st.water.s[st.n-1]-st.water.s[0]+1)
	standPrices := make([]*prices, len(st.stands))
	for k, stand := range st.stands {
		id := ""
		if stand != nil {
			id = stand.ID
		}
		standPrices[k] = st.costs.standpipe(id, l.StandpipeMaxM)
	}
	for _, it := range items {
		for _, box := range boxes {
			o := supplyOption{item: it, pipe: it.Pipe.Pipe, box: box}
			price := supplyPrices{pipe: st.costs.supply(it.ID, box, longest), freeboard: l.StandpipeFreeboardM, tallest: l.StandpipeMaxM}
			if box {
				price.boxDrop = l.BoxDropM
			}
			for _, sp := range standPrices {
				price.standpipe = sp
				o.price = append(o.price, price)
			}
			st.options = append(st.options, o)
		}
	}
}

func (st *site) chooseDeliveries(items []*catalog.Item) {
	longest := 1.0
	for k := range st.n {
		if st.drive.pumpOK[k] {
			longest = max(longest, st.DeliveryAt[k].LengthM)
		}
	}
	// The widest pipes first, the cheaper of equally wide ones before the
	// dearer: what loses least is tried first, and what is no better and dearer
	// not at all.
	items = slices.Clone(items)
	slices.SortStableFunc(items, func(a, b *catalog.Item) int {
		return cmp.Or(cmp.Compare(b.Pipe.Pipe.Inside, a.Pipe.Pipe.Inside), cmp.Compare(st.Catalog.PipeCost(a.ID, longest, 0).Minor, st.Catalog.PipeCost(b.ID, longest, 0).Minor))
	})
	var used []*catalog.Item
	for _, it := range items {
		d := deliveryPipe{item: it, pipe: it.Pipe.Pipe, rating: ratingOf(it, st.Fluid), wave: hydraulics.WaveSpeed(st.Fluid, it.Pipe.Pipe)}
		if d.rating > 0 {
			st.ways = append(st.ways, d)
			used = append(used, it)
		}
	}
	byPumps := map[int][]deliveryPrices{}
	for k := range st.engines {
		e := &st.engines[k]
		if byPumps[e.pumps] == nil {
			for _, it := range used {
				byPumps[e.pumps] = append(byPumps[e.pumps], st.costs.delivery(it.ID, e.pumps, longest))
			}
		}
		e.delivery = byPumps[e.pumps]
	}
}

// grade works out what a supply option means for the grade line at a flow; ok
// is false where the flow is beyond the friction formula.
func (st *site) grade(o *supplyOption, m3s float64) (g grade, ok bool) {
	slope, err := hydraulics.HeadLoss(st.Fluid, o.pipe, 1, m3s, 0)
	if err != nil {
		return g, false
	}
	l := &st.Limits
	v := m3s / o.pipe.Area()
	outside := o.item.Pipe.OutsideM
	if outside == 0 {
		outside = o.pipe.Inside + 2*o.pipe.Wall
	}
	g = grade{slope: slope, loss: l.IntakeLossK * v * v / (2 * hydraulics.Gravity), cover: outside + l.GradeLineCoverM - l.BedDepthM}
	if o.box {
		g.box, g.drop, g.rise = true, l.BoxDropM, l.BoxRiseM
		if g.rise == 0 {
			g.rise = math.Inf(1)
		}
	}
	return g, true
}

// flowStep is the ratio of one flow level to the next: steps of a fifth.
const flowStep = 0.8

// mostFlows bounds the number of flow levels; 40 levels span a factor of 7,500.
const mostFlows = 40

// flowLevels are the flows that are tried: what may be taken, and steps of a
// fifth below it down to what the smallest pump draws at its lightest.
func (st *site) flowLevels() []float64 {
	least, step := st.leastDraw(), st.FlowStep
	if !(step > 0 && step < 1) {
		step = flowStep
	}
	levels := []float64{st.TakeFlow}
	for q := st.TakeFlow * step; q >= least && float64(len(levels))*math.Log(step) > mostFlows*math.Log(flowStep); q *= step {
		levels = append(levels, q)
	}
	return levels
}

// lightest is what an engine draws at its lightest tuning, the least head and
// the longest drive pipe: no more than in any layout.
func (st *site) lightest(e *engine) float64 {
	l := &st.Limits
	least, _ := st.draw(e, max(l.DriveLengthMaxM, 1), max(l.DriveHeadMinM, 0.1), 1000)
	return float64(e.pumps) * least
}

// tabulateDraws works out the draws of every pump once, whatever its number.
func (st *site) tabulateDraws(ctx context.Context, x extent) error {
	firsts := []int{}
	for k := range st.engines {
		if k == 0 || st.engines[k].pump != st.engines[k-1].pump || st.engines[k].drive != st.engines[k-1].drive {
			firsts = append(firsts, k)
		}
	}
	return st.each(ctx, len(firsts), func(n int) {
		first := firsts[n]
		d := st.drawsOf(&st.engines[first], x)
		for k := first; k < len(st.engines) && st.engines[k].pump == st.engines[first].pump && st.engines[k].drive == st.engines[first].drive; k++ {
			st.engines[k].draws = d
		}
	})
}

// takeFlows works out every supply option at every flow level.
func (st *site) takeFlows(ctx context.Context) error {
	if st.TakeFlow > 0 {
		for _, q := range st.flowLevels() {
			st.flows = append(st.flows, &flow{site: st, m3s: q})
		}
	}
	if err := st.layRoutes(ctx); err != nil {
		return err
	}
	err := st.each(ctx, len(st.flows), func(k int) { st.flows[k].work(ctx) })
	if err != nil {
		return err
	}
	x := st.extent()
	if err := st.tabulateDraws(ctx, x); err != nil {
		return err
	}
	for _, f := range st.flows {
		f.makeTables(x)
	}
	return nil
}

// each runs tasks 0 … n−1 on the workers and waits for them.
func (st *site) each(ctx context.Context, n int, task func(k int)) error {
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(st.workers, n) {
		wg.Go(func() {
			for {
				k := int(next.Add(1) - 1)
				if k >= n || ctx.Err() != nil {
					return
				}
				task(k)
			}
		})
	}
	wg.Wait()
	return ctx.Err()
}

// Verdicts on a chord.
const (
	chordUnknown = iota
	chordGood
	chordOffGround
	chordOverForbiddenLand
)

// chordStepM is how far apart a drive pipe is held against the ground.
const chordStepM = 1.0

// chord says whether the drive pipe of a pair may be laid; it is looked at
// once, when it is first asked for.
func (st *site) chord(pair int, s, p int) uint32 {
	v := st.chords[pair].Load()
	if v == chordUnknown {
		v = st.chordVerdict(s, p)
		st.chords[pair].Store(v)
	}
	return v
}

func (st *site) chordVerdict(s, p int) uint32 {
	a, b := st.drive.at[s], st.drive.at[p]
	if st.ChordAllowed != nil && !st.ChordAllowed(a, b) {
		return chordOverForbiddenLand
	}
	above, below := st.strays(s, p)
	if above > st.Limits.DriveTrestleM || below > st.Limits.DriveDigM {
		return chordOffGround
	}
	return chordGood
}

// strays is how far the drive pipe of a pair lies above and below the ground
// at its worst places; where the ground is not known it counts as right.
func (st *site) strays(s, p int) (above, below float64) {
	if st.Ground == nil {
		return 0, 0
	}
	a, b := st.drive.at[s], st.drive.at[p]
	za, zb := st.drive.z[s], st.drive.outlet[p]
	steps := int(math.Ceil(st.drive.length(s, p) / chordStepM))
	for k := 0; k <= steps; k++ {
		t := float64(k) / float64(steps)
		if ground, ok := st.Ground.At(orb.Point{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1])}); ok {
			over := za + t*(zb-za) - ground
			above, below = max(above, over), max(below, -over)
		}
	}
	return above, below
}
