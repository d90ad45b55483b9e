package dem

import (
	"fmt"
	"math"

	"github.com/airbusgeo/godal"

	"route/internal/finding"
	"route/internal/geodesy"
)

// cellsOf gives the cell positions of places in a file, from its outer
// corner; NaN where a place has none.
func (f *file) cellsOf(points []geodesy.LonLat) (col, row []float64) {
	col, row = make([]float64, len(points)), make([]float64, len(points))
	for i, p := range points {
		col[i], row[i] = p.Lon, p.Lat
	}
	f.fromWGS.convert(col, row)
	middle := f.affine.x0 + f.affine.dx*float64(f.cols)/2
	for i := range col {
		col[i], row[i] = f.affine.cell(turnTo(col[i], middle, f.crs.period), row[i])
	}
	return col, row
}

// inside tells whether a cell position lies within the raster's edges.
func (f *file) inside(col, row float64) bool {
	return col >= 0 && row >= 0 && col <= float64(f.cols) && row <= float64(f.rows)
}

// countInside counts the places that lie within some file's edges.
func (s *Source) countInside(points []geodesy.LonLat) int {
	hit := make([]bool, len(points))
	for _, f := range s.files {
		col, row := f.cellsOf(points)
		for i := range points {
			hit[i] = hit[i] || f.inside(col[i], row[i])
		}
	}
	n := 0
	for _, h := range hit {
		if h {
			n++
		}
	}
	return n
}

// Covers tells whether a place lies within the edges of one of the rasters.
// Whether there is a height at the place is another question.
func (s *Source) Covers(p geodesy.LonLat) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.usable() == nil && s.countInside([]geodesy.LonLat{p}) == 1
}

// CheckPoints compares places, called what in messages ("the creek track"),
// with the rasters' extent. All outside is a fault, which says so when
// latitude and longitude look swapped; some outside is a finding.
func (s *Source) CheckPoints(what string, points []geodesy.LonLat) ([]finding.Finding, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.usable(); err != nil {
		return nil, err
	}
	in := s.countInside(points)
	out := len(points) - in
	text := fmt.Sprintf("%d of %d points of %s lie outside the raster; %s", out, len(points), what, s.extentWords())
	switch {
	case out == 0:
		return nil, nil
	case in > 0:
		return []finding.Finding{finding.New(finding.Warning, "points_outside_raster", text,
			"add the raster that covers the rest, or shorten the line")}, nil
	}
	hint := "take the raster of this place; check its CRS"
	swapped := make([]geodesy.LonLat, len(points))
	for i, p := range points {
		swapped[i] = geodesy.LonLat{Lon: p.Lat, Lat: p.Lon}
	}
	if len(points) > 0 && s.countInside(swapped) == len(points) {
		text = "the coordinates of " + what + " look swapped: with latitude and longitude exchanged they lie on the raster, as they stand they do not"
		hint = "write latitude first in the site file; in GPX, lat and lon are named"
	}
	return nil, s.files[0].fault("points_outside_raster", text, hint, nil)
}

// HeightNear is the height in metres at a place, read from one block of the
// first raster that has one: bilinear where the four cells around have
// heights, else that of the nearest cell. The error wraps ErrOutside or
// ErrNoData when there is none.
func (s *Source) HeightNear(p geodesy.LonLat) (zM float64, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.usable(); err != nil {
		return math.NaN(), err
	}
	covered := false
	for _, f := range s.files {
		col, row := f.cellsOf([]geodesy.LonLat{p})
		if !f.inside(col[0], row[0]) {
			continue
		}
		covered = true
		z, err := f.heightAt(col[0]-0.5, row[0]-0.5)
		if err != nil || z == z {
			return z, err
		}
	}
	if covered {
		return math.NaN(), s.files[0].fault("no_height", fmt.Sprintf("the raster has no height at %.6f, %.6f", p.Lat, p.Lon),
			"choose a place where it has", ErrNoData)
	}
	return math.NaN(), s.files[0].fault("outside_raster", fmt.Sprintf("%.6f, %.6f lies outside the raster; %s", p.Lat, p.Lon, s.extentWords()),
		"take the raster of this place; check its CRS", ErrOutside)
}

// heightAt reads the cells around a position that counts from cell centres.
func (f *file) heightAt(x, y float64) (float64, error) {
	i := min(max(int(math.Floor(x)), 0), max(f.cols-2, 0))
	j := min(max(int(math.Floor(y)), 0), max(f.rows-2, 0))
	cols, rows := min(2, f.cols), min(2, f.rows)
	z := make([]float64, cols*rows)
	if err := f.readBlock(f.band, i, j, z, cols, rows); err != nil {
		return math.NaN(), err
	}
	var mask []byte
	if f.masked {
		mask = make([]byte, len(z))
		if err := f.readBlock(f.maskBand, i, j, mask, cols, rows); err != nil {
			return math.NaN(), err
		}
	}
	f.siftFew(z, mask)
	fx := math.Min(math.Max(x-float64(i), 0), float64(cols-1))
	fy := math.Min(math.Max(y-float64(j), 0), float64(rows-1))
	sum := 0.0
	for b := 0; b < rows; b++ {
		for a := 0; a < cols; a++ {
			sum += weight(fx, a) * weight(fy, b) * z[b*cols+a]
		}
	}
	if sum != sum {
		sum = z[int(math.Round(fy))*cols+int(math.Round(fx))]
	}
	return sum*f.scaleM + f.offsetM, nil
}

// siftFew is sift for single cells: float32 marks must match as float32.
func (f *file) siftFew(z []float64, mask []byte) {
	sift(z, mask, f)
	if f.hasNoData && f.kind == godal.Float32 {
		for i := range z {
			if float32(z[i]) == float32(f.noData) {
				z[i] = math.NaN()
			}
		}
	}
}
