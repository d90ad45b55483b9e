package main

import (
	"testing"
)

// BenchmarkDemo is the whole job on the invented sites, files written
// included, after the process has started.
func BenchmarkDemo(b *testing.B) {
	for _, name := range []string{"fernhollow", "eilwern"} {
		b.Run(name, func(b *testing.B) {
			site, dir := demo(b, name), b.TempDir()
			for b.Loop() {
				if code, _, stderr := route("plan", site, "--out", dir); code != exitDone {
					b.Fatalf("exit code %d: %s", code, stderr)
				}
			}
		})
	}
}
