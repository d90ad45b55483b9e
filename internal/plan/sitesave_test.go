package plan

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"route/internal/finding"
)

// TestKeepsToFolder tries what a site file that came by mail could name.
func TestKeepsToFolder(t *testing.T) {
	outer := t.TempDir()
	folder := filepath.Join(outer, "site")
	write := func(name string) {
		t.Helper()
		if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, []byte("x"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	link := func(to, name string) {
		t.Helper()
		if err := os.Symlink(to, filepath.Join(folder, name)); err != nil {
			t.Fatal(err)
		}
	}
	write(filepath.Join(folder, "ground.tif"))
	write(filepath.Join(folder, "deep", "creek.gpx"))
	write(filepath.Join(outer, "secret.tif"))
	write(filepath.Join(outer, "site-two", "creek.gpx")) // a name that begins like the folder's
	link("ground.tif", "inside.tif")
	link(filepath.Join(outer, "secret.tif"), "out.tif")
	link("..", "up")
	link("loop", "loop")
	for _, c := range []struct {
		name string
		ok   bool
	}{
		{"ground.tif", true},
		{"deep/creek.gpx", true},
		{"deep/../ground.tif", true},
		{filepath.Join(folder, "ground.tif"), true},
		{"inside.tif", true},
		{"not there yet.tif", true},
		{"../secret.tif", false},
		{"deep/../../secret.tif", false},
		{filepath.Join(outer, "secret.tif"), false},
		{filepath.Join(outer, "site-two", "creek.gpx"), false},
		{"/etc/passwd", false},
		{"out.tif", false},
		{"up/secret.tif", false},
		{"up/site/../secret.tif", false},
		{"loop", false},
		{"https://example.org/ground.tif", false},
		{"file:///etc/passwd", false},
		{"/vsicurl/http://example.org/ground.tif", false},
		{"/vsizip/ground.zip/ground.tif", false},
		{"/vsimem/x", false},
		{"/vsistdin/", false},
	} {
		for _, role := range []string{"terrain", "creek", "creek_line", "land", "catalog", "levels"} {
			s := NewSite()
			s.File = filepath.Join(folder, "site.yaml")
			switch role {
			case "terrain":
				s.Terrain = []string{"ground.tif", c.name}
			case "creek":
				s.Creek = c.name
			case "creek_line":
				s.CreekLine = c.name
			case "land":
				s.Land = c.name
			case "catalog":
				s.Catalog = c.name
			case "levels":
				s.Field = []FieldReading{{Levels: c.name}}
			}
			err := s.KeepsToFolder()
			var fault *finding.Fault
			switch {
			case c.ok && err != nil:
				t.Errorf("%s: %s is refused: %v", role, c.name, err)
			case !c.ok && (!errors.As(err, &fault) || fault.Code != "file_outside" || fault.Hint == ""):
				t.Errorf("%s: %s gives %v", role, c.name, err)
			}
		}
	}
}

// TestSaveSite replaces a file as a whole: its mode and the link to it stay,
// nothing is left beside it, and what fails leaves it as it was.
func TestSaveSite(t *testing.T) {
	folder := t.TempDir()
	real, link := filepath.Join(folder, "kept", "real.yaml"), filepath.Join(folder, "site.yaml")
	if err := os.Mkdir(filepath.Dir(real), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(real, []byte(editable), 0o640); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(real, 0o640); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(real, link); err != nil {
		t.Fatal(err)
	}
	pin := []SiteEdit{{Key: "pins.pump", Value: `"394 ft"`}}
	for round, want := range []bool{true, false} {
		if changed, err := SaveSite(link, pin); err != nil || changed != want {
			t.Fatalf("round %d: changed %v, %v", round, changed, err)
		}
	}
	if got, err := os.ReadFile(real); err != nil || string(got) != editable+"pins:\n  pump: \"394 ft\"\n" {
		t.Errorf("the file is now %q (%v)", got, err)
	}
	if info, err := os.Lstat(link); err != nil || info.Mode()&os.ModeSymlink == 0 {
		t.Errorf("the link is gone (%v)", err)
	}
	if info, err := os.Stat(real); err != nil || info.Mode().Perm() != 0o640 {
		t.Errorf("the mode is %v (%v)", info.Mode(), err)
	}
	before, err := os.ReadFile(real)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := SaveSite(link, []SiteEdit{{Key: "pins.pump", Value: "\"1 ft\"\nterrain: [x]"}}); err == nil {
		t.Error("a value of two lines is taken")
	}
	if _, err := SaveSite(filepath.Join(folder, "none.yaml"), pin); err == nil {
		t.Error("a file that is not there is saved")
	}
	if after, err := os.ReadFile(real); err != nil || string(after) != string(before) {
		t.Errorf("a failure left %q (%v)", after, err)
	}
	entries, err := os.ReadDir(filepath.Dir(real))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".") {
			t.Errorf("%s is left behind", e.Name())
		}
	}
}
