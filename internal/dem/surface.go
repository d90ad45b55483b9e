package dem

import (
	"math"

	"github.com/paulmach/orb"

	"route/internal/finding"
)

// Surface is a window of heights in a site's frame. It never changes and
// needs no lock. It implements profile.Ground.
//
// Heights between cell centres are bilinear in the raster's own grid. The
// position in the grid is known to better than a thousandth of a cell.
type Surface struct {
	sheets   []*sheet // first listed wins
	model    ErrorModel
	cellM    float64
	bound    orb.Bound
	void     float64
	findings []finding.Finding
	tiles    []tile
	steps    map[[2]int]float64 // height step between two tiles, metres
}

// tile is the part of a sheet that came from one file.
type tile struct {
	sheet          *sheet
	file           int
	x0, y0, x1, y1 float64 // outer edges in cell positions of the sheet
}

// At gives the height in metres at a point of the frame. ok is false, and the
// height NaN, outside the window and where a height that the interpolation
// needs is void.
func (s *Surface) At(p orb.Point) (zM float64, ok bool) {
	for _, sh := range s.sheets {
		if z, ok := sh.at(p); ok {
			return z, true
		}
	}
	if len(s.sheets) > 1 {
		return s.betweenSheets(p)
	}
	return math.NaN(), false
}

// betweenReach in cells: the strip between two tiles on different grids is one
// cell wide, plus whatever sliver they leave between them.
const betweenReach = 1.25

// betweenSheets answers in the strip between tiles whose grids do not fit
// together. Each tile is extended linearly; the nearer one counts for more, so
// that the height runs smoothly from one to the other.
func (s *Surface) betweenSheets(p orb.Point) (float64, bool) {
	sum, weights, count := 0.0, 0.0, 0
	for _, sh := range s.sheets {
		if z, outside, ok := sh.beyond(p, betweenReach); ok && outside > 0 {
			w := 1 / (outside + 1e-9)
			sum, weights, count = sum+w*z, weights+w, count+1
		}
	}
	if count < 2 {
		return math.NaN(), false
	}
	return sum / weights, true
}

// Why says why At has no height at p: ErrOutside, ErrNoData, or nil when it
// has one.
func (s *Surface) Why(p orb.Point) error {
	if _, ok := s.At(p); ok {
		return nil
	}
	for _, sh := range s.sheets {
		if sh.covers(p) {
			return ErrNoData
		}
	}
	return ErrOutside
}

// Gradient gives the slope of the ground at p as rise over run towards east
// and north; both are NaN where At has no height.
func (s *Surface) Gradient(p orb.Point) (dzdE, dzdN float64) {
	for _, sh := range s.sheets {
		if e, n, ok := sh.gradient(p); ok {
			return e, n
		}
	}
	return math.NaN(), math.NaN()
}

// DiffSigma is the standard deviation in metres of the difference of the
// heights at p and q; see ErrorModel.DropSigma. Between two tiles that do not
// fit in height, the step found at their edge counts as well.
func (s *Surface) DiffSigma(p, q orb.Point) float64 {
	sigma := s.model.DropSigma(math.Hypot(p[0]-q[0], p[1]-q[1]))
	if len(s.steps) == 0 {
		return sigma
	}
	a, b := s.tileAt(p), s.tileAt(q)
	return math.Hypot(sigma, s.steps[[2]int{min(a, b), max(a, b)}])
}

// tileAt is the number of the file that p's height comes from, -1 for none.
func (s *Surface) tileAt(p orb.Point) int {
	for _, t := range s.tiles {
		b, u, v := t.sheet.mapping.patchAt(p)
		if b == nil {
			continue
		}
		if x, y := b.at(u, v); x >= t.x0 && x <= t.x1 && y >= t.y0 && y <= t.y1 {
			return t.file
		}
	}
	return -1
}

// Error is the error model of the heights, quantisation included.
func (s *Surface) Error() ErrorModel { return s.model }

// CellM is the size of a cell on the ground in metres, of the finest raster.
func (s *Surface) CellM() float64 { return s.cellM }

// Bound is the part of the area asked for that the rasters cover, in the frame.
func (s *Surface) Bound() orb.Bound { return s.bound }

// VoidShare is the share of cells in the window that have no height.
func (s *Surface) VoidShare() float64 { return s.void }

// Findings are the things to know about this window.
func (s *Surface) Findings() []finding.Finding {
	return append([]finding.Finding(nil), s.findings...)
}

// WithError is the same surface with another error model.
func (s *Surface) WithError(m ErrorModel) *Surface {
	c := *s
	c.model = m
	return &c
}

// FromFunc makes a surface from a formula, for analytic terrain: heights at
// the centres of cells of cellM that cover area, one more cell on every side,
// bilinear in between. A NaN from the formula is a void. Its error model is
// zero; see WithError.
func FromFunc(area orb.Bound, cellM float64, z func(e, n float64) float64) *Surface {
	if !(cellM > 0) || area.IsEmpty() {
		panic("dem: FromFunc needs a positive cell and an area")
	}
	cols := int(math.Ceil((area.Max[0]-area.Min[0])/cellM)) + 3
	rows := int(math.Ceil((area.Max[1]-area.Min[1])/cellM)) + 3
	west, north := area.Min[0]-cellM, area.Max[1]+cellM // centre of the first cell
	sh := &sheet{cols: cols, rows: rows, z64: make([]float64, cols*rows), scale: 1}
	voids := 0
	for j := 0; j < rows; j++ {
		for i := 0; i < cols; i++ {
			v := z(west+float64(i)*cellM, north-float64(j)*cellM)
			if v != v {
				voids++
			}
			sh.z64[j*cols+i] = v
		}
	}
	domain := orb.Bound{
		Min: orb.Point{west, north - float64(rows-1)*cellM},
		Max: orb.Point{west + float64(cols-1)*cellM, north},
	}
	sh.mapping = newBlocks(domain, 1)
	b := &sh.mapping.blocks[0]
	b.degree = 1
	halfX, halfY := float64(cols-1)/2, float64(rows-1)/2
	b.coef = []pair{{0, -halfY}, {halfX, 0}, {halfX, halfY}} // v, then u and 1
	return &Surface{sheets: []*sheet{sh}, cellM: cellM, bound: area, void: float64(voids) / float64(cols*rows),
		model: ErrorModel{Class: "formula", Why: "no raster"}}
}
