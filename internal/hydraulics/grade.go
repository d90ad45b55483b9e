package hydraulics

import (
	"fmt"
	"math"
)

// Line is a pipe along the ground: for each station (m of horizontal distance
// from its upstream end, rising) the invert (m, any datum), and for each
// stretch between two stations the pipe and the minor losses in it.
type Line struct {
	Station, Invert []float64
	Pipe            []Pipe    // one a stretch
	MinorK          []float64 // one a stretch, on the stretch's own velocity head; nil for none
}

// PipeLength is the length in metres of stretch i along the slope.
func (l *Line) PipeLength(i int) float64 {
	return math.Hypot(l.Station[i+1]-l.Station[i], l.Invert[i+1]-l.Invert[i])
}

func (l *Line) check(fn string) error {
	n := len(l.Station)
	if n < 2 || len(l.Invert) != n || len(l.Pipe) != n-1 || l.MinorK != nil && len(l.MinorK) != n-1 {
		panic("hydraulics: " + fn + ": the parts of a line do not match")
	}
	for i := 1; i < n; i++ {
		if !(l.Station[i] > l.Station[i-1]) {
			return &RangeError{fn, fmt.Sprintf("station %d in m", i), l.Station[i], l.Station[i-1], math.Inf(1)}
		}
	}
	for i, z := range l.Invert {
		if math.IsNaN(z) || math.IsInf(z, 0) {
			return &RangeError{fn, fmt.Sprintf("invert at station %d in m", i), z, math.Inf(-1), math.Inf(1)}
		}
	}
	return nil
}

// GradeLine is the water in a line at one flow. The slices have an entry a
// station.
type GradeLine struct {
	HGL      []float64 // hydraulic grade line, m on the datum of the inverts
	EGL      []float64 // energy grade line, m
	Pressure []float64 // head above the crown of the pipe, m; negative: the pipe stands above the grade line
	Velocity []float64 // m/s, one a stretch
	Loss     float64   // m from end to end
	// LowestAt is the station with the least pressure.
	LowestAt int
	// MaxRatio is the greatest share of its rating that any stretch holds
	// with the flow running; 0 where no rating is known.
	MaxRatio float64
	// Transition says that a stretch has 2000 < Re < 4000, where friction is
	// uncertain by ±20 %.
	Transition bool
}

// Grade follows a flow (m³/s) down a line that begins in a free surface at
// upstreamLevel. The first stretch's entrance loss belongs into its MinorK. At
// a change of bore the energy line is kept and the grade line steps.
func Grade(f Fluid, l Line, upstreamLevel, flow float64) (GradeLine, error) {
	if err := l.check("Grade"); err != nil {
		return GradeLine{}, err
	}
	n := len(l.Station)
	g := GradeLine{HGL: make([]float64, n), EGL: make([]float64, n), Pressure: make([]float64, n), Velocity: make([]float64, n-1)}
	energy := upstreamLevel
	for i := range n {
		p := l.Pipe[min(i, n-2)]
		if i > 0 {
			k := 0.0
			if l.MinorK != nil {
				k = l.MinorK[i-1]
			}
			loss, err := HeadLoss(f, l.Pipe[i-1], l.PipeLength(i-1), flow, k)
			if err != nil {
				return GradeLine{}, err
			}
			energy -= loss
			g.Velocity[i-1] = flow / l.Pipe[i-1].Area()
			g.Transition = g.Transition || RegimeOf(Reynolds(f, l.Pipe[i-1], flow)) == Transition && flow > 0
		}
		g.EGL[i] = energy
		g.HGL[i] = energy - sq(flow/p.Area())/(2*Gravity)
		g.Pressure[i] = g.HGL[i] - (l.Invert[i] + p.Inside)
		if g.Pressure[i] < g.Pressure[g.LowestAt] {
			g.LowestAt = i
		}
		for _, q := range l.around(i) {
			if q.Rating > 0 {
				g.MaxRatio = max(g.MaxRatio, (g.HGL[i]-l.Invert[i])/q.Rating)
			}
		}
	}
	g.Loss = upstreamLevel - energy
	return g, nil
}

// around gives the pipes that meet at a station.
func (l *Line) around(i int) []Pipe {
	return l.Pipe[max(i-1, 0):min(i+1, len(l.Pipe))]
}

// Leg is one line of a water path and the free surface that it begins in.
type Leg struct {
	Line
	LevelM float64 // pool, settling box
}

// GradePath follows a flow from free surface to free surface: each leg begins
// at its own level, so what a leg brings above the next level is lost there.
// It gives the grade line of every leg and the level in which the last one
// ends, the running level of the standpipe. A leg whose water does not reach
// the next level is a *ShortLegError.
func GradePath(f Fluid, legs []Leg, flow float64) (lines []GradeLine, level float64, err error) {
	for i, leg := range legs {
		g, err := Grade(f, leg.Line, leg.LevelM, flow)
		if err != nil {
			return nil, 0, err
		}
		lines = append(lines, g)
		level = g.EGL[len(g.EGL)-1] - sq(g.Velocity[len(g.Velocity)-1])/(2*Gravity) // the velocity head is lost at the exit
		if i+1 < len(legs) && level < legs[i+1].LevelM {
			return nil, 0, &ShortLegError{i, level, legs[i+1].LevelM}
		}
	}
	return lines, level, nil
}

// ShortLegError says that at the flow the water of a leg stays below the free
// surface it should feed.
type ShortLegError struct {
	Leg            int
	LevelM, NeedsM float64
}

func (e *ShortLegError) Error() string {
	return fmt.Sprintf("hydraulics: leg %d brings the water to %.3g m, it must reach %.3g m", e.Leg, e.LevelM, e.NeedsM)
}

// RequiredRating is the greatest head in metres that each stretch must stand:
// static is the level that stands in the line when its lower end is shut (the
// source for a supply pipe, the pump's shut-off head for a blocked delivery
// pipe), surge the rise that comes on top.
func (l *Line) RequiredRating(staticM, surgeM float64) []float64 {
	need := make([]float64, len(l.Pipe))
	for i := range need {
		need[i] = staticM + surgeM - min(l.Invert[i], l.Invert[i+1])
	}
	return need
}

// Spot is something along a line that a person must see to. Value and Limit
// are in SI units of what the code names.
type Spot struct {
	Code         string
	At           int // station
	Value, Limit float64
}

// The codes of spots.
const (
	SpotAboveGrade = "above_grade_line" // pressure head and 0, m: it sucks air or stops
	SpotNearGrade  = "near_grade_line"  // pressure head and 0.5, m: vent it
	SpotSummit     = "summit"           // velocity and the flushing velocity of the leg behind it, m/s: vent where it is not flushed
	SpotSag        = "sag"              // depth below the next summit downstream, m, and 0: drain and silt trap
	SpotSlow       = "not_self_cleaning"
	SpotRating     = "pressure_class" // head and rating, m
	SpotFlat       = "too_flat"       // fall over length and 0.002
)

// Bounds of Inspect. Jordan, Handbook of Gravity-Flow Water Systems, pp. 52–53
// for the velocity; the rest is common practice, no source.
const (
	leastPressure     = 0.5
	selfCleaning      = 0.7
	leastSlope        = 0.002
	pocketVolumeRatio = 1.0 // large pockets: the highest of Escarameia's steps
)

// Inspect walks along a running line and lists what stands out, station by
// station. staticM and surgeM are as for RequiredRating.
func (l *Line) Inspect(g GradeLine, staticM, surgeM float64) []Spot {
	var spots []Spot
	add := func(code string, at int, value, limit float64) {
		spots = append(spots, Spot{code, at, value, limit})
	}
	need := l.RequiredRating(staticM, surgeM)
	n := len(l.Station)
	for i := range n {
		// The mouth itself lies in the pool and needs no cover.
		if i > 0 && g.Pressure[i] < 0 {
			add(SpotAboveGrade, i, g.Pressure[i], 0)
		} else if i > 0 && i < n-1 && g.Pressure[i] < leastPressure && l.isSummit(i) {
			add(SpotNearGrade, i, g.Pressure[i], leastPressure)
		}
		if l.isSummit(i) {
			slope := (l.Invert[i] - l.Invert[i+1]) / l.PipeLength(i)
			add(SpotSummit, i, g.Velocity[i], FlushingVelocity(l.Pipe[i].Inside, slope, pocketVolumeRatio))
		}
		if l.isSag(i) {
			add(SpotSag, i, l.nextSummit(i)-l.Invert[i], 0)
		}
		if i == n-1 {
			break
		}
		if g.Velocity[i] < selfCleaning && (i == 0 || g.Velocity[i-1] >= selfCleaning) {
			add(SpotSlow, i, g.Velocity[i], selfCleaning)
		}
		if s := (l.Invert[i] - l.Invert[i+1]) / l.PipeLength(i); s >= 0 && s < leastSlope {
			add(SpotFlat, i, s, leastSlope)
		}
		if r := l.Pipe[i].Rating; r > 0 && need[i] > r {
			add(SpotRating, i, need[i], r)
		}
	}
	return spots
}

// isSummit says that the pipe rises to a station and falls from it; on a level
// top the last station counts.
func (l *Line) isSummit(i int) bool {
	if i == 0 || i == len(l.Invert)-1 || !(l.Invert[i+1] < l.Invert[i]) {
		return false
	}
	k := i - 1
	for k > 0 && l.Invert[k] == l.Invert[i] {
		k--
	}
	return l.Invert[k] < l.Invert[i]
}

// isSag says that the pipe falls to a station and rises from it.
func (l *Line) isSag(i int) bool {
	if i == 0 || i == len(l.Invert)-1 || !(l.Invert[i+1] > l.Invert[i]) {
		return false
	}
	k := i - 1
	for k > 0 && l.Invert[k] == l.Invert[i] {
		k--
	}
	return l.Invert[k] > l.Invert[i]
}

// nextSummit is the height of the next local top downstream of a station.
func (l *Line) nextSummit(i int) float64 {
	for i+1 < len(l.Invert) && l.Invert[i+1] >= l.Invert[i] {
		i++
	}
	return l.Invert[i]
}

// FlushingVelocity is the velocity in m/s that carries an air pocket down a
// pipe that falls at a slope (fall over pipe length, the sine of its angle):
// V/√(gD) = a + 0.56·√(sin θ), Escarameia, Proc. ICE Water Management 160
// (2007) 25–34, for slopes up to 22°. a grows with the pocket's volume over
// πD³/4: 0.45 below 0.06, 0.50 below 0.12, 0.57 below 0.30, 0.61 up to 2 (the
// steps from memory). May, Allen & Nelson (2018) found like Froude numbers at
// 25 and 38 mm.
func FlushingVelocity(inside, slope, pocket float64) float64 {
	a := 0.61
	switch {
	case pocket < 0.06:
		a = 0.45
	case pocket < 0.12:
		a = 0.50
	case pocket < 0.30:
		a = 0.57
	}
	return math.Sqrt(Gravity*inside) * (a + 0.56*math.Sqrt(max(slope, 0)))
}

// FlushingVelocityWisner is the older and safer V/√(gD) = 0.825 + 0.25·√(sin θ)
// of Wisner, Mohsen & Kouwen, J. Hydraul. Div. ASCE 101 (1975) 243–257, as
// given by Sanks, Pumping Station Design.
func FlushingVelocityWisner(inside, slope float64) float64 {
	return math.Sqrt(Gravity*inside) * (0.825 + 0.25*math.Sqrt(max(slope, 0)))
}

// BendThrust is the force in newtons that a head of water pushes a bend of an
// angle (radians) outwards with: 2·p·A·sin(θ/2).
func BendThrust(f Fluid, p Pipe, headM, angle float64) float64 {
	return 2 * f.Density * Gravity * headM * p.Area() * math.Sin(angle/2)
}

// EndThrust is the force in newtons on a shut end: p·A.
func EndThrust(f Fluid, p Pipe, headM float64) float64 {
	return f.Density * Gravity * headM * p.Area()
}
