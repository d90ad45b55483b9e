// Package hydraulics is the physics of pipes, surge and hydraulic rams: pure
// functions of float64 in SI units, with heads in metres of the fluid. It
// knows nothing of files, terrain or prices.
package hydraulics

import (
	"fmt"
	"math"
)

// Gravity is the standard acceleration of free fall in m/s² (CGPM 1901).
const Gravity = 9.80665

// RangeError says that an argument lies outside the range in which a formula
// holds.
type RangeError struct {
	Func, Param     string
	Value, Min, Max float64
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("hydraulics: %s: %s = %g lies outside %g to %g", e.Func, e.Param, e.Value, e.Min, e.Max)
}

// Fluid holds the properties of water at one temperature and altitude.
type Fluid struct {
	TemperatureK       float64
	Density            float64 // kg/m³
	KinematicViscosity float64 // m²/s
	BulkModulus        float64 // Pa
	VapourHead         float64 // m, absolute
	BarometricHead     float64 // m, absolute
}

// Pipe is one kind of pipe as the formulas see it.
type Pipe struct {
	Inside        float64 // m, mean inside diameter
	Wall          float64 // m; 0 when unknown: then waves run as in a rigid pipe
	Roughness     float64 // m, absolute
	YoungModulus  float64 // Pa, for short loads (surge)
	Rating        float64 // m of water at 20–23 °C; 0 when the standard gives none
	Rigid         bool    // metal: usable as a permanent drive pipe
	HazenWilliams float64 // coefficient C, for display only; 0 when none is usual
}

// Area is the inside cross-section in m².
func (p Pipe) Area() float64 { return math.Pi / 4 * p.Inside * p.Inside }

// Product is a pipe of a published standard.
type Product struct {
	Name     string // "PE SIDR 15 1 in", "PE100 SDR 11 DN32", "steel Sch 40 2 in"
	Family   string // "PE SIDR 15"
	Size     string // "1 in", "DN32"
	Standard string // "ASTM D2239"
	Source   string // where the dimensions were read; "from memory" where that is the truth
	Pipe     Pipe
	OutsideM float64 // m, nominal outside diameter; 0 for pipe made to its inside diameter

	derating derating
}

// Ram holds the parameters of one pump. The zero value of a field is not
// usable: start from DefaultRam.
type Ram struct {
	WasteValveK      float64 // waste valve open, exit velocity head included, on drive-pipe velocity
	DeliveryValveK   float64
	EntranceK        float64 // drive-pipe entrance and bends
	CloseTimeS       float64
	OpenTimeS        float64
	SlipM3           float64 // lost through the delivery valve a beat
	VolumetricFactor float64
	RecoilHeadM      float64 // head that limits the recoil
}

// Duty is what one pump does in steady running.
type Duty struct {
	DriveFlow, WasteFlow, DeliveredFlow float64 // m³/s; drive = waste + delivered
	ClosingVelocity                     float64 // m/s in the drive pipe
	PeriodS                             float64 // of one beat
	EfficiencyDAubuisson                float64
	EfficiencyRankine                   float64
	Lambda                              float64 // closing velocity over velocity with the valve locked open
	Mu                                  float64 // Joukowsky head over delivery head
	LiftRatio                           float64 // delivery head over drive head
	ShutoffHeadM                        float64 // highest head the beat can reach
	OpenVelocity                        float64 // m/s with the valve locked open at this drive head
	DeliveredVolumeM3                   float64 // into the air vessel a beat, before slip and volumetric factor
	Transition                          bool    // drive-pipe friction was taken at 2000 < Re < 4000, where it is uncertain by ±20 %
}

// BeatsPerMinute is 60 over the period.
func (d Duty) BeatsPerMinute() float64 { return 60 / d.PeriodS }
