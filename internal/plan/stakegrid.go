package plan

import (
	"fmt"
	"math"

	"route/internal/dem"
	"route/internal/finding"
	"route/internal/geodesy"
	"route/internal/quantity"
)

// nameStakesGrid says in which grid the stakes will be: the one that the site
// asks for, or else the UTM zone. One that does not exist stops the run here,
// before the work is done.
func (j *job) nameStakesGrid() error {
	hemisphere := "S"
	if j.north {
		hemisphere = "N"
	}
	f := &j.plan.Frame
	f.Grid, f.GridName = f.UTM, fmt.Sprintf("UTM zone %d%s (%s)", j.zone, hemisphere, f.UTM)
	f.GridUnit, f.GridUnitM = "metre", 1
	if j.site.StakesCRS == "" {
		return nil
	}
	grid, err := dem.NewGrid(j.site.StakesCRS)
	if err != nil {
		return inFile(err, j.site.File)
	}
	defer grid.Close()
	f.Grid, f.GridName, f.GridUnit, f.GridUnitM = grid.Code, grid.Name, grid.Unit, Number(grid.UnitM)
	if !grid.NearWGS84() {
		j.tell(finding.New(finding.Note, "stakes_datum", "the stakes are wanted in "+grid.Name+", on the datum "+grid.Datum+": without its file of shifts the conversion is off by some metres", "hold one known point against the receiver before setting out; levels are not touched"))
	}
	return nil
}

// inStakesGrid gives every stake its place in the grid that the site asks for.
func (j *job) inStakesGrid() error {
	if j.site.StakesCRS == "" {
		return nil
	}
	grid, err := dem.NewGrid(j.site.StakesCRS)
	if err != nil {
		return inFile(err, j.site.File)
	}
	defer grid.Close()
	for k := range j.plan.Layouts {
		stakes := j.plan.Layouts[k].Stakes
		places := make([]geodesy.LonLat, len(stakes))
		for i, s := range stakes {
			places[i] = geodesy.LonLat{Lon: float64(s.Lon), Lat: float64(s.Lat)}
		}
		east, north := grid.At(places)
		for i := range stakes {
			if math.IsNaN(east[i]) || math.IsNaN(north[i]) {
				return &finding.Fault{Code: "grid_elsewhere", File: j.site.File, Text: j.plan.Frame.GridName + " does not reach this site", Hint: "give the EPSG code of the grid that is used here: stakes_crs"}
			}
			if most := 20e6 / grid.UnitM; math.Abs(east[i]) > most || math.Abs(north[i]) > most {
				return &finding.Fault{Code: "grid_elsewhere", File: j.site.File, Text: fmt.Sprintf("%s is not made for this site: a stake would lie at %.0f, %.0f", j.plan.Frame.GridName, east[i], north[i]), Hint: "give the EPSG code of the grid that is used here: stakes_crs"}
			}
			stakes[i].GridE, stakes[i].GridN = Number(east[i]), Number(north[i])
		}
	}
	return nil
}

// StakeCheck is a drop that tells, by hand level or hose, whether a stake
// stands where the plan needs it, whatever the receiver says.
type StakeCheck struct {
	Of   string `json:"of"`   // what is checked: "waste valve outlet"
	From string `json:"from"` // what it is measured from: "water mark of the standpipe"
	// BelowM is how far it should lie below that; negative is above.
	BelowM Number `json:"below_m"`
	// LowM and HighM bound what may be accepted of BelowM; null where nothing
	// bounds it. LowWhy and HighWhy say what would fail beyond.
	LowM    Number `json:"low_m"`
	HighM   Number `json:"high_m"`
	LowWhy  string `json:"low_why"`
	HighWhy string `json:"high_why"`
	Text    string `json:"text"` // for people, in the site's units, bounds rounded inwards
}

// say puts a check into words. Bounds are rounded inwards: what is accepted by
// the printed figures is accepted by the computed ones.
func (c *StakeCheck) say(system quantity.System) {
	unit, perUnit := "m", 1.0
	decimals := 2
	if system == quantity.US {
		unit, perUnit, decimals = "ft", 0.3048, 1
	}
	way, below, low, high, lowWhy, highWhy := "below", float64(c.BelowM), float64(c.LowM), float64(c.HighM), c.LowWhy, c.HighWhy
	if below < 0 {
		way, below, low, high, lowWhy, highWhy = "above", -below, -high, -low, highWhy, lowWhy
	}
	below, low, high = below/perUnit, low/perUnit, high/perUnit
	inwards := func() (lo, hi float64) {
		scale := math.Pow(10, float64(decimals))
		return math.Ceil(low*scale-1e-6) / scale, math.Floor(high*scale+1e-6) / scale
	}
	lo, hi := inwards()
	for lo > hi { // a band narrower than the last digit
		decimals++
		lo, hi = inwards()
	}
	// A plan that uses a limit up is not to be refused by its own rounding.
	at := below
	if lo > at {
		at = lo
	}
	if hi < at {
		at = hi
	}
	c.Text = fmt.Sprintf("%s %.*f %s %s %s; accept ", c.Of, decimals, at, unit, way, c.From)
	switch {
	case math.IsNaN(lo) && highWhy == notWorkedOut:
		c.Text += fmt.Sprintf("up to %.*f %s", decimals, hi, unit)
	case math.IsNaN(lo):
		c.Text += fmt.Sprintf("up to %.*f %s (more: %s)", decimals, hi, unit, highWhy)
	case math.IsNaN(hi):
		c.Text += fmt.Sprintf("from %.*f %s (less: %s)", decimals, lo, unit, lowWhy)
	case highWhy == notWorkedOut:
		c.Text += fmt.Sprintf("%.*f to %.*f %s (less: %s)", decimals, lo, decimals, hi, unit, lowWhy)
	default:
		c.Text += fmt.Sprintf("%.*f to %.*f %s (less: %s; more: %s)", decimals, lo, decimals, hi, unit, lowWhy, highWhy)
	}
}
