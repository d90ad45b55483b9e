package profile

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"route/internal/finding"
	"route/internal/quantity"
)

// beyondChance is from how many standard deviations on a reading is
// questioned: an honest one gets there once in 370 times.
const beyondChance = 3

// Doubt is a reading that is hard to believe.
type Doubt struct {
	Reading int // its number
	// Expected is the drop by the terrain, or by the terrain and the other
	// readings, with the standard deviation of that.
	Expected quantity.Measure
	// Deviations is how many standard deviations, the reading's own included,
	// it lies off.
	Deviations float64
	// ByOthers says that the terrain alone does not contradict it.
	ByOthers bool
	// Used says that it counts all the same, because somebody vouches for it.
	Used bool
}

// Chance is how often an honest reading is as far off as this one, or
// further, from 0 to 1.
func (d Doubt) Chance() float64 { return math.Erfc(math.Abs(d.Deviations) / math.Sqrt2) }

// Question finds the readings that contradict the terrain or each other beyond
// chance. A reading is first held against the terrain and what is vouched for;
// those that pass are then held against each other. Where two are about as
// hard to believe, both are in doubt: nothing tells which is wrong. used says
// which readings are left; a reading that is vouched for always is.
func Question(p *Profile, g Ground, readings []Reading, vouched []bool) (used []bool, doubts []Doubt, err error) {
	c := newCertainty(p, g, readings)
	for _, r := range readings {
		drop, err := p.contrast(r.From, r.To)
		if err != nil {
			return nil, nil, err
		}
		c.drops = append(c.drops, drop)
	}
	q := questioner{Certainty: c, all: c.predicted(), used: make([]bool, len(readings)), vouched: vouched}
	if err := q.againstTerrain(); err != nil {
		return nil, nil, err
	}
	if err := q.againstEachOther(); err != nil {
		return nil, nil, err
	}
	return q.used, q.doubts, nil
}

// questioner carries one run of Question.
type questioner struct {
	*Certainty
	all           *mat.SymDense // covariance of all readings
	used, vouched []bool
	doubts        []Doubt
}

// againstTerrain decides which readings pass the terrain and the vouched ones.
func (q *questioner) againstTerrain() error {
	var sworn []int
	for j, v := range q.vouched {
		if v {
			sworn = append(sworn, j)
		}
	}
	for j := range q.readings {
		group := []int{j}
		if q.vouched[j] {
			group = sworn
		} else {
			group = append(group, sworn...)
		}
		doubts, err := q.leftOut(group)
		if err != nil {
			return err
		}
		for _, d := range doubts {
			if d.Reading != j {
				continue
			}
			q.used[j] = q.vouched[j] || math.Abs(d.Deviations) <= beyondChance
			d.Used = q.vouched[j]
			if math.Abs(d.Deviations) > beyondChance {
				q.doubts = append(q.doubts, d)
			}
		}
	}
	return nil
}

// asBad is the share of the worst deviation from which a reading is as much
// in doubt as the worst. One wrong among three readings of a drop moves the
// deviations of the two right ones to half its own.
const asBad = 0.8

// againstEachOther takes out what the other readings contradict, worst first.
func (q *questioner) againstEachOther() error {
	for {
		var group []int
		for j, u := range q.used {
			if u {
				group = append(group, j)
			}
		}
		if len(group) < 2 {
			return nil
		}
		doubts, err := q.leftOut(group)
		if err != nil {
			return err
		}
		worst := 0.0
		for _, d := range doubts {
			if !q.vouched[d.Reading] {
				worst = max(worst, math.Abs(d.Deviations))
			}
		}
		if worst <= beyondChance {
			return nil
		}
		for _, d := range doubts {
			if a := math.Abs(d.Deviations); !q.vouched[d.Reading] && a > beyondChance && a >= asBad*worst {
				d.ByOthers = true
				q.used[d.Reading] = false
				q.doubts = append(q.doubts, d)
			}
		}
	}
}

// leftOut holds each reading of a group against the terrain and the rest of
// the group. With A the covariance of the group and r what surprises in it,
// the others leave (A⁻¹r)ⱼ/(A⁻¹)ⱼⱼ of it with the variance 1/(A⁻¹)ⱼⱼ
// (Dubrule 1983, Mathematical Geology 15, 687–699).
func (q *questioner) leftOut(group []int) ([]Doubt, error) {
	n := len(group)
	a := mat.NewSymDense(n, nil)
	for i, j := range group {
		for k := i; k < n; k++ {
			a.SetSym(i, k, q.all.At(j, group[k]))
		}
	}
	var factor mat.Cholesky
	inverse := mat.NewSymDense(n, nil)
	if !factor.Factorize(a) || factor.InverseTo(inverse) != nil {
		return nil, unsolvable()
	}
	doubts := make([]Doubt, n)
	for i, j := range group {
		pull := 0.0
		for k, other := range group {
			pull += inverse.At(i, k) * q.surprise(other)
		}
		off, variance := pull/inverse.At(i, i), 1/inverse.At(i, i)
		doubts[i] = Doubt{
			Reading:    j,
			Expected:   quantity.Measure{Value: q.readings[j].DropM - off, Sigma: math.Sqrt(max(0, variance-q.noise(j, j)))},
			Deviations: off / math.Sqrt(variance),
		}
	}
	return doubts, nil
}

func unsolvable() error {
	return &finding.Fault{Code: "readings_unsolvable", Text: "the measured drops cannot be weighed against each other",
		Hint: "give each reading its own sigma, above a millimetre"}
}
