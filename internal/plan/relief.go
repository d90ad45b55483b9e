package plan

import (
	"math"

	"github.com/paulmach/orb"

	"route/internal/geodesy"
	"route/internal/terrain"
)

// reliefCells bounds the longer side of the drawn ground.
const reliefCells = 700

// drawRelief samples and shades the ground around the layouts for the map.
func (j *job) drawRelief() error {
	area := boundOf(j.legs).Extend(j.tank)
	if len(j.plan.Layouts) > 0 {
		area = j.layoutsArea()
	}
	w, h := area.Max[0]-area.Min[0], area.Max[1]-area.Min[1]
	area = area.Pad(math.Max(40, 0.12*math.Max(w, h)))
	w, h = area.Max[0]-area.Min[0], area.Max[1]-area.Min[1]
	cell := math.Max(j.ground.CellM(), math.Max(w, h)/reliefCells)
	// The contours suit the ground that is built on, not the hills beside it.
	interval := contourInterval(terrain.Sample(j.ground, area, cell), j.plan.Units == "us")
	area = widened(area)
	g := terrain.Sample(j.ground, area, cell)
	frame := j.frame
	j.plan.Relief = &Relief{
		West: g.Bound.Min[0], South: g.Bound.Min[1], East: g.Bound.Max[0], North: g.Bound.Max[1],
		Cols: g.Cols, Rows: g.Rows, Z: g.Z, Shade: terrain.Hillshade(g),
		Contours: terrain.Contours(g, interval),
		ToFrame: func(lon, lat float64) (e, n float64) {
			p := frame.ToFrame(geodesy.LonLat{Lon: lon, Lat: lat})
			return p[0], p[1]
		},
	}
	return nil
}

// leastAspect is how wide the drawn ground is at least for its height, and the
// other way round: a strip would leave most of a sheet empty.
const leastAspect = 0.8

// widened gives the shorter side of an area its least length.
func widened(b orb.Bound) orb.Bound {
	w, h := b.Max[0]-b.Min[0], b.Max[1]-b.Min[1]
	for axis, more := range [2]float64{leastAspect*h - w, leastAspect*w - h} {
		if more > 0 {
			b.Min[axis] -= more / 2
			b.Max[axis] += more / 2
		}
	}
	return b
}

// layoutsArea holds every place of every layout.
func (j *job) layoutsArea() orb.Bound {
	b := orb.Bound{Min: j.tank, Max: j.tank}
	for _, l := range j.plan.Layouts {
		for _, path := range l.paths() {
			for _, v := range path {
				b = b.Extend(j.frame.ToFrame(geodesy.LonLat{Lon: float64(v.Lon), Lat: float64(v.Lat)}))
			}
		}
	}
	return b
}

// paths lists the pipes that a layout has.
func (l *Layout) paths() [][]Vertex {
	all := [][]Vertex{l.Drive.Path, l.Delivery.Path}
	if l.Supply != nil {
		all = append(all, l.Supply.Path)
	}
	return all
}

// contourInterval picks a round step, in metres or in feet, that draws a
// dozen or two lines over the relief.
func contourInterval(g *terrain.Grid, feet bool) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for _, z := range g.Z {
		v := float64(z)
		if v == v {
			low, high = math.Min(low, v), math.Max(high, v)
		}
	}
	unit, steps := 1.0, []float64{0.5, 1, 2, 5, 10, 20, 50, 100, 200}
	if feet {
		unit, steps = 0.3048, []float64{1, 2, 5, 10, 20, 50, 100, 200, 500}
	}
	for _, s := range steps {
		if (high-low)/(s*unit) <= 25 {
			return s * unit
		}
	}
	return steps[len(steps)-1] * unit
}
