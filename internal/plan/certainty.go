package plan

import (
	"math"
	"math/rand/v2"
	"slices"

	"route/internal/hydraulics"
	"route/internal/profile"

	"github.com/paulmach/orb"
)

// draws is how many seeded draws a layout's band rests on. The 10 and 90 %
// points of 400 draws are themselves known to about 3 % of the spread.
const draws = 400

// Standard deviations of what is not the terrain. They are judgements, not
// measurements: a ram that has not been calibrated delivers within about a
// quarter of the model (hydraulics reference, 3.4), which is read as 95 %;
// tabulated roughness is uncertain by 30 to 50 %, which a pipe's loss feels
// by about a sixth.
const (
	pumpSpread     = 0.125 // of the logarithm of delivered flow
	lossSpread     = 0.15  // of the supply pipe's loss
	liftSpreadPart = 0.02  // of the delivery friction
)

// uncertain is one layout as the draws see it.
type uncertain struct {
	intake, standpipe, pump, tank orb.Point

	driveHeadM    float64
	supplyLossM   float64
	standpipeM    float64 // running water above the foot
	standpipeMin  float64
	standpipeMax  float64
	hasStandpipe  bool
	deliveryHeadM float64 // static lift and friction
	driveHeadMin  float64
	demand        float64 // m³/s, 0 for none
	drawFlow      float64 // m³/s, all pumps
	pumps         int
	// deliver is one pump, retuned to draw a flow.
	deliver func(driveHeadM, deliveryHeadM, flow float64) (hydraulics.Duty, error)

	// What may be taken of the creek, and how well that is known: with less
	// than the drive flow the pump is tuned lower. A takeSigma of 0 takes the
	// drive flow for sure.
	take, takeSigma float64                    // m³/s, all pumps
	lossAt          func(flow float64) float64 // of the supply pipe, m; all pumps

	// headShift moves the drop from intake to pump, in its standard
	// deviations.
	headShift float64
	// worth is what a draw is worth to the owner; nil for nothing.
	worth func(flow, headM float64, works bool) float64
}

// band is what the draws say.
type band struct {
	headSigmaM float64
	chance     float64 // that the layout works as asked
	low, high  float64 // 10 and 90 % points of delivered flow, m³/s, all pumps
	worth      float64 // mean over the draws
	dropSigmaM float64 // of the drop from intake to pump
}

// spread runs the draws. The three heights along the creek share the
// surface's error, so the two drops that matter are drawn together.
func (u uncertain) spread(g profile.Ground, seed uint64) band {
	intakePump := g.DiffSigma(u.intake, u.pump)
	intakeFoot := g.DiffSigma(u.intake, u.standpipe)
	footPump := g.DiffSigma(u.standpipe, u.pump)
	pumpTank := g.DiffSigma(u.pump, u.tank)
	rho := 0.0
	if intakePump > 0 && intakeFoot > 0 {
		rho = (intakePump*intakePump + intakeFoot*intakeFoot - footPump*footPump) / (2 * intakePump * intakeFoot)
		rho = math.Max(-1, math.Min(1, rho))
	}
	random := rand.New(rand.NewPCG(seed, 0x9e3779b97f4a7c15))
	delivered := make([]float64, draws)
	works, worth := 0, 0.0
	for k := range delivered {
		a, b := random.NormFloat64()+u.headShift, random.NormFloat64()
		loss := u.supplyLossM * lossSpread * random.NormFloat64()
		head := u.driveHeadM + intakePump*a - loss
		water := u.standpipeM + intakeFoot*(rho*a+math.Sqrt(1-rho*rho)*b) - loss
		lift := u.deliveryHeadM + math.Hypot(pumpTank, liftSpreadPart*u.deliveryHeadM)*random.NormFloat64()
		factor := math.Exp(pumpSpread * random.NormFloat64())
		flow, raised := u.drawn(random)
		q := 0.0
		if flow > 0 && (!u.hasStandpipe || water+raised >= u.standpipeMin) {
			if duty, err := u.deliver(head+raised, lift, flow/float64(u.pumps)); err == nil {
				q = math.Max(0, duty.DeliveredFlow*factor) * float64(u.pumps)
			}
		}
		delivered[k] = q
		good := q > 0 && q >= u.demand && head >= u.driveHeadMin && (!u.hasStandpipe || water <= u.standpipeMax)
		if good {
			works++
		}
		if u.worth != nil {
			worth += u.worth(q, head, good) / draws
		}
	}
	slices.Sort(delivered)
	return band{
		headSigmaM: math.Hypot(intakePump, u.supplyLossM*lossSpread),
		chance:     float64(works) / draws,
		low:        delivered[draws/10],
		high:       delivered[draws-1-draws/10],
		worth:      worth,
		dropSigmaM: intakePump,
	}
}

// drawn draws how much the pumps get, and by how much the water at the head of
// the drive pipe stands higher where that is less than planned, because less
// is lost in the supply pipe.
func (u *uncertain) drawn(random *rand.Rand) (flow, raised float64) {
	if u.takeSigma <= 0 {
		return u.drawFlow, 0
	}
	flow = math.Min(u.drawFlow, u.take+u.takeSigma*random.NormFloat64())
	if flow > 0 && flow < u.drawFlow && u.lossAt != nil {
		raised = u.lossAt(u.drawFlow) - u.lossAt(flow)
	}
	return flow, raised
}
