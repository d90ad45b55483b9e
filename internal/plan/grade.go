package plan

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"route/internal/catalog"
	"route/internal/finding"
	"route/internal/geodesy"
	"route/internal/hydraulics"
	"route/internal/optimize"
	"route/internal/quantity"
	"route/internal/terrain"
)

// gradeWinners works out every ranked candidate in full: where its pipes lie,
// its grade lines, what it delivers, costs and how sure that is.
func (j *job) gradeWinners() error {
	for k := range j.result.Ranked {
		j.record(Progress{Step: "grading layouts", Done: k, Total: len(j.result.Ranked)})
		g := grader{job: j, c: &j.result.Ranked[k], luck: j.luckOf(k)}
		err := g.grade(len(j.plan.Layouts))
		var withdrawn *withdrawnError
		if errors.As(err, &withdrawn) {
			j.tell(finding.New(finding.Note, "layout_withdrawn", "a layout with its pump here was withdrawn: with the delivery line straightened, the pump no longer runs as planned", "the ground on the way to the tank is hardly above the source; a plain pipe may do").At(float64(j.creek.Stations[g.c.Pump])))
			j.layoutOf = append(j.layoutOf, "")
			continue
		}
		if err != nil {
			return err
		}
		// The winners of the other objectives follow the layouts asked for; one
		// that does not bring the water wanted is no alternative.
		if k >= j.site.Layouts && g.operation.DeliveredTotal < j.site.Demand {
			j.layoutOf = append(j.layoutOf, "")
			continue
		}
		j.layoutOf = append(j.layoutOf, g.l.ID)
		j.plan.Layouts = append(j.plan.Layouts, g.l)
		j.prospects = append(j.prospects, g.choice)
	}
	j.explain()
	j.tellLuck()
	j.tellSure()
	return nil
}

// sayWhy says of each layout what speaks for it.
func (j *job) sayWhy() error {
	for k := range j.plan.Layouts {
		l := &j.plan.Layouts[k]
		l.Why = j.why(l)
	}
	return nil
}

// withdrawnError says that a candidate does not hold with the delivery line as
// it is laid.
type withdrawnError struct{ err error }

func (e *withdrawnError) Error() string { return e.err.Error() }

func (e *withdrawnError) Unwrap() error { return e.err }

// grader works out one layout.
type grader struct {
	*job
	c         *optimize.Candidate
	l         Layout
	route     terrain.Path
	operation hydraulics.Operation
	supplyPipe, drivePipe, deliveryPipe,
	standpipe *catalog.Item
	ram      hydraulics.Ram
	measured bool // the pump was
	choice   prospect
	// quantities are those of the takeoff.
	quantities catalog.Layout
	total      catalog.Money // of the takeoff
	luck       luck          // what the search claims too much of it
	brief      bool          // without what only a plan to be built needs
	upper      *catalog.Item // lighter delivery pipe at the upper end; nil when all is one
	lowerM     float64       // of the delivery pipe below it
	alone      catalog.Money // the delivery pipe without it
	found      []finding.Finding
}

func (g *grader) grade(k int) error {
	g.l.ID, g.l.Rank = layoutID(k), k+1
	g.l.Objective, g.l.BestAt = g.plan.Objective, []string{}
	for _, o := range g.c.BestAt {
		g.l.BestAt = append(g.l.BestAt, string(o))
	}
	if len(g.l.BestAt) > 0 && !slices.Contains(g.l.BestAt, g.l.Objective) {
		g.l.Objective = g.l.BestAt[0]
	}
	if err := g.lay(); err != nil {
		return err
	}
	if err := g.certainty(k); err != nil {
		return err
	}
	if g.brief {
		return nil
	}
	found := append(g.waterPath(), g.tellTuning()...)
	g.tuneUp()
	g.l.Stakes = stakesOf(&g.l, g.site.Units)
	g.checkStakes()
	g.labour(&g.quantities)
	g.l.Messages = []Message{}
	for _, f := range append(g.doubts(), found...) {
		g.l.Messages = append(g.l.Messages, g.message(f))
	}
	sortMessages(g.l.Messages)
	return nil
}

// lay lays the pipes, lets the pump run and counts what it costs.
func (g *grader) lay() error {
	route, err := g.routes.from(g.fieldOf(g.c.DeliverySet), g.creek.Points[g.c.Pump])
	if err != nil {
		return err
	}
	g.route = route
	g.findItems()
	if err := g.operate(); err != nil {
		return err
	}
	g.places()
	g.laySupply()
	g.layDrive()
	g.layDelivery()
	g.splitDelivery()
	g.duty()
	return g.cost()
}

// layoutID is A, B, … Z, AA, …
func layoutID(k int) string {
	if k < 26 {
		return string(rune('A' + k))
	}
	return layoutID(k/26-1) + layoutID(k%26)
}

func (g *grader) findItems() {
	item := func(id string) *catalog.Item {
		it, _ := g.plan.Prices.Item(id)
		return it
	}
	g.supplyPipe, g.drivePipe, g.deliveryPipe = item(g.c.SupplyPipe), item(g.c.DrivePipe), item(g.c.DeliveryPipe)
	g.standpipe = item(g.c.StandpipePipe)
	g.ram = *item(g.c.PumpItem).Ram
	g.measured = g.c.PumpItem == g.site.PumpMeasured.Model
}

// pumpTuning is the range of closing velocity over the velocity with the waste
// valve locked open in which a ram can be set; common practice, no source.
var pumpTuning = [2]float64{0.35, 0.8}

// operate works out the running of the pump with the delivery line as it is
// laid: the search knew its length from the cells of the field, within a few
// per cent.
func (g *grader) operate() error {
	installation := hydraulics.Installation{
		Fluid:    g.fluid,
		SourceM:  g.c.DriveHeadM,
		Drive:    hydraulics.Run{Pipe: g.drivePipe.Pipe.Pipe, LengthM: g.c.DriveM},
		Ram:      g.ram,
		Pumps:    g.c.Layout.Pumps,
		Delivery: hydraulics.Run{Pipe: g.deliveryPipe.Pipe.Pipe, LengthM: g.route.LengthM},
		LiftM:    g.liftM(),
	}
	operation, err := installation.TunedTo(g.c.Flow, pumpTuning)
	if err != nil {
		return &withdrawnError{err}
	}
	g.operation = operation
	return nil
}

// liftM is from the waste valve outlet to the tank inlet, or to the highest
// ground on the way where that stands above it.
func (g *grader) liftM() float64 {
	return math.Max(g.problem.TankInletM, g.route.CrestM) - g.c.OutletM
}

// at describes a point of the frame.
func (j *job) at(p orb.Point, groundM float64) Place {
	ll := j.frame.ToLonLat(p)
	e, n := geodesy.ToUTM(ll, j.zone, j.north)
	return Place{StationM: Unknown, Lon: Degrees(ll.Lon), Lat: Degrees(ll.Lat), EastingM: Number(e), NorthM: Number(n), GroundM: Number(groundM)}
}

// atStation describes a station of the creek.
func (j *job) atStation(i int, groundM float64) Place {
	p := j.at(j.creek.Points[i], groundM)
	p.StationM = Number(j.creek.Stations[i])
	return p
}

func (g *grader) places() {
	c, z := g.c, g.creek.ZM
	bed := g.site.Limits.BedDepthM
	g.l.Intake = Intake{Place: g.atStation(c.Intake, z[c.Intake]-bed), WaterM: Number(z[c.Intake])}
	if c.Box >= 0 {
		g.l.SettlingBox = &SettlingBox{
			Place:  g.atStation(c.Box, z[c.Box]),
			WaterM: Number(c.BoxLevelM),
			AlongM: Number(c.BoxAlongM),
			LossM:  Number(z[c.Intake] - c.BoxLevelM),
		}
	}
	if c.Standpipe >= 0 {
		g.l.Standpipe = &Standpipe{
			Place:         g.atStation(c.Standpipe, z[c.Standpipe]),
			HeightM:       Number(c.StandpipeM),
			StaticLevelM:  Number(c.StaticLevelM),
			RunningLevelM: Number(c.RunningLevelM),
			InsideM:       Number(g.standpipe.Pipe.Pipe.Inside),
			Size:          g.standpipe.Pipe.Size,
		}
	}
	pump, _ := g.plan.Prices.Item(c.PumpItem)
	g.l.Pump = Pump{Place: g.atStation(c.Pump, z[c.Pump]), OutletM: Number(c.OutletM), Count: c.Layout.Pumps, Model: pump.Name}
	g.l.Tank = Tank{Place: g.at(g.tank, g.tankM), InletM: Number(g.problem.TankInletM)}
}

func pipeRun(it *catalog.Item, lengthM, flow float64, temperatureK float64) PipeRun {
	p := it.Pipe
	rating := Unknown
	if r := p.RatingAt(temperatureK); r > 0 {
		rating = Number(r)
	}
	return PipeRun{
		Item: it.ID, Material: strings.TrimSuffix(p.Family, " "+p.Size), Size: p.Size, Standard: p.Standard,
		InsideM: Number(p.Pipe.Inside), LengthM: Number(lengthM), LossM: Unknown,
		FlowLS: Number(flow * 1000), VelocityMS: Number(flow / p.Pipe.Area()),
		PressureM: Unknown, RatingM: rating,
	}
}

func (g *grader) vertex(p Place, along, invert, grade float64) Vertex {
	return Vertex{Lon: p.Lon, Lat: p.Lat, EastingM: p.EastingM, NorthM: p.NorthM, AlongM: Number(along), StationM: p.StationM, GroundM: p.GroundM, InvertM: Number(invert), GradeM: Number(grade)}
}

// driveStepM is how finely the ground under the drive pipe is drawn.
const driveStepM = 1.0

// leastDriveFall is the fall over length that the drive pipe keeps when it
// starts as deep as the supply pipe ends.
const leastDriveFall = 0.02

// driveTop is the level at which the drive pipe starts: where the supply pipe
// ends in the bed, or at the water line where that would leave it hardly any
// fall.
func (g *grader) driveTop() float64 {
	top := g.creek.ZM[g.c.DriveFrom]
	if bed := top - g.site.Limits.BedDepthM; bed-g.c.OutletM >= leastDriveFall*g.c.DriveM {
		return bed
	}
	return top
}

// layDrive draws the straight pipe from its head to the waste valve outlet.
func (g *grader) layDrive() {
	c := g.c
	run := pipeRun(g.drivePipe, c.DriveM, c.Flow/float64(c.Layout.Pumps), g.site.TemperatureK)
	run.PressureM = Number(g.operation.ShutoffHeadM)
	a, b := g.creek.Points[c.DriveFrom], g.creek.Points[c.Pump]
	top, bottom := g.driveTop(), c.OutletM
	steps := max(1, int(math.Ceil(c.DriveM/driveStepM)))
	for k := range steps + 1 {
		t := float64(k) / float64(steps)
		p := orb.Point{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1])}
		ground, ok := g.ground.At(p)
		if !ok {
			ground = math.NaN()
		}
		place := g.at(p, ground)
		switch k {
		case 0:
			place = g.atStation(c.DriveFrom, g.creek.ZM[c.DriveFrom])
		case steps:
			place = g.atStation(c.Pump, g.creek.ZM[c.Pump])
		}
		run.Path = append(run.Path, g.vertex(place, t*c.DriveM, top+t*(bottom-top), math.NaN()))
	}
	g.l.Drive = Drive{
		PipeRun: run, FallM: Number(top - bottom),
		LengthToDiameter: Number(c.DriveM / g.drivePipe.Pipe.Pipe.Inside),
		LengthToHead:     Number(c.DriveM / c.DriveHeadM),
	}
	g.l.Drive.measureSupports(catalog.AnchorSpacingM)
}

// layDelivery follows the cheapest way over the ground; its grade line falls
// evenly from the pump to the highest of tank inlet and crest.
func (g *grader) layDelivery() {
	flow := g.operation.DeliveredTotal
	run := pipeRun(g.deliveryPipe, g.route.LengthM, flow, g.site.TemperatureK)
	run.LossM = Number(g.operation.DeliveryLossM)
	atPump := g.c.OutletM + g.operation.DeliveryHeadM
	highest := 0.0
	last := len(g.route.Line) - 1
	for k, along := range g.alongRoute() {
		p := g.route.Line[k]
		grade := atPump - g.operation.DeliveryLossM*along/g.route.LengthM
		place, invert := g.at(p, g.route.ZM[k]), g.route.ZM[k]-g.trenchDepth()
		switch k {
		case 0:
			place, invert = g.atStation(g.c.Pump, g.creek.ZM[g.c.Pump]), g.c.OutletM
		case last:
			invert = g.problem.TankInletM
		}
		highest = math.Max(highest, grade-invert)
		run.Path = append(run.Path, g.vertex(place, along, invert, grade))
	}
	surge := hydraulics.Surge(g.fluid, g.deliveryPipe.Pipe.Pipe, flow/g.deliveryPipe.Pipe.Pipe.Area())
	run.PressureM = Number(highest + surge)
	g.l.Delivery = Delivery{PipeRun: run, LiftM: Number(g.liftM()), CrestM: Number(g.route.CrestM), TrenchM: Number(g.trenchDepth()), Crossings: g.crossingPlaces()}
}

// alongRoute gives the distance along the delivery line of each vertex. The
// pipe follows the ground between two of them, so that it is a little longer
// than the straight lines; the whole is shared out in proportion.
func (g *grader) alongRoute() []float64 {
	along := make([]float64, len(g.route.Line))
	for k := 1; k < len(along); k++ {
		along[k] = along[k-1] + math.Hypot(dist(g.route.Line[k-1], g.route.Line[k]), g.route.ZM[k]-g.route.ZM[k-1])
	}
	straight := along[len(along)-1]
	for k := range along {
		along[k] *= g.route.LengthM / straight
	}
	return along
}

func (g *grader) duty() {
	o := g.operation
	g.l.DriveHeadM = Number(g.c.DriveHeadM)
	g.l.DriveFlowLMin = Number(o.DriveTotal * 60000)
	g.l.DeliveredLMin = Number(o.DeliveredTotal * 60000)
	g.l.DeliveredLDay = Number(o.DeliveredTotal * litresPerDay)
	g.l.BeatsPerMin = Number(o.BeatsPerMinute())
	g.l.Efficiency = Number(o.EfficiencyDAubuisson)
	g.l.EfficiencyRankine = Number(o.EfficiencyRankine)
	g.l.LiftRatio = Number(g.liftM() / g.c.DriveHeadM)
	g.l.Mu = Number(o.Mu)
	g.l.TunedUpFlowLMin, g.l.TunedUpLDay = Unknown, Unknown
	g.l.ClosingVelocityMS = Number(o.ClosingVelocity)
	g.l.ShutoffHeadM = Number(o.ShutoffHeadM)
	g.l.CreekLeftShare = Number((g.site.LowFlow - g.c.Flow) / g.site.LowFlow)
}

// cost prices what the laid lines need.
func (g *grader) cost() error {
	quantities := g.c.Layout
	quantities.DeliveryM = g.route.LengthM
	quantities.DeliveryBends = g.route.Bends(bendDegrees)
	if g.l.Supply != nil {
		quantities.SupplyBends = len(elbows(g.l.Supply.Path))
	}
	quantities.Consumables = true
	quantities.HighPoints, quantities.LowPoints = len(g.route.HighAt), len(g.route.LowAt)
	if g.upper != nil {
		quantities.DeliveryUpper, quantities.DeliveryUpperM = g.upper.ID, g.route.LengthM-g.lowerM
	}
	quantities.LayingSum = catalog.Money{}
	laid := g.laidLayout(&g.route)
	quantities.DeliveryLaid, quantities.DeliveryCrossed = laid.DeliveryLaid, laid.DeliveryCrossed
	quantities.TrenchDepthM, quantities.TrenchWidthM = laid.TrenchDepthM, laid.TrenchWidthM
	takeoff, err := g.plan.Prices.Materials(quantities)
	if err != nil {
		return err
	}
	groups, err := takeoff.ByGroup()
	if err != nil {
		return err
	}
	total, err := takeoff.Total()
	if err != nil {
		return err
	}
	amount := func(group string) Decimal {
		m := groups[group]
		m.Currency = g.plan.Prices.Currency
		return Decimal(m.Decimal())
	}
	g.l.Cost = Cost{Currency: g.plan.Prices.Currency, Supply: amount(catalog.GroupSupply), Drive: amount(catalog.GroupDrive), Delivery: amount(catalog.GroupDelivery), Other: amount(catalog.GroupOther), Total: Decimal(total.Decimal())}
	if g.site.Catalog != "" && !g.brief {
		g.tellInvented(takeoff)
	}
	for _, line := range takeoff.Lines {
		g.l.Takeoff = append(g.l.Takeoff, takeoffLine(g.plan.Prices, line))
	}
	g.quantities, g.total = quantities, total
	return g.pipeChoices(quantities)
}

// tellInvented says how much of the cost own prices do not cover.
func (g *grader) tellInvented(t catalog.Takeoff) {
	names := map[string]bool{}
	var lines []catalog.Line
	for _, line := range t.Lines {
		if it, ok := g.plan.Prices.Item(line.Item); ok && it.Invented {
			names[line.Item] = true
			lines = append(lines, line)
		}
	}
	sum, err := catalog.Takeoff{Lines: lines}.Total()
	if len(names) == 0 || err != nil {
		return
	}
	sum.Currency = g.plan.Prices.Currency
	priced := fmt.Sprintf("%d things", len(names))
	if len(names) == 1 {
		priced = "one thing"
	}
	g.found = append(g.found, finding.New(finding.Note, "prices_partly_invented", fmt.Sprintf("%s %s of the cost are invented: your price list has no price for %s on the shopping list, and those of the built-in list stand in", sum.Currency, sum.Decimal(), priced),
		"have a shop fill in the quote sheet (quote.csv), and put its prices into your list"))
}

// bendDegrees is the turn from which a pipe needs a fitting; less, it is bent.
const bendDegrees = 30

func takeoffLine(prices *catalog.Catalog, line catalog.Line) TakeoffLine {
	out := TakeoffLine{
		Item: line.Item, Name: line.Name, Group: line.Group, Where: line.Where,
		Need: Number(line.Quantity), NeedUnit: "each", Packs: line.Packs, Unit: line.Unit, PackM: Unknown,
		Price: Decimal(line.Price.Decimal()), Amount: Decimal(line.Amount.Decimal()),
	}
	if it, ok := prices.Item(line.Item); ok {
		out.Kind = string(it.Kind)
		if it.PackM > 0 {
			out.NeedUnit, out.PackM = "m", Number(it.PackM)
		}
	}
	return out
}

// doubts are what a reader of this layout must know.
func (g *grader) doubts() []finding.Finding {
	found := append(append(append([]finding.Finding{}, g.c.Findings...), g.found...), g.tellSupplyRoute()...)
	if names := g.crossingNames(); len(names) > 0 {
		found = append(found, finding.New(finding.Warning, "crossing", "the delivery pipe crosses "+strings.Join(names, ", "), "ask who owns it, and what a crossing must look like, before digging"))
	}
	found = append(append(found, g.crestWays()...), g.shallow()...)
	if g.route.CrestM > g.problem.TankInletM {
		found = append(found, finding.New(finding.Warning, "crest_above_tank", "the ground on the way stands {0} above the tank inlet; the crest, not the tank, sets the lift", "put an air vent at the crest, or look for a way round it", quantity.Metres(g.route.CrestM-g.problem.TankInletM)))
	}
	if sigma, head := float64(g.l.DriveHeadSigmaM), g.c.DriveHeadM; sigma > 0.15*head {
		found = append(found, finding.New(finding.Warning, "head_uncertain", "the drive head of {0} is known to {1} (one standard deviation) from this terrain", "level the fall from the intake pool to the pump before buying pipe", quantity.Metres(head), quantity.Metres(sigma)))
	}
	if float64(g.l.Delivery.PressureM) > float64(g.l.Delivery.RatingM) {
		found = append(found, finding.New(finding.Warning, "delivery_rating", "a valve shut at once would raise the pressure in the delivery pipe to {0} of water, above its rating", "shut valves slowly, or take the next pressure class", quantity.Of(quantity.Head, float64(g.l.Delivery.PressureM))))
	}
	return found
}

// why says in a sentence what speaks for a layout.
func (j *job) why(l *Layout) string {
	words := map[string]string{string(optimize.MostHead): "the most drive head", string(optimize.MostWater): "the most water", string(optimize.MostSureWater): "the most water that is sure enough", string(optimize.LeastCost): "the least cost for the water wanted"}
	var best []string
	for _, o := range l.BestAt {
		best = append(best, words[o])
	}
	if len(best) > 0 {
		return "Of all layouts within the limits it has " + strings.Join(best, " and ") + "."
	}
	first := j.plan.Layouts[0]
	water := 100 * (float64(l.DeliveredLDay)/float64(first.DeliveredLDay) - 1)
	return fmt.Sprintf("Another place or another set of pipes: %+.0f %% water and %s against %s for layout %s.", water, l.Cost.Text(), first.Cost.Text(), first.ID)
}

// crossingNames lists what the delivery pipe passes over.
func (g *grader) crossingNames() []string {
	var names []string
	for _, c := range g.crossed(&g.route) {
		if name := g.land.crossings[c.number].name; !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	return names
}
