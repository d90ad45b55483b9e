package export

import (
	"io"

	"route/internal/plan"
)

// writeStakeoutCSV writes a row for every stake, best layout first. Levels are
// to a centimetre: nobody sets a pipe closer, and the crew reads them aloud.
func writeStakeoutCSV(w io.Writer, p *plan.Plan) error {
	t := newTable(w, p)
	t.header("layout", "label", "role", "station_m", "lon", "lat", "easting_m", "northing_m", "grid", "ground_m", "pipe_invert_m",
		"fall_since_intake_m", "fall_since_last_m", "along_pipe_m",
		"ground_ft", "pipe_invert_ft", "fall_since_intake_ft", "fall_since_last_ft", "along_pipe_ft", "what_to_do")
	for _, l := range p.Layouts {
		for _, s := range l.Stakes {
			t.text(l.ID)
			t.text(s.Label)
			t.text(s.Role)
			t.number(s.StationM, 2)
			t.degrees(s.Lon)
			t.degrees(s.Lat)
			t.number(s.EastingM, 2)
			t.number(s.NorthM, 2)
			t.text(p.Frame.UTM)
			t.number(s.GroundM, 2)
			t.number(s.InvertM, 2)
			t.number(s.FallIntakeM, 2)
			t.number(s.FallLastM, 2)
			t.number(s.AlongM, 2)
			t.feet(s.GroundM, 2)
			t.feet(s.InvertM, 2)
			t.feet(s.FallIntakeM, 2)
			t.feet(s.FallLastM, 2)
			t.feet(s.AlongM, 1)
			t.text(s.Do)
			t.end()
		}
	}
	return t.close()
}
