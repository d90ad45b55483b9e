package export

import (
	"io"
	"strconv"

	"route/internal/catalog"
	"route/internal/plan"
)

// NotInTheList says what a takeoff does not hold, for whoever buys by it.
const NotInTheList = "Not in this list: the tank, pipes behind it, tools, carriage, permits, and treatment. Creek water needs testing, and as a rule a filter and disinfection, before anyone drinks it; what suits follows from the test."

// QuoteLine is a line of a quote sheet: one thing in one pack at one price,
// wherever in the layout it goes.
type QuoteLine struct {
	Section string // goods, work or sum
	Item    string
	Name    string
	Packs   int64
	Unit    string
	Price   plan.Decimal
	Amount  plan.Decimal // exact
}

// Quote sums up a takeoff by item and price for a shop: goods first, then work
// that is priced, then sums such as the contingency. It fails where amounts do
// not parse or do not fit.
func Quote(l *plan.Layout) ([]QuoteLine, error) {
	lines := map[string][]QuoteLine{}
	at := map[string]int{}
	for _, t := range l.Takeoff {
		section := "goods"
		switch {
		case t.Unit == "sum":
			section = "sum"
		case t.Kind == string(catalog.KindLabour) || t.Item == "":
			section = "work"
		}
		name := t.Name
		if section == "work" && t.Where != "" {
			name += ", " + t.Where
		}
		key := section + "\x00" + t.Item + "\x00" + name + "\x00" + string(t.Price)
		i, known := at[key]
		if !known {
			at[key] = len(lines[section])
			lines[section] = append(lines[section], QuoteLine{section, t.Item, name, t.Packs, t.Unit, t.Price, t.Amount})
			continue
		}
		q := &lines[section][i]
		sum, err := addAmounts(l.Cost.Currency, q.Amount, t.Amount)
		if err != nil {
			return nil, err
		}
		q.Packs, q.Amount = q.Packs+t.Packs, sum
	}
	return append(append(lines["goods"], lines["work"]...), lines["sum"]...), nil
}

func addAmounts(currency string, a, b plan.Decimal) (plan.Decimal, error) {
	x, err := catalog.ParseMoney(string(a), currency)
	if err != nil {
		return "", err
	}
	y, err := catalog.ParseMoney(string(b), currency)
	if err != nil {
		return "", err
	}
	sum, err := x.Add(y)
	return plan.Decimal(sum.Decimal()), err
}

// writeQuoteCSV writes the quote sheet of every layout, best first, with two
// columns for the shop to fill in; the amounts of a layout add up to its total.
func writeQuoteCSV(w io.Writer, p *plan.Plan) error {
	t := newTable(w, p)
	t.header("layout", "no", "section", "item", "name", "quantity", "unit", "price", "amount", "currency", "your_price", "your_amount")
	for i := range p.Layouts {
		l := &p.Layouts[i]
		lines, err := Quote(l)
		if err != nil {
			return err
		}
		if len(lines) == 0 {
			continue // a plan that is for screening only
		}
		for n, q := range lines {
			t.text(l.ID)
			t.text(strconv.Itoa(n + 1))
			t.text(q.Section)
			t.text(q.Item)
			t.text(q.Name)
			t.whole(q.Packs)
			t.text(q.Unit)
			t.exact(q.Price)
			t.exact(q.Amount)
			t.text(l.Cost.Currency)
			t.text("")
			t.text("")
			t.end()
		}
		for _, last := range []struct {
			section, name string
			amount        plan.Decimal
		}{{"total", "total", l.Cost.Total}, {"note", NotInTheList, ""}} {
			for _, text := range []string{l.ID, "", last.section, "", last.name, "", "", ""} {
				t.text(text)
			}
			t.exact(last.amount)
			for _, text := range []string{l.Cost.Currency, "", ""} {
				t.text(text)
			}
			t.end()
		}
	}
	return t.close()
}
