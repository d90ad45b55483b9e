package hydraulics

// Caution is something about a design that a person should weigh. Value and
// Limit are in SI units of what the code names.
type Caution struct {
	Code         string
	Value, Limit float64
}

// The codes of cautions, with what Value and Limit hold.
const (
	CautionWeakBeat       = "weak_beat"           // μ and 4: erratic below
	CautionLiftRatio      = "lift_ratio_high"     // R and 8, or 20 where efficiency collapses
	CautionLengthDiameter = "length_to_diameter"  // L/D and the bound it breaks, 150 or 1000
	CautionLengthHead     = "length_to_head"      // L/H and the bound it breaks, 3 or 7
	CautionPlasticDrive   = "plastic_drive_pipe"  // wave speed and that of a steel pipe of the same bore, m/s
	CautionLowHead        = "drive_head_low"      // m and 0.5
	CautionHighHead       = "drive_head_high"     // m and 15
	CautionDriveRating    = "drive_pipe_rating"   // m of head with the delivery valve shut and a margin, rating m
	CautionDeliveryRating = "delivery_rating"     // m of head with surge, rating m
	CautionNoRestart      = "will_not_restart"    // m/s that the drawn-down pipe reaches, m/s that it needs
	CautionAirEntry       = "air_enters"          // running level and the least one, m
	CautionSelfStart      = "starts_by_hand_long" // m of back pressure and 7
	CautionBeatRate       = "beat_rate"           // beats a minute and the bound it breaks, 25 or 150
	CautionTransition     = "uncertain_friction"  // Re; the band is 2000 to 4000
	CautionFastSupply     = "supply_fast"         // m/s and 3
	CautionFastDelivery   = "delivery_fast"       // m/s and 1.5
)

// Where the cautions begin. Sources stand in docs/hydraulics.md; most are
// rules of the trade.
const (
	soundMu           = 4.0  // simulation and closed form part below (own comparison)
	usualLift         = 8.0  // common practice for small rams, no source
	extremeLift       = 20.0 // Akvopedia; efficiency collapses beyond
	leastLD, mostLD   = 150.0, 1000.0
	leastLH, mostLH   = 3.0, 7.0
	leastDriveHead    = 0.5  // RWS.4.D.5
	mostDriveHead     = 15.0 // small rams, from memory
	leastBackPressure = 7.0  // m: 10 psi to start, Clemson extension
	slowBeat          = 25.0
	fastBeat          = 150.0
	ratingMargin      = 1.25
	fastSupply        = 3.0
	fastDelivery      = 1.5 // 5 ft/s where surge is not analysed, NRCS 430 (from memory)
)

// Cautions looks at a running installation and tells what a person should
// weigh. The ratings of the pipes count as they stand: put the derated ones
// in.
func (in *Installation) Cautions(o Operation) []Caution {
	var list []Caution
	add := func(code string, value, limit float64) { list = append(list, Caution{code, value, limit}) }
	outside := func(code string, value, least, most float64) {
		switch {
		case value < least:
			add(code, value, least)
		case value > most:
			add(code, value, most)
		}
	}
	if o.Mu < soundMu {
		add(CautionWeakBeat, o.Mu, soundMu)
	}
	switch r := o.LiftRatio; {
	case r > extremeLift:
		add(CautionLiftRatio, r, extremeLift)
	case r > usualLift:
		add(CautionLiftRatio, r, usualLift)
	}
	drive := in.Drive.Pipe
	outside(CautionLengthDiameter, in.Drive.LengthM/drive.Inside, leastLD, mostLD)
	outside(CautionLengthHead, in.Drive.LengthM/o.LevelM, leastLH, mostLH)
	if o.Transition {
		add(CautionTransition, frictionShare*o.ClosingVelocity*drive.Inside/in.Fluid.KinematicViscosity, turbulentRe)
	}
	if !drive.Rigid {
		add(CautionPlasticDrive, WaveSpeed(in.Fluid, drive), WaveSpeed(in.Fluid, Pipe{Inside: drive.Inside, Wall: drive.Inside / 13, YoungModulus: steelModulus}))
	}
	if o.LevelM < leastDriveHead {
		add(CautionLowHead, o.LevelM, leastDriveHead)
	}
	if o.LevelM > mostDriveHead {
		add(CautionHighHead, o.LevelM, mostDriveHead)
	}
	if need := ratingMargin * o.ShutoffHeadM; drive.Rating > 0 && need > drive.Rating {
		add(CautionDriveRating, need, drive.Rating)
	}
	if !in.Delivery.none() {
		in.deliveryCautions(o, add)
	}
	if !in.Supply.none() {
		in.supplyCautions(o, add)
	}
	if in.FootM > 0 {
		if least := in.FootM + 2*drive.Inside; o.LevelM < least {
			add(CautionAirEntry, o.LevelM, least)
		}
	}
	if in.LiftM < leastBackPressure {
		add(CautionSelfStart, in.LiftM, leastBackPressure)
	}
	outside(CautionBeatRate, o.BeatsPerMinute(), slowBeat, fastBeat)
	return list
}

func (in *Installation) deliveryCautions(o Operation, add func(string, float64, float64)) {
	p := in.Delivery.Pipe
	v := o.DeliveredTotal / p.Area()
	if most := o.DeliveryHeadM + Surge(in.Fluid, p, v); p.Rating > 0 && most > p.Rating {
		add(CautionDeliveryRating, most, p.Rating)
	}
	if v > fastDelivery {
		add(CautionFastDelivery, v, fastDelivery)
	}
	if re := Reynolds(in.Fluid, p, o.DeliveredTotal); RegimeOf(re) == Transition {
		add(CautionTransition, re, turbulentRe)
	}
}

func (in *Installation) supplyCautions(o Operation, add func(string, float64, float64)) {
	v := o.DriveTotal / in.Supply.Pipe.Area()
	if v > fastSupply {
		add(CautionFastSupply, v, fastSupply)
	}
	if re := Reynolds(in.Fluid, in.Supply.Pipe, o.DriveTotal); RegimeOf(re) == Transition {
		add(CautionTransition, re, turbulentRe)
	}
	if open, err := in.StuckOpen(o.ClosingVelocity); err == nil && !open.Restarts(o.ClosingVelocity) {
		add(CautionNoRestart, open.Velocity, o.ClosingVelocity/0.95)
	}
}

// InstallersLongestDriveM is the longest drive pipe that installers of small
// pumps use, 100 ft; common practice, no source.
const InstallersLongestDriveM = 100 * 0.3048

// DriveLengths are the shortest and the longest drive pipe in metres that
// handbooks allow for a bore: 150 to 1000 diameters (Calvert 1958; extension
// bulletins; from memory). They disagree with a plain greatest length of 100 ft
// for wide pipes and with 3 to 7 times the drive head for narrow ones.
func DriveLengths(boreM float64) (shortest, longest float64) { return leastLD * boreM, mostLD * boreM }
