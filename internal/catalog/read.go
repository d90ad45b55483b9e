package catalog

import (
	"bufio"
	"bytes"
	_ "embed" // the default price list
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"

	"route/internal/finding"
	"route/internal/hydraulics"
)

// The default price list.
//
//go:embed prices_default.csv
var defaultPrices []byte

const defaultName = "default catalog"

// Default is the embedded catalog: pipes by published standards, generic pumps
// and fittings. Its prices are invented; they are the same number of the
// smallest unit in whatever currency is asked for ("" is USD), so 60.00 USD is
// 6000 JPY and 6.000 KWD.
func Default(currency string) *Catalog {
	if currency == "" {
		currency = "USD"
	}
	c := newCatalog(defaultName, currency)
	for _, item := range defaultItems() {
		it := *item
		it.Price.Currency, it.Invented = currency, true
		c.add(&it)
	}
	return c
}

// defaultItems reads the embedded price list, once.
var defaultItems = sync.OnceValue(func() []*Item {
	c, err := read(defaultName, bytes.NewReader(defaultPrices), nil)
	if err != nil {
		panic("catalog: the embedded price list is broken: " + err.Error())
	}
	return c.items
})

// Read reads own prices in CSV. The first line that is not a comment ("#")
// names the columns; id, price and currency are required:
//
//	id        an ID of the default catalog, to give it another price (and name,
//	          pack, …), or a new one
//	price     of one pack or piece, a plain decimal: 12.50
//	currency  three letters, the same in every line
//	kind      pipe, pump, fitting, box, material, labour (required for new IDs)
//	name      as on a shopping list (required for new IDs)
//	unit      what is counted: coil, stick, each (required for new IDs)
//	pack      length of pipe in a pack, with its unit: 100 ft
//	product   name of a standard pipe: PE SIDR 15 1 in; or any name together with
//	inside, wall, material (pe, pvc, pex, steel, copper), rating (optional)
//	bore      of a pump or fitting; required for new pumps
//	use       of a pipe: supply, drive, delivery, standpipe, several with blanks
//	          between; a new pack of a pipe of the catalog has that of the others
//	part, joint, size, trade, minor_k, spread, standard, source (optional)
//
// The result is the default catalog with these prices put in. Whatever is
// wrong comes back as a *finding.Fault with its line and column.
func Read(name string, r io.Reader) (*Catalog, error) {
	return read(name, r, Default)
}

// columns that a price list may have.
var columns = []string{"id", "kind", "part", "name", "product", "inside", "wall", "material", "rating", "joint", "size",
	"use", "trade", "unit", "pack", "bore", "minor_k", "price", "currency", "spread", "standard", "source"}

// reader reads one price list.
type reader struct {
	name     string
	csv      *csv.Reader
	column   map[string]int
	row      []string
	lineOf   map[string]int // where an ID was read
	currency string
	base     *Catalog
	products map[string]hydraulics.Pipe // given by dimensions
}

// read reads a price list over a base catalog, which is asked for once the
// currency is known. Without a base there is no currency and no column for it.
func read(name string, r io.Reader, base func(string) *Catalog) (*Catalog, error) {
	buffered := bufio.NewReader(r)
	if mark, _ := buffered.Peek(3); bytes.Equal(mark, []byte("\ufeff")) {
		_, _ = buffered.Discard(3) // a byte order mark, as spreadsheets write it
	}
	p := &reader{name: name, csv: csv.NewReader(buffered), lineOf: map[string]int{}}
	p.csv.Comment = '#'
	p.csv.FieldsPerRecord = -1
	p.csv.TrimLeadingSpace = true
	p.csv.ReuseRecord = true
	if err := p.header(base != nil); err != nil {
		return nil, err
	}
	if base == nil {
		p.base = newCatalog(name, "")
	}
	var items []*Item
	for {
		row, err := p.csv.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, p.broken(err)
		}
		p.row = row
		if len(row) != len(p.column) {
			return nil, p.faultAt(len(row)-1, "price_fields", fmt.Sprintf("this line has %d fields, the header has %d", len(row), len(p.column)),
				"put text that holds a comma in double quotes")
		}
		if err := p.currencyOf(base); err != nil {
			return nil, err
		}
		it, err := p.item()
		if err != nil {
			return nil, err
		}
		items = append(items, it)
	}
	if p.base == nil {
		return nil, &finding.Fault{Code: "price_empty", File: name, Text: "the price list has no prices", Hint: "give at least one line below the header"}
	}
	return p.base.with(name, items), nil
}

// with gives the catalog with items replaced by ID or put at the end.
func (c *Catalog) with(name string, items []*Item) *Catalog {
	own := make(map[string]*Item, len(items))
	for _, it := range items {
		own[it.ID] = it
	}
	merged := newCatalog(name, c.Currency)
	for _, it := range c.items {
		if o, ok := own[it.ID]; ok {
			it = o
		}
		merged.add(it)
	}
	for _, it := range items {
		if _, ok := merged.byID[it.ID]; !ok {
			merged.add(it)
		}
	}
	return merged
}

func (p *reader) header(own bool) error {
	row, err := p.csv.Read()
	if errors.Is(err, io.EOF) {
		return &finding.Fault{Code: "price_empty", File: p.name, Text: "the price list is empty", Hint: "the first line names the columns: id,price,currency"}
	}
	if err != nil {
		return p.broken(err)
	}
	p.row, p.column = row, map[string]int{}
	for i, title := range row {
		title = strings.ToLower(strings.TrimSpace(title))
		if !contains(columns, title) {
			return p.faultAt(i, "price_column_unknown", fmt.Sprintf("there is no column %q in a price list", title),
				"the columns are: "+strings.Join(columns, ", "))
		}
		if _, twice := p.column[title]; twice {
			return p.faultAt(i, "price_column_twice", fmt.Sprintf("the column %q is named twice", title), "keep one of them")
		}
		p.column[title] = i
	}
	required := []string{"id", "price"}
	if own {
		required = append(required, "currency")
	}
	for _, title := range required {
		if _, ok := p.column[title]; !ok {
			return p.faultAt(0, "price_column_missing", fmt.Sprintf("the column %q is missing", title), "the first line names the columns; id, price and currency are required")
		}
	}
	return nil
}

func contains(list []string, s string) bool {
	for _, e := range list {
		if e == s {
			return true
		}
	}
	return false
}

// get gives a field of the present row, "" when its column is not there.
func (p *reader) get(column string) string {
	if i, ok := p.column[column]; ok {
		return strings.TrimSpace(p.row[i])
	}
	return ""
}

func (p *reader) broken(err error) error {
	f := &finding.Fault{Code: "price_csv", File: p.name, Text: "this is not CSV: " + err.Error(), Hint: "save the list as CSV with commas, in UTF-8", Err: err}
	var parse *csv.ParseError
	if errors.As(err, &parse) {
		f.Line, f.Column, f.Text = parse.Line, parse.Column, "this is not CSV: "+parse.Err.Error()
	}
	return f
}

// fault points at a column of the present row, or at its start when the list
// does not have that column.
func (p *reader) fault(column, code, text, hint string) error {
	i, ok := p.column[column]
	if !ok {
		i = 0
	}
	return p.faultAt(i, code, text, hint)
}

func (p *reader) faultAt(field int, code, text, hint string) error {
	f := &finding.Fault{Code: code, Text: text, Hint: hint, File: p.name}
	if field >= 0 && field < len(p.row) {
		f.Line, f.Column = p.csv.FieldPos(field)
	}
	return f
}

// currencyOf checks the currency of a row; the first one decides.
func (p *reader) currencyOf(base func(string) *Catalog) error {
	if base == nil {
		return nil
	}
	code := p.get("currency")
	switch {
	case code == "":
		return p.fault("currency", "price_currency", "the currency is missing", "write its three letters, for example USD or EUR, in every line")
	case !isCurrency(code):
		return p.fault("currency", "price_currency", fmt.Sprintf("%q is not a currency", code), "write three capital letters, for example USD or EUR")
	case p.base == nil:
		p.currency, p.base = code, base(code)
	case code != p.currency:
		return p.fault("currency", "price_currency_mixed", fmt.Sprintf("this price is in %s, those above are in %s", code, p.currency), "give all prices in one currency")
	}
	return nil
}

func isCurrency(code string) bool {
	for _, r := range code {
		if r < 'A' || r > 'Z' {
			return false
		}
	}
	return len(code) == 3
}
