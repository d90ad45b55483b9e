package plan

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"route/internal/catalog"
	"route/internal/finding"
	"route/internal/hydraulics"
	"route/internal/optimize"
	"route/internal/profile"
	"route/internal/quantity"
	"route/internal/terrain"
)

// readCatalog takes the user's prices over the embedded ones, and of both what
// is sold in the units of the site.
func (j *job) readCatalog() error {
	whole, err := j.wholeCatalog()
	if err != nil {
		return err
	}
	trade, sold := catalog.Metric, j.site.Units
	if j.site.soldIn != nil {
		sold = *j.site.soldIn
	}
	if sold == quantity.US {
		trade = catalog.Inch
	}
	j.plan.Prices = whole.In(trade)
	j.plan.Catalog = whole.Name
	return j.measurePump()
}

func (j *job) wholeCatalog() (*catalog.Catalog, error) {
	if j.site.Catalog == "" {
		currency := j.site.Currency
		if currency == "" {
			currency = "USD"
		}
		j.tell(finding.New(finding.Note, "prices_invented", "the prices are those of the built-in list, which are invented", "give your own: catalog: prices.csv"))
		return catalog.Default(currency), nil
	}
	path := j.site.path(j.site.Catalog)
	file, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, &finding.Fault{Code: "catalog_missing", File: path, Text: "there is no such file", Hint: "catalog: names a price list, relative to the site file", Err: err}
	}
	if err != nil {
		return nil, &finding.Fault{Code: "catalog_unreadable", File: path, Text: err.Error(), Err: err}
	}
	defer file.Close()
	return catalog.Read(path, file)
}

// readLand reads the land file, if there is one, and checks the tank against it.
func (j *job) readLand() error {
	j.land = &land{} // not that of another plan at the same desk
	if j.site.Land != "" {
		l, err := readLand(j.site.path(j.site.Land), j.frame)
		if err != nil {
			return err
		}
		j.land = l
	}
	if j.creek != nil {
		j.land.crossings = append(j.land.crossings, crossing{name: "the creek", class: "creek", source: true, lines: []orb.LineString{slices.Clone(j.creek.Points)}})
	}
	if j.hasTank && !j.land.allows(j.tank) {
		return &finding.Fault{Code: "tank_off_limits", File: j.site.path(j.site.Land), Text: "the tank stands on land that is to be kept out of, or outside the land to stay inside", Hint: "correct the polygons or the tank's place"}
	}
	return nil
}

// stateProblem puts together what the search must know.
func (j *job) stateProblem() error {
	fluid, err := hydraulics.Water(j.site.TemperatureK, j.site.AltitudeM)
	if err != nil {
		return &finding.Fault{Code: "water_out_of_range", File: j.site.File, Text: err.Error(), Hint: "water_temperature and altitude say what the water is like", Err: err}
	}
	j.fluid = fluid
	if j.site.LowFlow == 0 {
		return &finding.Fault{Code: "creek_flow_missing", File: j.site.File, Text: "the creek's flow is not given", Hint: "measure it in the driest month with a bucket and a watch, then add creek_flow: {low: \"8 L/s\"}"}
	}
	j.problem, err = j.state()
	return err
}

// search states the problem and solves it.
func (j *job) search() error {
	j.record(Progress{Step: "searching layouts"})
	if err := j.stateProblem(); err != nil {
		return err
	}
	result, err := optimize.Run(j.ctx, j.problem, &optimize.Settings{
		Workers: workersIn(j.ctx),
		Record: func(at optimize.Progress) {
			j.record(Progress{Step: "searching layouts", Done: at.Done, Total: at.Total})
		},
	})
	if err != nil {
		return err
	}
	j.result = result
	for k := range result.Ranked {
		j.onWholeProfile(&result.Ranked[k])
	}
	return nil
}

// thinned keeps the stations of a profile that are at least a step apart, and
// those that are pinned; it says which they are, and which are extra: there only
// because they are pinned. Between two of them the creek does not rise, so that a
// supply pipe that clears its grade line at both misses it between them by no
// more than what it loses over one step: a centimetre or two, which the crown
// and the cover hold.
func thinned(p *profile.Profile, stepM float64, pins []pinned) (thin *profile.Profile, kept []int, extra map[int]bool) {
	thin, extra = &profile.Profile{Alignment: p.Alignment}, map[int]bool{}
	next := profile.Station(math.Inf(-1))
	for i, s := range p.Stations {
		regular := s >= next || i == p.Len()-1
		if !regular && !slices.ContainsFunc(pins, func(q pinned) bool { return q.station == i }) {
			continue
		}
		if !regular {
			extra[len(kept)] = true
		} else {
			next = s + profile.Station(stepM) - 1e-6
		}
		kept = append(kept, i)
		thin.Stations = append(thin.Stations, s)
		thin.Points = append(thin.Points, p.Points[i])
		thin.RawM = append(thin.RawM, p.RawM[i])
		thin.ZM = append(thin.ZM, p.ZM[i])
		thin.LowM = append(thin.LowM, p.LowM[i])
		thin.HighM = append(thin.HighM, p.HighM[i])
		thin.SigmaM = append(thin.SigmaM, p.SigmaM[i])
		thin.SlopeM = append(thin.SlopeM, p.SlopeM[i])
		thin.Flags = append(thin.Flags, p.Flags[i])
	}
	return thin, kept, extra
}

// state turns the site into a problem for the search.
func (j *job) state() (optimize.Problem, error) {
	choices, err := j.choices()
	if err != nil {
		return optimize.Problem{}, err
	}
	creek, places, extra := thinned(j.creek, j.site.PlaceStepM, j.pins)
	j.places = places
	p := optimize.Problem{
		Creek:      creek,
		Ground:     j.ground,
		DeliveryAt: make([]optimize.DeliveryWay, creek.Len()),
		TankInletM: j.inletM(),
		TakeFlow:   j.site.LowFlow * j.site.TakeShare,
		Demand:     j.site.Demand * (1 + j.site.DemandMargin),
		Fluid:      j.fluid,
		Catalog:    j.plan.Prices,
		Limits:     j.site.Limits,
		Choices:    choices,
		Objective:  j.objective(),
		Layouts:    j.site.Layouts,

		WasteFraction:   j.site.PipeWaste,
		ContingencyPart: j.site.Contingency,
	}
	j.askForCertainty(&p)
	j.plan.Objective = string(p.Objective)
	j.deliveryWays(creek, extra, j.field, p.DeliveryAt)
	j.otherWays(creek, extra, &p)
	j.whereAllowed(&p)
	j.pinProblem(&p, places)
	return p, j.supplyGround(&p)
}

// whereAllowed marks where something may stand and where a pipe may pass: on
// allowed land; and nothing may stand where a bridge, a culvert or a fill lies
// over the creek or the terrain has no height.
func (j *job) whereAllowed(p *optimize.Problem) {
	n := p.Creek.Len()
	stand, pass := make([]bool, n), make([]bool, n)
	for i, at := range p.Creek.Points {
		pass[i] = j.land.allows(at)
		stand[i] = pass[i] && canStand(p.Creek.Flags[i])
	}
	p.IntakeAt, p.StandpipeAt, p.PumpAt, p.PassAt = stand, stand, stand, pass
	if j.site.Land != "" {
		p.ChordAllowed = j.land.allowsChord
	}
}

// canStand says whether the creek lies open under the sky there, with its ground
// known.
func canStand(f profile.Flag) bool { return f&(profile.FlagBridge|profile.FlagVoid) == 0 }

// routedEveryM is how far apart along the creek the delivery line is worked
// out in full.
const routedEveryM = 60

// deliveryWays describes the delivery line from each station by a field. The
// length and the cost over the field's cells are known for all; straightening
// takes a few per cent off them, and that share, the bends and the high and
// low points are taken from the nearest station at which the line is worked
// out in full. That is never one of the extra stations, which are there only
// because they are pinned: what is worked out for the others must not hang on
// the pins.
func (j *job) deliveryWays(creek *profile.Profile, extra map[int]bool, field *terrain.Field, ways []optimize.DeliveryWay) {
	like := optimize.DeliveryWay{}
	share, workShare, next := 1.0, 1.0, profile.Station(math.Inf(-1))
	pipe, coins := j.usualPipePrice(), math.Pow10(catalog.MinorDigits(j.plan.Prices.Currency))
	j.straightenAhead(creek, extra, field)
	for i, at := range creek.Points {
		length, crest, ok := field.Reach(at)
		if !ok || length > 1.05*j.site.DeliveryMaxM {
			continue
		}
		cost, _ := field.Cost(at)
		work := math.Max(0, cost-pipe*length)
		if creek.Stations[i] >= next && !extra[i] {
			if route, err := j.routes.from(field, at); err == nil && length > 0 {
				share = route.LengthM / length
				if sum, err := j.plan.Prices.LayingCost(j.laidLayout(&route)); err == nil && work > 0 {
					workShare = sum.Float() / work
				}
				like = optimize.DeliveryWay{Bends: route.Bends(bendDegrees), HighPoints: len(route.HighAt), LowPoints: len(route.LowAt)}
				next = creek.Stations[i] + routedEveryM
			}
		}
		ways[i] = like
		ways[i].LengthM, ways[i].CrestM = share*length, crest
		ways[i].Laying = catalog.Money{Minor: int64(math.Round(workShare * work * coins)), Currency: j.plan.Prices.Currency}
		ways[i].OK = ways[i].LengthM <= j.site.DeliveryMaxM
	}
}

// straightenAhead works out the lines that deliveryWays will ask for, side by
// side.
func (j *job) straightenAhead(creek *profile.Profile, extra map[int]bool, field *terrain.Field) {
	if j.routes.straightened(field) {
		return
	}
	var from []orb.Point
	next := profile.Station(math.Inf(-1))
	for i, at := range creek.Points {
		if creek.Stations[i] < next || extra[i] {
			continue
		}
		if length, _, ok := field.Reach(at); ok && length <= 1.05*j.site.DeliveryMaxM {
			from = append(from, at)
			next = creek.Stations[i] + routedEveryM
		}
	}
	// What cannot be straightened is met again, and passed over, later on.
	sideBySide(j.ctx, len(from), func(k int) error {
		j.routes.from(field, from[k])
		return nil
	})
}

// objective is what the user asks for: the cheapest way to the demand when
// there is one, else the most water, or the most that is sure enough.
func (j *job) objective() optimize.Objective {
	switch {
	case j.site.Objective != "":
		return j.site.Objective
	case j.site.Demand > 0:
		return optimize.LeastCost
	case j.site.Certainty > 0:
		return optimize.MostSureWater
	default:
		return optimize.MostWater
	}
}

// choices lists the catalog items that the search may use.
func (j *job) choices() (optimize.Choices, error) {
	c := optimize.Choices{Tuning: pumpTuning}
	var err error
	pick := func(key string, wanted []string, kind catalog.Kind, use catalog.Use) []string {
		ids, e := j.pick(key, wanted, kind, use)
		err = errors.Join(err, e)
		return ids
	}
	c.SupplyPipes = pick("pipes.supply", j.site.Choices.Supply, catalog.KindPipe, catalog.UseSupply)
	c.DrivePipes = pick("pipes.drive", j.site.Choices.Drive, catalog.KindPipe, catalog.UseDrive)
	c.DeliveryPipes = pick("pipes.delivery", j.site.Choices.Delivery, catalog.KindPipe, catalog.UseDelivery)
	c.Pumps = pick("pipes.pumps", j.site.Choices.Pumps, catalog.KindPump, 0)
	for n := 1; n <= j.site.Choices.MaxPumps; n++ {
		c.PumpCounts = append(c.PumpCounts, n)
	}
	switch j.site.Choices.SettlingBox {
	case "always":
		c.SettlingBox = []bool{true}
	case "never":
		c.SettlingBox = []bool{false}
	default:
		c.SettlingBox = []bool{false, true}
	}
	return c, err
}

// pick finds the items that the user named, by ID, by product or by family;
// without names, all that serve the use.
func (j *job) pick(key string, wanted []string, kind catalog.Kind, use catalog.Use) ([]string, error) {
	var ids []string
	for _, it := range j.plan.Prices.Items(kind, use) {
		if len(wanted) == 0 || slices.ContainsFunc(wanted, func(w string) bool { return isNamed(it, w) }) {
			ids = append(ids, it.ID)
		}
	}
	if len(ids) == 0 {
		return nil, &finding.Fault{Code: "catalog_nothing_fits", File: j.site.File, Text: fmt.Sprintf("%s: the catalog has nothing named %s for this", key, strings.Join(wanted, ", ")), Hint: "name an item id, or a pipe such as \"PE SIDR 15 2 in\""}
	}
	return ids, nil
}

func isNamed(it *catalog.Item, name string) bool {
	if strings.EqualFold(it.ID, name) || strings.EqualFold(it.Name, name) {
		return true
	}
	return it.Pipe != nil && (strings.EqualFold(it.Pipe.Name, name) || strings.EqualFold(it.Pipe.Family, name))
}
