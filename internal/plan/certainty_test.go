package plan

import (
	"errors"
	"math"
	"testing"

	"github.com/paulmach/orb"
	"gonum.org/v1/gonum/stat/distuv"

	"route/internal/hydraulics"
)

// sameSigma is ground whose every drop is uncertain by the same amount.
type sameSigma float64

func (sameSigma) At(orb.Point) (float64, bool)       { return 0, true }
func (s sameSigma) DiffSigma(p, q orb.Point) float64 { return float64(s) }
func linear(head, _, _ float64) (hydraulics.Duty, error) {
	return hydraulics.Duty{DeliveredFlow: head}, nil
}
func stopsBelow(least float64) func(head, _, _ float64) (hydraulics.Duty, error) {
	return func(head, _, _ float64) (hydraulics.Duty, error) {
		if head < least {
			return hydraulics.Duty{}, errors.New("too little head")
		}
		return hydraulics.Duty{DeliveredFlow: 1}, nil
	}
}

// With delivered flow equal to drive head, flow is the product of a normal and
// a lognormal draw, whose 10 and 90 % points follow by quadrature over the
// lognormal. 400 draws know a decile to about 1/20 of the spread (standard
// error sqrt(p(1-p)/n)/density); the bound is four of those.
func TestBandIsTheProductOfHeadAndPump(t *testing.T) {
	const head, sigma = 3.0, 0.2
	u := uncertain{driveHeadM: head, pumps: 1, drawFlow: 1, deliver: linear, deliveryHeadM: 10}
	b := u.spread(sameSigma(sigma), 7)
	share := func(x float64) float64 {
		sum, n := 0.0, 2000
		for i := range n {
			z := distuv.UnitNormal.Quantile((float64(i) + 0.5) / float64(n))
			sum += distuv.UnitNormal.CDF((x/math.Exp(pumpSpread*z) - head) / sigma)
		}
		return sum / float64(n)
	}
	for _, c := range []struct {
		name      string
		got, want float64
	}{{"low", share(b.low), 0.1}, {"high", share(b.high), 0.9}} {
		if math.Abs(c.got-c.want) > 4*math.Sqrt(0.09/draws) {
			t.Errorf("%s lies at the %.1f %% point, want %.0f %%", c.name, 100*c.got, 100*c.want)
		}
	}
	if b.chance != 1 {
		t.Errorf("chance %v without any demand or limit", b.chance)
	}
	if math.Abs(b.headSigmaM-sigma) > 1e-12 {
		t.Errorf("head sigma %v", b.headSigmaM)
	}
}

// A pump that stops below a head works with the normal probability of that
// head.
func TestChanceIsTheShareOfDrawsThatWork(t *testing.T) {
	u := uncertain{driveHeadM: 3, pumps: 2, drawFlow: 1, deliver: stopsBelow(2.8), deliveryHeadM: 10}
	b := u.spread(sameSigma(0.2), 3)
	want := distuv.UnitNormal.CDF(1) // (3-2.8)/0.2
	if math.Abs(b.chance-want) > 4*math.Sqrt(want*(1-want)/draws) {
		t.Errorf("chance %.3f, want %.3f", b.chance, want)
	}
	again := u.spread(sameSigma(0.2), 3)
	if again != b {
		t.Error("the same seed draws differently")
	}
	if other := u.spread(sameSigma(0.2), 4); other == b {
		t.Error("another seed draws the same")
	}
}

// A standpipe whose water falls below its least height lets air in: no water.
func TestDrawnDownStandpipeDeliversNothing(t *testing.T) {
	u := uncertain{driveHeadM: 3, pumps: 1, drawFlow: 1, deliver: linear, deliveryHeadM: 10, hasStandpipe: true, standpipeM: 0.5, standpipeMin: 0.3, standpipeMax: 3, supplyLossM: 0}
	b := u.spread(sameSigma(0.4), 1)
	want := distuv.UnitNormal.CDF(0.5) // (0.5-0.3)/0.4
	if math.Abs(b.chance-want) > 4*math.Sqrt(want*(1-want)/draws) {
		t.Errorf("chance %.3f, want %.3f", b.chance, want)
	}
	if b.low != 0 {
		t.Errorf("low is %v although it runs dry in 3 of 10 draws", b.low)
	}
}

// A creek whose low flow is known to a tenth, of which the pump wants all that
// may be taken, and a pump that needs nine tenths of it: the normal
// probability of one standard deviation.
func TestACreekThatGivesLessStopsThePump(t *testing.T) {
	needs := func(_, _, flow float64) (hydraulics.Duty, error) {
		if flow < 0.9 {
			return hydraulics.Duty{}, errors.New("too little flow")
		}
		return hydraulics.Duty{DeliveredFlow: flow}, nil
	}
	u := uncertain{driveHeadM: 3, pumps: 1, drawFlow: 1, take: 1, takeSigma: 0.1, deliver: needs, deliveryHeadM: 10}
	b := u.spread(sameSigma(0), 5)
	want := distuv.UnitNormal.CDF(1)
	if math.Abs(b.chance-want) > 4*math.Sqrt(want*(1-want)/draws) {
		t.Errorf("chance %.3f, want %.3f", b.chance, want)
	}
}

// Whatever is not drawn is not lost in the supply pipe either: with a loss of
// 2 m at the full flow of 1 and in proportion below, the drive head is 5 − 2q.
func TestLessFlowLosesLessInTheSupplyPipe(t *testing.T) {
	least := 1.0
	pump := func(head, _, flow float64) (hydraulics.Duty, error) {
		least = math.Min(least, flow)
		if math.Abs(head-(5-2*flow)) > 1e-9 {
			t.Errorf("head %v at a flow of %v", head, flow)
		}
		return hydraulics.Duty{DeliveredFlow: flow}, nil
	}
	u := uncertain{driveHeadM: 3, pumps: 1, drawFlow: 1, take: 1, takeSigma: 0.1, lossAt: func(q float64) float64 { return 2 * q }, deliver: pump, deliveryHeadM: 10}
	u.spread(sameSigma(0), 6)
	if least > 0.9 {
		t.Errorf("the least flow of 400 draws is %v", least)
	}
}
