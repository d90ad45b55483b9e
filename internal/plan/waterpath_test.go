package plan

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"route/internal/catalog"
	"route/internal/finding"
	"route/internal/hydraulics"
	"route/internal/optimize"
	"route/internal/quantity"
	"route/internal/terrain"
)

// laid makes a laid line of points given as distance and invert, due east.
func laid(points ...[2]float64) []Vertex {
	var path []Vertex
	along := 0.0
	for i, p := range points {
		if i > 0 {
			along += math.Hypot(p[0]-points[i-1][0], p[1]-points[i-1][1])
		}
		path = append(path, Vertex{AlongM: Number(along), StationM: Number(p[0]), EastingM: Number(p[0]), NorthM: 0, InvertM: Number(p[1]), GroundM: Number(p[1])})
	}
	return path
}

// waterworks is a layout with round figures: a pool at 20.5 m, a supply pipe of
// 50 mm that lies level between 10 and 30 m, a settling box at 10 m, a
// standpipe of 150 mm at 50 m, a pump at 15 m, a tank at 45 m beyond a hump.
func waterworks(t *testing.T, flow float64) *grader {
	t.Helper()
	fluid, err := hydraulics.Water(283.15, 0)
	if err != nil {
		t.Fatal(err)
	}
	steel, err := hydraulics.ProductByName("steel Sch 40 2 in")
	if err != nil {
		t.Fatal(err)
	}
	wide := hydraulics.Product{Pipe: hydraulics.Pipe{Inside: 0.05, Roughness: 1.5e-6}}
	site := NewSite()
	site.LowFlow, site.UsualFlow = 0.01, 0.02
	g := &grader{
		job:        &job{site: site, fluid: fluid, problem: optimize.Problem{TankInletM: 45}, plan: &Plan{}},
		c:          &optimize.Candidate{Flow: flow, Standpipe: 3, StandpipeWaterM: 1, StaticLevelM: 19.9, RunningLevelM: 19.3, OutletM: 15, DriveHeadM: 4.3, DriveM: 20, SupplyM: 50, Layout: catalog.Layout{Pumps: 1}},
		supplyPipe: &catalog.Item{Pipe: &wide}, drivePipe: &catalog.Item{Pipe: &steel}, deliveryPipe: &catalog.Item{Pipe: &hydraulics.Product{Pipe: hydraulics.Pipe{Inside: 0.02, Roughness: 1.5e-6}}},
		ram: hydraulics.DefaultRam(steel.Pipe.Inside),
		operation: hydraulics.Operation{
			Duty: hydraulics.Duty{ClosingVelocity: 1, PeriodS: 1, Mu: 5, LiftRatio: 7, ShutoffHeadM: 160, DeliveredVolumeM3: 1e-4}, Pumps: 1,
			DriveTotal: flow, DeliveredTotal: 5e-5, LevelM: 4.3, DeliveryHeadM: 32,
		},
	}
	g.l.Intake = Intake{WaterM: 20.5}
	g.l.SettlingBox = &SettlingBox{WaterM: 19.9, AlongM: 10}
	g.l.Supply = &Supply{PipeRun: PipeRun{VelocityMS: Number(flow / wide.Pipe.Area()), Path: laid([2]float64{0, 19.8}, [2]float64{10, 19.5}, [2]float64{30, 19.5}, [2]float64{50, 19.3})}}
	g.l.Standpipe = &Standpipe{Place: Place{GroundM: 18.3}, HeightM: 2, StaticLevelM: 19.9, RunningLevelM: 19.3, InsideM: 0.15}
	g.l.Delivery = Delivery{PipeRun: PipeRun{VelocityMS: 0.16, Path: laid([2]float64{0, 15}, [2]float64{20, 14}, [2]float64{60, 40}, [2]float64{80, 35}, [2]float64{100, 45})}}
	g.l.Pump = Pump{OutletM: 15}
	g.route = terrain.Path{Line: make(orb.LineString, 5), LengthM: 110, CrestM: 43, HighAt: []int{2}, LowAt: []int{1, 3}}
	return g
}

// The checks of the stakes above the pump by hand. Intake: the mouth lies 0.2 m
// (limits.bed_depth) less the bore of 50 mm under water, and needs the cover of
// TestSizesOfTheWaterPath. Box: 20.5 - 19.9 = 0.6 m below the pool; up to the 0.1 m
// that it may flood less; down to where the 1 m of water in the standpipe is
// limits.standpipe_height.min, 0.3 m. Standpipe: its foot is 20.5 - 18.3 = 2.2 m
// below; the loss is 20.5 - 19.3 = 1.2 m, so that 1.5 m leave 0.3 m of water, and
// 4.05 m the 3 m of limits.standpipe_height.max less 0.15 m of freeboard.
func TestChecksAboveThePumpByHand(t *testing.T) {
	g := waterworks(t, 0.001)
	g.c.BoxDropM = 0.1
	g.l.Delivery.RatingM, g.l.Delivery.PressureM = 100, 35
	g.waterPath()
	for _, c := range []struct {
		check            *StakeCheck
		below, low, high float64
	}{
		{g.checkIntake(), 0.15, 0.13364, math.NaN()},
		{g.checkBox(), 0.6, 0.5, 1.3},
		{g.checkStandpipe(), 2.2, 1.5, 4.05},
	} {
		for _, v := range [][2]float64{{float64(c.check.BelowM), c.below}, {float64(c.check.LowM), c.low}, {float64(c.check.HighM), c.high}} {
			if !(math.Abs(v[0]-v[1]) <= 0.001 || math.IsNaN(v[0]) && math.IsNaN(v[1])) {
				t.Errorf("%+v; by hand %.3f, from %.3f to %.3f", *c.check, c.below, c.low, c.high)
				break
			}
		}
	}
}

// A pump that stands half a metre higher has that much less drive head and that
// much less lift. Where the water wanted is what the ram delivers there, and a
// tank where it is what the ram delivers a metre further up, just those are the
// bounds.
func TestBoundsOfThePumpAndTheTankByTheWaterWanted(t *testing.T) {
	g := waterworks(t, 0.0012)
	g.l.Delivery.RatingM, g.l.Delivery.PressureM = 1000, 35
	g.l.Tank.InletM = 45
	delivered := func(lower, higherTank float64) float64 {
		duty, err := g.ram.TunedTo(g.fluid, g.drivePipe.Pipe.Pipe, 20, 4.3-lower, 32-lower+higherTank, 0.0012, pumpTuning)
		if err != nil {
			t.Fatal(err)
		}
		return duty.DeliveredFlow
	}
	g.operation.DeliveredTotal = delivered(0, 0)
	g.site.Demand = delivered(0.5, 0)
	if c := g.checkPump(); c == nil || math.Abs(float64(c.LowM)-3.8) > 0.001 || c.LowWhy != "less water than wanted" {
		t.Errorf("%+v, want a least drop of 3.8 m for the water", c)
	}
	g.site.Demand = delivered(0, 1)
	if c := g.checkTankInlet(); c == nil || math.Abs(float64(c.LowM)+31) > 0.001 || c.LowWhy != "less water than wanted" {
		t.Errorf("%+v, want a greatest rise of 31 m for the water", c)
	}
}

func near(t *testing.T, what string, got Number, want, share float64) {
	t.Helper()
	if !(math.Abs(float64(got)-want) <= share*math.Abs(want)) {
		t.Errorf("%s is %v, want %v", what, got, want)
	}
}

// By hand at 1 L/s. Screen: 0.2 ft/s (NMFS, passive) through 40 % open
// (NRCS TN 6): 0.001/0.06096/0.4 m². Cover: D(1+2.3·V/√(gD)) (ANSI/HI 9.8) with
// V = 0.50930 m/s and √(gD) = 0.70023 m/s. Box: half the 0.019386 m/s that
// Ferguson & Church (2004) give 0.2 mm at ν = 1.3074e-6 m²/s, and 300 s.
// Standpipe: Q·T/(πD²), and V·√(L·A/(g·A_s)) (mass oscillation, frictionless)
// with A = 1.96350e-3 m², A_s = 1.76715e-2 m². Pump: p·A with 160 m, 999.70
// kg/m³ (Kell 1975) and the 2.067 in of 2 in Sch 40 pipe (ASME B36.10).
func TestSizesOfTheWaterPath(t *testing.T) {
	g := waterworks(t, 0.001)
	found := g.waterPath()
	l := &g.l
	near(t, "the screen", l.Intake.ScreenAreaM2, 0.041010, 1e-4)
	near(t, "the cover of water", l.Intake.SubmergenceM, 0.133640, 1e-4)
	near(t, "the box's surface", l.SettlingBox.AreaM2, 0.10317, 2e-3)
	near(t, "the box's content", l.SettlingBox.VolumeM3, 0.3, 1e-9)
	near(t, "the ripple", l.Standpipe.RippleM, 0.0141471, 1e-5)
	near(t, "the surge", l.Standpipe.SurgeM, 0.38334, 1e-4)
	area := math.Pi / 4 * math.Pow(2.067*0.0254, 2)
	near(t, "the thrust", l.Pump.ThrustN, 999.70*9.80665*160*area, 1e-3)
	// The lowest place of the delivery pipe lies 1 m below the outlet.
	near(t, "the pressure with a valve shut", l.Delivery.ShutM, 161, 1e-9)
	if !slices.Equal(l.Delivery.Vents, []Number{l.Delivery.Path[2].AlongM}) || !slices.Equal(l.Delivery.Drains, []Number{l.Delivery.Path[1].AlongM, l.Delivery.Path[3].AlongM}) {
		t.Errorf("vents at %v, drains at %v", l.Delivery.Vents, l.Delivery.Drains)
	}
	// The sharpest bends are the low places; at the second the line turns from
	// atan(5/20) down to atan(10/20) up, 40.601°, with 15+160−35 m on it.
	// The first turns by 35.886° with 161 m, the hump by 47.064° with 135 m.
	bend := func(head, degrees float64) float64 {
		return 2 * 999.70 * 9.80665 * head * math.Pi / 4 * 0.02 * 0.02 * math.Sin(degrees/2*math.Pi/180)
	}
	near(t, "the push on a bend", l.Delivery.BendThrustN, max(bend(140, 40.6013), bend(161, 35.8862), bend(135, 47.0601)), 1e-3)
	if !l.Starting.FillS.Known() || !(l.Starting.StrokesLow < l.Starting.StrokesHigh) || !l.Starting.FirstWaterS.Known() || l.StuckOpen.Restarts == nil {
		t.Errorf("starting %+v, stuck open %+v", l.Starting, l.StuckOpen)
	}
	codes := map[string]string{}
	for _, f := range found {
		if _, twice := codes[f.Code]; twice {
			t.Errorf("%s is told twice", f.Code)
		}
		codes[f.Code] = quantity.Text(quantity.SI, f.Text, f.Values...)
	}
	// Level for 20 m; behind it 0.2 m fall over 20 m: Wisner's
	// 0.70023·(0.825+0.25·√0.01) = 0.595 m/s is more than Escarameia's
	// 0.70023·(0.61+0.56·√0.01) = 0.466. Water at rest stands at 19.9, the
	// standpipe ends at 20.3: a swing of 0.38 m stays inside.
	for code, words := range map[string][]string{
		"supply_level": {"level for 20.0 m", "0.509 m/s", "0.595 m/s"},
		"creek_take":   {"draws 10 %", "540 L/min", "45 %", "a good home"},
	} {
		for _, w := range words {
			if !strings.Contains(codes[code], w) {
				t.Errorf("%s: %q does not say %q", code, codes[code], w)
			}
		}
	}
	for _, code := range []string{"intake_shallow", "standpipe_splashes", "supply_above_grade", "supply_slow", "delivery_shut", "box_too_high"} {
		if codes[code] != "" {
			t.Errorf("%s: %q", code, codes[code])
		}
	}
}

// At 2 L/s the mouth wants 0.05·(1+2.3·1.0186/0.70023) = 0.217 m of water, and
// a pool of 0.2 m leaves 0.15 m; the swing is twice 0.383 m, more than the
// 0.4 m of standpipe above the level at rest; 8 L/s of 20 stay, which is good.
func TestDoubtsOfTheWaterPath(t *testing.T) {
	g := waterworks(t, 0.002)
	g.l.Supply.Path[2].InvertM = 19.85 // a hump above the water of the box less friction
	codes := map[string]string{}
	for _, f := range g.waterPath() {
		codes[f.Code] = quantity.Text(quantity.SI, f.Text, f.Values...)
	}
	for code, words := range map[string]string{
		"intake_shallow":     "0.22 m",
		"standpipe_splashes": "0.77 m",
		"supply_above_grade": "above its grade line",
		"creek_take":         "40 % of its usual flow",
	} {
		if !strings.Contains(codes[code], words) {
			t.Errorf("%s: %q does not say %q", code, codes[code], words)
		}
	}
}

// Tennant (1976): 30 % of the mean flow is a good base, 10 % keeps life for a
// short time. The same 24 % is the pump's doing in a creek that has 40 % of its
// own, and is not in one that has 25 %.
func TestTakeWarnsWhereThePumpMakesTheDifference(t *testing.T) {
	for _, c := range []struct {
		low, drawn float64 // of a usual flow of 20 L/s
		level      string
	}{{8, 3.2, "warning"}, {5, 0.2, "note"}, {8, 1, "note"}} {
		g := waterworks(t, c.drawn/1000)
		g.site.LowFlow = c.low / 1000
		w := &waterPath{grader: g}
		w.take()
		if string(w.found[0].Level) != c.level {
			t.Errorf("%v of %v L/s: a %s, want a %s", c.drawn, c.low, w.found[0].Level, c.level)
		}
	}
}

// The pegs for vents and drains stand among the tape's in the order of the
// pipe: at 22.36 m a drain, at 53.8 m a vent by hand. The drive pipe of 10 m has
// four anchors.
func TestStakesAtHighAndLowPlaces(t *testing.T) {
	l := &Layout{
		Drive:    Drive{PipeRun: PipeRun{Path: straight(10, 20, 18)}},
		Delivery: Delivery{PipeRun: PipeRun{Path: laid([2]float64{0, 18}, [2]float64{25, 17}, [2]float64{50, 30}, [2]float64{65, 29}, [2]float64{90, 40})}},
		Intake:   Intake{WaterM: 20, ScreenAreaM2: 0.07, SubmergenceM: 0.1}, Pump: Pump{OutletM: 18, ThrustN: 980.665},
	}
	l.Delivery.Drains, l.Delivery.Vents = []Number{l.Delivery.Path[1].AlongM, l.Delivery.Path[3].AlongM}, []Number{l.Delivery.Path[2].AlongM}
	var labels []string
	for _, s := range stakesOf(l, quantity.SI) {
		labels = append(labels, s.Label)
		switch {
		case s.Label == "INTAKE" && !strings.Contains(s.Do, "screen at least 0.07"),
			s.Label == "PUMP" && !strings.Contains(s.Do, "as hard as 100 kg weigh"),
			s.Label == "VENT1" && math.Abs(float64(s.InvertM)-30) > 1e-9,
			s.Label == "DRAIN2" && math.Abs(float64(s.InvertM)-29) > 1e-9:
			t.Errorf("%+v", s)
		}
	}
	if got := strings.Join(labels, " "); got != "INTAKE SUP1 SUP2 SUP3 SUP4 PUMP L1 DRAIN1 L2 VENT1 L3 DRAIN2 L4 TANK" {
		t.Errorf("stakes %s", got)
	}
}

// The supply pipe is cut at the settling box: each part starts at its own
// water, with the loss of the intake (limits.intake_loss, 1.5) and of a sharp
// entrance (0.5, Crane TP 410, from memory). It is full when both parts are.
func TestSupplyPipeIsCutAtTheBox(t *testing.T) {
	g := waterworks(t, 0.001)
	legs := g.supplyLegs()
	if len(legs) != 2 {
		t.Fatalf("%d parts", len(legs))
	}
	fill := 0.0
	for i, want := range []struct {
		level, k         float64
		stations, invert []float64
	}{
		{20.5, 1.5, []float64{0, 10}, []float64{19.8, 19.5}},
		{19.9, 0.5, []float64{10, 30, 50}, []float64{19.5, 19.5, 19.3}},
	} {
		leg := legs[i]
		if leg.LevelM != want.level || leg.MinorK[0] != want.k || !slices.Equal(leg.Station, want.stations) || !slices.Equal(leg.Invert, want.invert) {
			t.Errorf("part %d: %+v, want %+v", i, leg, want)
		}
		seconds, err := hydraulics.FillTime(g.fluid, leg.Line, want.level)
		if err != nil {
			t.Fatal(err)
		}
		fill += seconds
	}
	g.waterPath()
	near(t, "the time to fill", g.l.Starting.FillS, fill, 1e-12)

	g.l.SettlingBox = nil
	if legs := g.supplyLegs(); len(legs) != 1 || len(legs[0].Pipe) != 3 {
		t.Errorf("without a box: %+v", legs)
	}
}

// The mouth of a 2.067 in drive pipe at 1 m/s needs D·(1+2.3/√(gD)) = 0.2208 m
// of water (ANSI/HI 9.8) above its bore of 0.0525 m: 0.273 m in all.
func TestStandpipeMustCoverTheDrivePipe(t *testing.T) {
	for water, warns := range map[float64]bool{0.27: true, 0.31: false} { // the ripple takes 0.014 m
		g := waterworks(t, 0.001)
		g.c.StandpipeWaterM = water
		found := g.waterPath()
		if slices.ContainsFunc(found, func(f finding.Finding) bool { return f.Code == "standpipe_draws_air" }) != warns {
			t.Errorf("%v m of water: %v", water, found)
		}
	}
}

// A drive pipe that starts in the pool draws its greatest flow at the end of
// the beat: 1 m/s in 2.067 in is 2.165 L/s, for which the screen has
// 0.002165/0.06096/0.4 m².
func TestDrivePipeFromThePool(t *testing.T) {
	g := waterworks(t, 0.001)
	g.l.Supply, g.l.SettlingBox, g.l.Standpipe = nil, nil, nil
	g.waterPath()
	near(t, "the screen", g.l.Intake.ScreenAreaM2, math.Pi/4*math.Pow(2.067*0.0254, 2)/0.06096/0.4, 1e-3)
	if g.l.Starting.FillS != 0 || !g.l.Starting.StrokesLow.Known() {
		t.Errorf("starting %+v", g.l.Starting)
	}
}
