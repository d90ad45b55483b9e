package plan

import (
	"fmt"
	"math"

	"route/internal/hydraulics"
	"route/internal/quantity"
)

// Distances between stakes along a pipe: 50 ft or 20 m, as tapes are marked.
const (
	stakeEveryUS = 50 * 0.3048
	stakeEverySI = 20.0
)

// stakesOf lists the pegs of a layout from the water down and up to the tank:
// the places, and a peg at every tape length of each pipe.
func stakesOf(l *Layout, system quantity.System) []Stake {
	s := staker{layout: l, every: stakeEverySI, intakeWater: float64(l.Intake.WaterM)}
	if system == quantity.US {
		s.every = stakeEveryUS
	}
	s.place("INTAKE", "intake", l.Intake.Place, firstInvert(l), intakeTask(l, system))
	if l.Supply != nil {
		s.pipe("S", "supply", l.Supply.Path, "Supply pipe; must fall from the stake above", func(along Number) {
			if l.SettlingBox != nil && s.boxPending(along) {
				s.placeAt(l.SettlingBox.AlongM, "BOX", "settling_box", l.SettlingBox.Place, l.SettlingBox.WaterM, "Settling box"+boxSize(l, system)+"; level its seat, its water stands at the level given")
			}
		})
	} else if l.SettlingBox != nil {
		s.place("BOX", "settling_box", l.SettlingBox.Place, l.SettlingBox.WaterM, "Settling box"+boxSize(l, system)+"; the drive pipe leaves from it")
	}
	if l.Standpipe != nil {
		s.place("STANDPIPE", "standpipe", l.Standpipe.Place, l.Drive.Path[0].InvertM, standpipeTask(l, system))
	}
	s.pipe("D", "drive", l.Drive.Path, "Drive pipe; straight line between standpipe and pump, support and anchor it", nil)
	s.place("PUMP", "pump", l.Pump.Place, l.Pump.OutletM, pumpTask(l, system))
	s.pipe("L", "delivery", l.Delivery.Path, "Delivery pipe", s.ventsAndDrains(l))
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

func pumpTask(l *Layout, system quantity.System) string {
	task := "Waste valve outlet at this level; bolt the pump to concrete"
	if l.Pump.ThrustN > 0 {
		task += fmt.Sprintf(", a beat pushes as hard as %s weigh", quantity.Format(system, quantity.Mass, float64(l.Pump.ThrustN)/hydraulics.Gravity))
	}
	return task
}

// ventsAndDrains pegs the high and low places of the delivery pipe as the
// stakes come past them.
func (s *staker) ventsAndDrains(l *Layout) func(along Number) {
	vents, drains := 0, 0
	peg := func(at Number, label, task string) {
		v := pointAlong(l.Delivery.Path, float64(at))
		s.placeAt(at, label, "delivery", v.place(), v.InvertM, task)
	}
	return func(along Number) {
		for {
			vent := vents < len(l.Delivery.Vents) && l.Delivery.Vents[vents] <= along
			drain := drains < len(l.Delivery.Drains) && l.Delivery.Drains[drains] <= along
			switch {
			case vent && (!drain || l.Delivery.Vents[vents] < l.Delivery.Drains[drains]):
				vents++
				peg(l.Delivery.Vents[vents-1], fmt.Sprintf("VENT%d", vents), "High place of the delivery pipe: tee with an air vent")
			case drain:
				drains++
				peg(l.Delivery.Drains[drains-1], fmt.Sprintf("DRAIN%d", drains), "Low place of the delivery pipe: tee with a drain")
			default:
				return
			}
		}
	}
}

func standpipeTask(l *Layout, system quantity.System) string {
	return fmt.Sprintf("Standpipe, %s tall; runs full to %s above the ground",
		quantity.Format(system, quantity.Length, float64(l.Standpipe.HeightM)),
		quantity.Format(system, quantity.Length, float64(l.Standpipe.RunningLevelM-l.Standpipe.GroundM)))
}

// staker numbers the pegs as it goes along.
type staker struct {
	layout      *Layout
	every       float64
	intakeWater float64
	stakes      []Stake
	alongM      float64 // of the pipes before this one
	boxDone     bool
}

// boxPending says, once, that the box lies before a distance along the supply.
func (s *staker) boxPending(along Number) bool {
	if s.boxDone || float64(along) < float64(s.layout.SettlingBox.AlongM) {
		return false
	}
	s.boxDone = true
	return true
}

// place sets a peg at the end of the pipes so far.
func (s *staker) place(label, role string, at Place, invert Number, task string) {
	s.placeAt(0, label, role, at, invert, task)
}

// placeAt sets a peg at a distance along the pipe that is being walked.
func (s *staker) placeAt(along Number, label, role string, at Place, invert Number, task string) {
	s.add(Stake{Label: label, Role: role, Place: at, AlongM: Number(s.alongM) + along, InvertM: invert, Do: task})
}

func (s *staker) add(peg Stake) {
	peg.FallIntakeM = Number(s.intakeWater) - peg.InvertM
	peg.FallLastM = Unknown
	if len(s.stakes) > 0 {
		peg.FallLastM = s.stakes[len(s.stakes)-1].InvertM - peg.InvertM
	}
	s.stakes = append(s.stakes, peg)
}

// pipe sets a peg at every tape length of a pipe, not closer than a third of
// one to its ends, where the places have their own.
func (s *staker) pipe(letter, role string, path []Vertex, task string, before func(along Number)) {
	total := float64(path[len(path)-1].AlongM)
	count := 0
	for k := 1; float64(k)*s.every < total-s.every/3; k++ {
		at := pointAlong(path, float64(k)*s.every)
		if before != nil {
			before(at.AlongM)
		}
		count++
		s.add(Stake{
			Label: fmt.Sprintf("%s%d", letter, count), Role: role,
			Place:   at.place(),
			AlongM:  Number(s.alongM) + at.AlongM,
			InvertM: at.InvertM, Do: task,
		})
	}
	if before != nil {
		before(Number(total))
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
