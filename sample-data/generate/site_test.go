package main

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"route/internal/geodesy"
	"route/internal/plan"
)

// The hand-written site files are read by the program's own reader, which
// refuses unknown keys, and agree with the model.
func TestSiteFilesAgreeWithTheModel(t *testing.T) {
	for _, s := range sites {
		name := filepath.Join(sitesDir(t), s.folder, "site.yaml")
		file, err := os.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		got, err := plan.ReadSite(name, file)
		_ = file.Close()
		if err != nil {
			t.Fatal(err)
		}
		place := s.place()
		if got.Name != place.Name {
			t.Errorf("%s: name %q", s.folder, got.Name)
		}
		// Both sites ask for 1500 L a day: one in a word, one as a sum of uses.
		if perDay := got.Demand * 1000 * 86400; math.Abs(perDay-1500) > 1e-6 {
			t.Errorf("%s: demand %g L/day, want 1500", s.folder, perDay)
		}
		if math.Abs(got.Tank.InletAboveGroundM-place.Tank.InletAboveGroundM) > 1e-9 {
			t.Errorf("%s: inlet %g m above ground, the model has %g m", s.folder, got.Tank.InletAboveGroundM, place.Tank.InletAboveGroundM)
		}
		if got.Tank.Waypoint == "" {
			truth := place.Truth().Tank
			if off, _ := geodesy.Distance(got.Tank.At, geodesy.LonLat{Lon: truth.Lon, Lat: truth.Lat}); off > 0.05 {
				t.Errorf("%s: the tank is %.2f m from where the model has it", s.folder, off)
			}
		} else if got.Tank.Waypoint != "tank" {
			t.Errorf("%s: waypoint %q is not in the track file", s.folder, got.Tank.Waypoint)
		}
		for _, other := range append([]string{got.Creek, got.Land}, got.Terrain...) {
			if _, err := os.Stat(filepath.Join(filepath.Dir(name), other)); err != nil {
				t.Errorf("%s: %v", s.folder, err)
			}
		}
	}
}
