package catalog

import (
	"bufio"
	"bytes"
	_ "embed" // the default price list
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"sort"
	"strconv"
	"strings"
	"unicode"

	"route/internal/finding"
	"route/internal/hydraulics"
	"route/internal/quantity"
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
	c, err := read(defaultName, bytes.NewReader(defaultPrices), nil, currency)
	if err != nil {
		panic("catalog: the embedded price list is broken: " + err.Error())
	}
	return c
}

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
	return read(name, r, Default, "")
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
	own      bool           // not the default list
	currency string
	base     *Catalog
	products map[string]hydraulics.Pipe // given by dimensions
}

// read reads a price list over a base catalog, which is asked for once the
// currency is known. Without a base the currency is given and no column.
func read(name string, r io.Reader, base func(string) *Catalog, currency string) (*Catalog, error) {
	buffered := bufio.NewReader(r)
	if mark, _ := buffered.Peek(3); bytes.Equal(mark, []byte("\ufeff")) {
		_, _ = buffered.Discard(3) // a byte order mark, as spreadsheets write it
	}
	p := &reader{name: name, csv: csv.NewReader(buffered), lineOf: map[string]int{}, own: base != nil, currency: currency}
	p.csv.Comment = '#'
	p.csv.FieldsPerRecord = -1
	p.csv.TrimLeadingSpace = true
	p.csv.ReuseRecord = true
	if err := p.header(); err != nil {
		return nil, err
	}
	if base == nil {
		p.base = newCatalog(name, currency)
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

func (p *reader) header() error {
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
	if p.own {
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

// dearest bounds a price so that no run of pipe and no sum of a takeoff can
// leave int64.
const dearest = 100_000_000_000

// item reads the present row.
func (p *reader) item() (*Item, error) {
	id := p.get("id")
	if id == "" {
		return nil, p.fault("id", "price_id_missing", "the id is missing", "give each line an id of the default catalog or one of your own")
	}
	if strings.ContainsFunc(id, func(r rune) bool { return unicode.IsSpace(r) || !unicode.IsPrint(r) }) {
		return nil, p.fault("id", "price_id", fmt.Sprintf("the id %q has blanks in it", id), "use letters, digits and hyphens")
	}
	line, _ := p.csv.FieldPos(0)
	if first, twice := p.lineOf[id]; twice {
		return nil, p.fault("id", "price_twice", fmt.Sprintf("%q has a price in line %d already", id, first), "keep one of the two lines")
	}
	p.lineOf[id] = line
	it := &Item{ID: id, Spread: 0.15}
	known, isKnown := p.base.byID[id]
	if isKnown {
		*it = *known
	}
	steps := []func(*Item) error{p.kind, p.texts, p.sizes, p.price}
	for _, step := range steps {
		if err := step(it); err != nil {
			return nil, err
		}
	}
	var err error
	switch it.Kind {
	case KindPipe:
		err = p.pipe(it)
	case KindPump:
		err = p.pump(it)
	}
	return it, err
}

func (p *reader) kind(it *Item) error {
	kinds := []Kind{KindPipe, KindPump, KindFitting, KindBox, KindMaterial, KindLabour}
	text := Kind(strings.ToLower(p.get("kind")))
	if text == "" && it.Kind != "" {
		return nil
	}
	if text == "" {
		return p.fault("id", "price_id_unknown", fmt.Sprintf("the default catalog has no item %q%s", it.ID, p.nearest(it.ID)),
			"correct the id, or give kind, name and unit for an item of your own")
	}
	for _, k := range kinds {
		if text != k {
			continue
		}
		if it.Kind != "" && it.Kind != k {
			return p.fault("kind", "price_kind", fmt.Sprintf("%q is a %s, not a %s", it.ID, it.Kind, k), "use another id for an item of another kind")
		}
		it.Kind = k
		return nil
	}
	return p.fault("kind", "price_kind", fmt.Sprintf("%q is not a kind of item", text), "the kinds are: pipe, pump, fitting, box, material, labour")
}

// nearest offers the known IDs that begin like a wrong one.
func (p *reader) nearest(id string) string {
	for n := len(id) - 1; n >= 4; n-- {
		var like []string
		for _, it := range p.base.items {
			if strings.HasPrefix(it.ID, id[:n]) {
				like = append(like, it.ID)
			}
		}
		if len(like) > 0 {
			sort.Strings(like)
			return "; similar: " + strings.Join(like[:min(3, len(like))], ", ")
		}
	}
	return ""
}

func (p *reader) texts(it *Item) error {
	set := func(field *string, column string) {
		if text := p.get(column); text != "" {
			*field = text
		}
	}
	set(&it.Name, "name")
	set(&it.Unit, "unit")
	set(&it.Part, "part")
	set(&it.Joint, "joint")
	set(&it.Size, "size")
	set(&it.Standard, "standard")
	it.Source = "price from " + p.name
	set(&it.Source, "source")
	for _, needed := range []struct{ column, text string }{{"name", it.Name}, {"unit", it.Unit}} {
		if needed.text == "" {
			return p.fault(needed.column, "price_"+needed.column, fmt.Sprintf("%q is a new item and needs a %s", it.ID, needed.column), "give kind, name and unit for an item of your own")
		}
	}
	switch trade := Trade(strings.ToLower(p.get("trade"))); trade {
	case "":
	case Inch, Metric:
		it.Trade = trade
	default:
		return p.fault("trade", "price_trade", fmt.Sprintf("%q is not a trade", trade), "write inch or metric, or leave it empty for both")
	}
	if joint := it.Joint; joint != "" && !contains([]string{JointInsert, JointCompression, JointSolvent, JointThread}, joint) {
		return p.fault("joint", "price_joint", fmt.Sprintf("%q is not a way to join pipe", joint), "write insert, compression, solvent or thread")
	}
	return p.use(it)
}

func (p *reader) use(it *Item) error {
	text := p.get("use")
	if text == "" {
		return nil
	}
	names := map[string]Use{"supply": UseSupply, "drive": UseDrive, "delivery": UseDelivery, "standpipe": UseStandpipe}
	it.Use = 0
	for _, word := range strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return unicode.IsSpace(r) || strings.ContainsRune("+;/,", r) }) {
		use, ok := names[word]
		if !ok {
			return p.fault("use", "price_use", fmt.Sprintf("%q is not a use of pipe", word), "write supply, drive, delivery or standpipe, several with blanks between")
		}
		it.Use |= use
	}
	return nil
}

func (p *reader) sizes(it *Item) error {
	lengths := []struct {
		column   string
		dim      quantity.Dimension
		field    *float64
		low, top float64
		example  string
	}{
		{"pack", quantity.Length, &it.PackM, 0.1, 10000, "100 ft or 50 m"},
		{"bore", quantity.Diameter, &it.BoreM, 0.001, 2, "2 in or 50 mm"},
	}
	for _, l := range lengths {
		if err := p.quantity(l.column, l.dim, l.field, l.low, l.top, l.example); err != nil {
			return err
		}
	}
	if err := p.number("minor_k", &it.MinorK, 0, 10000); err != nil {
		return err
	}
	return p.number("spread", &it.Spread, 0, 1)
}

// quantity reads a quantity with its unit, if it is there.
func (p *reader) quantity(column string, dim quantity.Dimension, field *float64, low, top float64, example string) error {
	text := p.get(column)
	if text == "" {
		return nil
	}
	v, err := quantity.Parse(dim, text)
	if err != nil {
		return p.fault(column, "price_unit", fmt.Sprintf("%s: %v", column, err), "write it with its unit, for example "+example)
	}
	if !(v >= low && v <= top) {
		return p.fault(column, "price_size", fmt.Sprintf("%s: %s is not possible here", column, text), "check the number and its unit, for example "+example)
	}
	*field = v
	return nil
}

func (p *reader) number(column string, field *float64, low, top float64) error {
	text := p.get(column)
	if text == "" {
		return nil
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !(v >= low && v <= top) {
		return p.fault(column, "price_number", fmt.Sprintf("%s: %q is not a number from %g to %g", column, text, low, top), "write a plain decimal without a unit")
	}
	*field = v
	return nil
}

func (p *reader) price(it *Item) error {
	text := p.get("price")
	if text == "" {
		return p.fault("price", "price_missing", fmt.Sprintf("the price of %q is missing", it.ID), "write it like 12.50; leave the line out to keep the default price")
	}
	currency := p.currency
	if !p.own {
		currency = "" // the default list is written with two decimals
	}
	m, err := ParseMoney(text, currency)
	m.Currency = p.currency
	switch {
	case err != nil:
		return p.fault("price", "price_amount", err.Error(), "write it like 12.50, with a decimal point")
	case m.Minor < 0:
		return p.fault("price", "price_negative", fmt.Sprintf("the price %s is negative", text), "write what one pack or piece costs")
	case m.Minor > dearest:
		return p.fault("price", "price_amount", fmt.Sprintf("the price %s is not possible", text), "write what one pack or piece costs")
	}
	it.Price = m
	return nil
}

func (p *reader) pump(it *Item) error {
	if it.BoreM == 0 {
		return p.fault("bore", "price_bore", fmt.Sprintf("the pump %q needs the bore of its drive pipe", it.ID), "for example 2 in or 50 mm")
	}
	ram := hydraulics.DefaultRam(it.BoreM)
	it.Ram = &ram
	return nil
}
