package export

import (
	"fmt"
	"io"
	"math"
	"strconv"

	"route/internal/plan"
	"route/internal/quantity"
)

// writeStakeoutCSV writes a row for every stake, best layout first. Places and
// metres are to a millimetre, so that programs find a stake on its line again;
// feet
// to a hundredth, as staffs are marked. Where the site asks for a grid of its
// own, three columns hold it.
func writeStakeoutCSV(w io.Writer, p *plan.Plan) error {
	t := newTable(w, p)
	names := []string{"layout", "label", "role", "station_m", "lon", "lat", "easting_m", "northing_m", "grid"}
	own := p.Frame.Grid != "" && p.Frame.Grid != p.Frame.UTM
	if own {
		names = append(names, "own_easting", "own_northing", "own_grid")
	}
	t.header(append(names, "ground_m", "pipe_invert_m",
		"fall_since_intake_m", "fall_since_last_m", "along_pipe_m", "cut_m",
		"ground_ft", "pipe_invert_ft", "fall_since_intake_ft", "fall_since_last_ft", "along_pipe_ft", "cut_ft", "staff", "what_to_do", "check")...)
	for _, l := range p.Layouts {
		for _, s := range l.Stakes {
			t.text(l.ID)
			t.text(s.Label)
			t.text(s.Role)
			t.number(s.StationM, 3)
			t.number(plan.Number(s.Lon), 8)
			t.number(plan.Number(s.Lat), 8)
			t.number(s.EastingM, 3)
			t.number(s.NorthM, 3)
			t.text(p.Frame.UTM)
			if own {
				t.number(s.GridE, 3)
				t.number(s.GridN, 3)
				t.text(p.Frame.Grid + " (" + p.Frame.GridUnit + ")")
			}
			for _, v := range []plan.Number{s.GroundM, s.InvertM, s.FallIntakeM, s.FallLastM, s.AlongM, s.CutM} {
				t.number(v, 3)
			}
			for _, v := range []plan.Number{s.GroundM, s.InvertM, s.FallIntakeM, s.FallLastM, s.AlongM, s.CutM} {
				t.feet(v, 2)
			}
			t.text(Staff(p.System(), s.FallLastM))
			t.text(s.Do)
			t.text(checkText(&s))
			t.end()
		}
	}
	return t.close()
}

func checkText(s *plan.Stake) string {
	if s.Check == nil {
		return ""
	}
	return s.Check.Text
}

// setUpM is the fall that a hand level at the eye and a staff of 4 m or 13 ft
// span from one spot.
const setUpM = 3.0

// Staff says how the reading of a staff held on the pipe changes from the last
// stake to this one, as staffs are marked: "1.31 ft more". A drop that takes
// several set-ups of a hand level says so. The first stake has no last one.
func Staff(system quantity.System, fallM plan.Number) string {
	if !fallM.Known() {
		return ""
	}
	unit, perUnit := "m", 1.0
	if system == quantity.US {
		unit, perUnit = "ft", 0.3048
	}
	size, way := math.Abs(float64(fallM)), " more"
	if fallM < 0 {
		way = " less"
	}
	text := strconv.FormatFloat(size/perUnit, 'f', 2, 64)
	if text == "0.00" {
		return "the same"
	}
	text += " " + unit + way
	if n := int(math.Ceil(size/setUpM - 1e-9)); n > 1 {
		text += fmt.Sprintf(" (%d set-ups)", n)
	}
	return text
}
