package survey

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"golang.org/x/net/html/charset"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"

	"route/internal/finding"
)

// The GPX library reads a point without a latitude as latitude 0, takes one
// of 145, refuses a whole file for one height with a line break in it, and
// keeps no line numbers. So the file is read twice: once here, where every
// value is looked at and a copy is written that holds only what is used, in
// the form that the library understands; then by the library from that copy.

// scan is the result of looking through a GPX file.
type scan struct {
	name      string
	version   string
	creator   string
	marks     [markKinds][]mark
	trackLine []int
	routeLine []int
	clean     bytes.Buffer

	badHeights, commaHeights, wrapped oddities
	badTimes                          oddities
}

type markKind int

const (
	markWaypoint markKind = iota
	markTrackPoint
	markRoutePoint
	markKinds
)

// mark is what the library does not keep of a point.
type mark struct {
	line int
	time time.Time
}

// oddities counts values of one kind that were mended or dropped.
type oddities struct {
	count int
	line  int    // of the first
	text  string // of the first
}

func (o *oddities) add(line int, text string) {
	if o.count++; o.count == 1 {
		if r := []rune(text); len(r) > 20 {
			text = string(r[:20]) + "…"
		}
		o.line, o.text = line, text
	}
}

// kept are the elements that are used, by the element they stand in.
var kept = map[string][]string{
	"":       {"gpx"},
	"gpx":    {"wpt", "rte", "trk"},
	"trk":    {"name", "trkseg"},
	"trkseg": {"trkpt"},
	"rte":    {"name", "rtept"},
	"wpt":    {"name", "ele", "time", "hdop"},
	"trkpt":  {"name", "ele", "time", "hdop"},
	"rtept":  {"name", "ele", "time", "hdop"},
}

func isKept(parent, child string) bool {
	for _, name := range kept[parent] {
		if name == child {
			return true
		}
	}
	return false
}

// scanGPX looks through a file and writes the normalised copy.
func scanGPX(name string, raw []byte) (*scan, error) {
	s := &scan{name: name}
	text, wide, err := decodeBOM(raw)
	if err != nil {
		return nil, s.fault("not_text", 0, "the file is not text", "export the track as GPX", err)
	}
	d := xml.NewDecoder(bytes.NewReader(text))
	d.CharsetReader = func(label string, in io.Reader) (io.Reader, error) {
		if wide {
			return in, nil // already turned into UTF-8
		}
		return charset.NewReaderLabel(label, in)
	}
	if err := s.root(d); err != nil {
		return nil, err
	}
	return s, nil
}

// decodeBOM takes off a byte order mark and turns UTF-16 into UTF-8.
func decodeBOM(raw []byte) (text []byte, wide bool, err error) {
	switch {
	case bytes.HasPrefix(raw, []byte("\xef\xbb\xbf")):
		return raw[3:], false, nil
	case bytes.HasPrefix(raw, []byte("\xff\xfe")), bytes.HasPrefix(raw, []byte("\xfe\xff")):
		text, _, err = transform.Bytes(unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewDecoder(), raw)
		return text, true, err
	}
	return raw, false, nil
}

func (s *scan) fault(code string, line int, text, hint string, err error) error {
	return &finding.Fault{Code: code, File: s.name, Line: line, Text: text, Hint: hint, Err: err}
}

// next is the next token and the line on which it begins.
func (s *scan) next(d *xml.Decoder) (xml.Token, int, error) {
	line, _ := d.InputPos()
	t, err := d.Token()
	if err == nil {
		return t, line, nil
	}
	if err == io.EOF {
		return nil, line, err
	}
	var syntax *xml.SyntaxError
	if errors.As(err, &syntax) {
		if syntax.Msg == "unexpected EOF" {
			return nil, line, s.fault("gpx_cut_off", syntax.Line,
				fmt.Sprintf("the file ends in the middle, after %d points", s.points()),
				"copy the file from the device again, or save the track again", err)
		}
		return nil, line, s.fault("gpx_not_xml", syntax.Line, "not well-formed XML: "+syntax.Msg,
			"export the track again as GPX", err)
	}
	return nil, line, s.fault("gpx_not_xml", line, "the text cannot be read: "+err.Error(), "export the track again as GPX in UTF-8", err)
}

func (s *scan) points() int {
	n := 0
	for _, m := range s.marks {
		n += len(m)
	}
	return n
}

// root finds the gpx element and reads it.
func (s *scan) root(d *xml.Decoder) error {
	for {
		t, line, err := s.next(d)
		if err == io.EOF {
			return s.fault("gpx_empty", 0, "the file has no GPX in it", "export the track as GPX", nil)
		}
		if err != nil {
			return err
		}
		e, ok := t.(xml.StartElement)
		if !ok {
			continue
		}
		if e.Name.Local != "gpx" {
			return s.fault("not_gpx", line, fmt.Sprintf("the file is not GPX: it begins with <%s>", e.Name.Local), otherFormat(e.Name.Local), nil)
		}
		s.version = versionOf(e)
		s.creator = attribute(e, "creator")
		fmt.Fprintf(&s.clean, "<gpx version=%q>", s.version)
		if err := s.element(d, e, line); err != nil {
			return err
		}
		return nil
	}
}

func otherFormat(root string) string {
	switch root {
	case "kml":
		return "export the track as GPX, or convert it: KML can be given as a line layer in its own right"
	case "TrainingCenterDatabase":
		return "this is a fitness file (TCX): export the track as GPX"
	case "html":
		return "this is a web page: download the GPX file itself"
	}
	return "export the track as GPX"
}

// versionOf is 1.0 or 1.1, by the attribute or else by the namespace; a file
// that says neither is read as 1.1.
func versionOf(e xml.StartElement) string {
	v := strings.TrimSpace(attribute(e, "version"))
	if v != "1.0" && v != "1.1" && strings.HasSuffix(strings.TrimRight(e.Name.Space, "/"), "/GPX/1/0") {
		return "1.0"
	}
	if v == "1.0" {
		return v
	}
	return "1.1"
}

func attribute(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Space == "" && a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// element reads what is inside a kept element up to its end, and closes it
// in the copy. Nesting is bounded by the table of kept elements.
func (s *scan) element(d *xml.Decoder, e xml.StartElement, line int) error {
	switch e.Name.Local {
	case "trk":
		s.trackLine = append(s.trackLine, line)
	case "rte":
		s.routeLine = append(s.routeLine, line)
	}
	for {
		t, at, err := s.next(d)
		if err == io.EOF {
			return s.fault("gpx_cut_off", at, fmt.Sprintf("the file ends in the middle, after %d points", s.points()),
				"copy the file from the device again, or save the track again", nil)
		}
		if err != nil {
			return err
		}
		switch t := t.(type) {
		case xml.EndElement:
			fmt.Fprintf(&s.clean, "</%s>", e.Name.Local)
			return nil
		case xml.StartElement:
			if err := s.child(d, e.Name.Local, t, at); err != nil {
				return err
			}
		}
	}
}

func (s *scan) child(d *xml.Decoder, parent string, e xml.StartElement, line int) error {
	name := e.Name.Local
	if !isKept(parent, name) {
		return s.skip(d)
	}
	switch name {
	case "name", "ele", "time", "hdop":
		text, err := s.text(d)
		if err != nil {
			return err
		}
		s.value(parent, name, text, line)
		return nil
	case "wpt", "trkpt", "rtept":
		return s.point(d, e, line)
	}
	fmt.Fprintf(&s.clean, "<%s>", name)
	return s.element(d, e, line)
}

// skip reads up to the end of the element that has just begun.
func (s *scan) skip(d *xml.Decoder) error {
	_, err := s.text(d)
	return err
}

// text is all the text inside the element that has just begun.
func (s *scan) text(d *xml.Decoder) (string, error) {
	var b strings.Builder
	for depth := 1; ; {
		t, at, err := s.next(d)
		if err == io.EOF {
			err = s.fault("gpx_cut_off", at, fmt.Sprintf("the file ends in the middle, after %d points", s.points()),
				"copy the file from the device again, or save the track again", nil)
		}
		if err != nil {
			return "", err
		}
		switch t := t.(type) {
		case xml.StartElement:
			depth++
		case xml.EndElement:
			if depth--; depth == 0 {
				return strings.TrimSpace(b.String()), nil
			}
		case xml.CharData:
			if depth == 1 {
				b.Write(t)
			}
		}
	}
}

// point checks the position of a point and reads what belongs to it.
func (s *scan) point(d *xml.Decoder, e xml.StartElement, line int) error {
	lat, err := s.degrees(e, line, "lat", "latitude", 90)
	if err != nil {
		return err
	}
	lon, err := s.degrees(e, line, "lon", "longitude", 360)
	if err != nil {
		return err
	}
	if lon > 180 || lon < -180 {
		s.wrapped.add(line, strconv.FormatFloat(lon, 'f', -1, 64))
		lon -= math.Copysign(360, lon)
	}
	kind := map[string]markKind{"wpt": markWaypoint, "trkpt": markTrackPoint, "rtept": markRoutePoint}[e.Name.Local]
	s.marks[kind] = append(s.marks[kind], mark{line: line})
	fmt.Fprintf(&s.clean, `<%s lat="%s" lon="%s">`, e.Name.Local,
		strconv.FormatFloat(lat, 'g', -1, 64), strconv.FormatFloat(lon, 'g', -1, 64))
	return s.element(d, e, line)
}

var pointWords = map[string]string{"wpt": "waypoint", "trkpt": "track point", "rtept": "route point"}

func (s *scan) degrees(e xml.StartElement, line int, attr, word string, most float64) (float64, error) {
	kind := pointWords[e.Name.Local]
	text := strings.TrimSpace(attribute(e, attr))
	if text == "" {
		return 0, s.fault("fix_incomplete", line, fmt.Sprintf("the %s has no %s", kind, word),
			fmt.Sprintf("remove this point, or give it a %s", word), nil)
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, s.fault("fix_not_a_number", line, fmt.Sprintf("the %s's %s %q is not a number of degrees", kind, word, text),
			"write degrees with a decimal point, as in 46.45512", nil)
	}
	if math.Abs(v) > most {
		hint := "write degrees; remove this point if it is a stray"
		if attr == "lat" && math.Abs(v) <= 180 {
			hint = "latitude and longitude may be swapped"
		}
		return 0, s.fault("fix_out_of_range", line, fmt.Sprintf("the %s's %s %s lies outside −%g to %g", kind, word, text, most, most), hint, nil)
	}
	return v, nil
}

// value checks and copies a simple element.
func (s *scan) value(parent, name, text string, line int) {
	switch name {
	case "ele":
		v, ok := s.height(text, line)
		if !ok {
			return
		}
		text = strconv.FormatFloat(v, 'g', -1, 64)
	case "hdop":
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || !(v >= 0 && v < math.MaxFloat64) {
			return
		}
		text = strconv.FormatFloat(v, 'g', -1, 64)
	case "time":
		s.time(parent, text, line)
		return
	}
	fmt.Fprintf(&s.clean, "<%s>", name)
	// The text comes out of an XML decoder and a buffer takes all, so this
	// cannot fail.
	_ = xml.EscapeText(&s.clean, []byte(text))
	fmt.Fprintf(&s.clean, "</%s>", name)
}

// height reads an elevation; a decimal comma is plain enough to be mended.
func (s *scan) height(text string, line int) (float64, bool) {
	if text == "" {
		return 0, false
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil && strings.Count(text, ",") == 1 {
		if v, err = strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64); err == nil {
			s.commaHeights.add(line, text)
		}
	}
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		s.badHeights.add(line, text)
		return 0, false
	}
	return v, true
}

// time keeps a time beside the copy, with its fraction and zone, which the
// library drops. A time without a zone is taken as UTC: only differences
// within a track count.
func (s *scan) time(parent, text string, line int) {
	kind, ok := map[string]markKind{"wpt": markWaypoint, "trkpt": markTrackPoint, "rtept": markRoutePoint}[parent]
	if !ok || text == "" {
		return
	}
	for _, layout := range [...]string{time.RFC3339Nano, "2006-01-02T15:04:05", "2006-01-02 15:04:05Z07:00", "2006-01-02 15:04:05"} {
		if v, err := time.Parse(layout, text); err == nil {
			s.marks[kind][len(s.marks[kind])-1].time = v.UTC()
			return
		}
	}
	s.badTimes.add(line, text)
}

// findings tells what was mended or dropped.
func (s *scan) findings() []finding.Finding {
	var out []finding.Finding
	say := func(o oddities, code, text string) {
		if o.count > 0 {
			f := finding.New(finding.Note, code, fmt.Sprintf(text, o.count, o.text, o.line), "").In(s.name)
			f.Line = o.line
			out = append(out, f)
		}
	}
	say(s.badHeights, "ele_unreadable", "%d heights are not numbers (the first, %q, at line %d) and were left out; heights come from the terrain")
	say(s.commaHeights, "ele_comma", "%d heights are written with a decimal comma (the first, %q, at line %d) and were read as such")
	say(s.badTimes, "time_unreadable", "%d times could not be read (the first, %q, at line %d) and were left out")
	say(s.wrapped, "lon_wrapped", "%d longitudes lie beyond 180 (the first, %s, at line %d) and were taken round the globe")
	return out
}
