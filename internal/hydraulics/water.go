package hydraulics

import "math"

// The range of Water.
const (
	minWaterK, maxWaterK     = 273.15, 373.15
	minAltitudeM, maxAltiudM = -500, 6000
)

// Water gives the properties of fresh water at atmospheric pressure for a
// temperature of 273.15 to 373.15 K and an altitude of −500 to 6000 m.
//
//   - Density: Kell, J. Chem. Eng. Data 20 (1975) 97–105, eq. 16; within 0.01 %
//     of the International Critical Tables at 0–30 °C. Coefficients from memory.
//   - Viscosity: Kestin, Sokolov & Wakeham, J. Phys. Chem. Ref. Data 7 (1978)
//     941–948; within 0.3 % of a handbook table at 0–30 °C. Coefficients from memory.
//   - Bulk modulus: the inverse of Kell's (1975) isothermal compressibility;
//     the adiabatic modulus that a pressure wave sees is at most 0.7 % higher
//     below 20 °C. Coefficients from memory.
//   - Vapour head: Wagner & Pruß, J. Phys. Chem. Ref. Data 22 (1993) 783–787
//     (IAPWS supplementary release on saturation). Coefficients from memory.
//   - Barometric head: ICAO standard atmosphere (Doc 7488), troposphere.
func Water(temperatureK, altitudeM float64) (Fluid, error) {
	if !(temperatureK >= minWaterK && temperatureK <= maxWaterK) {
		return Fluid{}, &RangeError{"Water", "temperature in kelvin", temperatureK, minWaterK, maxWaterK}
	}
	if !(altitudeM >= minAltitudeM && altitudeM <= maxAltiudM) {
		return Fluid{}, &RangeError{"Water", "altitude in metres", altitudeM, minAltitudeM, maxAltiudM}
	}
	t := temperatureK - 273.15
	rho := kellDensity(t)
	return Fluid{
		TemperatureK:       temperatureK,
		Density:            rho,
		KinematicViscosity: kestinViscosity(t) / rho,
		BulkModulus:        kellBulkModulus(t),
		VapourHead:         saturationPressure(temperatureK) / (rho * Gravity),
		BarometricHead:     atmosphericPressure(altitudeM) / (rho * Gravity),
	}, nil
}

// kellDensity in kg/m³ at t °C.
func kellDensity(t float64) float64 {
	return (999.83952 + t*(16.945176+t*(-7.9870401e-3+t*(-46.170461e-6+t*(105.56302e-9+t*-280.54253e-12))))) /
		(1 + 16.879850e-3*t)
}

// kellBulkModulus in Pa at t °C.
func kellBulkModulus(t float64) float64 {
	perBar := 1e-6 * (50.88496 + t*(0.6163813+t*(1.459187e-3+t*(20.08438e-6+t*(-58.47727e-9+t*410.4110e-12))))) /
		(1 + 19.67348e-3*t)
	return 1e5 / perBar
}

// kestinViscosity in Pa·s at t °C.
func kestinViscosity(t float64) float64 {
	d := 20 - t
	return 1.002e-3 * math.Pow(10, d/(t+96)*(1.2364-1.37e-3*d+5.7e-6*d*d))
}

// saturationPressure in Pa at a temperature in kelvin.
func saturationPressure(temperatureK float64) float64 {
	const criticalK, criticalPa = 647.096, 22.064e6
	u := 1 - temperatureK/criticalK
	r := math.Sqrt(u)
	sum := u * (-7.85951783 + 1.84408259*r + u*u*(-11.7866497+22.6807411*r-15.9618719*u) + 1.80122502*u*u*u*u*u*u*r)
	return criticalPa * math.Exp(criticalK/temperatureK*sum)
}

// atmosphericPressure in Pa at an altitude in metres.
func atmosphericPressure(altitudeM float64) float64 {
	return 101325 * math.Pow(1-2.25577e-5*altitudeM, 5.25588)
}
