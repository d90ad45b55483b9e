package dem

import (
	"fmt"
	"math"

	"route/internal/finding"
)

// resampledDegreesM is the cell size below which a raster in degrees was made
// from one in metres: heights as dense as that come from lidar or photographs
// and are first put on a plane grid, while coarser products are published in
// degrees. Common practice, no source.
const resampledDegreesM = 3

// resampledFinding notes a grid on which nobody makes heights at first: they
// were interpolated from other cells before they came here, which no reading can
// take back. Rewritten so, the same ground of 1 m cells gives falls that differ
// by 2 to 15 cm beside steep banks.
func (f *file) resampledFinding() []finding.Finding {
	why := ""
	switch cell := math.Abs(f.affine.dx); {
	case f.crs.geographic && f.info.CellM < resampledDegreesM:
		why = fmt.Sprintf("cells of %.2g m in degrees", f.info.CellM)
	case f.crs.authority == "EPSG:3857":
		why = "Web Mercator, a projection for showing maps"
	case !f.crs.geographic && !roundCell(cell):
		why = fmt.Sprintf("cells of %.6g units of the map", cell)
	default:
		return nil
	}
	return []finding.Finding{finding.New(finding.Note, "heights_resampled",
		"the heights seem to have been carried over from other cells before ("+why+"): a fall may come out some centimetres differently from that in the raster they were made from, and more beside steep banks",
		"take the raster as it was first published where you can get it")}
}

// roundCell tells sizes that a person would choose: whole hundredths, to within
// the rounding of programs that keep coordinates in millimetres.
func roundCell(size float64) bool {
	const near = 1e-5
	hundredths := size * 100
	return math.Abs(hundredths-math.Round(hundredths)) <= near*hundredths
}
