package plan

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"

	"route/internal/dem"
	"route/internal/finding"
	"route/internal/geodesy"
	"route/internal/survey"
)

// creekFile is the line that the user gave, as it was read.
type creekFile struct {
	path      string
	sha256    string
	legs      [][]geodesy.LonLat
	track     *survey.Track // nil for a drawn line
	fixes     int
	waypoints map[string]geodesy.LonLat
}

// readCreek reads the line of the creek: a track, a drawn line, or levels with
// a line beside them. A track's elevations are not used: a receiver's heights
// err by more than the falls that matter here.
func (j *job) readCreek() error {
	j.record(Progress{Step: "reading the creek"})
	if j.site.drawn != nil {
		j.takeDrawn()
		return nil
	}
	j.walked = creekFile{waypoints: map[string]geodesy.LonLat{}}
	name, role := j.site.Creek, "creek"
	if j.site.levelledCreek() {
		content, err := j.readCreekFile(name, role)
		if err != nil {
			return err
		}
		if err := j.readCreekLevels(j.walked.path, content); err != nil {
			return err
		}
		j.creekInput(name, role, len(j.levels.Points))
		name, role = j.site.CreekLine, "creek_line"
		if name == "" {
			return nil
		}
	} else if j.site.CreekLine != "" {
		return &finding.Fault{Code: "creek_line_alone", File: j.site.path(name), Text: "is no table of levels, and creek_line goes with one only", Hint: "name the track or line as creek: and take creek_line: out; a table of levels is a .csv file"}
	}
	content, err := j.readCreekFile(name, role)
	if err != nil {
		return err
	}
	if strings.EqualFold(filepath.Ext(name), ".gpx") || bytes.Contains(content[:min(len(content), 2048)], []byte("<gpx")) {
		err = j.readTrack(content)
	} else {
		err = j.readLine()
	}
	if err != nil {
		return err
	}
	for _, leg := range j.walked.legs {
		j.walked.fixes += len(leg)
	}
	j.creekInput(name, role, j.walked.fixes)
	return nil
}

// readCreekFile reads the bytes of the file that a key of the site names.
func (j *job) readCreekFile(name, key string) ([]byte, error) {
	path := j.site.path(name)
	j.walked.path = path
	content, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, &finding.Fault{Code: "creek_missing", File: path, Text: "there is no such file", Hint: key + ": names the file, relative to the site file", Err: err}
	}
	if info, e := os.Stat(path); e == nil && info.IsDir() {
		return nil, &finding.Fault{Code: "creek_unreadable", File: path, Text: "is a folder", Hint: "name the file in it that holds the creek", Err: err}
	}
	if err != nil {
		return nil, &finding.Fault{Code: "creek_unreadable", File: path, Text: err.Error(), Hint: "check that the file may be read", Err: err}
	}
	sum := sha256.Sum256(content)
	j.walked.sha256 = hex.EncodeToString(sum[:])
	return content, nil
}

// creekInput lists a file of the creek among the inputs.
func (j *job) creekInput(name, role string, points int) {
	crs := "WGS 84"
	if role == "creek" && j.levels != nil && j.levels.Places == 0 {
		crs = ""
	}
	j.plan.Inputs = append(j.plan.Inputs, Input{Path: name, Role: role, SHA256: j.walked.sha256, CRS: crs, CellM: Unknown, Points: &points})
}

func (j *job) readTrack(content []byte) error {
	field, err := survey.ReadGPX(j.walked.path, bytes.NewReader(content))
	if err != nil {
		return err
	}
	for _, w := range field.Waypoints {
		j.walked.waypoints[w.Name] = w.LonLat
	}
	track, findings, err := field.Choose(j.site.Track)
	if err != nil {
		return inFile(err, j.walked.path)
	}
	j.tell(field.Findings...)
	j.tell(findings...)
	j.walked.track = &track
	for _, leg := range track.Legs {
		points := make([]geodesy.LonLat, len(leg))
		for i, fix := range leg {
			points[i] = fix.LonLat
		}
		j.walked.legs = append(j.walked.legs, points)
	}
	return nil
}

// readLine takes the longest line of any other line layer; a named one when
// the site names it.
func (j *job) readLine() error {
	v, err := dem.ReadVector(j.walked.path)
	if err != nil {
		return err
	}
	j.tell(v.Findings...)
	best, longest := -1, 0.0
	for i, line := range v.Lines {
		if j.site.Track != "" && line.Attributes["name"] != j.site.Track {
			continue
		}
		if l := lengthOf(line.Points); l > longest {
			best, longest = i, l
		}
	}
	if best < 0 {
		return &finding.Fault{Code: "creek_no_line", File: j.walked.path, Text: "holds no line" + named(j.site.Track), Hint: "give a layer with the creek drawn as a line, or a GPX track"}
	}
	if len(v.Lines) > 1 {
		j.tell(finding.New(finding.Note, "creek_several_lines", fmt.Sprintf("the file holds %d lines; the longest is taken", len(v.Lines)), "track: picks another by its name attribute").In(j.walked.path))
	}
	j.walked.legs = [][]geodesy.LonLat{v.Lines[best].Points}
	for _, p := range v.Points {
		if name := p.Attributes["name"]; name != "" {
			j.walked.waypoints[name] = p.At
		}
	}
	return nil
}

func named(name string) string {
	if name == "" {
		return ""
	}
	return fmt.Sprintf(" named %q", name)
}

func lengthOf(points []geodesy.LonLat) float64 {
	total := 0.0
	for i := 1; i < len(points); i++ {
		d, _ := geodesy.Distance(points[i-1], points[i])
		total += d
	}
	return total
}

// findTank takes the tank's place from the site or from a waypoint.
func (j *job) findTank() error {
	t := j.site.Tank
	switch {
	case t.Waypoint != "":
		at, ok := j.walked.waypoints[t.Waypoint]
		if !ok {
			return &finding.Fault{Code: "tank_waypoint_missing", File: j.walked.path, Text: fmt.Sprintf("has no waypoint named %q%s", t.Waypoint, listed(j.walked.waypoints)), Hint: "name one of the file's waypoints, or give tank: {lat: …, lon: …}"}
		}
		j.tankAt = at
	case j.site.Given("tank.lat"):
		j.tankAt = t.At
	default:
		return &finding.Fault{Code: "tank_missing", File: j.site.File, Text: "the tank has no place", Hint: "add tank: {lat: …, lon: …, inlet_above_ground: \"6 ft\"}"}
	}
	j.hasTank = true
	if _, err := j.source.CheckPoints("the tank", []geodesy.LonLat{j.tankAt}); err != nil {
		return err
	}
	return nil
}

func listed(waypoints map[string]geodesy.LonLat) string {
	if len(waypoints) == 0 {
		return " or any other"
	}
	names := make([]string, 0, len(waypoints))
	for name := range waypoints {
		names = append(names, name)
	}
	return "; it has " + strings.Join(sorted(names), ", ")
}

// inFile gives a fault the file that it is about.
func inFile(err error, path string) error {
	var fault *finding.Fault
	if errors.As(err, &fault) && fault.File == "" {
		copied := *fault
		copied.File = path
		return &copied
	}
	return err
}

func dist(a, b orb.Point) float64 { return planar.Distance(a, b) }
