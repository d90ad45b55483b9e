package plan

import (
	"slices"
	"testing"

	"route/internal/catalog"
)

// Worked out by hand.
func TestCheapestRowsOfTheFront(t *testing.T) {
	laid := func(water, sure float64, cost int64) exactly {
		return exactly{true, water, sure, catalog.Money{Minor: cost}}
	}
	for _, c := range []struct {
		name    string
		demands []float64
		worth   []exactly
		want    []frontRow
	}{
		{"each its own", []float64{1, 2}, []exactly{laid(1, 1, 10), laid(2, 2, 20)}, []frontRow{{1, 0}, {2, 1}}},
		{"more for less", []float64{1, 2}, []exactly{laid(1, 1, 30), laid(2, 2, 20)}, []frontRow{{2, 1}}},
		{"one of the plan's is cheaper", []float64{1, 2}, []exactly{laid(1, 1, 10), laid(2, 2, 20), laid(3, 3, 15)}, []frontRow{{1, 0}, {2, 2}}},
		{"cheaper, but not so surely", []float64{2}, []exactly{laid(3, 2, 20), laid(3, 1.5, 15)}, []frontRow{{2, 0}}},
		{"left short by its line", []float64{2}, []exactly{laid(1.9, 1.9, 20)}, []frontRow{{1.9, 0}}},
		{"does not run", []float64{1, 2}, []exactly{laid(1, 1, 10), {}}, []frontRow{{1, 0}}},
	} {
		if got := cheapestRows(c.demands, c.worth); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}
