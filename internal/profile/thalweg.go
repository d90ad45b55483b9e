package profile

import (
	"context"
	"fmt"
	"math"
	"sort"

	"github.com/paulmach/orb"

	"route/internal/finding"
	"route/internal/quantity"
)

// Flow says how the direction of the creek is known.
type Flow int

// The ways.
const (
	FlowFromTerrain Flow = iota // the heights decide
	FlowAsDrawn                 // the line runs downstream
	FlowAgainst                 // the line runs upstream
)

// ThalwegOptions are the choices for Thalweg. The zero value works.
type ThalwegOptions struct {
	// CellM is the cell of the surface in metres; 0 means 1 m.
	CellM float64
	// TrackSigmaM is the standard deviation of the walked line's position in
	// metres; 0 means 7 m, a hand-held receiver under trees.
	TrackSigmaM float64
	// ExtendM is how far the creek is followed beyond both ends of the walked
	// line, so that the fit has neighbours there; the extension is cut off
	// again. 0 means 100 m or four cells, negative means not at all.
	ExtendM float64
	// MinGradient is the least fall of the fitted line in metres per metre;
	// 0 means 1e-4.
	MinGradient float64
	// Flow is how the direction of the creek is known.
	Flow Flow
	// MaxVoidShare is the greatest share of stations without a height; 0
	// means 0.05.
	MaxVoidShare float64
}

func (o ThalwegOptions) withDefaults() ThalwegOptions {
	def := func(v *float64, d float64) {
		if *v == 0 {
			*v = d
		}
	}
	def(&o.CellM, 1)
	def(&o.TrackSigmaM, 7)
	def(&o.ExtendM, max(100, 4*o.CellM))
	def(&o.MinGradient, 1e-4)
	def(&o.MaxVoidShare, 0.05)
	o.ExtendM = max(0, o.ExtendM)
	return o
}

// sigmaM is how far the walked line and the channel in the raster may be
// apart: the receiver's error and half a cell.
func (o ThalwegOptions) sigmaM() float64 { return math.Hypot(o.TrackSigmaM, o.CellM/2) }

// corridorM is how far from the walked line the creek is looked for.
func (o ThalwegOptions) corridorM() float64 {
	return max(10, min(3*o.TrackSigmaM+2*o.CellM, 60))
}

// lowM is how far around a cell the lowest ground is looked for.
func (o ThalwegOptions) lowM() float64 {
	return max(8, 1.5*o.TrackSigmaM, 1.5*o.CellM)
}

// acrossM is the half width of the strip across the flow from which a
// station's height is taken.
func (o ThalwegOptions) acrossM() float64 {
	if o.CellM >= 5 {
		return 1.5 * o.CellM
	}
	return o.CellM
}

// stepM is the distance between stations.
func (o ThalwegOptions) stepM() float64 { return max(o.CellM/2, 0.5) }

// ReachM is how far from the walked line Thalweg reads the surface.
func (o ThalwegOptions) ReachM() float64 {
	o = o.withDefaults()
	return o.corridorM() + o.lowM() + o.ExtendM + o.extendHalfM() + 2*o.CellM
}

// CorridorM is how far from the walked line Thalweg looks for the creek.
func (o ThalwegOptions) CorridorM() float64 { return o.withDefaults().corridorM() }

func (o ThalwegOptions) extendHalfM() float64 { return max(25, 3*o.CellM) }

// Thalweg finds the line of lowest ground near a line that somebody walked or
// drew along a creek, and cuts a long profile of the surface along it.
//
// The line is the cheapest path of the corridor around the walked legs, where
// height above the lowest ground nearby is dear (see path.go); its direction
// is taken from the heights. Raw heights are the 20 % quantile across the
// flow; the water line is the falling median-quantile fit to them (see
// fit.go), on cells of 5 m and more one that resists bending (see stiffen.go),
// with what stands across the creek and what is void left out and
// bridged straight. On simulated valleys the line lies 0.2 to 0.3 m (mean)
// off the true thalweg on 1 m cells, 1 to 1.5 m on 5 m cells, with a track
// error of 3 to 12 m; its length is within a few per cent.
//
// Findings say what a person should check, with the place. The error is a
// *finding.Fault when the data cannot give a profile, and the context's error
// when that ends first.
func Thalweg(ctx context.Context, g Ground, walked []orb.LineString, o ThalwegOptions) (*Profile, []finding.Finding, error) {
	o = o.withDefaults()
	t := thalweg{g: g, o: o}
	if err := t.takeWalk(walked); err != nil {
		return nil, nil, err
	}
	if err := t.findLine(ctx); err != nil {
		return nil, nil, err
	}
	if err := t.cut(ctx); err != nil {
		return nil, nil, err
	}
	return t.p, t.findings, nil
}

// thalweg carries one run of Thalweg.
type thalweg struct {
	g        Ground
	o        ThalwegOptions
	walk     walk
	outside  int // vertices of the walk without a height
	vertices int
	near     *corridor
	main     orb.LineString // downstream
	up, down orb.LineString // extensions, away from main, without main's end
	p        *Profile
	findings []finding.Finding
}

func (t *thalweg) say(f finding.Finding) { t.findings = append(t.findings, f) }

// maxBlindShare is the share of the walk's points without a height from which
// on the lowest way beside them is not taken for the creek. A track's own error
// puts a point or two beside a hole, not a quarter of them; common practice, no
// source.
const maxBlindShare = 0.25

// takeWalk joins the legs and looks where they lie.
func (t *thalweg) takeWalk(walked []orb.LineString) error {
	for _, leg := range walked {
		for _, p := range leg {
			if !finite(p) {
				return &finding.Fault{Code: "creek_not_finite",
					Text: "the creek line has a point without usable coordinates",
					Hint: "remove the broken point from the track"}
			}
			t.vertices++
			if _, ok := t.g.At(p); !ok {
				t.outside++
			}
		}
	}
	if t.vertices < 2 {
		return &finding.Fault{Code: "creek_too_short",
			Text: fmt.Sprintf("the creek line has %d points, at least 2 are needed", t.vertices),
			Hint: "give a track that was walked along the creek"}
	}
	if t.outside == t.vertices {
		return t.offTerrain()
	}
	if float64(t.outside) > maxBlindShare*float64(t.vertices) {
		return &finding.Fault{Code: "creek_void",
			Text: fmt.Sprintf("the terrain has no height at %d of %d points of the creek line: a way round the holes would not be the creek", t.outside, t.vertices),
			Hint: "use terrain without holes along the creek, or give only the part of the creek that has heights"}
	}
	t.walk = joinLegs(walked, 3*t.o.corridorM(), max(t.o.TrackSigmaM, 2*t.o.CellM))
	if t.walk.lengthM < 3*t.o.CellM {
		return t.tooShort(t.walk.lengthM)
	}
	t.sayWalk()
	return nil
}

// findLine fills main, up and down.
func (t *thalweg) findLine(ctx context.Context) error {
	var err error
	t.near, err = newCorridor(ctx, t.g, t.walk.line, t.o.CellM, t.o.corridorM(), t.o.lowM())
	if err != nil {
		return err
	}
	upper, lower := t.walk.line[0], t.walk.line[len(t.walk.line)-1]
	if t.againstFlow() {
		upper, lower = lower, upper
	}
	radius := 1.5 * t.o.sigmaM()
	from := t.near.lowestNear(upper, radius, t.o.corridorM())
	to := t.near.lowestNear(lower, radius, t.o.corridorM())
	if from < 0 || to < 0 {
		return t.offTerrain()
	}
	cells, ok, err := t.near.lowestPath(ctx, from, func(i int) bool { return i == to }, t.o.sigmaM(), t.o.corridorM(), false)
	if err != nil {
		return err
	}
	if !ok {
		return t.offTerrain()
	}
	t.main = t.near.trace(cells)
	if length := lengthOf(t.main); length < 3*t.o.CellM {
		return t.tooShort(length)
	}
	if t.o.ExtendM > 0 {
		if t.up, err = t.extend(ctx, reversed(t.main), true); err != nil {
			return err
		}
		if t.down, err = t.extend(ctx, t.main, false); err != nil {
			return err
		}
	}
	return nil
}

// againstFlow decides whether the line was walked upstream.
func (t *thalweg) againstFlow() bool {
	switch t.o.Flow {
	case FlowAsDrawn:
		return false
	case FlowAgainst:
		return true
	}
	fall, clear := t.near.fallAlong(t.walk, t.g)
	t.sayFlow(fall, clear)
	return clear && fall < 0
}

// extend follows the creek beyond the end of line, along lowest ground in a
// strip that goes straight on. It stops where the ground is unknown and where
// it no longer goes the right way.
func (t *thalweg) extend(ctx context.Context, line orb.LineString, upstream bool) (orb.LineString, error) {
	a, err := NewAlignment(line, 0)
	if err != nil {
		return nil, err
	}
	end := line[len(line)-1]
	dir := unit(a.PointAt(a.End()-Station(max(30, 3*t.o.CellM))), end)
	ahead := orb.LineString{end, {end[0] + dir[0]*t.o.ExtendM, end[1] + dir[1]*t.o.ExtendM}}
	half := t.o.extendHalfM()
	c, err := newCorridor(ctx, t.g, ahead, t.o.CellM, half, t.o.lowM())
	if err != nil {
		return nil, err
	}
	from := c.at(end)
	if from < 0 || c.z[from] != c.z[from] {
		return nil, nil
	}
	goal := float32(t.o.ExtendM - t.o.CellM)
	cells, ok, err := c.lowestPath(ctx, from, func(i int) bool { return c.along[i] >= goal }, half/2, half, upstream)
	if err != nil || !ok {
		return nil, err
	}
	sign := float32(1)
	if upstream {
		sign = -1
	}
	last := 0 // lowest (highest) cell before the first void
	for i, cell := range cells {
		z := c.z[cell]
		if z != z {
			break
		}
		if sign*(c.z[cells[last]]-z) >= 0 {
			last = i
		}
	}
	if last == 0 {
		return nil, nil
	}
	return c.trace(cells[:last+1])[1:], nil
}

// cut stations the line, reads the heights, fits them and keeps the part
// between the ends of the walked line.
func (t *thalweg) cut(ctx context.Context) error {
	whole := append(append(reversed(t.up), t.main...), t.down...)
	a, err := NewAlignment(whole, Station(-lengthOf(append(reversed(t.up), t.main[0]))))
	if err != nil {
		return err
	}
	mainEnd := Station(lengthOf(t.main))
	stations, first, last := stationing(a, mainEnd, t.o.stepM())
	p := &Profile{Alignment: a, Stations: stations}
	if err := p.read(ctx, t.g, t.o); err != nil {
		return err
	}
	from, to := t.trimVoids(p, first, last)
	if float64(to-from) < (1-maxCutShare)*float64(last-first) {
		from, to = first, last // too much to call it the creek: checkVoids refuses it
	}
	if err := t.checkVoids(p, from, to); err != nil {
		return err
	}
	first, last = from, to
	long := p.fit(t.g, t.o)
	t.p, err = p.between(first, last)
	if err != nil {
		return err
	}
	t.flagGaps()
	t.flagJunctions()
	t.p.judge(t.g)
	t.sayProfile(long, first)
	return nil
}

// maxCutShare is the largest share of a creek that may reach past the terrain
// at its ends; no source.
const maxCutShare = 0.25

// trimVoids moves the ends of the profile in to the first and last station
// with a height: beyond them there is nothing to bridge to.
func (t *thalweg) trimVoids(p *Profile, first, last int) (int, int) {
	from, to := first, last
	for first < to && p.Flags[first]&FlagVoid != 0 {
		first++
	}
	for last > first && p.Flags[last]&FlagVoid != 0 {
		last--
	}
	if cut := p.Stations[first] - p.Stations[from] + p.Stations[to] - p.Stations[last]; cut > 0 {
		t.say(finding.New(finding.Warning, "creek_cut_to_terrain",
			"{0} at the ends of the creek lie where the terrain has no height and were cut off",
			"give terrain that covers the whole creek", quantity.Metres(float64(cut))))
	}
	return first, last
}

// stationing sets stations every stepM from station 0 to both sides, one at
// mainEnd, and on from there. first and last are those at 0 and mainEnd.
func stationing(a *Alignment, mainEnd Station, stepM float64) (stations []Station, first, last int) {
	step := Station(stepM)
	first = int(math.Floor(float64(-a.Start() / step)))
	for k := -first; ; k++ {
		s := Station(k) * step
		if s >= mainEnd-step*1e-6 {
			break
		}
		stations = append(stations, s)
	}
	last = len(stations)
	for k := 0; ; k++ {
		s := mainEnd + Station(k)*step
		if s > a.End() && k > 0 {
			break
		}
		stations = append(stations, s)
	}
	return stations, first, last
}

// read fills Points, RawM and the void and flat flags.
func (p *Profile) read(ctx context.Context, g Ground, o ThalwegOptions) error {
	n := len(p.Stations)
	p.Points = make([]orb.Point, n)
	p.RawM = make([]float64, n)
	p.Flags = make([]Flag, n)
	half := o.halfCells()
	across := make([]float64, 0, 2*half+1)
	heights := make([]float64, 0, 2*half+1)
	for i, s := range p.Stations {
		if i%256 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		heights = heights[:0]
		across = p.readAcross(g, o, s, across[:0])
		for _, z := range across {
			if !math.IsNaN(z) {
				heights = append(heights, z)
			}
		}
		p.Points[i] = p.Alignment.PointAt(s)
		p.RawM[i] = math.NaN()
		if 2*len(heights) > 2*half { // more than half of them
			sort.Float64s(heights)
			p.RawM[i] = quantileOf(heights, readQuantile)
		} else {
			p.Flags[i] |= FlagVoid
		}
	}
	p.mark(flats(p.RawM), FlagFlat)
	return nil
}

// readQuantile is the quantile of the heights across the flow that stands for
// the water line; its small low bias is common to all stations.
const readQuantile = 0.2

// halfCells is how many half cells a station reads to each side.
func (o ThalwegOptions) halfCells() int { return int(math.Round(2 * o.acrossM() / o.CellM)) }

// readAcross appends the heights every half cell across the flow; NaN where
// void.
func (p *Profile) readAcross(g Ground, o ThalwegOptions, s Station, heights []float64) []float64 {
	at := p.Alignment.PointAt(s)
	dir := p.Alignment.DirectionAt(s, 2*o.CellM)
	half := o.halfCells()
	for k := -half; k <= half; k++ {
		d := float64(k) * o.CellM / 2
		z, ok := g.At(orb.Point{at[0] + dir[1]*d, at[1] - dir[0]*d})
		if !ok {
			z = math.NaN()
		}
		heights = append(heights, z)
	}
	return heights
}

// fit fills ZM, LowM and HighM, flags what stands across the creek and sees
// what the fit leaves of the surface's error. It returns the runs that stand
// out for longer than a bridge.
func (p *Profile) fit(g Ground, o ThalwegOptions) (long []reach) {
	weight, long := p.weights(o)
	chosen := p.try(g, o, weight)
	p.smoothing, p.passed = chosen.smoothing, chosen.passed
	p.drawLines(weight, o)
	return long
}

// weights flags what stands across the creek; it and what is void has the
// weight 0, all else 1.
func (p *Profile) weights(o ThalwegOptions) (weight []float64, long []reach) {
	weight = make([]float64, len(p.Stations))
	for i := range weight {
		if p.Flags[i]&FlagVoid == 0 {
			weight[i] = 1
		}
	}
	z20 := p.fall(weight, 0.2, o, smoothing{})
	short, long := bridges(p.RawM, z20, p.Stations, o.CellM)
	p.mark(short, FlagBridge)
	for i := range weight {
		if p.Flags[i]&FlagBridge != 0 {
			weight[i] = 0
		}
	}
	return weight, long
}

// drawLine fills ZM with the profile's smoothing.
func (p *Profile) drawLine(weight []float64, o ThalwegOptions) {
	p.ZM = fallingLine(p.Stations, p.RawM, weight, 0.5, o, p.smoothing, &p.rough)
}

// drawLines fills ZM, LowM and HighM.
func (p *Profile) drawLines(weight []float64, o ThalwegOptions) {
	p.drawLine(weight, o)
	p.LowM = p.fall(weight, 0.1, o, smoothing{})
	p.HighM = p.fall(weight, 0.9, o, smoothing{})
	for i := range p.ZM {
		p.LowM[i] = min(p.LowM[i], p.ZM[i])
		p.HighM[i] = max(p.HighM[i], p.ZM[i])
	}
}

// fall is the falling fit at quantile tau to the raw heights.
func (p *Profile) fall(weight []float64, tau float64, o ThalwegOptions, how smoothing) []float64 {
	return fallingLine(p.Stations, p.RawM, weight, tau, o, how, nil)
}

// fallingLine is the falling fit at quantile tau with at least o.MinGradient of
// fall, which may also resist bending, by the roughness given; where none is, it
// is measured and put there.
// Stations of weight zero take no part; they lie straight between their
// neighbours in the fit, and beyond the first and last fitted station the
// line goes on with the least gradient.
func fallingLine(stations []Station, raw, weight []float64, tau float64, o ThalwegOptions, how smoothing, rough *roughness) []float64 {
	minGradient := o.MinGradient
	var at []int
	var on []Station
	var y, w []float64
	for i, v := range weight {
		if v > 0 {
			at = append(at, i)
			on = append(on, stations[i])
			y = append(y, raw[i]+minGradient*float64(stations[i]))
			w = append(w, v)
		}
	}
	u := fallingQuantile(y, w, tau)
	if how.stiffness > 0 {
		if rough == nil {
			rough = &roughness{}
		}
		if *rough == (roughness{}) {
			*rough = roughnessOf(y, u, max(1, o.cellStations()))
		}
		u = stiffen(on, y, w, u, tau, o, how, *rough)
	}
	z := make([]float64, len(weight))
	next := 0 // first fitted station not before i
	for i, s := range stations {
		for next < len(at) && at[next] < i {
			next++
		}
		var v float64
		switch {
		case next == len(at):
			v = u[next-1]
		case at[next] == i || next == 0:
			v = u[next]
		default:
			s0, s1 := stations[at[next-1]], stations[at[next]]
			k := float64((s - s0) / (s1 - s0))
			v = u[next-1]*(1-k) + u[next]*k
		}
		z[i] = v - minGradient*float64(s)
		if i > 0 {
			z[i] = min(z[i], z[i-1]) // rounding of the interpolation
		}
	}
	return z
}

// between keeps the stations first to last and counts them from zero.
func (p *Profile) between(first, last int) (*Profile, error) {
	from, to := p.Stations[first], p.Stations[last]
	a, err := NewAlignment(p.Alignment.part(from, to), 0)
	if err != nil {
		return nil, err
	}
	q := &Profile{
		Alignment: a,
		Stations:  p.Stations[first : last+1],
		Points:    p.Points[first : last+1],
		RawM:      p.RawM[first : last+1],
		ZM:        p.ZM[first : last+1],
		LowM:      p.LowM[first : last+1],
		HighM:     p.HighM[first : last+1],
		Flags:     p.Flags[first : last+1],
		smoothing: p.smoothing,
		rough:     p.rough,
		passed:    p.passed,
	}
	q.passed.beforeM = float64(from - p.Stations[0])
	q.passed.afterM = float64(p.Stations[p.Len()-1] - to)
	for i := range q.Stations {
		q.Stations[i] -= from
	}
	q.Stations[q.Len()-1] = a.End() // the same but for rounding
	q.SlopeM = make([]float64, q.Len())
	for i := 1; i < q.Len(); i++ {
		q.SlopeM[i] = q.SlopeM[i-1] + math.Hypot(float64(q.Stations[i]-q.Stations[i-1]), q.ZM[i-1]-q.ZM[i])
	}
	return q, nil
}
