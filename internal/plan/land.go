package plan

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"

	"route/internal/dem"
	"route/internal/finding"
	"route/internal/geodesy"
	"route/internal/terrain"
)

// land is where pipes may go, in the frame, and what that costs.
type land struct {
	inside    []orb.Polygon // allowed land; empty when everything is allowed
	out       []orb.Polygon // never entered
	crossings []crossing    // roads, fences and the like
	grounds   []groundPatch // where laying pipe is dearer or cheaper
}

// crossing is a line or an area that a pipe may cross, at a price.
type crossing struct {
	name  string
	class string // road, creek, fence, rock or the user's own word; "" for none
	fee   string // of the user, in the currency of the prices; "" takes that of the price list
	lines []orb.LineString
	area  bool // the lines are its border: into it and out again is one crossing
	// source marks the creek that the pump stands at.
	source bool
}

// groundPatch is an area of ground of one class.
type groundPatch struct {
	class  string
	factor float64 // of the user; 0 takes that of the class
	area   orb.Polygon
}

// landRoles are the words that a feature's role may be.
var landRoles = []string{"stay_inside", "keep_out", "crossing", "ground"}

// readLand reads the land file. Each feature says its role in an attribute
// "role"; another word is a fault, because a fence that is not understood is
// a fence that is crossed.
func readLand(path string, f *geodesy.Frame) (*land, error) {
	v, err := dem.ReadVector(path)
	if err != nil {
		return nil, err
	}
	l := &land{}
	for _, p := range v.Polygons {
		role, err := roleOf(path, p.Attributes)
		if err != nil {
			return nil, err
		}
		rings := make(orb.Polygon, len(p.Rings))
		for i, ring := range p.Rings {
			rings[i] = orb.Ring(toFrame(f, ring))
		}
		switch role {
		case "stay_inside":
			l.inside = append(l.inside, rings)
		case "keep_out":
			l.out = append(l.out, rings)
		case "ground":
			patch, err := groundOf(path, p.Attributes)
			if err != nil {
				return nil, err
			}
			patch.area = rings
			l.grounds = append(l.grounds, patch)
		default:
			c, err := crossingOf(path, p.Attributes)
			if err != nil {
				return nil, err
			}
			c.area = true
			for _, r := range rings {
				c.lines = append(c.lines, orb.LineString(r))
			}
			l.crossings = append(l.crossings, c)
		}
	}
	for _, line := range v.Lines {
		role, err := roleOf(path, line.Attributes)
		if err != nil {
			return nil, err
		}
		if role != "crossing" {
			return nil, &finding.Fault{Code: "land_line", File: path, Text: fmt.Sprintf("a line cannot be %s", role), Hint: "draw a closed polygon for land to stay inside, to keep out of, or for a kind of ground"}
		}
		c, err := crossingOf(path, line.Attributes)
		if err != nil {
			return nil, err
		}
		c.lines = []orb.LineString{toFrame(f, line.Points)}
		l.crossings = append(l.crossings, c)
	}
	return l, nil
}

func roleOf(path string, attributes map[string]string) (string, error) {
	role := attributes["role"]
	if !slices.Contains(landRoles, role) {
		return "", &finding.Fault{Code: "land_role", File: path, Text: fmt.Sprintf("a feature has the role %q", role), Hint: "give each feature an attribute role: " + strings.Join(landRoles, ", ")}
	}
	return role, nil
}

// crossingOf reads what a crossing is and costs.
func crossingOf(path string, attributes map[string]string) (crossing, error) {
	c := crossing{name: attributes["name"], class: attributes["class"], fee: attributes["fee"]}
	if c.name == "" {
		c.name = "an unnamed crossing"
		if c.class != "" {
			c.name = "a " + c.class
		}
	}
	return c, nil
}

// groundOf reads what a kind of ground is and by how much dearer it is to lay
// pipe there.
func groundOf(path string, attributes map[string]string) (groundPatch, error) {
	g := groundPatch{class: attributes["class"]}
	if text := attributes["factor"]; text != "" {
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || !(v >= leastGroundFactor && v <= mostGroundFactor) {
			return g, &finding.Fault{Code: "land_factor", File: path, Text: fmt.Sprintf("a piece of ground has the factor %q", text), Hint: fmt.Sprintf("write by how many times dearer laying pipe is there: a number from %g to %g", leastGroundFactor, mostGroundFactor)}
		}
		g.factor = v
	}
	if _, known := groundClasses[g.class]; !known && g.factor == 0 {
		return g, &finding.Fault{Code: "land_ground", File: path, Text: fmt.Sprintf("a piece of ground has the class %q and no factor", g.class), Hint: "give it a class: " + strings.Join(groundWords(), ", ") + "; or a factor: by how many times dearer laying pipe is there"}
	}
	return g, nil
}

func toFrame(f *geodesy.Frame, points []geodesy.LonLat) orb.LineString {
	line := make(orb.LineString, len(points))
	for i, p := range points {
		line[i] = f.ToFrame(p)
	}
	return line
}

// allows says whether something may stand at a point.
func (l *land) allows(p orb.Point) bool {
	for _, poly := range l.out {
		if planar.PolygonContains(poly, p) {
			return false
		}
	}
	if len(l.inside) == 0 {
		return true
	}
	return slices.ContainsFunc(l.inside, func(poly orb.Polygon) bool { return planar.PolygonContains(poly, p) })
}

// allowsChord says whether a straight pipe may run from a to b: both ends are
// on allowed land and no border lies between them.
func (l *land) allowsChord(a, b orb.Point) bool {
	if !l.allows(a) || !l.allows(b) {
		return false
	}
	for _, polys := range [][]orb.Polygon{l.inside, l.out} {
		for _, poly := range polys {
			for _, ring := range poly {
				if crosses(orb.LineString(ring), a, b) {
					return false
				}
			}
		}
	}
	return true
}

// crosses says whether the segment from a to b meets a line.
func crosses(line orb.LineString, a, b orb.Point) bool {
	for i := 1; i < len(line); i++ {
		if segmentsMeet(line[i-1], line[i], a, b) {
			return true
		}
	}
	return false
}

// segmentsMeet tells by orientation whether two segments have a point in
// common.
func segmentsMeet(p, q, a, b orb.Point) bool {
	d1, d2 := side(a, b, p), side(a, b, q)
	d3, d4 := side(p, q, a), side(p, q, b)
	if d1*d2 < 0 && d3*d4 < 0 {
		return true
	}
	return d1 == 0 && between(a, b, p) || d2 == 0 && between(a, b, q) ||
		d3 == 0 && between(p, q, a) || d4 == 0 && between(p, q, b)
}

// side is positive when r lies to the left of the line from p to q.
func side(p, q, r orb.Point) float64 {
	return (q[0]-p[0])*(r[1]-p[1]) - (q[1]-p[1])*(r[0]-p[0])
}

func between(p, q, r orb.Point) bool {
	return min(p[0], q[0]) <= r[0] && r[0] <= max(p[0], q[0]) && min(p[1], q[1]) <= r[1] && r[1] <= max(p[1], q[1])
}

// forbidden marks the cells of a grid that a pipe must not enter: outside the
// allowed land, inside land to keep out of, and the cells that a border runs
// through, so that no strip is too thin to count.
func (l *land) forbidden(g *terrain.Grid) []bool {
	if len(l.inside) == 0 && len(l.out) == 0 {
		return nil
	}
	cells := make([]bool, g.Cols*g.Rows)
	if len(l.inside) > 0 {
		for i := range cells {
			cells[i] = true
		}
		for _, poly := range l.inside {
			g.CellsInside(poly, func(i int) { cells[i] = false })
		}
	}
	for _, poly := range l.out {
		closed := func(i int) { cells[i] = true }
		g.CellsInside(poly, closed)
		for _, ring := range poly {
			g.CellsAlong(orb.LineString(ring), closed)
		}
	}
	return cells
}
