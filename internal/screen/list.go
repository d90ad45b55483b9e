package screen

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/wkt"

	"route/internal/finding"
	"route/internal/geodesy"
)

const maxListBytes = 64 << 20

// ReadList reads a list of creeks in CSV. The first line that is not a comment
// ("#") names the columns, in any order:
//
//	id      what the creek is called; required
//	creek   the file of its track or line, relative to the list
//	wkt     or the line itself: LINESTRING (lon lat, lon lat, …)
//	tank    its place, as "LAT,LON"; or tank_lat and tank_lon; or
//	        tank_waypoint, the name of a waypoint in the creek's file
//	others  any setting of the site file, such as demand or creek_flow.low; also
//	        creek_flow, creek_flow_l_s and demand_l_day
//
// An empty cell leaves the setting as it is for all. name is used in messages
// and to find the files. A list that cannot be read as a table is a
// *finding.Fault; what is wrong with one line is the Fault of its entry.
func ReadList(name string, r io.Reader) ([]Entry, error) {
	content, err := io.ReadAll(io.LimitReader(r, maxListBytes+1))
	switch {
	case err != nil:
		return nil, &finding.Fault{Code: "list_unreadable", File: name, Text: err.Error(), Hint: "check that the file may be read", Err: err}
	case len(content) > maxListBytes:
		return nil, &finding.Fault{Code: "list_too_large", File: name, Text: "is over 64 MB; this cannot be a list of creeks", Hint: "long lines belong into a layer, such as a GeoPackage"}
	}
	content = bytes.TrimPrefix(content, []byte("\ufeff"))
	if !utf8.Valid(content) {
		return nil, &finding.Fault{Code: "list_not_utf8", File: name, Text: "is not UTF-8 text", Hint: "save it as \"CSV UTF-8\""}
	}
	l := &listReader{name: name, csv: csv.NewReader(bytes.NewReader(content))}
	l.csv.Comment = '#'
	l.csv.Comma = separator(content)
	l.csv.FieldsPerRecord = -1
	l.csv.TrimLeadingSpace = true
	if err := l.header(); err != nil {
		return nil, err
	}
	var entries []Entry
	for {
		row, err := l.csv.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, l.broken(err)
		}
		entries = append(entries, l.entry(row))
	}
	if len(entries) == 0 {
		return nil, &finding.Fault{Code: "list_empty", File: name, Text: "names no creek", Hint: "write one line for each creek below the header"}
	}
	distinct(entries)
	return entries, nil
}

// separator is a semicolon where the header has more of them than commas:
// spreadsheets write it in countries with a decimal comma.
func separator(content []byte) rune {
	for line := range bytes.Lines(content) {
		if line = bytes.TrimSpace(line); len(line) == 0 || line[0] == '#' {
			continue
		}
		if bytes.Count(line, []byte(";")) > bytes.Count(line, []byte(",")) {
			return ';'
		}
		break
	}
	return ','
}

type listReader struct {
	name    string
	csv     *csv.Reader
	columns []string
}

func (l *listReader) broken(err error) error {
	fault := &finding.Fault{Code: "list_syntax", File: l.name, Text: err.Error(), Hint: "a value that holds a comma or a quote stands in quotes, and quotes in it are doubled", Err: err}
	var at *csv.ParseError
	if errors.As(err, &at) {
		fault.Text, fault.Line, fault.Column = at.Err.Error(), at.StartLine, at.Column
	}
	return fault
}

// header reads the names of the columns.
func (l *listReader) header() error {
	row, err := l.csv.Read()
	if errors.Is(err, io.EOF) {
		return &finding.Fault{Code: "list_empty", File: l.name, Text: "is empty", Hint: "the first line names the columns: id,creek,tank"}
	}
	if err != nil {
		return l.broken(err)
	}
	line, _ := l.csv.FieldPos(0)
	fault := func(text, hint string) error {
		return &finding.Fault{Code: "list_columns", File: l.name, Line: line, Text: text, Hint: hint}
	}
	for _, cell := range row {
		c := strings.ToLower(strings.TrimSpace(cell))
		_, isSetting := settingOf(c, "")
		switch {
		case slices.Contains(l.columns, c):
			return fault(fmt.Sprintf("the column %q stands twice", c), "leave one of them out")
		case slices.Contains([]string{"id", "creek", "wkt", "tank"}, c):
		case slices.Contains(shared, c):
			return fault(fmt.Sprintf("%s is the same for all creeks", c), "give it in the site file, or as a flag")
		case !isSetting:
			return fault(fmt.Sprintf("the column %q is not known", c), "known are id, creek, wkt, tank, tank_lat, tank_lon, tank_waypoint, creek_flow, demand, and the settings of a site file")
		}
		l.columns = append(l.columns, c)
	}
	if !slices.Contains(l.columns, "id") {
		return fault("there is no column id", "the first line names the columns: id,creek,tank")
	}
	if !slices.Contains(l.columns, "creek") && !slices.Contains(l.columns, "wkt") {
		return fault("there is no column creek, nor wkt", "creek names the file of each creek's line; wkt holds the line itself")
	}
	return nil
}

// entry reads one line.
func (l *listReader) entry(row []string) Entry {
	line, _ := l.csv.FieldPos(0)
	e := Entry{File: l.name, Line: line}
	if len(row) != len(l.columns) {
		e.Fault = e.fault("list_fields", fmt.Sprintf("the line has %d values, the header %d", len(row), len(l.columns)), "an empty value still needs its comma; a value with a comma stands in quotes")
	}
	for i, cell := range row[:min(len(row), len(l.columns))] {
		cell = strings.TrimSpace(cell)
		if cell == "" {
			continue
		}
		switch c := l.columns[i]; c {
		case "id":
			e.ID = cell
		case "creek":
			e.Creek = l.path(cell)
		case "wkt":
			legs, err := linesOf(cell)
			if err != nil && e.Fault == nil {
				e.Fault = e.fault("list_line", "wkt: "+err.Error(), "write LINESTRING (lon lat, lon lat, …) in degrees, the whole of it in quotes")
			}
			e.Legs = legs
		case "tank":
			e.Tank = cell
		default:
			if slices.Contains([]string{"creek_line", "land", "catalog"}, c) {
				cell = l.path(cell)
			}
			s, _ := settingOf(c, cell)
			e.Settings = append(e.Settings, s)
		}
	}
	if e.Fault == nil && e.Creek == "" && len(e.Legs) == 0 {
		e.Fault = e.fault("list_no_creek", "no creek is named", "name the file of the creek's line, or give the line as wkt")
	}
	return e
}

// path finds a file that the list names.
func (l *listReader) path(name string) string {
	if filepath.IsAbs(name) || strings.Contains(name, "://") || strings.HasPrefix(name, "/vsi") {
		return name
	}
	joined := filepath.Join(filepath.Dir(l.name), name)
	if abs, err := filepath.Abs(joined); err == nil {
		return abs
	}
	return joined
}

// linesOf reads a line from well-known text.
func linesOf(text string) ([][]geodesy.LonLat, error) {
	geometry, err := wkt.Unmarshal(text)
	if err != nil {
		return nil, fmt.Errorf("the text cannot be read as a line: %w", err)
	}
	var lines orb.MultiLineString
	switch g := geometry.(type) {
	case orb.LineString:
		lines = orb.MultiLineString{g}
	case orb.MultiLineString:
		lines = g
	default:
		return nil, fmt.Errorf("this is a %s, not a line", strings.ToLower(geometry.GeoJSONType()))
	}
	var legs [][]geodesy.LonLat
	for _, line := range lines {
		if len(line) < 2 {
			continue
		}
		leg := make([]geodesy.LonLat, len(line))
		for i, p := range line {
			if !(p[0] >= -360 && p[0] <= 360 && p[1] >= -90 && p[1] <= 90) {
				return nil, fmt.Errorf("(%.7g %.7g) is no longitude and latitude", p[0], p[1])
			}
			leg[i] = geodesy.LonLat{Lon: p[0], Lat: p[1]}
		}
		legs = append(legs, leg)
	}
	if len(legs) == 0 {
		return nil, errors.New("the line has fewer than two points")
	}
	return legs, nil
}
