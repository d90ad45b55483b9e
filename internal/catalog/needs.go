package catalog

import (
	"fmt"
	"math"
	"strings"
)

// Ways in which pipe is joined.
const (
	JointInsert      = "insert"      // barbed fitting inside the pipe, with clamps
	JointCompression = "compression" // nut and grip ring outside the pipe
	JointSolvent     = "solvent"     // cemented socket
	JointThread      = "thread"
)

// Parts that the rules of Needs ask for.
const (
	PartCoupling = "coupling"
	PartAdapter  = "adapter" // pipe end to thread
	PartElbow    = "elbow"
	PartTee      = "tee"
	PartUnion    = "union"
	PartClamp    = "clamp"
	PartGate     = "gate valve"
	PartBall     = "ball valve"
	PartFloat    = "float valve"
	PartVent     = "air vent"
	PartDrain    = "drain"
	PartGauge    = "pressure gauge"
	PartStrainer = "strainer"
	PartBox      = "settling box"
	PartConcrete = "concrete"
	PartAnchor   = "anchor"
)

// AnchorSpacingM is how often Needs puts an anchor along a drive pipe, in
// metres (common practice, no source).
const AnchorSpacingM = 3.0

// Anchors is how many anchors a drive pipe of a length in metres takes.
func Anchors(driveM float64) int {
	return max(0, int(math.Ceil(driveM/AnchorSpacingM-1e-9)))
}

// Rules of Needs (common practice, no source).
const (
	clampsPerEnd      = 2 // on each pipe end pushed over a barb
	anchorsStandpipe  = 2
	concreteBagsPump  = 4 // for the base of one pump
	endsPerRun        = 2
	endsOfSettlingBox = 2
)

// Needs lists the materials of a layout by simple rules:
//
//   - Each run of pipe: its length; a coupling wherever two packs meet; an
//     adapter at each end (two more where a settling box parts the supply
//     pipe); an elbow for each bend of the supply and the delivery pipe.
//   - Pipe joined by barbed fittings: two clamps on every pipe end.
//   - Supply: a strainer, a gate valve, the settling box if there is one.
//   - Standpipe: its pipe, a tee at its foot, two anchors.
//   - Drive, for each pump: one straight pipe with a union and a gate valve at
//     the pump, an anchor each 3 m; a tee at the standpipe for every pump
//     after the first.
//   - Delivery: for each pump a union, a ball valve and a pressure gauge; a
//     tee for every pump after the first; at each high point a tee with an air
//     vent, at each low point a tee with a drain; at the tank, if its valves
//     are wanted, a ball valve and a float valve.
//   - A delivery pipe that is lighter at its upper end: a coupling where it
//     changes.
//   - The work on the delivery line: laying and, where it is buried, digging,
//     a line for each kind of ground with its factor; a fee for each crossing.
//   - Other: the pumps, and four bags of concrete for the base of each.
//
// Fittings are those of the pipe's joint in its nominal size, or else in the
// nearest bore. A part that the catalog does not have at all is left out; the
// default catalog has all of them. Pipes and pumps must be items of the
// catalog; an empty ID leaves its run out.
func (c *Catalog) Needs(l Layout) []Need {
	n := needs{catalog: c, layout: l}
	n.supply()
	n.standpipe()
	n.drive()
	n.delivery()
	n.pumps()
	n.consumables()
	return n.list
}

// Materials is the takeoff of a layout: its needs with its waste allowance,
// and its contingency as the last line.
func (c *Catalog) Materials(l Layout) (Takeoff, error) {
	t, err := c.Takeoff(c.Needs(l), l.WasteFraction)
	if err != nil || l.ContingencyPart == 0 {
		return t, err
	}
	total, err := t.Total()
	if err != nil {
		return Takeoff{}, err
	}
	amount, err := total.Part(l.ContingencyPart)
	if err != nil {
		return Takeoff{}, err
	}
	t.Lines = append(t.Lines, Line{
		Need: Need{Quantity: 1, Group: GroupOther, Where: "for what was forgotten"},
		Name: "contingency", Unit: "sum", Packs: 1, Price: amount, Amount: amount,
	})
	return t, nil
}

// RestCost is the price of a layout's materials without its pipe runs as
// PipeCost prices them (supply, standpipe, one drive pipe a pump, delivery)
// and without contingency: the part of the cost that does not depend on the
// lengths, except for the anchors of the drive pipes.
func (c *Catalog) RestCost(l Layout) (Money, error) {
	t, err := c.Takeoff(c.Needs(l), l.WasteFraction)
	if err != nil {
		return Money{}, err
	}
	rest, err := t.Total()
	if err != nil {
		return Money{}, err
	}
	take := func(id string, lengthM float64, runs int) {
		if err != nil || id == "" || lengthM == 0 {
			return
		}
		rest, err = addTimes(rest, c.PipeCost(id, lengthM, l.WasteFraction), -int64(runs))
	}
	take(l.SupplyPipe, l.SupplyM, 1)
	take(l.StandpipePipe, l.StandpipeM, 1)
	take(l.DrivePipe, l.DriveM, l.Pumps)
	take(l.DeliveryPipe, l.DeliveryM, 1)
	return rest, err
}

// needs gathers the needs of one layout.
type needs struct {
	catalog *Catalog
	layout  Layout
	list    []Need
}

func (n *needs) add(it *Item, quantity float64, group, where string) {
	if it == nil || quantity <= 0 {
		return
	}
	n.list = append(n.list, Need{Item: it.ID, Quantity: quantity, Group: group, Where: where})
}

// run adds a run of pipe with its couplings, its end adapters and the clamps
// of all of these, and gives the pipe; nil when there is no run. extraEnds
// counts the pipe ends at things that are not adapters: elbows, tees.
func (n *needs) run(id string, lengthM float64, adapters, extraEnds int, group, where string) *Item {
	if id == "" || lengthM <= 0 {
		return nil
	}
	pipe := n.catalog.pipe(id)
	n.add(pipe, lengthM, group, where)
	joins := 0
	if packs := countPacks(n.catalog.cover(pipe, lengthM, n.layout.WasteFraction)); packs > 1 {
		joins = int(packs) - 1
	}
	n.add(n.catalog.fitting(PartCoupling, pipe), float64(joins), group, where)
	n.add(n.catalog.fitting(PartAdapter, pipe), float64(adapters), group, where)
	if pipe.Joint == JointInsert {
		ends := 2*joins + adapters + extraEnds
		n.add(n.catalog.fitting(PartClamp, pipe), float64(clampsPerEnd*ends), group, where)
	}
	return pipe
}

func (n *needs) supply() {
	l, c := n.layout, n.catalog
	const where = "intake to standpipe"
	adapters := endsPerRun
	if l.SettlingBox {
		adapters += endsOfSettlingBox
	}
	pipe := n.run(l.SupplyPipe, l.SupplyM, adapters, 2*l.SupplyBends, GroupSupply, where)
	if pipe != nil {
		n.add(c.fitting(PartElbow, pipe), float64(l.SupplyBends), GroupSupply, where)
		n.add(c.fitting(PartStrainer, pipe), 1, GroupSupply, "intake")
		n.add(c.fitting(PartGate, pipe), 1, GroupSupply, "lower end of the supply pipe")
	}
	if l.SettlingBox {
		n.add(c.fitting(PartBox, pipe), 1, GroupSupply, "below the intake")
	}
}

func (n *needs) standpipe() {
	l, c := n.layout, n.catalog
	const where = "standpipe"
	// The pipe's foot is pushed into or cemented to the tee: one end.
	pipe := n.run(l.StandpipePipe, l.StandpipeM, 0, 1, GroupSupply, where)
	if pipe == nil {
		return
	}
	n.add(c.fitting(PartTee, pipe), 1, GroupSupply, where)
	n.add(c.fitting(PartAnchor, pipe), anchorsStandpipe, GroupSupply, where)
}

func (n *needs) drive() {
	l, c := n.layout, n.catalog
	for i := range l.Pumps {
		where := "standpipe to pump"
		if l.Pumps > 1 {
			where = fmt.Sprintf("standpipe to pump %d", i+1)
		}
		pipe := n.run(l.DrivePipe, l.DriveM, endsPerRun, 0, GroupDrive, where)
		if pipe == nil {
			return
		}
		n.add(c.fitting(PartUnion, pipe), 1, GroupDrive, where)
		n.add(c.fitting(PartGate, pipe), 1, GroupDrive, where)
		n.add(c.fitting(PartAnchor, pipe), float64(Anchors(l.DriveM)), GroupDrive, where)
		if i > 0 {
			n.add(c.fitting(PartTee, pipe), 1, GroupDrive, where)
		}
	}
}

func (n *needs) delivery() {
	l, c := n.layout, n.catalog
	const where = "pump to tank"
	tees := l.HighPoints + l.LowPoints + max(0, l.Pumps-1)
	ends := 2 * (l.DeliveryBends + tees)
	var pipe *Item
	if l.DeliveryUpper == "" {
		pipe = n.run(l.DeliveryPipe, l.DeliveryM, endsPerRun, ends, GroupDelivery, where)
	} else {
		pipe = n.run(l.DeliveryPipe, l.DeliveryM-l.DeliveryUpperM, 1, ends+endsPerRun, GroupDelivery, "pump to change of pipe")
		n.add(c.fitting(PartCoupling, pipe), 1, GroupDelivery, "change of pipe")
		n.run(l.DeliveryUpper, l.DeliveryUpperM, 1, 0, GroupDelivery, "change of pipe to tank")
	}
	if pipe == nil {
		return
	}
	pumps := float64(l.Pumps)
	n.add(c.fitting(PartElbow, pipe), float64(l.DeliveryBends), GroupDelivery, where)
	n.add(c.fitting(PartTee, pipe), float64(tees), GroupDelivery, where)
	n.add(c.fitting(PartVent, pipe), float64(l.HighPoints), GroupDelivery, "high points")
	n.add(c.fitting(PartDrain, pipe), float64(l.LowPoints), GroupDelivery, "low points")
	n.add(c.fitting(PartUnion, pipe), pumps, GroupDelivery, "pump")
	n.add(c.fitting(PartBall, pipe), pumps, GroupDelivery, "pump")
	n.add(c.fitting(PartGauge, pipe), pumps, GroupDelivery, "pump")
	if l.TankValves {
		n.add(c.fitting(PartBall, pipe), 1, GroupDelivery, "tank")
		n.add(c.fitting(PartFloat, pipe), 1, GroupDelivery, "tank")
	}
	n.laying()
}

func (n *needs) pumps() {
	l, c := n.layout, n.catalog
	if l.Pump == "" || l.Pumps == 0 {
		return
	}
	pump, ok := c.byID[l.Pump]
	if !ok || pump.Kind != KindPump {
		panic(fmt.Sprintf("catalog: %q is not a pump of the catalog", l.Pump))
	}
	n.add(pump, float64(l.Pumps), GroupOther, "pump site")
	n.add(c.fitting(PartConcrete, nil), float64(concreteBagsPump*l.Pumps), GroupOther, "pump base")
}

// fitting finds the part that goes with a pipe: of the pipe's own trade and
// joint, or of any; in the pipe's nominal size, or else the nearest bore; the
// first in the catalog of several. It is nil when there is none. Without a
// pipe it is the first item of that part.
func (c *Catalog) fitting(part string, pipe *Item) *Item {
	var found *Item
	least := math.Inf(1)
	for _, it := range c.parts[part] {
		if pipe == nil {
			return it
		}
		if it.Trade != "" && pipe.Trade != "" && it.Trade != pipe.Trade || it.Joint != "" && it.Joint != pipe.Joint {
			continue
		}
		distance := 0.0
		switch {
		case it.Size != "" && it.Size == pipe.Size:
			distance = -1
		case it.BoreM > 0:
			distance = math.Abs(it.BoreM - pipe.Pipe.Pipe.Inside)
		}
		if distance < least {
			found, least = it, distance
		}
	}
	return found
}

// joinPrice is what joins two packs of a pipe: a coupling, and the clamps on
// both pipe ends where it is a barbed one. The price list is checked when it
// is read so that this cannot overflow.
func (c *Catalog) joinPrice(pipe *Item) Money {
	price := Money{Currency: c.Currency}
	if coupling := c.fitting(PartCoupling, pipe); coupling != nil {
		price.Minor += coupling.Price.Minor
	}
	if clamp := c.fitting(PartClamp, pipe); clamp != nil && pipe.Joint == JointInsert {
		price.Minor += 2 * clampsPerEnd * clamp.Price.Minor
	}
	return price
}

// jointOf gives how pipes of a product family are usually joined.
func jointOf(family string) string {
	switch f := strings.ToLower(family); {
	case strings.Contains(f, "sidr"):
		return JointInsert
	case strings.HasPrefix(f, "pe"): // PE by outside diameter, and PEX
		return JointCompression
	case strings.Contains(f, "pvc"):
		return JointSolvent
	default: // metal
		return JointThread
	}
}
