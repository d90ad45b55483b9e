package commission

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"route/internal/finding"
	"route/internal/quantity"
)

// columns of a readings file. The first two must be there; what stands in
// those behind error is for people and is not read.
var columns = []string{"reading", "value", "error", "predicted", "low", "high", "how"}

// mostBytes is more than any readings file holds.
const mostBytes = 1 << 20

// ReadReadings reads a CSV of what was measured on an installation:
//
//	reading,value,error
//	standpipe running,8.2 ft,
//	delivered,1.1 gpm,5 %
//	beats,62,
//	gauge at rest,31 psi,
//
// A line whose value is empty was not read and is passed over. Lines that
// start with # are comments. pascalPerM turns what gauges show into metres of
// the water of the site. Errors are *finding.Fault with their line.
func ReadReadings(name string, r io.Reader, pascalPerM float64) ([]Reading, error) {
	fault := func(line int, hint, format string, args ...any) error {
		return &finding.Fault{Code: "readings_wrong", File: name, Line: line, Text: fmt.Sprintf(format, args...), Hint: hint}
	}
	content, err := io.ReadAll(io.LimitReader(r, mostBytes+1))
	switch {
	case err != nil:
		return nil, &finding.Fault{Code: "readings_unreadable", File: name, Text: err.Error(), Err: err}
	case len(content) > mostBytes:
		return nil, fault(0, "", "is over 1 MB; this cannot be a readings file")
	}
	content = bytes.TrimPrefix(content, []byte("\ufeff"))
	if !utf8.Valid(content) {
		return nil, fault(0, "save it as UTF-8", "is not UTF-8 text")
	}
	c := csv.NewReader(bytes.NewReader(content))
	c.Comment, c.FieldsPerRecord, c.TrimLeadingSpace, c.Comma = '#', -1, true, separator(content)
	const headHint = "the first line must be reading,value,error; route commission SITE.yaml --template FILE writes such a file"
	head, err := c.Read()
	if err != nil {
		if errors.Is(err, io.EOF) {
			return nil, fault(0, headHint, "is empty")
		}
		return nil, lineFault(name, err)
	}
	at := map[string]int{}
	line, _ := c.FieldPos(0)
	for i, h := range head {
		h = strings.ToLower(strings.TrimSpace(h))
		if _, twice := at[h]; twice || !slices.Contains(columns, h) {
			return nil, fault(line, headHint, "column %d is %q; known are %s, each once", i+1, h, strings.Join(columns, ", "))
		}
		at[h] = i
	}
	for _, want := range columns[:2] {
		if _, ok := at[want]; !ok {
			return nil, fault(line, headHint, "there is no column %q", want)
		}
	}
	var list []Reading
	for {
		record, err := c.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, lineFault(name, err)
		}
		line, _ := c.FieldPos(0)
		if len(record) > len(head) {
			return nil, fault(line, "put a value that holds a comma in quotes", "this line has %d fields and the first line %d", len(record), len(head))
		}
		field := func(column string) string {
			if i, ok := at[column]; ok && i < len(record) {
				return strings.TrimSpace(record[i])
			}
			return ""
		}
		reading, err := parseReading(field, pascalPerM)
		if err != nil {
			return nil, fault(line, "write quantities with their units, beats as a bare number", "%s", err)
		}
		if field("value") == "" {
			continue
		}
		reading.Line = line
		if k := slices.IndexFunc(list, func(o Reading) bool { return o.Kind == reading.Kind }); k >= 0 {
			return nil, fault(line, "keep one of them, or their mean", "%s was given in line %d already", reading.Kind, list[k].Line)
		}
		list = append(list, reading)
	}
	if len(list) == 0 {
		return nil, fault(0, "fill in the column value where something was measured", "there are no readings in it")
	}
	return list, nil
}

// separator is the semicolon where the first line of text has one and no
// comma, as spreadsheets write it in many countries.
func separator(content []byte) rune {
	for line := range bytes.Lines(content) {
		if line = bytes.TrimSpace(line); len(line) == 0 || line[0] == '#' {
			continue
		}
		if bytes.ContainsRune(line, ';') && !bytes.ContainsRune(line, ',') {
			return ';'
		}
		break
	}
	return ','
}

// lineFault is what the CSV parser has to say.
func lineFault(name string, err error) error {
	f := &finding.Fault{Code: "readings_wrong", File: name, Text: err.Error(), Hint: "fields are parted by commas; quote a field that holds one", Err: err}
	var p *csv.ParseError
	if errors.As(err, &p) {
		f.Line, f.Column, f.Text = p.Line, p.Column, p.Err.Error()
	}
	return f
}

// infoOf finds a kind by its name.
func infoOf(name string) (kindInfo, bool) {
	if k := slices.IndexFunc(others, func(x kindInfo) bool { return string(x.kind) == name }); k >= 0 {
		return others[k], true
	}
	i, ok := indexOf(Kind(name))
	if !ok {
		return kindInfo{}, false
	}
	return infos[i], true
}

// parseReading reads one line by its columns; the value may be empty.
func parseReading(field func(string) string, pascalPerM float64) (Reading, error) {
	info, ok := infoOf(strings.ToLower(field("reading")))
	if !ok {
		var names []string
		for _, x := range slices.Concat(infos[:], others) {
			names = append(names, string(x.kind))
		}
		return Reading{}, fmt.Errorf("%q is no reading; known are %s", field("reading"), strings.Join(names, ", "))
	}
	r := Reading{Kind: info.kind}
	if field("value") == "" {
		return r, nil
	}
	var err error
	if r.Value, err = info.parse(field("value"), pascalPerM); err != nil {
		return r, fmt.Errorf("value: %w", err)
	}
	if !(r.Value >= 0) && info.kind != OutletAbove || math.Abs(r.Value) > 1e6 {
		return r, fmt.Errorf("value: %q is not possible", field("value"))
	}
	if text := field("error"); text != "" {
		if share, e := quantity.Parse(quantity.Ratio, text); e == nil && strings.Contains(text, "%") {
			r.Sigma = share * r.Value
		} else if r.Sigma, err = info.parse(text, pascalPerM); err != nil {
			return r, fmt.Errorf("error: %w", err)
		}
		if !(r.Sigma > 0) || math.IsInf(r.Sigma, 0) {
			return r, fmt.Errorf("error: %q must be more than zero: it is the standard deviation, two of three readings are that close", text)
		}
	}
	return r, nil
}

// parse reads a value of this kind, in SI; of a gauge in metres of water.
func (x kindInfo) parse(text string, pascalPerM float64) (float64, error) {
	if x.bare {
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return 0, fmt.Errorf("%q is not a number", text)
		}
		return v, nil
	}
	v, err := quantity.Parse(x.dim, text)
	if x.dim != quantity.Pressure {
		return v, err
	}
	if err != nil { // a gauge may be marked in metres of water
		if head, e := quantity.Parse(quantity.Head, text); e == nil {
			return head, nil
		}
	}
	return v / pascalPerM, err
}

// Text prints a value of a kind in a system's units; gauges in pressure.
func Text(s quantity.System, k Kind, v, pascalPerM float64) string {
	info, ok := infoOf(string(k))
	switch {
	case !ok || math.IsNaN(v):
		return "unknown"
	case info.bare:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case info.dim == quantity.Pressure:
		v *= pascalPerM
	}
	return quantity.Format(s, info.dim, v)
}

// How says how a reading is taken.
func How(k Kind) string {
	info, _ := infoOf(string(k))
	return info.how
}

// WriteTemplate writes a readings file to fill in, with what the plan predicts
// beside. Errors: those of the writer.
func WriteTemplate(w io.Writer, compared []Compared, s quantity.System, pascalPerM float64) error {
	c := csv.NewWriter(w)
	rows := [][]string{columns}
	for _, x := range compared {
		text := func(v float64) string { return plainSpaces(Text(s, x.Kind, v, pascalPerM)) }
		rows = append(rows, []string{string(x.Kind), "", "", text(x.Predicted), text(x.Low), text(x.High), How(x.Kind)})
	}
	for _, x := range others {
		rows = append(rows, []string{string(x.kind), "", "", "", "", "", x.how})
	}
	if err := c.WriteAll(rows); err != nil {
		return err
	}
	return c.Error()
}

// plainSpaces leaves out the narrow spaces that spreadsheets do not know.
func plainSpaces(s string) string { return strings.ReplaceAll(s, "\u202f", "") }
