package plan

import (
	"context"
	"errors"
	"math"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"route/internal/optimize"
	"route/internal/profile"
	"route/internal/quantity"
)

// OutOfOrder is the reason of places that do not follow each other downstream.
const OutOfOrder = "out_of_order"

// Places are all the places of a layout, in metres along the creek from its
// upper end, and whatever else is not to be chosen.
type Places struct {
	IntakeM    float64  `json:"intake_m"`
	BoxM       *float64 `json:"settling_box_m"` // null: none
	StandpipeM *float64 `json:"standpipe_m"`    // null: none
	PumpM      float64  `json:"pump_m"`

	// IDs of the catalog, and how many pumps; "" and 0 let the program choose.
	SupplyPipe   string `json:"supply_pipe"`
	DrivePipe    string `json:"drive_pipe"`
	DeliveryPipe string `json:"delivery_pipe"`
	Pump         string `json:"pump"`
	Pumps        int    `json:"pumps"`
}

// Trial is what a layout with all places given would be. Within the limits it
// is the first layout of a plan with the same places pinned; where limits are
// broken, it is what would be if they gave way.
type Trial struct {
	Works      bool   `json:"works"`        // no limit is broken
	DriveHeadM Number `json:"drive_head_m"` // null when no water gets there
	// Layout has no stakes, no messages and none of the sizes that only a
	// plan to be built needs; null when no pump runs there.
	Layout *Layout  `json:"layout"`
	Broken []Broken `json:"broken"` // [] when it works
}

// Broken is a limit that a trial breaks.
type Broken struct {
	Place    string  `json:"place"` // intake, settling_box, standpipe, pump, or supply for somewhere along that pipe
	StationM Number  `json:"station_m"`
	Lon      Degrees `json:"lon"`
	Lat      Degrees `json:"lat"`
	Reason   string  `json:"reason"` // stable word for programs
	Text     string  `json:"text"`   // for people, in the site's units
	Value    Number  `json:"value"`  // null where there is nothing to measure
	Limit    Number  `json:"limit"`
	Unit     string  `json:"unit"`
}

// bench is what trials need, made when first asked for.
type bench struct {
	sync.Mutex
	job    *job
	trials []*optimize.Trials // by set of delivery lines

	lastTrial atomic.Int64 // when, in nanoseconds since 1970
}

// ready gives the bench of a desk.
func (d *Desk) ready(ctx context.Context) (*job, []*optimize.Trials, error) {
	b := d.bench
	b.Lock()
	defer b.Unlock()
	if b.trials != nil {
		return b.job, b.trials, nil
	}
	site := d.measured.site.Clone()
	site.Pins = Pins{}
	j := d.measured.copy(ctx, site, d.record)
	if err := j.stateProblem(); err != nil {
		return nil, nil, err
	}
	trials, err := j.trials(ctx, j.problem)
	if err != nil {
		return nil, nil, err
	}
	j.ctx, j.record, j.ways = context.Background(), func(Progress) {}, new(sync.Map)
	b.job, b.trials = j, trials
	return j, trials, nil
}

// Try works out a layout with all places given, at the nearest stations of the
// long profile. It is meant to follow a hand that drags: the first trial at a
// desk takes longer than those after it. The error is a *finding.Fault of the
// site, or of ctx.
func (d *Desk) Try(ctx context.Context, at Places) (Trial, error) {
	j, trials, err := d.ready(ctx)
	if err != nil {
		return Trial{}, err
	}
	d.bench.lastTrial.Store(time.Now().UnixNano())
	station := func(m *float64) int {
		if m == nil {
			return -1
		}
		return j.nearestStation(profile.Station(*m), FieldPlace{StationM: *m})
	}
	places := optimize.TrialPlaces{Intake: station(&at.IntakeM), Box: station(at.BoxM), Standpipe: station(at.StandpipeM), Pump: station(&at.PumpM)}
	t := trying{job: j, at: places}
	if k, ok := t.outOfOrder(); !ok {
		return Trial{DriveHeadM: Unknown, Broken: []Broken{t.broken(optimize.Breach{Reason: OutOfOrder, Station: k})}}, nil
	}
	choice := optimize.TrialChoice{SupplyPipe: at.SupplyPipe, DrivePipe: at.DrivePipe, DeliveryPipe: at.DeliveryPipe, Pump: at.Pump, Pumps: at.Pumps}
	return t.result(j.bestTrial(trials, places, choice))
}

// trials prepares trials for a problem of this job, one for each set of
// delivery lines.
func (j *job) trials(ctx context.Context, p optimize.Problem) ([]*optimize.Trials, error) {
	land := optimize.TrialLand{
		MayStand: func(_ optimize.Place, k int) bool {
			return canStand(j.creek.Flags[k]) && j.land.allows(j.creek.Points[k])
		},
		MayPass: func(k int) bool { return j.land.allows(j.creek.Points[k]) },
	}
	var trials []*optimize.Trials
	for set := range len(p.DeliveryOthers) + 1 {
		t, err := optimize.NewTrials(ctx, p.WithDelivery(set), j.creek, j.places, land)
		if err != nil {
			return nil, err
		}
		trials = append(trials, t)
	}
	return trials, nil
}

// bestTrial is the best trial over all delivery lines.
func (j *job) bestTrial(trials []*optimize.Trials, places optimize.TrialPlaces, choice optimize.TrialChoice) (best optimize.Trial) {
	for set := range trials {
		way := j.keptWay(places.Pump, set)
		if set > 0 && !way.OK {
			continue
		}
		found := trials[set].Try(places, way, choice)
		if found.Candidate != nil {
			found.Candidate.DeliverySet = set
		}
		if set == 0 || trials[set].Better(&found, &best) {
			best = found
		}
	}
	return best
}

// trying is one trial.
type trying struct {
	*job
	at optimize.TrialPlaces
}

// outOfOrder gives the first place that does not lie below the one above it.
func (t *trying) outOfOrder() (station int, ok bool) {
	last := t.at.Intake
	for k, s := range []int{t.at.Box, t.at.Standpipe, t.at.Pump} {
		onBox := k == 1 && t.at.Box == s // a standpipe may stand on the box
		if s < 0 || onBox {
			continue
		}
		if s <= last {
			return s, false
		}
		last = s
	}
	return 0, true
}

// result grades what was found.
func (t *trying) result(found optimize.Trial) (Trial, error) {
	out := Trial{DriveHeadM: Number(found.HeadM), Broken: []Broken{}}
	for _, b := range found.Breaches {
		out.Broken = append(out.Broken, t.broken(b))
	}
	if found.Candidate == nil {
		return out, nil
	}
	g := grader{job: t.job, c: found.Candidate, brief: true}
	err := g.grade(0)
	var withdrawn *withdrawnError
	if errors.As(err, &withdrawn) {
		out.Broken = append(out.Broken, t.broken(optimize.Breach{Reason: optimize.PumpTooSmall, Station: t.at.Pump}))
		return out, nil
	}
	if err != nil {
		return Trial{}, err
	}
	out.Works, out.Layout = len(out.Broken) == 0, &g.l
	return out, nil
}

// broken words a broken limit.
func (t *trying) broken(b optimize.Breach) Broken {
	at := t.atStation(b.Station, t.creek.ZM[b.Station])
	out := Broken{Place: "supply", StationM: at.StationM, Lon: at.Lon, Lat: at.Lat, Reason: b.Reason, Text: t.reason(b.Reason, b.Value, b.Limit), Value: Unknown, Limit: Unknown}
	for k, s := range []int{t.at.Intake, t.at.Box, t.at.Standpipe, t.at.Pump} {
		if s == b.Station {
			out.Place = []string{"intake", "settling_box", "standpipe", "pump"}[k]
		}
	}
	if b.Value != (quantity.Value{}) {
		out.Value, out.Unit = Number(b.Value.SI), siUnit(b.Value.Dim)
	}
	if b.Limit != (quantity.Value{}) {
		out.Limit = Number(b.Limit.SI)
	}
	return out
}

// keptWay is deliveryWay, remembered: a hand that drags comes by the same place
// many times.
func (j *job) keptWay(station, set int) optimize.DeliveryWay {
	if j.ways == nil {
		return j.deliveryWay(station, set)
	}
	key := [2]int{station, set}
	if way, ok := j.ways.Load(key); ok {
		return way.(optimize.DeliveryWay)
	}
	way := j.deliveryWay(station, set)
	j.ways.Store(key, way)
	return way
}

// deliveryWay is the delivery line of one set of a pump at a station of the whole profile,
// as the search with it pinned there sees it; not OK, but with its length,
// where that is beyond the limit.
func (j *job) deliveryWay(station, set int) optimize.DeliveryWay {
	creek, places, extra := thinned(j.creek, j.site.PlaceStepM, []pinned{{station: station}})
	k, _ := slices.BinarySearch(places, station)
	ways, field := j.problem.WithDelivery(set).DeliveryAt, j.fieldOf(set)
	if len(extra) > 0 {
		ways = make([]optimize.DeliveryWay, creek.Len())
		j.deliveryWays(creek, extra, field, ways)
	}
	way := ways[k]
	if way.LengthM == 0 {
		if length, crest, ok := field.Reach(j.creek.Points[station]); ok && !math.IsInf(length, 0) {
			way.LengthM, way.CrestM = length, crest
		}
	}
	return way
}
