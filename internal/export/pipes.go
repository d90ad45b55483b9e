package export

import "route/internal/plan"

// pipeRun is a pipe with its role and its name for people.
type pipeRun struct {
	role, name string
	*plan.PipeRun
}

// runs lists the pipes of a layout in the order of the water.
func runs(l *plan.Layout) []pipeRun {
	var all []pipeRun
	if l.Supply != nil {
		all = append(all, supplyRun(l))
	}
	return append(all, driveRun(l), deliveryRun(l))
}

func supplyRun(l *plan.Layout) pipeRun { return pipeRun{"supply", "Supply pipe", &l.Supply.PipeRun} }
func driveRun(l *plan.Layout) pipeRun  { return pipeRun{"drive", "Drive pipe", &l.Drive.PipeRun} }
func deliveryRun(l *plan.Layout) pipeRun {
	return pipeRun{"delivery", "Delivery pipe", &l.Delivery.PipeRun}
}

// place is one of the five places with its role and its name for people.
type place struct {
	role, name string
	at         plan.Place
}

// places lists the places that a layout has in the order of the water.
func places(l *plan.Layout) []place {
	all := []place{{"intake", "Intake", l.Intake.Place}}
	if l.SettlingBox != nil {
		all = append(all, place{"settling_box", "Settling box", l.SettlingBox.Place})
	}
	if l.Standpipe != nil {
		all = append(all, place{"standpipe", "Standpipe", l.Standpipe.Place})
	}
	return append(all, place{"pump", "Ram pump", l.Pump.Place}, place{"tank", "Tank", l.Tank.Place})
}
