package survey

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"route/internal/finding"
	"route/internal/geodesy"
	"route/internal/quantity"
)

// LevelBook is a levelling book as it was written on site.
type LevelBook struct {
	File string
	Rows []LevelRow
}

// LevelRow is one line of a levelling book. What was not written is NaN. A
// change point has a foresight and then, from the next set-up, a backsight.
type LevelRow struct {
	Line                           int // in the file
	Point                          string
	BacksightM, InterM, ForesightM float64 // staff readings
	RiseM, FallM, HeightM          float64 // as reduced in the book; only checked
	KnownM                         float64 // height of a benchmark, given
	StationM                       float64 // along the creek
	At                             geodesy.LonLat
	HasAt                          bool
}

// levelColumns are the columns of a levelling book and the other names that
// they go by.
var levelColumns = map[string][]string{
	"point":     {"point", "name", "label", "peg", "stake"},
	"backsight": {"backsight", "bs", "back"},
	"inter":     {"intermediate", "intermediatesight", "is", "inter"},
	"foresight": {"foresight", "fs", "fore"},
	"rise":      {"rise"},
	"fall":      {"fall"},
	"height":    {"height", "reducedlevel", "rl", "elevation", "level"},
	"known":     {"known", "benchmark", "bm"},
	"station":   {"station", "distance", "chainage"},
	"lat":       {"lat", "latitude"},
	"lon":       {"lon", "lng", "longitude"},
	"remarks":   {"remarks", "remark", "notes", "note", "heightofcollimation", "hpc", "hi", "collimation"},
}

const levelHint = "the first line names the columns: point, backsight, intermediate, foresight, station (or lat, lon); a unit stands in brackets, as in backsight (m), or behind each value"

// levelReader reads one levelling book, or another table of the same make.
type levelReader struct {
	name   string
	what   string              // the table is, for people
	titles map[string][]string // of its columns
	needs  []string            // columns that must be there
	hint   string
	csv    *csv.Reader
	column map[string]int
	unit   map[string]string
	row    []string
}

// ReadLevels reads a levelling book in CSV. The first line that is not a
// comment ("#") names the columns, capitals and blanks do not matter:
//
//	point         what the staff stood on
//	backsight, intermediate, foresight   staff readings (also BS, IS, FS)
//	known         height of a benchmark, where there is one
//	rise, fall, height   as reduced in the book (height also RL); checked only
//	station       distance along the creek (also distance, chainage), or
//	lat, lon      the place in degrees
//	remarks       not read
//
// Lengths carry a unit, in the header ("backsight (ft)") or behind each value.
// Whatever is wrong comes back as a *finding.Fault with its line and column.
func ReadLevels(name string, r io.Reader) (*LevelBook, error) {
	l, err := newLevelReader(name, r, levelReader{what: "a levelling book", titles: levelColumns, needs: []string{"backsight", "foresight"}, hint: levelHint})
	if err != nil {
		return nil, err
	}
	book := &LevelBook{File: name}
	err = l.each(func() error {
		read, err := l.levelRow()
		book.Rows = append(book.Rows, read)
		return err
	})
	if err != nil {
		return nil, err
	}
	return book, book.check()
}

// newLevelReader reads the header of a table whose kind is given.
func newLevelReader(name string, r io.Reader, kind levelReader) (*levelReader, error) {
	buffered := bufio.NewReader(r)
	if mark, _ := buffered.Peek(3); bytes.Equal(mark, []byte("\ufeff")) {
		_, _ = buffered.Discard(3) // a byte order mark, as spreadsheets write it
	}
	l := kind
	l.name, l.csv, l.column, l.unit = name, csv.NewReader(buffered), map[string]int{}, map[string]string{}
	l.csv.Comment = '#'
	l.csv.FieldsPerRecord = -1
	l.csv.TrimLeadingSpace = true
	return &l, l.header()
}

// each goes through the rows that hold something.
func (l *levelReader) each(do func() error) error {
	for {
		row, err := l.csv.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return l.broken(err)
		}
		l.row = row
		if strings.TrimSpace(strings.Join(row, "")) == "" {
			continue
		}
		if err := do(); err != nil {
			return err
		}
	}
}

// broken gives what the CSV reader found its place in the file.
func (l *levelReader) broken(err error) error {
	f := &finding.Fault{Code: "levels_csv", File: l.name, Text: err.Error(), Hint: l.hint, Err: err}
	var parse *csv.ParseError
	if errors.As(err, &parse) {
		f.Line, f.Column, f.Text = parse.Line, parse.Column, "is not CSV: "+parse.Err.Error()
	}
	return f
}

// header finds the columns and their units.
func (l *levelReader) header() error {
	row, err := l.csv.Read()
	if errors.Is(err, io.EOF) {
		return &finding.Fault{Code: "levels_empty", File: l.name, Text: l.what + " was expected, and the file is empty", Hint: l.hint}
	}
	if err != nil {
		return l.broken(err)
	}
	l.row = row
	for i, title := range row {
		word, unit := l.titleAndUnit(title)
		if word == "" {
			continue
		}
		key := l.columnNamed(word)
		if key == "" {
			return l.fault(i, "levels_column", fmt.Sprintf("%q is not a column of %s", strings.TrimSpace(title), l.what), l.hint)
		}
		if _, twice := l.column[key]; twice && key != "remarks" {
			return l.fault(i, "levels_column", fmt.Sprintf("there are two columns for %s", key), "keep one of them")
		}
		if unit != "" {
			if _, err := quantity.Parse(quantity.Length, "1 "+unit); err != nil {
				return l.fault(i, "levels_unit", fmt.Sprintf("%q is not a unit of length", unit), "write m, cm, mm, ft or in")
			}
		}
		l.column[key], l.unit[key] = i, unit
	}
	for _, key := range l.needs {
		if _, ok := l.column[key]; !ok {
			return l.fault(0, "levels_column", "there is no column "+key, l.hint)
		}
	}
	return nil
}

// titleAndUnit takes "Back sight (m)" apart, "backsight_ft" as well.
func (l *levelReader) titleAndUnit(title string) (word, unit string) {
	title = strings.ToLower(strings.TrimSpace(title))
	if i := strings.IndexAny(title, "(["); i >= 0 {
		unit = strings.Trim(title[i:], "()[] .")
		title = title[:i]
	} else if before, after, ok := strings.Cut(title, "_"); ok && l.columnNamed(strings.ReplaceAll(title, "_", "")) == "" {
		title, unit = before, after
	}
	return strings.NewReplacer(" ", "", "_", "", "-", "", ".", "").Replace(title), unit
}

func (l *levelReader) columnNamed(word string) string {
	for key, names := range l.titles {
		for _, n := range names {
			if n == word {
				return key
			}
		}
	}
	return ""
}

// fault points at a field of the current row.
func (l *levelReader) fault(field int, code, text, hint string) error {
	f := &finding.Fault{Code: code, File: l.name, Text: text, Hint: hint}
	if field < len(l.row) {
		f.Line, f.Column = l.csv.FieldPos(field)
	}
	return f
}

// text is a field of the current row; "" when there is none.
func (l *levelReader) text(key string) (string, int) {
	i, ok := l.column[key]
	if !ok || i >= len(l.row) {
		return "", 0
	}
	return strings.TrimSpace(l.row[i]), i
}

// length reads a field as a length; NaN when it is empty.
func (l *levelReader) length(key string) (float64, error) {
	text, i := l.text(key)
	if text == "" {
		return math.NaN(), nil
	}
	given := text
	if _, err := strconv.ParseFloat(text, 64); err == nil && l.unit[key] != "" {
		given += " " + l.unit[key]
	}
	v, err := quantity.Parse(quantity.Length, given)
	if err != nil {
		return 0, l.fault(i, "levels_value", fmt.Sprintf("%s: %s", key, err), "a unit stands in the title, as in "+key+" (m), or behind the value")
	}
	return v, nil
}

// maxStaffM bounds a staff reading; the longest staffs that are sold have
// about 8 m (common practice, no source).
const maxStaffM = 10

func (l *levelReader) levelRow() (LevelRow, error) {
	line, _ := l.csv.FieldPos(0)
	row := LevelRow{Line: line}
	row.Point, _ = l.text("point")
	for _, c := range []struct {
		key string
		to  *float64
	}{
		{"backsight", &row.BacksightM}, {"inter", &row.InterM}, {"foresight", &row.ForesightM},
		{"rise", &row.RiseM}, {"fall", &row.FallM}, {"height", &row.HeightM}, {"known", &row.KnownM}, {"station", &row.StationM},
	} {
		v, err := l.length(c.key)
		if err != nil {
			return row, err
		}
		*c.to = v
	}
	for _, c := range []struct {
		key string
		v   float64
	}{{"backsight", row.BacksightM}, {"inter", row.InterM}, {"foresight", row.ForesightM}} {
		if math.Abs(c.v) > maxStaffM {
			_, i := l.text(c.key)
			return row, l.fault(i, "levels_value", fmt.Sprintf("a staff reading of %.4g m is not possible", c.v), "check the unit in the title of the column")
		}
	}
	var err error
	row.At, row.HasAt, err = l.place("lat", "lon")
	return row, err
}

// place reads latitude and longitude from two columns; ok is false where both
// are empty.
func (l *levelReader) place(latColumn, lonColumn string) (at geodesy.LonLat, ok bool, err error) {
	lat, i := l.text(latColumn)
	lon, k := l.text(lonColumn)
	if lat == "" && lon == "" {
		return at, false, nil
	}
	for _, c := range []struct {
		text string
		at   int
		most float64
		to   *float64
	}{{lat, i, 90, &at.Lat}, {lon, k, 180, &at.Lon}} {
		v, err := strconv.ParseFloat(c.text, 64)
		if err != nil || !(math.Abs(v) <= c.most) {
			return at, false, l.fault(c.at, "levels_value", fmt.Sprintf("%q is not a coordinate", c.text), "give both lat and lon in decimal degrees")
		}
		*c.to = v
	}
	return at, true, nil
}

func written(v float64) bool { return !math.IsNaN(v) }

// check holds the order of the sights against what a level can do: the first
// line has a backsight, each line one sight to it, and a change point a
// foresight and a backsight.
func (b *LevelBook) check() error {
	fault := func(row LevelRow, text, hint string) error {
		return &finding.Fault{Code: "levels_order", File: b.File, Line: row.Line, Text: text, Hint: hint}
	}
	if len(b.Rows) < 2 {
		return &finding.Fault{Code: "levels_empty", File: b.File, Text: "the levelling book has fewer than two lines below the header", Hint: levelHint}
	}
	for i, row := range b.Rows {
		last := i == len(b.Rows)-1
		back, in, fore := written(row.BacksightM), written(row.InterM), written(row.ForesightM)
		switch {
		case i == 0 && !back:
			return fault(row, "the first line has no backsight", "begin with the staff on a point to start from")
		case i == 0 && (in || fore):
			return fault(row, "the first line has more than a backsight", "the foresight belongs to the line of the point that it was taken to")
		case i > 0 && in && (back || fore):
			return fault(row, "has an intermediate sight and another one", "a point from which the level moved on has a foresight and a backsight, any other one sight")
		case i > 0 && back && !fore:
			return fault(row, "has a backsight without a foresight", "the level moves after a foresight to a point; then a backsight is taken to the same point, on the same line")
		case i > 0 && !in && !fore:
			return fault(row, "has no staff reading", "take the line out, or write its intermediate sight or foresight")
		case last && back:
			return fault(row, "the last line has a backsight", "end with a foresight")
		case last && !fore:
			return fault(row, "the last line has no foresight", "the last sight is written as a foresight, so that the book can be checked")
		}
	}
	return nil
}
