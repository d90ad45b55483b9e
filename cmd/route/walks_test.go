package main

import (
	"math"
	"path/filepath"
	"slices"
	"testing"
)

// Walks that people bring home, along the same analytic ravine: each gives the
// fall of the creek, or says what was taken instead.
func TestOddWalks(t *testing.T) {
	v := newRavine()
	dir := t.TempDir()
	ground, creek := v.write(t, dir), v.track(t, dir)
	clean := profiled(t, flags(ground, creek)...)
	walk := v.walk()
	saved := func(name string, legs ...[]fix) string {
		body := "<trk>"
		for _, leg := range legs {
			body += segment(leg)
		}
		return save(t, filepath.Join(dir, name+".gpx"), gpx(body+"</trk>"))
	}
	up := slices.Clone(walk)
	slices.Reverse(up)
	r := profiled(t, flags(ground, saved("up", up))...)
	wantFall(t, "walked upstream", r, clean.fall(), 0.01)
	r.message(t, "note", "creek_walked_upstream", "upstream")

	beside := func(m float64) []fix {
		var out []fix
		for _, f := range walk {
			lon, lat := v.lonLat(f.x, v.creekY(f.x)+m)
			out = append(out, fix{lon: lon, lat: lat, x: f.x})
		}
		return out
	}
	// A bank of 8 m: the ends are found within half a sigma of the track.
	wantFall(t, "on the bank", profiled(t, flags(ground, saved("bank", beside(8)))...), v.fallM(), 0.35)

	half := len(walk) / 2
	r = profiled(t, flags(ground, saved("out and back", append(slices.Clone(walk), up...)))...)
	wantFall(t, "out and back", r, clean.fall(), 0.05)
	r.message(t, "note", "track_retraced")
	r = profiled(t, flags(ground, saved("gap", walk[:half-8], walk[half+8:]))...)
	wantFall(t, "a gap", r, clean.fall(), 0.05)
	r.message(t, "warning", "creek_gap", "no points", "check")

	cloud := slices.Clone(walk[:half])
	for k := range 60 { // a halt: 8 m about a place
		a := 2.4 * float64(k)
		lon, lat := v.lonLat(walk[half].x+8*math.Sin(a), v.creekY(walk[half].x)+8*math.Cos(1.7*a))
		cloud = append(cloud, fix{lon: lon, lat: lat})
	}
	r = profiled(t, flags(ground, saved("cloud", append(cloud, walk[half:]...)))...)
	wantFall(t, "a halt", r, clean.fall(), 0.05)
	r.message(t, "note", "track_halts", "stood still")

	jump := slices.Insert(slices.Clone(walk), half, fix{lon: walk[half].lon, lat: walk[half].lat + 0.0006})
	r = profiled(t, flags(ground, saved("jump", jump))...)
	wantFall(t, "a jump", r, clean.fall(), 0.05)
	r.message(t, "note", "fixes_spike")

	// Up a tributary that comes in at 250 m from the left: its water is 6 %
	// steeper than level, its bed as wide as the creek's.
	forked := v
	forked.name = "forked"
	forked.z = func(x, y, creekY, z float64) float64 {
		if off := y - creekY; x < 250 && off > 0 && math.Abs(off-(250-x)) < 2 {
			return math.Min(z, ravineTopM-ravineGrade*250+0.06*math.Sqrt2*off)
		}
		return z
	}
	both := forked.write(t, dir)
	var trib []fix
	for x := 215.0; x < 250; x += 4 {
		lon, lat := v.lonLat(x, v.creekY(x)+250-x)
		trib = append(trib, fix{lon: lon, lat: lat, x: x})
	}
	for _, f := range walk {
		if f.x >= 250 {
			trib = append(trib, f)
		}
	}
	r = profiled(t, flags(both, saved("tributary", trib))...)
	r.message(t, "note", "creek_junction", "two low lines", "which of them carries the water")
	// The tributary's own fall down to the fork, and the creek's below it; the
	// last fix of the walk is at 410 m.
	wantFall(t, "tributary", r, 0.06*math.Sqrt2*35+ravineGrade*(410-250), 0.5)
}
