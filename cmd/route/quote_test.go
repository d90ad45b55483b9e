package main

import (
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"route/internal/catalog"
)

func exact(t testing.TB, text string) *big.Rat {
	t.Helper()
	r, ok := new(big.Rat).SetString(text)
	if !ok {
		t.Fatalf("%q is not an amount", text)
	}
	return r
}

// The quote sheet of a layout holds as many packs of everything as its takeoff,
// and adds up to its cost to the last coin.
func TestQuoteAddsUp(t *testing.T) {
	onDemos(t, func(t *testing.T, h *handedOver) {
		packs, sums, totals := map[string]int64{}, map[string]*big.Rat{}, map[string]string{}
		for _, row := range h.table(t, "quote.csv") {
			id := row["layout"]
			switch row["section"] {
			case "note":
				continue
			case "total":
				totals[id] = row["amount"]
				continue
			}
			if row["your_price"] != "" || row["your_amount"] != "" {
				t.Errorf("%v: no room for the shop's price", row)
			}
			n := int64(numberIn(t, row, "quantity"))
			packs[id+row["item"]+row["name"]] += n
			if want := new(big.Rat).Mul(exact(t, row["price"]), new(big.Rat).SetInt64(n)); want.Cmp(exact(t, row["amount"])) != 0 {
				t.Errorf("%v: the amount is not %s", row, want.FloatString(2))
			}
			if sums[id] == nil {
				sums[id] = new(big.Rat)
			}
			sums[id].Add(sums[id], exact(t, row["amount"]))
		}
		for i := range h.plan.Layouts {
			l := &h.plan.Layouts[i]
			for _, line := range l.Takeoff {
				name := line.Name
				if line.Unit != "sum" && (line.Item == "" || line.Kind == "labour") { // work by the ground on which it is done
					name += ", " + line.Where
				}
				packs[l.ID+line.Item+name] -= line.Packs
			}
			if total := exact(t, string(l.Cost.Total)); sums[l.ID] == nil || total.Cmp(sums[l.ID]) != 0 || total.Cmp(exact(t, totals[l.ID])) != 0 {
				t.Errorf("layout %s: the quote adds up to %v and says %s, its cost is %s", l.ID, sums[l.ID], totals[l.ID], l.Cost.Total)
			}
		}
		for key, n := range packs {
			if n != 0 {
				t.Errorf("%s: %d packs more in the quote than in the takeoff", key, n)
			}
		}
	})
}

// Pressure classes side by side: the planned one is the layout's, the others
// are of its nominal size; what they cost more is exact; a wider bore loses
// less; and what does not hold the pressure says so.
func TestPipeChoices(t *testing.T) {
	compared := 0
	onDemos(t, func(t *testing.T, h *handedOver) {
		whole := catalog.Default("USD")
		for i := range h.plan.Layouts {
			l := &h.plan.Layouts[i]
			planned := map[string]int{}
			for _, c := range l.PipeChoices {
				run := map[string]string{"drive": l.Drive.Item, "delivery": l.Delivery.Item}
				pressure, size := map[string]float64{"drive": float64(l.Drive.PressureM), "delivery": float64(l.Delivery.PressureM)}, map[string]string{"drive": l.Drive.Size, "delivery": l.Delivery.Size}
				if l.Supply != nil {
					run["supply"], pressure["supply"], size["supply"] = l.Supply.Item, float64(l.Supply.PressureM), l.Supply.Size
				}
				it, ok := whole.Item(c.Item)
				if !ok || it.Pipe.Size != size[c.Run] && it.Size != size[c.Run] {
					t.Errorf("layout %s: %s for %s is of another size than %s", l.ID, c.Item, c.Run, size[c.Run])
				}
				more := new(big.Rat).Sub(exact(t, string(c.Total)), exact(t, string(l.Cost.Total)))
				if more.Cmp(exact(t, string(c.More))) != 0 || c.Planned && more.Sign() != 0 {
					t.Errorf("layout %s, %s: %s in all and %s more; the layout costs %s", l.ID, c.Item, c.Total, c.More, l.Cost.Total)
				}
				if c.Planned {
					planned[c.Run]++
					if c.Item != run[c.Run] {
						t.Errorf("layout %s: %s is called planned for %s, which has %s", l.ID, c.Item, c.Run, run[c.Run])
					}
				}
				if c.Enough != nil && *c.Enough != (float64(c.RatingM) >= pressure[c.Run]-1e-3) {
					t.Errorf("layout %s, %s: rated %v for %v, said to hold: %v", l.ID, c.Item, c.RatingM, pressure[c.Run], *c.Enough)
				}
				for _, d := range l.PipeChoices {
					if d.Run == c.Run && d.InsideM > c.InsideM && d.LossM > c.LossM {
						t.Errorf("layout %s: %s is wider than %s and loses more", l.ID, d.Item, c.Item)
					}
				}
				compared++
			}
			for run, n := range planned {
				if n != 1 {
					t.Errorf("layout %s: %d planned pipes for %s", l.ID, n, run)
				}
			}
		}
	})
	if compared < 10 {
		t.Errorf("only %d classes were compared", compared)
	}
}

// What own prices do not cover is said to the coin: the sum, by hand, of the
// lines whose item the owner's list does not name.
func TestInventedPricesAreNamed(t *testing.T) {
	h := handOver(t, "fernhollow")
	list, err := os.ReadFile(filepath.Join(filepath.Dir(demo(t, "fernhollow")), "prices.csv"))
	if err != nil {
		t.Fatal(err)
	}
	own := map[string]bool{}
	for line := range strings.Lines(string(list)) {
		id, _, _ := strings.Cut(line, ",")
		own[id] = true
	}
	for i := range h.plan.Layouts {
		l := &h.plan.Layouts[i]
		sum := new(big.Rat)
		for _, line := range l.Takeoff {
			if line.Item != "" && !own[line.Item] {
				sum.Add(sum, exact(t, string(line.Amount)))
			}
		}
		said := coded(l.Messages, "prices_partly_invented")
		if len(said) != 1 || !strings.HasPrefix(said[0].Text, "USD "+sum.FloatString(2)+" of the cost") {
			t.Errorf("layout %s: %s of its prices are invented, said is %v", l.ID, sum.FloatString(2), said)
		}
	}
}
