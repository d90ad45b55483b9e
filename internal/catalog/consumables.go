package catalog

import "math"

// Parts that a layout uses up or ends in. They are counted for the finished
// takeoff only: their packs are shared by all runs, so that a search, which
// prices each run by itself, could not count them exactly.
const (
	PartCement     = "solvent cement" // with its primer
	PartTape       = "thread tape"
	PartBulkhead   = "tank connector"
	PartTankScreen = "overflow screen"
)

// Rules of the consumables (common practice, no source).
const (
	// A pack of cement and primer does 15 sockets on a bore of 50 mm; the area
	// of a socket grows with the square of the bore.
	cementSockets, cementBoreM = 15.0, 0.05
	tapeEnds                   = 24.0 // threaded ends that a roll of tape does
	bulkheadsPerTank           = 2    // outlet and overflow
	concreteBagsSeat           = 1    // under a standpipe or a settling box
)

// consumables adds what joints use up, the fittings of the tank and the
// concrete of the seats:
//
//   - Pipe with solvent joints: cement by the number and size of its sockets;
//     threaded pipe, unions, valves and gauges: tape by the number of their
//     ends. Joints along a run are counted as if it were made of its shortest
//     packs, which never counts too few, nor more for a shorter run.
//   - Tank: two connectors (outlet and overflow), a ball valve on the outlet, a
//     screen on the overflow.
//   - Seats: one bag of concrete each for standpipe and settling box.
func (n *needs) consumables() {
	l, c := n.layout, n.catalog
	if !l.Consumables {
		return
	}
	cement, ends := 0.0, 0.0 // packs, and threaded ends
	run := func(id string, lengthM float64, times, fittingEnds int) {
		if id == "" || lengthM <= 0 {
			return
		}
		pipe := c.pipe(id)
		joints := float64(2*c.mostJoins(pipe, lengthM, l.WasteFraction)+fittingEnds) * float64(times)
		switch bore := pipe.Pipe.Pipe.Inside; pipe.Joint {
		case JointSolvent:
			cement += joints / cementSockets * (bore / cementBoreM) * (bore / cementBoreM)
		case JointThread:
			ends += joints
		}
	}
	run(l.SupplyPipe, l.SupplyM, 1, 2+2*l.SupplyBends)
	run(l.StandpipePipe, l.StandpipeM, 1, 3) // its foot, and the tee's two other sockets
	run(l.DrivePipe, l.DriveM, l.Pumps, 2)
	tees := l.HighPoints + l.LowPoints + max(0, l.Pumps-1)
	run(l.DeliveryPipe, l.DeliveryM, 1, 2+2*(l.DeliveryBends+tees))
	// Threads are also on the far side of every adapter, and on what is screwed
	// to them: a gate valve a run, union, ball valve and gauge at each pump.
	ends += 2*2 + float64(l.Pumps)*(2+2+2+2+1) + float64(l.HighPoints+l.LowPoints) + 2*bulkheadsPerTank
	n.add(c.fitting(PartCement, nil), math.Ceil(cement-1e-9), GroupOther, "solvent joints")
	n.add(c.fitting(PartTape, nil), math.Ceil(ends/tapeEnds-1e-9), GroupOther, "threaded joints")
	if l.DeliveryPipe != "" && l.DeliveryM > 0 {
		pipe := c.pipe(l.DeliveryPipe)
		n.add(c.fitting(PartBulkhead, nil), bulkheadsPerTank, GroupDelivery, "tank: outlet and overflow")
		n.add(c.fitting(PartBall, pipe), 1, GroupDelivery, "tank: outlet")
		n.add(c.fitting(PartTankScreen, nil), 1, GroupDelivery, "tank: overflow")
	}
	seats := 0
	if l.StandpipePipe != "" {
		seats++
	}
	if l.SettlingBox {
		seats++
	}
	n.add(c.fitting(PartConcrete, nil), float64(concreteBagsSeat*seats), GroupOther, "seats of standpipe and box")
}

// mostJoins is how many joins a run has when it is made of its shortest packs.
func (c *Catalog) mostJoins(pipe *Item, lengthM, waste float64) int {
	shortest := math.Inf(1)
	for _, p := range c.packs(pipe) {
		shortest = math.Min(shortest, p.PackM)
	}
	return max(0, int(math.Ceil(lengthM*(1+waste)/shortest-1e-6))-1)
}
