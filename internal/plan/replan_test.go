package plan

import (
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"syscall"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"route/internal/catalog"
	"route/internal/dem"
	"route/internal/hydraulics"
	"route/internal/optimize"
	"route/internal/profile"
)

// valley is a raster of a straight creek along the middle row, with banks to
// both sides and the error of a class.
type valley struct {
	dem.ErrorModel
	cellM  float64
	middle int
	z      [][]float64 // by row, then column
}

func (v *valley) At(p orb.Point) (float64, bool) {
	x, y := p[0]/v.cellM, p[1]/v.cellM+float64(v.middle)
	i, j := int(math.Floor(x)), int(math.Floor(y))
	if i < 0 || j < 0 || j+1 >= len(v.z) || i+1 >= len(v.z[0]) {
		return 0, false
	}
	t, u := x-float64(i), y-float64(j)
	return (1-u)*((1-t)*v.z[j][i]+t*v.z[j][i+1]) + u*((1-t)*v.z[j+1][i]+t*v.z[j+1][i+1]), true
}

func (v *valley) DiffSigma(p, q orb.Point) float64 {
	return v.DropSigma(math.Hypot(p[0]-q[0], p[1]-q[1]))
}

// poolsAndSteps is a water line every half metre: even grades of 1 to 6 % over
// 40 to 120 m, of which two in three are pools of 2 to 15 m with steps between.
func poolsAndSteps(lengthM float64, random *rand.Rand) []float64 {
	z := []float64{200}
	fall := func(m, lengthM float64) {
		n := math.Ceil(lengthM / 0.5)
		for from, k := z[len(z)-1], 1.0; k <= n; k++ {
			z = append(z, from-m*k/n)
		}
	}
	for float64(len(z)) < lengthM/0.5+2 {
		grade, end := 0.01+0.05*random.Float64(), len(z)+int(2*(40+80*random.Float64()))
		for even := random.IntN(3) == 0; len(z) < end; {
			l := 2 + 13*random.Float64()
			if even {
				fall(grade*l, l)
				continue
			}
			fall(0.002*l, l)
			fall(grade*l*2*random.Float64(), 0.5+2.5*random.Float64())
		}
	}
	return z
}

// newValley shows a water line through a raster with an error.
func newValley(m dem.ErrorModel, cellM, lengthM float64, water []float64, random *rand.Rand) *valley {
	v := &valley{ErrorModel: m, cellM: cellM, middle: 3 + int(20/cellM)}
	cols := int(lengthM/cellM) + 1
	along := make([]float64, cols)
	for i := range along {
		along[i] = float64(i) * cellM
	}
	shared := m
	shared.NuggetM = 0
	e := shared.Draw(along, cellM, random)
	for j := range 2*v.middle + 1 {
		row := make([]float64, cols)
		for i := range row {
			bank := 0.15 * cellM * math.Abs(float64(j-v.middle))
			row[i] = water[int(along[i]/0.5)] + bank + e[i] + m.NuggetM*random.NormFloat64()
		}
		v.z = append(v.z, row)
	}
	return v
}

// onCreek is a problem on a creek's profile: a tank 40 m above its upper end,
// 200 m from everywhere.
func onCreek(t testing.TB, creek *profile.Profile, goal optimize.Objective) optimize.Problem {
	t.Helper()
	water, err := hydraulics.Water(283.15, 100)
	if err != nil {
		t.Fatal(err)
	}
	site := NewSite()
	site.Limits.DriveHeadMinM = 0.3
	p := optimize.Problem{Creek: creek, TankInletM: 240, TakeFlow: 1.2e-3, Fluid: water, Catalog: catalog.Default("USD").In(catalog.Inch), Limits: site.Limits, Objective: goal}
	for range creek.Len() {
		p.DeliveryAt = append(p.DeliveryAt, optimize.DeliveryWay{LengthM: 200, OK: true})
	}
	return p
}

// oneKind is a layout of usual pipes for such a problem.
func oneKind(t testing.TB, p *optimize.Problem) *optimize.Candidate {
	t.Helper()
	item := func(kind catalog.Kind, use catalog.Use, size string) string {
		for _, it := range p.Catalog.Items(kind, use) {
			if it.Size == size {
				return it.ID
			}
		}
		t.Fatalf("the catalog has no %v of %s", kind, size)
		return ""
	}
	c := &optimize.Candidate{Box: -1, Standpipe: 0, Flow: p.TakeFlow,
		SupplyPipe: item(catalog.KindPipe, catalog.UseSupply, "3 in"), DrivePipe: item(catalog.KindPipe, catalog.UseDrive, "2 in"),
		DeliveryPipe: item(catalog.KindPipe, catalog.UseDelivery, "1 in"), PumpItem: item(catalog.KindPump, 0, "2 in")}
	c.Layout.Pumps = 1
	return c
}

// at gives a profile's stations the heights of a water line every half metre.
func at(p *profile.Profile, water []float64) *profile.Profile {
	q := &profile.Profile{Alignment: p.Alignment, Stations: p.Stations, Points: p.Points, ZM: make([]float64, p.Len()), SlopeM: make([]float64, p.Len())}
	for i, x := range p.Points {
		q.ZM[i] = water[int(math.Round(x[0]/0.5))]
		if i > 0 {
			q.SlopeM[i] = q.SlopeM[i-1] + math.Hypot(float64(q.Stations[i]-q.Stations[i-1]), q.ZM[i-1]-q.ZM[i])
		}
	}
	return q
}

// simulated is a creek that was drawn, seen through a raster and fitted.
type simulated struct {
	water []float64
	creek *profile.Profile
	replanning
}

// simulate draws a creek and shows it through a raster with an error.
func simulate(t testing.TB, m dem.ErrorModel, cellM, lengthM float64, random *rand.Rand) (s simulated, err error) {
	s.water = poolsAndSteps(lengthM, random)
	v := newValley(m, cellM, lengthM, s.water, random)
	o := profile.ThalwegOptions{CellM: cellM, TrackSigmaM: 1, ExtendM: -1}
	s.creek, _, err = profile.Thalweg(t.Context(), v, []orb.LineString{{{cellM, 0}, {lengthM - 2*cellM, 0}}}, o)
	if err == nil {
		_, places, _ := thinned(s.creek, 2, nil)
		s.replanning = replanning{creek: s.creek, ground: v, options: o, err: m, places: places}
	}
	return s, err
}

// searchFor prepares the search for the best layout of usual pipes.
func (s *simulated) searchFor(t testing.TB, goal optimize.Objective) (thin *profile.Profile, p optimize.Problem, search *optimize.Replanner) {
	thin, _, _ = thinned(s.creek, 2, nil)
	p = onCreek(t, thin, goal)
	search, err := optimize.NewReplanner(t.Context(), p, oneKind(t, &p), goal, 5*s.err.DropSigma(float64(s.creek.Stations[s.creek.Len()-1])))
	if err != nil {
		t.Fatal(err)
	}
	s.searches = []*optimize.Replanner{search}
	return thin, p, search
}

// The correction on simulated creeks whose truth is known: on each, the best
// layout is searched for on the fitted profile, and what it claims and what is
// left of that after the correction are held against what it is in truth. The
// error of the terrain study's classes (§2.2), 300 creeks a class, seeds 5000
// to 5299, 20 re-plans each. The study's own test (§2.5), with other fits,
// found +0.070 m claimed and +0.012 m left on lidar, +0.34 and −0.15 m on 10 m,
// −0.10 and −0.61 m on 30 m. At least half of what is claimed too much must go,
// and no more may be taken off than one and a half times as much.
func TestCorrectionAgainstKnownTruth(t *testing.T) {
	if testing.Short() {
		t.Skip("short: 900 creeks with 20 re-plans each take 20 seconds of work")
	}
	const creeks, replans = 300, 20
	for _, c := range []struct {
		model          dem.ErrorModel
		cellM, lengthM float64
	}{{dem.LidarForest, 1, 400}, {dem.Mixed10, 10, 1500}, {dem.Global30, 30, 3000}} {
		type excess struct{ head, headLeft, water, waterLeft float64 }
		results := make([]*excess, creeks)
		err := sideBySide(t.Context(), creeks, func(k int) error {
			s, err := simulate(t, c.model, c.cellM, c.lengthM, rand.New(rand.NewPCG(5000+uint64(k), 1)))
			if err != nil {
				return err
			}
			s.seed, s.replans = uint64(k), replans
			thin, p, search := s.searchFor(t, optimize.MostHead)
			claim, ok := search.Search(t.Context(), thin)
			if !ok {
				return nil
			}
			l, err := s.run(t.Context())
			if err != nil || !l[0].known {
				return err
			}
			p.Creek = at(thin, s.water)
			inTruth, err := optimize.NewReplanner(t.Context(), p, oneKind(t, &p), optimize.MostHead, 1)
			if err != nil {
				return err
			}
			truth := inTruth.Truth(claim)
			head, water := claim.DriveHeadM-truth.DriveHeadM, (claim.Water-truth.Water)*litresPerDay
			results[k] = &excess{head, head - l[0].headM, water, water - l[0].water*litresPerDay}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		var mean, square excess
		n := 0.0
		for _, r := range results {
			if r != nil {
				n++
				mean.head, mean.headLeft, mean.water, mean.waterLeft = mean.head+r.head, mean.headLeft+r.headLeft, mean.water+r.water, mean.waterLeft+r.waterLeft
				square.head, square.headLeft = square.head+r.head*r.head, square.headLeft+r.headLeft*r.headLeft
			}
		}
		mean.head, mean.headLeft, mean.water, mean.waterLeft = mean.head/n, mean.headLeft/n, mean.water/n, mean.waterLeft/n
		t.Logf("%-22s %.0f creeks, seeds 5000 on: drive head claimed %+.3f m too much, corrected %+.3f m ± %.3f (RMS %.3f and %.3f m); water claimed %+.0f, corrected %+.0f L/day",
			c.model.Class, n, mean.head, mean.headLeft, math.Sqrt((square.headLeft/n-mean.headLeft*mean.headLeft)/n), math.Sqrt(square.head/n), math.Sqrt(square.headLeft/n), mean.water, mean.waterLeft)
		if n < 0.9*creeks {
			t.Errorf("%s: a layout on %v of %v creeks only", c.model.Class, n, creeks)
		}
		if !(mean.head > 0) || math.Abs(mean.headLeft) > mean.head/2 {
			t.Errorf("%s: of %+.3f m claimed too much %+.3f m are left", c.model.Class, mean.head, mean.headLeft)
		}
		if !(mean.water > 0) || math.Abs(mean.waterLeft) > mean.water/2 {
			t.Errorf("%s: of %+.0f L/day claimed too much %+.0f are left", c.model.Class, mean.water, mean.waterLeft)
		}
	}
}

// The same seed gives the same correction and the same draws with one, two and
// four processors, to the last bit; another seed gives others. Creek of seed
// 21.
func TestReplansAndDrawsDoNotDependOnProcessors(t *testing.T) {
	s, err := simulate(t, dem.LidarForest, 1, 200, rand.New(rand.NewPCG(21, 1)))
	if err != nil {
		t.Fatal(err)
	}
	s.replans = 30
	s.readings = []profile.Reading{{From: 20, To: 60, DropM: 1, SigmaM: 0.02}, {From: 60, To: 100, DropM: 1, SigmaM: 0.02, Set: 1, SharedM: 0.03}, {From: 60, To: 120, DropM: 1, SigmaM: 0.02, Set: 1, SharedM: 0.03}}
	_, _, search := s.searchFor(t, optimize.MostWater)
	u := uncertain{driveHeadM: 3, drawFlow: 1, take: 1, takeSigma: 0.1, deliver: linear, priceSpread: 0.1, costOf: func(d *draw) float64 { return d.prices }}
	run := func(seed uint64) ([]luck, band) {
		s.seed = seed
		s.searches = []*optimize.Replanner{search, search}
		l, err := s.run(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return l, spreadOf(t, u, sameSigma(0.2), seed)
	}
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	first, band := run(1)
	if !first[0].known || first[0].headM <= 0 || first[0] != first[1] {
		t.Fatalf("%+v", first)
	}
	for _, n := range []int{2, 4} {
		runtime.GOMAXPROCS(n)
		if l, b := run(1); !slices.Equal(l, first) || b != band {
			t.Errorf("%d processors: %+v, with one %+v", n, l, first)
		}
	}
	if l, _ := run(2); slices.Equal(l, first) {
		t.Error("another seed gives the same")
	}
}

// Where everything was measured there is no luck left: the drops between all
// places are read to a millimetre. Creek of seed 22.
func TestMeasuredCreekLeavesNoLuck(t *testing.T) {
	s, err := simulate(t, dem.LidarForest, 1, 120, rand.New(rand.NewPCG(22, 1)))
	if err != nil {
		t.Fatal(err)
	}
	s.replans, s.seed = 20, 1
	s.searchFor(t, optimize.MostHead)
	before, err := s.run(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i+4 < s.creek.Len(); i += 4 {
		s.readings = append(s.readings, profile.Reading{From: s.creek.Stations[i], To: s.creek.Stations[i+4], SigmaM: 1e-3})
	}
	after, err := s.run(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if !before[0].known || !after[0].known || !(before[0].headM > 0.02) || after[0].headM > 0.2*before[0].headM {
		t.Errorf("claimed too much: %.4f m unmeasured, %.4f m measured", before[0].headM, after[0].headM)
	}
}

// BenchmarkReplans200 plans 200 times again on a creek of 1 km at a station
// every half metre: draws the error, fits, searches for the best layout.
func BenchmarkReplans200(b *testing.B) {
	for _, goal := range []optimize.Objective{optimize.MostHead, optimize.MostWater, optimize.LeastCost} {
		b.Run(string(goal), func(b *testing.B) {
			s, err := simulate(b, dem.LidarForest, 1, 1003, rand.New(rand.NewPCG(23, 1)))
			if err != nil {
				b.Fatal(err)
			}
			s.seed, s.replans = 1, 200
			thin, p, _ := s.searchFor(b, goal)
			p.Creek, p.Demand = thin, 1500.0/litresPerDay
			search, err := optimize.NewReplanner(b.Context(), p, oneKind(b, &p), goal, 1)
			if err != nil {
				b.Fatal(err)
			}
			s.searches = []*optimize.Replanner{search}
			before := processorS(b)
			for b.Loop() {
				if l, err := s.run(b.Context()); err != nil || !l[0].known {
					b.Fatal(l, err)
				}
			}
			// On a machine that does other work too, this is what counts: half of
			// it is the time on two idle cores, since draws share nothing.
			b.ReportMetric((processorS(b)-before)/float64(b.N), "cpu-s/op")
		})
	}
}

// processorS is the processor time that this process has taken, in seconds.
func processorS(b *testing.B) float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano()).Seconds()
}
