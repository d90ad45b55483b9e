package hydraulics

import "math"

// Submergence is the depth of water in metres that keeps a vortex from drawing
// air into the open end of a pipe: S = D·(1 + 2.3·V/√(g·D)), ANSI/HI 9.8
// (Hecker), as reprinted. It counts from the top of the opening.
func Submergence(bore, flow float64) float64 {
	v := flow / (math.Pi / 4 * bore * bore)
	return bore * (1 + 2.3*v/math.Sqrt(Gravity*bore))
}

// Velocities through an intake screen in m/s that fish and leaves bear.
const (
	// ScreenPassive: NMFS juvenile fish screen criteria for pump intakes,
	// addendum, 0.2 ft/s for a screen that nobody cleans.
	ScreenPassive = 0.2 * 0.3048
	// ScreenActive: the same, 0.4 ft/s for a screen that cleans itself.
	ScreenActive = 0.4 * 0.3048
	// ScreenGravity: California Department of Fish and Game (2000), 3 ft² a
	// ft³/s for gravity diversions.
	ScreenGravity = 0.33 * 0.3048
)

// ScreenOpening is the usual share of a screen that is open: NRCS Technical
// Note 6 gives 27 to 50 %.
const ScreenOpening = 0.4

// ScreenArea is the open and the whole area in m² of a screen that takes a flow
// at a velocity.
func ScreenArea(flow, velocity, opening float64) (net, gross float64) {
	net = flow / velocity
	return net, net / opening
}

// SettlingVelocity is the speed in m/s at which a grain of quartz of a diameter
// in metres sinks: w = R·g·d²/(C₁·ν + √(0.75·C₂·R·g·d³)), Ferguson & Church,
// J. Sediment. Res. 74 (2004) 933–937, as quoted by driftflux.com and
// hinderedsettling.com, with R 1.65, C₁ 18, C₂ 1.0 for natural grains. Silt to
// gravel, within about 10 %.
func SettlingVelocity(f Fluid, grain float64) float64 {
	const r = 1.65
	return r * Gravity * grain * grain / (18*f.KinematicViscosity + math.Sqrt(0.75*r*Gravity*grain*grain*grain))
}

// SettlingBox is the water surface in m² and the volume in m³ of a box in which
// grains of a diameter and larger stay behind: the surface load flow/area is
// half the settling velocity, for the eddies of a small box (common practice,
// no source), and the water stays for at least detention seconds.
func SettlingBox(f Fluid, flow, grain, detention float64) (area, volume float64) {
	return 2 * flow / SettlingVelocity(f, grain), flow * detention
}

// ScreenK is the loss coefficient of a thin perforated plate or screen with an
// open share, on the velocity in front of it: ((0.707·√(1−φ) + 1 − φ)/φ)²,
// Idelchik, Handbook of Hydraulic Resistance, diagram 8-1, from memory. Leaves
// on the screen make it many times more.
func ScreenK(opening float64) float64 {
	return sq((math.Sqrt((1-opening)/2) + 1 - opening) / opening)
}
