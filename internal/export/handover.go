package export

import (
	"route/internal/plan"
	"route/internal/quantity"
)

// Paragraph is a heading and what is to be said under it.
type Paragraph struct{ Head, Text string }

// Cautions are what everybody on the site should mind; they send the reader to
// local codes and licensed people, and name no statute.
func Cautions() []Paragraph {
	all := make([]Paragraph, len(cautions))
	for i, c := range cautions {
		all[i] = Paragraph(c)
	}
	return all
}

// Checks lists what to measure before money is spent, the most telling first.
func Checks(p *plan.Plan) []Paragraph {
	var all []Paragraph
	for _, c := range checks(p, words{p.System()}) {
		all = append(all, Paragraph{c.What, c.Why})
	}
	return all
}

// Particulars are named values that belong together.
type Particulars struct {
	Name string
	Rows [][2]string
}

// Sizes tells those who build and start a layout to which size, and what to
// expect.
func Sizes(p *plan.Plan, l *plan.Layout) []Particulars {
	var all []Particulars
	for _, g := range crew(l, words{p.System()}) {
		all = append(all, Particulars(g))
	}
	return all
}

// Say prints a value in the units of a plan's reader; an unknown one is a dash.
// The factor turns it into SI.
func Say(p *plan.Plan, d quantity.Dimension, v plan.Number, si float64) string {
	return words{p.System()}.of(d, v, si)
}

// Span writes a range, with the unit once where both ends have the same.
func Span(low, high string) string { return span(low, high) }

// Sentence gives a text a capital and a full stop.
func Sentence(s string) string { return sentence(s) }

// Money prints an amount with its currency and marks between the thousands.
func Money(currency string, amount plan.Decimal) string { return money(currency, amount) }

// PlainLetters gives text in the characters of plain ASCII, on one line and
// not longer than a limit: for what small devices show.
func PlainLetters(s string, limit int) string { return ascii(s, limit) }
