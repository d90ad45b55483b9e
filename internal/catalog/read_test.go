package catalog

import (
	"errors"
	"math"
	"strings"
	"testing"

	"route/internal/finding"
)

func TestReadPutsOwnPricesIntoTheDefaultCatalog(t *testing.T) {
	c, err := Read("prices.csv", strings.NewReader("\ufeff# from the shop in town\nid,price,currency\nram-2in,812.50,EUR\n"))
	if err != nil {
		t.Fatal(err)
	}
	ram, ok := c.Item("ram-2in")
	if !ok || ram.Price != (Money{81250, "EUR"}) || ram.Ram == nil || ram.Kind != KindPump || ram.Source != "price from prices.csv" {
		t.Errorf("the own price made %+v", ram)
	}
	if len(c.All()) != len(Default("EUR").All()) {
		t.Errorf("%d items instead of %d", len(c.All()), len(Default("EUR").All()))
	}
	for _, it := range c.All() {
		if it.Price.Currency != "EUR" {
			t.Errorf("%s is priced in %s", it.ID, it.Price.Currency)
		}
	}
}

func TestReadTakesNewItems(t *testing.T) {
	const list = `id,kind,name,product,inside,wall,material,rating,use,unit,pack,bore,price,currency
old-coil,pipe,"coil from the barn, 1 in",,26.6 mm,1.8 mm,pe,100 psi,supply delivery,coil,200 ft,,55,USD
std-coil,pipe,PE 1 in coil of 250 ft,PE SIDR 15 1 in,,,,,supply delivery,coil,250 ft,,140,USD
own-ram,pump,ram from the workshop,,,,,,,each,,50 mm,90,USD
`
	c, err := Read("prices.csv", strings.NewReader(list))
	if err != nil {
		t.Fatal(err)
	}
	coil, _ := c.Item("old-coil")
	if coil == nil || coil.Pipe == nil {
		t.Fatalf("no pipe: %+v", coil)
	}
	// 100 psi = 689 476 Pa (ISO 80000-4), over 9806.65 Pa a metre of water.
	if p := coil.Pipe.Pipe; math.Abs(p.Inside-0.0266) > 1e-12 || math.Abs(p.Wall-0.0018) > 1e-12 || p.Rigid || math.Abs(p.Rating-689476.0/9806.65) > 0.01 {
		t.Errorf("the pipe by dimensions is %+v", p)
	}
	if math.Abs(coil.PackM-60.96) > 1e-9 || coil.Use != UseSupply|UseDelivery {
		t.Errorf("the pipe by dimensions is %+v", coil)
	}
	ram, _ := c.Item("own-ram")
	if ram == nil || ram.Ram == nil || ram.BoreM != 0.05 {
		t.Errorf("the own pump is %+v", ram)
	}
}

// A new pack of a standard pipe joins the packs that are sold already: 250 ft
// are then one coil, in the trade that sells the others.
func TestOwnPackOfAStandardPipeIsMixedWithTheOthers(t *testing.T) {
	const list = `id,kind,name,product,unit,pack,price,currency
std-coil,pipe,PE 1 in coil of 250 ft,PE SIDR 15 1 in,coil,250 ft,61,USD
own-stick,pipe,steel 2 in of 3 m,steel Sch 40 2 in,stick,3 m,1,USD
`
	c, err := Read("prices.csv", strings.NewReader(list))
	if err != nil {
		t.Fatal(err)
	}
	if got := c.PipeCost("pe-sidr15-1in-100ft", 250*0.3048, 0).Decimal(); got != "61.00" {
		t.Errorf("250 ft cost %s with a coil of 250 ft for 61", got)
	}
	for trade, id := range map[Trade]string{Inch: "steel-sch40-2in-21ft", Metric: "steel-sch40-2in-6m"} {
		part := c.In(trade)
		_, coil := part.Item("std-coil")
		if coil != (trade == Inch) {
			t.Errorf("%s: the coil of 250 ft is there: %v", trade, coil)
		}
		if got := part.PipeCost(id, 2.9, 0).Decimal(); got != "1.00" {
			t.Errorf("%s: 2.9 m of steel cost %s with a stick of 3 m for 1", trade, got)
		}
	}
}

func TestReadPointsAtWhatIsWrong(t *testing.T) {
	for _, tc := range []struct {
		list         string
		line, column int
		code, text   string
	}{
		{"", 0, 0, "price_empty", "empty"},
		{"id,price,currency\n", 0, 0, "price_empty", "no prices"},
		{"id,price,colour\n", 1, 10, "price_column_unknown", `"colour"`},
		{"id,price,id\n", 1, 10, "price_column_twice", `"id"`},
		{"id,currency\n", 1, 1, "price_column_missing", `"price"`},
		{"id,price\nram-2in,3\n", 1, 1, "price_column_missing", `"currency"`},
		{"id,price,currency\nram-2in,3\n", 2, 9, "price_fields", "2 fields"},
		{"id,price,currency\nram-2in,3,USD,4\n", 2, 15, "price_fields", "4 fields"},
		{"id,price,currency\n,3,USD\n", 2, 1, "price_id_missing", "id is missing"},
		{"id,price,currency\nram 2in,3,USD\n", 2, 1, "price_id", "blanks"},
		{"id,price,currency\n# note\nram-22in,3,USD\n", 3, 1, "price_id_unknown", "similar: ram-2"},
		{"id,price,currency\nram-2in,,USD\n", 2, 9, "price_missing", "price of \"ram-2in\" is missing"},
		{"id,price,currency\nram-2in,-3,USD\n", 2, 9, "price_negative", "negative"},
		{"id,price,currency\nram-2in,\"3,50\",USD\n", 2, 9, "price_amount", "not an amount"},
		{"id,price,currency\nram-2in,3.505,USD\n", 2, 9, "price_amount", "more decimals"},
		{"id,price,currency\nram-2in,3.5,JPY\n", 2, 9, "price_amount", "more decimals"},
		{"id,price,currency\nram-2in,9999999999999,USD\n", 2, 9, "price_amount", "not possible"},
		{"id,price,currency\nram-2in,3,\n", 2, 11, "price_currency", "missing"},
		{"id,price,currency\nram-2in,3,$\n", 2, 11, "price_currency", `"$"`},
		{"id,price,currency\nram-2in,3,usd\n", 2, 11, "price_currency", `"usd"`},
		{"id,price,currency\nram-2in,3,USD\nram-1in,3,EUR\n", 3, 11, "price_currency_mixed", "EUR"},
		{"id,price,currency\nram-2in,3,USD\nram-2in,4,USD\n", 3, 1, "price_twice", "line 2"},
		{"id,price,currency\n\"ram-2in,3,USD\n", 0, 0, "price_csv", "not CSV"},
		{"id,price,currency,kind\nram-2in,3,USD,pipe\n", 2, 15, "price_kind", "is a pump"},
		{"id,price,currency,kind\nx,3,USD,gadget\n", 2, 9, "price_kind", `"gadget"`},
		{"id,price,currency,kind,name\nx,3,USD,fitting,\n", 2, 17, "price_name", "needs a name"},
		{"id,price,currency,kind,name\nx,3,USD,fitting,x\n", 2, 1, "price_unit", "needs a unit"},
		{"id,price,currency,pack\npe-sidr15-1in-100ft,3,USD,100\n", 2, 27, "price_unit", "pack"},
		{"id,price,currency,pack\npe-sidr15-1in-100ft,3,USD,100 gal\n", 2, 27, "price_unit", "pack"},
		{"id,price,currency,pack\npe-sidr15-1in-100ft,3,USD,0 ft\n", 2, 27, "price_size", "not possible"},
		{"id,price,currency,spread\nram-2in,3,USD,1.5\n", 2, 15, "price_number", "spread"},
		{"id,price,currency,use\npe-sidr15-1in-100ft,3,USD,supply drains\n", 2, 27, "price_use", `"drains"`},
		{"id,price,currency,use\npe-sidr15-1in-100ft,3,USD,drive\n", 2, 27, "price_use", "not rigid"},
		{"id,price,currency,trade\nram-2in,3,USD,imperial\n", 2, 15, "price_trade", `"imperial"`},
		{"id,price,currency,joint\nram-2in,3,USD,glue\n", 2, 15, "price_joint", `"glue"`},
		{"id,price,currency,product\npe-sidr15-1in-100ft,3,USD,PE SIDR 16 1 in\n", 2, 27, "price_product", "no standard pipe"},
		{"id,price,currency,kind,name,unit\nx,3,USD,pipe,x,coil\n", 2, 1, "price_product", "needs a product"},
		{"id,price,currency,kind,name,unit\nx,3,USD,pump,x,each\n", 2, 1, "price_bore", "bore"},
		{"id,price,currency,kind,name,unit,inside,wall,material\nx,3,USD,pipe,x,coil,26 mm,2 mm,cheese\n", 2, 32, "price_material", "cheese"},
		{"id,price,currency,kind,name,unit,inside,wall,material\nx,3,USD,pipe,x,coil,26 mm,,pe\n", 2, 27, "price_dimensions", "no wall"},
		{"id,price,currency,kind,name,unit,inside,wall,material\nx,3,USD,pipe,x,coil,26 mm,2 mm,pe\n", 2, 1, "price_pack", "length of a pack"},
		{"id,price,currency,kind,name,unit,inside,wall,material,pack\nx,3,USD,pipe,x,coil,26 mm,2 mm,pe,50 m\n", 2, 1, "price_use", "no use"},
		{"id,price,currency,product,inside\npe-sidr15-1in-100ft,3,USD,PE SIDR 15 1 in,26 mm\n", 2, 27, "price_product", "standard pipe"},
		{"id,price,currency,kind,name,unit,product,inside,wall,material,pack,use\n" +
			"x,3,USD,pipe,x,coil,p,26 mm,2 mm,pe,50 m,supply\ny,3,USD,pipe,x,coil,p,27 mm,2 mm,pe,90 m,supply\n", 3, 23, "price_dimensions", "other dimensions"},
	} {
		c, err := Read("own.csv", strings.NewReader(tc.list))
		var f *finding.Fault
		if !errors.As(err, &f) {
			t.Errorf("%q gave %v, %v", tc.list, c, err)
			continue
		}
		if f.File != "own.csv" || f.Code != tc.code || !strings.Contains(f.Text, tc.text) || f.Hint == "" {
			t.Errorf("%q gave %s: %s (%s)", tc.list, f.Code, f.Error(), f.Hint)
		}
		if tc.line > 0 && (f.Line != tc.line || f.Column != tc.column) {
			t.Errorf("%q points at %d:%d, want %d:%d", tc.list, f.Line, f.Column, tc.line, tc.column)
		}
	}
}

// FuzzRead: whatever the bytes, Read gives a catalog that can price a run, or
// a fault with a hint; it never panics.
func FuzzRead(f *testing.F) {
	f.Add([]byte("id,price,currency\nram-2in,812.50,EUR\n"))
	f.Add([]byte("id,kind,name,inside,wall,material,use,unit,pack,price,currency\nx,pipe,x,26 mm,2 mm,pe,supply,coil,50 m,1,USD\n"))
	f.Add(defaultPrices)
	f.Fuzz(func(t *testing.T, list []byte) {
		c, err := Read("own.csv", strings.NewReader(string(list)))
		if err != nil {
			var fault *finding.Fault
			if !errors.As(err, &fault) || fault.Hint == "" || fault.Text == "" {
				t.Fatalf("%q: not a fault with a hint: %v", list, err)
			}
			return
		}
		for _, it := range c.All() {
			if it.Price.Minor < 0 || it.Price.Currency != c.Currency {
				t.Fatalf("%s costs %v", it.ID, it.Price)
			}
			if it.Kind == KindPipe {
				if cost := c.PipeCost(it.ID, 12345.6, 0.1); cost.Minor < 0 {
					t.Fatalf("%s: a run costs %v", it.ID, cost)
				}
			}
		}
	})
}

func BenchmarkDefault(b *testing.B) {
	for b.Loop() {
		Default("USD")
	}
}
