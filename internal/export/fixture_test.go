package export

import (
	"fmt"
	"math"
	"sort"
	"strings"
	"sync"

	"github.com/paulmach/orb"

	"route/internal/plan"
	"route/internal/terrain"
)

// The plan drawn here is invented: a creek of 2 % in open ocean with three
// layouts. Nothing in it was computed by the program; it only has to look like
// an answer and to be consistent in itself (levels, falls, sums).
const (
	fixtureLon, fixtureLat = -150.25, 0.0123
	metresPerLon           = 111319.49
	metresPerLat           = 110574.0
)

func fixtureLonLat(e, n float64) (plan.Degrees, plan.Degrees) {
	return plan.Degrees(fixtureLon + e/metresPerLon), plan.Degrees(fixtureLat + n/metresPerLat)
}

// bend is the northing of the creek at an easting.
func bend(e float64) float64 { return 14*math.Sin(e/27) + 5*math.Sin(e/11+1) }

// slopeOf is the ground: a valley with a bench on its northern side.
func slopeOf(e, n float64) float64 {
	d := n - bend(e)
	// The bed lies a little under the water line where the creek runs.
	creek := fixtureCreekLine()
	i := min(sort.Search(len(creek), func(i int) bool { return creek[i].e >= e }), len(creek)-1)
	bed := creek[i].z - 0.1
	rise := 21 * (1 - math.Exp(-(d/60)*(d/60)))
	if d < 0 {
		rise *= 0.6
	}
	return bed + rise + 0.25*math.Sin(e/7)*math.Sin(n/9)*(1-math.Exp(-d*d/200))
}

// creekPoint is a place on the creek.
type creekPoint struct{ s, e, n, z float64 }

// walkCreek gives a point every metre along the creek.
func walkCreek(length int) []creekPoint {
	var points []creekPoint
	s, e, n, next := 0.0, 0.0, bend(0), 0.0
	for len(points) <= length {
		if s >= next {
			// A fall of 2 % with a pool and a riffle every 30 m; the slope of
			// the sine stays below that of the line, so the bed never rises.
			points = append(points, creekPoint{next, e, n, 131.6 - 0.02*(next+4*math.Sin(2*math.Pi*next/30))})
			next++
		}
		e2 := e + 0.01
		n2 := bend(e2)
		s += math.Hypot(e2-e, n2-n)
		e, n = e2, n2
	}
	return points
}

// fixtureCreekLine is worked out once.
var fixtureCreekLine = sync.OnceValue(func() []creekPoint { return walkCreek(700) })

// noise is a fixed, patternless number between -1 and 1.
func noise(i int) float64 {
	x := uint32(i)*2654435761 + 12345
	x ^= x >> 15
	x *= 2246822519
	x ^= x >> 13
	return float64(x%2001)/1000 - 1
}

func number(v float64) plan.Number { return plan.Number(math.Round(v*1e4) / 1e4) }

// fixturePlan builds the invented plan in the given units.
func fixturePlan(units string) *plan.Plan {
	creek := fixtureCreekLine()[:621]
	points := 143
	p := &plan.Plan{
		Format: plan.Format, ToolVersion: "0.0-test", Site: "Fernhollow", Seed: 7, Units: units, Objective: "least_cost", Certainty: 0.9,
		Demand: 1500, Take: 3.2, LowFlow: 8, LowFlowSigma: 0.4, UsualFlow: 20, TankVolume: 3000,
		DemandUses: []plan.PlanUse{
			{Use: "people", Count: 6, Per: "person", Each: 50, Source: "UNDP Human Development Report 2006"},
			{Use: "garden", Count: 150, Per: "m²", Each: 4, Source: "common practice, no source"},
			{Use: "guests", Count: 5, Per: "", Each: 120, Source: "the site file"},
		},
		Frame: plan.Frame{PROJ: "+proj=tmerc +lat_0=0.0123 +lon_0=-150.25 +k_0=1.00002 +ellps=WGS84 +units=m", UTM: "EPSG:32606", Grid: "EPSG:32606", GridName: "UTM zone 6N (EPSG:32606)", GridUnit: "metre", GridUnitM: 1},
		Inputs: []plan.Input{
			{Path: "ground.tif", Role: "terrain", SHA256: strings.Repeat("3f9a01bc", 8), CRS: "EPSG:32606", VerticalUnit: "m", VerticalDatum: "", CellM: 1, CellText: "1 m", AccuracyClass: "lidar, 1 m", AccuracyWhy: "cell size of 1 m and no statement of accuracy"},
			{Path: "creek.gpx", Role: "creek", SHA256: strings.Repeat("c0ffee42", 8), CRS: "EPSG:4326", CellM: plan.Unknown, Points: &points},
		},
		WorksCited: []string{
			"C. F. Colebrook, Turbulent Flow in Pipes, J. Inst. Civ. Eng. 11 (1939) 133-156",
			"N. Joukowsky, Über den hydraulischen Stoss in Wasserleitungsröhren (1898)",
		},
		Defaults: []plan.Default{
			{Key: "water_temperature", Value: "50 °F", Why: "usual for creeks"},
			{Key: "limits.drive_pipe_length.max", Value: "100 ft", Why: "common practice of installers of small pumps"},
			{Key: "waste", Value: "5 %", Why: "for cuts and bends"},
		},
		Replans: 100,
		Catalog: "built-in list; its prices are invented",
		Messages: []plan.Message{
			{Level: "note", Code: "prices_invented", Text: "the prices are those of the built-in list, which are invented", Hint: "give your own: catalog: prices.csv", StationM: plan.Unknown},
			{Level: "warning", Code: "creek_bridged", Text: "the creek runs under a bridge or a road fill at 640 ft", Hint: "measure the fall there", StationM: 196},
		},
		Visits: []plan.Visit{{
			Rank: 1, Instrument: "hose", SetUps: 3, SigmaM: 0.026, Hours: 0.7, DropM: 2.4, DropSigmaM: 0.11,
			From:  plan.VisitPlace{Name: "the intake of layout A", Place: plan.Place{StationM: 60, Lon: fixtureLon + 0.0005, Lat: fixtureLat, EastingM: 1, NorthM: 2, GroundM: 130.4}},
			To:    plan.VisitPlace{Name: "the pump of layout A", Place: plan.Place{StationM: 120, Lon: fixtureLon + 0.001, Lat: fixtureLat, EastingM: 3, NorthM: 4, GroundM: 128}},
			Value: 34.6, ValueUnit: "USD", ValuePerHour: 49.4, Money: 34.6, Cost: 17.5, ChanceChanges: 0.21,
			Outcomes: []plan.VisitOutcome{{FromM: plan.Unknown, ToM: 2.31, Layout: "B", Chance: 0.21}, {FromM: 2.31, ToM: plan.Unknown, Layout: "A", Chance: 0.79}},
			Text:     "hose-level the drop of the water from the intake of layout A to the pump of layout A: below 2.31 m take layout B, above 2.31 m stay with layout A",
		}},
		Rejected: []plan.Rejected{
			{Reason: "drive_head_too_small", Text: "too little drive head within the longest drive pipe", Count: 412, Nearest: plan.Nearest{StationM: 96, Value: 0.86, Limit: 0.9144, Unit: "m"}},
			{Reason: "standpipe_too_high", Text: "standpipe higher than allowed", Count: 55, Nearest: plan.Nearest{StationM: 301, Value: 2.61, Limit: 2.4384, Unit: "m"}},
		},
		Reaches: []plan.Reach{
			{FromM: 0, ToM: 100, DriveHeadM: 0.86, DeliveredLDay: plan.Unknown, Reason: "drive_head_too_small", Text: "too little drive head: not enough creek above"},
			{FromM: 100, ToM: 200, Layout: "A", DriveHeadM: 2.2, DeliveredLDay: 1730, Text: "pump of layout A"},
			{FromM: 200, ToM: 400, DriveHeadM: 2.4, DeliveredLDay: 1510, Text: "works, but needs 130 ft more delivery pipe"},
			{FromM: 400, ToM: 620, DriveHeadM: 2.4, DeliveredLDay: plan.Unknown, Reason: "tank_too_far", Text: "the tank is out of reach"},
		},
	}
	p.Creek = fixtureCreek(creek)
	p.Layouts = []plan.Layout{
		fixtureLayout(creek, 20, 140, 168, true, false),
		fixtureLayout(creek, 143, 143, 171, false, false),
		fixtureLayout(creek, 38, 150, 176, false, true),
	}
	for i := range p.Layouts {
		l := &p.Layouts[i]
		l.ID, l.Rank = string(rune('A'+i)), i+1
		l.Objective = []string{"least_cost", "most_head", "most_water"}[i]
		l.BestAt = [][]string{{"least_cost"}, nil, {"most_head", "most_water"}}[i]
		l.Why = []string{
			"The cheapest that brings the water that is wanted.",
			"No supply pipe at all; it lifts little.",
			"A settling box in place of the standpipe, and more water.",
		}[i]
		l.Stakes = fixtureStakes(l)
	}
	p.Layouts[0].Messages = []plan.Message{{Level: "warning", Code: "drive_head_uncertain", Text: "the drive head is known to a fifth only", Hint: "level it before buying", StationM: 168}}
	p.Relief = fixtureRelief()
	return p
}

func fixtureCreek(creek []creekPoint) plan.Creek {
	c := plan.Creek{LengthM: number(creek[len(creek)-1].s), FallM: number(creek[0].z - creek[len(creek)-1].z)}
	for i, q := range creek {
		lon, lat := fixtureLonLat(q.e, q.n)
		s := plan.CreekStation{
			StationM: number(q.s), Lon: lon, Lat: lat, ZM: number(q.z), ZSigmaM: 0.11,
			LowM: number(q.z - 0.1 - 0.05*math.Abs(noise(i/9))), HighM: number(q.z + 0.1 + 0.07*math.Abs(noise(i/7))),
			RawM: number(q.z + 0.14*noise(i) + 0.05), Flags: []string{},
		}
		switch {
		case i >= 190 && i <= 197:
			s.RawM += 1.8
			s.Flags = []string{"bridge"}
		case i >= 98 && i <= 104:
			s.RawM = plan.Unknown
			s.ZSigmaM = 0.2
			s.Flags = []string{"void"}
		}
		c.Stations = append(c.Stations, s)
	}
	return c
}

// fixtureVertex is a point of a pipe.
func fixtureVertex(e, n, station, invert, grade float64) plan.Vertex {
	lon, lat := fixtureLonLat(e, n)
	return plan.Vertex{Lon: lon, Lat: lat, EastingM: number(583000 + e), NorthM: number(1360 + n), StationM: number(station),
		GroundM: number(slopeOf(e, n)), InvertM: number(invert), GradeM: number(grade)}
}

// measureAlong fills in the distances along the slope and gives the whole.
func measureAlong(path []plan.Vertex) plan.Number {
	total := 0.0
	for i := 1; i < len(path); i++ {
		a, b := path[i-1], path[i]
		flat := math.Hypot(float64(b.EastingM-a.EastingM), float64(b.NorthM-a.NorthM))
		total += math.Hypot(flat, float64(b.InvertM-a.InvertM))
		path[i].AlongM = number(total)
	}
	return path[len(path)-1].AlongM
}

func fixturePlace(q creekPoint, ground float64) plan.Place {
	lon, lat := fixtureLonLat(q.e, q.n)
	return plan.Place{StationM: number(q.s), Lon: lon, Lat: lat, EastingM: number(583000 + q.e), NorthM: number(1360 + q.n), GroundM: number(ground)}
}

// fixtureLayout lays pipes from one station of the creek over a second to a
// third, and on to the tank.
func fixtureLayout(creek []creekPoint, from, head, pump int, standpipe, box bool) plan.Layout {
	in, up, down := creek[from], creek[head], creek[pump]
	l := plan.Layout{DriveFlowLMin: 168, DeliveredLMin: 1.2014, DeliveredLDay: 1730, DeliveredLDayLow: 1310, DeliveredLDayHigh: 2120,
		BeatsPerMin: 54, Efficiency: 0.61, EfficiencyRankine: 0.57, LiftRatio: 8.6, Mu: 4.4, ClosingVelocityMS: 1.31, ShutoffHeadM: 161,
		CreekLeftShare: 0.65, TunedUpFlowLMin: 240, TunedUpLDay: 2100, ChanceWorks: 0.83, DriveHeadSigmaM: 0.24, DeliveredLDayCorrected: 1650, DeliveredLDaySure: 1510, DeliveredLDayDrawn: 1310,
		Chances: plan.Chances{DriveHead: 0.99, Standpipe: plan.Unknown, Flow: 1, Pump: 0.98, Demand: 0.84}}
	l.Intake = plan.Intake{Place: fixturePlace(in, in.z-0.2), WaterM: number(in.z), ScreenAreaM2: 0.1148, SubmergenceM: 0.2596}
	l.Starting = plan.Starting{FillS: 134.6, StrokesLow: 0.4, StrokesHigh: 31.2, FirstWaterS: 6360}
	restarts := standpipe
	l.StuckOpen = plan.StuckOpen{LevelM: number(in.z - 1.4), FlowLMin: 231, Restarts: &restarts}
	source := in.z
	if head > from {
		l.Supply = fixtureSupply(creek, from, head)
		path := l.Supply.Path
		source = float64(path[len(path)-1].GradeM)
	}
	if box {
		l.SettlingBox = &plan.SettlingBox{Place: fixturePlace(up, up.z-0.1), WaterM: number(source), AlongM: l.Supply.LengthM, AreaM2: 0.289, VolumeM3: 0.84}
	}
	if standpipe {
		l.Standpipe = &plan.Standpipe{Place: fixturePlace(up, up.z), HeightM: 2.4384, StaticLevelM: number(in.z), RunningLevelM: number(source), InsideM: 0.1023, Size: "4 in", RippleM: 0.086, SurgeM: 0.74}
	}
	outlet := down.z + 0.25
	l.Pump = plan.Pump{Place: fixturePlace(down, down.z+0.05), OutletM: number(outlet), Count: 1, Model: "2 in ram", ThrustN: 3417}
	l.DriveHeadM = number(source - outlet)
	l.DriveHeadCorrectedM, l.DriveHeadSureM = l.DriveHeadM-0.06, l.DriveHeadM-0.28
	if standpipe {
		l.Chances.Standpipe = 0.93
	}
	l.Drive = plan.Drive{}
	l.Drive.PipeRun = plan.PipeRun{Item: "steel-2", Material: "Galvanised steel", Size: "2 in", Standard: "ASTM A53 Sch 40", InsideM: 0.0525, LossM: plan.Unknown, LengthSigmaM: 0.6,
		FlowLS: 2.8, VelocityMS: 1.29, PressureM: 178, RatingM: 700}
	for k := range 6 {
		t := float64(k) / 5
		l.Drive.Path = append(l.Drive.Path, fixtureVertex(up.e+t*(down.e-up.e), up.n+t*(down.n-up.n), up.s+t*(down.s-up.s), up.z-0.1+t*(outlet-up.z+0.1), source))
	}
	l.Drive.LengthM = measureAlong(l.Drive.Path)
	l.Drive.FallM = l.Drive.Path[0].InvertM - l.Drive.Path[5].InvertM
	l.Drive.LengthToDiameter, l.Drive.LengthToHead = l.Drive.LengthM/l.Drive.InsideM, l.Drive.LengthM/l.DriveHeadM
	fixtureDelivery(&l, down, outlet)
	fixtureCost(&l)
	enough := true
	l.PipeChoices = []plan.PipeChoice{
		{Run: "delivery", Item: "pe-34", Material: "Polyethylene", Size: "3/4 in", Standard: "ASTM D2239 SIDR 9", InsideM: 0.0209, RatingM: 112, Enough: &enough, LossM: 2.3, Planned: true, Total: l.Cost.Total, More: "0.00"},
		{Run: "delivery", Item: "pe-34-7", Material: "Polyethylene", Size: "3/4 in", Standard: "ASTM D2239 SIDR 7", InsideM: 0.0209, RatingM: plan.Unknown, LossM: 2.3, Total: l.Cost.Total + "9", More: "12.50"},
	}
	l.Labour = []plan.LabourLine{{Task: "delivery pipe", Quantity: 105.2, Unit: "m", PerUnit: 0.05, Hours: 5.26, Source: "common practice, no source"}}
	l.LabourHours = 5.26
	return l
}

// fixtureSupply follows the creek for two thirds and then cuts across a bend.
func fixtureSupply(creek []creekPoint, from, to int) *plan.Supply {
	s := &plan.Supply{Route: "creek"}
	s.PipeRun = plan.PipeRun{Item: "pe-2", Material: "Polyethylene", Size: "2 in", Standard: "ASTM D2239 SIDR 15", InsideM: 0.0525, FlowLS: 2.8, VelocityMS: 1.29, PressureM: 3, RatingM: 70, LengthSigmaM: 1.1}
	leave := from + 2*(to-from)/3
	lower := creek[to]
	grade := func(done float64) float64 { return creek[from].z - 0.05 - 0.0075*done }
	for i := from; i < leave; i += 4 {
		q := creek[i]
		s.Path = append(s.Path, fixtureVertex(q.e, q.n, q.s, min(q.z-0.2, creek[from].z-0.2), grade(q.s-creek[from].s)))
	}
	a := creek[leave]
	for k := range 7 {
		t := float64(k) / 6
		station := math.NaN() // away from the creek
		if k == 0 {
			station = a.s
		}
		if k == 6 {
			station = lower.s
		}
		s.Path = append(s.Path, fixtureVertex(a.e+t*(lower.e-a.e), a.n+t*(lower.n-a.n), station,
			a.z-0.2+t*(lower.z-0.1-a.z+0.2), grade(a.s-creek[from].s+t*(lower.s-a.s)*0.8)))
	}
	s.LengthM = measureAlong(s.Path)
	s.LossM = s.Path[0].GradeM - s.Path[len(s.Path)-1].GradeM + 0.05
	return s
}

func fixtureDelivery(l *plan.Layout, down creekPoint, outlet float64) {
	tankE, tankN := 150.0, 96.0
	ground := slopeOf(tankE, tankN)
	lon, lat := fixtureLonLat(tankE, tankN)
	l.Tank = plan.Tank{Place: plan.Place{StationM: plan.Unknown, Lon: lon, Lat: lat, EastingM: number(583000 + tankE), NorthM: number(1360 + tankN), GroundM: number(ground)}, InletM: number(ground + 1.8288)}
	d := plan.Delivery{LiftM: l.Tank.InletM - number(outlet), LiftSigmaM: 0.2, Vents: []plan.Number{31.2}, Drains: []plan.Number{12.4, 40}, ShutM: 161, BendThrustN: 240}
	loss := 2.3
	d.PipeRun = plan.PipeRun{Item: "pe-34", Material: "Polyethylene", Size: "3/4 in", Standard: "ASTM D2239 SIDR 9", InsideM: 0.0209, LossM: number(loss), LengthSigmaM: 2.3, FlowLS: 0.02, VelocityMS: 0.058,
		PressureM: number(float64(d.LiftM) + loss), RatingM: 112}
	for k := range 13 {
		t := float64(k) / 12
		e, n := down.e+t*(tankE-down.e)+9*math.Sin(3*t), down.n+t*(tankN-down.n)
		if k == 12 {
			e, n = tankE, tankN
		}
		invert := slopeOf(e, n) - 0.3
		if k == 0 {
			invert = outlet
		}
		if k == 12 {
			invert = float64(l.Tank.InletM)
		}
		v := fixtureVertex(e, n, math.NaN(), invert, float64(l.Tank.InletM)+(1-t)*loss)
		d.Path = append(d.Path, v)
		d.CrestM = max(d.CrestM, v.GroundM)
	}
	d.LengthM = measureAlong(d.Path)
	l.Delivery = d
}

func fixtureCost(l *plan.Layout) {
	cents := func(v int64) plan.Decimal { return plan.Decimal(fmt.Sprintf("%d.%02d", v/100, v%100)) }
	sums := map[string]int64{}
	total := int64(0)
	add := func(group, item, name, where, unit string, need plan.Number, needUnit string, packM float64, packs, price int64) {
		l.Takeoff = append(l.Takeoff, plan.TakeoffLine{Item: item, Name: name, Group: group, Where: where, Need: need, NeedUnit: needUnit,
			Packs: packs, Unit: unit, Kind: map[bool]string{true: "pipe", false: "fitting"}[needUnit == "m"], PackM: number(packM), Price: cents(price), Amount: cents(price * packs)})
		sums[group] += price * packs
		total += price * packs
	}
	each := math.NaN()
	if l.Supply != nil {
		add("supply", "pe-2-100", "PE pipe SIDR 15, 2 in, 100 ft coil", "intake to standpipe", "coil", l.Supply.LengthM, "m", 30.48, int64(l.Supply.LengthM/30.48)+1, 14250)
		add("supply", "screen-3", "Intake screen, 3 in", "intake", "each", 1, "each", each, 1, 4875)
	}
	if l.SettlingBox != nil {
		add("other", "box-50", "Settling box, 50 gal", "head of the drive pipe", "each", 1, "each", each, 1, 9950)
	}
	add("drive", "steel-2-21", "Steel pipe Sch 40, 2 in, 21 ft stick", "standpipe to pump", "stick", l.Drive.LengthM, "m", 6.4008, int64(l.Drive.LengthM/6.4008)+1, 11899)
	add("drive", "coupling-2", "Coupling, 2 in", "between sticks", "each", 4, "each", each, 4, 1205)
	add("delivery", "pe-34-300", "PE pipe SIDR 9, 3/4 in, 300 ft coil", "pump to tank", "coil", l.Delivery.LengthM, "m", 91.44, int64(l.Delivery.LengthM/91.44)+1, 12700)
	add("other", "ram-2", "Ram pump, 2 in", "pump site", "each", 1, "each", each, 1, 98500)
	l.Cost = plan.Cost{Currency: "USD", Supply: cents(sums["supply"]), Drive: cents(sums["drive"]), Delivery: cents(sums["delivery"]), Other: cents(sums["other"]), Total: cents(total), Low: number(float64(total / 100 * 9 / 10)), High: number(float64(total / 100 * 12 / 10))}
}

// fixtureStakes sets a peg at the places and at every fourth vertex.
func fixtureStakes(l *plan.Layout) []plan.Stake {
	var stakes []plan.Stake
	along := plan.Number(0)
	add := func(label, role string, at plan.Place, alongM, invert plan.Number, task string) {
		s := plan.Stake{Label: label, Role: role, Place: at, AlongM: alongM, InvertM: invert, FallIntakeM: l.Intake.WaterM - invert, CutM: at.GroundM - invert, GridE: at.EastingM, GridN: at.NorthM, Do: task}
		if role == "pump" {
			s.Check = &plan.StakeCheck{Of: "waste valve outlet", From: "the water mark of the standpipe", BelowM: l.DriveHeadM, LowM: l.DriveHeadM - 0.3, HighM: plan.Unknown, LowWhy: "less water than wanted",
				Text: "waste valve outlet below the water mark of the standpipe by the drive head; accept a foot less (less: less water than wanted)"}
		}
		s.FallLastM = s.FallIntakeM
		if n := len(stakes); n > 0 {
			s.FallLastM = stakes[n-1].InvertM - invert
		}
		stakes = append(stakes, s)
	}
	pipe := func(letter string, run pipeRun) {
		for i := 4; i < len(run.Path)-1; i += 4 {
			v := run.Path[i]
			add(fmt.Sprintf("%s%d", letter, i/4), run.role, plan.Place{StationM: v.StationM, Lon: v.Lon, Lat: v.Lat, EastingM: v.EastingM, NorthM: v.NorthM, GroundM: v.GroundM},
				along+v.AlongM, v.InvertM, run.name+"; must fall from the stake above")
		}
		along += run.LengthM
	}
	all := runs(l)
	add("INTAKE", "intake", l.Intake.Place, 0, all[0].Path[0].InvertM, "Screened pipe end, fully under water in the pool")
	for _, run := range all {
		pipe(map[string]string{"supply": "S", "drive": "D", "delivery": "L"}[run.role], run)
		switch run.role {
		case "supply":
			if l.SettlingBox != nil {
				add("BOX", "settling_box", l.SettlingBox.Place, along, l.SettlingBox.WaterM, "Settling box")
			}
			if l.Standpipe != nil {
				add("STANDPIPE", "standpipe", l.Standpipe.Place, along, l.Drive.Path[0].InvertM, "Standpipe")
			}
		case "drive":
			add("PUMP", "pump", l.Pump.Place, along, l.Pump.OutletM, "Waste valve outlet at this level")
		case "delivery":
			add("TANK", "tank", l.Tank.Place, along, l.Tank.InletM, "Tank inlet at this level, with an air gap")
		}
	}
	return stakes
}

var fixtureRelief = sync.OnceValue(func() *plan.Relief {
	const cell = 2.0
	r := &plan.Relief{West: -20, South: -60, Cols: 120, Rows: 90,
		ToFrame: func(lon, lat float64) (float64, float64) {
			return (lon - fixtureLon) * metresPerLon, (lat - fixtureLat) * metresPerLat
		}}
	r.East, r.North = r.West+cell*float64(r.Cols), r.South+cell*float64(r.Rows)
	for row := range r.Rows {
		for col := range r.Cols {
			e, n := r.West+cell*(float64(col)+0.5), r.North-cell*(float64(row)+0.5)
			z := slopeOf(e, n)
			if col > 108 && row > 80 {
				z = math.NaN()
			}
			r.Z = append(r.Z, float32(z))
			light := (slopeOf(e+1, n) - slopeOf(e-1, n)) - (slopeOf(e, n+1) - slopeOf(e, n-1))
			r.Shade = append(r.Shade, uint8(min(255, max(0, 180+150*light))))
		}
	}
	r.Contours = terrain.Contours(&terrain.Grid{Bound: orb.Bound{Min: orb.Point{r.West, r.South}, Max: orb.Point{r.East, r.North}}, CellM: cell, Cols: r.Cols, Rows: r.Rows, Z: r.Z}, 5*0.3048)
	return r
})

// fixtureWithoutLayouts is a plan whose answer is that nothing works.
func fixtureWithoutLayouts() *plan.Plan {
	p := fixturePlan("si")
	p.Layouts = nil
	p.Messages = append(p.Messages, plan.Message{Level: "error", Code: "no_feasible_layout", Text: "2.5 m of head within reach, 3 m needed", Hint: "36 m more supply pipe or an intake 1.2 m higher would do", StationM: plan.Unknown})
	return p
}
