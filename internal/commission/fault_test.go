package commission

import (
	"math"
	"math/rand/v2"
	"testing"

	"route/internal/plan"
)

// modelWithBox draws until there is a model with a standpipe and, if asked
// for, a box.
func modelWithBox(t *testing.T, box bool) Model {
	t.Helper()
	r := rand.New(rand.NewPCG(5, 5))
	for {
		m, ok := drawPlan(t, r)
		if ok && math.IsNaN(m.BoxM) != box && len(m.HighAt) > 0 {
			return m
		}
	}
}

// Each fault moves the readings that a fitter would look at, the way he would
// expect (trade knowledge, no source), and leaves those alone that it cannot
// reach.
func TestFaultsShowWhereFittersLook(t *testing.T) {
	type sign struct {
		at  index
		way int // -1 falls, 0 stays, 1 rises
	}
	want := map[Cause][]sign{
		AirLock:           {{iGaugeRest, 1}, {iGaugeRuns, 1}, {iDelivered, -1}, {iRest, 0}},
		DeliveryValveLeak: {{iHeld, -1}, {iDelivered, -1}, {iWaste, 1}, {iShutOff, -1}, {iGaugeRest, 0}},
		DeliveryPipeLeak:  {{iDelivered, -1}, {iHeld, 0}, {iGaugeRest, 0}},
		DeliveryThrottled: {{iGaugeRuns, 1}, {iGaugeRest, 0}, {iDelivered, -1}},
		SupplyLow:         {{iPool, -1}, {iRuns, -1}, {iRest, 0}, {iDelivered, -1}},
		ScreenClogged:     {{iRuns, -1}, {iScreenOff, 0}, {iRest, 0}, {iPool, 0}},
		SupplyBlocked:     {{iRuns, -1}, {iScreenOff, -1}, {iRest, 0}, {iOpen, -1}},
		VesselWaterlogged: {{iSwing, 1}, {iGaugeRest, 0}, {iRuns, 0}},
		TunedTooLight:     {{iWaste, -1}, {iBeats, 1}, {iShutOff, -1}, {iOpen, 0}},
		TunedTooHeavy:     {{iWaste, 1}, {iBeats, -1}, {iShutOff, 1}, {iOpen, 0}},
		StandpipeShort:    {{iRuns, -1}, {iOverflow, 1}, {iRest, -1}},
		DriveAir:          {{iShutOff, -1}, {iDelivered, -1}, {iOpen, 0}},
	}
	for _, box := range []bool{false, true} {
		m := modelWithBox(t, box)
		sound, ok := m.plant([parameters]float64{}).observe()
		if !ok {
			t.Fatal("the plan does not run")
		}
		for _, f := range m.faults() {
			p := m.plant([parameters]float64{})
			f.apply(p, f.severity(0))
			y, ok := p.observe()
			if !ok {
				t.Errorf("%s: no prediction", f.cause)
				continue
			}
			for _, s := range want[f.cause] {
				// What stays may move by what the pump draws more or less.
				d, still := y[s.at]-sound[s.at], 0.002*math.Abs(sound[s.at])
				way := 0
				if math.Abs(d) > still {
					way = int(math.Copysign(1, d))
				}
				if way != s.way {
					t.Errorf("box %v, %s: %s goes from %.4g to %.4g", box, f.cause, infos[s.at].kind, sound[s.at], y[s.at])
				}
			}
		}
	}
}

// An air lock lifts the gauge by the height of the air, no more and no less
// (hydrostatics), and no higher than the pipe falls behind the high place.
func TestAirLockIsHydrostatic(t *testing.T) {
	m := modelWithBox(t, false)
	for _, f := range m.faults() {
		if f.cause != AirLock {
			continue
		}
		if s := f.severity(9); s > f.place.SagM {
			t.Errorf("%g m of air in %g m of falling pipe", s, f.place.SagM)
		}
		p := m.plant([parameters]float64{})
		f.apply(p, 0.7)
		y, _ := p.observe()
		if d := y[iGaugeRest] - m.Lift.Value; math.Abs(d-0.7) > 1e-9 {
			t.Errorf("the gauge rises by %g m", d)
		}
	}
}

// The held gauge falls as the closed form has it where the leak is that of a
// constant head: pV is constant, so h = (h0 + B)·V/(V + q·t) − B with q taken
// at the mean of both ends.
func TestHeldGauge(t *testing.T) {
	m := modelWithBox(t, false)
	p := m.plant([parameters]float64{})
	p.air = 0.02
	p.valveLeak = 1e-7
	feed := 2.0
	got := p.held(feed)
	pumps := float64(m.Pumps)
	head := p.lift
	for range 50 {
		q := p.valveLeak * (math.Sqrt(p.lift-feed) + math.Sqrt(head-feed)) / 2
		head = (p.lift+p.fluid.BarometricHead)*0.02*pumps/(0.02*pumps+q*holdS) - p.fluid.BarometricHead
	}
	if math.Abs(got-head) > 0.01*(p.lift-head) || p.lift-head < 0.1 {
		t.Errorf("falls by %.4g m, want %.4g", p.lift-got, p.lift-head)
	}
}

// Worked by hand: the pipe rises to 10 m, falls to 7 m, rises to 12 m, falls
// to 11 m and rises to the tank at 20 m.
func TestHighPlaces(t *testing.T) {
	l := plan.Layout{}
	for k, z := range []plan.Number{0, 10, 7, 12, 11, 20} {
		l.Delivery.Path = append(l.Delivery.Path, plan.Vertex{AlongM: plan.Number(30 * k), InvertM: z})
	}
	l.Delivery.Vents = []plan.Number{30, 90}
	got := highPlaces(&l)
	if len(got) != 2 || got[0].SagM != 3 || got[1].SagM != 1 || got[0].AlongM != 30 || got[1].Name != "VENT2" {
		t.Errorf("%+v", got)
	}
}
