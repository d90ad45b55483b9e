package dem

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"
)

// A mapping takes frame coordinates to cell positions by polynomials instead
// of calling PROJ for every height: the relation of two map projections is
// analytic, so over a window of a few kilometres a low degree follows it to a
// small part of a cell. fitMapping proves that at points it was not fitted to.
type mapping struct {
	domain         orb.Bound
	blocksE        int // blocks along easting
	blocksN        int
	perE, perN     float64 // blocks in a metre
	blocks         []patch
	worst          float64 // largest error at the check points, in cells
	checked        int     // number of check points
	blockE, blockN float64 // size of a block, metres
}

// patch is one bivariate polynomial pair of total degree d in u and v, the
// block's coordinates scaled to [-1, 1]. Coefficients lie in the order in
// which a nested Horner scheme wants them.
type patch struct {
	centreE, centreN float64
	scaleE, scaleN   float64
	degree           int
	coef             []pair
}

type pair struct{ x, y float64 }

const (
	maxDegree = 6
	// chebNodes in each direction: two more than the highest degree needs, so
	// that what is cut off is seen as error and not folded back.
	chebNodes = 9
	// checkNodes in each direction, evenly spread with the edges included.
	checkNodes = 12
	// mapTolerance in cells. A slope of 1 turns it into a quarter of a
	// millimetre of height on 1 m cells.
	mapTolerance = 2.5e-4
	maxBlocks    = 32
)

// toCells converts frame points in place to cell positions.
type toCells func(e, n []float64)

// fitMapping fits a mapping over domain. It takes the lowest degree that
// keeps every check point within tolerance, and cuts the domain into ever
// smaller blocks when none does.
func fitMapping(domain orb.Bound, convert toCells, tolerance float64) (*mapping, error) {
	worst := math.NaN()
	for blocks := 1; blocks <= maxBlocks; blocks *= 2 {
		m := newBlocks(domain, blocks)
		lost := false
		worst, lost = m.fit(convert, tolerance)
		if lost {
			return nil, fmt.Errorf("some places of the window have no coordinates in the raster's system")
		}
		if worst <= tolerance {
			return m, nil
		}
	}
	return nil, fmt.Errorf("the raster's system is not smooth here: off by %.2g cells", worst)
}

func newBlocks(domain orb.Bound, blocks int) *mapping {
	m := &mapping{domain: domain, blocksE: blocks, blocksN: blocks, blocks: make([]patch, blocks*blocks)}
	m.blockE = (domain.Max[0] - domain.Min[0]) / float64(blocks)
	m.blockN = (domain.Max[1] - domain.Min[1]) / float64(blocks)
	m.perE, m.perN = 1/m.blockE, 1/m.blockN
	for j := 0; j < blocks; j++ {
		for i := 0; i < blocks; i++ {
			m.blocks[j*blocks+i] = patch{
				centreE: domain.Min[0] + (float64(i)+0.5)*m.blockE, centreN: domain.Min[1] + (float64(j)+0.5)*m.blockN,
				scaleE: 2 / m.blockE, scaleN: 2 / m.blockN,
			}
		}
	}
	return m
}

// fit fits all blocks with one conversion, and gives the largest error at
// check points; lost tells that a point has no image.
func (m *mapping) fit(convert toCells, tolerance float64) (worst float64, lost bool) {
	const perBlock = chebNodes*chebNodes + checkNodes*checkNodes
	e := make([]float64, 0, perBlock*len(m.blocks))
	n := make([]float64, 0, cap(e))
	for k := range m.blocks {
		b := &m.blocks[k]
		for _, v := range chebAt {
			for _, u := range chebAt {
				e, n = append(e, b.centreE+u/b.scaleE), append(n, b.centreN+v/b.scaleN)
			}
		}
		for j := 0; j < checkNodes; j++ {
			for i := 0; i < checkNodes; i++ {
				u, v := checkAt(i), checkAt(j)
				e, n = append(e, b.centreE+u/b.scaleE), append(n, b.centreN+v/b.scaleN)
			}
		}
	}
	convert(e, n)
	if !finite(e...) || !finite(n...) {
		return math.Inf(1), true
	}
	for k := range m.blocks {
		at := k * perBlock
		nodes := at + chebNodes*chebNodes
		errBlock := m.blocks[k].fit(e[at:nodes], n[at:nodes], e[nodes:at+perBlock], n[nodes:at+perBlock], tolerance)
		worst = math.Max(worst, errBlock)
	}
	m.worst, m.checked = worst, len(m.blocks)*checkNodes*checkNodes
	return worst, false
}

func checkAt(i int) float64 { return -1 + 2*float64(i)/(checkNodes-1) }

// chebAt are the Chebyshev nodes of the first kind.
var chebAt = func() (x [chebNodes]float64) {
	for i := range x {
		x[i] = math.Cos(math.Pi * (float64(i) + 0.5) / chebNodes)
	}
	return x
}()

// chebMonomial[i] are the coefficients of T_i in powers of its argument.
var chebMonomial = func() (t [maxDegree + 1][maxDegree + 1]float64) {
	t[0][0], t[1][1] = 1, 1
	for i := 2; i <= maxDegree; i++ { // T_i = 2u T_(i-1) - T_(i-2)
		for k := 0; k <= maxDegree; k++ {
			if k > 0 {
				t[i][k] += 2 * t[i-1][k-1]
			}
			t[i][k] -= t[i-2][k]
		}
	}
	return t
}()

// fit chooses the lowest degree that is good enough at the check points and
// returns its largest error there.
func (b *patch) fit(nodeX, nodeY, checkX, checkY []float64, tolerance float64) float64 {
	cx, cy := chebyshev(nodeX), chebyshev(nodeY)
	worst := math.Inf(1)
	for d := 1; d <= maxDegree; d++ {
		b.degree, b.coef = d, nested(cx, cy, d)
		worst = 0
		for j := 0; j < checkNodes; j++ {
			for i := 0; i < checkNodes; i++ {
				x, y := b.at(checkAt(i), checkAt(j))
				k := j*checkNodes + i
				worst = math.Max(worst, math.Max(math.Abs(x-checkX[k]), math.Abs(y-checkY[k])))
			}
		}
		if worst <= tolerance {
			break
		}
	}
	return worst
}

type chebTable [maxDegree + 1][maxDegree + 1]float64

// chebyshev gives the coefficients of T_i(u) T_j(v), by the discrete
// orthogonality of Chebyshev polynomials at the nodes of the first kind
// (Press et al., Numerical Recipes, 3rd ed., eq. 5.8.7, in two variables).
func chebyshev(values []float64) (c chebTable) {
	for j := 0; j <= maxDegree; j++ {
		for i := 0; i <= maxDegree; i++ {
			sum := 0.0
			for q := 0; q < chebNodes; q++ {
				for p := 0; p < chebNodes; p++ {
					sum += values[q*chebNodes+p] * chebCos(i, p) * chebCos(j, q)
				}
			}
			weight := 4.0
			if i == 0 {
				weight /= 2
			}
			if j == 0 {
				weight /= 2
			}
			c[j][i] = sum * weight / (chebNodes * chebNodes)
		}
	}
	return c
}

// chebCos is T_i at node p.
func chebCos(i, p int) float64 { return chebCosTable[i][p] }

var chebCosTable = func() (t [maxDegree + 1][chebNodes]float64) {
	for i := range t {
		for p := range t[i] {
			t[i][p] = math.Cos(math.Pi * float64(i) * (float64(p) + 0.5) / chebNodes)
		}
	}
	return t
}()

// nested cuts the Chebyshev series at total degree d and orders its powers
// for the Horner scheme of at.
func nested(cx, cy chebTable, d int) []pair {
	var mono [maxDegree + 1][maxDegree + 1]pair
	for j := 0; j <= d; j++ {
		for i := 0; i+j <= d; i++ {
			for q := 0; q <= j; q++ {
				for p := 0; p <= i; p++ {
					w := chebMonomial[i][p] * chebMonomial[j][q]
					mono[q][p].x += cx[j][i] * w
					mono[q][p].y += cy[j][i] * w
				}
			}
		}
	}
	var out []pair
	for q := d; q >= 0; q-- {
		for p := d - q; p >= 0; p-- {
			out = append(out, mono[q][p])
		}
	}
	return out
}

// at evaluates the patch.
func (b *patch) at(u, v float64) (x, y float64) {
	k := 0
	coef := b.coef
	for q := 0; q <= b.degree; q++ {
		var ix, iy float64
		for p := 0; p <= q; p++ {
			c := &coef[k]
			ix, iy = ix*u+c.x, iy*u+c.y
			k++
		}
		x, y = x*v+ix, y*v+iy
	}
	return x, y
}

// slope gives the derivatives of the cell position by easting and northing.
func (b *patch) slope(u, v float64) (xE, xN, yE, yN float64) {
	k := 0
	var x, y, xv, yv, xu, yu float64 // value, and derivatives by v and u
	for q := 0; q <= b.degree; q++ {
		var ix, iy, dx, dy float64
		for p := 0; p <= q; p++ {
			c := &b.coef[k]
			dx, dy = dx*u+ix, dy*u+iy
			ix, iy = ix*u+c.x, iy*u+c.y
			k++
		}
		xv, yv = xv*v+x, yv*v+y
		x, y = x*v+ix, y*v+iy
		xu, yu = xu*v+dx, yu*v+dy
	}
	return xu * b.scaleE, xv * b.scaleN, yu * b.scaleE, yv * b.scaleN
}

// patchAt is the patch for a point and the point's place in it; nil outside
// the domain.
func (m *mapping) patchAt(p orb.Point) (b *patch, u, v float64) {
	if !(p[0] >= m.domain.Min[0] && p[0] <= m.domain.Max[0] && p[1] >= m.domain.Min[1] && p[1] <= m.domain.Max[1]) {
		return nil, 0, 0
	}
	b = &m.blocks[0]
	if len(m.blocks) > 1 {
		i := min(int((p[0]-m.domain.Min[0])*m.perE), m.blocksE-1)
		j := min(int((p[1]-m.domain.Min[1])*m.perN), m.blocksN-1)
		b = &m.blocks[j*m.blocksE+i]
	}
	return b, (p[0] - b.centreE) * b.scaleE, (p[1] - b.centreN) * b.scaleN
}
