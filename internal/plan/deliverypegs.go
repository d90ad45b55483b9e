package plan

import (
	"fmt"

	"route/internal/quantity"
)

// deliveryTask says how the delivery pipe lies.
func deliveryTask(l *Layout, system quantity.System) string {
	if !(l.Delivery.TrenchM > 0) {
		return "Delivery pipe"
	}
	return fmt.Sprintf("Delivery pipe; dig %s deep, below the frost", quantity.Format(system, quantity.Length, float64(l.Delivery.TrenchM)))
}

// changesAndCrossings pegs where the delivery pipe changes to a lighter one
// and where it passes over something.
func changesAndCrossings(l *Layout) []peg {
	var pegs []peg
	mark := func(label, task, also string, along Number) {
		v := pointAlong(l.Delivery.Path, float64(along))
		pegs = append(pegs, peg{along: float64(along), label: label, role: "delivery", at: v.place(), level: v.InvertM, task: task, also: also})
	}
	for k, to := range l.Delivery.changes() {
		mark(fmt.Sprintf("CHANGE%d", k+1), "Change of pipe: the heavier one below, "+to.Material+" "+to.Size+" from here up", "change here to "+to.Material+" "+to.Size, to.FromM)
	}
	for k, c := range l.Delivery.Crossings {
		mark(fmt.Sprintf("CROSS%d", k+1), "Delivery pipe crosses "+c.Name, "crosses "+c.Name, c.AlongM)
	}
	return pegs
}
