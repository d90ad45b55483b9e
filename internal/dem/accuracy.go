package dem

import (
	"fmt"
	"math"
	"path/filepath"
	"regexp"
	"strings"

	"route/internal/finding"
	"route/internal/quantity"
)

// ErrorModel is the error of a raster's heights: a common part that cancels
// in every drop, white noise from cell to cell, and two parts that die out
// exponentially with plan distance. Sum-of-two-ranges models of this kind are
// current practice for elevation rasters (Hugonnet et al. 2022, IEEE JSTARS
// 15, 6456-6472); the figures of the classes below are proposals of this
// project, to be replaced by the tested figures of a survey report.
type ErrorModel struct {
	Class string // name, for people
	Why   string // why this class

	BiasM   float64 // common to all heights; cancels in a drop
	NuggetM float64 // one sigma of the white part
	ShortM  float64 // one sigma of the short-ranged part
	ShortAt float64 // its range in metres: correlation exp(-d/ShortAt)
	LongM   float64 // one sigma of the long-ranged part
	LongAt  float64 // its range in metres

	// ScreeningOnly: good for finding a place, not for buying pipe.
	ScreeningOnly bool
}

// The classes. Sources of the orders of magnitude: lidar under conifer
// 0.31 ± 0.29 m (Reutebuch et al. 2003), lidar by land cover RMSE 0.15 to
// 0.36 m (Hodgson et al. 2005), SRTM and NASADEM RMSE 5.7 and 3.7 m against
// GNSS of which most is common to a neighbourhood. Correlation ranges along
// creeks are assumed: no measurement was found.
var (
	// LidarForest is airborne lidar at 1 m or finer with a leaf canopy over
	// the creek.
	LidarForest = ErrorModel{Class: "lidar, forest", NuggetM: 0.03, ShortM: 0.05, ShortAt: 8, LongM: 0.08, LongAt: 300}
	// LidarOpen is the same over open ground.
	LidarOpen = ErrorModel{Class: "lidar, open ground", NuggetM: 0.02, ShortM: 0.03, ShortAt: 8, LongM: 0.05, LongAt: 300}
	// Mixed10 is a raster of 5 to 10 m from photogrammetry or mixed sources.
	Mixed10 = ErrorModel{Class: "5-10 m, mixed sources", NuggetM: 0.2, ShortM: 0.4, ShortAt: 25, LongM: 0.5, LongAt: 500}
	// Global30 is a world-wide raster of 30 m or coarser.
	Global30 = ErrorModel{Class: "30 m, world-wide", NuggetM: 0.8, ShortM: 1.5, ShortAt: 60, LongM: 2, LongAt: 1000, ScreeningOnly: true}
)

// DropSigma is the standard deviation in metres of the difference between two
// heights that lie distM apart in plan:
//
//	Var = 2 [nug² + sS² (1 − e^(−d/lS)) + sL² (1 − e^(−d/lL))],  0 at d = 0.
//
// The common bias cancels.
func (m ErrorModel) DropSigma(distM float64) float64 {
	if distM == 0 {
		return 0
	}
	variance := m.NuggetM*m.NuggetM + m.ShortM*m.ShortM*lost(distM, m.ShortAt) + m.LongM*m.LongM*lost(distM, m.LongAt)
	return math.Sqrt(2 * variance)
}

// lost is 1 − exp(−d/range): the share of a part's variance that two points
// do not have in common.
func lost(distM, rangeM float64) float64 {
	if rangeM <= 0 {
		return 1
	}
	return -math.Expm1(-distM / rangeM)
}

// Sigma is the standard deviation in metres of one height, bias left out.
func (m ErrorModel) Sigma() float64 {
	return math.Sqrt(m.NuggetM*m.NuggetM + m.ShortM*m.ShortM + m.LongM*m.LongM)
}

// quantised adds the rounding error of heights that are stored in steps: a
// rounding to a step is uniform, so its sigma is step/√12.
func (m ErrorModel) quantised(stepM float64) ErrorModel {
	m.NuggetM = math.Hypot(m.NuggetM, stepM/math.Sqrt(12))
	return m
}

// product is a raster product that people download, known by its name.
type product struct {
	name    string
	match   *regexp.Regexp // of file names and descriptions, lower case
	surface bool           // trees and roofs are in the heights
}

// products are world-wide rasters. They are only looked for in rasters
// coarser than 10 m, so that a creek called Merit stays lidar.
var products = []product{
	{"Copernicus GLO-30", regexp.MustCompile(`copernicus[_ -]?dsm|cop[_ -]?dem|glo[_ -]?30|glo[_ -]?90|tandem-?x`), true},
	{"NASADEM", regexp.MustCompile(`nasadem`), true},
	{"SRTM", regexp.MustCompile(`srtm|^[ns]\d{2}[ew]\d{3}`), true},
	{"ALOS AW3D30", regexp.MustCompile(`aw3d|alos`), true},
	{"ASTER GDEM", regexp.MustCompile(`astgtm|aster|gdem`), true},
	{"EU-DEM", regexp.MustCompile(`eu[_ -]?dem`), true},
	{"MERIT", regexp.MustCompile(`merit`), false},
	{"FABDEM", regexp.MustCompile(`fabdem`), false},
}

// surfaceWords tell that a raster of any cell size holds trees and roofs.
var surfaceWords = regexp.MustCompile(`(^|[^a-z])(dsm|ndsm|dhm_surface|surface[ _-]?model|first[ _-]?returns?|highest[ _-]?hit)([^a-z]|$)`)

// classify chooses the error model from the cell size and from what names and
// descriptions say.
func (f *file) classify(d description, given *ErrorModel) {
	texts := append([]string{strings.ToLower(filepath.Base(f.path))}, d.words()...)
	named, surface := "", false
	for i, text := range texts {
		text = strings.ToLower(text)
		if surfaceWords.MatchString(text) {
			surface = true
		}
		for _, p := range products {
			if named == "" && f.info.CellM > 10 && (p.match.MatchString(text) || i == 0 && p.name == "SRTM" && f.info.Driver == "SRTMHGT") {
				named, surface = p.name, surface || p.surface
			}
		}
	}
	f.info.SurfaceModel = surface
	switch {
	case given != nil:
		f.model = *given
		if f.model.Class == "" {
			f.model.Class = "given"
		}
		if f.model.Why == "" {
			f.model.Why = "as the site file says"
		}
	default:
		f.model = classByCell(f.info.CellM)
		if named != "" {
			f.model = Global30
			f.model.Why = "its name or description says " + named
		}
		f.model.ScreeningOnly = f.model.ScreeningOnly || surface
	}
	f.model = f.model.screened()
	f.info.AccuracyClass, f.info.AccuracyWhy, f.info.ScreeningOnly = f.model.Class, f.model.Why, f.model.ScreeningOnly
}

// screeningSigmaM is the standard deviation of a height from which on a raster
// is for finding a place only; common practice, no source.
const screeningSigmaM = 2

// screened marks a model that is too coarse to buy pipe by.
func (m ErrorModel) screened() ErrorModel {
	m.ScreeningOnly = m.ScreeningOnly || m.Sigma() > screeningSigmaM
	return m
}

// modelOf is the error model of a window once its heights are known: they may
// be those of trees and roofs, coarser than their cells, noisy, or stored in
// steps.
func (b *builder) modelOf(w window, c *cells, stepM float64) ErrorModel {
	f := w.file
	model := f.model
	var t texture
	if stepM == 0 {
		t = textureOf(c, w.cols, w.rows, math.Abs(f.scaleM), f.info.CellM)
	}
	surface := t.surface(f.info.CellM) && !f.info.SurfaceModel
	if lag := t.detail(); lag >= 4 && !surface {
		if coarse := classByCell(float64(lag) * f.info.CellM); coarse.Sigma() > model.Sigma() {
			model = coarse
			model.Why = fmt.Sprintf("cells of %.3g m, but their heights have no detail finer than about %.2g m, as if made from coarser cells", f.info.CellM, float64(lag)*f.info.CellM)
			b.note(f, finding.New(finding.Warning, "coarser_than_cells", "the heights have no detail finer than about {0}, though the cells are {1}: they were made from a coarser raster, and are no better than it",
				"use the raster that it was made from, or one of real detail; where you know better, say accuracy: in the site file",
				quantity.Metres(float64(lag)*f.info.CellM), quantity.Metres(f.info.CellM)))
		}
	}
	if white := t.whiteM(); white > model.NuggetM && !surface {
		model.Why += fmt.Sprintf("; noise from cell to cell of %.2g m is in them", white)
		model.NuggetM = white
	}
	if stepM > 0 {
		model = model.quantised(stepM)
		model.Why += fmt.Sprintf("; steps of %.3g m add %.2g m", stepM, stepM/math.Sqrt(12))
	}
	if surface {
		model.Why += fmt.Sprintf("; %.0f %% of the ground stands in it like trees or roofs", 100*t.bumps)
		model.ScreeningOnly = true
		f.info.SurfaceModel = true
		b.note(f, finding.New(finding.Warning, "surface_model",
			fmt.Sprintf("this looks like a surface model: over %.0f %% of the ground things as narrow as trees and roofs stand {0} and more above the rest", 100*t.bumps),
			"use a ground model (bare earth, DTM) where there is one; if it is one, and these are crags or boulders, say accuracy: in the site file", quantity.Metres(bumpM)))
	}
	model = model.screened()
	if model.ScreeningOnly && !f.info.ScreeningOnly {
		f.info.ScreeningOnly = true
		if !surface {
			b.note(f, model.screeningFinding())
		}
	}
	f.info.AccuracyClass, f.info.AccuracyWhy = model.Class, model.Why
	return model
}

// screeningFinding warns of heights that cannot carry a purchase.
func (m ErrorModel) screeningFinding() finding.Finding {
	return finding.New(finding.Warning, "screening_only",
		"heights this uncertain are for finding a place: a drop over {0} is uncertain by {1}",
		"measure the drop with a level before buying pipe",
		quantity.Metres(30), quantity.Metres(m.DropSigma(30)))
}

// classByCell is the class that a cell size alone suggests.
func classByCell(cellM float64) ErrorModel {
	var m ErrorModel
	switch {
	case math.IsNaN(cellM):
		m = Global30
		m.Why = "nothing is known about it"
		return m
	case cellM <= 1.5:
		m = LidarForest
	case cellM <= 15:
		m = Mixed10
	default:
		m = Global30
	}
	m.Why = fmt.Sprintf("cells of %.3g m; nothing else is known about its making", cellM)
	return m
}

// classFindings warn of rasters that cannot carry a purchase.
func (f *file) classFindings() []finding.Finding {
	var out []finding.Finding
	if f.info.SurfaceModel {
		out = append(out, finding.New(finding.Warning, "surface_model",
			"this is a surface model: trees and roofs stand in its heights, and a creek under trees is not in it",
			"use a ground model (bare earth, DTM) where there is one; take this for finding a place only"))
	}
	if f.info.ScreeningOnly && !f.info.SurfaceModel {
		out = append(out, f.model.screeningFinding())
	}
	return out
}
