package screen

import (
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// BenchmarkScreen plans 1,000 creeks (100 with -short), with one worker and
// with two. Besides the time it says how many processors were at work, and the
// processor's time for a creek: on a machine with other work to do the first
// tells how far the workers stand in each other's way.
func BenchmarkScreen(b *testing.B) {
	n := 1000
	if testing.Short() {
		n = 100
	}
	v := fernhollow(b)
	base, entries := v.base(b), v.creeks(n, 1)
	for _, workers := range []int{1, 2} {
		b.Run(fmt.Sprintf("workers=%d", workers), func(b *testing.B) {
			dir := b.TempDir()
			runs, busy := 0, processorTime(b)
			for b.Loop() {
				runs++
				folder := filepath.Join(dir, fmt.Sprint(runs))
				if _, err := Run(b.Context(), base, entries, Options{Folder: folder, Workers: workers}); err != nil {
					b.Fatal(err)
				}
				if err := os.RemoveAll(folder); err != nil {
					b.Fatal(err)
				}
			}
			busy = processorTime(b) - busy
			creeks := float64(runs * n)
			b.ReportMetric(creeks/b.Elapsed().Seconds(), "creeks/s")
			b.ReportMetric(busy.Seconds()/b.Elapsed().Seconds(), "processors")
			b.ReportMetric(1000*busy.Seconds()/creeks, "cpu-ms/creek")
		})
	}
}

// processorTime is what this process has used so far.
func processorTime(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
