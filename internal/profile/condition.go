package profile

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"
	"gonum.org/v1/gonum/mat"

	"route/internal/finding"
	"route/internal/quantity"
)

// Reading is a drop that was measured on site between the water at two
// stations.
type Reading struct {
	From, To Station
	// DropM is how far the water at To lies below that at From, metres.
	DropM float64
	// SigmaM is the standard deviation of the measurement in metres; 0 means
	// exact.
	SigmaM float64
	// Set, when not 0, joins readings that start from one measured height,
	// whose own standard deviation SharedM they have in common.
	Set     int
	SharedM float64
}

// Certainty is what is known about the heights along a creek once drops were
// measured. It wraps the surface: heights are the surface's, and the standard
// deviation of a difference is that of all that is known, the fit of the
// profile included. It is immutable and safe for concurrent use.
//
// It is the exact conditioning of a Gaussian error (Rasmussen & Williams 2006,
// Gaussian Processes for Machine Learning, eq. 2.23–2.24), written with the
// variances of differences alone: for weights that add up to nothing,
// Cov(Σ aᵢeᵢ, Σ bⱼeⱼ) = −½ ΣΣ aᵢbⱼ Var(eᵢ−eⱼ) (Matheron 1963, Economic
// Geology 58, 1246–1266). For m readings and n stations the
// heights cost O(m³ + n·m), their standard deviations O(n·m²).
type Certainty struct {
	prior    *Profile
	ground   Ground
	profile  *Profile
	readings []Reading
	white    float64 // variance of the surface's white error
	drops    []contrast
	inverse  *mat.SymDense // of the covariance of what the readings say
	pull     []float64     // inverse times the readings' surprise
}

// exactM stands for the standard deviation of an exact reading: a micrometre
// keeps the equations solvable when a drop was measured twice.
const exactM = 1e-6

// contrast is a sum of heights whose weights add up to zero: places whose
// common error counts, and what each height adds of its own.
type contrast struct {
	spots []spot
	own   []ownError
}

// spot is a place with its weight.
type spot struct {
	at     orb.Point
	weight float64
}

// ownError is what a height has beyond the error that goes together over a
// distance: on the creek what the fit leaves of it, elsewhere the white part of
// the surface's error.
type ownError struct {
	kind    ownKind
	on      Station
	withinM float64 // of ofSlope: half the stretch of creek that it is common to
	at      orb.Point
	sigmaM  float64
	weight  float64
}

func newCertainty(p *Profile, g Ground, readings []Reading) *Certainty {
	return &Certainty{prior: p, ground: g, profile: p, readings: readings, white: p.whiteVariance(g)}
}

// ownKind tells own errors apart that have nothing in common.
type ownKind int

const (
	ofGround ownKind = iota // white error away from the creek
	ofFit                   // left by the fit, or bridged
	ofSlope                 // where in a cell the height counts
	ofPlace                 // what of that two stations average out between them
)

// Condition takes readings into account. Without readings the profile stays
// what it is. A station outside the profile is a *finding.Fault.
func Condition(p *Profile, g Ground, readings []Reading) (*Certainty, error) {
	c := newCertainty(p, g, readings)
	for _, r := range readings {
		drop, err := p.contrast(r.From, r.To)
		if err != nil {
			return nil, err
		}
		c.drops = append(c.drops, drop)
	}
	if len(readings) == 0 {
		return c, nil
	}
	var factor mat.Cholesky
	if !factor.Factorize(c.predicted()) {
		return nil, unsolvable()
	}
	c.inverse = mat.NewSymDense(len(readings), nil)
	if factor.InverseTo(c.inverse) != nil {
		return nil, unsolvable()
	}
	c.pull = make([]float64, len(readings))
	for j := range readings {
		for k := range readings {
			c.pull[j] += c.inverse.At(j, k) * c.surprise(k)
		}
	}
	c.settle()
	return c, nil
}

// contrast is the drop from one station to another.
func (p *Profile) contrast(from, to Station) (contrast, error) {
	var out contrast
	for _, s := range []Station{from, to} {
		if _, ok := p.HeightAt(s); !ok {
			return contrast{}, p.outside(s)
		}
	}
	p.addHeight(&out, from, 1)
	p.addHeight(&out, to, -1)
	return out, nil
}

func (p *Profile) outside(s Station) error {
	return &finding.Fault{Code: "station_outside",
		Text: fmt.Sprintf("station %v lies outside the creek profile, which runs from %v to %v", s, p.Stations[0], p.Stations[p.Len()-1]),
		Hint: "give stations within the profile"}
}

// addHeight adds a fitted height, straight between two stations.
func (p *Profile) addHeight(c *contrast, s Station, weight float64) {
	const near = 1e-6 // of a step, the rounding of a place on the line
	i := p.Index(s)
	t := 0.0
	if i+1 < p.Len() {
		t = float64((s - p.Stations[i]) / (p.Stations[i+1] - p.Stations[i]))
	}
	if t < 1-near {
		p.addStation(c, i, weight*(1-t))
	}
	if t > near {
		p.addStation(c, i+1, weight*t)
	}
}

// addStation adds the fitted height of a station: the mean of the heights
// around it that the fit makes of them, and what the fit adds.
func (p *Profile) addStation(c *contrast, i int, weight float64) {
	s := p.Stations[i]
	c.spots = p.passed.spots(c.spots, s, weight, p.beyondEnds)
	if p.ownVar != nil && p.ownVar[i] > 0 {
		c.own = append(c.own, ownError{kind: ofFit, on: s, sigmaM: math.Sqrt(p.ownVar[i]), weight: weight})
	}
	if p.slopeErrorM != nil && p.slopeErrorM[i] > 0 {
		c.own = append(c.own, ownError{kind: ofSlope, on: s, withinM: p.slopeWithinM(), sigmaM: p.slopeErrorM[i], weight: weight})
	}
}

// slopeWithinM is half the stretch of creek that the slope term is common to.
func (p *Profile) slopeWithinM() float64 { return min(p.passed.cellM, stepSpacingM) / 2 }

// addBetween adds what the straight line between two stations averages out of
// the slope term, which every place has whole. A place that was measured has
// nothing of it: the line goes through what was read there.
func (c *Certainty) addBetween(what *contrast, s Station, weight float64) {
	p := c.prior
	i := p.Index(s)
	if p.slopeErrorM == nil || i+1 >= p.Len() {
		return
	}
	for _, r := range c.readings {
		if r.From == s || r.To == s {
			return
		}
	}
	stepM := float64(p.Stations[i+1] - p.Stations[i])
	t := float64(s-p.Stations[i]) / stepM
	lost := 2 * t * (1 - t) * apart(stepM, p.slopeWithinM())
	if sigmaM := (1-t)*p.slopeErrorM[i] + t*p.slopeErrorM[i+1]; lost > 0 && sigmaM > 0 {
		what.own = append(what.own, ownError{kind: ofPlace, on: s, sigmaM: sigmaM * math.Sqrt(lost), weight: weight})
	}
}

// beyondEnds is the place of a station. The fit went on beyond both ends for a
// way (passed.beforeM, passed.afterM), straight on here; further out there is
// nothing that it could average.
func (p *Profile) beyondEnds(s Station) orb.Point {
	end, sign := p.Alignment.Start(), Station(-1)
	reach := Station(p.passed.beforeM)
	if s > p.Alignment.End() {
		end, sign, reach = p.Alignment.End(), 1, Station(p.passed.afterM)
	} else if s >= end {
		return p.Alignment.PointAt(s)
	}
	beyond := float64(min(sign*(s-end), reach) * sign)
	at, dir := p.Alignment.PointAt(end), p.Alignment.DirectionAt(end, 1)
	return orb.Point{at[0] + beyond*dir[0], at[1] + beyond*dir[1]}
}

// covariance of two contrasts: the surface's error, and the fit's.
func (c *Certainty) covariance(a, b contrast) float64 {
	sum := 0.0
	for _, u := range a.spots {
		for _, v := range b.spots {
			sum -= u.weight * v.weight * c.variogram(u.at, v.at)
		}
	}
	for _, u := range a.own {
		for _, v := range b.own {
			sum += u.weight * v.weight * c.ownCovariance(u, v)
		}
	}
	return sum
}

// variance of a contrast.
func (c *Certainty) variance(a contrast) float64 {
	sum := c.commonVariance(a.spots)
	for i, u := range a.own {
		sum += u.weight * u.weight * u.sigmaM * u.sigmaM
		for _, v := range a.own[:i] {
			sum += 2 * u.weight * v.weight * c.ownCovariance(u, v)
		}
	}
	return sum
}

// commonVariance is the part of a variance that comes from the error which goes
// together over a distance.
func (c *Certainty) commonVariance(spots []spot) float64 {
	sum := 0.0
	for i, u := range spots {
		for _, v := range spots[:i] {
			sum -= 2 * u.weight * v.weight * c.variogram(u.at, v.at)
		}
	}
	return sum
}

// variogram is half the variance of the difference of two heights, the white
// part left out.
func (c *Certainty) variogram(p, q orb.Point) float64 {
	if p == q {
		return 0
	}
	s := c.ground.DiffSigma(p, q)
	return s*s/2 - c.white
}

// ownCovariance is what the own errors of two heights have in common. A fitted
// height is a mean over a window, so two of them share as much as their windows
// overlap.
func (c *Certainty) ownCovariance(u, v ownError) float64 {
	switch {
	case u.kind != v.kind, u.kind == ofGround && u.at != v.at:
		return 0
	case u.kind == ofGround, u.on == v.on:
		return u.sigmaM * v.sigmaM
	}
	apartM := math.Abs(float64(u.on - v.on))
	if u.kind == ofPlace {
		return 0
	}
	if u.kind == ofFit {
		return u.sigmaM * v.sigmaM * (1 - c.prior.passed.apart(apartM))
	}
	return u.sigmaM * v.sigmaM * (1 - apart(apartM, u.withinM))
}

// noise is the covariance of the errors of two readings.
func (c *Certainty) noise(j, k int) float64 {
	a, b := c.readings[j], c.readings[k]
	v := 0.0
	if j == k {
		s := max(exactM, a.SigmaM)
		v = s*s + a.SharedM*a.SharedM
	} else if a.Set != 0 && a.Set == b.Set {
		v = a.SharedM * b.SharedM
	}
	return v
}

// predicted is the covariance of what the readings may say, before they are
// made.
func (c *Certainty) predicted() *mat.SymDense {
	m := mat.NewSymDense(len(c.readings), nil)
	for j := range c.readings {
		for k := j; k < len(c.readings); k++ {
			m.SetSym(j, k, c.covariance(c.drops[j], c.drops[k])+c.noise(j, k))
		}
	}
	return m
}

// surprise is how much more a reading says than the profile did.
func (c *Certainty) surprise(j int) float64 {
	r := c.readings[j]
	from, _ := c.prior.HeightAt(r.From)
	to, _ := c.prior.HeightAt(r.To)
	return r.DropM - (from - to)
}

// settle makes the profile that follows from the readings.
func (c *Certainty) settle() {
	p, n := c.prior, c.prior.Len()
	q := *p
	q.ZM, q.LowM, q.HighM = make([]float64, n), make([]float64, n), make([]float64, n)
	q.SigmaM, q.SlopeM = make([]float64, n), make([]float64, n)
	q.ownVar, q.slopeErrorM = nil, nil // DiffSigma knows them now
	shared := make([]float64, len(c.readings))
	shift := make([]float64, n)
	fields := make([]map[orb.Point]float64, len(c.drops))
	for j := range fields {
		fields[j] = map[orb.Point]float64{}
	}
	var alone contrast
	for i := range n {
		alone.spots, alone.own = alone.spots[:0], alone.own[:0]
		p.addStation(&alone, i, 1)
		for j, drop := range c.drops {
			// A single height has no contrast; against a drop all that it
			// lacks is the variance of the far away, which cancels there.
			shared[j] = c.withDrop(alone, drop, fields[j])
			shift[i] += shared[j] * c.pull[j]
		}
		q.ZM[i] = p.ZM[i] + shift[i]
		q.SigmaM[i] = math.Sqrt(max(0, p.SigmaM[i]*p.SigmaM[i]-c.explained(shared)))
	}
	notRising(q.ZM, c.anchors())
	for i := range n {
		q.LowM[i] = min(q.ZM[i], p.LowM[i]+shift[i])
		q.HighM[i] = max(q.ZM[i], p.HighM[i]+shift[i])
		if i > 0 {
			q.SlopeM[i] = q.SlopeM[i-1] + math.Hypot(float64(q.Stations[i]-q.Stations[i-1]), q.ZM[i-1]-q.ZM[i])
		}
	}
	notRising(q.LowM, nil)
	notRising(q.HighM, nil)
	c.profile = &q
}

// withDrop is the covariance of a contrast with a drop. field keeps what a
// place has in common with the drop: stations beside each other share most of
// their places.
func (c *Certainty) withDrop(a, drop contrast, field map[orb.Point]float64) float64 {
	sum := 0.0
	for _, u := range a.spots {
		v, known := field[u.at]
		if !known {
			for _, w := range drop.spots {
				v -= w.weight * c.variogram(u.at, w.at)
			}
			field[u.at] = v
		}
		sum += u.weight * v
	}
	for _, u := range a.own {
		for _, v := range drop.own {
			sum += u.weight * v.weight * c.ownCovariance(u, v)
		}
	}
	return sum
}

// explained is the variance that the readings take away, from the covariances
// with each of them.
func (c *Certainty) explained(shared []float64) float64 {
	v := 0.0
	for j := range shared {
		for k := range shared {
			v += shared[j] * c.inverse.At(j, k) * shared[k]
		}
	}
	return v
}

// anchors are the stations at which something was measured.
func (c *Certainty) anchors() map[int]bool {
	at := map[int]bool{}
	for _, r := range c.readings {
		for _, s := range []Station{r.From, r.To} {
			i := c.prior.Index(s)
			at[i] = true
			if i+1 < c.prior.Len() && s > c.prior.Stations[i] {
				at[i+1] = true
			}
		}
	}
	return at
}

// anchorWeight is how much more a measured station counts than another where
// the line would rise.
const anchorWeight = 1e12

// notRising replaces z by the nearest line that does not rise, in least
// squares: the algorithm of pooled adjacent violators (Barlow, Bartholomew,
// Bremner & Brunk 1972, Statistical Inference under Order Restrictions).
func notRising(z []float64, anchors map[int]bool) {
	type block struct {
		mean, weight float64
		from         int
	}
	var blocks []block
	for i, v := range z {
		b := block{v, 1, i}
		if anchors[i] {
			b.weight = anchorWeight
		}
		for len(blocks) > 0 && blocks[len(blocks)-1].mean < b.mean {
			a := blocks[len(blocks)-1]
			blocks = blocks[:len(blocks)-1]
			weight := a.weight + b.weight
			b = block{a.mean + (b.mean-a.mean)*(b.weight/weight), weight, a.from}
		}
		blocks = append(blocks, b)
	}
	for k, b := range blocks {
		to := len(z)
		if k+1 < len(blocks) {
			to = blocks[k+1].from
		}
		for i := b.from; i < to; i++ {
			z[i] = b.mean
		}
	}
}

// Profile is the profile with the readings taken into account.
func (c *Certainty) Profile() *Profile { return c.profile }

// At is the surface's height.
func (c *Certainty) At(p orb.Point) (zM float64, ok bool) { return c.ground.At(p) }

// DiffSigma is the standard deviation in metres of the difference of two
// heights after the readings. At places on the creek the fit's own error
// counts as well.
func (c *Certainty) DiffSigma(p, q orb.Point) float64 {
	if p == q {
		return 0
	}
	var what contrast
	c.addPlace(&what, p, 1)
	c.addPlace(&what, q, -1)
	return c.sigma(what)
}

// DropSigmas is DiffSigma for many pairs of some places: what each place has to
// do with the readings is worked out once. Other places will do as well. It is
// safe for concurrent use.
func (c *Certainty) DropSigmas(places []orb.Point) func(p, q orb.Point) float64 {
	type known struct {
		alone  contrast
		ownVar float64   // as far as variances of differences give it
		shared []float64 // with each reading
	}
	at := make(map[orb.Point]*known, len(places))
	fields := make([]map[orb.Point]float64, len(c.drops))
	for j := range fields {
		fields[j] = map[orb.Point]float64{}
	}
	for _, p := range places {
		k := &known{shared: make([]float64, len(c.drops))}
		c.addPlace(&k.alone, p, 1)
		k.ownVar = c.variance(k.alone)
		for j, drop := range c.drops {
			// As in settle, what a single height lacks cancels in a drop.
			k.shared[j] = c.withDrop(k.alone, drop, fields[j])
		}
		at[p] = k
	}
	return func(p, q orb.Point) float64 {
		a, b := at[p], at[q]
		if p == q || a == nil || b == nil {
			return c.DiffSigma(p, q)
		}
		// A drop's own variance without its readings, as covariance has it.
		own := a.ownVar + b.ownVar - 2*c.covariance(a.alone, b.alone)
		shared := make([]float64, len(c.drops))
		for j := range shared {
			shared[j] = a.shared[j] - b.shared[j]
		}
		return math.Sqrt(max(0, own-c.explained(shared)))
	}
}

// onCreekM is how near to the line a point counts as one of the creek.
const onCreekM = 1e-3

// addPlace adds the height of a point: the fitted one on the creek, that of the
// surface elsewhere.
func (c *Certainty) addPlace(what *contrast, p orb.Point, weight float64) {
	if s, offset := c.prior.Alignment.StationOf(p); math.Abs(offset) <= onCreekM {
		if _, ok := c.prior.HeightAt(s); ok {
			c.prior.addHeight(what, s, weight)
			c.addBetween(what, s, weight)
			return
		}
	}
	what.spots = append(what.spots, spot{p, weight})
	what.own = append(what.own, ownError{at: p, sigmaM: math.Sqrt(c.white), weight: weight})
}

// sigma is the standard deviation of a contrast after the readings.
func (c *Certainty) sigma(what contrast) float64 {
	shared := make([]float64, len(c.drops))
	for j, drop := range c.drops {
		shared[j] = c.covariance(what, drop)
	}
	return math.Sqrt(max(0, c.variance(what)-c.explained(shared)))
}

// Drop is how far the water falls from one station to another by all that is
// known, in metres.
func (c *Certainty) Drop(from, to Station) (quantity.Measure, error) {
	what, err := c.prior.contrast(min(from, to), max(from, to))
	if err != nil {
		return quantity.Measure{}, err
	}
	c.addBetween(&what, min(from, to), 1)
	c.addBetween(&what, max(from, to), -1)
	a, _ := c.profile.HeightAt(from)
	b, _ := c.profile.HeightAt(to)
	return quantity.Measure{Value: a - b, Sigma: c.sigma(what)}, nil
}
