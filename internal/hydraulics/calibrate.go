package hydraulics

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// ReadingKind is what was measured on a pump.
type ReadingKind string

// The readings that a bucket, a watch and a gauge give.
const (
	ReadOpenFlow  ReadingKind = "open flow"  // m³/s through the waste valve locked open
	ReadDriveFlow ReadingKind = "drive flow" // m³/s drawn while running, waste and delivered together
	ReadWasteFlow ReadingKind = "waste flow" // m³/s
	ReadDelivered ReadingKind = "delivered"  // m³/s
	ReadBeats     ReadingKind = "beats"      // a minute
	ReadShutoff   ReadingKind = "shut-off"   // m of head on the gauge with the delivery shut
)

// usualError is the standard deviation of a reading as a share of it where
// none is given: bucket and watch 3 %, a minute's beats 1 %, a gauge 5 %
// (common practice, no source).
var usualError = map[ReadingKind]float64{
	ReadOpenFlow: 0.03, ReadDriveFlow: 0.03, ReadWasteFlow: 0.03, ReadDelivered: 0.03, ReadBeats: 0.01, ReadShutoff: 0.05,
}

// Reading is one measurement.
type Reading struct {
	Kind          ReadingKind
	DriveHeadM    float64
	DeliveryHeadM float64 // at the air vessel; not used for open flow and shut-off
	Value         float64 // SI; beats a minute
	Sigma         float64 // of the value; 0 takes the usual error of the kind
}

// Residual is what a reading and the fitted pump say of each other.
type Residual struct {
	Reading
	Predicted float64
	Off       float64 // (reading − predicted)/sigma
}

// Estimate is a fitted parameter with one standard deviation.
type Estimate struct {
	Value, Sigma float64
	// Narrowed is how much the readings have narrowed it: 1 − (sigma after /
	// sigma before); near 0 they say nothing about it.
	Narrowed float64
}

// Calibration is a pump fitted to readings.
type Calibration struct {
	Ram               Ram
	ClosingVelocityMS float64
	WasteValveK       Estimate
	ClosingVelocity   Estimate // m/s
	VolumetricFactor  Estimate
	SlipM3            Estimate
	Residuals         []Residual
	ChiSquare         float64
	Freedom           int // readings beyond the parameters that they determine

	theta      [4]float64
	covariance *mat.SymDense
}

// The parameters are fitted as logarithms, which keeps them positive. Before
// any reading they are the usual ones with these standard deviations
// (judgement): a factor of 2.2 for K_w, 1.5 for v_c, 1.25 for η_v, 2 for slip.
var priorSigma = [4]float64{math.Ln2 * 1.14, math.Ln2 * 0.58, math.Ln2 * 0.32, math.Ln2}

// modelError is the share by which the model itself may be off once its
// parameters fit: the closed form against the simulation at one point.
const modelError = 0.10

// ErrNoReadings says that there is nothing to fit.
var ErrNoReadings = errors.New("hydraulics: no readings to calibrate with")

// Calibrate fits K_w, closing velocity, volumetric factor and slip of a pump to
// readings, starting from the usual parameters: the most likely values given
// the readings' errors and how far pumps usually scatter (maximum a posteriori,
// Levenberg–Marquardt), with the standard deviations of the linearised fit.
func Calibrate(f Fluid, drive Pipe, length float64, usual Ram, readings []Reading) (Calibration, error) {
	if len(readings) == 0 {
		return Calibration{}, ErrNoReadings
	}
	fit := fitting{f: f, drive: drive, length: length, usual: usual}
	for i, r := range readings {
		share, ok := usualError[r.Kind]
		switch {
		case !ok:
			return Calibration{}, fmt.Errorf("hydraulics: reading %d is of an unknown kind %q", i+1, r.Kind)
		case !(r.Value > 0 && r.DriveHeadM > 0):
			return Calibration{}, &RangeError{"Calibrate", fmt.Sprintf("value or drive head of reading %d", i+1), min(r.Value, r.DriveHeadM), 0, math.Inf(1)}
		case r.Kind != ReadOpenFlow && r.Kind != ReadShutoff && !(r.DeliveryHeadM > r.DriveHeadM):
			return Calibration{}, &RangeError{"Calibrate", fmt.Sprintf("delivery head of reading %d in m", i+1), r.DeliveryHeadM, r.DriveHeadM, math.Inf(1)}
		}
		if r.Sigma <= 0 {
			r.Sigma = share * r.Value
		}
		fit.readings = append(fit.readings, r)
	}
	if err := usual.check("Calibrate", f, drive, length, readings[0].DriveHeadM, math.MaxFloat64); err != nil {
		return Calibration{}, err
	}
	fit.prior = fit.start()
	theta := fit.bestStart()
	theta, normal := fit.minimise(theta)
	return fit.result(theta, normal)
}

// fitting is a calibration at work.
type fitting struct {
	f        Fluid
	drive    Pipe
	length   float64
	usual    Ram
	readings []Reading
	prior    [4]float64
}

// start is the usual pump in logarithms, its valve tuned to λ 0.6.
func (t *fitting) start() [4]float64 {
	v := t.usual.velocityAt(t.f, t.drive, t.length, t.readings[0].DriveHeadM, 0.6)
	return [4]float64{math.Log(t.usual.WasteValveK), math.Log(v), math.Log(t.usual.VolumetricFactor), math.Log(max(t.usual.SlipM3, 1e-7))}
}

// ram is the pump of a set of parameters.
func (t *fitting) ram(theta [4]float64) (Ram, float64) {
	r := t.usual
	r.WasteValveK, r.VolumetricFactor, r.SlipM3 = math.Exp(theta[0]), min(math.Exp(theta[2]), 1), math.Exp(theta[3])
	return r, math.Exp(theta[1])
}

// predict is what a pump would give as a reading. Where it would run open, the
// flow is that of the open pipe and it neither beats nor delivers.
func (t *fitting) predict(theta [4]float64, x Reading) float64 {
	r, v := t.ram(theta)
	if x.Kind == ReadOpenFlow {
		q, err := FlowFor(t.f, t.drive, t.length, x.DriveHeadM, r.EntranceK+r.WasteValveK)
		if err != nil {
			return math.NaN()
		}
		return q
	}
	c, err := r.columnAt(t.f, t.drive, t.length, v)
	if err != nil {
		return math.NaN()
	}
	if x.Kind == ReadShutoff {
		return c.shutoff
	}
	if open := c.openVelocity(x.DriveHeadM); v >= latestLambda*open {
		if x.Kind == ReadDriveFlow || x.Kind == ReadWasteFlow {
			return c.area * open
		}
		return 0
	}
	b := c.beat(x.DriveHeadM, x.DeliveryHeadM)
	switch x.Kind {
	case ReadDriveFlow:
		return b.waste + b.delivered
	case ReadWasteFlow:
		return b.waste
	case ReadDelivered:
		return b.delivered
	}
	return 60 / b.period
}

// residuals are those of the readings, then those of the prior, in sigmas.
func (t *fitting) residuals(theta [4]float64) []float64 {
	out := make([]float64, 0, len(t.readings)+4)
	for _, x := range t.readings {
		out = append(out, (t.predict(theta, x)-x.Value)/x.Sigma)
	}
	for i := range theta {
		out = append(out, (theta[i]-t.prior[i])/priorSigma[i])
	}
	return out
}

func squares(list []float64) (sum float64) {
	for _, v := range list {
		sum += v * v
	}
	return sum
}

// bestStart scans closing velocity and K_w, whose effects are the least linear.
func (t *fitting) bestStart() [4]float64 {
	best, least := t.prior, math.Inf(1)
	for k := -4; k <= 4; k++ {
		for v := -8; v <= 8; v++ {
			theta := t.prior
			theta[0] += 0.3 * float64(k)
			theta[1] += 0.12 * float64(v)
			if s := squares(t.residuals(theta)); s < least {
				best, least = theta, s
			}
		}
	}
	return best
}

// minimise is Levenberg–Marquardt with a numerical Jacobian; it gives the
// normal matrix JᵀJ at the end, the prior included.
func (t *fitting) minimise(theta [4]float64) ([4]float64, *mat.SymDense) {
	damping := 1e-3
	cost := squares(t.residuals(theta))
	for range 200 {
		normal, gradient := t.normal(theta)
		damped := mat.NewSymDense(4, nil)
		damped.CopySym(normal)
		for i := range 4 {
			damped.SetSym(i, i, normal.At(i, i)*(1+damping))
		}
		var chol mat.Cholesky
		var step mat.VecDense
		if !chol.Factorize(damped) || chol.SolveVecTo(&step, gradient) != nil {
			damping *= 10
			continue
		}
		next, largest := theta, 0.0
		for i := range 4 {
			next[i] -= max(-0.5, min(0.5, step.AtVec(i)))
			largest = max(largest, math.Abs(step.AtVec(i)))
		}
		next[2] = min(next[2], 0) // a factor above 1 makes no sense
		if s := squares(t.residuals(next)); s <= cost {
			theta, cost, damping = next, s, max(damping/5, 1e-12)
			if largest < 1e-9 {
				break
			}
		} else if damping *= 5; damping > 1e12 {
			break
		}
	}
	normal, _ := t.normal(theta)
	return theta, normal
}

// normal is JᵀJ and Jᵀr.
func (t *fitting) normal(theta [4]float64) (*mat.SymDense, *mat.VecDense) {
	r := t.residuals(theta)
	columns := make([][]float64, 4)
	for i := range 4 {
		const d = 1e-5
		up, down := theta, theta
		up[i] += d
		down[i] -= d
		span := 2 * d
		if i == 2 && up[2] > 0 { // at the end of its range: one-sided
			up[2], span = theta[2], d
		}
		a, b := t.residuals(up), t.residuals(down)
		columns[i] = make([]float64, len(r))
		for k := range r {
			columns[i][k] = (a[k] - b[k]) / span
		}
	}
	normal, gradient := mat.NewSymDense(4, nil), mat.NewVecDense(4, nil)
	for i := range 4 {
		for j := i; j < 4; j++ {
			sum := 0.0
			for k := range r {
				sum += columns[i][k] * columns[j][k]
			}
			normal.SetSym(i, j, sum)
		}
		sum := 0.0
		for k := range r {
			sum += columns[i][k] * r[k]
		}
		gradient.SetVec(i, sum)
	}
	return normal, gradient
}

// result turns the fit into parameters with their errors.
func (t *fitting) result(theta [4]float64, normal *mat.SymDense) (Calibration, error) {
	var chol mat.Cholesky
	covariance := mat.NewSymDense(4, nil)
	if !chol.Factorize(normal) || chol.InverseTo(covariance) != nil {
		return Calibration{}, errors.New("hydraulics: the readings contradict each other so badly that no pump fits them")
	}
	r, v := t.ram(theta)
	c := Calibration{Ram: r, ClosingVelocityMS: v, theta: theta, covariance: covariance, Freedom: len(t.readings)}
	for i, e := range []struct {
		to    *Estimate
		value float64
	}{{&c.WasteValveK, r.WasteValveK}, {&c.ClosingVelocity, v}, {&c.VolumetricFactor, r.VolumetricFactor}, {&c.SlipM3, r.SlipM3}} {
		share := math.Sqrt(covariance.At(i, i))
		*e.to = Estimate{e.value, e.value * share, 1 - share/priorSigma[i]}
		if e.to.Narrowed > 0.5 {
			c.Freedom--
		}
	}
	for _, x := range t.readings {
		p := t.predict(theta, x)
		off := (x.Value - p) / x.Sigma
		c.ChiSquare += off * off
		c.Residuals = append(c.Residuals, Residual{x, p, off})
	}
	return c, nil
}

// Fits says whether the readings agree with the model within their errors:
// chi-square no more than three standard deviations above its mean, with the
// model's own error of a tenth allowed for in the delivered flow.
func (c *Calibration) Fits() bool {
	n := float64(max(c.Freedom, 1))
	return c.ChiSquare <= n+3*math.Sqrt(2*n)
}

// Band is the share by which the delivered flow predicted at a pair of heads
// may be off, at 95 %: what the readings leave open in the parameters, and a
// model error of a tenth.
func (c *Calibration) Band(f Fluid, drive Pipe, length, driveHead, deliveryHead float64) float64 {
	t := fitting{f: f, drive: drive, length: length, usual: c.Ram}
	x := Reading{Kind: ReadDelivered, DriveHeadM: driveHead, DeliveryHeadM: deliveryHead}
	q := t.predict(c.theta, x)
	if !(q > 0) {
		return 1
	}
	var slope [4]float64
	for i := range 4 {
		const d = 1e-4
		up, down := c.theta, c.theta
		up[i] += d
		down[i] -= d
		slope[i] = (t.predict(up, x) - t.predict(down, x)) / (2 * d * q)
	}
	variance := 0.0
	for i := range 4 {
		for j := range 4 {
			variance += slope[i] * slope[j] * c.covariance.At(i, j)
		}
	}
	return math.Hypot(1.96*math.Sqrt(variance), modelError)
}
