package plan

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"maps"
	"os"
	"runtime"
	"slices"

	yaml "github.com/goccy/go-yaml"

	"route/internal/dem"
	"route/internal/geodesy"
)

// This file is what a run over many creeks needs: terrain that stays open from
// one creek to the next, sites that differ in a few settings, and a way to tell
// whether a site has been planned before.

// Terrain is the opened rasters of a site, for one job after another on them.
// It is for one goroutine.
type Terrain struct {
	source *dem.Source
}

// OpenTerrain opens the rasters that a site names. A window may take so many
// bytes of memory; 0 leaves the usual limit.
func OpenTerrain(site *Site, windowBytes int64) (*Terrain, error) {
	source, err := site.openTerrain(windowBytes)
	if err != nil {
		if source != nil {
			source.Close()
		}
		return nil, err
	}
	return &Terrain{source}, nil
}

func (s *Site) openTerrain(windowBytes int64) (*dem.Source, error) {
	paths := make([]string, len(s.Terrain))
	for i, name := range s.Terrain {
		paths[i] = s.path(name)
	}
	return dem.Open(paths, dem.Options{CRS: s.CRS, ZUnit: s.ZUnit, Error: s.errorModel(), MaxBytes: windowBytes})
}

// Close lets go of the rasters.
func (t *Terrain) Close() { t.source.Close() }

// Fingerprint tells one terrain from another: the checksums of its files, and
// of files that are not hashed the size and the time of the last change.
func (t *Terrain) Fingerprint() string {
	sum := sha256.New()
	for _, info := range t.source.Infos() {
		fmt.Fprintf(sum, "%s %s %s\n", info.Path, info.SHA256, info.SHA256Note)
		if stat, err := os.Stat(info.Path); err == nil && info.SHA256 == "" {
			fmt.Fprintf(sum, "%d %d\n", stat.Size(), stat.ModTime().UnixNano())
		}
	}
	return hex.EncodeToString(sum.Sum(nil))
}

// screenGridCells bounds the delivery grid of one of many creeks: 8 km² at 1 m.
const screenGridCells = 8e6

// Screen is Run for one of many creeks: on terrain that is open already, in
// one goroutine, on a smaller grid, and without what only the hand-off folder
// needs, which is the visit list and the picture of the ground.
func Screen(ctx context.Context, site *Site, terrain *Terrain) (*Plan, error) {
	j := newJob(context.WithValue(ctx, workersKey{}, 1), site, nil)
	j.terrain, j.gridCells = terrain, screenGridCells
	layout := []func() error{j.findPins, j.search, j.order, j.replan, j.gradeWinners, j.screen, j.sayWhy, j.conclude}
	if err := j.follow(slices.Concat(j.groundSteps(), j.measuredSteps(), layout)...); err != nil {
		return nil, err
	}
	return j.plan, nil
}

// workersKey is under which a context says how many goroutines a job may start
// for one thing.
type workersKey struct{}

// workersIn is how many goroutines a job may start for one thing: one a
// processor, unless the context says otherwise.
func workersIn(ctx context.Context) int {
	if n, ok := ctx.Value(workersKey{}).(int); ok {
		return n
	}
	return runtime.GOMAXPROCS(0)
}

// IsSetting tells whether a site file knows a key, such as "creek_flow.low".
func IsSetting(key string) bool {
	_, ok := setting(key)
	return ok
}

// Clone is a site that can be changed without changing this one.
func (s *Site) Clone() *Site {
	c := *s
	c.given = maps.Clone(s.given)
	return &c
}

// drawnCreek is a creek that comes as a line, not as a file.
type drawnCreek struct {
	From string // the file or layer it comes from, for messages
	Legs [][]geodesy.LonLat
}

// DrawCreek gives the site its creek as a line of one or more parts; from says
// in messages where it comes from.
func (s *Site) DrawCreek(from string, legs [][]geodesy.LonLat) {
	s.drawn = &drawnCreek{from, legs}
}

// takeDrawn is readCreek for a line that the site holds.
func (j *job) takeDrawn() {
	d := j.site.drawn
	sum := sha256.New()
	for _, leg := range d.Legs {
		fmt.Fprintln(sum, leg)
		j.walked.fixes += len(leg)
	}
	j.walked.path, j.walked.legs, j.walked.sha256 = d.From, d.Legs, hex.EncodeToString(sum.Sum(nil))
	j.walked.waypoints = map[string]geodesy.LonLat{}
	j.plan.Inputs = append(j.plan.Inputs, Input{Path: d.From, Role: "creek", SHA256: j.walked.sha256, CRS: "WGS 84", CellM: Unknown, Points: &j.walked.fixes})
}

// CreekLine is the creek that the site names, as it is read: its parts, in
// degrees.
func CreekLine(ctx context.Context, site *Site) ([][]geodesy.LonLat, error) {
	j := newJob(ctx, site, nil)
	if err := j.readCreek(); err != nil {
		return nil, err
	}
	return j.walked.legs, nil
}

// Fingerprint tells one site from another: every setting, the drawn creek, and
// the content of the files that it names, but for the terrain. A file that
// cannot be read counts as such.
func (s *Site) Fingerprint() (string, error) {
	settings, err := yaml.Marshal(s)
	if err != nil {
		return "", fmt.Errorf("the settings cannot be written down: %w", err)
	}
	sum := sha256.New()
	fmt.Fprintf(sum, "%s\n%s\n", Version, settings)
	if s.drawn != nil {
		fmt.Fprintln(sum, *s.drawn)
	}
	names := []string{s.Creek, s.CreekLine, s.Land, s.Catalog}
	for _, reading := range s.Field {
		names = append(names, reading.Levels)
	}
	for _, name := range names {
		if name == "" {
			continue
		}
		fmt.Fprintf(sum, "\n%s ", name)
		file, err := os.Open(s.path(name))
		if err == nil {
			_, err = io.Copy(sum, file)
			file.Close()
		}
		if err != nil {
			fmt.Fprint(sum, "unreadable")
		}
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}
