// Package catalog knows what can be bought, in which units shops sell it, and
// what a layout costs.
package catalog

import "route/internal/hydraulics"

// Kind says what an item is for.
type Kind string

// The kinds.
const (
	KindPipe     Kind = "pipe"
	KindPump     Kind = "pump"
	KindFitting  Kind = "fitting"
	KindBox      Kind = "box"
	KindMaterial Kind = "material"
	KindLabour   Kind = "labour"
)

// Use is a set of the pipe runs that an item may serve.
type Use uint8

// The uses of a pipe.
const (
	UseSupply Use = 1 << iota
	UseDrive
	UseDelivery
	UseStandpipe
)

// Trade says where an item is usual: in shops that sell by inches and feet,
// or by millimetres and metres. The empty trade is at home in both.
type Trade string

// The trades.
const (
	Inch   Trade = "inch"
	Metric Trade = "metric"
)

// Item is one line of a price list: one thing in one pack size. A pipe that is
// sold in several coils is several items with the same product.
type Item struct {
	ID       string
	Kind     Kind
	Part     string // what it does in the line, as the rules of Needs name it: "coupling", "union", …
	Name     string // as it is written on a shopping list
	Standard string
	Source   string // of the dimensions and the price
	Use      Use
	Trade    Trade
	Joint    string              // how a pipe is joined, or the pipe that a fitting goes with: insert, compression, solvent, thread; "" for any
	Size     string              // nominal: "1-1/4 in", "DN32"
	Pipe     *hydraulics.Product // for pipes
	Ram      *hydraulics.Ram     // for pumps
	BoreM    float64             // of a pump or a fitting; 0 when it has none
	MinorK   float64             // of a fitting, on its own bore
	Unit     string              // what is counted: "coil", "stick", "each", "bag", "hour"
	PackM    float64             // length in a pack of pipe, metres; 0 for things counted singly
	Price    Money               // of one pack or piece
	Invented bool                // the price: it is that of the default catalog
	Spread   float64             // standard deviation of the price as a share of it
}

// Need is a quantity that a layout asks for.
type Need struct {
	Item     string  // Item.ID
	Quantity float64 // metres for pipe, pieces otherwise, before waste
	Group    string  // supply, drive, delivery or other
	Where    string  // for the reader: "intake to standpipe"
	Factor   float64 // on the price; 0 counts as 1
	// Name and Price take the place of an item that no price list has.
	Name  string
	Price Money
}

// Layout holds the quantities of a layout that its materials follow from.
type Layout struct {
	SupplyPipe      string // item IDs
	SupplyM         float64
	SupplyBends     int
	SettlingBox     bool
	StandpipePipe   string
	StandpipeM      float64 // height; 0 when there is none
	DrivePipe       string
	DriveM          float64 // of one drive pipe
	Pump            string
	Pumps           int
	DeliveryPipe    string
	DeliveryM       float64
	DeliveryUpper   string  // of a lighter pipe at the upper end; "" when all is one pipe
	DeliveryUpperM  float64 // of DeliveryM
	DeliveryBends   int
	HighPoints      int // air vents
	LowPoints       int // drains
	TankValves      bool
	DeliveryLaid    []Laid    // the delivery pipe by the ground that it lies on
	DeliveryCrossed []Crossed // what it passes over
	TrenchDepthM    float64   // of the delivery pipe; 0 where it lies on the ground
	TrenchWidthM    float64
	// Consumables adds cement, tape, the fittings of the tank and the concrete of
	// the seats, which a search leaves out.
	Consumables     bool
	LayingSum       Money   // of the work on the delivery line, where only its sum is known
	WasteFraction   float64 // of pipe, for cuts and laying: 0.05 is 5 %
	ContingencyPart float64 // of the whole, for what was forgotten
}

// Catalog is a price list. All its prices are in one currency. It does not
// change once it is made and may be used by many goroutines.
type Catalog struct {
	Currency string
	Name     string // of the file, or "default catalog"

	items []*Item
	byID  map[string]*Item
	pipes map[pipeKey][]*Item // the packs of each pipe
	parts map[string][]*Item  // fittings and materials by part
}

// pipeKey tells pipes apart: packs of one key and trade may be mixed in one
// run.
type pipeKey struct {
	product string
	use     Use
}

func newCatalog(name, currency string) *Catalog {
	return &Catalog{Currency: currency, Name: name, byID: map[string]*Item{}, pipes: map[pipeKey][]*Item{}, parts: map[string][]*Item{}}
}

// Item finds an item by its ID.
func (c *Catalog) Item(id string) (*Item, bool) {
	it, ok := c.byID[id]
	return it, ok
}

// All lists every line of the catalog in its order.
func (c *Catalog) All() []*Item { return append([]*Item(nil), c.items...) }

// Items lists the items of a kind that serve at least one of the uses, in the
// order of the catalog; a use of 0 asks for all. A pipe that is sold in
// several pack sizes is listed once, by its first pack: PipeCost and Takeoff
// use all its packs.
func (c *Catalog) Items(kind Kind, use Use) []*Item {
	var list []*Item
	for _, it := range c.items {
		if it.Kind != kind || use != 0 && it.Use&use == 0 {
			continue
		}
		if it.Kind == KindPipe && c.packs(it)[0] != it {
			continue
		}
		list = append(list, it)
	}
	return list
}

// In gives the part of the catalog that is sold in a trade.
func (c *Catalog) In(trade Trade) *Catalog {
	part := newCatalog(c.Name, c.Currency)
	for _, it := range c.items {
		if it.Trade == "" || it.Trade == trade {
			part.add(it)
		}
	}
	return part
}

// WithRam is the list with other parameters for one of its pumps.
func (c *Catalog) WithRam(id string, ram hydraulics.Ram) *Catalog {
	changed := newCatalog(c.Name, c.Currency)
	for _, it := range c.items {
		if it.ID == id {
			measured := *it
			measured.Ram = &ram
			it = &measured
		}
		changed.add(it)
	}
	return changed
}

func (c *Catalog) add(it *Item) {
	c.items = append(c.items, it)
	c.byID[it.ID] = it
	if it.Kind == KindPipe {
		k := it.pipeKey()
		c.pipes[k] = append(c.pipes[k], it)
	}
	if it.Part != "" {
		c.parts[it.Part] = append(c.parts[it.Part], it)
	}
}

func (it *Item) pipeKey() pipeKey { return pipeKey{it.Pipe.Name, it.Use} }

// packs lists the items that are the same pipe in other pack sizes, it
// included, in the order of the catalog: those of its trade, and those that
// are at home in both.
func (c *Catalog) packs(it *Item) []*Item {
	var list []*Item
	for _, o := range c.pipes[it.pipeKey()] {
		if o.Trade == it.Trade || o.Trade == "" || it.Trade == "" {
			list = append(list, o)
		}
	}
	return list
}
