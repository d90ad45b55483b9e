// Package valley is the model behind the sample sites: two invented places in
// open ocean whose ground, creek, road and house bench are functions without
// error. Because they are known exactly, the falls, lengths and positions that
// the program finds in the scanned and walked data can be held against them.
//
// A place has its own flat frame, the transverse Mercator of
// internal/geodesy through its origin: an orb.Point is easting and northing in
// metres on the ground.
package valley

import (
	"math"
	"slices"
	"sync"
	"time"

	"github.com/paulmach/orb"

	"route/internal/geodesy"
)

// Place is one invented site.
type Place struct {
	Name   string
	Origin geodesy.LonLat // of the frame
	Error  ErrorModel     // of the scan
	Tank   Tank
	Voids  []Void // where the scan has no heights
	Land   []Border

	seed   uint64
	zM     float64 // height at which the frame has true lengths
	halfM  float64 // half the side of the square that is modelled
	widest float64 // half the widest water
	creek  *creek
	hills  *hillside
	bench  *bench
	road   *road // nil where there is none
	fill   fill
	dam    *dam
	fallAt *waterfall
	walk   walkPlan
	frame  *geodesy.Frame
}

// Tank is where the water is wanted.
type Tank struct {
	At                orb.Point
	InletAboveGroundM float64
	WaypointOff       orb.Point // error of the waypoint that the owner recorded
}

// Void is a round hole in the scan.
type Void struct {
	Centre  orb.Point
	RadiusM float64
}

// Border is a line of the land file.
type Border struct {
	Role   string // stay_inside, keep_out: closed; crossing: open
	Name   string
	Points []orb.Point
}

// fill is the embankment that carries the road over the creek.
type fill struct{ station, heightM float64 }

// Fernhollow is a gentle valley: a meandering creek of about 2 % with pools
// and riffles, a farm road on a fill across it, a dammed pool, and a house on
// a bench above.
var Fernhollow = sync.OnceValue(newFernhollow)

func newFernhollow() *Place {
	p := &Place{
		Name: "Fernhollow", Origin: geodesy.LonLat{Lon: -148.563, Lat: 41.217}, Error: LidarForest,
		seed: 4711, zM: 145, halfM: 560,
		fill: fill{station: 330, heightM: 2.2},
		dam:  &dam{from: 560, crest: 628, dropM: 1.25, halfWidthM: 6, depthM: 1.1},
	}
	p.creek = newCreek(creekPlan{
		seed: p.seed, first: -420, last: 1420,
		headingDeg: -100, swingDeg: 20, swingM: 1150,
		meanderM: 92, meanderRad: 0.95, centre: orb.Point{-110, 20}, centreAt: 500,
		lowestM: 118, slope: 0.020, slopeSwing: 0.3,
		unitMinM: 13, unitMaxM: 24, poolShare: 0.55, poolSlope: 0.002, stepShare: 0.25,
		floorM: 11, halfWidthM: 0.9, bankRunM: 0.6, bankM: 0.7, poolDepthM: 0.32, riffleDepthM: 0.10,
		dam: p.dam,
	})
	p.hills = newHillside(hillsidePlan{
		seed: p.seed, halfM: 600, cellM: 5, steps: 110, riseM: 0.22,
		wear: 0.08, areaExp: 0.45, creepM2: 6, startIn: 0.08,
	}, p.creek)
	p.bench = &bench{centre: orb.Point{22, -70}, alongM: 15, deepM: 9, directionDeg: 75, zM: 157.6, slopeM: 14, fallsOutward: 0.01}
	p.finish()
	p.buildRoad([]orb.Point{{-600, 230}, {-420, 205}, {-250, 170}, {-160, 150}},
		[]orb.Point{{-35, 128}, {15, 95}, {48, 60}, {52, 20}, {45, -20}, {36, -46}, {27, -60}})
	p.Tank = Tank{At: orb.Point{18, -76}, InletAboveGroundM: 1.8288, WaypointOff: orb.Point{1.4, -1.1}} // 6 ft
	p.Voids = []Void{
		{p.creek.point(742), 2.2}, {orb.Point{-250, 30}, 6}, {orb.Point{131, 240}, 4.5}, {orb.Point{210, -310}, 9}, {orb.Point{-18, 52}, 3},
	}
	p.Land = []Border{
		{"stay_inside", "Fernhollow farm", []orb.Point{{-215, -345}, {150, -330}, {215, -90}, {190, 330}, {40, 352}, {-150, 300}, {-235, 90}}},
		{"keep_out", "neighbour's garden", []orb.Point{{-140, -250}, {-62, -262}, {-55, -196}, {-132, -186}}},
		{"crossing", "farm road", p.roadLine(8)},
	}
	p.walk = walkPlan{
		from: 1000, to: 0, paceMS: 0.85, everyS: 4,
		errorM: 6.4, errorTauS: 70, jitterM: 0.6,
		still: []pause{{632, 64}, {212, 44}}, gaps: [][2]float64{{452, 476}},
		elevation: true, geoidM: -27.5, start: time.Date(2024, 5, 11, 9, 12, 0, 0, time.UTC),
	}
	return p
}

// Eilwern is a steep valley: a step-pool creek of about 7 % with a waterfall,
// and a house on a shelf well above it.
var Eilwern = sync.OnceValue(newEilwern)

func newEilwern() *Place {
	p := &Place{
		Name: "Eilwern", Origin: geodesy.LonLat{Lon: -24.314, Lat: -44.6215}, Error: LidarForest,
		seed: 1847, zM: 250, halfM: 350,
		fallAt: &waterfall{station: 352, dropM: 1.5},
	}
	p.creek = newCreek(creekPlan{
		seed: p.seed, first: -260, last: 900,
		headingDeg: 40, swingDeg: 16, swingM: 700,
		meanderM: 58, meanderRad: 0.6, centre: orb.Point{20, -10}, centreAt: 310,
		lowestM: 208, slope: 0.070, slopeSwing: 0.2,
		unitMinM: 4, unitMaxM: 9, poolShare: 0.55, poolSlope: 0.004, stepShare: 0.7,
		floorM: 4.5, halfWidthM: 0.75, bankRunM: 0.5, bankM: 0.6, poolDepthM: 0.4, riffleDepthM: 0.12,
		waterfall: p.fallAt,
	})
	p.hills = newHillside(hillsidePlan{
		seed: p.seed, halfM: 400, cellM: 4, steps: 110, riseM: 0.34,
		wear: 0.085, areaExp: 0.45, creepM2: 5, startIn: 0.14,
	}, p.creek)
	p.bench = &bench{centre: orb.Point{143, -148}, alongM: 11, deepM: 6, directionDeg: 110, zM: 287.2, slopeM: 12, fallsOutward: 0.01}
	p.finish()
	p.Tank = Tank{At: orb.Point{141, -146}, InletAboveGroundM: 1.5}
	p.Voids = []Void{{orb.Point{-120, 90}, 7}, {orb.Point{60, -170}, 4}, {p.creek.point(505), 2}}
	p.Land = []Border{
		{"keep_out", "nesting cliff", []orb.Point{{166, 62}, {194, 58}, {206, 100}, {170, 104}}},
	}
	p.walk = walkPlan{
		from: 0, to: 600, paceMS: 0.6, everyS: 5,
		errorM: 7.2, errorTauS: 80, jitterM: 0.7,
		still: []pause{{356, 80}}, start: time.Date(2023, 11, 4, 14, 31, 0, 0, time.UTC),
	}
	return p
}

// buildRoad lays a road through the given places and between them over the
// creek on its fill.
func (p *Place) buildRoad(before, after []orb.Point) {
	crossing := p.creek.point(p.fill.station)
	places := slices.Concat(before, []orb.Point{crossing}, after)
	line := spline(places, roadStepM)
	at, least := 0, math.Inf(1)
	for i, q := range line {
		if d := math.Hypot(q[0]-crossing[0], q[1]-crossing[1]); d < least {
			least, at = d, i
		}
	}
	p.road = newRoad(line, at, p.creek.at(p.creek.water, p.fill.station), p.fill.heightM, p.natural)
}

// spline draws a Catmull-Rom curve through the places with points about every
// stepM.
func spline(places []orb.Point, stepM float64) []orb.Point {
	var line []orb.Point
	for i := 0; i+1 < len(places); i++ {
		p0, p1, p2, p3 := places[max(i-1, 0)], places[i], places[i+1], places[min(i+2, len(places)-1)]
		n := int(math.Ceil(math.Hypot(p2[0]-p1[0], p2[1]-p1[1]) / stepM))
		for k := range n {
			t := float64(k) / float64(n)
			var q orb.Point
			for a := range q {
				q[a] = 0.5 * (2*p1[a] + t*(p2[a]-p0[a]) + t*t*(2*p0[a]-5*p1[a]+4*p2[a]-p3[a]) + t*t*t*(3*p1[a]-p0[a]-3*p2[a]+p3[a]))
			}
			line = append(line, q)
		}
	}
	return append(line, places[len(places)-1])
}

// roadLine is every n-th point of the road's middle.
func (p *Place) roadLine(n int) []orb.Point {
	var line []orb.Point
	for i := 0; i < len(p.road.line); i += n {
		line = append(line, p.road.line[i])
	}
	return append(line, p.road.line[len(p.road.line)-1])
}

// finish fills in what follows from the parts.
func (p *Place) finish() {
	frame, err := geodesy.NewFrame(p.Origin, p.zM)
	if err != nil {
		panic("valley: the origin of a sample place has no frame: " + err.Error())
	}
	p.frame = frame
	for _, half := range p.creek.halfWidth {
		p.widest = math.Max(p.widest, half)
	}
}
