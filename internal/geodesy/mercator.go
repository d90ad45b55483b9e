package geodesy

import "math"

// The transverse Mercator projection of the WGS 84 ellipsoid by Krüger's
// series to the sixth order of the third flattening n: C. F. F. Karney,
// Transverse Mercator with an accuracy of a few nanometers, J. Geodesy 85
// (2011) 475-485. The truncation error is below 5 nm within 3900 km of the
// central meridian; this code adds a few nanometres of rounding.
const thirdFlattening = flattening / (2 - flattening)

// rectifyingRadiusM is A of Karney's eq. 14: a quarter meridian is A·π/2.
var rectifyingRadiusM = semiMajorM / (1 + thirdFlattening) * polynomial(thirdFlattening*thirdFlattening, 1, 1.0/4, 1.0/64, 1.0/256)

// krugerAlpha and krugerBeta are the series of Karney's eqs. 35 and 36.
var (
	krugerAlpha = [6]float64{
		series(1, 1.0/2, -2.0/3, 5.0/16, 41.0/180, -127.0/288, 7891.0/37800),
		series(2, 13.0/48, -3.0/5, 557.0/1440, 281.0/630, -1983433.0/1935360),
		series(3, 61.0/240, -103.0/140, 15061.0/26880, 167603.0/181440),
		series(4, 49561.0/161280, -179.0/168, 6601661.0/7257600),
		series(5, 34729.0/80640, -3418889.0/1995840),
		series(6, 212378941.0/319334400),
	}
	krugerBeta = [6]float64{
		series(1, 1.0/2, -2.0/3, 37.0/96, -1.0/360, -81.0/512, 96199.0/604800),
		series(2, 1.0/48, 1.0/15, -437.0/1440, 46.0/105, -1118711.0/3870720),
		series(3, 17.0/480, -37.0/840, -209.0/4480, 5569.0/90720),
		series(4, 4397.0/161280, -11.0/504, -830251.0/7257600),
		series(5, 4583.0/161280, -108847.0/3991680),
		series(6, 20648693.0/638668800),
	}
)

// polynomial is c[0] + c[1]x + c[2]x² + …
func polynomial(x float64, c ...float64) float64 {
	sum := 0.0
	for i := len(c) - 1; i >= 0; i-- {
		sum = sum*x + c[i]
	}
	return sum
}

// series is n^order·(c[0] + c[1]n + …) at the ellipsoid's third flattening.
func series(order int, c ...float64) float64 {
	return math.Pow(thirdFlattening, float64(order)) * polynomial(thirdFlattening, c...)
}

// conformalTan gives tan of the conformal latitude from tan of the latitude,
// Karney's eqs. 7 to 9.
func conformalTan(tau float64) float64 {
	e := math.Sqrt(eccentricity2)
	root := math.Hypot(1, tau)
	sigma := math.Sinh(e * math.Atanh(e*tau/root))
	return tau*math.Hypot(1, sigma) - sigma*root
}

// geographicTan is the inverse of conformalTan by Newton's method, Karney's
// eqs. 19 to 21. Two or three steps reach the last bit.
func geographicTan(tauPrime float64) float64 {
	tau := tauPrime / (1 - eccentricity2)
	for range 6 {
		back := conformalTan(tau)
		step := (tauPrime - back) / math.Hypot(1, back) *
			(1 + (1-eccentricity2)*tau*tau) / ((1 - eccentricity2) * math.Hypot(1, tau))
		tau += step
		if math.Abs(step) < 1e-15*max(1, math.Abs(tau)) {
			break
		}
	}
	return tau
}

// project gives x and y of a unit-scale transverse Mercator in metres, y from
// the equator, and the point scale, for a latitude and a longitude from the
// central meridian in degrees.
func project(latDeg, dLonDeg float64) (x, y, scale float64) {
	sinLat, cosLat := math.Sincos(latDeg * math.Pi / 180)
	sinLon, cosLon := math.Sincos(dLonDeg * math.Pi / 180)
	tau := sinLat / cosLat
	tauPrime := conformalTan(tau)
	across := math.Hypot(tauPrime, cosLon)
	xiPrime := math.Atan2(tauPrime, cosLon)
	etaPrime := math.Asinh(sinLon / across)

	xi, eta, p, q := xiPrime, etaPrime, 1.0, 0.0
	for j, alpha := range krugerAlpha {
		order := 2 * float64(j+1)
		s, c := math.Sincos(order * xiPrime)
		sh, ch := math.Sinh(order*etaPrime), math.Cosh(order*etaPrime)
		xi += alpha * s * ch
		eta += alpha * c * sh
		p += order * alpha * c * ch
		q += order * alpha * s * sh
	}
	// Karney's eqs. 22 to 25.
	scale = rectifyingRadiusM / semiMajorM * math.Hypot(p, q) *
		math.Sqrt(1-eccentricity2*sinLat*sinLat) * math.Hypot(1, tau) / across
	return rectifyingRadiusM * eta, rectifyingRadiusM * xi, scale
}

// unproject is the inverse of project.
func unproject(x, y float64) (latDeg, dLonDeg float64) {
	xi, eta := y/rectifyingRadiusM, x/rectifyingRadiusM
	xiPrime, etaPrime := xi, eta
	for j, beta := range krugerBeta {
		order := 2 * float64(j+1)
		s, c := math.Sincos(order * xi)
		xiPrime -= beta * s * math.Cosh(order*eta)
		etaPrime -= beta * c * math.Sinh(order*eta)
	}
	sinXi, cosXi := math.Sincos(xiPrime)
	sinhEta := math.Sinh(etaPrime)
	tau := geographicTan(sinXi / math.Hypot(sinhEta, cosXi))
	return math.Atan(tau) * 180 / math.Pi, math.Atan2(sinhEta, cosXi) * 180 / math.Pi
}

// fromMeridian is the longitude east of a central meridian, from -180 to 180.
func fromMeridian(lon, meridian float64) float64 {
	return math.Remainder(lon-meridian, 360)
}
