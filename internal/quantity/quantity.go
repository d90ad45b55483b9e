// Package quantity parses and prints measured values. Inside the program
// everything is SI; other units exist only here. It also holds the value with
// its standard deviation, so that no digit is printed that the deviation does
// not support.
package quantity

import "strconv"

// Dimension is what kind of thing is measured. It decides which units are
// understood and which are printed.
type Dimension int

// The dimensions, with the SI unit in which each is kept.
const (
	Length      Dimension = iota // m
	Diameter                     // m; pipe sizes, printed in inch fractions or mm
	Flow                         // m³/s; printed per minute
	DailyVolume                  // m³/s; printed per day
	Volume                       // m³
	Pressure                     // Pa
	Head                         // m of water
	Temperature                  // K
	Ratio                        // 1; printed in per cent
	Velocity                     // m/s
	Duration                     // s
	Roughness                    // m; of a pipe wall
	Area                         // m²
	Slope                        // 1, rise over run; printed in per cent
	Mass                         // kg
	Power                        // W
	Energy                       // J
	Angle                        // rad
	Multiple                     // 1; printed as so many times
	dimensions
)

// String names the dimension in plain words, as in "a length".
func (d Dimension) String() string {
	if d < 0 || d >= dimensions {
		return "Dimension(" + strconv.Itoa(int(d)) + ")"
	}
	return kinds[d].name
}

// System is the family of units that a person reads.
type System int

// The systems.
const (
	SI System = iota // metres, litres, bar, °C
	US               // feet, inches, US gallons, psi, °F
)

// String gives the word of the site file, "si" or "us".
func (s System) String() string {
	if s == US {
		return "us"
	}
	return "si"
}

// Value is a number with its dimension, so that it can be printed in the
// reader's units later.
type Value struct {
	Dim Dimension
	SI  float64
}

// Metres makes a Value of a length in metres.
func Metres(v float64) Value { return Value{Length, v} }

// Of makes a Value of a number in the SI unit of its dimension.
func Of(d Dimension, si float64) Value { return Value{d, si} }

// In prints the value in a system's units: "8.1 ft".
func (v Value) In(s System) string { return Format(s, v.Dim, v.SI) }

// Unit gives the unit in which a system prints a dimension in tables, where
// one unit must hold for a whole column: number = perSI·si + offset.
func Unit(s System, d Dimension) (name string, perSI, offset float64) {
	u := kinds[d].column[s]
	return u.name, 1 / u.si, -u.zero / u.si
}
