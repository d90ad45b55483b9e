package plan

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"

	"github.com/goccy/go-yaml/parser"

	"route/internal/finding"
	"route/internal/profile"
)

// Desk keeps a site ready to be planned again and again: the files read, the
// long profile, the way to the tank from everywhere. It is safe for concurrent
// use and does not change; With gives another one.
type Desk struct {
	record func(Progress)
	// measured is a job after its measured steps, ground one after its ground
	// steps; both are only copied from.
	measured, ground *job

	terrain *sharedTerrain
	bench   *bench // for Try; shared by desks that differ in pins alone
}

// sharedTerrain is open rasters that several desks read, one at a time.
type sharedTerrain struct {
	sync.Mutex
	Terrain
}

// Changes are what differs from the site of a desk. The zero value changes
// nothing.
type Changes struct {
	// Set holds settings by their keys in the site file, "pins.pump" among
	// them, with values as in the site file. A pin of "auto" leaves the place
	// to the search again.
	Set map[string]string
	// Tank is another place for the tank, latitude first; "" leaves it.
	Tank string
	// Field holds readings to be added to those of the site, each as in the
	// list field: of the site file, such as
	// {drop: "12.1 ft", from: "400 ft", to: "620 ft", by: hose}.
	Field []string
	// Units, us or si, are those of words and figures; "" leaves them. What is
	// sold and bought stays as it is.
	Units string
}

// Prepare reads all that a site names and works out what does not hang on what
// is to be built. record, which may be nil, is called from several goroutines,
// also by what is planned at the desk later. Close the desk when done.
func Prepare(ctx context.Context, site *Site, record func(Progress)) (*Desk, error) {
	j := newJob(ctx, site.Clone(), record)
	d := &Desk{record: j.record}
	if err := d.prepare(j); err != nil {
		j.close()
		return nil, err
	}
	d.terrain = &sharedTerrain{Terrain: Terrain{j.source}}
	return d, nil
}

// prepare takes a job through the steps that all plans share.
func (d *Desk) prepare(j *job) error {
	if err := j.follow(j.groundSteps()...); err != nil {
		return err
	}
	d.ground = j.copy(j.ctx, j.site, j.record)
	if err := j.follow(j.measuredSteps()...); err != nil {
		return err
	}
	d.measured, d.bench = j, new(bench)
	return nil
}

// Close lets go of the terrain of a desk that Prepare made, and of all that
// With made of it.
func (d *Desk) Close() {
	d.terrain.Lock()
	defer d.terrain.Unlock()
	d.terrain.Terrain.Close()
}

// copy is a job that goes on from where this one stands, for a site that
// differs in nothing that has been looked at so far.
func (j *job) copy(ctx context.Context, site *Site, record func(Progress)) *job {
	c, p := *j, *j.plan
	c.ctx, c.site, c.record, c.plan = ctx, site, record, &p
	if site != j.site {
		site.AltitudeM = j.site.AltitudeM
		p.repeat(site)
	}
	p.Inputs, p.Messages = slices.Clone(p.Inputs), slices.Clone(p.Messages)
	return &c
}

// reuse says how much of a desk holds after a change.
type reuse int

const (
	nothing      reuse = iota // other terrain, another creek
	openTerrain               // the rasters are the same, but what is read of them is not
	longProfile               // the terrain's profile is the same, but not what was measured or what laying pipe costs
	allButLayout              // only what is to be built differs
	allButPins                // only the pins differ
)

// keptBy says what of a desk holds when a setting changes. What is not named
// here is looked at on the way, and all is done anew.
func keptBy(key string) reuse {
	switch {
	case isPin(key):
		return allButPins
	case slices.Contains([]string{"catalog", "currency", "pipe_waste", "pipes.delivery"}, key), strings.HasPrefix(key, "laying."):
		return longProfile // the delivery pipe's way hangs on what it costs
	case key == "terrain" || key == "crs" || key == "z_unit" || key == "accuracy":
		return nothing
	case slices.Contains([]string{
		"name", "objective", "certainty", "demand", "demand_margin", "settling_box", "contingency", "place_step", "layouts", "front", "seed", "replans", "price_spread", "crew_hour", "tank.reserve",
		"limits.drive_pipe_length.min", "limits.drive_pipe_length.max", "limits.drive_head.min", "limits.drive_head.max",
		"limits.standpipe_height.min", "limits.standpipe_height.max", "limits.standpipe_freeboard", "limits.supply_pipe_length.max", "limits.lift_ratio.max", "limits.pumps.max",
	}, key), strings.HasPrefix(key, "creek_flow."):
		return allButLayout
	case slices.Contains([]string{"catalog", "currency", "pipe_waste"}, key), strings.HasPrefix(key, "pipes."):
		return longProfile // the way to the tank hangs on prices
	}
	return openTerrain
}

// With is a desk for a changed site. It shares with this one what the changes
// leave as it is, and is closed with it.
func (d *Desk) With(ctx context.Context, c Changes) (*Desk, error) {
	site, keeps, err := d.changed(c)
	if err != nil {
		return nil, err
	}
	n := &Desk{record: d.record, terrain: d.terrain, ground: d.ground, measured: d.measured, bench: d.bench}
	switch keeps {
	case allButPins, allButLayout:
		n.measured = d.measured.copy(ctx, site, d.record)
		n.ground = d.ground.copy(ctx, site, d.record)
		if keeps == allButLayout {
			n.bench = new(bench)
		}
		return n, nil
	case longProfile:
		j := d.ground.copy(ctx, site, d.record)
		n.ground = j.copy(ctx, site, d.record)
		if err := j.follow(j.measuredSteps()...); err != nil {
			return nil, err
		}
		n.measured, n.bench = j, new(bench)
		return n, nil
	case nothing:
		return nil, &finding.Fault{Code: "change_too_great", File: site.File, Text: "another terrain is another job", Hint: "change the site file and start again"}
	}
	d.terrain.Lock()
	defer d.terrain.Unlock()
	j := newJob(ctx, site, d.record)
	j.terrain = &d.terrain.Terrain
	return n, n.prepare(j)
}

// changed is the site with the changes, and what of the desk still holds.
func (d *Desk) changed(c Changes) (*Site, reuse, error) {
	site, keeps := d.measured.site.Clone(), allButPins
	before := site.reachM()
	for _, key := range slices.Sorted(maps.Keys(c.Set)) {
		if err := site.Set(key, c.Set[key]); err != nil {
			return nil, 0, &finding.Fault{Code: "site_value", Text: err.Error()}
		}
		keeps = min(keeps, keptBy(key))
	}
	if c.Units != "" {
		own := site.Units
		if site.soldIn == nil {
			site.soldIn = &own
		}
		if err := site.Set("units", c.Units); err != nil {
			return nil, 0, &finding.Fault{Code: "site_value", Text: err.Error()}
		}
		if site.Units != own { // what has been said on the way is said again
			keeps = min(keeps, openTerrain)
		}
	}
	if site.reachM() != before {
		keeps = min(keeps, openTerrain)
	}
	if c.Tank != "" {
		if err := site.SetTank(c.Tank); err != nil {
			return nil, 0, err
		}
		keeps = min(keeps, openTerrain)
	}
	for _, text := range c.Field {
		reading, err := ParseFieldReading(text)
		if err != nil {
			return nil, 0, err
		}
		site.Field = append(slices.Clone(site.Field), reading)
		site.given["field"] = true
		keeps = min(keeps, longProfile)
	}
	return site, keeps, nil
}

// reachM is how far from the tank anything is looked at.
func (s *Site) reachM() float64 {
	return s.DeliveryMaxM + s.Limits.SupplyLengthMaxM + s.Limits.DriveLengthMaxM
}

// Plan plans the site with some changes: the same bytes as Run gives for a site
// file that has them.
func (d *Desk) Plan(ctx context.Context, c Changes) (*Plan, error) {
	n, err := d.With(ctx, c)
	if err != nil {
		return nil, err
	}
	j := n.measured.copy(ctx, n.measured.site, d.record)
	if err := j.follow(j.layoutSteps()...); err != nil {
		return nil, err
	}
	return j.plan, nil
}

// Scene draws the ground of the desk's site. It is the work of some tenths of a
// second.
func (d *Desk) Scene() *Scene { return d.measured.scene() }

// Creek is the long profile of the desk's site, in metres of its frame.
func (d *Desk) Creek() *profile.Profile { return d.measured.creek }

// Site is the site of the desk. It must not be changed.
func (d *Desk) Site() *Site { return d.measured.site }

// maxReadingBytes is more than any reading takes.
const maxReadingBytes = 4096

// ParseFieldReading reads one measurement as it stands in the list field: of a
// site file. The error is a *finding.Fault.
func ParseFieldReading(text string) (FieldReading, error) {
	if len(text) > maxReadingBytes {
		return FieldReading{}, &finding.Fault{Code: "field_structure", Text: "a reading is one line, not so long", Hint: fieldHint}
	}
	f, err := parser.ParseBytes([]byte(text), 0)
	if err != nil || len(f.Docs) != 1 || f.Docs[0].Body == nil {
		return FieldReading{}, &finding.Fault{Code: "field_structure", Text: fmt.Sprintf("%q is not a reading", text), Hint: fieldHint, Err: err}
	}
	r := siteReader{site: NewSite()}
	return r.fieldReading(f.Docs[0].Body)
}
