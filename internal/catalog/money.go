package catalog

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"math/bits"
	"strconv"
	"strings"
)

// Money is an exact amount in the smallest unit of a currency. The zero value
// is no money in no currency and can be added to any amount.
type Money struct {
	Minor    int64
	Currency string // ISO 4217, or the user's own word
}

// Errors of money arithmetic.
var (
	ErrCurrency = errors.New("catalog: amounts are in different currencies")
	ErrOverflow = errors.New("catalog: an amount of money is too large")
)

// minorDigits lists the currencies whose smallest unit is not a hundredth
// (ISO 4217, minor unit column; from memory).
var minorDigits = map[string]int{
	"BIF": 0, "CLP": 0, "DJF": 0, "GNF": 0, "ISK": 0, "JPY": 0, "KMF": 0, "KRW": 0,
	"PYG": 0, "RWF": 0, "UGX": 0, "VND": 0, "VUV": 0, "XAF": 0, "XOF": 0, "XPF": 0,
	"BHD": 3, "IQD": 3, "JOD": 3, "KWD": 3, "LYD": 3, "OMR": 3, "TND": 3,
}

// MinorDigits is the number of decimals of a currency: 2 unless ISO 4217 says
// otherwise.
func MinorDigits(currency string) int {
	if digits, ok := minorDigits[currency]; ok {
		return digits
	}
	return 2
}

// ParseMoney reads a plain decimal amount such as "12.50". It is an error to
// give more decimals than the currency has, a sign other than "-", or marks
// between the thousands.
func ParseMoney(text, currency string) (Money, error) {
	digits := MinorDigits(currency)
	t := strings.TrimSpace(text)
	negative := strings.HasPrefix(t, "-")
	t = strings.TrimPrefix(t, "-")
	whole, fraction, _ := strings.Cut(t, ".")
	if whole == "" || !isDigits(whole) || !isDigits(fraction) || strings.HasSuffix(t, ".") {
		return Money{}, fmt.Errorf("%q is not an amount: write it like 12.50, without a currency sign or thousands marks", text)
	}
	if len(fraction) > digits {
		if strings.Trim(fraction[digits:], "0") != "" {
			return Money{}, fmt.Errorf("%q has more decimals than %s has (%d)", text, currency, digits)
		}
		fraction = fraction[:digits]
	}
	minor, err := strconv.ParseInt(whole+fraction+strings.Repeat("0", digits-len(fraction)), 10, 64)
	if err != nil {
		return Money{}, fmt.Errorf("%q: %w", text, ErrOverflow)
	}
	if negative {
		minor = -minor
	}
	return Money{Minor: minor, Currency: currency}, nil
}

func isDigits(s string) bool {
	for _, r := range s {
		if r < '0' || r > '9' {
			return false
		}
	}
	return true
}

// Decimal writes the amount without its currency, with all its decimals:
// "12.50".
func (m Money) Decimal() string {
	digits := MinorDigits(m.Currency)
	sign, s := "", strconv.FormatUint(magnitude(m.Minor), 10)
	if m.Minor < 0 {
		sign = "-"
	}
	if digits == 0 {
		return sign + s
	}
	if len(s) <= digits {
		s = strings.Repeat("0", digits-len(s)+1) + s
	}
	return sign + s[:len(s)-digits] + "." + s[len(s)-digits:]
}

// String writes the amount with its currency: "12.50 USD".
func (m Money) String() string {
	if m.Currency == "" {
		return m.Decimal()
	}
	return m.Decimal() + " " + m.Currency
}

// Float is the amount in whole units of the currency, for searches and
// charts; it is exact up to 2^53 of the smallest unit.
func (m Money) Float() float64 {
	return float64(m.Minor) / math.Pow10(MinorDigits(m.Currency))
}

// Add adds two amounts of one currency. It fails with ErrCurrency or
// ErrOverflow.
func (m Money) Add(o Money) (Money, error) {
	switch {
	case m == Money{}:
		return o, nil
	case o == Money{}:
		return m, nil
	case m.Currency != o.Currency:
		return Money{}, fmt.Errorf("%w: %s and %s", ErrCurrency, m.Currency, o.Currency)
	}
	sum := m.Minor + o.Minor
	if (sum > m.Minor) != (o.Minor > 0) {
		return Money{}, ErrOverflow
	}
	return Money{Minor: sum, Currency: m.Currency}, nil
}

// Times multiplies the amount by a count. It fails with ErrOverflow.
func (m Money) Times(n int64) (Money, error) {
	high, low := bits.Mul64(magnitude(m.Minor), magnitude(n))
	limit := uint64(math.MaxInt64)
	negative := (m.Minor < 0) != (n < 0)
	if negative {
		limit++ // the smallest int64 has no positive counterpart
	}
	if high != 0 || low > limit {
		return Money{}, ErrOverflow
	}
	if negative {
		low = -low
	}
	return Money{Minor: int64(low), Currency: m.Currency}, nil
}

func magnitude(v int64) uint64 {
	if v < 0 {
		return -uint64(v)
	}
	return uint64(v)
}

// Part is a share of the amount, such as 0.1 for a contingency of 10 %,
// rounded to the nearest smallest unit, halves away from zero. The share is
// taken as the decimal that it prints as, so 0.15 is 15 in 100 exactly. It
// fails with ErrOverflow, also for a share that is not a number.
func (m Money) Part(share float64) (Money, error) {
	if math.IsNaN(share) || math.IsInf(share, 0) {
		return Money{}, ErrOverflow
	}
	r, ok := new(big.Rat).SetString(strconv.FormatFloat(share, 'g', -1, 64))
	if !ok {
		return Money{}, ErrOverflow
	}
	r.Mul(r, new(big.Rat).SetInt64(m.Minor))
	// Round half away from zero: (2·num ± den) / (2·den), truncated.
	num := new(big.Int).Lsh(r.Num(), 1)
	if r.Sign() < 0 {
		num.Sub(num, r.Denom())
	} else {
		num.Add(num, r.Denom())
	}
	num.Quo(num, new(big.Int).Lsh(r.Denom(), 1))
	if !num.IsInt64() {
		return Money{}, ErrOverflow
	}
	return Money{Minor: num.Int64(), Currency: m.Currency}, nil
}
