package plan

import (
	"fmt"
	"slices"
	"strings"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"

	"route/internal/dem"
	"route/internal/finding"
	"route/internal/geodesy"
	"route/internal/terrain"
)

// land is where pipes may go, in the frame.
type land struct {
	inside    []orb.Polygon // allowed land; empty when everything is allowed
	out       []orb.Polygon // never entered
	crossings []crossing    // roads, fences and the like: noted where a pipe crosses
}

// crossing is a line or an area that a pipe may cross, at a price.
type crossing struct {
	name  string
	lines []orb.LineString
}

// landRoles are the words that a feature's role may be.
var landRoles = []string{"stay_inside", "keep_out", "crossing"}

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
		default:
			c := crossing{name: nameOf(p.Attributes)}
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
			return nil, &finding.Fault{Code: "land_line", File: path, Text: fmt.Sprintf("a line cannot be %s", role), Hint: "draw a closed polygon for land to stay inside or to keep out of"}
		}
		l.crossings = append(l.crossings, crossing{name: nameOf(line.Attributes), lines: []orb.LineString{toFrame(f, line.Points)}})
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

func nameOf(attributes map[string]string) string {
	if attributes["name"] != "" {
		return attributes["name"]
	}
	return "an unnamed crossing"
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

// crossingsOf names what a line crosses.
func (l *land) crossingsOf(line orb.LineString) []string {
	var names []string
	for _, c := range l.crossings {
		met := slices.ContainsFunc(c.lines, func(across orb.LineString) bool {
			for i := 1; i < len(line); i++ {
				if crosses(across, line[i-1], line[i]) {
					return true
				}
			}
			return false
		})
		if met && !slices.Contains(names, c.name) {
			names = append(names, c.name)
		}
	}
	return names
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
		allowed := make([]bool, len(cells))
		for _, poly := range l.inside {
			fill(g, poly, allowed)
		}
		for i := range cells {
			cells[i] = !allowed[i]
		}
	}
	for _, poly := range l.out {
		fill(g, poly, cells)
		for _, ring := range poly {
			trace(g, ring, cells)
		}
	}
	return cells
}

// fill marks the cells whose centre lies inside a polygon, by the even-odd
// rule along each row.
func fill(g *terrain.Grid, poly orb.Polygon, cells []bool) {
	var xs []float64
	for row := range g.Rows {
		y := g.Bound.Max[1] - (float64(row)+0.5)*g.CellM
		xs = xs[:0]
		for _, ring := range poly {
			for i := 1; i < len(ring); i++ {
				p, q := ring[i-1], ring[i]
				if (p[1] <= y) != (q[1] <= y) {
					xs = append(xs, p[0]+(y-p[1])/(q[1]-p[1])*(q[0]-p[0]))
				}
			}
		}
		slices.Sort(xs)
		for i := 1; i < len(xs); i += 2 {
			first := max(0, int((xs[i-1]-g.Bound.Min[0])/g.CellM+0.5))
			for col := first; col < g.Cols && g.Bound.Min[0]+(float64(col)+0.5)*g.CellM < xs[i]; col++ {
				cells[row*g.Cols+col] = true
			}
		}
	}
}

// trace marks the cells that a ring runs through.
func trace(g *terrain.Grid, ring orb.Ring, cells []bool) {
	for i := 1; i < len(ring); i++ {
		p, q := ring[i-1], ring[i]
		steps := int(planar.Distance(p, q)/(g.CellM/2)) + 1
		for k := range steps + 1 {
			t := float64(k) / float64(steps)
			col := int((p[0] + t*(q[0]-p[0]) - g.Bound.Min[0]) / g.CellM)
			row := int((g.Bound.Max[1] - p[1] - t*(q[1]-p[1])) / g.CellM)
			if col >= 0 && col < g.Cols && row >= 0 && row < g.Rows {
				cells[row*g.Cols+col] = true
			}
		}
	}
}
