package plan

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"

	"route/internal/finding"
	"route/internal/hydraulics"
	"route/internal/profile"
	"route/internal/survey"
)

// Standard deviations of what people measure with, metres; from memory and
// common practice, no source. Set-ups add as their squares.
const (
	hoseSigmaM         = 0.015 // a set-up of a water-filled hose
	handLevelSigmaM    = 0.04  // a sight of 30 m with a hand level
	handLevelReachM    = 30
	levelSigmaM        = 0.005 // a set-up of a builder's level on a tripod
	levelReachM        = 60
	gaugeSigmaM        = 0.16 // a gauge of class 1.6 with 1 bar full scale
	digitalGaugeSigmaM = 0.03 // one of 0.25 %
	rtkSigmaM          = 0.03 // a fixed RTK height under open sky
)

// instrumentSigma is the standard deviation of a drop by an instrument over a
// distance, in metres.
func instrumentSigma(by string, legs int, distanceM float64) float64 {
	setUps := func(reachM float64) float64 {
		if legs > 0 {
			return float64(legs)
		}
		return math.Max(1, math.Ceil(distanceM/reachM))
	}
	switch by {
	case "hose":
		return hoseSigmaM * math.Sqrt(math.Max(1, float64(legs)))
	case "hand_level":
		return handLevelSigmaM * math.Sqrt(setUps(handLevelReachM))
	case "gauge":
		return gaugeSigmaM * math.Sqrt(math.Max(1, float64(legs)))
	case "digital_gauge":
		return digitalGaugeSigmaM * math.Sqrt(math.Max(1, float64(legs)))
	case "rtk":
		return rtkSigmaM
	default:
		return levelSigmaM * math.Sqrt(setUps(levelReachM))
	}
}

// levelledSigma is the standard deviation of a drop between two points of a
// levelling book: both set-ups count, and all between them.
func levelledSigma(perSetUpM float64, fromSetUp, toSetUp int) float64 {
	return perSetUpM * math.Sqrt(float64(toSetUp-fromSetUp+1))
}

// measured is one drop that goes into the profile, and the entry that it came
// from.
type measured struct {
	profile.Reading
	entry *FieldReading
	file  string // that the message names
	line  int
	book  bool // one of many from a levelling book
}

// takeField takes the measurements on site into the profile. What contradicts
// the terrain or other readings beyond chance is left out, unless its entry
// says accept.
func (j *job) takeField() error {
	if err := j.tellPlaces(); err != nil {
		return err
	}
	drops, err := j.measuredDrops()
	if err != nil {
		return err
	}
	prior, err := profile.Condition(j.creek, j.ground, nil)
	if err != nil {
		return err
	}
	j.certain = prior
	if len(drops) == 0 {
		return nil
	}
	readings, vouched := make([]profile.Reading, len(drops)), make([]bool, len(drops))
	for k, d := range drops {
		readings[k], vouched[k] = d.Reading, d.entry.Accept
	}
	used, doubts, err := profile.Question(j.creek, j.ground, readings, vouched)
	if err != nil {
		return inFile(err, j.site.File)
	}
	for _, d := range j.tellLevelDoubts(drops, doubts) {
		j.tell(j.questioned(drops[d.Reading], d))
	}
	var kept []profile.Reading
	for k, u := range used {
		if u {
			kept = append(kept, readings[k])
		}
	}
	if len(kept) == 0 {
		return nil
	}
	j.readings = kept
	if j.certain, err = profile.Condition(j.creek, j.ground, kept); err != nil {
		return inFile(err, j.site.File)
	}
	if err := j.tellMeasured(drops, used, prior); err != nil {
		return err
	}
	j.creek = j.certain.Profile()
	j.describeCreek()
	return nil
}

// measuredDrops turns every entry into drops between stations.
func (j *job) measuredDrops() ([]measured, error) {
	drops, err := j.creekDrops()
	if err != nil {
		return nil, err
	}
	heights := map[string][]*FieldReading{} // by instrument: one datum each
	for i := range j.site.Field {
		entry := &j.site.Field[i]
		switch entry.Kind {
		case "height":
			heights[entry.By] = append(heights[entry.By], entry)
		case "levels":
			found, err := j.levelledDrops(entry)
			if err != nil {
				return nil, err
			}
			drops = append(drops, found...)
		case "place", "lift":
		default:
			d, err := j.measuredDrop(entry)
			if err != nil {
				return nil, err
			}
			drops = append(drops, d)
		}
	}
	for set, by := range instruments["height"] {
		found, err := j.heightDrops(heights[by], set+1)
		if err != nil {
			return nil, err
		}
		drops = append(drops, found...)
	}
	return drops, nil
}

func (j *job) fieldFault(at FieldPlace, code, hint, format string, args ...any) error {
	f := &finding.Fault{Code: code, File: j.site.File, Text: fmt.Sprintf(format, args...), Hint: hint}
	if at.token != nil {
		f.Line, f.Column = at.token.Position.Line, at.token.Position.Column
	}
	return f
}

// stationOf finds a place on the creek.
func (j *job) stationOf(p FieldPlace) (profile.Station, error) {
	first, last := j.creek.Stations[0], j.creek.Stations[j.creek.Len()-1]
	at := p.At
	switch {
	case !math.IsNaN(p.StationM):
		s := profile.Station(p.StationM)
		if s < first || s > last {
			return 0, j.fieldFault(p, "field_place", "stations count from the upper end of the creek; route profile lists them", "the place lies beyond the creek, which runs from %s to %s", j.length(float64(first)), j.length(float64(last)))
		}
		return s, nil
	case p.Waypoint != "":
		found, ok := j.walked.waypoints[p.Waypoint]
		if !ok {
			return 0, j.fieldFault(p, "field_place", "name one of the file's waypoints, or give a station such as \"120 m\" or {lat: …, lon: …}", "the creek file has no waypoint named %q%s", p.Waypoint, listed(j.walked.waypoints))
		}
		at = found
	}
	s, offset := j.creek.Alignment.StationOf(j.frame.ToFrame(at))
	if reach := math.Max(fieldReachM, 2*j.ground.CellM()); math.Abs(offset) > reach {
		return 0, j.fieldFault(p, "field_place", "only heights of the creek's water are taken; check the coordinates", "the place is %s from the creek", j.length(math.Abs(offset)))
	}
	return min(max(s, first), last), nil
}

// fieldReachM is how far beside the creek line a place may be given; a
// hand-held receiver under trees is up to that far off (common practice, no
// source).
const fieldReachM = 25

// measuredDrop is the drop of an entry with two places.
func (j *job) measuredDrop(entry *FieldReading) (measured, error) {
	d := measured{entry: entry, file: j.site.File, line: entry.Line}
	var err error
	if d.From, err = j.stationOf(entry.From); err != nil {
		return d, err
	}
	if d.To, err = j.stationOf(entry.To); err != nil {
		return d, err
	}
	d.DropM, d.SigmaM = entry.Value, entry.SigmaM
	if entry.Kind == "pressure" {
		water, err := hydraulics.Water(j.site.TemperatureK, j.site.AltitudeM)
		if err != nil {
			return d, &finding.Fault{Code: "water_out_of_range", File: j.site.File, Text: err.Error(), Hint: "water_temperature and altitude say what the water is like", Err: err}
		}
		perMetre := water.Density * hydraulics.Gravity
		d.DropM = entry.Value / perMetre
		if entry.SigmaPa > 0 {
			d.SigmaM = entry.SigmaPa / perMetre
		}
	}
	d.DropM += entry.AboveWaterM
	if d.SigmaM == 0 {
		d.SigmaM = instrumentSigma(entry.By, entry.Legs, math.Abs(float64(d.To-d.From)))
	}
	if d.To <= d.From {
		return d, j.fieldFault(entry.To, "field_place", "a drop is measured from the upper place to the lower one: exchange from and to, or check the places", "the water does not fall from %s to %s: the second lies upstream", j.length(float64(d.From)), j.length(float64(d.To)))
	}
	return d, nil
}

// heightDrops are the drops from the first of several heights on one datum to
// each other one; the first one's error is in all of them.
func (j *job) heightDrops(entries []*FieldReading, set int) ([]measured, error) {
	if len(entries) == 0 {
		return nil, nil
	}
	if len(entries) == 1 {
		f := finding.New(finding.Warning, "field_height_alone", "one height by "+entries[0].By+" alone says nothing about a fall, because its datum need not be the terrain's; it is not used", "measure a second height with the same instrument").In(j.site.File)
		f.Line = entries[0].Line
		j.tell(f)
		return nil, nil
	}
	sigma := func(e *FieldReading) float64 {
		if e.SigmaM > 0 {
			return e.SigmaM
		}
		return instrumentSigma(e.By, e.Legs, 0)
	}
	var drops []measured
	first := entries[0]
	from, err := j.stationOf(first.From)
	if err != nil {
		return nil, err
	}
	for _, e := range entries[1:] {
		to, err := j.stationOf(e.From)
		if err != nil {
			return nil, err
		}
		if to == from {
			return nil, j.fieldFault(e.From, "field_place", "give heights of different places", "two heights are of one place")
		}
		drops = append(drops, measured{entry: e, file: j.site.File, line: e.Line, Reading: profile.Reading{
			From: from, To: to, DropM: first.Value - first.AboveWaterM - e.Value + e.AboveWaterM, SigmaM: sigma(e), Set: set, SharedM: sigma(first),
		}})
	}
	return drops, nil
}

// levelledDrops are the drops between the creek points of a levelling book,
// each to the next.
func (j *job) levelledDrops(entry *FieldReading) ([]measured, error) {
	book, err := j.readLevels(entry)
	if err != nil {
		return nil, err
	}
	l := book.Reduce()
	j.tell(l.Findings...)
	if !l.Good() && !entry.Accept {
		j.tell(finding.New(finding.Warning, "field_questioned", "the levelling book does not close and is left out", "level again, or add accept: true to its entry").In(book.File))
		return nil, nil
	}
	perSetUp := entry.SigmaM
	if perSetUp == 0 {
		perSetUp = levelSigmaM
	}
	var drops []measured
	last, from := -1, profile.Station(0)
	for i, p := range l.Points {
		place := FieldPlace{StationM: p.StationM, At: p.At}
		if _, named := j.walked.waypoints[p.Point]; named && math.IsNaN(p.StationM) && !p.HasAt {
			place.Waypoint = p.Point
		} else if math.IsNaN(p.StationM) && !p.HasAt {
			continue // off the creek
		}
		s, err := j.stationOf(place)
		if err != nil {
			return nil, inLine(err, book.File, p.Line)
		}
		if last >= 0 && s != from {
			q := l.Points[last]
			drops = append(drops, measured{entry: entry, file: book.File, line: p.Line, book: true, Reading: profile.Reading{
				From: from, To: s, DropM: q.LevelM - p.LevelM, SigmaM: levelledSigma(perSetUp, q.SetUp, p.SetUp),
			}})
		}
		last, from = i, s
	}
	if len(drops) == 0 {
		return nil, &finding.Fault{Code: "levels_off_creek", File: book.File, Text: "fewer than two points of the levelling book are on the creek", Hint: "give at least two points a station, lat and lon, or the name of a waypoint of the creek file"}
	}
	return drops, nil
}

// inLine points a fault about a place at a line of another file.
func inLine(err error, file string, line int) error {
	var fault *finding.Fault
	if !errors.As(err, &fault) {
		return err
	}
	copied := *fault
	copied.File, copied.Line, copied.Column = file, line, 0
	return &copied
}

// readLevels reads the levelling book of an entry.
func (j *job) readLevels(entry *FieldReading) (*survey.LevelBook, error) {
	path := j.site.path(entry.Levels)
	content, err := os.ReadFile(path)
	if err != nil {
		f := &finding.Fault{Code: "levels_missing", File: path, Text: err.Error(), Hint: "levels: names a levelling book, relative to the site file", Err: err}
		if errors.Is(err, fs.ErrNotExist) {
			f.Text = "there is no such file"
		}
		return nil, f
	}
	book, err := survey.ReadLevels(path, bytes.NewReader(content))
	if err != nil {
		return nil, err
	}
	sum, rows := sha256.Sum256(content), len(book.Rows)
	j.plan.Inputs = append(j.plan.Inputs, Input{Path: entry.Levels, Role: "levels", SHA256: hex.EncodeToString(sum[:]), CellM: Unknown, Points: &rows})
	return book, nil
}
