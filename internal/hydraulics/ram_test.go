package hydraulics

import (
	"testing"
)

func BenchmarkCycle(b *testing.B) {
	f, p := cold(b), product(b, "steel Sch 40 2 in").Pipe
	r := DefaultRam(p.Inside)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := r.Cycle(f, p, 12, 3, 30, 1.2); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkRunning(b *testing.B) {
	in := standpipeSystem(b)
	in.Delivery = Run{Pipe: product(b, "PE100 SDR 11 DN25").Pipe, LengthM: 150}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := in.Running(1.2); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkTunedTo(b *testing.B) {
	in := standpipeSystem(b)
	in.Delivery = Run{Pipe: product(b, "PE100 SDR 11 DN25").Pipe, LengthM: 150}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := in.TunedTo(70.0/60e3, [2]float64{0.35, 0.8}); err != nil {
			b.Fatal(err)
		}
	}
}
