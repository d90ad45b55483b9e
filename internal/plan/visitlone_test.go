package plan

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// table is a chance of working at the nodes of the tables.
func table(f func(x float64) float64) (x, works []float64) {
	for v := -tableReach; v <= tableReach+1e-9; v += tableStep {
		x, works = append(x, v), append(works, f(v))
	}
	return x, works
}

// Brute force: the drop is drawn, it is read with an error, the layout is built
// when by Bayes' rule on a fine grid it is more likely than not to work, and
// what comes of it is counted. The gain over deciding without a reading is the
// worth. The bound is four standard errors and a thousandth for the grids. Seed
// 51.
func TestLoneVerdictsAgainstMonteCarlo(t *testing.T) {
	random := rand.New(rand.NewPCG(51, 1))
	for _, c := range []struct {
		name         string
		works        func(x float64) float64
		sigmaM, ownM float64
	}{
		{"uncertain", func(x float64) float64 { return distuv.UnitNormal.CDF(x / 0.5) }, 0.2, 0.03},
		{"probably good", func(x float64) float64 { return distuv.UnitNormal.CDF((x + 1) / 0.5) }, 0.2, 0.1},
		{"probably bad", func(x float64) float64 { return distuv.UnitNormal.CDF((x - 1.5) / 0.7) }, 0.1, 0.1},
		{"too much is bad as well", func(x float64) float64 { return math.Exp(-x * x / 2) }, 0.1, 0.02},
	} {
		x, works := table(c.works)
		_, worth := verdicts(x, works, c.sigmaM, c.ownM)
		// What is known after a reading, on a fine grid.
		given := func(y float64) float64 {
			sum, weights := 0.0, 0.0
			for v := -6.0; v <= 6; v += 0.02 {
				off := (y - c.sigmaM*v) / c.ownM
				w := math.Exp(-v*v/2 - off*off/2)
				sum, weights = sum+w*c.works(v), weights+w
			}
			return sum / weights
		}
		var decided [801]float64 // of readings in steps of a hundredth of their spread
		spread := math.Hypot(c.sigmaM, c.ownM)
		for k := range decided {
			decided[k] = given(spread * float64(k-400) / 80)
		}
		prior := 0.0
		for v := -6.0; v <= 6; v += 0.01 {
			prior += 0.01 * distuv.UnitNormal.Prob(v) * c.works(v)
		}
		const n = 400000
		sum, squares := 0.0, 0.0
		for range n {
			v := random.NormFloat64()
			y := c.sigmaM*v + c.ownM*random.NormFloat64()
			k := int(math.Round(y/spread*80)) + 400
			pays := func(build bool) float64 { // of the costs; building and failing costs two
				switch {
				case !build:
					return leastChance - 2
				case random.Float64() < c.works(v):
					return -1
				}
				return -2
			}
			build := decided[max(0, min(k, 800))] >= leastChance
			gain := 0.0
			if without := prior >= leastChance; build != without {
				gain = pays(build) - pays(without)
			}
			sum, squares = sum+gain, squares+gain*gain
		}
		mean := sum / n
		if bound := 4*math.Sqrt((squares/n-mean*mean)/n) + 1e-3; math.Abs(worth-mean) > bound {
			t.Errorf("seed 51, %s: worth %.4f of the costs, by brute force %.4f ± %.4f", c.name, worth, mean, bound)
		}
	}
}

// A layout that works from a drop on, and not below: after a reading it is as
// likely as not to work where the mean of what is then known is that drop,
// which a reading says at x·(σ²+τ²)/σ, in closed form. The table blurs a step
// by half its own.
func TestLoneVerdictsFindTheThreshold(t *testing.T) {
	const sigma, own, at = 0.2, 0.1, -0.875
	x, works := table(func(x float64) float64 {
		if x > at {
			return 1
		}
		return 0
	})
	list, worth := verdicts(x, works, sigma, own)
	if len(list) != 2 || list[0].build || !list[1].build || !(worth > 0) {
		t.Fatalf("%+v, worth %v", list, worth)
	}
	surprise := math.Hypot(sigma, own)
	if got, want := surprise*list[0].to, at*(sigma*sigma+own*own)/sigma; math.Abs(got-want) > 0.03*sigma {
		t.Errorf("built from %.4f m on, want %.4f m", got, want)
	}
	if sum := list[0].chance + list[1].chance; math.Abs(sum-1) > 1e-12 || math.Abs(list[0].chance-distuv.UnitNormal.CDF(list[0].to)) > 1e-12 {
		t.Errorf("chances %v and %v", list[0].chance, list[1].chance)
	}
	if list, worth := verdicts(x, works, 0, 0); len(list) != 1 || !list[0].build || worth != 0 {
		t.Errorf("nothing is open, yet %+v, %v", list, worth)
	}
}

// A pump that needs a head: the table of chances follows the step, and with a
// spread on the loss the normal distribution of what is left.
func TestLoneTableFollowsThePump(t *testing.T) {
	l := lone{seed: 3, intake: 0, foot: 1, pump: 2, sigma: func(a, b int) float64 { return 0.2 }}
	l.u = uncertain{driveHeadM: 3, drawFlow: 1, deliver: stopsBelow(2.9)}
	x, works := l.worksAt(false)
	for k := range x {
		want := 0.0
		if x[k] >= -0.5 {
			want = 1
		}
		if works[k] != want {
			t.Errorf("%.2f standard deviations: %v, want %v", x[k], works[k], want)
		}
	}
	// Read at the foot, the drop to the pump is known by half: its part that
	// the foot does not tell has a standard deviation of σ·√(1−¼).
	x, works = l.worksAt(true)
	for k := range x {
		want := distuv.UnitNormal.CDF((0.5 + 0.5*x[k]) / math.Sqrt(0.75))
		if math.Abs(works[k]-want) > 4*math.Sqrt(want*(1-want)/tryDraws)+0.01 {
			t.Errorf("%.2f standard deviations at the foot: %v, want %.3f", x[k], works[k], want)
		}
	}
}

// The words of what is decided where there is one layout: not to build below a
// drop, to go ahead above it.
func TestLoneVisitSaysGoOrNot(t *testing.T) {
	j := &job{site: &Site{}, prospects: []prospect{{layout: "A"}}}
	v := j.loneVisit(methods[0], 2, 0.02, []verdict{{math.Inf(-1), -1, false, 0.16}, {-1, math.Inf(1), true, 0.84}}, 3, 0.2)
	if v.ChanceChanges != 0.16 || v.Outcomes[0].Layout != "" || v.Outcomes[1].Layout != "A" || math.Abs(float64(v.Outcomes[0].ToM)-2.8) > 1e-12 {
		t.Errorf("%+v", v)
	}
	v.From, v.To = VisitPlace{Name: "X"}, VisitPlace{Name: "Y"}
	if text := j.visitText("level", &v); !strings.HasSuffix(text, "below 2.80 m do not build layout A as it stands, above 2.80 m go ahead with layout A") {
		t.Error(text)
	}
}

// What a reading is worth in money: water and head count at what they cost in
// the first layout, here 1000 for 500 L/day and for 4 m.
func TestReadingsAreWorthMoney(t *testing.T) {
	j := &job{site: &Site{HourCost: 30}, plan: &Plan{Layouts: []Layout{{DeliveredLDay: 500, DriveHeadM: 4, Cost: Cost{Total: "1000.00", Currency: "USD"}}}}}
	for _, c := range []struct {
		value float64
		unit  string
		want  float64
	}{{50, "L/day", 100}, {0.1, "m", 25}, {12, "USD", 12}} {
		v := Visit{Hours: 2}
		j.value(&v, c.value, c.unit)
		if math.Abs(float64(v.Money)-c.want) > 1e-9 || v.Cost != 60 || float64(v.ValuePerHour) != c.value/2 {
			t.Errorf("%v %s: %+v", c.value, c.unit, v)
		}
	}
}
