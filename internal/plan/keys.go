package plan

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"route/internal/optimize"
	"route/internal/quantity"
)

// key is one setting of the site file. The same table serves the file, the
// flags, the starter file and the list of defaults, so that none of them can
// know a key that another does not.
type key struct {
	path     string // dotted, as in the file
	want     string // what is expected, with an example
	fallback string // the usual value; "" when there is none
	why      string // where the usual value comes from
	set      func(s *Site, text string) error
	in       func(units quantity.System, text string) string // the value in the reader's units; nil: as it is written
}

// settings lists every scalar key in the order of the starter file.
var settings = slices.Concat(siteKeys, pumpMeasuredKeys)

var siteKeys = []key{
	text("name", `a name, such as "Fernhollow"`, func(s *Site) *string { return &s.Name }),
	word("units", []string{"us", "si"}, "si", "what is printed; everything is computed in SI", func(s *Site, w string) {
		s.Units = quantity.SI
		if w == "us" {
			s.Units = quantity.US
		}
	}),
	word("z_unit", []string{"m", "ft", "us-ft"}, "", "", func(s *Site, w string) { s.ZUnit = w }),
	word("accuracy", []string{"lidar_open", "lidar_forest", "mixed_10m", "global_30m"}, "", "", func(s *Site, w string) { s.Accuracy = w }),
	text("crs", `a coordinate system, such as "EPSG:26910"`, func(s *Site) *string { return &s.CRS }),
	text("stakes_crs", `the grid that the crew's receivers show, such as "EPSG:27700"`, func(s *Site) *string { return &s.StakesCRS }),
	text("creek", `a GPX track, another line layer or a table of levels, such as "creek.gpx"`, func(s *Site) *string { return &s.Creek }),
	text("creek_line", `the line of a creek that was levelled, such as "creek.gpx"`, func(s *Site) *string { return &s.CreekLine }),
	text("track", "the name of a track in the creek file", func(s *Site) *string { return &s.Track }),
	length("track_sigma", "0.5 m", "50 m", "7 m", "hand-held receivers under trees: 4 to 12 m (Tomastik et al. 2017, 2021)", func(s *Site) *float64 { return &s.TrackSigmaM }),
	degrees("tank.lat", 90, func(s *Site) *float64 { return &s.Tank.At.Lat }),
	degrees("tank.lon", 360, func(s *Site) *float64 { return &s.Tank.At.Lon }),
	text("tank.waypoint", "the name of a waypoint in the creek file", func(s *Site) *string { return &s.Tank.Waypoint }),
	length("tank.inlet_above_ground", "-5 m", "30 m", "2 m", "common practice, no source", func(s *Site) *float64 { return &s.Tank.InletAboveGroundM }),
	number("tank.reserve", quantity.Duration, "0 day", "60 day", "2 day", "one to three days of the demand are usual; from memory", func(s *Site) *float64 { return &s.ReserveS }),
	replacing(number(lowFlowKey, quantity.Flow, "0.01 L/s", "10000 L/s", "", "", func(s *Site) *float64 { return &s.LowFlow }), func(s *Site) { s.LowFlowReading = nil }),
	number("creek_flow.usual", quantity.Flow, "0.01 L/s", "100000 L/s", "", "", func(s *Site) *float64 { return &s.UsualFlow }),
	number("creek_flow.take_at_most", quantity.Ratio, "0.1 %", "100 %", "40 %", "planning advice: 30 to 50 % of the driest flow; local rules come first", func(s *Site) *float64 { return &s.TakeShare }),
	replacing(number("demand", quantity.DailyVolume, "10 L/day", "10000000 L/day", "", "", func(s *Site) *float64 { return &s.Demand }), func(s *Site) { s.DemandUses = nil }),
	number("demand_margin", quantity.Ratio, "0 %", "300 %", "25 %", "a ram that nobody has measured yet delivers within about a quarter of the model", func(s *Site) *float64 { return &s.DemandMargin }),
	word("objective", []string{string(optimize.LeastCost), string(optimize.MostWater), string(optimize.MostSureWater), string(optimize.MostHead)}, "", "", func(s *Site, w string) { s.Objective = optimize.Objective(w) }),
	number("certainty", quantity.Ratio, "50 %", "99 %", "", "", func(s *Site) *float64 { return &s.Certainty }),

	length("limits.drive_pipe_length.min", "0 m", "300 m", "7.5 m", "25 to 50 ft in old trade books (Building Trades Pocketbook); shorter, the beat is hasty", func(s *Site) *float64 { return &s.Limits.DriveLengthMinM }),
	length("limits.drive_pipe_length.max", "1 m", "300 m", "100 ft", "installers of small pumps give the drive pipe 100 ft at most; common practice, no source", func(s *Site) *float64 { return &s.Limits.DriveLengthMaxM }),
	length("limits.drive_head.min", "0.1 m", "100 m", "1 m", "about 3 ft; below it small pumps deliver little; common practice, no source", func(s *Site) *float64 { return &s.Limits.DriveHeadMinM }),
	length("limits.drive_head.max", "0.1 m", "100 m", "15 m", "small rams; from memory", func(s *Site) *float64 { return &s.Limits.DriveHeadMaxM }),
	length("limits.standpipe_height.min", "0 m", "30 m", "0.3 m", "keeps the drive pipe's mouth under water; common practice, no source", func(s *Site) *float64 { return &s.Limits.StandpipeMinM }),
	length("limits.standpipe_height.max", "0 m", "30 m", "3 m", "a pipe that two people can set up and stay; common practice, no source", func(s *Site) *float64 { return &s.Limits.StandpipeMaxM }),
	length("limits.standpipe_freeboard", "0 m", "5 m", "0.15 m", "common practice, no source", func(s *Site) *float64 { return &s.Limits.StandpipeFreeboardM }),
	length("limits.supply_pipe_length.max", "0 m", "5000 m", "200 m", "common practice, no source", func(s *Site) *float64 { return &s.Limits.SupplyLengthMaxM }),
	number("limits.supply_pipe_slope.min", quantity.Ratio, "0 %", "50 %", "0 %", "the creek's own fall", func(s *Site) *float64 { return &s.Limits.SupplySlopeMin }),
	length("limits.supply_pipe_dig", "0 m", "10 m", "0.6 m", "2 ft, a trench dug by hand; common practice, no source", func(s *Site) *float64 { return &s.SupplyDigM }),
	length("limits.supply_pipe_trestle", "0 m", "10 m", "0.3 m", "a foot, on stones or stakes; common practice, no source", func(s *Site) *float64 { return &s.SupplyTrestleM }),
	length("limits.supply_pipe_saving", "0 m", "1000 m", "3 m", "less pipe is not worth leaving the creek for", func(s *Site) *float64 { return &s.SupplySavingM }),
	length("limits.delivery_pipe_length.max", "1 m", "10000 m", "1000 m", "bounds what is searched", func(s *Site) *float64 { return &s.DeliveryMaxM }),
	length("limits.bed_depth", "0 m", "5 m", "0.2 m", "a pool 8 to 10 in deep takes a 3 in screen; common practice, no source", func(s *Site) *float64 { return &s.Limits.BedDepthM }),
	length("limits.grade_line_cover", "0 m", "10 m", "0.05 m", "keeps air out of the supply pipe's high places; common practice, no source", func(s *Site) *float64 { return &s.Limits.GradeLineCoverM }),
	number("limits.intake_loss", quantity.Ratio, "0", "50", "1.5", "screen and sharp entrance, on the velocity in the pipe; common practice, no source", func(s *Site) *float64 { return &s.Limits.IntakeLossK }),
	length("limits.settling_box_drop", "0 m", "5 m", "0.1 m", "water falls in at the top; common practice, no source", func(s *Site) *float64 { return &s.Limits.BoxDropM }),
	length("limits.settling_box_distance", "0 m", "100 m", "6 m", "out of the flood's way, near enough to lose little; common practice, no source", func(s *Site) *float64 { return &s.Limits.BoxLeadM }),
	length("limits.settling_box_farthest", "0 m", "200 m", "20 m", "the pipe above the box is the one that silts up; common practice, no source", func(s *Site) *float64 { return &s.Limits.BoxLeadMaxM }),
	length("limits.settling_box_height", "0.05 m", "10 m", "1 m", "its water above the creek: a box on a seat of stones; common practice, no source", func(s *Site) *float64 { return &s.Limits.BoxRiseM }),
	length("limits.pump_above_creek", "0 m", "10 m", "0.3 m", "above ordinary high water; common practice, no source", func(s *Site) *float64 { return &s.Limits.PumpAboveCreekM }),
	length("limits.drive_pipe_dig", "0 m", "10 m", "1 m", "common practice, no source", func(s *Site) *float64 { return &s.Limits.DriveDigM }),
	length("limits.drive_pipe_trestle", "0 m", "10 m", "1.5 m", "common practice, no source", func(s *Site) *float64 { return &s.Limits.DriveTrestleM }),
	number("limits.lift_ratio.max", quantity.Ratio, "1.5", "60", "20", "useful lift ends near 20 times the fall (public handbooks)", func(s *Site) *float64 { return &s.Limits.LiftRatioMax }),
	length("limits.separation", "1 m", "1000 m", "30 m", "how far apart pumps or intakes make layouts different", func(s *Site) *float64 { return &s.Limits.SeparationM }),
	whole("limits.pumps.max", 1, 12, "2", "common practice, no source", func(s *Site, n int) { s.Choices.MaxPumps = n }),

	pinKey("intake", false),
	pinKey("settling_box", true),
	pinKey("standpipe", true),
	pinKey("pump", false),
	word("supply_route", []string{overTheGround, everyWay, alongTheCreek}, overTheGround, "free: straight cuts away from the creek where the terrain is fine enough and the pipe gets shorter; free_thorough: weighs every way over the cells, for minutes; creek: on its bed all the way", func(s *Site, w string) { s.SupplyRoute = w }),
	word("settling_box", []string{"auto", "always", "never"}, "auto", "both ways are tried", func(s *Site, w string) { s.Choices.SettlingBox = w }),
	text("land", `polygons and lines, such as "land.geojson"`, func(s *Site) *string { return &s.Land }),
	length("laying.frost_depth", "0 m", "5 m", "0 m", "the delivery pipe lies on the ground; where it freezes in the ground, say how deep", func(s *Site) *float64 { return &s.Laying.FrostDepthM }),
	length("laying.trench_width", "0.05 m", "2 m", "0.3 m", "a spade and a half; common practice, no source", func(s *Site) *float64 { return &s.Laying.TrenchWidthM }),
	number("laying.slope_15_to_30", quantity.Ratio, "0.1", "100", "1.3", "times the work on gentle ground; common practice, no source", func(s *Site) *float64 { return &s.Laying.Slope15 }),
	number("laying.slope_30_to_60", quantity.Ratio, "0.1", "100", "2", "times the work on gentle ground; common practice, no source", func(s *Site) *float64 { return &s.Laying.Slope30 }),
	number("laying.slope_over_60", quantity.Ratio, "0.1", "100", "4", "times the work on gentle ground; common practice, no source", func(s *Site) *float64 { return &s.Laying.Slope60 }),
	number("laying.slope.max", quantity.Ratio, "1 %", "1000 %", "", "", func(s *Site) *float64 { return &s.Laying.SteepestGrade }),
	number("laying.rock", quantity.Ratio, "0.1", "100", "3", "times the work in ordinary ground; common practice, no source", func(s *Site) *float64 { return &s.Laying.Rock }),
	number("laying.woods", quantity.Ratio, "0.1", "100", "1.5", "times the work in open ground, clearing included; common practice, no source", func(s *Site) *float64 { return &s.Laying.Woods }),
	number("laying.wet", quantity.Ratio, "0.1", "100", "2", "times the work in ordinary ground; common practice, no source", func(s *Site) *float64 { return &s.Laying.Wet }),
	text("catalog", `a price list, such as "prices.csv"`, func(s *Site) *string { return &s.Catalog }),
	text("currency", `a currency, such as "USD"`, func(s *Site) *string { return &s.Currency }),
	number("pipe_waste", quantity.Ratio, "0 %", "50 %", "5 %", "cuts and laying; common practice, no source", func(s *Site) *float64 { return &s.PipeWaste }),
	number("contingency", quantity.Ratio, "0 %", "100 %", "10 %", "for what was forgotten; common practice, no source", func(s *Site) *float64 { return &s.Contingency }),
	number("water_temperature", quantity.Temperature, "0 °C", "40 °C", "10 °C", "a cool creek", func(s *Site) *float64 { return &s.TemperatureK }),
	length("altitude", "-400 m", "6000 m", "", "", func(s *Site) *float64 { return &s.AltitudeM }),
	length("place_step", "0.1 m", "100 m", "2 m", "how far apart along the creek places are tried; a crew sets out to a metre or two", func(s *Site) *float64 { return &s.PlaceStepM }),
	whole("front", 0, 40, "8", "for how many demands the least cost is worked out, up to the most water; 0 leaves it out", func(s *Site, n int) { s.FrontPoints = n }),
	whole("layouts", 1, 50, "5", "how many different layouts are shown", func(s *Site, n int) { s.Layouts = n }),
	whole("replans", 0, 10000, "100", "how often the plan is made again on terrain that errs, to find out what the search claims too much; 0 leaves it out", func(s *Site, n int) { s.Replans = n }),
	number("price_spread", quantity.Ratio, "0 %", "100 %", "10 %", "standard deviation of what prices move by until the day of buying; common practice, no source", func(s *Site) *float64 { return &s.PriceSpread }),
	number("crew_hour", quantity.Ratio, "0", "100000", "25", "what an hour of measuring costs in the currency of the prices; readings that are worth less are not named; common practice, no source", func(s *Site) *float64 { return &s.HourCost }),
	whole("seed", 0, math.MaxInt32, "1", "of the random draws; the same seed gives the same plan", func(s *Site, n int) { s.Seed = uint64(n) }),
}

// lists holds the keys whose value is a list of words.
var lists = map[string]func(s *Site) *[]string{
	"terrain":        func(s *Site) *[]string { return &s.Terrain },
	"pipes.supply":   func(s *Site) *[]string { return &s.Choices.Supply },
	"pipes.drive":    func(s *Site) *[]string { return &s.Choices.Drive },
	"pipes.delivery": func(s *Site) *[]string { return &s.Choices.Delivery },
	"pipes.pumps":    func(s *Site) *[]string { return &s.Choices.Pumps },
}

func text(path, want string, field func(*Site) *string) key {
	return key{path: path, want: want, set: func(s *Site, t string) error {
		if strings.TrimSpace(t) == "" {
			return fmt.Errorf("is empty; expected %s", want)
		}
		*field(s) = t
		return nil
	}}
}

func word(path string, words []string, fallback, why string, set func(*Site, string)) key {
	want := "one of " + strings.Join(words, ", ")
	return key{path: path, want: want, fallback: fallback, why: why, set: func(s *Site, t string) error {
		if !slices.Contains(words, t) {
			return fmt.Errorf("%q is not known; expected %s", t, want)
		}
		set(s, t)
		return nil
	}}
}

func length(path, least, most, fallback, why string, field func(*Site) *float64) key {
	return number(path, quantity.Length, least, most, fallback, why, field)
}

// number makes the key of a quantity that must lie between two others, given
// in words so that a message can repeat them.
func number(path string, d quantity.Dimension, least, most, fallback, why string, field func(*Site) *float64) key {
	parse := func(t string) (float64, error) {
		if d == quantity.Ratio {
			// A ratio such as a lift ratio needs no unit; a share may carry %.
			if v, err := strconv.ParseFloat(t, 64); err == nil {
				return v, nil
			}
		}
		return quantity.Parse(d, t)
	}
	min, errMin := parse(least)
	max, errMax := parse(most)
	if errMin != nil || errMax != nil {
		panic("plan: the bounds of " + path + " do not parse")
	}
	want := fmt.Sprintf("a value from %q to %q", least, most)
	var in func(quantity.System, string) string
	if d != quantity.Ratio {
		in = func(units quantity.System, t string) string {
			v, err := parse(t)
			if err != nil {
				return t
			}
			return quantity.Format(units, d, v)
		}
	}
	return key{path: path, want: want, fallback: fallback, why: why, in: in, set: func(s *Site, t string) error {
		v, err := parse(t)
		if err != nil {
			return err
		}
		if !(v >= min && v <= max) {
			return fmt.Errorf("%q is out of range; expected %s", t, want)
		}
		*field(s) = v
		return nil
	}}
}

// replacing makes a key whose value takes the place of something that was said
// in another form.
func replacing(k key, forget func(*Site)) key {
	set := k.set
	k.set = func(s *Site, t string) error {
		err := set(s, t)
		if err == nil {
			forget(s)
		}
		return err
	}
	return k
}

func degrees(path string, most float64, field func(*Site) *float64) key {
	want := fmt.Sprintf("decimal degrees from -%g to %g", most, most)
	return key{path: path, want: want, set: func(s *Site, t string) error {
		v, err := strconv.ParseFloat(t, 64)
		if err != nil || !(math.Abs(v) <= most) {
			return fmt.Errorf("%q is not a coordinate; expected %s", t, want)
		}
		*field(s) = v
		return nil
	}}
}

func whole(path string, least, most int, fallback, why string, set func(*Site, int)) key {
	want := fmt.Sprintf("a whole number from %d to %d", least, most)
	return key{path: path, want: want, fallback: fallback, why: why, set: func(s *Site, t string) error {
		n, err := strconv.Atoi(t)
		if err != nil || n < least || n > most {
			return fmt.Errorf("%q is not possible here; expected %s", t, want)
		}
		set(s, n)
		return nil
	}}
}

// setting finds a key by its path.
func setting(path string) (key, bool) {
	i := slices.IndexFunc(settings, func(k key) bool { return k.path == path })
	if i < 0 {
		return key{}, false
	}
	return settings[i], true
}

// NewSite is a site with every usual value filled in and nothing else.
func NewSite() *Site {
	s := &Site{AltitudeM: math.NaN(), given: map[string]bool{}}
	for _, k := range settings {
		if k.fallback == "" {
			continue
		}
		if err := k.set(s, k.fallback); err != nil {
			panic("plan: the usual value of " + k.path + " is refused: " + err.Error())
		}
	}
	return s
}

// Set gives one key its value from text, as the site file would.
func (s *Site) Set(path, value string) error {
	if field, ok := lists[path]; ok {
		var words []string
		for _, w := range strings.Split(value, ",") {
			if w = strings.TrimSpace(w); w != "" {
				words = append(words, w)
			}
		}
		*field(s) = words
		s.given[path] = true
		return nil
	}
	k, ok := setting(path)
	if !ok && flowReadings[path] != nil {
		return fmt.Errorf("%s has several parts; give it in the site file", path)
	}
	if !ok {
		return fmt.Errorf("%q is not a setting%s", path, nearestKey(path))
	}
	if err := k.set(s, value); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	s.given[path] = true
	return nil
}

// Defaults lists the usual values that this site did not replace.
func (s *Site) Defaults() []Default {
	var used []Default
	for _, k := range settings {
		if k.fallback == "" || s.given[k.path] {
			continue
		}
		value := k.fallback
		if k.in != nil {
			value = k.in(s.Units, value)
		}
		used = append(used, Default{Key: k.path, Value: value, Why: k.why})
	}
	return used
}

// nearestKey suggests the key that was probably meant.
func nearestKey(path string) string {
	best, least := "", 4
	for _, candidate := range knownKeys() {
		if d := editDistance(path, candidate); d < least {
			best, least = candidate, d
		}
	}
	if best == "" {
		return ""
	}
	return fmt.Sprintf("; did you mean %q?", best)
}

// knownKeys lists every dotted key.
func knownKeys() []string {
	var paths []string
	for _, k := range settings {
		paths = append(paths, k.path)
	}
	for path := range lists {
		paths = append(paths, path)
	}
	for path := range flowReadings {
		paths = append(paths, path)
	}
	paths = append(paths, "field")
	slices.Sort(paths)
	return paths
}

// editDistance is the least number of letters to insert, delete or replace.
func editDistance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diagonal := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := diagonal
			if a[i-1] != b[j-1] {
				cost++
			}
			diagonal = row[j]
			row[j] = min(cost, row[j]+1, row[j-1]+1)
		}
	}
	return row[len(b)]
}
