package plan

import (
	"fmt"
	"math"
	"slices"

	"route/internal/catalog"
	"route/internal/hydraulics"
	"route/internal/quantity"
)

// Distances between stakes along a pipe: 50 ft or 20 m, as tapes are marked.
const (
	stakeEveryUS = 50 * 0.3048
	stakeEverySI = 20.0
)

// pegsApartM is how near two stakes of one pipe may stand; nearer, one stake
// says what is to be done for both.
const pegsApartM = 0.5

// stakesOf lists the pegs of a layout from the water down and up to the tank:
// the places; the bends, vents, drains and supports of each pipe; and a peg at
// every tape length.
func stakesOf(l *Layout, system quantity.System) []Stake {
	s := staker{layout: l, system: system, every: stakeEverySI, intakeWater: float64(l.Intake.WaterM)}
	if system == quantity.US {
		s.every = stakeEveryUS
	}
	s.place("INTAKE", "intake", l.Intake.Place, firstInvert(l), intakeTask(l, system))
	if l.Supply != nil {
		var pegs []peg
		if b := l.SettlingBox; b != nil {
			pegs = append(pegs, peg{along: float64(b.AlongM), label: "BOX", role: "settling_box", at: b.Place, level: b.WaterM, task: "Settling box" + boxSize(l, system) + "; level its seat, its water stands at the level given"})
		}
		s.pipe("S", "supply", l.Supply.Path, "Supply pipe; must fall from the stake above", append(pegs, bendPegs("SB", "supply", l.Supply.Path)...))
	} else if l.SettlingBox != nil {
		s.place("BOX", "settling_box", l.SettlingBox.Place, l.SettlingBox.WaterM, "Settling box"+boxSize(l, system)+"; the drive pipe leaves from it")
	}
	if l.Standpipe != nil {
		s.place("STANDPIPE", "standpipe", l.Standpipe.Place, l.Drive.Path[0].InvertM, standpipeTask(l, system))
	}
	s.pipe("D", "drive", l.Drive.Path, "Drive pipe; straight line between standpipe and pump, support and anchor it", supportPegs(l, system))
	s.place("PUMP", "pump", l.Pump.Place, l.Pump.OutletM, pumpTask(l, system))
	s.pipe("L", "delivery", l.Delivery.Path, deliveryTask(l, system), slices.Concat(ventsAndDrains(l), changesAndCrossings(l), bendPegs("LB", "delivery", l.Delivery.Path)))
	s.place("TANK", "tank", l.Tank.Place, l.Tank.InletM, "Tank inlet at this level, with an air gap above the overflow")
	return s.stakes
}

func firstInvert(l *Layout) Number {
	if l.Supply != nil {
		return l.Supply.Path[0].InvertM
	}
	return l.Drive.Path[0].InvertM
}

func intakeTask(l *Layout, system quantity.System) string {
	task := "Screened pipe end, fully under water in the pool"
	if l.Intake.ScreenAreaM2 > 0 {
		task += fmt.Sprintf("; screen at least %s, %s of water above the pipe",
			quantity.Format(system, quantity.Area, float64(l.Intake.ScreenAreaM2)), quantity.Format(system, quantity.Length, float64(l.Intake.SubmergenceM)))
	}
	return task
}

func boxSize(l *Layout, system quantity.System) string {
	if !(l.SettlingBox.AreaM2 > 0) {
		return ""
	}
	return fmt.Sprintf(" with at least %s of water surface and %s of water",
		quantity.Format(system, quantity.Area, float64(l.SettlingBox.AreaM2)), quantity.Format(system, quantity.Volume, float64(l.SettlingBox.VolumeM3)))
}

func standpipeTask(l *Layout, system quantity.System) string {
	return fmt.Sprintf("Standpipe, %s tall; runs full to %s above the ground",
		quantity.Format(system, quantity.Length, float64(l.Standpipe.HeightM)),
		quantity.Format(system, quantity.Length, float64(l.Standpipe.RunningLevelM-l.Standpipe.GroundM)))
}

func pumpTask(l *Layout, system quantity.System) string {
	task := "Waste valve outlet at this level; bolt the pump to concrete"
	if l.Pump.ThrustN > 0 {
		task += fmt.Sprintf(", a beat pushes as hard as %s weigh", quantity.Format(system, quantity.Mass, float64(l.Pump.ThrustN)/hydraulics.Gravity))
	}
	return task
}

// peg is a stake of a pipe before it has its place in the row.
type peg struct {
	along       float64
	label, role string
	task        string
	at          Place
	level       Number
	also        string // what to do here for a nearby peg that this one stands for
}

// ventsAndDrains pegs the high and low places of the delivery pipe.
func ventsAndDrains(l *Layout) []peg {
	var pegs []peg
	mark := func(word, task string, at []Number) {
		for k, along := range at {
			v := pointAlong(l.Delivery.Path, float64(along))
			pegs = append(pegs, peg{along: float64(along), label: fmt.Sprintf("%s%d", word, k+1), role: "delivery", at: v.place(), level: v.InvertM, task: task, also: "tee"})
		}
	}
	mark("VENT", "High place of the delivery pipe: tee with an air vent", l.Delivery.Vents)
	mark("DRAIN", "Low place of the delivery pipe: tee with a drain", l.Delivery.Drains)
	return pegs
}

// onGroundM is how far off the ground a pipe still counts as lying on it.
const onGroundM = 0.03

// supportPegs pegs the anchors of the drive pipe, as many as are bought.
func supportPegs(l *Layout, system quantity.System) []peg {
	length := float64(l.Drive.Path[len(l.Drive.Path)-1].AlongM)
	count := catalog.Anchors(length)
	pegs := make([]peg, count)
	for k := range pegs {
		v := pointAlong(l.Drive.Path, length*(float64(k)+0.5)/float64(count))
		task := "Support and anchor"
		switch above := float64(v.InvertM - v.GroundM); {
		case math.Abs(above) < onGroundM:
			task += ": pipe on the ground"
		case above > 0:
			task += fmt.Sprintf(": pipe %s above the ground", quantity.Format(system, quantity.Length, above))
		case above < 0:
			task += fmt.Sprintf(": pipe %s below the ground", quantity.Format(system, quantity.Length, -above))
		}
		pegs[k] = peg{along: float64(v.AlongM), label: fmt.Sprintf("SUP%d", k+1), role: "drive", at: v.place(), level: v.InvertM, task: task, also: "support"}
	}
	return pegs
}

// staker puts the pegs in a row as it goes along.
type staker struct {
	layout      *Layout
	system      quantity.System
	every       float64
	intakeWater float64
	stakes      []Stake
	alongM      float64 // of the pipes before this one
}

// place sets a peg at the end of the pipes so far.
func (s *staker) place(label, role string, at Place, invert Number, task string) {
	s.add(Stake{Label: label, Role: role, Place: at, AlongM: Number(s.alongM), InvertM: invert, Do: task})
}

func (s *staker) add(peg Stake) {
	peg.FallIntakeM = Number(s.intakeWater) - peg.InvertM
	peg.FallLastM = Unknown
	peg.CutM = peg.GroundM - peg.InvertM
	peg.GridE, peg.GridN = peg.EastingM, peg.NorthM
	if len(s.stakes) > 0 {
		peg.FallLastM = s.stakes[len(s.stakes)-1].InvertM - peg.InvertM
	}
	s.stakes = append(s.stakes, peg)
}

// pipe sets the special pegs of a pipe and one at every tape length, not
// closer than a third of one to its ends, where the places have their own. Of
// pegs that would stand on one another the first in rank stays: specials in
// the order in which they are given, then those of the tape.
func (s *staker) pipe(letter, role string, path []Vertex, task string, special []peg) {
	total := float64(path[len(path)-1].AlongM)
	pegs := special
	for k := 1; float64(k)*s.every < total-s.every/3; k++ {
		v := pointAlong(path, float64(k)*s.every)
		pegs = append(pegs, peg{along: float64(v.AlongM), label: fmt.Sprintf("%s%d", letter, k), role: role, at: v.place(), level: v.InvertM, task: task})
	}
	var kept []peg
	for _, p := range pegs {
		near := slices.IndexFunc(kept, func(q peg) bool { return math.Abs(p.along-q.along) < pegsApartM })
		switch {
		case near < 0:
			kept = append(kept, p)
		case p.also != "":
			kept[near].task += "; " + p.also
		}
	}
	slices.SortStableFunc(kept, func(a, b peg) int {
		switch {
		case a.along < b.along:
			return -1
		case a.along > b.along:
			return 1
		}
		return 0
	})
	for _, p := range kept {
		s.add(Stake{Label: p.label, Role: p.role, Place: p.at, AlongM: Number(s.alongM + p.along), InvertM: p.level, Do: p.task})
	}
	s.alongM += total
}

// place is where a vertex lies.
func (v Vertex) place() Place {
	return Place{StationM: v.StationM, Lon: v.Lon, Lat: v.Lat, EastingM: v.EastingM, NorthM: v.NorthM, GroundM: v.GroundM}
}

// pointAlong interpolates a laid line at a distance along it.
func pointAlong(path []Vertex, along float64) Vertex {
	for i := 1; i < len(path); i++ {
		a, b := path[i-1], path[i]
		if float64(b.AlongM) < along && i < len(path)-1 {
			continue
		}
		t := 0.0
		if b.AlongM > a.AlongM {
			t = math.Min(1, (along-float64(a.AlongM))/float64(b.AlongM-a.AlongM))
		}
		mix := func(x, y Number) Number { return x + Number(t)*(y-x) }
		return Vertex{
			Lon: a.Lon + Degrees(t)*(b.Lon-a.Lon), Lat: a.Lat + Degrees(t)*(b.Lat-a.Lat),
			EastingM: mix(a.EastingM, b.EastingM), NorthM: mix(a.NorthM, b.NorthM),
			AlongM: Number(along), StationM: mix(a.StationM, b.StationM),
			GroundM: mix(a.GroundM, b.GroundM), InvertM: mix(a.InvertM, b.InvertM), GradeM: mix(a.GradeM, b.GradeM),
		}
	}
	return path[0]
}
