package dem

import (
	"context"
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"route/internal/finding"
	"route/internal/geodesy"
)

// Load reads the window of the rasters that covers area, a bound in the
// frame, at full resolution, and gives it as a surface.
//
// Faults: outside_raster when the rasters do not reach into the area,
// window_too_large when it would take more memory than allowed,
// raster_damaged, heights_implausible, no_height_in_window, and what Open
// found already. A cancelled context ends it with the context's error, even
// when a server keeps the reader waiting.
func (s *Source) Load(ctx context.Context, f *geodesy.Frame, area orb.Bound) (*Surface, error) {
	if area.IsEmpty() || !finite(area.Min[0], area.Min[1], area.Max[0], area.Max[1]) {
		panic("dem: Load needs a finite, non-empty area")
	}
	type answer struct {
		surface *Surface
		err     error
	}
	done := make(chan answer, 1)
	go func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		surface, err := s.load(ctx, f, area)
		done <- answer{surface, err}
	}()
	select {
	case <-ctx.Done():
		return nil, ctx.Err()
	case a := <-done:
		return a.surface, a.err
	}
}

// window is the part of one file that a surface needs, in cells of that file.
// turns counts whole turns round the Earth: a raster that ends at the
// antimeridian can be met from both sides.
type window struct {
	file             *file
	index            int // of the file
	turns            int
	col, row         int
	cols, rows       int
	shiftCol, offRow int // of the file's first cell in its sheet's grid
}

// sheetPlan is a set of windows that fit into one grid.
type sheetPlan struct {
	windows    []window
	col, row   int // first cell, in the grid of the first window's file
	cols, rows int
}

func (s *Source) load(ctx context.Context, frame *geodesy.Frame, area orb.Bound) (*Surface, error) {
	if err := s.usable(); err != nil {
		return nil, err
	}
	proj := frame.PROJ()
	var windows []window
	ways := projectors{}
	defer ways.close()
	for i, f := range s.files {
		p, err := ways.get(proj, f.crs.wkt)
		if err != nil {
			return nil, f.fault("crs_unsupported", "no way is known from the site to "+f.crs.String()+": "+firstLine(err.Error()),
				"say another CRS with --crs EPSG:n, or reproject the raster (gdalwarp -t_srs)", err)
		}
		windows = append(windows, f.windows(p, area, i)...)
	}
	if len(windows) == 0 {
		return nil, s.outside(frame, area)
	}
	plans := planSheets(windows)
	if err := s.checkMemory(plans); err != nil {
		return nil, err
	}
	b := &builder{source: s, frame: frame, area: area, ways: ways, surface: &Surface{steps: map[[2]int]float64{}}}
	for _, plan := range plans {
		b.totalRows += plan.totalRows()
	}
	for _, plan := range plans {
		if err := b.add(ctx, plan); err != nil {
			return nil, err
		}
	}
	return b.finish()
}

func (p sheetPlan) totalRows() int {
	n := 0
	for _, w := range p.windows {
		n += w.rows
	}
	return n
}

func (f *file) fault(code, text, hint string, err error) *finding.Fault {
	return &finding.Fault{Code: code, File: f.path, Text: text, Hint: hint, Err: err}
}

// across spreads n x n points over a bound, edges included.
func across(area orb.Bound, n int) (e, north []float64) {
	for j := 0; j < n; j++ {
		for i := 0; i < n; i++ {
			e = append(e, area.Min[0]+(area.Max[0]-area.Min[0])*float64(i)/float64(n-1))
			north = append(north, area.Min[1]+(area.Max[1]-area.Min[1])*float64(j)/float64(n-1))
		}
	}
	return e, north
}

// windowMargin is how many cells a window is larger than the area on every
// side: one for the interpolation, one for the bulge of a projected edge.
const windowMargin = 2

// windows are the parts of a file that the area needs: none, one, or two when
// the area lies across the seam of a raster that goes round the Earth.
func (f *file) windows(p *projector, area orb.Bound, index int) []window {
	x, y := across(area, 9)
	p.convert(x, y)
	reference := x[len(x)/2]
	minX, maxX := math.Inf(1), math.Inf(-1)
	minY, maxY := math.Inf(1), math.Inf(-1)
	for i := range x {
		if !finite(x[i], y[i]) {
			continue
		}
		if !finite(reference) {
			reference = x[i]
		}
		px := turnTo(x[i], reference, f.crs.period)
		minX, maxX = math.Min(minX, px), math.Max(maxX, px)
		minY, maxY = math.Min(minY, y[i]), math.Max(maxY, y[i])
	}
	if minX > maxX {
		return nil
	}
	var out []window
	for _, turns := range f.turns(minX, maxX) {
		shift := float64(turns) * f.crs.period
		c0, r0 := f.affine.cell(minX+shift, minY)
		c1, r1 := f.affine.cell(maxX+shift, maxY)
		col, cols := clip(c0, c1, f.cols)
		row, rows := clip(r0, r1, f.rows)
		if cols > 0 && rows > 0 {
			out = append(out, window{file: f, index: index, turns: turns, col: col, row: row, cols: cols, rows: rows})
		}
	}
	return out
}

// turns are the whole turns by which plan coordinates from minX to maxX may
// have to be shifted to meet the raster.
func (f *file) turns(minX, maxX float64) []int {
	if f.crs.period == 0 {
		return []int{0}
	}
	x0, _ := f.affine.plan(0, 0)
	x1, _ := f.affine.plan(float64(f.cols), 0)
	west, east := math.Min(x0, x1), math.Max(x0, x1)
	var out []int
	for t := int(math.Ceil((west - maxX) / f.crs.period)); float64(t)*f.crs.period+minX <= east; t++ {
		out = append(out, t)
	}
	return out
}

// clip turns a stretch of cell positions into whole cells of a raster.
func clip(a, b float64, size int) (first, count int) {
	lo := math.Max(math.Floor(math.Min(a, b))-windowMargin, 0)
	hi := math.Min(math.Ceil(math.Max(a, b))+windowMargin, float64(size))
	if !(lo < hi) {
		return 0, 0
	}
	return int(lo), int(hi) - int(lo)
}

// planSheets puts windows whose grids fit into each other on one sheet, so
// that interpolation runs across their edges.
func planSheets(windows []window) []sheetPlan {
	var plans []sheetPlan
next:
	for _, w := range windows {
		for i := range plans {
			if c, r, ok := plans[i].windows[0].fits(w); ok {
				w.shiftCol, w.offRow = c, r
				plans[i].grow(w)
				continue next
			}
		}
		plans = append(plans, sheetPlan{windows: []window{w}, col: w.col, row: w.row, cols: w.cols, rows: w.rows})
	}
	return plans
}

// fitTolerance in cells, over the whole of a tile.
const fitTolerance = 1e-3

// fits tells whether v's cells are cells of w's grid, and how far v's first
// cell is from w's.
func (w window) fits(v window) (cols, rows int, ok bool) {
	f, g := w.file, v.file
	span := float64(max(g.cols, g.rows))
	if f.crs.wkt != g.crs.wkt || f.scaleM != g.scaleM || f.offsetM != g.offsetM || f.wide != g.wide ||
		math.Abs(f.affine.dx/g.affine.dx-1)*span > fitTolerance || math.Abs(f.affine.dy/g.affine.dy-1)*span > fitTolerance {
		return 0, 0, false
	}
	shift := float64(w.turns-v.turns) * f.crs.period
	c, r := f.affine.cell(g.affine.x0+shift, g.affine.y0)
	if math.Abs(c-math.Round(c)) > fitTolerance || math.Abs(r-math.Round(r)) > fitTolerance || math.Abs(c) > 1e9 || math.Abs(r) > 1e9 {
		return 0, 0, false
	}
	return int(math.Round(c)), int(math.Round(r)), true
}

// grow takes another window into the sheet.
func (p *sheetPlan) grow(w window) {
	c0, r0 := min(p.col, w.shiftCol+w.col), min(p.row, w.offRow+w.row)
	c1 := max(p.col+p.cols, w.shiftCol+w.col+w.cols)
	r1 := max(p.row+p.rows, w.offRow+w.row+w.rows)
	p.col, p.row, p.cols, p.rows = c0, r0, c1-c0, r1-r0
	p.windows = append(p.windows, w)
}

// bytes of memory that the sheet takes while it is read.
func (p sheetPlan) bytes() int64 {
	size := int64(4)
	if p.windows[0].file.wide {
		size = 8
	}
	cells := int64(p.cols) * int64(p.rows)
	if len(p.windows) == 1 {
		return cells * (size + maskBytes(p.windows[0].file))
	}
	largest := int64(0)
	for _, w := range p.windows {
		largest = max(largest, int64(w.cols)*int64(w.rows)*(size+maskBytes(w.file)))
	}
	return cells*(size+ownerBytes) + largest
}

// ownerBytes tell, while tiles are put together, where a cell came from.
const ownerBytes = 2

func maskBytes(f *file) int64 {
	if f.masked {
		return 1
	}
	return 0
}

// checkMemory refuses a window before it is read.
func (s *Source) checkMemory(plans []sheetPlan) error {
	need, cells := int64(0), int64(0)
	for _, p := range plans {
		need += p.bytes()
		cells += int64(p.cols) * int64(p.rows)
	}
	if need <= s.options.MaxBytes {
		return nil
	}
	first := plans[0].windows[0].file
	return first.fault("window_too_large",
		fmt.Sprintf("the window is %d x %d cells, %.1f million in all; it would take %.1f GiB of memory, %.1f GiB are allowed",
			plans[0].cols, plans[0].rows, float64(cells)/1e6, float64(need)/(1<<30), float64(s.options.MaxBytes)/(1<<30)),
		"use a coarser raster, or a creek and tank that lie closer together", nil)
}

// outside says that the rasters do not reach into the area.
func (s *Source) outside(frame *geodesy.Frame, area orb.Bound) error {
	middle := frame.ToLonLat(orb.Point{(area.Min[0] + area.Max[0]) / 2, (area.Min[1] + area.Max[1]) / 2})
	return s.files[0].fault("outside_raster",
		fmt.Sprintf("the place asked for, around %.5f, %.5f, lies outside the raster; %s", middle.Lat, middle.Lon, s.extentWords()),
		"check the raster's CRS, and that the coordinates are latitude first, then longitude", nil)
}

// extentWords gives the extent of each raster, latitude first.
func (s *Source) extentWords() string {
	text := ""
	for i, f := range s.files {
		if i == 3 {
			return text + fmt.Sprintf("; and %d more", len(s.files)-i)
		}
		if i > 0 {
			text += "; "
		}
		text += fmt.Sprintf("extent: latitude %.5f to %.5f, longitude %.5f to %.5f", f.info.South, f.info.North, f.info.West, f.info.East)
	}
	return text
}
