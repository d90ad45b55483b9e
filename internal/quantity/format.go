package quantity

import (
	"math"
	"strconv"
	"strings"
)

// unknown is printed for a value that is not a finite number.
const unknown = "unknown"

// groupMark sets thousands apart from five digits on: a narrow no-break space
// (NIST SP 811 section 10.5.3), which Parse reads back. A comma would be a
// decimal mark to half of the readers.
const groupMark = "\u202f"

// Format prints a value in a system's units with the digits that are of use
// to somebody with a tape: 8.1 ft, 1-1/4 in, 12.3 gpm, 1540 L/day. Values that
// are not finite print as "unknown".
func Format(s System, d Dimension, si float64) string {
	if math.IsNaN(si) || math.IsInf(si, 0) {
		return unknown
	}
	u := scaled(s, d, si)
	x := (si - u.zero) / u.si
	if d == Diameter && s == US {
		if f, ok := inchFraction(x); ok {
			return f + " in"
		}
	}
	return group(x, decimals(d, u, x)) + join(u)
}

// join is the unit with the blank before it; the degree of angle has none.
func join(u unit) string {
	if u.name == "°" {
		return u.name
	}
	return " " + u.name
}

// scaled chooses the unit for one value: the column's unit unless the number
// would be awkward in it.
func scaled(s System, d Dimension, si float64) unit {
	size := math.Abs(si)
	type step struct {
		from float64 // SI, from which the unit is used
		u    unit
	}
	var steps []step
	switch {
	case (d == Length || d == Head) && s == US:
		steps = []step{{0.1 * foot, unitFt}, {0, unitIn}}
		if d == Length {
			steps = append([]step{{5 * mile, unitMi}}, steps...)
		}
	case d == Length || d == Head:
		steps = []step{{0.1, unitM}, {0, unitMM}}
		if d == Length {
			steps = append([]step{{10e3, unitKM}}, steps...)
		}
	case d == Flow && s == US:
		steps = []step{{10 * cubicFoot, unitCFS}}
	case d == Flow:
		steps = []step{{10, unitM3S}, {1000 * litre / minute, unitLS}}
	case d == Volume && s == SI:
		steps = []step{{10, unitM3}}
	case d == DailyVolume && s == SI:
		steps = []step{{100 / day, unitM3Day}}
	case d == Duration:
		steps = []step{{2 * day, unitDay}, {2 * hour, unitHour}, {2 * minute, unitMin}}
	case d == Area && s == US:
		steps = []step{{acre, unitAcre}}
	case d == Area:
		steps = []step{{1e6, unitKM2}, {1e4, unitHa}}
	case d == Power:
		steps = []step{{1000, unitKW}}
	case d == Energy && s == SI:
		steps = []step{{1e6, unitMJ}, {1e3, unitKJ}}
	}
	if si != 0 {
		for _, st := range steps {
			if size >= st.from {
				return st.u
			}
		}
	}
	return kinds[d].column[s]
}

// decimals is the number of places after the point for a number in a unit.
func decimals(d Dimension, u unit, x float64) int {
	size := math.Abs(x)
	switch {
	case d == Length || d == Head:
		switch {
		case size == 0:
			return 0
		case u.name == "ft":
			return upTo(size, 1000, 1)
		case u.name == "m" && size < 9.995:
			return 2
		case u.name == "m":
			return upTo(size, 1000, 1)
		}
		return significant(x, 2)
	case d == Temperature:
		return trimmed(x, 1)
	case d == Angle:
		return 1
	case d == Roughness:
		return trimmed(x, significant(x, 2))
	case d == Multiple:
		return trimmed(x, significant(x, 3))
	case d == Diameter || d == Ratio || d == Slope:
		return trimmed(x, min(significant(x, 3), 4))
	}
	return significant(x, 3)
}

// upTo gives n places below a bound and none from it on.
func upTo(size, bound float64, n int) int {
	if size < bound {
		return n
	}
	return 0
}

// significant is the number of places that shows n significant digits.
func significant(x float64, n int) int {
	if x == 0 {
		return 0
	}
	places := n - 1 - int(math.Floor(math.Log10(math.Abs(x))))
	// 9.996 to three digits is 10.0, which has one place.
	if rounded := roundTo(x, places); rounded != 0 {
		places = n - 1 - int(math.Floor(math.Log10(math.Abs(rounded))+1e-12))
	}
	return places
}

// trimmed drops places that would print zeros.
func trimmed(x float64, places int) int {
	for places > 0 && math.Abs(roundTo(x, places)-roundTo(x, places-1)) < 1e-9*math.Pow(10, float64(-places)) {
		places--
	}
	return places
}

// roundTo rounds to places after the point, or to tens when places is
// negative.
func roundTo(x float64, places int) float64 {
	if places > 300 || places < -300 {
		return x
	}
	scale := math.Pow(10, math.Abs(float64(places)))
	if places < 0 {
		return math.Round(x/scale) * scale
	}
	return math.Round(x*scale) / scale
}

// mostPlaces bounds the digits after the point; what is smaller prints as 0.
const mostPlaces = 9

// group prints a number with a fixed number of places, thousands set apart.
// Negative places round to tens, hundreds and so on.
func group(x float64, places int) string {
	places = min(places, mostPlaces)
	x = roundTo(x, places)
	if x == 0 && places == mostPlaces {
		places = 0
	}
	text := strconv.FormatFloat(math.Abs(x), 'f', max(places, 0), 64)
	whole, fraction, _ := strings.Cut(text, ".")
	if len(whole) > 4 {
		var b strings.Builder
		for i, c := range whole {
			if i > 0 && (len(whole)-i)%3 == 0 {
				b.WriteString(groupMark)
			}
			b.WriteRune(c)
		}
		whole = b.String()
	}
	if fraction != "" {
		whole += "." + fraction
	}
	if x < 0 { // never on a zero
		return "-" + whole
	}
	return whole
}

// inchFraction writes pipe sizes the way they are sold, 3/4 or 1-1/4, when
// the number is a whole number of sixteenths to within half a thousandth.
func inchFraction(inches float64) (string, bool) {
	if inches <= 0 || inches >= 100 {
		return "", false
	}
	sixteenths := math.Round(inches * 16)
	if sixteenths == 0 || math.Abs(inches*16-sixteenths) > 16*0.0005 {
		return "", false
	}
	n, over := int(sixteenths)/16, 16
	part := int(sixteenths) % 16
	for part > 0 && part%2 == 0 {
		part, over = part/2, over/2
	}
	switch {
	case part == 0:
		return strconv.Itoa(n), true
	case n == 0:
		return strconv.Itoa(part) + "/" + strconv.Itoa(over), true
	}
	return strconv.Itoa(n) + "-" + strconv.Itoa(part) + "/" + strconv.Itoa(over), true
}

// FormatMeasure prints a value and its standard deviation, "12.1 ± 0.3 ft".
// The deviation has one digit, or two when the first would be 1, and the value
// ends at the same place (after JCGM 100:2008 section 7.2.6, which allows at
// most two digits). A deviation of zero, or one too small to print, leaves the
// value alone.
func FormatMeasure(s System, d Dimension, m Measure) string {
	if math.IsNaN(m.Value) || math.IsInf(m.Value, 0) {
		return unknown
	}
	if m.Sigma == 0 {
		return Format(s, d, m.Value)
	}
	u := scaled(s, d, max(math.Abs(m.Value), math.Abs(m.Sigma)))
	x, sigma := (m.Value-u.zero)/u.si, math.Abs(m.Sigma/u.si)
	if math.IsNaN(sigma) || math.IsInf(sigma, 0) {
		return Format(s, d, m.Value) + ", error unknown"
	}
	places := -int(math.Floor(math.Log10(sigma)))
	if sigma*math.Pow(10, float64(places)) < 1.95 {
		places++
	}
	if places > mostPlaces {
		return Format(s, d, m.Value)
	}
	return group(x, places) + " ± " + group(sigma, places) + join(u)
}

// Text fills the placeholders {0}, {1}, … of a template with values in a
// system's units. A placeholder without a value stays as it is.
func Text(s System, template string, values ...Value) string {
	var b strings.Builder
	for {
		open := strings.IndexByte(template, '{')
		if open < 0 {
			break
		}
		b.WriteString(template[:open])
		template = template[open:]
		end := strings.IndexByte(template, '}')
		if end < 0 {
			break
		}
		index, err := strconv.ParseUint(template[1:end], 10, 31)
		if err != nil || index >= uint64(len(values)) {
			b.WriteByte('{')
			template = template[1:]
			continue
		}
		b.WriteString(values[index].In(s))
		template = template[end+1:]
	}
	b.WriteString(template)
	return b.String()
}
