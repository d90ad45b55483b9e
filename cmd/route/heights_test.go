package main

import (
	"testing"

	"route/internal/dem"
	"route/internal/geodesy"
)

// openHeights reads single heights of a raster.
func openHeights(t *testing.T, raster, zUnit string) func(geodesy.LonLat) (float64, bool) {
	t.Helper()
	source, err := dem.Open([]string{raster}, dem.Options{ZUnit: zUnit})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { source.Close() })
	return func(p geodesy.LonLat) (float64, bool) {
		if !source.Covers(p) {
			return 0, false
		}
		z, err := source.HeightNear(p)
		return z, err == nil
	}
}
