package profile

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"

	"route/internal/finding"
)

func TestStationPrints(t *testing.T) {
	for s, want := range map[Station]string{0: "0+000.00", 123.45: "0+123.45", 1234.5: "1+234.50", 999.996: "1+000.00", -3.2: "-0+003.20", 12005: "12+005.00"} {
		if got := s.String(); got != want {
			t.Errorf("%v prints %q, want %q", float64(s), got, want)
		}
	}
}

// TestAlignmentByHand: an L of 3 m east and 4 m north.
func TestAlignmentByHand(t *testing.T) {
	a, err := NewAlignment(orb.LineString{{0, 0}, {0, 0}, {3, 0}, {3, 0}, {3, 4}}, 10)
	if err != nil {
		t.Fatal(err)
	}
	if a.Start() != 10 || a.End() != 17 || a.LengthM() != 7 || len(a.Line()) != 3 {
		t.Errorf("from %v to %v, %v m, %d vertices", a.Start(), a.End(), a.LengthM(), len(a.Line()))
	}
	for _, c := range []struct {
		p      orb.Point
		s      Station
		offset float64
	}{
		{orb.Point{2, 2}, 15, -1}, // left, nearer to the second side
		{orb.Point{1, 2}, 11, -2}, // as near to both: the first counts
		{orb.Point{1, 0.5}, 11, -0.5},
		{orb.Point{1, -1}, 11, 1},
		{orb.Point{4, -1}, 13, math.Sqrt2}, // outside the corner
		{orb.Point{5, 2}, 15, 2},
		{orb.Point{-3, 4}, 10, -5}, // before the start, to the left
		{orb.Point{3, 6}, 17, 2},   // straight on beyond the end
	} {
		s, off := a.StationOf(c.p)
		if math.Abs(float64(s-c.s)) > 1e-12 || math.Abs(off-c.offset) > 1e-12 {
			t.Errorf("%v is at %v, %v; want %v, %v", c.p, s, off, c.s, c.offset)
		}
	}
	for s, want := range map[Station]orb.Point{5: {0, 0}, 10: {0, 0}, 12: {2, 0}, 13: {3, 0}, 16: {3, 3}, 17: {3, 4}, 99: {3, 4}} {
		if got := a.PointAt(s); got != want {
			t.Errorf("station %v is at %v, want %v", s, got, want)
		}
	}
}

func TestAlignmentRefuses(t *testing.T) {
	for code, line := range map[string]orb.LineString{
		"line_too_short":  {{1, 1}, {1, 1}},
		"line_not_finite": {{1, 1}, {math.NaN(), 1}, {2, 2}},
	} {
		_, err := NewAlignment(line, 0)
		var f *finding.Fault
		if !errors.As(err, &f) || f.Code != code {
			t.Errorf("%v gives %v, want %s", line, err, code)
		}
	}
	if _, err := NewAlignment(nil, 0); err == nil {
		t.Error("an empty line is taken")
	}
}

// TestAlignmentRoundTrips on random lines that cross themselves: the distance
// is that of a search over all segments; a point of the line has no offset;
// the station found names the same place.
func TestAlignmentRoundTrips(t *testing.T) {
	const seed = 30
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 0))
	for range 300 {
		line := orb.LineString{}
		for range 2 + rng.IntN(120) {
			line = append(line, orb.Point{100 * rng.Float64(), 100 * rng.Float64()})
		}
		a, err := NewAlignment(line, Station(rng.NormFloat64()))
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(a.LengthM()-lengthOf(line)) > 1e-9 {
			t.Fatalf("length %v, vertices say %v", a.LengthM(), lengthOf(line))
		}
		for range 20 {
			s := a.Start() + Station(rng.Float64()*a.LengthM())
			p := a.PointAt(s)
			back, off := a.StationOf(p)
			if math.Abs(off) > 1e-9 || distance(p, a.PointAt(back)) > 1e-9 {
				t.Fatalf("%v is at %v with offset %v, %v away", s, back, off, distance(p, a.PointAt(back)))
			}
			q := orb.Point{140*rng.Float64() - 20, 140*rng.Float64() - 20}
			back, off = a.StationOf(q)
			want := math.Inf(1)
			for i := 1; i < len(line); i++ {
				d2 := planar.DistanceFromSegmentSquared(line[i-1], line[i], q)
				want = min(want, math.Sqrt(d2))
			}
			if math.Abs(math.Abs(off)-want) > 1e-9 || math.Abs(distance(q, a.PointAt(back))-want) > 1e-9 {
				t.Fatalf("%v: offset %v, want %v", q, off, want)
			}
		}
	}
}

// TestAlignmentSides: a place set out to a known side of a smooth line is
// found there, with the same station and offset.
func TestAlignmentSides(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 0))
	line := orb.LineString{}
	for e := 0.0; e <= 300; e += 0.5 {
		line = append(line, orb.Point{e, 20 * math.Sin(e/40)}) // tightest radius 80 m
	}
	a, err := NewAlignment(line, 0)
	if err != nil {
		t.Fatal(err)
	}
	for range 500 {
		s := Station(5 + rng.Float64()*(a.LengthM()-10))
		off := 20 * (rng.Float64() - 0.5)
		if math.Abs(off) < 0.1 {
			continue
		}
		p, dir := a.PointAt(s), a.DirectionAt(s, 0.25)
		back, got := a.StationOf(orb.Point{p[0] + off*dir[1], p[1] - off*dir[0]})
		if math.Abs(got-off) > 0.02 || math.Abs(float64(back-s)) > 0.3 {
			t.Errorf("seed 31: set out at %v, %v; found at %v, %v", s, off, back, got)
		}
	}
}
