package plan

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"route/internal/geodesy"
)

// A change of a setting, of a file that the site names or of the drawn creek
// shows in the fingerprint; reading the same site again does not.
func TestFingerprintTellsSitesApart(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write("prices.csv", "id,price,currency\n")
	read := func() *Site {
		s, err := ReadSettings(filepath.Join(dir, "site.yaml"), strings.NewReader("terrain: [a.tif]\ncatalog: prices.csv\ncreek_flow: {low: \"8 L/s\"}\nfield: [{levels: levels.csv}]\n"))
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	seen := map[string]string{}
	look := func(what string, s *Site) {
		t.Helper()
		print, err := s.Fingerprint()
		if err != nil {
			t.Fatal(err)
		}
		if other, ok := seen[print]; ok {
			t.Errorf("%s looks like %s", what, other)
		}
		seen[print] = what
	}
	base := read()
	look("the site", base)
	again, err := read().Fingerprint()
	if err != nil || seen[again] != "the site" {
		t.Errorf("the same site read again differs (%v)", err)
	}

	demand := base.Clone()
	if err := demand.Set("demand", "900 L/day"); err != nil {
		t.Fatal(err)
	}
	look("another demand", demand)
	if base.Given("demand") || base.Demand != 0 {
		t.Error("a clone changed its original")
	}
	drawn := base.Clone()
	drawn.DrawCreek("a layer", [][]geodesy.LonLat{{{Lon: 1, Lat: 2}, {Lon: 1.1, Lat: 2}}})
	look("a drawn creek", drawn)
	moved := base.Clone()
	moved.DrawCreek("a layer", [][]geodesy.LonLat{{{Lon: 1, Lat: 2}, {Lon: 1.2, Lat: 2}}})
	look("another line", moved)
	write("prices.csv", "id,price,currency\nram-1,1,USD\n")
	look("other prices", base)
	write("levels.csv", "point\n")
	look("a book that is there now", base)
}

// The settings that creeks share need no creek, and are otherwise read as a
// site file is.
func TestReadSettingsNeedsNoCreek(t *testing.T) {
	if _, err := ReadSite("s.yaml", strings.NewReader("terrain: [a.tif]\n")); err == nil {
		t.Error("a site without a creek was taken")
	}
	if _, err := ReadSettings("s.yaml", strings.NewReader("terrain: [a.tif]\n")); err != nil {
		t.Error(err)
	}
	if _, err := ReadSettings("s.yaml", strings.NewReader("terain: [a.tif]\n")); err == nil {
		t.Error("an unknown key was taken")
	}
}
