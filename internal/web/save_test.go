package web

import (
	"encoding/json"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"route/internal/plan"
)

// TestSaveKeepsTheRest saves a pin and a reading: comments, order, mode and
// every other byte stay.
func TestSaveKeepsTheRest(t *testing.T) {
	s := serve(t)
	before, err := os.ReadFile(s.file)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(s.file, 0o640); err != nil {
		t.Fatal(err)
	}
	const body = `{"units":"us","wish":{"pins":{"pump":706.22},"tank":null,"readings":[{"from":"612 m","to":"640 m","drop":"1.2 m","sigma":"0.05 m","by":"level"}]}}`
	status, answer := s.post("/api/save", json.RawMessage(body))
	if status != http.StatusOK {
		t.Fatalf("status %d: %s", status, answer)
	}
	after, err := os.ReadFile(s.file)
	if err != nil {
		t.Fatal(err)
	}
	rest := string(after)
	for _, added := range []string{"pins:\n  pump: \"2316.99 ft\"\n", "field:\n  - {drop: \"1.2 m\", from: \"612 m\", to: \"640 m\", by: \"level\", sigma: \"0.05 m\"}\n"} { // 706.22 / 0.3048 = 2316.9948
		if !strings.Contains(rest, added) {
			t.Errorf("not in the file: %q", added)
		}
		rest = strings.Replace(rest, added, "", 1)
	}
	if rest != string(before) {
		t.Errorf("the rest of the file changed:\n%s", after)
	}
	if info, err := os.Stat(s.file); err != nil || info.Mode().Perm() != 0o640 {
		t.Errorf("the mode is now %v (%v)", info.Mode(), err)
	}
	if left, err := filepath.Glob(filepath.Join(filepath.Dir(s.file), ".site-*")); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v (%v)", left, err)
	}
}

// TestSaveMovesTheTank saves another place for a tank that was a waypoint.
func TestSaveMovesTheTank(t *testing.T) {
	s := serve(t)
	at := s.now.Load().desk.Tank()
	moved := point{cm(at[0] - 4), cm(at[1] + 3)}
	want := s.now.Load().desk.Spot(orb.Point(moved))
	text, err := json.Marshal(moved)
	if err != nil {
		t.Fatal(err)
	}
	status, answer := s.post("/api/save", json.RawMessage(`{"units":"us","wish":{"pins":{},"tank":`+string(text)+`,"readings":[]}}`))
	if status != http.StatusOK {
		t.Fatalf("status %d: %s", status, answer)
	}
	if got := s.now.Load().desk.Tank(); math.Hypot(got[0]-moved[0], got[1]-moved[1]) > 0.02 {
		after, _ := os.ReadFile(s.file)
		t.Errorf("the tank is at %v, want %v (%s):\n%s", got, moved, want.LatLon(), after)
	}
}

// TestSaveRefuses holds that nothing is written that cannot be planned, and
// nothing at all where the site is not a file.
func TestSaveRefuses(t *testing.T) {
	s := serve(t)
	before, err := os.ReadFile(s.file)
	if err != nil {
		t.Fatal(err)
	}
	if status, answer := s.post("/api/save", json.RawMessage(`{"units":"us","wish":{"pins":{"pump":9e6},"tank":null,"readings":[]}}`)); status != http.StatusUnprocessableEntity {
		t.Errorf("a pin off the creek: status %d: %s", status, answer)
	}
	if after, err := os.ReadFile(s.file); err != nil || string(after) != string(before) {
		t.Errorf("the file was touched (%v)", err)
	}

	flags := quick(t, s.file)
	for k, name := range flags.Terrain {
		flags.Terrain[k] = filepath.Join(filepath.Dir(s.file), name)
	}
	for _, name := range []*string{&flags.Creek, &flags.Land, &flags.Catalog} {
		if *name != "" {
			*name = filepath.Join(filepath.Dir(s.file), *name)
		}
	}
	flags.File = ""
	other, err := New(t.Context(), flags, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	if w := ask(other.Handler(), "/api/save", `{`+emptyWish+`}`); w.Code != http.StatusConflict || refusalOf(t, w).Hint == "" {
		t.Errorf("a site of flags: status %d: %s", w.Code, w.Body)
	}
}

// TestSavedSiteStaysInItsFolder changes the site file behind the server's back
// so that it reaches outside: saving does not follow it.
func TestSavedSiteStaysInItsFolder(t *testing.T) {
	s := serve(t)
	content, err := os.ReadFile(s.file)
	if err != nil {
		t.Fatal(err)
	}
	outside := filepath.Join(t.TempDir(), "creek.gpx")
	if err := os.WriteFile(outside, []byte("<gpx/>"), 0o600); err != nil {
		t.Fatal(err)
	}
	site, err := plan.OpenSite(s.file)
	if err != nil {
		t.Fatal(err)
	}
	changed := strings.Replace(string(content), site.Creek, outside, 1)
	if changed == string(content) {
		t.Fatal("the site file does not name its creek")
	}
	if err := os.WriteFile(s.file, []byte(changed), 0o600); err != nil {
		t.Fatal(err)
	}
	w := ask(s.Handler(), "/api/save", `{"units":"us","wish":{"pins":{"pump":706.22},"tank":null,"readings":[]}}`)
	if w.Code != http.StatusUnprocessableEntity || refusalOf(t, w).Code != "file_outside" {
		t.Errorf("status %d: %s", w.Code, w.Body)
	}
}
