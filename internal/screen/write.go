package screen

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"

	"route/internal/export"
	"route/internal/ogr"
	"route/internal/plan"
)

// Names of the files in the folder.
const (
	RankingCSV = "ranking.csv"
	MapGPKG    = "screen.gpkg"
)

// write writes the table and the map. Both are complete before either takes
// its place.
func (r *runner) write(ctx context.Context, ranked []*Result) error {
	var ready []func() error
	defer func() {
		for _, file := range []string{RankingCSV, MapGPKG} {
			os.Remove(filepath.Join(r.options.Folder, unfinished+file))
		}
	}()
	for _, f := range []struct {
		name  string
		write func(io.Writer) error
	}{
		{RankingCSV, func(w io.Writer) error { return writeRanking(w, ranked) }},
		{MapGPKG, func(w io.Writer) error { return r.writeMap(w, ranked) }},
	} {
		place := filepath.Join(r.options.Folder, f.name)
		hidden := filepath.Join(r.options.Folder, unfinished+f.name)
		if err := writeFile(hidden, f.write); err != nil {
			return r.unwritable(err)
		}
		ready = append(ready, func() error { return os.Rename(hidden, place) })
	}
	if err := ctx.Err(); err != nil {
		return &Interrupted{Done: r.done, Total: len(r.entries), Err: err}
	}
	for _, put := range ready {
		if err := put(); err != nil {
			return r.unwritable(err)
		}
	}
	return nil
}

// unfinished stands before the name of a file that is being written.
const unfinished = ".unfinished-"

func writeFile(path string, write func(io.Writer) error) error {
	file, err := os.Create(path)
	if err != nil {
		return err
	}
	return errors.Join(write(file), file.Close())
}

// writeJSON writes a document so that a reader finds all of it or the one
// before.
func writeJSON(path string, document any) error {
	content, err := json.Marshal(document)
	if err != nil {
		return err
	}
	hidden := filepath.Join(filepath.Dir(path), unfinished+filepath.Base(path))
	if err := os.WriteFile(hidden, append(content, '\n'), 0o666); err != nil {
		os.Remove(hidden)
		return err
	}
	return os.Rename(hidden, path)
}

// column is a column of the table, and a field of the map's layer of creeks.
type column struct {
	name string
	kind ogr.Type
	cell func(r *Result) any // string, float64 (NaN: none), int64 or nil
}

func text(name string, cell func(r *Result) string) column {
	return column{name, ogr.Text, func(r *Result) any { return cell(r) }}
}

func number(name string, cell func(r *Result) plan.Number) column {
	return column{name, ogr.Real, func(r *Result) any { return rounded(float64(cell(r)), 4) }}
}

func degrees(name string, cell func(r *Result) plan.Degrees) column {
	return column{name, ogr.Real, func(r *Result) any { return rounded(float64(cell(r)), 7) }}
}

// whole is a number of which there is none where it is 0.
func whole(name string, cell func(r *Result) int) column {
	return column{name, ogr.Integer, func(r *Result) any {
		if n := cell(r); n != 0 {
			return int64(n)
		}
		return nil
	}}
}

func rounded(v float64, decimals int) float64 {
	scale := math.Pow10(decimals)
	return math.Round(v*scale) / scale
}

// columns of the ranked table, SI with the unit in the name.
var columns = []column{
	whole("rank", func(r *Result) int { return r.Rank }),
	text("id", func(r *Result) string { return r.ID }),
	text("outcome", func(r *Result) string { return string(r.Outcome) }),
	number("delivered_l_day", func(r *Result) plan.Number { return r.Best.DeliveredLDay }),
	number("delivered_l_day_low", func(r *Result) plan.Number { return r.Best.DeliveredLDayLow }),
	number("delivered_l_day_high", func(r *Result) plan.Number { return r.Best.DeliveredLDayHigh }),
	number("chance_works", func(r *Result) plan.Number { return r.Best.ChanceWorks }),
	text("currency", func(r *Result) string { return r.Best.Cost.Currency }),
	number("cost_low", func(r *Result) plan.Number { low, _ := r.costs(); return low }),
	number("cost_high", func(r *Result) plan.Number { _, high := r.costs(); return high }),
	number("drive_head_m", func(r *Result) plan.Number { return r.Best.DriveHeadM }),
	number("drive_head_sd_m", func(r *Result) plan.Number { return r.Best.DriveHeadSigmaM }),
	number("lift_m", func(r *Result) plan.Number { return r.Best.LiftM }),
	number("drive_flow_l_min", func(r *Result) plan.Number { return r.Best.DriveFlowLMin }),
	whole("pumps", func(r *Result) int { return r.Best.Pumps }),
	text("pump_model", func(r *Result) string { return r.Best.PumpModel }),
	number("supply_m", func(r *Result) plan.Number { return r.pipe("supply").LengthM }),
	text("supply_pipe", func(r *Result) string { return r.pipe("supply").Size }),
	number("drive_m", func(r *Result) plan.Number { return r.pipe("drive").LengthM }),
	text("drive_pipe", func(r *Result) string { return r.pipe("drive").Size }),
	number("delivery_m", func(r *Result) plan.Number { return r.pipe("delivery").LengthM }),
	text("delivery_pipe", func(r *Result) string { return r.pipe("delivery").Size }),
	number("intake_station_m", func(r *Result) plan.Number { return r.place("intake").StationM }),
	degrees("intake_lat", func(r *Result) plan.Degrees { return r.place("intake").At.Lat }),
	degrees("intake_lon", func(r *Result) plan.Degrees { return r.place("intake").At.Lon }),
	degrees("pump_lat", func(r *Result) plan.Degrees { return r.place("pump").At.Lat }),
	degrees("pump_lon", func(r *Result) plan.Degrees { return r.place("pump").At.Lon }),
	text("screening_only", func(r *Result) string {
		if r.ScreeningOnly {
			return "yes"
		}
		return ""
	}),
	{"warnings", ogr.Integer, func(r *Result) any { return int64(r.Warnings) }},
	text("code", func(r *Result) string { return r.Code }),
	text("reason", func(r *Result) string { return r.Text }),
	text("what_to_do", func(r *Result) string { return r.Hint }),
	whole("list_line", func(r *Result) int { return r.Line }),
}

// costs are the ends of what the layout costs; they are one where the cost is
// known in full.
func (r *Result) costs() (low, high plan.Number) {
	if r.Outcome != HasLayout {
		return plan.Unknown, plan.Unknown
	}
	if c := r.Best.Cost.Range; c != nil {
		return c.Low, c.High
	}
	total := plan.Number(totalCost(r.Best.Cost))
	return total, total
}

// writeRanking writes the table: CSV as RFC 4180 has it, in UTF-8. Unknown is
// an empty cell, and so is the rank of a creek without a layout.
func writeRanking(w io.Writer, ranked []*Result) error {
	table := csv.NewWriter(w)
	table.UseCRLF = true
	row := make([]string, len(columns))
	for i, c := range columns {
		row[i] = c.name
	}
	if err := table.Write(row); err != nil {
		return err
	}
	for _, r := range ranked {
		for i, c := range columns {
			row[i] = cellText(c.cell(r))
		}
		if err := table.Write(row); err != nil {
			return err
		}
	}
	table.Flush()
	return table.Error()
}

func cellText(value any) string {
	switch v := value.(type) {
	case nil:
		return ""
	case float64:
		if math.IsNaN(v) {
			return ""
		}
		return strconv.FormatFloat(v, 'f', -1, 64)
	case int64:
		return strconv.FormatInt(v, 10)
	default:
		return export.CellText(v.(string))
	}
}

// writeMap writes one GeoPackage: every creek with the columns of the table,
// the pipes and the places of the best layouts. What is drawn is read from the
// creeks' own files, one after the other.
func (r *runner) writeMap(w io.Writer, ranked []*Result) error {
	creeks := ogr.Layer{Name: "creeks", Description: "the creeks that were screened, as they were given", Kind: ogr.Line, Flat: true, Style: creekStyle}
	for _, c := range columns {
		creeks.Fields = append(creeks.Fields, ogr.Field{Name: c.name, Type: c.kind})
	}
	pipes := ogr.Layer{Name: "pipes", Description: "the pipes of each creek's best layout; heights are the pipe's invert", Kind: ogr.Line, Style: pipeStyle,
		Fields: []ogr.Field{{Name: "rank", Type: ogr.Integer}, {Name: "id", Type: ogr.Text}, {Name: "role", Type: ogr.Text}, {Name: "size", Type: ogr.Text}, {Name: "length_m", Type: ogr.Real}}}
	places := ogr.Layer{Name: "places", Description: "the places of each creek's best layout; heights are the ground", Kind: ogr.Point, Style: placeStyle,
		Fields: []ogr.Field{{Name: "rank", Type: ogr.Integer}, {Name: "id", Type: ogr.Text}, {Name: "role", Type: ogr.Text}, {Name: "station_m", Type: ogr.Real}}}
	for _, lean := range ranked {
		full, err := readResult(r.path(&Entry{ID: lean.ID}))
		if err != nil {
			return err
		}
		var line []ogr.Position
		for _, leg := range full.Creek {
			line = append(line, positions(leg)...)
		}
		var values []any
		for _, c := range columns {
			values = append(values, c.cell(lean))
		}
		creeks.Features = append(creeks.Features, ogr.Feature{Parts: parts(line), Values: values})
		rank := int64(lean.Rank)
		for _, p := range full.Pipes {
			pipes.Features = append(pipes.Features, ogr.Feature{Parts: parts(positions(p.Line)), Values: []any{rank, lean.ID, p.Role, p.Size, float64(p.LengthM)}})
		}
		for _, p := range full.Places {
			places.Features = append(places.Features, ogr.Feature{Parts: parts(positions([]Position{p.At})), Values: []any{rank, lean.ID, p.Role, float64(p.StationM)}})
		}
	}
	return ogr.GeoPackage(w, "", []ogr.Layer{creeks, pipes, places})
}

// parts is a geometry of one part, or of none when there is nothing to draw.
func parts(line []ogr.Position) [][]ogr.Position {
	if len(line) == 0 {
		return nil
	}
	return [][]ogr.Position{line}
}

func positions(line []Position) []ogr.Position {
	out := make([]ogr.Position, len(line))
	for i, p := range line {
		out[i] = ogr.Position{Lon: float64(p.Lon), Lat: float64(p.Lat), Z: float64(p.ZM)}
	}
	return out
}

// How the layers look when they are first opened: the colours of the map in
// the hand-off folder.
var (
	creekStyle = ogr.Style{By: "outcome", Label: "id", Classes: []ogr.Class{
		{Value: string(HasLayout), Title: "creek with a layout", Colour: "#1f6fb2", WidthMM: 0.8},
		{Value: string(NoLayout), Title: "creek without one", Colour: "#9aa5ad", WidthMM: 0.5},
		{Value: string(Failed), Title: "creek that could not be planned", Colour: "#c0392b", WidthMM: 0.5, Dashed: true},
	}}
	pipeStyle = ogr.Style{By: "role", Classes: []ogr.Class{
		{Value: "supply", Title: "supply pipe", Colour: "#2a9d8f", WidthMM: 0.6},
		{Value: "drive", Title: "drive pipe", Colour: "#b5471b", WidthMM: 0.8},
		{Value: "delivery", Title: "delivery pipe", Colour: "#6a4c93", WidthMM: 0.6},
	}}
	placeStyle = ogr.Style{By: "role", Classes: []ogr.Class{
		{Value: "intake", Title: "intake", Colour: "#2a9d8f", WidthMM: 2},
		{Value: "settling_box", Title: "settling box", Colour: "#2a9d8f", WidthMM: 2, Mark: "square"},
		{Value: "standpipe", Title: "standpipe", Colour: "#b5471b", WidthMM: 2, Mark: "triangle"},
		{Value: "pump", Title: "pump", Colour: "#b5471b", WidthMM: 2.4},
		{Value: "tank", Title: "tank", Colour: "#6a4c93", WidthMM: 2.4, Mark: "square"},
	}}
)
