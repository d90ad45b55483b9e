// Package profile turns a walked creek line and a ground surface into an
// honest long profile: stations along the thalweg, raw and fitted heights,
// what is known about their error, and the reasons to doubt each of them.
package profile

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"
)

// Station is the horizontal distance in metres along an alignment.
type Station float64

// String prints a station the way stakes are marked, 0+123.45 for 123.45 m.
func (s Station) String() string {
	sign := ""
	m := float64(s)
	if m < 0 {
		sign, m = "-", -m
	}
	m = math.Round(m*100) / 100
	kilometres := math.Floor(m / 1000)
	return fmt.Sprintf("%s%d+%06.2f", sign, int(kilometres), m-1000*kilometres)
}

// Ground is a surface of heights in the site's frame: a raster window, or a
// formula in tests. Implementations are immutable and safe for concurrent use.
type Ground interface {
	// At gives the height in metres at a point of the frame; ok is false
	// outside the surface and where any height that the interpolation needs
	// is missing.
	At(p orb.Point) (zM float64, ok bool)
	// DiffSigma is the standard deviation in metres of z(p)-z(q), with the
	// correlation of the surface's error taken into account.
	DiffSigma(p, q orb.Point) float64
}

// Flag is a set of reasons to doubt a station.
type Flag uint16

// The reasons.
const (
	// FlagVoid: the raster has no height here; the fitted height is bridged.
	FlagVoid Flag = 1 << iota
	// FlagBridge: the raw height stands out above its neighbours for a short
	// way, as over a bridge, a culvert or a road fill; weight zero.
	FlagBridge
	// FlagFlat: a run of identical heights, as after hydro-flattening.
	FlagFlat
	// FlagGap: the walked track has a gap here; the line between is ours.
	FlagGap
	// FlagJunction: two low paths lie inside the corridor here.
	FlagJunction
)

// Names lists the flags that are set, in the words of plan.json.
func (f Flag) Names() []string {
	names := []string{}
	for i, name := range [...]string{"void", "bridge", "flat", "gap", "junction"} {
		if f&(1<<i) != 0 {
			names = append(names, name)
		}
	}
	return names
}

// Profile is a long profile. All slices have one entry a station, in the
// direction of flow: Stations increase, ZM never increases.
type Profile struct {
	Alignment *Alignment
	Stations  []Station   // horizontal, from the upper end
	Points    []orb.Point // plan position in the frame
	RawM      []float64   // height read off the surface; NaN where void
	ZM        []float64   // fitted water line, non-increasing
	LowM      []float64   // fitted 10 % quantile
	HighM     []float64   // fitted 90 % quantile
	SigmaM    []float64   // standard deviation of ZM, metres
	SlopeM    []float64   // length along the slope from the upper end, metres
	Flags     []Flag
	// ResidualM is the usual scatter of the raw heights about the fitted
	// line (normalised median absolute deviation), metres.
	ResidualM float64

	ownVar      []float64 // variance of ZM beyond what passed keeps of the surface's error, m²
	rough       roughness // of the raw heights
	slopeErrorM []float64 // standard deviation of ZM for its place within a cell
	smoothing   smoothing // of the fit
	passed      passed    // what the fit leaves of the surface's error
}

// Len is the number of stations.
func (p *Profile) Len() int { return len(p.Stations) }
