package plan

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// This file says what to measure where no choice between layouts is open: where
// there is one only, or one that is far better. What is left to choose is to
// build it or to leave it. What is bought and
// fails is worth nothing, so that it is built when it is more likely than not
// to work. The chance given a drop bends, which a straight line does not show;
// it is tabulated, and the reading integrated over its outcomes.

// leastChance is the chance of working from which a layout is built.
const leastChance = 0.5

// Nodes of the tables, in standard deviations: of the drop, and of what a
// reading says.
const (
	tableReach = 4.0
	tableStep  = 0.25
	tryDraws   = 100 // at every node; the same ones, so that the table is smooth
	readStep   = 0.02
)

// lone is a layout that nothing is compared with.
type lone struct {
	u     uncertain
	sigma func(a, b int) float64 // of the drop between two stations
	seed  uint64

	intake, foot, pump int
}

// worksAt tabulates the chance that the layout works when the drop from intake
// to pump, or to the foot of the standpipe, lies so many standard deviations
// above what is expected.
func (l *lone) worksAt(toFoot bool) (x, works []float64) {
	drop, foot, between := l.sigma(l.intake, l.pump), l.sigma(l.intake, l.foot), l.sigma(l.foot, l.pump)
	rho := 0.0
	if drop > 0 && foot > 0 {
		rho = math.Max(-1, math.Min(1, (drop*drop+foot*foot-between*between)/(2*drop*foot)))
	}
	random := rand.New(rand.NewPCG(l.seed, 0xa0761d6478bd642f))
	list := make([]draw, tryDraws)
	for k := range list {
		list[k] = l.u.draw(random)
	}
	for v := -tableReach; v <= tableReach+1e-9; v += tableStep {
		count := 0.0
		for _, d := range list {
			rest := math.Sqrt(1-rho*rho) * d.b
			morePump, moreFoot := v, rho*v+rest
			if toFoot {
				morePump, moreFoot = rho*v+rest, v
			}
			d.liftM = l.u.liftM
			if l.u.try(&d, drop*morePump, foot*moreFoot).all {
				count++
			}
		}
		x, works = append(x, v), append(works, count/tryDraws)
	}
	return x, works
}

// verdict is a range of a reading, in the standard deviations by which it may
// surprise, and whether the layout is built then.
type verdict struct {
	from, to float64 // ±Inf at the ends
	build    bool
	chance   float64
}

// verdicts weighs a reading of a drop whose prior standard deviation is sigmaM,
// by an instrument with its own. worth is by how many of the layout's costs the
// decision is better than without the reading: building costs one, and one more
// where it fails; leaving it alone costs as much as building at leastChance.
func verdicts(x, works []float64, sigmaM, readingM float64) (list []verdict, worth float64) {
	surprise := math.Hypot(sigmaM, readingM)
	if surprise == 0 {
		return []verdict{{math.Inf(-1), math.Inf(1), readOff(x, works, 0) >= leastChance, 1}}, 0
	}
	gain, rest := sigmaM/surprise, readingM/surprise
	prior, better := 0.0, 0.0
	for z := -tableReach; z <= tableReach+1e-9; z += readStep {
		p := chanceGiven(x, works, gain*z, rest)
		weight := distuv.UnitNormal.CDF(z+readStep/2) - distuv.UnitNormal.CDF(z-readStep/2)
		prior += weight * p
		better += weight * math.Max(p, leastChance)
		if build := p >= leastChance; len(list) == 0 || list[len(list)-1].build != build {
			if len(list) > 0 {
				list[len(list)-1].to = z - readStep/2
			}
			list = append(list, verdict{from: z - readStep/2, build: build})
		}
	}
	list[0].from, list[len(list)-1].to = math.Inf(-1), math.Inf(1)
	for k := range list {
		list[k].chance = distuv.UnitNormal.CDF(list[k].to) - distuv.UnitNormal.CDF(list[k].from)
	}
	return list, math.Max(0, better-math.Max(prior, leastChance))
}

// chanceGiven is the mean of a table under a normal distribution.
func chanceGiven(x, works []float64, mean, sigma float64) float64 {
	const nodes = 9
	sum, weights := 0.0, 0.0
	for k := range nodes {
		t := 3 * (2*float64(k)/(nodes-1) - 1)
		weight := math.Exp(-t * t / 2)
		sum, weights = sum+weight*readOff(x, works, mean+sigma*t), weights+weight
	}
	return sum / weights
}

// readOff interpolates a table of even steps; the ends hold beyond it.
func readOff(x, y []float64, at float64) float64 {
	k := int(math.Max(0, math.Min(float64(len(x)-2), math.Floor((at-x[0])/tableStep))))
	t := math.Max(0, math.Min(1, (at-x[k])/tableStep))
	return y[k]*(1-t) + y[k+1]*t
}

// loneVisits lists the readings that decide whether the one layout is built,
// the most telling for its hours first.
func (j *job) loneVisits() ([]Visit, error) {
	l := j.prospects[0].lone
	layout := &j.plan.Layouts[0]
	type pair struct {
		to     int
		toFoot bool
	}
	pairs := []pair{{l.pump, false}}
	if layout.Standpipe != nil {
		pairs = append(pairs, pair{l.foot, true})
	}
	var visits []Visit
	for _, p := range pairs {
		if p.to == l.intake {
			continue
		}
		drop, err := j.expectedDrop(l.intake, p.to)
		if err != nil {
			return nil, err
		}
		x, works := l.worksAt(p.toFoot)
		sigma := l.sigma(l.intake, p.to)
		alongM := float64(j.creek.Stations[p.to] - j.creek.Stations[l.intake])
		var best *Visit
		for _, m := range methods {
			n := m.setUps(alongM, drop.Value)
			own := instrumentSigma(m.by, n, alongM)
			list, worth := verdicts(x, works, sigma, own)
			v := j.loneVisit(m, n, own, list, drop.Value, math.Hypot(sigma, own))
			v.From, v.To = j.visitPlace(l.intake), j.visitPlace(p.to)
			v.DropSigmaM = Number(sigma)
			j.value(&v, worth*j.costOfFirst(), j.currency())
			if float64(v.ChanceChanges) < visitChance || best != nil && v.ValuePerHour <= best.ValuePerHour {
				continue
			}
			v.Text = j.visitText(m.verb, &v)
			best = &v
		}
		if best != nil {
			visits = append(visits, *best)
		}
	}
	slices.SortStableFunc(visits, func(a, b Visit) int { return cmp.Compare(b.ValuePerHour, a.ValuePerHour) })
	return visits, nil
}

// loneVisit describes a reading by what it decides.
func (j *job) loneVisit(m method, setUps int, own float64, list []verdict, dropM, surpriseM float64) Visit {
	v := Visit{Instrument: m.by, SetUps: setUps, SigmaM: Number(own), Hours: Number(m.hours(setUps)), DropM: Number(dropM), ChanceChanges: 0}
	likely := 0
	for k := range list {
		if cmp.Compare(list[k].chance, list[likely].chance) > 0 {
			likely = k
		}
	}
	at := func(z float64) Number {
		if math.IsInf(z, 0) {
			return Unknown
		}
		return Number(dropM + surpriseM*z)
	}
	for _, verdict := range list {
		o := VisitOutcome{FromM: at(verdict.from), ToM: at(verdict.to), Chance: Number(verdict.chance)}
		if verdict.build {
			o.Layout = j.prospects[0].layout
		}
		if verdict.build != list[likely].build {
			v.ChanceChanges += o.Chance
		}
		v.Outcomes = append(v.Outcomes, o)
	}
	return v
}
