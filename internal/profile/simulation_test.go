package profile

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/paulmach/orb"

	"route/internal/quantity"
)

// errorClass is a model of a surface's error for the simulation: terrain
// study §1.5, standard deviations and ranges of exponential correlation.
type errorClass struct {
	name                                    string
	cellM, lengthM                          float64
	nuggetM, shortM, shortAt, longM, longAt float64
	spikes, spikeM                          float64 // share of cells, usual height
}

var errorClasses = []errorClass{
	{"lidar 1 m", 1, 600, .03, .05, 8, .08, 300, 0, 0},
	{"lidar 1 m, 5 % spikes", 1, 600, .03, .05, 8, .08, 300, .05, 1},
	{"10 m", 10, 2000, .2, .4, 25, .5, 500, 0, 0},
	{"30 m, canopy", 30, 3000, .8, 1.5, 60, 2, 1000, .1, 8},
}

func (c errorClass) DiffSigma(p, q orb.Point) float64 {
	d := distance(p, q)
	if d == 0 {
		return 0
	}
	return math.Sqrt(2 * (c.nuggetM*c.nuggetM - c.shortM*c.shortM*math.Expm1(-d/c.shortAt) - c.longM*c.longM*math.Expm1(-d/c.longAt)))
}

// stepPools is the water line of a creek of pools and steps every half metre:
// pools of 2 to 15 m that fall by 2 in 1,000, steps of up to half a metre of
// height over half a metre to 3 m, and reaches of even grade between.
func stepPools(lengthM float64, rng *rand.Rand) []float64 {
	z := []float64{100}
	fall := func(m, lengthM float64) {
		n := int(math.Ceil(lengthM / 0.5))
		from := z[len(z)-1]
		for k := 1; k <= n; k++ {
			z = append(z, from-m*float64(k)/float64(n))
		}
	}
	for float64(len(z)) < lengthM/0.5+2 {
		grade := 0.005 + 0.05*rng.Float64()
		end := len(z) + int(2*(40+80*rng.Float64()))
		even := rng.IntN(3) == 0
		for len(z) < end {
			l := 2 + 13*rng.Float64()
			if even {
				fall(grade*l, l)
				continue
			}
			fall(0.002*l, l)
			fall(grade*l*2*rng.Float64(), 0.5+2.5*rng.Float64())
		}
	}
	return z
}

// draw makes a creek and the heights that a raster with this error has of it.
func (c errorClass) draw(rng *rand.Rand) (fine []float64, p *Profile, g Ground) {
	fine = stepPools(c.lengthM, rng)
	_, p, g = c.seen(fine, rng)
	return fine, p, g
}

// seen makes the heights that a raster with this error has of a water line
// given every half metre.
func (c errorClass) seen(fine []float64, rng *rand.Rand) (truth []float64, p *Profile, ground Ground) {
	o := ThalwegOptions{CellM: c.cellM}.withDefaults()
	g := strip{errorClass: c, cellM: c.cellM}
	n := int(c.lengthM/c.cellM) + 1
	short, long := rng.NormFloat64(), rng.NormFloat64()
	rs, rl := math.Exp(-c.cellM/c.shortAt), math.Exp(-c.cellM/c.longAt)
	for i := range n {
		if i > 0 {
			short = rs*short + math.Sqrt(1-rs*rs)*rng.NormFloat64()
			long = rl*long + math.Sqrt(1-rl*rl)*rng.NormFloat64()
		}
		var column [stripRows]float64
		for row := range column {
			bank := 0.15 * c.cellM * math.Abs(float64(row-stripRows/2))
			column[row] = fine[int(float64(i)*c.cellM/0.5)] + bank + c.nuggetM*rng.NormFloat64() + c.shortM*short + c.longM*long
			if rng.Float64() < c.spikes {
				column[row] += c.spikeM * rng.ExpFloat64()
			}
		}
		g.columns = append(g.columns, column)
	}
	p = &Profile{}
	for s := 0.0; s <= c.lengthM; s += o.stepM() {
		p.Stations = append(p.Stations, Station(s))
		truth = append(truth, fine[int(s/0.5)])
	}
	var err error
	p.Alignment, err = NewAlignment(orb.LineString{{0, 0}, {c.lengthM, 0}}, 0)
	if err != nil {
		panic(err)
	}
	if err := p.read(context.Background(), g, o); err != nil {
		panic(err)
	}
	return truth, p, g
}

// strip is a raster along a straight creek, whose bed is its middle row.
type strip struct {
	errorClass
	columns [][stripRows]float64
	cellM   float64
}

const stripRows = 7

func (g strip) At(p orb.Point) (float64, bool) {
	x, y := p[0]/g.cellM, p[1]/g.cellM+stripRows/2
	i, j := min(int(x), len(g.columns)-2), min(int(y), stripRows-2)
	if x < 0 || y < 0 || x > float64(len(g.columns)-1) || y > stripRows-1 {
		return 0, false
	}
	u, v := x-float64(i), y-float64(j)
	a, b := g.columns[i], g.columns[i+1]
	return (1-u)*((1-v)*a[j]+v*a[j+1]) + u*((1-v)*b[j]+v*b[j+1]), true
}

func runningMin(y []float64) []float64 {
	z := append([]float64(nil), y...)
	for i := 1; i < len(z); i++ {
		z[i] = min(z[i], z[i-1])
	}
	return z
}

var overM = []float64{10, 30, 100}

// fallM is the fall of a line over m from a station on, between stations as
// straight as Profile has it.
func fallM(p *Profile, z []float64, from Station, m float64) float64 {
	a, _ := p.interpolate(z, from)
	b, _ := p.interpolate(z, from+Station(m))
	return a - b
}

// trueFallM is that of a water line given every half metre.
func trueFallM(fine []float64, from Station, m float64) float64 {
	i := int(math.Round(float64(from) / 0.5))
	return fine[i] - fine[i+int(math.Round(m/0.5))]
}

// isotonic is the falling line that is nearest in least squares to the raw
// heights, by the algorithm of pooled adjacent violators.
func isotonic(y []float64) []float64 {
	z := append([]float64(nil), y...)
	notRising(z, nil)
	return z
}

// paired keeps one figure a creek for each of several methods.
type paired [][]float64

func (p paired) mean(k int) float64 {
	sum := 0.0
	for _, v := range p[k] {
		sum += v / float64(len(p[k]))
	}
	return sum
}

// worse is by how many standard errors of the paired differences the figures
// of method a are greater than those of b.
func (p paired) worse(a, b int) float64 {
	n := float64(len(p[a]))
	sum, square := 0.0, 0.0
	for i := range p[a] {
		d := p[a][i] - p[b][i]
		sum += d
		square += d * d
	}
	mean := sum / n
	variance := (square/n - mean*mean) / (n - 1)
	if variance <= 0 {
		return 0
	}
	return mean / math.Sqrt(variance)
}

// further is by how many standard errors of the paired differences the mean of
// method a lies further from nothing than that of b, to whichever side.
func (p paired) further(a, b int) float64 {
	aside := newPaired(2)
	for k, from := range []int{a, b} {
		sign := math.Copysign(1, p.mean(from))
		for _, v := range p[from] {
			aside[k] = append(aside[k], sign*v)
		}
	}
	return aside.worse(0, 1)
}

func newPaired(methods int) paired { return make(paired, methods) }

// interval counts how often the truth lies in stated intervals, by creek: falls
// on one creek are not independent.
type interval []struct{ n, in80, in95 float64 }

func newInterval(creeks int) interval { return make(interval, creeks) }

// add counts a deviation in stated standard deviations; 1.2816 and 1.9600 are
// the two-sided 80 and 95 % points of the normal distribution (Abramowitz &
// Stegun, table 26.5).
func (v interval) add(creek int, off float64) {
	v[creek].n++
	if math.Abs(off) < 1.2816 {
		v[creek].in80++
	}
	if math.Abs(off) < 1.9600 {
		v[creek].in95++
	}
}

// shares are those of all falls, with their standard errors from creek to
// creek.
func (v interval) shares() (in80, in95 quantity.Measure) {
	var n float64
	for _, c := range v {
		n, in80.Value, in95.Value = n+c.n, in80.Value+c.in80, in95.Value+c.in95
	}
	in80.Value /= n
	in95.Value /= n
	for _, c := range v {
		in80.Sigma += math.Pow(c.in80-in80.Value*c.n, 2)
		in95.Sigma += math.Pow(c.in95-in95.Value*c.n, 2)
	}
	in80.Sigma, in95.Sigma = math.Sqrt(in80.Sigma)/n, math.Sqrt(in95.Sigma)/n
	return in80, in95
}

func (v interval) String() string {
	in80, in95 := v.shares()
	return fmt.Sprintf("%.1f ± %.1f %% in 80 %%, %.1f ± %.1f %% in 95 %%", 100*in80.Value, 100*in80.Sigma, 100*in95.Value, 100*in95.Sigma)
}

// hold says by how much shares lie outside 76 to 84 % and 93 to 97 %, with so
// many standard errors allowed.
func (v interval) hold(allowed float64) error {
	in80, in95 := v.shares()
	if math.Abs(in80.Value-0.80) > 0.04+allowed*in80.Sigma || math.Abs(in95.Value-0.95) > 0.02+allowed*in95.Sigma {
		return fmt.Errorf("%v", v)
	}
	return nil
}

// TestFitsOnSimulatedCreeks repeats the comparison of the terrain study (§1.5)
// with the whole of our reading and fitting, on 60 creeks a class, or 300 with
// ROUTE_LONG set: the error
// of falls over 10, 30 and 100 m, and by how much the reach with the largest
// fall of all claims too much, for the raw heights, their running minimum,
// their isotonic regression, the plain falling median and ours. Ours must be
// the best or equal to it, in RMS error and in bias: nowhere worse than another
// by more than two standard errors of the differences creek by creek. The error
// model and its parameters are the study's assumptions; the creeks are this
// test's own.
//
// The stated intervals must hold 76 to 84 % of the falls for 80 %, and 93 to
// 97 % for 95 %, of each class and over each distance. What the intervals are
// made of was set on the creeks of seeds 100 to 249, and looked at on 1000 to
// 1299; these are others. With 300 creeks the shares count as they are, and the
// log has their standard error from creek to creek; with fewer, three of it are
// allowed.
func TestFitsOnSimulatedCreeks(t *testing.T) {
	const first, whole = 4000, 300
	seeds := 60
	if os.Getenv("ROUTE_LONG") != "" {
		seeds = whole
	}
	t.Logf("seeds %d to %d; over 10, 30, 100 m each: RMS error and bias of a fall (m); RMS error and bias of the reach with the largest (m)", first, first+seeds-1)
	methods := []string{"raw", "running minimum", "isotonic", "plain falling", "ours"}
	ours := len(methods) - 1
	for _, c := range errorClasses {
		square, bias, claim, claimed := make([]paired, 3), make([]paired, 3), make([]paired, 3), make([]paired, 3)
		for j := range 3 {
			square[j], bias[j], claim[j], claimed[j] = newPaired(len(methods)), newPaired(len(methods)), newPaired(len(methods)), newPaired(len(methods))
		}
		within, atEnds, best := make([]interval, 3), make([]interval, 3), make([]interval, 3)
		for j := range overM {
			within[j], atEnds[j], best[j] = newInterval(seeds), newInterval(seeds), newInterval(seeds)
		}
		largestAt := make([]Station, 3)
		chosen := map[smoothing]int{}
		for seed := range uint64(seeds) {
			fine, p, g := c.draw(rand.New(rand.NewPCG(first+seed, 5)))
			o := ThalwegOptions{CellM: c.cellM}.withDefaults()
			p.fit(g, o)
			weight := make([]float64, p.Len())
			for i := range weight {
				if p.Flags[i]&(FlagVoid|FlagBridge) == 0 {
					weight[i] = 1
				}
			}
			chosen[p.smoothing]++
			// A hundred metres at each end stand for what Thalweg follows the
			// creek beyond the ends of the track.
			edge := Station(math.Ceil(math.Min(100, c.lengthM/10)/o.stepM()) * o.stepM())
			last := p.Stations[p.Len()-1] - edge
			for k, z := range [][]float64{p.RawM, runningMin(p.RawM), isotonic(p.RawM), p.fall(weight, 0.5, o, smoothing{}), p.ZM} {
				for j, m := range overM {
					var sum, sum2, n, most, over float64
					for s := edge; s+Station(m) <= last; s += Station(o.stepM()) {
						claims := fallM(p, z, s, m)
						e := claims - trueFallM(fine, s, m)
						sum, sum2, n = sum+e, sum2+e*e, n+1
						if claims > most {
							most, over, largestAt[j] = claims, e, s
						}
					}
					square[j][k] = append(square[j][k], sum2/n)
					bias[j][k] = append(bias[j][k], sum/n)
					claim[j][k] = append(claim[j][k], over*over)
					claimed[j][k] = append(claimed[j][k], over)
				}
			}
			p.judge(g)
			for j, m := range overM {
				count := func(v interval, s Station) {
					fall, err := p.Fall(s, s+Station(m), g)
					if err != nil {
						t.Fatal(err)
					}
					v.add(int(seed), (fall.Value-trueFallM(fine, s, m))/fall.Sigma)
				}
				for s := edge; s+Station(m) <= last; s += Station(max(m, 5*o.stepM())) {
					count(within[j], s)
				}
				count(atEnds[j], edge)
				count(atEnds[j], last-Station(m))
				count(best[j], largestAt[j])
			}
		}
		for k, name := range methods {
			line := fmt.Sprintf("%-22s %-16s", c.name, name)
			for j := range overM {
				line += fmt.Sprintf("  %.3f %+.3f", math.Sqrt(square[j].mean(k)), bias[j].mean(k))
			}
			line += "  largest"
			for j := range overM {
				line += fmt.Sprintf("  %.3f %+.3f", math.Sqrt(claim[j].mean(k)), claimed[j].mean(k))
			}
			t.Log(line)
			for j, m := range overM {
				if by := square[j].worse(ours, k); by > 2 {
					t.Errorf("%s, falls over %g m: ours is worse than %s by %.1f standard errors", c.name, m, name, by)
				}
				if by := claim[j].worse(ours, k); by > 2 {
					t.Errorf("%s, largest fall over %g m: ours is worse than %s by %.1f standard errors", c.name, m, name, by)
				}
				if by := bias[j].further(ours, k); by > 2 {
					t.Errorf("%s, falls over %g m: ours has more bias than %s by %.1f standard errors", c.name, m, name, by)
				}
				if by := claimed[j].further(ours, k); by > 2 {
					t.Errorf("%s, largest fall over %g m: ours has more bias than %s by %.1f standard errors", c.name, m, name, by)
				}
			}
		}
		t.Logf("%-22s chosen smoothings (stiffness, knick): %v", c.name, chosen)
		for j, m := range overM {
			t.Logf("%-22s over %g m: %v; at the ends %v; of the largest %v", c.name, m, within[j], atEnds[j], best[j])
			allowed := 0.0
			if seeds < whole {
				allowed = 3
			}
			if err := within[j].hold(allowed); err != nil {
				t.Errorf("%s, over %g m: %v", c.name, m, err)
			}
			if err := atEnds[j].hold(3); err != nil { // two falls a creek
				t.Errorf("%s, over %g m at the ends: %v", c.name, m, err)
			}
		}
	}
}
