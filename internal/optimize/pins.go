package optimize

// Pin is a place of a layout that is given and not searched for.
type Pin struct {
	Station int  // index into the creek's profile
	None    bool // the layout has no such place; for a settling box or a standpipe
}

// Pins are the places that are given; a nil leaves the choice to the search,
// which stays exact over all that is left to choose. A pin on the settling box
// decides whether there is one, whatever Choices say; it may stand anywhere
// along the supply pipe that is BoxLeadM or more below the intake.
type Pins struct{ Intake, Box, Standpipe, Pump *Pin }

// Any says whether anything is pinned.
func (p *Pins) Any() bool { return *p != Pins{} }

// allows says whether a pin leaves a station to choose.
func (p *Pin) allows(k int) bool { return p == nil || !p.None && p.Station == k }

// given says whether a place stands somewhere for sure.
func (p *Pin) given() bool { return p != nil && !p.None }

// narrow gives the stations of a mask that a pin leaves; nil allows all.
func (p *Pin) narrow(mask []bool, n int) []bool {
	if p == nil {
		return mask
	}
	left := make([]bool, n)
	for k := range left {
		left[k] = p.allows(k) && (mask == nil || mask[k])
	}
	return left
}

// pin leaves of the places for intake, box and standpipe what the pins leave.
func (w *water) pin(p *Pins) {
	n := len(w.z)
	w.intakeOK = p.Intake.narrow(w.intakeOK, n)
	w.standOK = p.Standpipe.narrow(w.standOK, n)
	w.mustStand = p.Standpipe.given()
	if p.Box.given() {
		w.boxOK = p.Box.narrow(w.boxOK, n)
	}
}
