// Package catalog knows what can be bought, in which units shops sell it, and
// what a layout costs.
package catalog

import "route/internal/hydraulics"

// Money is an exact amount in the smallest unit of a currency.
type Money struct {
	Minor    int64
	Currency string // ISO 4217, or the user's own word
}

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

// Item is one line of a price list.
type Item struct {
	ID       string
	Kind     Kind
	Name     string // as it is written on a shopping list
	Standard string
	Source   string
	Use      Use
	Pipe     *hydraulics.Product // for pipes
	Ram      *hydraulics.Ram     // for pumps
	BoreM    float64             // of a pump or a fitting; 0 when it has none
	MinorK   float64             // of a fitting, on its own bore
	Unit     string              // what is counted: "coil", "stick", "each", "bag", "hour"
	PackM    float64             // length in a pack of pipe, metres; 0 for things counted singly
	Price    Money               // of one pack or piece
	Spread   float64             // standard deviation of the price as a share of it
}

// Need is a quantity that a layout asks for.
type Need struct {
	Item     string  // Item.ID
	Quantity float64 // metres for pipe, pieces otherwise, before waste
	Group    string  // supply, drive, delivery or other
	Where    string  // for the reader: "intake to standpipe"
}

// Line is one line of a takeoff: what is bought for a need.
type Line struct {
	Need
	Name   string
	Unit   string
	Packs  int64 // whole packs or pieces, waste included
	Price  Money
	Amount Money
}

// Takeoff is the list of what is bought for one layout.
type Takeoff struct {
	Lines []Line
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
	DeliveryBends   int
	HighPoints      int // air vents
	LowPoints       int // drains
	TankValves      bool
	WasteFraction   float64
	ContingencyPart float64
}
