package profile

import (
	"math"
	"math/rand/v2"
	"sort"

	"gonum.org/v1/gonum/mat"
)

// errorDraws makes heights that a surface with the same error might have
// shown along a stretch of creek: the error is drawn as the surface states it
// and read the way the heights were read.
//
// What goes together over a distance is drawn at every cell along the line,
// with the covariance that DiffSigma implies, and counts as common to all that
// a station reads across the flow. What is white from cell to cell is drawn in
// a grid of cells along the line.
type errorDraws struct {
	reach
	half   int         // half cells read to each side
	at     []float64   // of each station along the line, in cells
	across [][]float64 // heights that the station was read from; NaN where void
	root   *mat.TriDense
	whiteM float64
	random *rand.Rand

	// The last draw, one entry a station of the reach.
	common []float64 // the part that goes together
	read   []float64 // by how much the height read is off
}

// touchingM is a distance at which all but the white part of the error is
// common to two heights.
const touchingM = 1e-8

// whiteVariance is the variance of the part of the surface's error that no two
// heights share, half the least variance of a difference.
func (p *Profile) whiteVariance(g Ground) float64 {
	if len(p.Points) == 0 {
		return 0 // known by levels alone
	}
	at := p.Points[0]
	beside := at
	beside[0] += touchingM
	s := g.DiffSigma(at, beside)
	if math.IsNaN(s) {
		return 0
	}
	return s * s / 2
}

// newErrorDraws prepares the draws for a reach; nil when the surface states
// no error there.
func (p *Profile) newErrorDraws(g Ground, o ThalwegOptions, r reach, seed uint64) *errorDraws {
	n := r.to - r.from + 1
	d := &errorDraws{reach: r, half: o.halfCells(), whiteM: math.Sqrt(p.whiteVariance(g)),
		random: rand.New(rand.NewPCG(seed, 0x5eed)), common: make([]float64, n), read: make([]float64, n)}
	for i := r.from; i <= r.to; i++ {
		d.at = append(d.at, float64(p.Stations[i]-p.Stations[r.from])/o.unitM())
		d.across = append(d.across, p.readAcross(g, o, p.Stations[i], nil))
	}
	nodes := int(d.at[n-1]) + 2
	gamma := mat.NewSymDense(nodes, nil)
	most := 0.0
	for i := range nodes {
		a := p.Alignment.PointAt(p.Stations[r.from] + Station(float64(i)*o.unitM()))
		far := a
		far[0] += farM
		s := g.DiffSigma(a, far)
		most = max(most, s*s/2)
		for j := range i {
			b := p.Alignment.PointAt(p.Stations[r.from] + Station(float64(j)*o.unitM()))
			s := g.DiffSigma(a, b)
			gamma.SetSym(i, j, s*s/2-d.whiteM*d.whiteM)
			most = max(most, s*s/2)
		}
	}
	if !(most > 0) || math.IsInf(most, 1) {
		return nil
	}
	sill := max(0, most-d.whiteM*d.whiteM)
	for i := range nodes {
		for j := range i {
			gamma.SetSym(i, j, sill-max(0, gamma.At(i, j)))
		}
		gamma.SetSym(i, i, sill+1e-6*most) // rounding must not make it indefinite
	}
	var factor mat.Cholesky
	if !factor.Factorize(gamma) {
		return nil
	}
	d.root = mat.NewTriDense(nodes, mat.Lower, nil)
	factor.LTo(d.root)
	return d
}

// next makes another draw.
func (d *errorDraws) next() {
	nodes, _ := d.root.Dims()
	normal, along := make([]float64, nodes), make([]float64, nodes)
	for i := range normal {
		normal[i] = d.random.NormFloat64()
		for j := 0; j <= i; j++ {
			along[i] += d.root.At(i, j) * normal[j]
		}
	}
	rows := d.half + 2
	white := make([]float64, nodes*rows)
	for i := range white {
		white[i] = d.whiteM * d.random.NormFloat64()
	}
	var was, is []float64
	for k, at := range d.at {
		i := min(int(at), nodes-2)
		u := at - float64(i)
		d.common[k] = (1-u)*along[i] + u*along[i+1]
		was, is = was[:0], is[:0]
		for c, z := range d.across[k] {
			if math.IsNaN(z) {
				continue
			}
			row, v := c/2, float64(c%2)/2
			e := (1-u)*((1-v)*white[i*rows+row]+v*white[i*rows+row+1]) + u*((1-v)*white[(i+1)*rows+row]+v*white[(i+1)*rows+row+1])
			was, is = append(was, z), append(is, z+e)
		}
		d.read[k] = d.common[k]
		if len(is) > 0 {
			sort.Float64s(was)
			sort.Float64s(is)
			d.read[k] += quantileOf(is, readQuantile) - quantileOf(was, readQuantile)
		}
	}
}
