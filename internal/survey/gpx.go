package survey

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/tkrajina/gpxgo/gpx"

	"route/internal/finding"
	"route/internal/geodesy"
)

// ReadGPX reads the tracks, routes and waypoints of a GPX 1.0 or 1.1 file.
// name stands for the file in messages. Every fix is checked: one without a
// latitude or longitude, or with an impossible one, is a *finding.Fault that
// names its line. Heights that cannot be read are dropped with a finding,
// since nothing depends on them; so are fixes at exactly 0°, 0°, which
// receivers write while they have no position. Segments stay apart as legs.
func ReadGPX(name string, r io.Reader) (*Field, error) {
	raw, err := io.ReadAll(r)
	if err != nil {
		return nil, &finding.Fault{Code: "read_failed", File: name, Text: "the file could not be read", Hint: "check the file and the disk", Err: err}
	}
	s, err := scanGPX(name, raw)
	if err != nil {
		return nil, err
	}
	g, err := parse(s.clean.Bytes(), s.version)
	if err != nil {
		return nil, &finding.Fault{Code: "gpx_unreadable", File: name, Text: "the GPX file could not be read: " + err.Error(),
			Hint: "export the track again", Err: err}
	}
	f := &Field{File: name, Version: s.version, Creator: s.creator, Findings: s.findings()}
	if err := f.take(g, s); err != nil {
		return nil, err
	}
	return f, nil
}

// parse runs the GPX library over the normalised copy. The library guesses
// the version from the first bytes it is shown, so it is shown the answer.
func parse(clean []byte, version string) (*gpx.GPX, error) {
	decoder := xml.NewDecoder(bytes.NewReader(clean))
	return gpx.ParseDecoder(decoder, []byte(`<gpx version="`+version+`">`))
}

// errOrder cannot happen unless the library and the scan disagree about what
// a point is.
var errOrder = errors.New("points were lost while reading")

// take moves the points over, each with what the scan knows of it.
func (f *Field) take(g *gpx.GPX, s *scan) error {
	t := taker{name: f.File, marks: s.marks}
	for i := range g.Waypoints {
		if fix, ok := t.fix(markWaypoint, &g.Waypoints[i]); ok {
			f.Waypoints = append(f.Waypoints, fix)
		}
	}
	for i, trk := range g.Tracks {
		track := Track{Name: strings.TrimSpace(trk.Name), Line: s.trackLine[i]}
		for _, seg := range trk.Segments {
			track.addLeg(t.leg(markTrackPoint, seg.Points))
		}
		f.Tracks = append(f.Tracks, track)
	}
	for i, rte := range g.Routes {
		track := Track{Name: strings.TrimSpace(rte.Name), Route: true, Line: s.routeLine[i]}
		track.addLeg(t.leg(markRoutePoint, rte.Points))
		f.Tracks = append(f.Tracks, track)
	}
	for kind := range t.next {
		if t.next[kind] != len(s.marks[kind]) {
			return &finding.Fault{Code: "gpx_unreadable", File: f.File, Text: "the GPX file could not be read completely",
				Hint: "export the track again", Err: errOrder}
		}
	}
	return t.verdict(f)
}

func (t *Track) addLeg(leg []Fix) {
	if len(leg) > 0 {
		t.Legs = append(t.Legs, leg)
	}
}

// taker walks through the points of the library in step with the scan.
type taker struct {
	name  string
	marks [markKinds][]mark
	next  [markKinds]int
	total int
	null  []int // lines of fixes at exactly 0°, 0°
}

func (t *taker) leg(kind markKind, points []gpx.GPXPoint) []Fix {
	leg := make([]Fix, 0, len(points))
	for i := range points {
		if fix, ok := t.fix(kind, &points[i]); ok {
			leg = append(leg, fix)
		}
	}
	return leg
}

func (t *taker) fix(kind markKind, p *gpx.GPXPoint) (Fix, bool) {
	fix := Fix{LonLat: geodesy.LonLat{Lon: p.Longitude, Lat: p.Latitude},
		EleM: math.NaN(), HDOP: math.NaN(), Name: strings.TrimSpace(p.Name)}
	if p.Elevation.NotNull() {
		fix.EleM = p.Elevation.Value()
	}
	if p.HorizontalDilution.NotNull() {
		fix.HDOP = p.HorizontalDilution.Value()
	}
	if i := t.next[kind]; i < len(t.marks[kind]) {
		fix.Line = t.marks[kind][i].line
		fix.Time = t.marks[kind][i].time
	}
	t.next[kind]++
	t.total++
	if p.Latitude == 0 && p.Longitude == 0 {
		t.null = append(t.null, fix.Line)
		return fix, false
	}
	return fix, true
}

// verdict says what was dropped, and refuses a file of which nothing is left.
func (t *taker) verdict(f *Field) error {
	if len(t.null) == 0 {
		return nil
	}
	if len(t.null) == t.total {
		return &finding.Fault{Code: "no_position", File: f.File, Line: t.null[0],
			Text: fmt.Sprintf("all %d points lie at latitude 0, longitude 0: the receiver had no position", t.total),
			Hint: "give a track that was recorded with a position"}
	}
	note := finding.New(finding.Warning, "no_position",
		fmt.Sprintf("%d points at latitude 0, longitude 0, the first at line %d, were left out: the receiver had no position there", len(t.null), t.null[0]),
		"").In(f.File)
	note.Line = t.null[0]
	f.Findings = append(f.Findings, note)
	return nil
}
