package dem

import (
	"context"
	"fmt"
	"math"
	"path/filepath"

	"github.com/paulmach/orb"

	"route/internal/finding"
	"route/internal/geodesy"
)

// builder puts a surface together from the windows of the files.
type builder struct {
	source    *Source
	frame     *geodesy.Frame
	area      orb.Bound
	ways      projectors // between the frame and the files' systems
	surface   *Surface
	hull      []orb.Bound // of the sheets' cell centres, in the frame
	totalRows int
	doneRows  int
	cells     int
	voids     int
}

// add reads one sheet.
func (b *builder) add(ctx context.Context, plan sheetPlan) error {
	first := plan.windows[0]
	sh := &sheet{cols: plan.cols, rows: plan.rows, scale: first.file.scaleM, offset: first.file.offsetM}
	if err := b.place(sh, plan); err != nil {
		return err
	}
	owner, err := b.read(ctx, sh, plan)
	if err != nil {
		return err
	}
	for _, w := range plan.windows {
		x0, y0 := float64(w.shiftCol+w.col-plan.col)-0.5, float64(w.offRow+w.row-plan.row)-0.5
		b.surface.tiles = append(b.surface.tiles, tile{sheet: sh, file: w.index, x0: x0, y0: y0, x1: x0 + float64(w.cols), y1: y0 + float64(w.rows)})
	}
	if owner != nil {
		steps := edgeSteps(sh, owner)
		for i := range plan.windows { // in the order of the files, the same every time
			for j := i + 1; j < len(plan.windows); j++ {
				b.seam(plan.windows[i], plan.windows[j], steps[[2]uint16{uint16(i + 1), uint16(j + 1)}])
			}
		}
	}
	b.surface.sheets = append(b.surface.sheets, sh)
	return nil
}

// place fits the mapping from the frame to the sheet's cells.
func (b *builder) place(sh *sheet, plan sheetPlan) error {
	w := plan.windows[0]
	f := w.file
	proj := b.frame.PROJ()
	there, err := b.ways.get(proj, f.crs.wkt)
	if err != nil {
		return err // load asked for it already
	}
	back, err := b.ways.get(f.crs.wkt, proj)
	if err != nil {
		return f.fault("crs_unsupported", "no way is known from "+f.crs.String()+" to the site: "+firstLine(err.Error()),
			"reproject the raster (gdalwarp -t_srs)", err)
	}
	shift := float64(w.turns) * f.crs.period
	hull := b.hullOf(f.affine, shift, plan, back)
	// Positions slightly outside are asked for as well, where sheets meet.
	f.measureCell(f.toWGS, float64(w.col)+float64(w.cols)/2, float64(w.row)+float64(w.rows)/2)
	margin := windowMargin * math.Max(f.info.CellEastM, f.info.CellNorthM)
	domain, ok := intersect(hull.Pad(margin), b.area.Pad(margin))
	if !ok {
		return b.source.outside(b.frame, b.area)
	}
	reference := f.affine.x0 + (float64(plan.col)+float64(plan.cols)/2)*f.affine.dx
	convert := func(e, n []float64) {
		there.convert(e, n)
		for i := range e {
			col, row := f.affine.cell(turnTo(e[i], reference, f.crs.period), n[i])
			e[i], n[i] = col-0.5-float64(plan.col), row-0.5-float64(plan.row)
		}
	}
	sh.mapping, err = fitMapping(domain, convert, mapTolerance)
	if err != nil {
		return f.fault("projection_failed", "the raster cannot be brought to the site's coordinates: "+err.Error(),
			"reproject the raster to the UTM zone of the place first (gdalwarp -t_srs EPSG:n)", err)
	}
	b.hull = append(b.hull, hull)
	return nil
}

// hullOf is the bound in the frame of the sheet's cell centres.
func (b *builder) hullOf(a affine, shift float64, plan sheetPlan, back *projector) orb.Bound {
	const steps = 16
	var x, y []float64
	for i := 0; i <= steps; i++ {
		t := float64(i) / steps
		for _, at := range [][2]float64{{t, 0}, {t, 1}, {0, t}, {1, t}} {
			px, py := a.plan(float64(plan.col)+0.5+at[0]*float64(plan.cols-1), float64(plan.row)+0.5+at[1]*float64(plan.rows-1))
			x, y = append(x, px-shift), append(y, py)
		}
	}
	back.convert(x, y)
	hull := orb.Bound{Min: orb.Point{math.Inf(1), math.Inf(1)}, Max: orb.Point{math.Inf(-1), math.Inf(-1)}}
	for i := range x {
		if finite(x[i], y[i]) {
			hull = hull.Extend(orb.Point{x[i], y[i]})
		}
	}
	return hull
}

// intersect is the common part of two bounds.
func intersect(a, b orb.Bound) (orb.Bound, bool) {
	c := orb.Bound{
		Min: orb.Point{math.Max(a.Min[0], b.Min[0]), math.Max(a.Min[1], b.Min[1])},
		Max: orb.Point{math.Min(a.Max[0], b.Max[0]), math.Min(a.Max[1], b.Max[1])},
	}
	return c, c.Min[0] < c.Max[0] && c.Min[1] < c.Max[1]
}

// read fills the sheet. With several windows, owner tells which of them each
// cell came from, counted from 1; the first listed wins.
func (b *builder) read(ctx context.Context, sh *sheet, plan sheetPlan) (owner []uint16, err error) {
	first := plan.windows[0]
	if len(plan.windows) == 1 {
		cells, err := b.readWindow(ctx, first)
		if err != nil {
			return nil, err
		}
		sh.z32, sh.z64 = cells.z32, cells.z64
		return nil, nil
	}
	n := plan.cols * plan.rows
	nan := math.NaN()
	if first.file.wide {
		sh.z64 = make([]float64, n)
		for i := range sh.z64 {
			sh.z64[i] = nan
		}
	} else {
		sh.z32 = make([]float32, n)
		for i := range sh.z32 {
			sh.z32[i] = float32(nan)
		}
	}
	owner = make([]uint16, n)
	for i, w := range plan.windows {
		cells, err := b.readWindow(ctx, w)
		if err != nil {
			return nil, err
		}
		diffs := sh.take(cells, w, plan, owner, uint16(i+1))
		for other := 0; other < i; other++ {
			b.seam(plan.windows[other], w, diffs[uint16(other+1)])
		}
	}
	return owner, nil
}

// take copies a window's cells where the sheet has none yet, and collects how
// far the two differ where it has.
func (s *sheet) take(cells *cells, w window, plan sheetPlan, owner []uint16, me uint16) map[uint16][]float64 {
	diffs := map[uint16][]float64{}
	for j := 0; j < w.rows; j++ {
		to := (w.offRow+w.row-plan.row+j)*s.cols + w.shiftCol + w.col - plan.col
		for i := 0; i < w.cols; i++ {
			v := cells.raw(j*w.cols + i)
			if v != v {
				continue
			}
			if have := s.raw(to + i); have == have {
				if who := owner[to+i]; len(diffs[who]) < maxSteps {
					diffs[who] = append(diffs[who], (v-have)*s.scale)
				}
				continue
			}
			if s.z32 != nil {
				s.z32[to+i] = float32(v)
			} else {
				s.z64[to+i] = v
			}
			owner[to+i] = me
		}
	}
	return diffs
}

// finish completes the surface.
func (b *builder) finish() (*Surface, error) {
	s := b.surface
	if b.voids == b.cells {
		f := b.source.files[s.tiles[0].file]
		return nil, f.fault("no_height_in_window", "the raster has no height anywhere in the place asked for; "+b.source.extentWords(),
			"take a raster that covers the creek, or look at this one in a viewer: it may be empty here", nil)
	}
	s.void = float64(b.voids) / float64(b.cells)
	s.cellM = math.Inf(1)
	for _, sh := range s.sheets {
		s.cellM = math.Min(s.cellM, sh.cellM())
	}
	b.betweenSheets()
	s.bound = b.bound()
	s.findings = append(s.findings, b.coverage()...)
	return s, nil
}

// bound is the part of the area that the sheets reach.
func (b *builder) bound() orb.Bound {
	all := b.hull[0]
	for _, h := range b.hull[1:] {
		all = all.Union(h)
	}
	if c, ok := intersect(all, b.area); ok {
		return c
	}
	return all
}

// coverage tells how much of the area has no raster, and how much of the
// raster no height.
func (b *builder) coverage() []finding.Finding {
	var out []finding.Finding
	const n = 21
	missing := 0
	e, north := across(b.area, n)
	for i := range e {
		p := orb.Point{e[i], north[i]}
		if b.surface.Why(p) == ErrOutside {
			missing++
		}
	}
	if share := float64(missing) / (n * n); share > 0.02 {
		out = append(out, finding.New(finding.Note, "area_partly_outside",
			fmt.Sprintf("about %s of the ground asked for lies outside the raster; %s", percent(share), b.source.extentWords()),
			"add the neighbouring tile if the creek, the pipes or the tank reach there").In(b.source.files[0].path))
	}
	if b.voids > 0 {
		out = append(out, finding.New(finding.Note, "voids",
			fmt.Sprintf("%s of the cells read have no height", percent(b.surface.void)), "").In(b.source.files[0].path))
	}
	return out
}

// note adds a finding about a file.
func (b *builder) note(f *file, more finding.Finding) {
	b.surface.findings = append(b.surface.findings, more.In(f.path))
}

// adopt takes the error model of a file whose heights are in the surface: the
// worst of them speaks for all.
func (b *builder) adopt(m ErrorModel) {
	if b.surface.model.Class == "" || m.Sigma() > b.surface.model.Sigma() {
		screening := b.surface.model.ScreeningOnly
		b.surface.model = m
		b.surface.model.ScreeningOnly = screening || m.ScreeningOnly
	}
}

func baseName(f *file) string { return filepath.Base(f.path) }

// percent prints a share without pretending more digits than matter, and
// never as all or nothing when it is not.
func percent(share float64) string {
	switch p := 100 * share; {
	case p > 99 && p < 100:
		return "over 99 %"
	case p >= 10 || p == 0:
		return fmt.Sprintf("%.0f %%", p)
	case p < 0.01:
		return "under 0.01 %"
	default:
		return fmt.Sprintf("%.2g %%", p)
	}
}
