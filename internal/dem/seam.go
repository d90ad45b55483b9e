package dem

import (
	"fmt"
	"math"
	"sort"

	"github.com/paulmach/orb"

	"route/internal/finding"
	"route/internal/quantity"
)

// maxSteps is the most differences that are kept for one pair of tiles.
const maxSteps = 20000

// stepFloorM is the smallest step that is worth a word.
const stepFloorM = 0.02

// seam judges the height differences between two tiles, second minus first: a
// median beyond three times their spread (NMAD, 1.4826 times the median
// absolute deviation) is a step and no roughness.
func (b *builder) seam(first, second window, diffs []float64) {
	if len(diffs) < 8 || first.index == second.index {
		return
	}
	step := median(diffs)
	away := make([]float64, len(diffs))
	for i, d := range diffs {
		away[i] = math.Abs(d - step)
	}
	spread := 1.4826 * median(away)
	if math.Abs(step) <= math.Max(3*spread, stepFloorM) {
		return
	}
	key := [2]int{min(first.index, second.index), max(first.index, second.index)}
	if _, known := b.surface.steps[key]; known {
		return
	}
	b.surface.steps[key] = math.Abs(step)
	b.note(second.file, finding.New(finding.Warning, "tile_step",
		fmt.Sprintf("heights step by {0} from %s to %s: the tiles come from different surveys", baseName(first.file), baseName(second.file)),
		"keep intake, pump and tank inside one of the tiles, or measure the drop with a level",
		quantity.Metres(math.Abs(step))))
}

// median of a list, which it reorders.
func median(v []float64) float64 {
	sort.Float64s(v)
	n := len(v)
	if n%2 == 1 {
		return v[n/2]
	}
	return (v[n/2-1] + v[n/2]) / 2
}

// edgeSteps collects the height steps between neighbouring cells of different
// owners: what is left of the difference when the slope on either side is
// taken out.
func edgeSteps(s *sheet, owner []uint16) map[[2]uint16][]float64 {
	out := map[[2]uint16][]float64{}
	probe := func(k, stride int) {
		a, c := owner[k], owner[k+stride]
		if a == c || a == 0 || c == 0 || owner[k-stride] != a || owner[k+2*stride] != c {
			return
		}
		before, here, there, after := s.raw(k-stride), s.raw(k), s.raw(k+stride), s.raw(k+2*stride)
		step := (there - here - ((here-before)+(after-there))/2) * s.scale
		if step != step {
			return
		}
		key := [2]uint16{a, c}
		if a > c {
			key, step = [2]uint16{c, a}, -step
		}
		if len(out[key]) < maxSteps {
			out[key] = append(out[key], step)
		}
	}
	for j := 0; j < s.rows; j++ {
		for i := 0; i < s.cols; i++ {
			k := j*s.cols + i
			if i >= 1 && i+2 < s.cols {
				probe(k, 1)
			}
			if j >= 1 && j+2 < s.rows {
				probe(k, s.cols)
			}
		}
	}
	return out
}

// betweenSheets compares tiles whose grids do not fit together, at places
// where both can be read or extended by up to a cell.
func (b *builder) betweenSheets() {
	tiles := b.surface.tiles
	for i := range tiles {
		for j := i + 1; j < len(tiles); j++ {
			if tiles[i].sheet == tiles[j].sheet {
				continue
			}
			common, ok := intersect(tiles[i].sheet.mapping.domain, tiles[j].sheet.mapping.domain)
			if !ok {
				continue
			}
			var diffs []float64
			e, n := across(common, 101)
			for k := range e {
				p := orb.Point{e[k], n[k]}
				first, _, ok1 := tiles[i].sheet.beyond(p, 1)
				second, _, ok2 := tiles[j].sheet.beyond(p, 1)
				if ok1 && ok2 {
					diffs = append(diffs, second-first)
				}
			}
			b.seam(window{file: b.source.files[tiles[i].file], index: tiles[i].file},
				window{file: b.source.files[tiles[j].file], index: tiles[j].file}, diffs)
		}
	}
}
