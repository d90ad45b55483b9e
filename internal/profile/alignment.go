package profile

import (
	"math"
	"sort"

	"github.com/paulmach/orb"

	"route/internal/finding"
)

// Alignment is a line with a linear reference: it maps stations to points of
// the frame and back. It is immutable and safe for concurrent use.
type Alignment struct {
	line    orb.LineString
	station []Station   // of each vertex
	chunk   []orb.Bound // of each chunkLen segments, to skip them in StationOf
}

const chunkLen = 32

// NewAlignment gives line a linear reference that begins with origin at the
// first vertex. Vertices that repeat the one before are dropped; every other
// vertex stays, so bends keep their length. The line is copied. A line with
// fewer than two different vertices, or with a vertex that is not finite, is
// refused.
func NewAlignment(line orb.LineString, origin Station) (*Alignment, error) {
	a := &Alignment{line: make(orb.LineString, 0, len(line)), station: make([]Station, 0, len(line))}
	s := origin
	for i, p := range line {
		if !finite(p) {
			return nil, &finding.Fault{Code: "line_not_finite",
				Text: "the line has a vertex without usable coordinates",
				Hint: "remove the broken vertex"}
		}
		if n := len(a.line); n > 0 {
			d := distance(a.line[n-1], p)
			if d == 0 || i == 0 {
				continue
			}
			s += Station(d)
		}
		a.line = append(a.line, p)
		a.station = append(a.station, s)
	}
	if len(a.line) < 2 {
		return nil, &finding.Fault{Code: "line_too_short",
			Text: "the line has fewer than two different points",
			Hint: "give a line with at least two different points"}
	}
	for from := 0; from < len(a.line)-1; from += chunkLen {
		to := min(from+chunkLen, len(a.line)-1)
		a.chunk = append(a.chunk, a.line[from:to+1].Bound())
	}
	return a, nil
}

// Line returns the vertices. The caller must not change them.
func (a *Alignment) Line() orb.LineString { return a.line }

// Start is the station of the first vertex.
func (a *Alignment) Start() Station { return a.station[0] }

// End is the station of the last vertex.
func (a *Alignment) End() Station { return a.station[len(a.station)-1] }

// LengthM is the horizontal length in metres.
func (a *Alignment) LengthM() float64 { return float64(a.End() - a.Start()) }

// segment finds the segment on which s lies; s is inside the alignment.
func (a *Alignment) segment(s Station) int {
	i := sort.Search(len(a.station), func(i int) bool { return a.station[i] > s }) - 1
	return max(0, min(i, len(a.station)-2))
}

// PointAt is the point at a station. Stations before the start or behind the
// end give the first or the last vertex.
func (a *Alignment) PointAt(s Station) orb.Point {
	if s <= a.Start() {
		return a.line[0]
	}
	if s >= a.End() {
		return a.line[len(a.line)-1]
	}
	i := a.segment(s)
	p, q := a.line[i], a.line[i+1]
	t := float64((s - a.station[i]) / (a.station[i+1] - a.station[i]))
	return orb.Point{p[0] + t*(q[0]-p[0]), p[1] + t*(q[1]-p[1])}
}

// part is the line between two stations.
func (a *Alignment) part(from, to Station) orb.LineString {
	line := orb.LineString{a.PointAt(from)}
	for i, s := range a.station {
		if s > from && s < to {
			line = append(line, a.line[i])
		}
	}
	return append(line, a.PointAt(to))
}

// DirectionAt is the unit vector in the direction of increasing stations,
// taken over reachM to both sides so that one short segment does not decide.
func (a *Alignment) DirectionAt(s Station, reachM float64) orb.Point {
	p, q := a.PointAt(s-Station(reachM)), a.PointAt(s+Station(reachM))
	if d := distance(p, q); d > 0 {
		return orb.Point{(q[0] - p[0]) / d, (q[1] - p[1]) / d}
	}
	i := a.segment(max(a.Start(), min(s, a.End())))
	p, q = a.line[i], a.line[i+1]
	d := distance(p, q)
	return orb.Point{(q[0] - p[0]) / d, (q[1] - p[1]) / d}
}

// StationOf is the station of the nearest point on the alignment and the
// distance to it, negative to the left of the direction of increasing
// stations and positive to the right. Of several nearest points the first
// along the line counts. Beyond an end the station is that end's.
func (a *Alignment) StationOf(p orb.Point) (s Station, offsetM float64) {
	best := math.Inf(1) // squared
	seg, along := 0, 0.0
	for c, b := range a.chunk {
		if boundDistance2(b, p) >= best {
			continue
		}
		from := c * chunkLen
		to := min(from+chunkLen, len(a.line)-1)
		for i := from; i < to; i++ {
			d2, t := segmentDistance2(a.line[i], a.line[i+1], p)
			if d2 < best {
				best, seg, along = d2, i, t
			}
		}
	}
	s = a.station[seg] + Station(along)*(a.station[seg+1]-a.station[seg])
	return s, math.Sqrt(best) * a.side(seg, along, p)
}

// side is -1 for a point to the left of the alignment and +1 for the right.
// At a bend the two segments may disagree; their common direction decides.
func (a *Alignment) side(seg int, along float64, p orb.Point) float64 {
	d := unit(a.line[seg], a.line[seg+1])
	at := a.line[seg]
	switch {
	case along >= 1:
		at = a.line[seg+1]
		if seg+2 < len(a.line) {
			e := unit(a.line[seg+1], a.line[seg+2])
			d[0], d[1] = d[0]+e[0], d[1]+e[1]
		}
	case along <= 0 && seg > 0:
		e := unit(a.line[seg-1], a.line[seg])
		d[0], d[1] = d[0]+e[0], d[1]+e[1]
	}
	if d[0]*(p[1]-at[1])-d[1]*(p[0]-at[0]) > 0 {
		return -1
	}
	return 1
}

func finite(p orb.Point) bool {
	return !math.IsNaN(p[0]) && !math.IsInf(p[0], 0) && !math.IsNaN(p[1]) && !math.IsInf(p[1], 0)
}

func distance(p, q orb.Point) float64 { return math.Hypot(q[0]-p[0], q[1]-p[1]) }

func unit(p, q orb.Point) orb.Point {
	d := distance(p, q)
	return orb.Point{(q[0] - p[0]) / d, (q[1] - p[1]) / d}
}

// segmentDistance2 is the squared distance from p to the segment ab, and the
// place of the nearest point on it as a share of its length.
func segmentDistance2(a, b, p orb.Point) (d2, t float64) {
	ux, uy := b[0]-a[0], b[1]-a[1]
	vx, vy := p[0]-a[0], p[1]-a[1]
	if l2 := ux*ux + uy*uy; l2 > 0 {
		t = max(0, min((ux*vx+uy*vy)/l2, 1))
	}
	dx, dy := vx-t*ux, vy-t*uy
	return dx*dx + dy*dy, t
}

func boundDistance2(b orb.Bound, p orb.Point) float64 {
	dx := max(b.Min[0]-p[0], 0, p[0]-b.Max[0])
	dy := max(b.Min[1]-p[1], 0, p[1]-b.Max[1])
	return dx*dx + dy*dy
}

func lengthOf(line orb.LineString) float64 {
	l := 0.0
	for i := 1; i < len(line); i++ {
		l += distance(line[i-1], line[i])
	}
	return l
}
