package hydraulics

import (
	"errors"
	"math"
	"slices"
	"testing"
)

// A line worked by hand: laminar flow, so that the loss is Poiseuille's and
// linear in the length.
func TestGradeByHand(t *testing.T) {
	f := cold(t)
	p := Pipe{Inside: 0.02, Rating: 10}
	l := Line{Station: []float64{0, 30, 70}, Invert: []float64{10, 10, 9}, Pipe: []Pipe{p, p}, MinorK: []float64{0.5, 0}}
	const q = 1e-5
	g, err := Grade(f, l, 11, q)
	if err != nil {
		t.Fatal(err)
	}
	perM := 128 * f.KinematicViscosity * q / (math.Pi * Gravity * math.Pow(p.Inside, 4))
	v := q / p.Area()
	vh := v * v / (2 * Gravity)
	egl := []float64{11, 11 - 30*perM - 0.5*vh, 11 - (30+math.Hypot(40, 1))*perM - 0.5*vh}
	for i, want := range egl {
		if math.Abs(g.EGL[i]-want) > 1e-12 || math.Abs(g.HGL[i]-(want-vh)) > 1e-12 || math.Abs(g.Pressure[i]-(want-vh-l.Invert[i]-p.Inside)) > 1e-12 {
			t.Errorf("station %d: EGL %v, HGL %v, pressure %v; want EGL %v", i, g.EGL[i], g.HGL[i], g.Pressure[i], want)
		}
	}
	if g.LowestAt != 1 || math.Abs(g.MaxRatio-(g.HGL[2]-9)/10) > 1e-12 || g.Transition {
		t.Errorf("%+v", g)
	}
}

// A free surface between two legs takes away what the first brings too much,
// and refuses a first leg that does not reach it.
func TestGradePathStartsAgainAtTheBox(t *testing.T) {
	f := cold(t)
	p := product(t, "PE SIDR 15 2 in").Pipe
	leg := func(level float64, invert ...float64) Leg {
		return Leg{Line{Station: []float64{0, 60}, Invert: invert, Pipe: []Pipe{p}}, level}
	}
	lines, level, err := GradePath(f, []Leg{leg(10, 9.8, 8), leg(9, 8.5, 7)}, 0.5e-3)
	if err != nil {
		t.Fatal(err)
	}
	loss, err := HeadLoss(f, p, math.Hypot(60, 1.5), 0.5e-3, 1)
	if err != nil || math.Abs(level-(9-loss)) > 1e-12 || len(lines) != 2 {
		t.Errorf("standpipe at %v m, want %v m; %v", level, 9-loss, err)
	}
	var short *ShortLegError
	if _, _, err := GradePath(f, []Leg{leg(10, 9.8, 8), leg(9.99, 8.5, 7)}, 1e-3); !errors.As(err, &short) || short.Leg != 0 {
		t.Errorf("a box higher than its water: %v", err)
	}
}

// A profile with one of each: a hump above the grade line, a summit below it, a
// sag, a flat stretch, a stretch that is too weak.
func TestInspectFindsEachSpot(t *testing.T) {
	f := cold(t)
	p := product(t, "PE SIDR 15 1 in").Pipe
	p.Rating = 4
	l := Line{
		Station: []float64{0, 20, 40, 60, 80, 100, 120, 140},
		Invert:  []float64{9.8, 8, 9.6, 7, 7.5, 6, 5.99, 5},
		Pipe:    slices.Repeat([]Pipe{p}, 7),
	}
	q, err := FlowFor(f, p, 140, 4, 0)
	if err != nil {
		t.Fatal(err)
	}
	g, err := Grade(f, l, 10, q)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string][]int{}
	for _, s := range l.Inspect(g, 10, 0) {
		got[s.Code] = append(got[s.Code], s.At)
	}
	for code, want := range map[string][]int{
		SpotAboveGrade: {2}, SpotSummit: {2, 4}, SpotSag: {1, 3}, SpotFlat: {5}, SpotRating: {5, 6},
	} {
		if !slices.Equal(got[code], want) {
			t.Errorf("%s at %v, want %v (pressures %.2f)", code, got[code], want, g.Pressure)
		}
	}
	if need := l.RequiredRating(10, 2); need[6] != 7 {
		t.Errorf("the last stretch needs %v m, want 7 m", need[6])
	}
}

// The grade line of a single line is the installation's own sum.
func TestGradeAgreesWithRunning(t *testing.T) {
	in := standpipeSystem(t)
	in.Supply.MinorK = 1 // the exit into the standpipe
	o, err := in.Running(1.2)
	if err != nil {
		t.Fatal(err)
	}
	l := Line{Station: []float64{0, 40, 100}, Invert: []float64{2.3, 1.5, 0.5}, Pipe: []Pipe{in.Supply.Pipe, in.Supply.Pipe}}
	l.Station[1], l.Station[2] = math.Sqrt(40*40-0.8*0.8), math.Sqrt(40*40-0.8*0.8)+math.Sqrt(60*60-1)
	_, level, err := GradePath(in.Fluid, []Leg{{l, in.SourceM}}, o.DriveTotal)
	if err != nil || math.Abs(level-o.LevelM) > 1e-9 {
		t.Errorf("%v m by the grade line, %v m by the solver; %v", level, o.LevelM, err)
	}
}
