package catalog

import (
	"fmt"
	"sort"
	"strconv"
	"strings"
	"unicode"

	"route/internal/hydraulics"
	"route/internal/quantity"
)

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
	it.Source, it.Invented = "price from "+p.name, false
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
	m, err := ParseMoney(text, p.currency)
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
