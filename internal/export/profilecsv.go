package export

import (
	"io"
	"strings"

	"route/internal/plan"
)

// writeProfileCSV writes a row for every station of the creek: heights, what is
// known of their error, and, where the best layout's supply or drive pipe runs
// along, its invert and grade line.
func writeProfileCSV(w io.Writer, p *plan.Plan) error {
	t := newTable(w, p)
	t.header("station_m", "lon", "lat", "raw_m", "fitted_m", "sd_m", "low_m", "high_m", "layout", "pipe", "pipe_invert_m", "grade_line_m",
		"station_ft", "raw_ft", "fitted_ft", "sd_ft", "pipe_invert_ft", "grade_line_ft", "flags")
	var lines []creekLine
	id := ""
	if len(p.Layouts) > 0 {
		id = p.Layouts[0].ID
		lines = alongCreek(&p.Layouts[0])
	}
	for _, s := range p.Creek.Stations {
		pipe, invert, grade := pipeAt(lines, s.StationM)
		t.number(s.StationM, 2)
		t.degrees(s.Lon)
		t.degrees(s.Lat)
		for _, z := range []plan.Number{s.RawM, s.ZM, s.ZSigmaM, s.LowM, s.HighM} {
			t.number(z, 3)
		}
		if pipe == "" {
			t.text("")
		} else {
			t.text(id)
		}
		t.text(pipe)
		t.number(invert, 3)
		t.number(grade, 3)
		for _, z := range []plan.Number{s.StationM, s.RawM, s.ZM, s.ZSigmaM, invert, grade} {
			t.feet(z, 2)
		}
		t.text(strings.Join(s.Flags, " "))
		t.end()
	}
	return t.close()
}

// pipeAt gives the pipe beside a station, its invert and its grade line.
func pipeAt(lines []creekLine, station plan.Number) (role string, invert, grade plan.Number) {
	for _, line := range lines {
		if i, g, ok := line.at(station); ok {
			return line.run.role, i, g
		}
	}
	return "", plan.Unknown, plan.Unknown
}
