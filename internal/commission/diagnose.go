package commission

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// Errors of the model itself once its parameters fit, as shares: the closed
// form against a simulation by characteristics (7 % median, 19 % for one in ten of
// delivered flow; 6 and 13 % of waste flow). The rest are judgements.
var modelShare = [kinds]float64{iWaste: 0.06, iDelivered: 0.11, iBeats: 0.09, iOpen: 0.04, iSwing: 0.35, iOverflow: 0.1}

// Errors of predicted heads, as shares of the head that is meant.
const (
	modelShutOff = 0.12
	modelGauge   = 0.01
	modelLevelM  = 0.02 // of levels in boxes and standpipes, m: the water is not still
)

// nothingWrong is the share of installations that are as planned, before any
// reading; the rest is shared evenly among the causes. Common practice, no
// source.
const nothingWrong = 0.65

// alarmBelow is the chance of Nothing below which something counts as wrong.
const alarmBelow = 0.5

// Candidate is one cause with what speaks for it.
type Candidate struct {
	Cause    Cause
	Place    *HighPlace // of an air lock
	Chance   float64    // given all readings
	Severity float64    // in the terms of the cause; see faults
	// Predicted are the readings as they would be, by kind.
	Predicted map[Kind]float64
	// Cured is what would be delivered once it is put right, m³/s.
	Cured float64

	fault *fault
	theta []float64
	y     [kinds]float64
}

// Compared is one reading against what the plan predicts.
type Compared struct {
	Reading
	Predicted, Low, High float64 // the band holds 95 times in 100
	Off                  float64 // (reading − predicted) over the standard deviation of both
	Measured             bool    // false: nothing was read
	Explained            float64 // what the likeliest cause predicts
}

// Diagnosis is what the readings say.
type Diagnosis struct {
	Compared []Compared
	// Candidates are the likeliest first. Nothing stands first unless it is
	// more likely than not that something is wrong; then it stands last.
	Candidates []Candidate
	Alarm      bool  // something is likely wrong
	Test       *Test // that tells the likeliest apart; nil where none does

	model *Model
}

// Test is the reading that tells the likeliest causes apart.
type Test struct {
	Kind     Kind
	Given    bool // it was taken: take it again, more carefully
	Outcomes []Outcome
}

// Outcome is what a test reads under one cause.
type Outcome struct {
	Candidate *Candidate
	Value     float64
}

// observed is a reading made ready for the fit.
type observed struct {
	at    index
	value float64 // as compared, see scale
	sigma float64
}

// scale turns a reading into what is compared: flows, beats and swings on a
// logarithm that ends at a trickle, heads as they are.
func (m *Model) scale(i index, v float64) float64 {
	if floor := m.floor(i); floor > 0 {
		return math.Log(math.Max(v, 0) + floor)
	}
	return v
}

// floor is what a reading on a logarithm is never told from nothing by; 0 for
// heads.
func (m *Model) floor(i index) float64 {
	const trickle = 0.05
	switch i {
	case iWaste, iOverflow:
		return trickle * m.planned.waste
	case iOpen:
		return trickle * m.planned.open
	case iDelivered:
		return trickle * m.planned.delivered
	case iBeats:
		return trickle * m.planned.beats
	case iSwing:
		return math.Max(trickle*m.planned.swing, swingSigma*gaugeScale(m.Lift.Value))
	}
	return 0
}

// slope is how fast the compared value moves with the reading.
func (m *Model) slope(i index, v float64) float64 {
	if floor := m.floor(i); floor > 0 {
		return 1 / (math.Max(v, 0) + floor)
	}
	return 1
}

// modelSigma is the model's own error of a compared value.
func (m *Model) modelSigma(i index, predicted float64) float64 {
	switch i {
	case iShutOff:
		return modelShutOff * m.planned.shutOff
	case iGaugeRuns, iHeld, iGaugeRest:
		return modelGauge * m.Lift.Value
	case iPool:
		return 0
	case iBox, iRest, iRuns, iScreenOff:
		return modelLevelM
	}
	return modelShare[i] * math.Max(predicted, 0) * m.slope(i, predicted)
}

// observe makes the readings ready; those that the model does not predict are
// left out.
func (m *Model) observed(readings []Reading) []observed {
	var list []observed
	for _, r := range readings {
		i, ok := indexOf(r.Kind)
		if !ok || !m.has(i) {
			continue
		}
		sigma := r.Sigma
		if sigma == 0 {
			sigma = m.usualSigma(i, r.Value)
		}
		list = append(list, observed{i, m.scale(i, r.Value), sigma * m.slope(i, r.Value)})
	}
	return list
}

// fit is one hypothesis held against the readings. Its unknowns are the
// parameters and, for a fault, its severity, all standard normal beforehand.
type fit struct {
	m     *Model
	fault *fault // nil: nothing is wrong
	data  []observed
}

func (f *fit) size() int {
	if f.fault == nil {
		return parameters
	}
	return parameters + 1
}

func (f *fit) predict(x []float64) ([kinds]float64, bool) {
	p := f.m.plant([parameters]float64(x[:parameters]))
	if f.fault != nil {
		f.fault.apply(p, f.fault.severity(x[parameters]))
	}
	return p.observe()
}

// residuals are those of the readings in their standard deviations, model
// error included, and half the logarithm of their variances.
func (f *fit) residuals(x []float64) (r []float64, logs float64, ok bool) {
	y, ok := f.predict(x)
	if !ok {
		return nil, 0, false
	}
	r = make([]float64, len(f.data))
	for k, o := range f.data {
		sigma := math.Hypot(o.sigma, f.m.modelSigma(o.at, y[o.at]))
		r[k] = (o.value - f.m.scale(o.at, y[o.at])) / sigma
		logs += math.Log(sigma)
	}
	return r, logs, true
}

// cost is the negative logarithm of likelihood times prior.
func (f *fit) cost(x []float64) (float64, []float64, bool) {
	r, logs, ok := f.residuals(x)
	if !ok {
		return math.Inf(1), nil, false
	}
	return (dot(r, r)+dot(x, x))/2 + logs, r, true
}

func dot(a, b []float64) (sum float64) {
	for i := range a {
		sum += a[i] * b[i]
	}
	return sum
}

// best climbs to the likeliest unknowns from a start (Gauss–Newton, with steps
// halved where they lead down) and gives the logarithm of the evidence there:
// the integral over all unknowns, with the fit taken as linear around its best
// (Laplace).
func (f *fit) best(x []float64) (evidence float64, at []float64, ok bool) {
	const rounds, halvings = 8, 6
	n := f.size()
	cost, r, ok := f.cost(x)
	if !ok {
		return 0, nil, false
	}
	normal := mat.NewSymDense(n, nil)
	var chol mat.Cholesky
	for range rounds {
		j := f.jacobian(x, r)
		gradient := mat.NewVecDense(n, nil)
		for a := range n {
			g := x[a]
			for k := range r {
				g += j[a][k] * r[k]
			}
			gradient.SetVec(a, g)
			for b := a; b < n; b++ {
				s := dot(j[a], j[b])
				if a == b {
					s++
				}
				normal.SetSym(a, b, s)
			}
		}
		var step mat.VecDense
		if !chol.Factorize(normal) || chol.SolveVecTo(&step, gradient) != nil {
			return 0, nil, false
		}
		better, next, share := false, make([]float64, n), 1.0
		for range halvings {
			for a := range n {
				next[a] = x[a] - share*math.Max(-2, math.Min(2, step.AtVec(a)))
			}
			if c, rn, ok := f.cost(next); ok && c < cost {
				better = cost-c > 0.01
				x, r, cost = slices.Clone(next), rn, c
				break
			}
			share /= 3
		}
		if !better {
			break
		}
	}
	return -cost - chol.LogDet()/2, x, true
}

// jacobian of the residuals by one-sided differences; unknowns at which the
// model ends are taken from the other side.
func (f *fit) jacobian(x, r []float64) [][]float64 {
	const d = 0.02
	j := make([][]float64, f.size())
	for a := range j {
		moved := slices.Clone(x)
		h := d
		moved[a] += h
		rn, _, ok := f.residuals(moved)
		if !ok {
			h = -d
			moved[a] = x[a] + h
			if rn, _, ok = f.residuals(moved); !ok {
				rn = r
			}
		}
		j[a] = make([]float64, len(r))
		for k := range r {
			j[a][k] = (rn[k] - r[k]) / h
		}
	}
	return j
}

// starts are the severities, in standard deviations, from which a fault is
// fitted.
var starts = []float64{-1.3, 0, 1.3}

// weigh fits one hypothesis from all starts and keeps the best.
func (f *fit) weigh() (evidence float64, at []float64, ok bool) {
	evidence = math.Inf(-1)
	from := starts
	if f.fault == nil {
		from = starts[:1]
	}
	for _, s := range from {
		x := make([]float64, f.size())
		if f.fault != nil {
			x[parameters] = s
		}
		if e, best, found := f.best(x); found && e > evidence {
			evidence, at, ok = e, best, true
		}
	}
	return evidence, at, ok
}

// Predict is what the plan predicts of every reading, with nothing measured.
// Errors as of Diagnose.
func Predict(m Model) ([]Compared, error) {
	if err := m.prepare(); err != nil {
		return nil, err
	}
	y, _ := m.plant([parameters]float64{}).observe()
	return m.compare(nil, &Candidate{y: y}), nil
}

// Diagnose holds readings against the model. Every cause is simulated: the
// parameters of the installation and the severity of the fault are set to
// what fits the readings best, within what was known of them before, and a
// cause is as likely as the readings are under it, over all values that its
// unknowns may have. Errors: errNoModel.
func Diagnose(m Model, readings []Reading) (*Diagnosis, error) {
	if err := m.prepare(); err != nil {
		return nil, err
	}
	m.risen(readings)
	data := m.observed(readings)
	faults := m.faults()
	d := &Diagnosis{model: &m}
	air := 0
	for _, f := range faults {
		if f.cause == AirLock {
			air++
		}
	}
	causes := len(faults) - max(air-1, 0)
	logs := []float64{}
	consider := func(f *fault, prior float64) {
		h := fit{&m, f, data}
		evidence, at, ok := h.weigh()
		if !ok {
			return
		}
		c := Candidate{Cause: Nothing, fault: f, theta: at}
		if f != nil {
			c.Cause, c.Place, c.Severity = f.cause, f.place, f.severity(at[parameters])
		}
		c.y, _ = h.predict(at)
		c.Cured = m.cured(at)
		d.Candidates = append(d.Candidates, c)
		logs = append(logs, evidence+math.Log(prior))
	}
	consider(nil, nothingWrong)
	for k := range faults {
		prior := (1 - nothingWrong) / float64(causes)
		if faults[k].cause == AirLock {
			prior /= float64(air)
		}
		consider(&faults[k], prior)
	}
	if len(logs) == 0 {
		return nil, errNoModel
	}
	shareOut(d.Candidates, logs)
	d.Alarm = chanceOf(d.Candidates, Nothing) < alarmBelow
	slices.SortStableFunc(d.Candidates, func(a, b Candidate) int {
		switch nothing := b.Cause == Nothing; {
		case a.Cause == b.Cause || a.Cause != Nothing && !nothing:
			return 0
		case nothing == d.Alarm:
			return -1
		}
		return 1
	})
	for k := range d.Candidates {
		c := &d.Candidates[k]
		c.Predicted = map[Kind]float64{}
		for i := range kinds {
			if m.has(i) {
				c.Predicted[infos[i].kind] = c.y[i]
			}
		}
	}
	d.Compared = m.compare(readings, &d.Candidates[0])
	d.Test = m.tellApart(d.Candidates, data)
	return d, nil
}

// shareOut turns logarithms of evidence into chances and sorts.
func shareOut(list []Candidate, logs []float64) {
	top, sum := slices.Max(logs), 0.0
	for _, l := range logs {
		sum += math.Exp(l - top)
	}
	for k := range list {
		list[k].Chance = math.Exp(logs[k]-top) / sum
	}
	slices.SortStableFunc(list, func(a, b Candidate) int { return cmp.Compare(b.Chance, a.Chance) })
}

func chanceOf(list []Candidate, cause Cause) float64 {
	sum := 0.0
	for _, c := range list {
		if c.Cause == cause {
			sum += c.Chance
		}
	}
	return sum
}

// cured is what would be delivered with the parameters as they were found and
// no fault.
func (m *Model) cured(at []float64) float64 {
	y, ok := m.plant([parameters]float64(at[:parameters])).observe()
	if !ok {
		return math.NaN()
	}
	return y[iDelivered]
}

// compare sets each reading beside what the plan predicts and how well it
// does.
func (m *Model) compare(readings []Reading, likeliest *Candidate) []Compared {
	center, _ := m.plant([parameters]float64{}).observe()
	var list []Compared
	for i := range kinds {
		if !m.has(i) {
			continue
		}
		scaled := m.scale(i, center[i])
		variance := math.Pow(m.modelSigma(i, center[i]), 2)
		for a := range parameters {
			var theta [parameters]float64
			theta[a] = 1
			up, ok := m.plant(theta).observe()
			theta[a] = -1
			down, okDown := m.plant(theta).observe()
			if ok && okDown {
				variance += math.Pow((m.scale(i, up[i])-m.scale(i, down[i]))/2, 2)
			}
		}
		back := func(v float64) float64 {
			if floor := m.floor(i); floor > 0 {
				return math.Max(0, math.Exp(v)-floor)
			}
			return v
		}
		half := 1.96 * math.Sqrt(variance)
		c := Compared{Reading: Reading{Kind: infos[i].kind}, Predicted: center[i], Low: back(scaled - half), High: back(scaled + half), Explained: likeliest.y[i]}
		for _, r := range readings {
			if r.Kind != infos[i].kind {
				continue
			}
			c.Reading, c.Measured = r, true
			if c.Sigma == 0 {
				c.Sigma = m.usualSigma(i, r.Value)
			}
			c.Off = (m.scale(i, r.Value) - scaled) / math.Sqrt(variance+math.Pow(c.Sigma*m.slope(i, r.Value), 2))
		}
		list = append(list, c)
	}
	return list
}

// LeastNamed is the chance from which a cause is worth naming.
const LeastNamed = 0.02

// leastTold is the variance between the causes, in that of the reading, from
// which a test tells.
const leastTold = 0.25

// tellApart finds the reading that the causes predict most differently: the
// variance of its value between them, by their chances, over that of the
// reading and the model. One that was not taken yet goes before one that was.
func (m *Model) tellApart(list []Candidate, data []observed) *Test {
	var best *Test
	most := 0.0
	for i := range kinds {
		if !m.has(i) {
			continue
		}
		t := &Test{Kind: infos[i].kind}
		sum, mean, variance := 0.0, 0.0, 0.0
		for k := range list {
			if c := &list[k]; c.Chance >= LeastNamed {
				t.Outcomes = append(t.Outcomes, Outcome{c, c.y[i]})
				sum += c.Chance
				mean += c.Chance * m.scale(i, c.y[i])
			}
		}
		for _, o := range t.Outcomes {
			sigma := math.Hypot(m.usualSigma(i, o.Value)*m.slope(i, o.Value), m.modelSigma(i, o.Value))
			variance += o.Candidate.Chance / sum * math.Pow((m.scale(i, o.Value)-mean/sum)/sigma, 2)
		}
		t.Given = slices.ContainsFunc(data, func(o observed) bool { return o.at == i })
		if len(t.Outcomes) < 2 || variance < leastTold {
			continue
		}
		if best == nil || best.Given && !t.Given || best.Given == t.Given && variance > most {
			best, most = t, variance
		}
	}
	return best
}
