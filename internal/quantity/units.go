package quantity

import "math"

// unit is one way to write a dimension: si = number·unit.si + unit.zero.
type unit struct {
	name  string  // as printed
	si    float64 // SI per unit
	zero  float64 // SI value of 0 of the unit; only temperatures have one
	names []string
	// exactCase keeps M (mega) apart from m (milli).
	exactCase bool
	// chain marks units that may be added up: "8 ft 6 in", "1 h 30 min".
	chain bool
}

// Exact definitions: NIST Special Publication 811 (2008), appendix B.8, and
// NIST Handbook 44 (2024), appendix C.
const (
	foot       = 0.3048        // m, international foot, exact
	surveyFoot = 1200.0 / 3937 // m, US survey foot, exact
	inch       = foot / 12
	yard       = 3 * foot
	mile       = 5280 * foot
	gallon     = 231 * inch * inch * inch // m³, US liquid gallon: 231 in³, exact
	impGallon  = 4.54609e-3               // m³, imperial gallon, exact
	litre      = 1e-3
	cubicFoot  = foot * foot * foot
	minute     = 60.0
	hour       = 3600.0
	day        = 86400.0
	gravity    = 9.80665         // m/s², standard acceleration, exact
	pound      = 0.45359237      // kg, exact
	poundForce = pound * gravity // N
	psi        = poundForce / (inch * inch)
	waterMetre = 1000 * gravity      // Pa, conventional metre of water
	fahrenheit = 5.0 / 9             // K per °F
	zeroC      = 273.15              // K
	zeroF      = zeroC - 32*5.0/9    // K
	acre       = 43560 * foot * foot // m²; the survey acre differs by 4 in a million
	horsepower = 550 * foot * poundForce
)

var (
	unitM      = unit{name: "m", si: 1, chain: true, names: []string{"m", "metre", "metres", "meter", "meters", "mtr"}}
	unitKM     = unit{name: "km", si: 1000, chain: true, names: []string{"km", "kilometre", "kilometres", "kilometer", "kilometers"}}
	unitCM     = unit{name: "cm", si: 0.01, chain: true, names: []string{"cm", "centimetre", "centimetres", "centimeter", "centimeters"}}
	unitMM     = unit{name: "mm", si: 0.001, chain: true, names: []string{"mm", "millimetre", "millimetres", "millimeter", "millimeters"}}
	unitMicron = unit{name: "µm", si: 1e-6, names: []string{"µm", "um", "micron", "microns", "micrometre", "micrometres", "micrometer", "micrometers"}}
	unitFt     = unit{name: "ft", si: foot, chain: true, names: []string{"ft", "ft.", "feet", "foot", "'", "lf"}}
	unitUSFt   = unit{name: "us-ft", si: surveyFoot, names: []string{"us-ft", "us_ft", "us ft", "ftus", "us survey ft", "us survey foot", "us survey feet", "survey ft", "survey foot", "survey feet"}}
	unitIn     = unit{name: "in", si: inch, chain: true, names: []string{"in", "in.", "inch", "inches", `"`, "''"}}
	unitYd     = unit{name: "yd", si: yard, chain: true, names: []string{"yd", "yd.", "yds", "yard", "yards"}}
	unitMi     = unit{name: "mi", si: mile, chain: true, names: []string{"mi", "mi.", "mile", "miles"}}

	unitGPM   = unit{name: "gpm", si: gallon / minute, names: []string{"gpm", "us gpm", "usgpm", "gal/min", "gal/minute", "gal./min", "gallon/min", "gallons/min", "us gal/min", "gallons per minute", "gallon per minute", "gal per min"}}
	unitGPH   = unit{name: "gal/h", si: gallon / hour, names: []string{"gph", "gal/h", "gal/hr", "gal/hour", "gallons/hour", "gallons per hour"}}
	unitGPD   = unit{name: "gal/day", si: gallon / day, names: []string{"gal/day", "gpd", "gal/d", "us gal/day", "gallon/day", "gallons/day", "gallons a day", "gal a day", "gallons per day", "gal per day"}}
	unitIGPM  = unit{name: "imp gal/min", si: impGallon / minute, names: []string{"imp gpm", "igpm", "imp gal/min", "uk gpm", "uk gal/min"}}
	unitIGPD  = unit{name: "imp gal/day", si: impGallon / day, names: []string{"imp gal/day", "imp gpd", "igpd", "uk gal/day"}}
	unitLS    = unit{name: "L/s", si: litre, names: []string{"l/s", "l/sec", "lps", "litre/s", "litres/s", "liter/s", "liters/s", "litres per second", "liters per second"}}
	unitLMin  = unit{name: "L/min", si: litre / minute, names: []string{"l/min", "lpm", "l/minute", "litre/min", "litres/min", "liter/min", "liters/min", "litres per minute", "liters per minute"}}
	unitLH    = unit{name: "L/h", si: litre / hour, names: []string{"l/h", "l/hr", "l/hour", "lph", "litres/hour", "liters/hour", "litres per hour", "liters per hour"}}
	unitLDay  = unit{name: "L/day", si: litre / day, names: []string{"l/day", "l/d", "lpd", "litre/day", "litres/day", "liter/day", "liters/day", "l a day", "litres a day", "liters a day", "litres per day", "liters per day", "l per day"}}
	unitM3S   = unit{name: "m³/s", si: 1, names: []string{"m3/s", "m^3/s", "m3/sec", "cumec", "cumecs"}}
	unitM3Min = unit{name: "m³/min", si: 1 / minute, names: []string{"m3/min", "m^3/min"}}
	unitM3H   = unit{name: "m³/h", si: 1 / hour, names: []string{"m3/h", "m3/hr", "m3/hour", "m^3/h", "cmh"}}
	unitM3Day = unit{name: "m³/day", si: 1 / day, names: []string{"m3/day", "m3/d", "m^3/day"}}
	unitCFS   = unit{name: "ft³/s", si: cubicFoot, names: []string{"cfs", "ft3/s", "ft^3/s", "ft3/sec", "cu ft/s", "cusec", "cusecs"}}
	unitCFM   = unit{name: "ft³/min", si: cubicFoot / minute, names: []string{"cfm", "ft3/min", "ft^3/min", "cu ft/min"}}

	unitL    = unit{name: "L", si: litre, names: []string{"l", "litre", "litres", "liter", "liters"}}
	unitML   = unit{name: "mL", si: 1e-6, names: []string{"ml", "millilitre", "millilitres", "milliliter", "milliliters", "cm3", "cc"}}
	unitM3   = unit{name: "m³", si: 1, names: []string{"m3", "m^3", "cubic metre", "cubic metres", "cubic meter", "cubic meters", "cu m"}}
	unitGal  = unit{name: "gal", si: gallon, names: []string{"gal", "gal.", "us gal", "gallon", "gallons", "us gallon", "us gallons"}}
	unitIGal = unit{name: "imp gal", si: impGallon, names: []string{"imp gal", "uk gal", "imperial gallon", "imperial gallons"}}
	unitFt3  = unit{name: "ft³", si: cubicFoot, names: []string{"ft3", "ft^3", "cu ft", "cubic foot", "cubic feet"}}

	unitPa    = unit{name: "Pa", si: 1, names: []string{"pa", "pascal", "pascals"}}
	unitHPa   = unit{name: "hPa", si: 100, names: []string{"hpa", "mbar", "millibar"}}
	unitKPa   = unit{name: "kPa", si: 1000, names: []string{"kpa", "kilopascal", "kilopascals"}}
	unitMPa   = unit{name: "MPa", si: 1e6, names: []string{"MPa", "megapascal"}, exactCase: true}
	unitBar   = unit{name: "bar", si: 1e5, names: []string{"bar", "bars"}}
	unitPSI   = unit{name: "psi", si: psi, names: []string{"psi", "psig", "lbf/in2", "lb/in2", "lbs/in2", "pounds per square inch"}}
	unitWatM  = unit{name: "m of head", si: waterMetre, names: []string{"m of head", "m head", "m of water", "m water", "mh2o", "m h2o", "mwc", "mca", "metres of head", "meters of head", "metres of water", "meters of water"}}
	unitWatFt = unit{name: "ft of head", si: waterMetre * foot, names: []string{"ft of head", "ft head", "ft of water", "ft water", "fth2o", "ft h2o", "feet of head", "feet of water", "foot of head", "foot of water"}}

	unitK = unit{name: "K", si: 1, names: []string{"k", "kelvin", "kelvins"}}
	unitC = unit{name: "°C", si: 1, zero: zeroC, names: []string{"°c", "c", "deg c", "degc", "degree c", "degrees c", "celsius", "degrees celsius"}}
	unitF = unit{name: "°F", si: fahrenheit, zero: zeroF, names: []string{"°f", "f", "deg f", "degf", "degree f", "degrees f", "fahrenheit", "degrees fahrenheit"}}

	unitPercent  = unit{name: "%", si: 0.01, names: []string{"%", "percent", "per cent", "pct"}}
	unitPermille = unit{name: "‰", si: 0.001, names: []string{"‰", "permille", "per mille", "per mil"}}

	unitMS  = unit{name: "m/s", si: 1, names: []string{"m/s", "m/sec", "metres per second", "meters per second"}}
	unitFtS = unit{name: "ft/s", si: foot, names: []string{"ft/s", "ft/sec", "fps", "feet/s", "feet per second"}}

	unitSec  = unit{name: "s", si: 1, chain: true, names: []string{"s", "sec", "sec.", "secs", "second", "seconds"}}
	unitMSec = unit{name: "ms", si: 0.001, names: []string{"ms", "millisecond", "milliseconds"}}
	unitMin  = unit{name: "min", si: minute, chain: true, names: []string{"min", "min.", "mins", "minute", "minutes"}}
	unitHour = unit{name: "h", si: hour, chain: true, names: []string{"h", "hr", "hr.", "hrs", "hour", "hours"}}
	unitDay  = unit{name: "day", si: day, chain: true, names: []string{"day", "days", "d"}}

	unitM2   = unit{name: "m²", si: 1, names: []string{"m2", "m^2", "sq m", "square metre", "square metres", "square meter", "square meters"}}
	unitCM2  = unit{name: "cm²", si: 1e-4, names: []string{"cm2", "cm^2", "sq cm"}}
	unitMM2  = unit{name: "mm²", si: 1e-6, names: []string{"mm2", "mm^2", "sq mm"}}
	unitKM2  = unit{name: "km²", si: 1e6, names: []string{"km2", "km^2", "sq km"}}
	unitHa   = unit{name: "ha", si: 1e4, names: []string{"ha", "hectare", "hectares"}}
	unitFt2  = unit{name: "ft²", si: foot * foot, names: []string{"ft2", "ft^2", "sq ft", "sq. ft.", "sq.ft.", "square foot", "square feet"}}
	unitIn2  = unit{name: "in²", si: inch * inch, names: []string{"in2", "in^2", "sq in", "square inch", "square inches"}}
	unitAcre = unit{name: "acre", si: acre, names: []string{"acre", "acres", "ac"}}

	unitMPerKM  = unit{name: "m/km", si: 0.001, names: []string{"m/km", "m per km"}}
	unitFtPerMi = unit{name: "ft/mi", si: 1.0 / 5280, names: []string{"ft/mi", "ft/mile", "ft per mile", "feet per mile"}}
	unitPer100  = unit{name: "ft/100 ft", si: 0.01, names: []string{"ft/100 ft", "ft/100ft", "ft per 100 ft", "ft in 100 ft", "ft in 100", "feet in 100 feet", "m/100 m", "m/100m", "m per 100 m", "m in 100 m", "in 100"}}
	unitPer1    = unit{name: "m/m", si: 1, names: []string{"m/m", "ft/ft"}}

	unitKg    = unit{name: "kg", si: 1, names: []string{"kg", "kilogram", "kilograms", "kilogramme", "kilogrammes"}}
	unitG     = unit{name: "g", si: 0.001, names: []string{"g", "gram", "grams", "gramme", "grammes"}}
	unitT     = unit{name: "t", si: 1000, names: []string{"t", "tonne", "tonnes"}}
	unitLb    = unit{name: "lb", si: pound, names: []string{"lb", "lb.", "lbs", "lbm", "pound", "pounds"}}
	unitOz    = unit{name: "oz", si: pound / 16, names: []string{"oz", "oz.", "ounce", "ounces"}}
	unitW     = unit{name: "W", si: 1, names: []string{"w", "watt", "watts"}}
	unitKW    = unit{name: "kW", si: 1000, names: []string{"kw", "kilowatt", "kilowatts"}}
	unitHP    = unit{name: "hp", si: horsepower, names: []string{"hp", "horsepower"}}
	unitJ     = unit{name: "J", si: 1, names: []string{"j", "joule", "joules"}}
	unitKJ    = unit{name: "kJ", si: 1000, names: []string{"kj", "kilojoule", "kilojoules"}}
	unitMJ    = unit{name: "MJ", si: 1e6, names: []string{"MJ", "megajoule", "megajoules"}, exactCase: true}
	unitWh    = unit{name: "Wh", si: hour, names: []string{"wh", "watt-hour", "watt-hours"}}
	unitKWh   = unit{name: "kWh", si: 1000 * hour, names: []string{"kwh", "kilowatt-hour", "kilowatt-hours"}}
	unitFLb   = unit{name: "ft·lbf", si: foot * poundForce, names: []string{"ft·lbf", "ft lbf", "ft-lbf", "ft lb", "ft-lb", "foot-pound", "foot-pounds"}}
	unitRad   = unit{name: "rad", si: 1, names: []string{"rad", "radian", "radians"}}
	unitDeg   = unit{name: "°", si: math.Pi / 180, names: []string{"°", "deg", "degree", "degrees"}}
	unitTimes = unit{name: "times", si: 1, names: []string{"times", "x", "×", "fold"}}
	unitGon   = unit{name: "gon", si: math.Pi / 200, names: []string{"gon", "grad"}}
)

// asHead restates a unit of pressure as the head of water that gives it.
func asHead(u unit) unit {
	u.si /= waterMetre
	return u
}

// plainHead is a unit of head whose SI unit is the metre of water itself, not
// the pascal.
func plainHead(u unit, si float64) unit {
	u.si = si
	return u
}

// kind is everything that differs from one dimension to the next.
type kind struct {
	name     string  // "length"
	example  string  // of how to write one, both systems
	units    []unit  // understood
	column   [2]unit // of tables, by System
	min, max float64 // SI, inclusive: outside, a value is a slip of the pen
}

var lengths = []unit{unitM, unitKM, unitCM, unitMM, unitFt, unitUSFt, unitIn, unitYd, unitMi}
var bores = []unit{unitMM, unitCM, unitM, unitIn, unitFt, unitMicron}
var flows = []unit{unitLS, unitLMin, unitLH, unitLDay, unitM3S, unitM3Min, unitM3H, unitM3Day, unitGPM, unitGPH, unitGPD, unitIGPM, unitIGPD, unitCFS, unitCFM}
var pressures = []unit{unitPa, unitHPa, unitKPa, unitMPa, unitBar, unitPSI, unitWatM, unitWatFt}

// The bounds are generous: they catch a wrong exponent or unit, not a bad
// design. Earth's circumference bounds a length, the Amazon a flow.
var kinds = [dimensions]kind{
	Length:      {"length", `"90 ft" or "27 m"`, lengths, [2]unit{unitM, unitFt}, -4.1e7, 4.1e7},
	Diameter:    {"diameter", `"1-1/4 in" or "32 mm"`, bores, [2]unit{unitMM, unitIn}, 0, 100},
	Flow:        {"flow", `"12 gpm" or "3 L/s"`, flows, [2]unit{unitLMin, unitGPM}, 0, 1e6},
	DailyVolume: {"volume per day", `"400 gal/day" or "1500 L/day"`, flows, [2]unit{unitLDay, unitGPD}, 0, 1e6},
	Volume:      {"volume", `"300 gal" or "1200 L"`, []unit{unitL, unitML, unitM3, unitGal, unitIGal, unitFt3}, [2]unit{unitL, unitGal}, 0, 1e12},
	Pressure:    {"pressure", `"60 psi" or "4 bar"`, pressures, [2]unit{unitBar, unitPSI}, -1e12, 1e12},
	Head: {"head of water", `"10 ft" or "3 m"`, append([]unit{
		unitM, unitFt, unitIn, unitCM, unitMM, plainHead(unitWatM, 1), plainHead(unitWatFt, foot),
	}, asHead(unitPSI), asHead(unitBar), asHead(unitKPa), asHead(unitPa), asHead(unitMPa)), [2]unit{unitM, unitFt}, -1e6, 1e6},
	Temperature: {"temperature", `"50 °F" or "10 °C"`, []unit{unitC, unitF, unitK}, [2]unit{unitC, unitF}, 0, 1e4},
	Ratio:       {"share", `"40 %"`, []unit{unitPercent, unitPermille}, [2]unit{unitPercent, unitPercent}, -1e4, 1e4},
	Velocity:    {"velocity", `"4 ft/s" or "1.2 m/s"`, []unit{unitMS, unitFtS}, [2]unit{unitMS, unitFtS}, -3e8, 3e8},
	Duration:    {"duration", `"30 s", "5 min", "2 h" or "1 day"`, []unit{unitSec, unitMSec, unitMin, unitHour, unitDay}, [2]unit{unitSec, unitSec}, 0, 1e11},
	Roughness:   {"wall roughness", `"0.0015 mm"`, bores, [2]unit{unitMM, unitIn}, 0, 1},
	Area:        {"area", `"2 acres" or "800 m2"`, []unit{unitM2, unitCM2, unitMM2, unitKM2, unitHa, unitFt2, unitIn2, unitAcre}, [2]unit{unitM2, unitFt2}, 0, 5.2e14},
	Slope:       {"slope", `"2 %"`, []unit{unitPercent, unitPermille, unitMPerKM, unitFtPerMi, unitPer100, unitPer1}, [2]unit{unitPercent, unitPercent}, -1e4, 1e4},
	Mass:        {"mass", `"20 lb" or "9 kg"`, []unit{unitKg, unitG, unitT, unitLb, unitOz}, [2]unit{unitKg, unitLb}, 0, 1e12},
	Power:       {"power", `"0.1 hp" or "75 W"`, []unit{unitW, unitKW, unitHP}, [2]unit{unitW, unitW}, -1e12, 1e12},
	Energy:      {"energy", `"500 J"`, []unit{unitJ, unitKJ, unitMJ, unitWh, unitKWh, unitFLb}, [2]unit{unitJ, unitFLb}, -1e18, 1e18},
	Multiple:    {"multiple", `"7 times"`, []unit{unitTimes}, [2]unit{unitTimes, unitTimes}, -1e9, 1e9},
	Angle:       {"angle", `"45 deg"`, []unit{unitDeg, unitRad, unitGon}, [2]unit{unitDeg, unitDeg}, -1e4, 1e4},
}
