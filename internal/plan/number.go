package plan

import (
	"math"
	"strconv"
)

// Number is a value of a Plan. NaN means unknown and becomes null; the text
// form is rounded to a tenth of a millimetre, litre or whatever the unit is,
// well below what any of them is known to.
type Number float64

// Unknown is the value that becomes null.
var Unknown = Number(math.NaN())

// Known says whether there is a value.
func (n Number) Known() bool { return !math.IsNaN(float64(n)) }

// MarshalJSON writes at most four decimals, or null.
func (n Number) MarshalJSON() ([]byte, error) { return fixed(float64(n), 4), nil }

// UnmarshalJSON reads a number or null.
func (n *Number) UnmarshalJSON(text []byte) error {
	if string(text) == "null" {
		*n = Unknown
		return nil
	}
	v, err := strconv.ParseFloat(string(text), 64)
	*n = Number(v)
	return err
}

// Degrees is a longitude or a latitude; seven decimals are about a centimetre.
type Degrees float64

// MarshalJSON writes at most seven decimals.
func (d Degrees) MarshalJSON() ([]byte, error) { return fixed(float64(d), 7), nil }

// fixed prints v with at most the given decimals and without trailing zeros.
func fixed(v float64, decimals int) []byte {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return []byte("null")
	}
	scale := math.Pow(10, float64(decimals))
	v = math.Round(v*scale) / scale
	if v == 0 {
		return []byte("0") // never -0
	}
	return strconv.AppendFloat(nil, v, 'f', -1, 64)
}

// Decimal is an exact amount of money in decimal text.
type Decimal string

// MarshalJSON writes the amount as a JSON number.
func (d Decimal) MarshalJSON() ([]byte, error) {
	if d == "" {
		return []byte("null"), nil
	}
	return []byte(d), nil
}

// UnmarshalJSON reads a JSON number as text.
func (d *Decimal) UnmarshalJSON(text []byte) error {
	*d = Decimal(text)
	if *d == "null" {
		*d = ""
	}
	return nil
}
