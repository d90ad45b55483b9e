package plan

import (
	"cmp"
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"sync"

	"github.com/paulmach/orb"

	"route/internal/dem"
	"route/internal/finding"
	"route/internal/geodesy"
	"route/internal/hydraulics"
	"route/internal/optimize"
	"route/internal/profile"
	"route/internal/quantity"
	"route/internal/survey"
	"route/internal/terrain"
)

// Version is the program's version; the build sets it.
var Version = "unreleased"

// Progress is the step at work; Total is 0 when its length is not known.
type Progress struct {
	Step        string
	Done, Total int
}

// Run does the main job. The Plan may hold no layout: then its messages say
// why and what is nearest. record, which may be nil, is called from several
// goroutines.
func Run(ctx context.Context, site *Site, record func(Progress)) (*Plan, error) {
	j := newJob(ctx, site, record)
	defer j.close()
	if err := j.follow(slices.Concat(j.groundSteps(), j.measuredSteps(), j.layoutSteps())...); err != nil {
		return nil, err
	}
	return j.plan, nil
}

// groundSteps lead from the files to the long profile as the terrain has it.
func (j *job) groundSteps() []func() error {
	return []func() error{j.readCreek, j.needPlace, j.openTerrain, j.findTank, j.placeFrame, j.nameStakesGrid, j.loadGround, j.standTank, j.longProfile}
}

// measuredSteps lead on to all that does not hang on what is to be built.
func (j *job) measuredSteps() []func() error {
	return []func() error{j.takeField, j.takeLift, j.checkTank, j.readCatalog, j.readLand, j.priceCrossings, j.deliveryField, j.tellGravity}
}

// layoutSteps lead on to the finished plan.
func (j *job) layoutSteps() []func() error {
	return []func() error{j.findPins, j.search, j.order, j.replan, j.gradeWinners, j.inStakesGrid, j.answerPins, j.planVisits, j.screen, j.front, j.nextSteps, j.sayWhy, j.drawRelief, j.conclude}
}

// conclude says the last things and puts all in order.
func (j *job) conclude() error {
	j.tellFlow()
	j.tellDemand()
	j.finish()
	return nil
}

// LongProfile works out the creek alone: the Plan holds no layouts.
func LongProfile(ctx context.Context, site *Site, record func(Progress)) (*Plan, error) {
	j := newJob(ctx, site, record)
	defer j.close()
	if err := j.follow(j.readCreek); err != nil {
		return nil, err
	}
	steps := []func() error{j.openTerrain, j.placeFrame, j.loadGround, j.longProfile, j.takeField}
	if j.onLevelsAlone() {
		steps = []func() error{j.profileOfLevels}
	}
	if err := j.follow(steps...); err != nil {
		return nil, err
	}
	j.finish()
	return j.plan, nil
}

// follow takes one step after the other until one fails.
func (j *job) follow(steps ...func() error) error {
	for _, step := range steps {
		if err := step(); err != nil {
			return err
		}
		if err := j.ctx.Err(); err != nil {
			return err
		}
	}
	return nil
}

// job carries one run from step to step. Each step reads what the earlier
// ones left and fills in its own part of the plan.
type job struct {
	ctx    context.Context
	site   *Site
	record func(Progress)
	plan   *Plan

	terrain *Terrain // that stays open when the job ends; nil when the job opens its own

	// ways are the delivery lines from pump places that were tried; nil where
	// they are not kept.
	ways *sync.Map

	gridCells float64 // most that the delivery grid may have

	walked    creekFile
	levels    *survey.CreekLevels // of the creek, where it was levelled
	source    *dem.Source
	tankAt    geodesy.LonLat
	hasTank   bool
	frame     *geodesy.Frame
	legs      []orb.LineString // of the walked track, in the frame
	zone      int              // UTM zone of the stakes
	north     bool
	ground    *dem.Surface
	tank      orb.Point
	tankM     float64      // ground at the tank
	lift      *liftReading // measured on site; nil when it was not
	creek     *profile.Profile
	readings  []profile.Reading  // measured on site and believed
	certain   *profile.Certainty // of differences in height, after what was measured on site
	land      *land
	work      work          // what laying the delivery pipe costs
	capped    []cappedField // ways with lower crests, the highest cap first
	setOf     []int         // number in capped of each further set of delivery lines
	grid      *terrain.Grid
	field     *terrain.Field
	routes    *routes // over the field
	fluid     hydraulics.Fluid
	pins      []pinned
	places    []int // stations of creek that the search looks at
	problem   optimize.Problem
	result    *optimize.Result
	lucks     []luck     // of the ranked candidates
	prospects []prospect // the layouts as choices, in order
	worthUnit string     // of the prospects
	layoutOf  []string   // ID of the layout of each ranked candidate; "" when it was withdrawn
}

func newJob(ctx context.Context, site *Site, record func(Progress)) *job {
	if record == nil {
		record = func(Progress) {}
	}
	j := &job{ctx: ctx, site: site, record: record, land: &land{}, gridCells: usualGridCells, plan: &Plan{
		Format:      Format,
		ToolVersion: Version,

		Inputs:     []Input{},
		Creek:      Creek{LengthM: Unknown, FallM: Unknown, Stations: []CreekStation{}},
		Layouts:    []Layout{},
		Messages:   []Message{},
		Visits:     []Visit{},
		Pins:       []PinAnswer{},
		Front:      []FrontPoint{},
		Next:       []NextStep{},
		Stages:     []Stage{},
		Rejected:   []Rejected{},
		Reaches:    []Reach{},
		WorksCited: []string{},
	}}
	j.plan.repeat(site)
	return j
}

// repeat puts into the plan what the site says.
func (p *Plan) repeat(site *Site) {
	p.Site, p.Seed, p.Units = site.Name, site.Seed, unitsWord(site.Units)
	p.Demand = unknownIfZero(site.Demand * litresPerDay)
	p.Take = unknownIfZero(site.LowFlow * site.TakeShare * 1000)
	p.LowFlow, p.LowFlowSigma = unknownIfZero(site.LowFlow*1000), unknownIfZero(site.lowFlowSigma()*1000)
	p.UsualFlow = unknownIfZero(site.UsualFlow * 1000)
	p.DemandUses = site.demandUses()
	p.TankVolume = unknownIfZero(hydraulics.TankVolume(site.Demand, site.ReserveS/86400) * 1000)
	p.Defaults = site.Defaults()
}

// litresPerDay turns m³/s into litres a day.
const litresPerDay = 86400 * 1000

func unitsWord(s quantity.System) string {
	if s == quantity.US {
		return "us"
	}
	return "si"
}

func unknownIfZero(v float64) Number {
	if v == 0 {
		return Unknown
	}
	return Number(v)
}

func (j *job) close() {
	if j.source != nil && j.terrain == nil {
		j.source.Close()
	}
}

// tell adds findings to the plan.
func (j *job) tell(findings ...finding.Finding) {
	for _, f := range findings {
		j.plan.Messages = append(j.plan.Messages, j.message(f))
	}
}

// message puts a finding into the site's units.
func (j *job) message(f finding.Finding) Message {
	return Message{
		Level:    string(f.Level),
		Code:     f.Code,
		Text:     quantity.Text(j.site.Units, f.Text, f.Values...),
		Hint:     quantity.Text(j.site.Units, f.Hint, f.Values...),
		File:     f.File,
		Line:     f.Line,
		StationM: Number(f.StationM),
	}
}

// openTerrain opens the rasters and checks that the creek lies on them.
func (j *job) openTerrain() error {
	j.record(Progress{Step: "opening the terrain"})
	if j.terrain != nil {
		j.source = j.terrain.source
		j.source.Forget()
		return j.checkCover()
	}
	source, err := j.site.openTerrain(0)
	j.source = source // also of a refused raster something is known
	if err != nil {
		return err
	}
	return j.checkCover()
}

// checkCover refuses a creek that does not lie on the terrain.
func (j *job) checkCover() error {
	var all []geodesy.LonLat
	for _, leg := range j.walked.legs {
		all = append(all, leg...)
	}
	findings, err := j.source.CheckPoints("the creek "+j.walked.path, all)
	j.tell(findings...)
	return err
}

// placeFrame puts the metric frame on the site: first roughly, then, once the
// height of the place is known, at its scale.
func (j *job) placeFrame() error {
	var lon, lat, n float64
	first := j.walked.legs[0][0]
	for _, leg := range j.walked.legs {
		for _, fix := range leg {
			lon += unwrap(fix.Lon, first.Lon)
			lat += fix.Lat
			n++
		}
	}
	origin := geodesy.LonLat{Lon: unwrap(lon/n, 0), Lat: lat / n}
	height, err := j.heightAbout(origin)
	if err != nil {
		return err
	}
	if j.frame, err = geodesy.NewFrame(origin, height); err != nil {
		return &finding.Fault{Code: "heights_implausible", File: j.site.path(j.site.Terrain[0]), Text: err.Error(), Hint: "check the unit of the heights (z_unit), and that the file was decoded rightly: gdalinfo -stats shows its range", Err: err}
	}
	if math.IsNaN(j.site.AltitudeM) {
		j.site.AltitudeM = height
	}
	j.zone, j.north = geodesy.UTM(origin)
	j.plan.Frame = Frame{PROJ: j.frame.PROJ(), UTM: geodesy.UTMEPSG(j.zone, j.north)}
	return nil
}

// unwrap moves a longitude to within half a turn of another.
func unwrap(lon, near float64) float64 {
	for lon-near > 180 {
		lon -= 360
	}
	for lon-near < -180 {
		lon += 360
	}
	return lon
}

// heightAbout is the height at the fix closest to a place among those at which
// the terrain has one. A frame needs it to a hundred metres only.
func (j *job) heightAbout(p geodesy.LonLat) (float64, error) {
	var fixes []geodesy.LonLat
	for _, leg := range j.walked.legs {
		fixes = append(fixes, leg...)
	}
	away := func(fix geodesy.LonLat) float64 {
		return math.Hypot((unwrap(fix.Lon, p.Lon)-p.Lon)*math.Cos(p.Lat*math.Pi/180), fix.Lat-p.Lat)
	}
	slices.SortStableFunc(fixes, func(a, b geodesy.LonLat) int { return cmp.Compare(away(a), away(b)) })
	var last error
	for _, fix := range fixes {
		height, err := j.source.HeightNear(fix)
		if err == nil {
			return height, nil
		}
		if !errors.Is(err, dem.ErrNoData) && !errors.Is(err, dem.ErrOutside) {
			return 0, err
		}
		last = err
	}
	return 0, &finding.Fault{Code: "creek_off_terrain", File: j.walked.path, Text: "the terrain has no height at any point of the creek", Hint: "give terrain without holes there: " + strings.Join(j.site.Terrain, ", ") + " has none", Err: last}
}

// loadGround reads the one window that the job needs.
func (j *job) loadGround() error {
	j.record(Progress{Step: "reading the terrain"})
	if err := j.layOutCreek(); err != nil {
		return err
	}
	j.tellSparse()
	if j.hasTank {
		j.tank = j.frame.ToFrame(j.tankAt)
		if err := j.keepWithinReach(); err != nil {
			return err
		}
	}
	area := boundOf(j.legs).Pad(j.thalwegOptions().ReachM())
	if j.hasTank {
		area = area.Union(j.deliveryArea())
	}
	ground, err := j.source.Load(j.ctx, j.frame, area)
	if err != nil {
		return err
	}
	j.ground = ground
	j.tell(j.source.Findings()...)
	j.tell(ground.Findings()...)
	if j.walked.track != nil {
		_, doubts := survey.CompareHeights(*j.walked.track, func(p geodesy.LonLat) (float64, bool) { return ground.At(j.frame.ToFrame(p)) })
		if err := j.weighHeights(doubts); err != nil {
			return err
		}
	}
	j.describeTerrain()
	return nil
}

// weighHeights stops where the track's heights give a wrong unit of the
// terrain away, unless the user has named the unit: then his word counts, with
// a warning.
func (j *job) weighHeights(doubts []finding.Finding) error {
	for _, f := range doubts {
		if f.Level == finding.Error && j.site.ZUnit == "" {
			m := j.message(f)
			return &finding.Fault{Code: f.Code, File: j.site.path(j.site.Terrain[0]), Text: m.Text, Hint: m.Hint + ": --z-unit ft or us-ft, or z_unit: in the site file; if they are metres after all, say m"}
		}
		if f.Level == finding.Error {
			f.Level = finding.Warning
			f.Hint = "z_unit says " + j.site.ZUnit + ", and that is what counts; check it"
		}
		j.tell(f)
	}
	return nil
}

// layOutCreek brings the creek line into the frame; a recorded track is first
// cleaned of what was not the walk.
func (j *job) layOutCreek() error {
	if j.walked.track == nil {
		for _, leg := range j.walked.legs {
			j.legs = append(j.legs, toFrame(j.frame, leg))
		}
		return nil
	}
	legs, findings, err := survey.Clean(*j.walked.track, j.frame, survey.CleanOptions{SigmaM: j.site.TrackSigmaM})
	if err != nil {
		return inFile(err, j.walked.path)
	}
	j.legs = legs
	j.tell(findings...)
	return nil
}

func boundOf(legs []orb.LineString) orb.Bound {
	b := legs[0].Bound()
	for _, leg := range legs[1:] {
		b = b.Union(leg.Bound())
	}
	return b
}

// deliveryArea holds the creek within reach and the tank, with room to go
// round things.
func (j *job) deliveryArea() orb.Bound {
	b := boundOf(j.legs).Extend(j.tank)
	return b.Pad(math.Max(50, 0.1*math.Max(b.Max[0]-b.Min[0], b.Max[1]-b.Min[1])))
}

// keepWithinReach drops the parts of the track from which no pipe could reach
// the tank.
func (j *job) keepWithinReach() error {
	reach := j.site.reachM()
	var kept []orb.LineString
	var walkedM, keptM float64
	for _, leg := range j.legs {
		var part orb.LineString
		flush := func() {
			if len(part) > 1 {
				kept = append(kept, part)
			}
			part = nil
		}
		for i, p := range leg {
			if i > 0 {
				walkedM += dist(leg[i-1], p)
			}
			if dist(p, j.tank) > reach {
				flush()
				continue
			}
			if len(part) > 0 {
				keptM += dist(leg[i-1], p)
			}
			part = append(part, p)
		}
		flush()
	}
	if len(kept) == 0 {
		return &finding.Fault{Code: "tank_too_far", File: j.site.File, Text: "no part of the creek is within reach of the tank: " + quantity.Format(j.site.Units, quantity.Length, reach), Hint: "check the tank's coordinates, or raise limits.delivery_pipe_length.max"}
	}
	if keptM < 0.98*walkedM {
		j.tell(finding.New(finding.Note, "creek_beyond_reach", "{0} of the {1} of track are near enough to the tank; the rest is left out", "", quantity.Metres(keptM), quantity.Metres(walkedM)))
	}
	j.legs = kept
	return nil
}

// longProfile finds the thalweg and fits the profile.
func (j *job) longProfile() error {
	j.record(Progress{Step: "working out the creek's profile"})
	creek, findings, err := profile.Thalweg(j.ctx, j.ground, j.legs, j.thalwegOptions())
	if err != nil {
		return inFile(err, j.walked.path)
	}
	j.creek = creek
	j.tell(findings...)
	j.describeCreek()
	return nil
}

// thalwegOptions say how well the track is known and how fine the terrain is.
func (j *job) thalwegOptions() profile.ThalwegOptions {
	cell := 0.0
	for _, info := range j.source.Infos() {
		if info.CellM > cell {
			cell = info.CellM
		}
	}
	if j.ground != nil {
		cell = j.ground.CellM()
	}
	return profile.ThalwegOptions{CellM: cell, TrackSigmaM: j.site.TrackSigmaM}
}

// deliveryField finds the cheapest way to the tank from everywhere at once.
func (j *job) deliveryField() error {
	j.record(Progress{Step: "looking for ways to the tank"})
	area := j.deliveryArea()
	grid, err := terrain.SampleContext(j.ctx, j.ground, area, gridCell(area, j.ground.CellM(), j.gridCells))
	if err != nil {
		return err
	}
	j.grid = grid
	field, err := terrain.FromTankTo(j.ctx, j.grid, j.tank, j.laying(j.grid), terrain.FieldOptions{Targets: j.creek.Points})
	if err != nil {
		return err
	}
	j.field, j.routes = field, new(routes)
	return j.lowerCrests()
}

// usualGridCells bounds the delivery grid; beyond it the cells grow.
const usualGridCells = 20e6

func gridCell(area orb.Bound, cellM, most float64) float64 {
	w, h := area.Max[0]-area.Min[0], area.Max[1]-area.Min[1]
	return math.Max(cellM, math.Sqrt(w*h/most))
}

// finish puts the messages in order: errors, warnings, notes, each as found.
func (j *job) finish() {
	sortMessages(j.plan.Messages)
	j.plan.WorksCited = worksCited(j.plan)
}
