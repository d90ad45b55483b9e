package packet

import (
	"route/internal/export"
	"route/internal/plan"
	"route/internal/quantity"
)

// stakes prints the table of stakes, with the check of each key stake below
// its row.
func (s *sheet) stakes() {
	s.page("Stakes")
	s.paragraph(0, 8.5, "", "Levels are of the inside bottom of the pipe (at the box: its water; at the pump: the waste valve outlet; at the tank: the inlet). “Staff” is how much more or less a staff held there reads than on the stake above it in this list. “Cut” is the depth of the pipe below the ground, “up” its height above it. S, D and L are numbered by tape lengths of "+s.tape()+"; where another stake stands, that number is left out. Coordinates: "+s.p.Frame.GridName+".")
	s.y += 1.5
	rest := s.inner() - 5 - 19 - 13 - 29 - 16 - 18 - 16 - 18
	t := s.table(7.5,
		column{title: "", width: 5}, column{title: "stake", width: 19}, column{title: "along pipe", width: 13, right: true},
		column{title: "staff", width: 29, right: true}, column{title: "cut or up", width: 16, right: true}, column{title: "below intake water", width: 18, right: true},
		column{title: "E", width: 16, right: true}, column{title: "N", width: 18, right: true}, column{title: "what to do", width: rest})
	for i := range s.l.Stakes {
		k := &s.l.Stakes[i]
		check := ""
		if k.Check != nil {
			check = "Check: " + k.Check.Text
		}
		t.row(check, tickMark, k.Label, s.say(k.AlongM), export.Staff(s.p.System(), k.FallLastM), s.cutText(k.CutM), s.below(k.FallIntakeM), grid(k.GridE), grid(k.GridN), k.Do)
	}
}

// tape is the tape length by which stakes are numbered.
func (s *sheet) tape() string {
	if s.p.System() == quantity.US {
		return "50 ft"
	}
	return "20 m"
}

// cutText says how deep or how high the pipe lies.
func (s *sheet) cutText(cut plan.Number) string {
	switch {
	case !cut.Known():
		return "–"
	case cut > 0.03:
		return "cut " + s.say(cut)
	case cut < -0.03:
		return "up " + s.say(-cut)
	}
	return "on ground"
}

// below says how far below the water of the intake pool a level lies.
func (s *sheet) below(fall plan.Number) string {
	if fall < 0 {
		return s.say(-fall) + " above"
	}
	return s.say(fall)
}
