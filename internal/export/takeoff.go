package export

import (
	"io"

	"route/internal/plan"
)

// writeTakeoffCSV writes what to buy, in what shops sell, best layout first.
// The subtotals of a layout add up to its cost.
func writeTakeoffCSV(w io.Writer, p *plan.Plan) error {
	t := newTable(w, p)
	t.header("layout", "group", "item", "name", "where", "need", "need_unit", "need_ft", "packs", "unit", "pack_m", "pack_ft", "price", "subtotal", "currency", "kind")
	for _, l := range p.Layouts {
		for _, line := range l.Takeoff {
			t.text(l.ID)
			t.text(line.Group)
			t.text(line.Item)
			t.text(line.Name)
			t.text(line.Where)
			t.number(line.Need, needDecimals(line))
			t.text(line.NeedUnit)
			t.feet(lengthOf(line), 1)
			t.whole(line.Packs)
			t.text(line.Unit)
			t.number(line.PackM, 2)
			t.feet(line.PackM, 1)
			t.exact(line.Price)
			t.exact(line.Amount)
			t.text(l.Cost.Currency)
			t.text(line.Kind)
			t.end()
		}
	}
	return t.close()
}

// needDecimals prints pieces whole and lengths to a centimetre.
func needDecimals(line plan.TakeoffLine) int {
	if line.NeedUnit == "m" {
		return 2
	}
	return 0
}

// lengthOf is the need where it is a length.
func lengthOf(line plan.TakeoffLine) plan.Number {
	if line.NeedUnit == "m" {
		return line.Need
	}
	return plan.Unknown
}
