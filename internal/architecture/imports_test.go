package architecture

import (
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"go/ast"
)

// rule says what one package may import. Paths of ours are folders of the
// module. Tests are free: they may hold a package against anything.
type rule struct {
	// may lists the packages of ours that may be imported directly.
	may []string
	// never lists what may not be imported, ours or not; a path stands for all
	// below it. Packages of ours may not even be reached through others.
	never  []string
	reason string
}

const (
	godal = "github.com/airbusgeo/godal"
	gpxgo = "github.com/tkrajina/gpxgo"
	orb   = "github.com/paulmach/orb"
	gonum = "gonum.org/v1/gonum"
)

// words are the two packages in which the program speaks to people.
var words = []string{"internal/finding", "internal/quantity"}

func with(more ...string) []string { return append(slices.Clone(words), more...) }

// rules has a row for every package that exists or is foreseen.
var rules = map[string]rule{
	"cmd/route": {
		with("internal/plan", "internal/screen", "internal/export", "internal/packet", "internal/commission", "internal/web", "internal/manual", "internal/interview", "internal/check", "internal/check/values", "internal/hydraulics", "internal/catalog"),
		[]string{godal, gpxgo, gonum, orb},
		"the command parses arguments and prints; what it would compute belongs to plan",
	},
	"internal/quantity": {
		nil, []string{"os", "io", "net", "time", orb, gonum},
		"units stand below everything; nothing of ours lies beneath them",
	},
	"internal/finding": {
		[]string{"internal/quantity"}, []string{"os", "io", "net", orb},
		"findings are data that every package can make; they know units and nothing else",
	},
	"internal/geodesy": {
		words, []string{godal, "os", "io", "net"},
		"the ellipsoid is a formula; it must work and be tested without GDAL and files",
	},
	"internal/dem": {
		with("internal/geodesy"), []string{"internal/profile", "internal/hydraulics", gpxgo, "net"},
		"a raster becomes a surface here and nothing is concluded from it",
	},
	"internal/survey": {
		with("internal/geodesy"), []string{godal, "internal/dem", "net"},
		"field measurements are read apart from the terrain, so that they can be held against it",
	},
	"internal/profile": {
		words, []string{"internal/dem", godal, gpxgo, "internal/hydraulics", "os", "net"},
		"a profile is made from any Ground, also a formula; it neither reads files nor knows pipes",
	},
	"internal/hydraulics": {
		nil, []string{orb, "os", "io", "time", "net"},
		"physics is float64 to float64: it imports nothing of ours, no geometry and no I/O",
	},
	"internal/terrain": {
		with("internal/profile"), []string{"internal/dem", "internal/optimize", "os", "net"},
		"ways over the ground are found on any Ground; files and prices stay outside",
	},
	"internal/catalog": {
		with("internal/hydraulics"), []string{"internal/profile", "internal/optimize", "net"},
		"what can be bought does not depend on where it is laid",
	},
	"internal/optimize": {
		with("internal/profile", "internal/terrain", "internal/hydraulics", "internal/catalog"),
		[]string{"internal/dem", "internal/geodesy", godal, gpxgo, "os", "net"},
		"the search is a pure function of its problem",
	},
	"internal/plan": {
		with("internal/geodesy", "internal/dem", "internal/survey", "internal/profile", "internal/hydraulics",
			"internal/terrain", "internal/catalog", "internal/optimize"),
		[]string{"flag", "net/http", "internal/export", godal, gpxgo},
		"plan is the program without its faces: no flags, no server, no output formats",
	},
	"internal/export": {
		with("internal/plan", "internal/ogr", "internal/catalog", "internal/geodesy", "internal/profile", "internal/terrain"),
		[]string{godal, gpxgo, "net"},
		"an exporter writes down a Plan; if it had to load or search, the Plan would be incomplete",
	},
	"internal/packet": {
		with("internal/plan", "internal/export"),
		[]string{godal, gpxgo, gonum, "net"},
		"the packet prints a Plan; what it would compute belongs to plan",
	},
	"internal/commission": {
		with("internal/plan", "internal/hydraulics"),
		[]string{godal, gpxgo, orb, "net"},
		"readings are held against a Plan; how the installation runs is physics",
	},
	"internal/ogr": {
		nil, []string{gpxgo, orb, "net"},
		"layers are written for whoever fills them in; what they show is not known here",
	},
	"internal/screen": {
		with("internal/plan", "internal/dem", "internal/geodesy", "internal/optimize", "internal/export", "internal/ogr"), []string{godal, gpxgo, "net"},
		"many creeks are planned one by one; what holds for a single one is computed in plan",
	},
	"internal/web": {
		with("internal/plan", "internal/export", "internal/packet"),
		[]string{godal, gpxgo},
		"the page shows the Plan that the command line shows",
	},
	"internal/manual": {
		nil, []string{godal, gpxgo, gonum, orb, "os", "net"},
		"the manual is written from the description of the command line alone",
	},
	"internal/interview": {
		with("internal/plan"), []string{godal, gpxgo, gonum, orb, "net"},
		"the beginner is asked for what a site file holds, and the answers are checked by what reads it",
	},
	"internal/check": {
		words, nil,
		"published values are held against functions that are handed in; the reader of the files knows none of them",
	},
	"internal/check/values": {
		with("internal/check", "internal/hydraulics", "internal/catalog"), []string{"internal/dem", "internal/plan", "os", "net"},
		"published values are held against the pure packages; they run on a machine without any terrain",
	},
	"sample-data": {
		nil, []string{godal, orb},
		"the written part of the sample sites is text only",
	},
	"sample-data/valley": {
		[]string{"internal/geodesy"}, []string{godal, gpxgo},
		"the truth about the sample sites must not come from the program that is tested on it",
	},
	"sample-data/generate": {
		with("sample-data", "sample-data/valley", "internal/geodesy"), []string{gpxgo, "internal/dem", "net"},
		"the truth about the sample sites must not come from the program that is tested on it",
	},
	"sample-data/made": {
		nil, []string{godal, gpxgo, orb, gonum, "net"},
		"the tests take the sample sites as files, from the command that writes them",
	},
	"internal/architecture": {nil, nil, "tests only"},
}

// everywhere lists what no package may import, except those named.
var everywhere = []struct {
	path   string
	except []string
	reason string
}{
	{godal, []string{"internal/dem", "internal/ogr", "sample-data/generate"}, "GDAL is C and not safe for concurrent use; one package that reads and one that writes know its pitfalls"},
	{gpxgo, []string{"internal/survey"}, "the GPX library turns absent values into zeros; one package guards against it"},
	{orb + "/geo", nil, "it measures on a sphere and is up to 0.7 % off; lengths are planar in the site's frame, or geodesy.Distance"},
	{orb + "/geojson", nil, "it brings a database driver along; GeoJSON is written in export"},
	{"net/http", []string{"internal/web", "cmd/route"}, "only the map page is served"},
	{"flag", []string{"sample-data/generate"}, "arguments are parsed in cmd/route, by its own library"},
	{"log", nil, "what a person should know is a finding, and everything else is silent"},
	{"math/rand", nil, "math/rand/v2 with a printed or given seed is the only source of chance"},
	{"unsafe", nil, "no speed is worth it here"},
}

// below tells whether a path is the other one or lies below it.
func below(p, parent string) bool { return p == parent || strings.HasPrefix(p, parent+"/") }

// ours gives the folder of a package of this module.
func ours(p string) (folder string, ok bool) { return strings.CutPrefix(p, module+"/") }

// importGraph gives each package's imports outside tests.
func importGraph(t *testing.T) map[string]map[string]bool {
	_, all := sources(t)
	graph := map[string]map[string]bool{}
	for _, s := range all {
		if graph[s.pack] == nil {
			graph[s.pack] = map[string]bool{}
		}
		if s.test {
			continue
		}
		for _, p := range s.imports() {
			graph[s.pack][p] = true
		}
	}
	return graph
}

// reached gives the packages of ours that a package imports, also through
// others.
func reached(graph map[string]map[string]bool, pack string, seen map[string]bool) map[string]bool {
	for p := range graph[pack] {
		if folder, ok := ours(p); ok && !seen[folder] {
			seen[folder] = true
			reached(graph, folder, seen)
		}
	}
	return seen
}

func TestImports(t *testing.T) {
	graph := importGraph(t)
	for _, pack := range slices.Sorted(maps.Keys(graph)) {
		r, known := rules[pack]
		if !known {
			t.Errorf("%s has no row in this test: say there what it may import, and why", pack)
			continue
		}
		for _, p := range slices.Sorted(maps.Keys(graph[pack])) {
			if folder, ok := ours(p); ok && !slices.Contains(r.may, folder) {
				t.Errorf("%s imports %s: %s", pack, folder, r.reason)
			}
			for _, never := range r.never {
				if below(p, never) {
					t.Errorf("%s imports %s: %s", pack, p, r.reason)
				}
			}
			for _, rule := range everywhere {
				if p == rule.path && !slices.Contains(rule.except, pack) || below(p, rule.path) && strings.Contains(rule.path, ".") && !slices.Contains(rule.except, pack) {
					t.Errorf("%s imports %s: %s", pack, p, rule.reason)
				}
			}
		}
		for folder := range reached(graph, pack, map[string]bool{}) {
			if slices.Contains(r.never, folder) {
				t.Errorf("%s reaches %s through another package: %s", pack, folder, r.reason)
			}
		}
	}
}

// orb/geo is as wrong in a test as in the program.
func TestNoSphereInTests(t *testing.T) {
	_, all := sources(t)
	for _, s := range all {
		for _, p := range s.imports() {
			if below(p, orb+"/geo") {
				t.Errorf("%s imports %s, which measures on a sphere", s.name, p)
			}
		}
	}
}

// Packages that start goroutines are run under the race detector.
func TestGoroutinesAreRaced(t *testing.T) {
	makefile, err := os.ReadFile(filepath.Join(root, "Makefile"))
	if err != nil {
		t.Fatal(err)
	}
	var raced []string
	for line := range strings.Lines(string(makefile)) {
		if list, ok := strings.CutPrefix(line, "RACE = "); ok {
			raced = strings.Fields(list)
		}
	}
	if len(raced) == 0 {
		t.Fatal("the Makefile has no line that starts with RACE =")
	}
	_, all := sources(t)
	for _, s := range all {
		// The signal handler of the command and the generator of the sample
		// data are seen by nobody else.
		if s.test || s.pack == "cmd/route" {
			continue
		}
		ast.Inspect(s.file, func(n ast.Node) bool {
			starts := false
			switch n := n.(type) {
			case *ast.GoStmt:
				starts = true
			case *ast.CallExpr: // sync.WaitGroup.Go, errgroup.Group.Go
				selector, ok := n.Fun.(*ast.SelectorExpr)
				starts = ok && selector.Sel.Name == "Go"
			}
			if starts && !slices.Contains(raced, "./"+s.pack) {
				t.Errorf("%s starts a goroutine: add ./%s to RACE in the Makefile", s.name, s.pack)
			}
			return true
		})
	}
}
