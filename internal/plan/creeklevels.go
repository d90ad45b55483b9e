package plan

import (
	"bytes"
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"route/internal/finding"
	"route/internal/geodesy"
	"route/internal/profile"
	"route/internal/quantity"
	"route/internal/survey"
)

// This file takes a creek that somebody levelled: its heights rule the
// profile, its places come from its own columns or from a line beside it.

// isLevels says whether a name stands for a table of levels.
func isLevels(name string) bool { return strings.EqualFold(filepath.Ext(name), ".csv") }

// levelledCreek says whether the creek of a site is a table of levels.
func (s *Site) levelledCreek() bool { return isLevels(s.Creek) }

// readCreekLevels reads the table that the site names as its creek. Without a
// line beside it the points that have coordinates are the line.
func (j *job) readCreekLevels(path string, content []byte) error {
	levels, err := survey.ReadCreekLevels(path, bytes.NewReader(content), instrumentSigma)
	if err != nil {
		return err
	}
	j.levels = levels
	j.tell(levels.Findings...)
	if j.site.CreekLine != "" || levels.Places < 2 {
		return nil
	}
	var line []geodesy.LonLat
	for _, p := range levels.Points {
		if !p.HasAt {
			continue
		}
		line = append(line, p.At)
		if p.Name != "" {
			j.walked.waypoints[p.Name] = p.At
		}
	}
	j.walked.legs = [][]geodesy.LonLat{line}
	return nil
}

// hasPlace says whether it is known where on the map the creek lies.
func (j *job) hasPlace() bool { return len(j.walked.legs) > 0 }

// needPlace stops a plan of a creek that has no place, or no terrain.
func (j *job) needPlace() error {
	switch {
	case !j.hasPlace():
		return &finding.Fault{Code: "creek_without_place", File: j.walked.path, Text: "the levels say how the creek falls but not where it lies: no intake, pump or pipe can be placed",
			Hint: "give the points lat and lon columns, or name a track or line of the creek as creek_line:; without it, route profile gives the falls, and route ram --drive-head … what a ram makes of one"}
	case len(j.site.Terrain) == 0:
		return &finding.Fault{Code: "terrain_missing", File: j.site.File, Text: "no terrain is named: the levels give the creek, but not the ground up to the tank",
			Hint: "add terrain: [ground.tif]; without it, route profile gives the falls, and route ram --drive-head … what a ram makes of one"}
	}
	return nil
}

// onLevelsAlone says whether the profile can only be that of the levels.
func (j *job) onLevelsAlone() bool {
	return j.levels != nil && (!j.hasPlace() || len(j.site.Terrain) == 0)
}

// profileOfLevels is the long profile of a levelled creek without terrain, or
// without a place on it.
func (j *job) profileOfLevels() error {
	points := j.levels.Points
	var at []profile.Station
	var level, sigma []float64
	for _, p := range points {
		at, level, sigma = append(at, profile.Station(p.StationM)), append(level, p.LevelM), append(sigma, p.DropSigmaM)
	}
	c := profile.Levelled(at, level, sigma)
	n := c.Len()
	j.plan.Creek = Creek{LengthM: Number(c.Stations[n-1]), FallM: Number(c.ZM[0] - c.ZM[n-1]), Stations: make([]CreekStation, n)}
	for i, p := range points {
		lon, lat := math.NaN(), math.NaN()
		if p.HasAt {
			lon, lat = p.At.Lon, p.At.Lat
		}
		j.plan.Creek.Stations[i] = CreekStation{
			StationM: Number(c.Stations[i]), Lon: Degrees(lon), Lat: Degrees(lat), ZM: Number(c.ZM[i]), ZSigmaM: Number(c.SigmaM[i]),
			LowM: Number(c.LowM[i]), HighM: Number(c.HighM[i]), RawM: Number(level[i]), Flags: []string{},
		}
	}
	j.tellRises()
	j.tellLevelsAlone(c)
	return nil
}

// tellRises warns of levels that water cannot have.
func (j *job) tellRises() {
	points := j.levels.Points
	for i := 1; i < len(points); i++ {
		rise := points[i].LevelM - points[i-1].LevelM
		if rise <= 3*points[i].DropSigmaM {
			continue
		}
		f := finding.New(finding.Warning, "levels_rise", "the levels rise by {0} within {1} there, which water does not: a level of the bed, or a misread staff", "take the level of the water's surface, or check the reading",
			quantity.Metres(rise), quantity.Metres(points[i].StationM-points[i-1].StationM)).In(j.levels.File).At(points[i-1].StationM)
		f.Line = points[i].Line
		j.tell(f)
	}
}

// tellLevelsAlone says what such a profile is good for and what not.
func (j *job) tellLevelsAlone(c *profile.Profile) {
	why, missing := "the levels have no place on the map", "lat and lon columns or creek_line: with a track, the terrain and the tank"
	if j.hasPlace() {
		why, missing = "there is no terrain", "the terrain and the tank"
	}
	from, to, fall := c.SteepestWithin(j.site.Limits.DriveLengthMaxM)
	length := func(m float64) string { return quantity.Format(j.site.Units, quantity.Length, m) }
	j.tell(finding.New(finding.Note, "levels_alone",
		fmt.Sprintf("%s, so this is the profile of the %s alone: its falls stand, but no pipe is placed or priced; within the longest drive pipe, {0}, most fall is {1}, from {2} to {3}", why, j.levels.What),
		fmt.Sprintf("route ram --drive-head %q --drive-length %q with --lift and --drive-pipe says what a ram delivers there; for a plan give %s", length(fall), length(float64(to-from)), missing),
		quantity.Metres(j.site.Limits.DriveLengthMaxM), quantity.Metres(fall), quantity.Metres(float64(from)), quantity.Metres(float64(to))).In(j.levels.File).At(float64(from)))
}

// tapeMisfit is by what share a taped length and that of the line may differ
// before they are taken for different stretches of creek; a tape goes straight
// over bends that the thalweg follows (common practice, no source).
const tapeMisfit = 0.2

// levelStations are the stations of the levelled points on the profile; NaN
// for a point that cannot be placed on it. Points with coordinates are placed
// by them, those between by their taped distance.
func (j *job) levelStations() ([]float64, error) {
	points := j.levels.Points
	end := float64(j.creek.Stations[j.creek.Len()-1])
	at := make([]float64, len(points))
	placed := 0
	for i, p := range points {
		at[i] = math.NaN()
		if !p.HasAt {
			continue
		}
		s, err := j.stationOf(FieldPlace{StationM: math.NaN(), At: p.At})
		if err != nil {
			return nil, inLine(err, j.levels.File, p.Line)
		}
		at[i] = float64(s)
		placed++
	}
	if placed < 2 {
		return at, j.tapeAlong(at, end)
	}
	if err := j.sameWay(at); err != nil {
		return nil, err
	}
	j.betweenPlaced(at, end)
	return at, j.inOrder(at)
}

// sameWay refuses levels that fall where the terrain rises.
func (j *job) sameWay(at []float64) error {
	first, last := -1, -1
	for i, s := range at {
		if math.IsNaN(s) {
			continue
		}
		if first < 0 {
			first = i
		}
		last = i
	}
	if at[last] >= at[first] {
		return nil
	}
	points := j.levels.Points
	return &finding.Fault{Code: "levels_against_flow", File: j.levels.File, Line: points[last].Line,
		Text: fmt.Sprintf("the levels fall by %s from the point of line %d to this one, and the terrain falls the other way", j.length(points[first].LevelM-points[last].LevelM), points[first].Line),
		Hint: "check which coordinates belong to which point, and that heights grow upwards (a staff reading or a drop grows downwards)"}
}

// tapeAlong lays taped distances along the line, from its upper end.
func (j *job) tapeAlong(at []float64, end float64) error {
	points := j.levels.Points
	taped := points[len(points)-1].StationM
	scale := 1.0
	switch misfit := taped/end - 1; {
	case misfit > tapeMisfit:
		return &finding.Fault{Code: "levels_longer_than_line", File: j.levels.File, Text: fmt.Sprintf("the levels cover %s along the creek, its line on the map is %s long", j.length(taped), j.length(end)),
			Hint: "give a line that goes along all of the levelled creek, or the points lat and lon columns"}
	case math.Abs(misfit) <= tapeMisfit:
		scale = end / taped
		if math.Abs(misfit) > 0.02 {
			j.tell(finding.New(finding.Note, "levels_stretched", "the levels cover {0} by tape and the line of the creek is {1} long; they are taken to run from one of its ends to the other", "give two points or more lat and lon where that is not so",
				quantity.Metres(taped), quantity.Metres(end)).In(j.levels.File))
		}
	default:
		j.tell(finding.New(finding.Warning, "levels_from_upper_end", "the levels cover {0} of the {1} of creek; they are taken to begin at its upper end", "give the points lat and lon columns where that is not so",
			quantity.Metres(taped), quantity.Metres(end)).In(j.levels.File))
	}
	for i, p := range points {
		at[i] = scale * p.StationM
	}
	return nil
}

// betweenPlaced places points without coordinates by their taped distance from
// those that have them.
func (j *job) betweenPlaced(at []float64, end float64) {
	points := j.levels.Points
	before := -1
	for i := range points {
		if math.IsNaN(at[i]) {
			continue
		}
		for k := before + 1; k < i; k++ {
			if before < 0 {
				at[k] = at[i] - (points[i].StationM - points[k].StationM)
				continue
			}
			share := (points[k].StationM - points[before].StationM) / (points[i].StationM - points[before].StationM)
			at[k] = at[before] + share*(at[i]-at[before])
		}
		before = i
	}
	for k := before + 1; k < len(points); k++ {
		at[k] = at[before] + points[k].StationM - points[before].StationM
	}
	outside := 0
	for k, s := range at {
		if s < 0 || s > end {
			at[k] = math.NaN()
			outside++
		}
	}
	if outside > 0 {
		j.tell(finding.New(finding.Warning, "levels_beyond_line", fmt.Sprintf("%d levelled points lie beyond the ends of the creek's line and are not used", outside), "give a longer line, or those points lat and lon").In(j.levels.File))
	}
}

// inOrder leaves out points that lie upstream of the one before, as the errors
// of a receiver make close ones do.
func (j *job) inOrder(at []float64) error {
	const closest = 0.5 // metres between two points that can tell a fall
	last, dropped, kept := math.Inf(-1), 0, 0
	for i, s := range at {
		switch {
		case math.IsNaN(s):
		case s-last < closest:
			at[i] = math.NaN()
			dropped++
		default:
			last = s
			kept++
		}
	}
	if kept < 2 {
		return &finding.Fault{Code: "levels_order", File: j.levels.File, Text: "the places of the levelled points do not follow each other down the creek", Hint: "check their coordinates: latitude and longitude in their own columns, in degrees"}
	}
	if dropped > 0 {
		j.tell(finding.New(finding.Warning, "levels_out_of_order", fmt.Sprintf("%d of %d levelled points lie by their coordinates upstream of the one before, or at it, and are not used", dropped, len(at)), "coordinates to a metre, or distances by tape, tell close points apart").In(j.levels.File))
	}
	return nil
}

// creekDrops are the drops between the points of a levelled creek, each to the
// next. They are vouched for: the levels are the creek.
func (j *job) creekDrops() ([]measured, error) {
	if j.levels == nil {
		return nil, nil
	}
	at, err := j.levelStations()
	if err != nil {
		return nil, err
	}
	j.tellRises()
	entry := &FieldReading{Kind: "creek", Accept: true}
	var drops []measured
	last, variance := -1, 0.0
	for i, p := range j.levels.Points {
		variance += p.DropSigmaM * p.DropSigmaM
		if math.IsNaN(at[i]) {
			continue
		}
		if last >= 0 {
			drops = append(drops, measured{entry: entry, file: j.levels.File, line: p.Line, book: true, Reading: profile.Reading{
				From: profile.Station(at[last]), To: profile.Station(at[i]), DropM: j.levels.Points[last].LevelM - p.LevelM, SigmaM: math.Sqrt(variance),
			}})
		}
		last, variance = i, 0
	}
	return drops, nil
}

// tellLevelDoubts says in one warning where levels and terrain disagree beyond
// chance, and gives the doubts about other readings back.
func (j *job) tellLevelDoubts(drops []measured, doubts []profile.Doubt) []profile.Doubt {
	var others []profile.Doubt
	worst, count, steps := -1, 0, 0
	for _, d := range drops {
		if d.entry.Kind == "creek" {
			steps++
		}
	}
	for k, d := range doubts {
		if drops[d.Reading].entry.Kind != "creek" {
			others = append(others, d)
			continue
		}
		count++
		if worst < 0 || math.Abs(d.Deviations) > math.Abs(doubts[worst].Deviations) {
			worst = k
		}
	}
	if worst >= 0 {
		w := drops[doubts[worst].Reading]
		f := finding.New(finding.Warning, "levels_against_terrain",
			fmt.Sprintf("at %d of %d steps levels and terrain disagree beyond chance, most at %s: levelled %s, by the terrain %s; the levels count", count, steps, j.between(w), j.measure(w.by()), j.measure(doubts[worst].Expected)),
			"check the reading, its unit and the places of the two points; a place a few metres off explains it on a steep creek").In(w.file).At(float64(w.From))
		f.Line = w.line
		j.tell(f)
	}
	return others
}
