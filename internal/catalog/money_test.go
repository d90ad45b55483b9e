package catalog

import (
	"errors"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"
	"time"
)

func TestMoneyReadsAndWritesDecimals(t *testing.T) {
	// Decimals of the currencies: ISO 4217, minor unit (from memory).
	for _, tc := range []struct {
		text, currency string
		minor          int64
		out            string
	}{
		{"12.50", "USD", 1250, "12.50"},
		{"12.5", "EUR", 1250, "12.50"},
		{"12", "USD", 1200, "12.00"},
		{"0.05", "USD", 5, "0.05"},
		{"-0.05", "USD", -5, "-0.05"},
		{"-12.50", "USD", -1250, "-12.50"},
		{"1200", "JPY", 1200, "1200"},
		{"1200.00", "KRW", 1200, "1200"},
		{"1.234", "KWD", 1234, "1.234"},
		{"92233720368547758.07", "USD", math.MaxInt64, "92233720368547758.07"},
	} {
		m, err := ParseMoney(tc.text, tc.currency)
		if err != nil || m.Minor != tc.minor || m.Currency != tc.currency {
			t.Errorf("ParseMoney(%q, %s) = %+v, %v; want minor %d", tc.text, tc.currency, m, err, tc.minor)
		}
		if m.Decimal() != tc.out {
			t.Errorf("%q %s prints %q, want %q", tc.text, tc.currency, m.Decimal(), tc.out)
		}
	}
	if got := (Money{Minor: math.MinInt64, Currency: "USD"}).Decimal(); got != "-92233720368547758.08" {
		t.Errorf("the smallest amount prints %q", got)
	}
	for _, bad := range []struct{ text, currency string }{
		{"", "USD"}, {"-", "USD"}, {".", "USD"}, {".5", "USD"}, {"12.", "USD"}, {"12,50", "USD"}, {"1,200", "USD"},
		{"$12", "USD"}, {"12.505", "USD"}, {"1.5", "JPY"}, {"1e3", "USD"}, {"--1", "USD"}, {"+1", "USD"}, {"1 200", "USD"},
		{"NaN", "USD"}, {"92233720368547758.08", "USD"}, {"١٢", "USD"},
	} {
		if m, err := ParseMoney(bad.text, bad.currency); err == nil {
			t.Errorf("ParseMoney(%q, %s) = %+v, want an error", bad.text, bad.currency, m)
		}
	}
}

// Money arithmetic equals that of math/big wherever it succeeds, and fails
// exactly where the true result does not fit into int64.
func TestMoneyArithmeticAgainstBigIntegers(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 0))
	draw := func() int64 {
		v := int64(rng.Uint64()) >> rng.IntN(64)
		switch rng.IntN(20) {
		case 0:
			return math.MaxInt64
		case 1:
			return math.MinInt64
		case 2:
			return 0
		}
		return v
	}
	check := func(what string, got Money, err error, want *big.Int) {
		t.Helper()
		if want.IsInt64() != (err == nil) || err == nil && got.Minor != want.Int64() || err != nil && !errors.Is(err, ErrOverflow) {
			t.Fatalf("%s = %v, %v; want %v", what, got.Minor, err, want)
		}
	}
	for range 20000 {
		a, b := draw(), draw()
		sum, err := Money{a, "USD"}.Add(Money{b, "USD"})
		check("sum", sum, err, new(big.Int).Add(big.NewInt(a), big.NewInt(b)))
		product, err := Money{a, "USD"}.Times(b)
		check("product", product, err, new(big.Int).Mul(big.NewInt(a), big.NewInt(b)))
	}
}

func TestMoneyPartRoundsHalvesAwayFromZero(t *testing.T) {
	for _, tc := range []struct {
		minor int64
		share float64
		want  int64
	}{
		{1000, 0.15, 150}, {10, 0.05, 1}, {-10, 0.05, -1}, {9, 0.05, 0}, {29, 0.05, 1}, {30, 0.05, 2}, {-30, 0.05, -2}, {0, 0.5, 0},
		{1 << 62, 1, 1 << 62},
	} {
		got, err := Money{tc.minor, "USD"}.Part(tc.share)
		if err != nil || got.Minor != tc.want {
			t.Errorf("%d times %g = %d, %v; want %d", tc.minor, tc.share, got.Minor, err, tc.want)
		}
	}
	for _, share := range []float64{math.NaN(), math.Inf(1), 1e300} {
		if m, err := (Money{1 << 62, "USD"}).Part(share); !errors.Is(err, ErrOverflow) {
			t.Errorf("a share of %g gave %v, %v", share, m, err)
		}
	}
}

func TestMoneyKeepsCurrenciesApart(t *testing.T) {
	if _, err := (Money{1, "USD"}).Add(Money{1, "EUR"}); !errors.Is(err, ErrCurrency) {
		t.Errorf("adding EUR to USD gave %v", err)
	}
	if sum, err := (Money{}).Add(Money{5, "EUR"}); err != nil || sum != (Money{5, "EUR"}) {
		t.Errorf("the zero value is not neutral: %v, %v", sum, err)
	}
}
