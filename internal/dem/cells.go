package dem

import (
	"context"
	"fmt"
	"math"
	"os"
	"regexp"

	"github.com/airbusgeo/godal"

	"route/internal/finding"
	"route/internal/quantity"
)

// cells are the stored values of a window, NaN where there is no height.
type cells struct {
	z32 []float32
	z64 []float64
}

func (c *cells) raw(k int) float64 {
	if c.z32 != nil {
		return float64(c.z32[k])
	}
	return c.z64[k]
}

// readWindow reads a window and turns everything that is no height to NaN.
func (b *builder) readWindow(ctx context.Context, w window) (*cells, error) {
	f := w.file
	n := w.cols * w.rows
	c := &cells{}
	if f.wide {
		c.z64 = make([]float64, n)
	} else {
		c.z32 = make([]float32, n)
	}
	var mask []byte
	if f.masked {
		mask = make([]byte, n)
	}
	for row := w.row; row < w.row+w.rows; {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		count := min(f.strip(row), w.row+w.rows-row)
		from, to := (row-w.row)*w.cols, (row-w.row+count)*w.cols
		var buffer any
		if f.wide {
			buffer = c.z64[from:to]
		} else {
			buffer = c.z32[from:to]
		}
		if err := f.readBlock(f.band, w.col, row, buffer, w.cols, count); err != nil {
			return nil, err
		}
		if mask != nil {
			if err := f.readBlock(f.maskBand, w.col, row, mask[from:to], w.cols, count); err != nil {
				return nil, err
			}
		}
		row += count
		b.doneRows += count
		if record := b.source.options.Record; record != nil && ctx.Err() == nil {
			record(b.doneRows, b.totalRows)
		}
	}
	var t tally
	if f.wide {
		t = sift(c.z64, mask, f)
	} else {
		t = sift(c.z32, mask, f)
	}
	if err := b.judge(w, c, &t); err != nil {
		return nil, err
	}
	return c, nil
}

// strip is how many rows from row on are read at once: whole blocks, at least
// 64 rows.
func (f *file) strip(row int) int {
	blocks := max(1, (64+f.blockH-1)/f.blockH)
	end := (row/f.blockH + blocks) * f.blockH
	return end - row
}

// readBlock reads part of a band at full resolution.
func (f *file) readBlock(band godal.Band, col, row int, buffer any, cols, rows int) error {
	var log gdalLog
	options := []godal.BandIOOption{godal.ErrLogger(log.handle)}
	if f.remote {
		options = append(options, godal.ConfigOption(networkConfig...))
	}
	if err := band.Read(col, row, buffer, cols, rows, options...); err != nil {
		return f.damaged(row, rows, err, log.warnings)
	}
	return nil
}

var blockAt = regexp.MustCompile(`X offset (\d+), Y offset (\d+)`)

// damaged says where in the file a read failed.
func (f *file) damaged(row, rows int, err error, warnings []string) *finding.Fault {
	where := ""
	if at := blockAt.FindStringSubmatch(err.Error()); at != nil {
		where = fmt.Sprintf(", block %s across and %s down", at[1], at[2])
		if offset := f.band.Metadata("BLOCK_OFFSET_"+at[1]+"_"+at[2], godal.Domain("TIFF")); offset != "" {
			where += ", byte " + offset + " of the file"
		}
	}
	if stat, statErr := os.Stat(f.path); statErr == nil {
		where += fmt.Sprintf(" (which has %d bytes)", stat.Size())
	}
	reason := firstLine(err.Error())
	if len(warnings) > 0 {
		reason += "; " + firstLine(warnings[0])
	}
	code, hint := "raster_damaged", "the file is cut short or damaged: copy or download it again"
	if f.remote {
		code, hint = "remote_failed", "check the connection; or download the file and name it here"
	}
	return f.fault(code, fmt.Sprintf("the raster cannot be read at rows %d to %d%s: %s", row, row+rows-1, where, reason), hint, err)
}

// Heights of the ground on Earth, with room: the Dead Sea's shore is at
// -430 m, Everest at 8849 m.
const (
	lowestGroundM  = -500
	highestGroundM = 9000
)

// tally is what sift finds in a window.
type tally struct {
	cells, voids int
	undeclared   int     // cells with a value that usually means "no data"
	marker       float64 // one of those values
	outside      int     // cells whose height cannot be ground
	lo, hi       float64 // of all remaining raw values
	zeros        int
	loNonZero    float64 // smallest raw value but zero, by size of height
	step         float64 // raw values are whole multiples of it; 0 when none was found
}

// usual marks for "no data" that files forget to declare. They only count
// where the height they would mean is below all ground.
func usualMark(v float64) bool {
	return v == -9999 || v == -32768 || v == -32767 || v == -99999
}

// sift turns voids into NaN, in place: NaN, the declared mark, masked cells,
// values beyond 1e30, and undeclared usual marks.
func sift[T float32 | float64](z []T, mask []byte, f *file) tally {
	t := tally{cells: len(z), lo: math.Inf(1), hi: math.Inf(-1), loNonZero: math.Inf(1)}
	nan := T(math.NaN())
	mark := T(f.noData)
	var finder stepFinder
	stride := len(z)/stepSamples | 1 // odd, so as not to stay in one column
	for i, v := range z {
		if v != v {
			t.voids++
			continue
		}
		raw := float64(v)
		switch {
		case f.hasNoData && v == mark, mask != nil && mask[i] == 0:
			z[i] = nan
			t.voids++
			continue
		case raw > 1e30 || raw < -1e30:
			z[i] = nan
			t.voids++
			if !f.hasNoData || math.Abs(f.noData) < 1e30 {
				t.undeclared, t.marker = t.undeclared+1, raw
			}
			continue
		}
		height := raw*f.scaleM + f.offsetM
		if height < lowestGroundM || height > highestGroundM {
			if height < lowestGroundM && usualMark(raw) {
				z[i] = nan
				t.voids++
				t.undeclared, t.marker = t.undeclared+1, raw
				continue
			}
			t.outside++
		}
		if raw == 0 {
			t.zeros++
		} else if height < t.loNonZero {
			t.loNonZero = height
		}
		t.lo, t.hi = min(t.lo, raw), max(t.hi, raw)
		// Runs of one value say nothing: a lake is no staircase.
		if i%stride == 0 && i > 0 && z[i-1] != v {
			finder.add(raw)
		}
	}
	t.step = finder.step(t.lo, t.hi)
	return t
}

// stepFinder looks for a step of which all values are whole multiples, as in
// rasters of whole metres. A few exceptions are allowed: filled holes, or the
// rounding of a reprojection.
type stepFinder struct {
	seen      int
	multiples [len(steps)]int
}

// steps that rasters are stored in, in stored units, ascending.
var steps = [...]float64{0.5, 1, 2, 3, 4, 5, 10, 20, 25, 50}

const (
	stepSamples   = 50000 // cells that are looked at
	stepShare     = 0.97  // of them that must be multiples
	stepTolerance = 0.005 // of a multiple, in stored units
)

func (s *stepFinder) add(v float64) {
	s.seen++
	for k, step := range steps {
		if math.Abs(v-step*math.Round(v/step)) <= stepTolerance {
			s.multiples[k]++
		}
	}
}

// step is the largest that fits, 0 when none does or when the values span too
// few steps to tell steps from chance.
func (s *stepFinder) step(lo, hi float64) float64 {
	found := 0.0
	for k, step := range steps {
		if s.seen >= 20 && float64(s.multiples[k]) >= stepShare*float64(s.seen) && (hi-lo)/step >= 4 {
			found = step
		}
	}
	return found
}

// judge decides what a window's values are worth, and says what it found.
func (b *builder) judge(w window, c *cells, t *tally) error {
	f := w.file
	if t.undeclared > 0 {
		b.note(f, finding.New(finding.Warning, "undeclared_nodata",
			fmt.Sprintf("%d cells hold %.7g, which stands for \"no height\" though the file does not say so; they are taken as void", t.undeclared, t.marker), ""))
	}
	b.zerosAsVoid(f, c, t)
	valid := t.cells - t.voids
	if t.outside > 0 && valid > 0 {
		// A handful of wild cells are errors; more mean that the numbers are
		// not heights in this unit.
		if float64(t.outside) > 0.01*float64(valid) {
			return f.implausible(t)
		}
		dropped := c.dropOutside(f)
		t.voids += dropped
		b.note(f, finding.New(finding.Warning, "heights_out_of_range",
			fmt.Sprintf("%d cells hold heights that no ground has; they are taken as void", dropped), ""))
	}
	if valid > 100 && t.lo == t.hi {
		b.note(f, finding.New(finding.Warning, "all_one_height",
			"every cell read has the same height, {0}", "look at the raster in a viewer: water, or a file that was written wrongly",
			quantity.Metres(t.lo*f.scaleM+f.offsetM)))
	}
	b.cells += t.cells
	b.voids += t.voids
	f.info.NoDataShare = float64(t.voids) / float64(t.cells)
	f.info.LowestM, f.info.HighestM = c.span(f)
	model := f.model
	stepM := t.step * math.Abs(f.scaleM)
	if b.source.options.Error == nil {
		model = b.modelOf(w, c, stepM)
	}
	if stepM > 0 {
		if stepM > 0.499 {
			b.note(f, finding.New(finding.Warning, "coarse_steps",
				"heights are stored in steps of {0}: the ground is a staircase in them, and no drop is known better than {1}",
				"use a raster with finer heights for anything but a first look",
				quantity.Metres(stepM), quantity.Metres(stepM/math.Sqrt(6))))
		}
	}
	b.adopt(model)
	return nil
}

// zerosAsVoid takes cells of exactly zero as void where all other ground lies
// well above: a forgotten "no data".
func (b *builder) zerosAsVoid(f *file, c *cells, t *tally) {
	const wellAboveM = 20
	if t.zeros == 0 || t.zeros+t.voids == t.cells || f.offsetM != 0 || t.loNonZero < wellAboveM {
		return
	}
	dropped := c.drop(func(raw float64) bool { return raw == 0 })
	t.voids += dropped
	b.note(f, finding.New(finding.Warning, "undeclared_nodata",
		fmt.Sprintf("%d cells hold 0 while all other ground lies above {0}; they are taken as void, though the file does not say so", dropped),
		"", quantity.Metres(t.loNonZero)))
}

// drop turns the cells that match into voids.
func (c *cells) drop(match func(raw float64) bool) int {
	n := 0
	for i, v := range c.z32 {
		if match(float64(v)) {
			c.z32[i] = float32(math.NaN())
			n++
		}
	}
	for i, v := range c.z64 {
		if match(v) {
			c.z64[i] = math.NaN()
			n++
		}
	}
	return n
}

func (c *cells) dropOutside(f *file) int {
	return c.drop(func(raw float64) bool {
		h := raw*f.scaleM + f.offsetM
		return h < lowestGroundM || h > highestGroundM
	})
}

// span is the lowest and the highest height in metres, NaN when there is none.
func (c *cells) span(f *file) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for k := 0; k < len(c.z32)+len(c.z64); k++ {
		if v := c.raw(k); v == v {
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	if lo > hi {
		return math.NaN(), math.NaN()
	}
	a, z := lo*f.scaleM+f.offsetM, hi*f.scaleM+f.offsetM
	return min(a, z), max(a, z)
}

// implausible refuses numbers that are no heights of ground in this unit, and
// says what they look like.
func (f *file) implausible(t *tally) *finding.Fault {
	lo, hi := t.lo*f.scaleM+f.offsetM, t.hi*f.scaleM+f.offsetM
	lo, hi = min(lo, hi), max(lo, hi)
	text := fmt.Sprintf("the numbers run from %.6g to %.6g m; ground lies between %d and %d m", lo, hi, lowestGroundM, highestGroundM)
	hint := "check that this is the elevation band, and its unit of height"
	for _, guess := range []struct {
		per  float64
		name string
		say  string
	}{{footM, "feet", "say --z-unit ft or us-ft, or z_unit: in the site file"}, {0.1, "decimetres", "give the raster a scale of 0.1 (gdal_translate -a_scale 0.1)"}, {0.01, "centimetres", "give the raster a scale of 0.01 (gdal_translate -a_scale 0.01)"}, {0.001, "millimetres", "give the raster a scale of 0.001 (gdal_translate -a_scale 0.001)"}} {
		if f.unitM == 1 && hi > highestGroundM && hi*guess.per <= highestGroundM && lo*guess.per >= lowestGroundM {
			text += "; elevations look like " + guess.name
			hint = guess.say + "; or check that this is the elevation band"
			break
		}
	}
	return f.fault("heights_implausible", text, hint, nil)
}
