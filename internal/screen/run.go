package screen

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"

	"route/internal/finding"
	"route/internal/plan"
)

// Options say how to run. The zero value writes into the working folder, with
// one worker a processor, and takes up earlier results.
type Options struct {
	Folder  string                // for the results
	Workers int                   // creeks that are planned at once; 0 is one a processor
	Fresh   bool                  // plan all again
	Record  func(done, total int) // called from several goroutines; may be nil
}

// windowBytes bounds the memory that the terrain of one creek may take: 64
// million cells of four bytes.
const windowBytes = 256 << 20

// Summary is what came of all creeks.
type Summary struct {
	Format  string    `json:"format"`
	Folder  string    `json:"folder"`
	Planned int       `json:"planned_now"` // the others were done by an earlier run
	Results []*Result `json:"creeks"`      // ranked, without what is drawn
}

// summaryFormat names the layout of a Summary.
const summaryFormat = "route-screen/1"

// Interrupted is the error of a run that was stopped: the creeks that are done
// stay done.
type Interrupted struct {
	Done, Total int
	Err         error // the context's
}

func (i *Interrupted) Error() string {
	return fmt.Sprintf("interrupted after %d of %d creeks; the same command goes on from there", i.Done, i.Total)
}

// Unwrap gives the context's error.
func (i *Interrupted) Unwrap() error { return i.Err }

// Run plans every entry with the settings of base, ranks them and writes the
// folder: creeks/, one file for each creek; ranking.csv; and screen.gpkg. The
// last two are written when all creeks are done, whole or not at all.
//
// A creek that cannot be planned is a Result with the outcome Failed. The error
// is a *finding.Fault when the terrain cannot be opened or the folder cannot be
// written, and *Interrupted when the context ends. Same entries and files, same
// bytes, whatever the number of workers and of interruptions.
func Run(ctx context.Context, base *plan.Site, entries []Entry, o Options) (*Summary, error) {
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	r := &runner{base: base, entries: entries, options: o, results: make([]*Result, len(entries))}
	if err := os.MkdirAll(filepath.Join(o.Folder, creeksFolder), 0o777); err != nil {
		return nil, r.unwritable(err)
	}
	if err := r.planAll(ctx); err != nil {
		return nil, err
	}
	ranked := rank(r.results)
	if err := r.write(ctx, ranked); err != nil {
		return nil, err
	}
	return &Summary{Format: summaryFormat, Folder: o.Folder, Planned: r.planned, Results: ranked}, nil
}

// creeksFolder holds the results of the creeks, for the next run to find.
const creeksFolder = "creeks"

type runner struct {
	base    *plan.Site
	entries []Entry
	options Options
	ground  string // fingerprint of the terrain

	mu      sync.Mutex
	results []*Result
	done    int
	planned int
	failed  error // what stops the run
}

// planAll plans the creeks that are not done. Each worker has the rasters open
// for itself: a dataset of GDAL is for one reader at a time.
func (r *runner) planAll(ctx context.Context) error {
	first, err := plan.OpenTerrain(r.base, windowBytes)
	if err != nil {
		return err
	}
	r.ground = first.Fingerprint()
	workers := min(r.options.Workers, len(r.entries))
	terrains := []*plan.Terrain{first}
	defer func() {
		for _, t := range terrains {
			t.Close()
		}
	}()
	for len(terrains) < workers {
		t, err := plan.OpenTerrain(r.base, windowBytes)
		if err != nil {
			return err
		}
		terrains = append(terrains, t)
	}
	stop, cancel := context.WithCancel(ctx)
	defer cancel()
	next := make(chan int)
	var group sync.WaitGroup
	for _, t := range terrains[:workers] {
		group.Go(func() {
			for i := range next {
				if err := r.one(stop, t, i); err != nil {
					r.fail(err)
					cancel()
				}
			}
		})
	}
feed:
	for i := range r.entries {
		select {
		case next <- i:
		case <-stop.Done():
			break feed
		}
	}
	close(next)
	group.Wait()
	if err := ctx.Err(); err != nil {
		return &Interrupted{Done: r.done, Total: len(r.entries), Err: err}
	}
	return r.failed
}

func (r *runner) fail(err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.failed == nil {
		r.failed = err
	}
}

// one does one creek, unless an earlier run has. Only what stops the whole run
// is an error.
func (r *runner) one(ctx context.Context, terrain *plan.Terrain, i int) error {
	if ctx.Err() != nil {
		return nil
	}
	e := &r.entries[i]
	site, siteErr := e.Site(r.base)
	inputs, err := r.inputs(e, site, siteErr)
	if err != nil {
		return err
	}
	path := r.path(e)
	result, old := r.earlier(path, inputs), true
	if result == nil {
		old = false
		if result = planOne(ctx, e, site, siteErr, terrain); result == nil {
			return nil // the context has ended
		}
		result.Format, result.Inputs, result.ID, result.Line = resultFormat, inputs, e.ID, e.Line
		r.shorten(result)
		if err := writeJSON(path, result); err != nil {
			return r.unwritable(err)
		}
	}
	r.keep(i, result, old)
	return nil
}

// keep takes a result into the table; what is drawn stays in its file.
func (r *runner) keep(i int, result *Result, old bool) {
	lean := *result
	lean.Creek = nil
	lean.Line = r.entries[i].Line
	lean.Pipes = make([]Pipe, len(result.Pipes))
	for k, p := range result.Pipes {
		p.Line = nil
		lean.Pipes[k] = p
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.results[i] = &lean
	r.done++
	if !old {
		r.planned++
	}
	if r.options.Record != nil {
		r.options.Record(r.done, len(r.entries))
	}
}

// inputs is the checksum of all that the result of an entry hangs on.
func (r *runner) inputs(e *Entry, site *plan.Site, siteErr error) (string, error) {
	sum := sha256.New()
	fmt.Fprintln(sum, resultFormat, plan.Version, r.ground, e.ID)
	if siteErr != nil {
		fmt.Fprintln(sum, siteErr)
	} else {
		print, err := site.Fingerprint()
		if err != nil {
			return "", err
		}
		fmt.Fprintln(sum, print)
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}

// earlier is the result that an earlier run left, nil when there is none for
// these inputs. What failed on the network is tried again.
func (r *runner) earlier(path, inputs string) *Result {
	if r.options.Fresh {
		return nil
	}
	result, err := readResult(path)
	if err != nil || result.Inputs != inputs || strings.HasPrefix(result.Code, "remote_") {
		return nil
	}
	return result
}

// planOne plans one creek; nil when the context ended first. Whatever a creek
// does to the program stays with this creek.
func planOne(ctx context.Context, e *Entry, site *plan.Site, siteErr error, terrain *plan.Terrain) (result *Result) {
	legs := e.Legs
	defer func() {
		if broken := recover(); broken != nil {
			result = failure(e, fmt.Errorf("the program broke off on this creek: %v", broken))
		}
		if result != nil {
			result.drawCreek(legs)
		}
	}()
	if siteErr != nil {
		return failure(e, siteErr)
	}
	if len(legs) == 0 {
		var err error
		if legs, err = plan.CreekLine(ctx, site); err != nil {
			return failure(e, err)
		}
		if len(legs) == 0 {
			return failure(e, e.fault("list_line", "the creek has no line", "draw it again"))
		}
	}
	p, err := plan.Screen(ctx, site, terrain)
	switch {
	case ctx.Err() != nil:
		return nil
	case err != nil:
		return failure(e, err)
	}
	return resultOf(p)
}

// shorten takes the list's own folder out of the names of files in a text, so
// that results do not hang on where the list lies.
func (r *runner) shorten(result *Result) {
	for i := range r.entries {
		dir, err := filepath.Abs(filepath.Dir(r.entries[i].File))
		if err == nil && dir != string(filepath.Separator) {
			result.Text = strings.ReplaceAll(result.Text, dir+string(filepath.Separator), "")
		}
		return // they all come from one list
	}
}

// path is the file of an entry's result.
func (r *runner) path(e *Entry) string {
	sum := sha256.Sum256([]byte(e.ID))
	return filepath.Join(r.options.Folder, creeksFolder, fileWord(e.ID)+"-"+hex.EncodeToString(sum[:4])+".json")
}

// fileWord makes the beginning of a file's name out of an ID.
func fileWord(id string) string {
	word := strings.Map(func(c rune) rune {
		switch {
		case c >= 'a' && c <= 'z', c >= '0' && c <= '9':
			return c
		case c >= 'A' && c <= 'Z':
			return c - 'A' + 'a'
		}
		return '-'
	}, id)
	word = strings.Trim(word[:min(len(word), 40)], "-")
	if word == "" {
		return "creek"
	}
	return word
}

func (r *runner) unwritable(err error) error {
	return &finding.Fault{Code: "folder_unwritable", File: r.options.Folder, Text: err.Error(), Hint: "choose another folder: --out DIR", Err: err}
}

func readResult(path string) (*Result, error) {
	content, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	result := &Result{}
	if err := json.Unmarshal(content, result); err != nil {
		return nil, err
	}
	if result.Format != resultFormat {
		return nil, errors.New("another format")
	}
	return result, nil
}
