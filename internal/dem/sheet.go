package dem

import (
	"math"

	"github.com/paulmach/orb"
)

// sheet is one regular grid of heights in its own projection. Position (0, 0)
// is the centre of its first cell: a stored height stands at the centre of
// its cell, whatever corner the file counts from.
type sheet struct {
	cols, rows int
	z32        []float32 // as stored, NaN where void; one of the two is nil
	z64        []float64
	scale      float64 // metres = stored*scale + offset
	offset     float64
	mapping    *mapping
}

// raw is the stored value of a cell.
func (s *sheet) raw(k int) float64 {
	if s.z32 != nil {
		return float64(s.z32[k])
	}
	return s.z64[k]
}

// at interpolates between the four cell centres around p.
func (s *sheet) at(p orb.Point) (float64, bool) {
	b, u, v := s.mapping.patchAt(p)
	if b == nil {
		return math.NaN(), false
	}
	x, y := b.at(u, v)
	// Written so that NaN falls out.
	if !(x >= 0 && y >= 0 && x < float64(s.cols-1) && y < float64(s.rows-1)) {
		return s.rim(x, y)
	}
	i, j := int(x), int(y)
	fx, fy := x-float64(i), y-float64(j)
	k := j*s.cols + i
	var z float64
	if s.z32 != nil {
		top, bottom := s.z32[k:k+2:k+2], s.z32[k+s.cols:k+s.cols+2:k+s.cols+2]
		a, c := float64(top[0]), float64(bottom[0])
		a += fx * (float64(top[1]) - a)
		c += fx * (float64(bottom[1]) - c)
		z = a + fy*(c-a)
	} else {
		top, bottom := s.z64[k:k+2:k+2], s.z64[k+s.cols:k+s.cols+2:k+s.cols+2]
		a, c := top[0], bottom[0]
		a += fx * (top[1] - a)
		c += fx * (bottom[1] - c)
		z = a + fy*(c-a)
	}
	if z != z {
		return s.onLine(x, y)
	}
	return z*s.scale + s.offset, true
}

// onCentre is how close to a cell centre, in cells, a point counts as lying
// on it; it covers the mapping's own error.
const onCentre = 1e-3

// rim answers for points on the outermost cell centres.
func (s *sheet) rim(x, y float64) (float64, bool) {
	right, bottom := float64(s.cols-1), float64(s.rows-1)
	if !(x >= -onCentre && y >= -onCentre && x <= right+onCentre && y <= bottom+onCentre) {
		return math.NaN(), false
	}
	return s.onLine(math.Min(math.Max(x, 0), right), math.Min(math.Max(y, 0), bottom))
}

// onLine interpolates where a neighbour is void or missing: a neighbour whose
// weight is nothing is not needed.
func (s *sheet) onLine(x, y float64) (float64, bool) {
	i, fx := split(x)
	j, fy := split(y)
	sum := 0.0
	for dj := 0; dj <= 1; dj++ {
		for di := 0; di <= 1; di++ {
			w := weight(fx, di) * weight(fy, dj)
			if w == 0 {
				continue
			}
			if i+di >= s.cols || j+dj >= s.rows {
				return math.NaN(), false
			}
			sum += w * s.raw((j+dj)*s.cols+i+di)
		}
	}
	if sum != sum {
		return math.NaN(), false
	}
	return sum*s.scale + s.offset, true
}

// split is a position as a whole cell and the rest; a rest next to nothing is
// nothing.
func split(x float64) (int, float64) {
	if near := math.Round(x); math.Abs(x-near) <= onCentre {
		return int(near), 0
	}
	i := math.Floor(x)
	return int(i), x - i
}

func weight(f float64, side int) float64 {
	if side == 0 {
		return 1 - f
	}
	return f
}

// gradient is the slope of the same interpolation, in metres per metre.
func (s *sheet) gradient(p orb.Point) (dzdE, dzdN float64, ok bool) {
	b, u, v := s.mapping.patchAt(p)
	if b == nil {
		return 0, 0, false
	}
	x, y := b.at(u, v)
	if !(x >= -onCentre && y >= -onCentre && x <= float64(s.cols-1)+onCentre && y <= float64(s.rows-1)+onCentre) || s.cols < 2 || s.rows < 2 {
		return 0, 0, false
	}
	i := min(max(int(math.Floor(x)), 0), s.cols-2)
	j := min(max(int(math.Floor(y)), 0), s.rows-2)
	fx, fy := x-float64(i), y-float64(j)
	k := j*s.cols + i
	z00, z10, z01, z11 := s.raw(k), s.raw(k+1), s.raw(k+s.cols), s.raw(k+s.cols+1)
	zx := ((z10-z00)*(1-fy) + (z11-z01)*fy) * s.scale
	zy := ((z01-z00)*(1-fx) + (z11-z10)*fx) * s.scale
	if zx != zx || zy != zy {
		return 0, 0, false
	}
	xE, xN, yE, yN := b.slope(u, v)
	return zx*xE + zy*yE, zx*xN + zy*yN, true
}

// beyond extends the nearest whole square of cells linearly to p, at most
// reach cells outside the outermost centres, and gives that distance. It
// serves the strip between two tiles whose grids do not fit together.
func (s *sheet) beyond(p orb.Point, reach float64) (z, outside float64, ok bool) {
	b, u, v := s.mapping.patchAt(p)
	if b == nil || s.cols < 2 || s.rows < 2 {
		return math.NaN(), 0, false
	}
	x, y := b.at(u, v)
	right, bottom := float64(s.cols-1), float64(s.rows-1)
	outside = math.Max(math.Max(-x, x-right), math.Max(math.Max(-y, y-bottom), 0))
	if !(outside <= reach) {
		return math.NaN(), 0, false
	}
	i := min(max(int(math.Floor(x)), 0), s.cols-2)
	j := min(max(int(math.Floor(y)), 0), s.rows-2)
	fx, fy := x-float64(i), y-float64(j)
	k := j*s.cols + i
	z00, z10, z01, z11 := s.raw(k), s.raw(k+1), s.raw(k+s.cols), s.raw(k+s.cols+1)
	z = (z00*(1-fx)+z10*fx)*(1-fy) + (z01*(1-fx)+z11*fx)*fy
	return z*s.scale + s.offset, outside, z == z
}

// covers tells whether p lies inside the outermost cell centres.
func (s *sheet) covers(p orb.Point) bool {
	b, u, v := s.mapping.patchAt(p)
	if b == nil {
		return false
	}
	x, y := b.at(u, v)
	return x >= -onCentre && y >= -onCentre && x <= float64(s.cols-1)+onCentre && y <= float64(s.rows-1)+onCentre
}

// cellM is the size of a cell on the ground at the middle of the sheet, the
// geometric mean of its two sides.
func (s *sheet) cellM() float64 {
	d := s.mapping.domain
	b, u, v := s.mapping.patchAt(orb.Point{(d.Min[0] + d.Max[0]) / 2, (d.Min[1] + d.Max[1]) / 2})
	xE, xN, yE, yN := b.slope(u, v)
	return 1 / math.Sqrt(math.Abs(xE*yN-xN*yE))
}
