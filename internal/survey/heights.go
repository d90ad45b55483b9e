package survey

import (
	"math"
	"sort"

	"route/internal/finding"
	"route/internal/geodesy"
	"route/internal/quantity"
)

// HeightCheck compares recorded heights with the terrain's. It is a check of
// units and datums, never a source of heights.
type HeightCheck struct {
	Fixes   int     // that have both
	OffsetM float64 // median of recorded minus terrain
	SpreadM float64 // normalised median absolute deviation of the same
}

// CompareHeights compares a track's recorded heights with those of the
// terrain. The findings tell when the terrain looks like feet read as metres,
// and when the receiver seems to give heights above the ellipsoid; both only
// when the figures are plain (at least ten fixes).
func CompareHeights(t Track, terrain func(geodesy.LonLat) (zM float64, ok bool)) (HeightCheck, []finding.Finding) {
	var diff, ele, ground []float64
	for _, leg := range t.Legs {
		for _, f := range leg {
			z, ok := terrain(f.LonLat)
			if !ok || math.IsNaN(f.EleM) || math.IsNaN(z) {
				continue
			}
			diff = append(diff, f.EleM-z)
			ele = append(ele, f.EleM)
			ground = append(ground, z)
		}
	}
	c := HeightCheck{Fixes: len(diff), OffsetM: math.NaN(), SpreadM: math.NaN()}
	if c.Fixes == 0 {
		return c, nil
	}
	c.OffsetM, c.SpreadM = medianAndSpread(diff)
	if c.Fixes < 10 {
		return c, nil
	}
	const feetPerMetre = 1 / 0.3048
	e, _ := medianAndSpread(ele)
	g, _ := medianAndSpread(ground)
	// Receivers err by tens of metres in height at most, the geoid by a
	// hundred; a factor of 3.28 on more than 100 m is neither.
	if math.Abs(e) > 100 && math.Abs(g/e-feetPerMetre) < 0.25*feetPerMetre {
		return c, []finding.Finding{finding.New(finding.Error, "terrain_in_feet",
			"the terrain's heights are about 3.28 times those of the track (median {0} against {1}): they look like feet read as metres",
			"say that the terrain's heights are in feet", quantity.Metres(g), quantity.Metres(e))}
	}
	if off := math.Abs(c.OffsetM); off >= 10 && off <= 110 && c.SpreadM < off/3 {
		return c, []finding.Finding{finding.New(finding.Note, "heights_ellipsoidal",
			"the track's recorded heights differ from the terrain by a steady {0}: the receiver may give heights above the ellipsoid, or was not set; they are not used",
			"", quantity.Metres(c.OffsetM))}
	}
	return c, nil
}

// medianAndSpread reorders its argument.
func medianAndSpread(v []float64) (median, spread float64) {
	median = middle(v)
	for i := range v {
		v[i] = math.Abs(v[i] - median)
	}
	return median, 1.4826 * middle(v)
}

func middle(v []float64) float64 {
	sort.Float64s(v)
	n := len(v)
	return (v[(n-1)/2] + v[n/2]) / 2
}
