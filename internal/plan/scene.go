package plan

import (
	"math"
	"strings"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/simplify"

	"route/internal/geodesy"
	"route/internal/profile"
	"route/internal/quantity"
	"route/internal/terrain"
)

// sceneCells bounds the longer side of a scene's ground: what a screen shows
// sharply when zoomed in threefold.
const sceneCells = 1800

// Scene is the ground of a whole site for drawing: all of the creek, the tank
// and the land limits, in frame metres. It does not change while layouts do.
type Scene struct {
	Name string
	// System is that of the site.
	System     quantity.System
	Bound      orb.Bound
	Cols, Rows int
	// Shade is the hillshade, row-major from the north-west: 1 dark to 255
	// light, 0 where the height is unknown.
	Shade []uint8
	// ContoursM and ContoursFt are lines at round metres and round feet,
	// StepM and StepFtM their intervals in metres.
	ContoursM, ContoursFt []terrain.Contour
	StepM, StepFtM        float64
	// NorthDegrees is true north, clockwise from the frame's north.
	NorthDegrees float64
	StationsM    []float64
	Creek        []orb.Point
	Doubts       []Doubt
	Land         []LandShape
}

// Doubt is a flagged stretch of creek.
type Doubt struct {
	FromM, ToM float64
	Name       string
}

// LandShape is a limit of the land or something that a pipe crosses.
type LandShape struct {
	Role  string // stay_inside, keep_out or crossing
	Lines []orb.LineString
}

// scene draws the site's ground once.
func (j *job) scene() *Scene {
	area := j.ground.Bound()
	long := math.Max(area.Max[0]-area.Min[0], area.Max[1]-area.Min[1])
	cell := math.Max(j.ground.CellM()/2, long/sceneCells)
	g := terrain.Sample(j.ground, area, cell)
	coarse := terrain.Sample(j.ground, area, math.Max(j.ground.CellM(), long/700))
	s := &Scene{
		Name: j.site.Name, System: j.site.Units,
		Bound: g.Bound, Cols: g.Cols, Rows: g.Rows, Shade: terrain.Hillshade(g),
		StepM: contourInterval(coarse, false), StepFtM: contourInterval(coarse, true),
		NorthDegrees: j.northOf(area.Center()),
		Creek:        j.creek.Points,
		Doubts:       doubtsOf(j.creek),
		Land:         j.land.shapes(),
	}
	for _, station := range j.creek.Stations {
		s.StationsM = append(s.StationsM, float64(station))
	}
	s.ContoursM = plainer(terrain.Contours(coarse, s.StepM), coarse.CellM)
	s.ContoursFt = plainer(terrain.Contours(coarse, s.StepFtM), coarse.CellM)
	return s
}

// plainer drops the vertices that nobody could see, and rings of a few cells.
func plainer(contours []terrain.Contour, cellM float64) []terrain.Contour {
	var kept []terrain.Contour
	for _, c := range contours {
		if b := c.Line.Bound(); math.Max(b.Max[0]-b.Min[0], b.Max[1]-b.Min[1]) < 4*cellM {
			continue
		}
		c.Line = simplify.DouglasPeucker(0.3 * cellM).LineString(c.Line.Clone())
		kept = append(kept, c)
	}
	return kept
}

// northOf is the direction of true north at a point of the frame, in degrees
// clockwise from the frame's own north.
func (j *job) northOf(p orb.Point) float64 {
	at := j.frame.ToLonLat(p)
	up := j.frame.ToFrame(geodesy.LonLat{Lon: at.Lon, Lat: at.Lat + 1e-4})
	return math.Atan2(up[0]-p[0], up[1]-p[1]) * 180 / math.Pi
}

// doubtsOf joins stations with the same flags to stretches.
func doubtsOf(creek *profile.Profile) []Doubt {
	var list []Doubt
	for i := 0; i < creek.Len(); {
		flags, first := creek.Flags[i], i
		for i < creek.Len() && creek.Flags[i] == flags {
			i++
		}
		if flags != 0 {
			list = append(list, Doubt{FromM: float64(creek.Stations[first]), ToM: float64(creek.Stations[i-1]), Name: strings.Join(flags.Names(), ", ")})
		}
	}
	return list
}

func (l *land) shapes() []LandShape {
	var list []LandShape
	add := func(role string, polygons []orb.Polygon) {
		for _, polygon := range polygons {
			shape := LandShape{Role: role}
			for _, ring := range polygon {
				shape.Lines = append(shape.Lines, orb.LineString(ring))
			}
			list = append(list, shape)
		}
	}
	add("stay_inside", l.inside)
	add("keep_out", l.out)
	for _, c := range l.crossings {
		list = append(list, LandShape{Role: "crossing", Lines: c.lines})
	}
	return list
}
