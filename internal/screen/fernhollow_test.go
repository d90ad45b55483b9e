package screen

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"route/internal/geodesy"
	"route/internal/plan"
	"route/sample-data/made"
)

func TestMain(m *testing.M) {
	code := m.Run()
	if err := made.Remove(); err != nil {
		fmt.Fprintln(os.Stderr, err)
	}
	os.Exit(code)
}

// valley is the invented valley of Fernhollow, seen as a place with many
// creeks: stretches of its creek and tanks on its slopes.
type valley struct {
	dir     string
	thalweg []geodesy.LonLat // every metre
	tank    geodesy.LonLat
}

func fernhollow(t testing.TB) valley {
	t.Helper()
	dir, err := made.Sites()
	if err != nil {
		t.Fatal(err)
	}
	v := valley{dir: filepath.Join(dir, "fernhollow")}
	content, err := os.ReadFile(filepath.Join(v.dir, "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var truth struct {
		Thalweg []geodesy.LonLat
		Tank    geodesy.LonLat
	}
	if err := json.Unmarshal(content, &truth); err != nil {
		t.Fatal(err)
	}
	v.thalweg, v.tank = truth.Thalweg, truth.Tank
	return v
}

// base is what the creeks share; without re-plans, which take most of the time.
func (v valley) base(t testing.TB) *plan.Site {
	t.Helper()
	site, err := plan.ReadSettings(filepath.Join(v.dir, "base.yaml"), strings.NewReader(`
terrain: [ground.tif]
creek_flow: {low: "8 L/s"}
demand: "1500 L/day"
replans: 0
`))
	if err != nil {
		t.Fatal(err)
	}
	return site
}

// creeks are n stretches of 120 to 220 m, each with a tank of its own.
func (v valley) creeks(n int, seed uint64) []Entry {
	r := rand.New(rand.NewPCG(seed, 1))
	entries := make([]Entry, n)
	for i := range entries {
		metres := 120 + r.IntN(100)
		from := r.IntN(len(v.thalweg) - metres)
		shift := 4e-5 * (r.Float64() - 0.5)
		var leg []geodesy.LonLat
		for k := from; k < from+metres; k += 8 {
			leg = append(leg, geodesy.LonLat{Lon: v.thalweg[k].Lon + shift, Lat: v.thalweg[k].Lat})
		}
		middle := leg[len(leg)/2]
		entries[i] = Entry{ID: fmt.Sprintf("creek %d", i+1), File: "creeks.csv", Line: i + 2, Legs: [][]geodesy.LonLat{leg},
			Tank: fmt.Sprintf("%.7f,%.7f", middle.Lat+0.002*(r.Float64()-0.5), middle.Lon+0.002*(r.Float64()-0.5))}
	}
	return entries
}

// bytesOf reads every file below a folder.
func bytesOf(t *testing.T, folder string) map[string]string {
	t.Helper()
	all := map[string]string{}
	err := filepath.WalkDir(folder, func(path string, entry os.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		content, err := os.ReadFile(path)
		name, _ := filepath.Rel(folder, path)
		all[name] = string(content)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// same tells where two folders differ.
func same(t *testing.T, a, b string) {
	t.Helper()
	left, right := bytesOf(t, a), bytesOf(t, b)
	for name, content := range left {
		if other, ok := right[name]; !ok || other != content {
			t.Errorf("%s differs (there is one: %v)", name, ok)
		}
	}
	if len(left) != len(right) {
		t.Errorf("%d and %d files", len(left), len(right))
	}
}
