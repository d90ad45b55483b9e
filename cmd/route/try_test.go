package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
	"testing"
	"time"

	"route/internal/plan"
)

// placesOf are the places of a layout.
func placesOf(l *plan.Layout) plan.Places {
	at := plan.Places{IntakeM: float64(l.Intake.StationM), PumpM: float64(l.Pump.StationM)}
	if l.SettlingBox != nil {
		m := float64(l.SettlingBox.StationM)
		at.BoxM = &m
	}
	if l.Standpipe != nil {
		m := float64(l.Standpipe.StationM)
		at.StandpipeM = &m
	}
	return at
}

// pinsOf are the same places for a plan.
func pinsOf(at plan.Places) map[string]string {
	write := func(m *float64) string {
		if m == nil {
			return "none"
		}
		return fmt.Sprintf("%.4fm", *m)
	}
	return map[string]string{"pins.intake": write(&at.IntakeM), "pins.settling_box": write(at.BoxM), "pins.standpipe": write(at.StandpipeM), "pins.pump": write(&at.PumpM)}
}

// shown is what a trial and a layout both show.
func shown(l *plan.Layout) string {
	text := fmt.Sprintln(l.Intake.StationM, l.Intake.WaterM, l.Pump.StationM, l.Pump.OutletM, l.Pump.Count, l.Pump.Model, l.Tank,
		l.DriveHeadM, l.DriveHeadSigmaM, l.ChanceWorks, l.DriveFlowLMin, l.DeliveredLMin, l.DeliveredLDay, l.DeliveredLDayLow, l.DeliveredLDayHigh,
		l.BeatsPerMin, l.Efficiency, l.EfficiencyRankine, l.LiftRatio, l.Mu, l.ClosingVelocityMS, l.ShutoffHeadM, l.CreekLeftShare, l.Cost, l.Takeoff,
		l.Drive.Item, l.Drive.LengthM, l.Drive.FallM, l.Drive.PressureM, l.Drive.Path, l.Delivery.Item, l.Delivery.LengthM, l.Delivery.LossM, l.Delivery.LiftM, l.Delivery.CrestM, l.Delivery.Path)
	if l.SettlingBox != nil {
		text += fmt.Sprintln(l.SettlingBox.StationM, l.SettlingBox.WaterM, l.SettlingBox.AlongM)
	}
	if s := l.Standpipe; s != nil {
		text += fmt.Sprintln(s.StationM, s.HeightM, s.StaticLevelM, s.RunningLevelM, s.Size)
	}
	if s := l.Supply; s != nil {
		text += fmt.Sprintln(s.Item, s.LengthM, s.LossM, s.FlowLS, s.Path)
	}
	return text
}

// dragged moves some of the places of a layout along the creek.
func dragged(r *rand.Rand, at plan.Places, lengthM, farM float64) plan.Places {
	move := func(m float64) float64 {
		if r.IntN(2) == 0 {
			return m
		}
		return max(0, min(lengthM, m+farM*(2*r.Float64()-1)))
	}
	at.IntakeM, at.PumpM = move(at.IntakeM), move(at.PumpM)
	if at.StandpipeM != nil {
		m := move(*at.StandpipeM)
		at.StandpipeM = &m
	}
	switch r.IntN(6) {
	case 0:
		at.StandpipeM = nil
	case 1:
		m := at.IntakeM + 6 + 8*r.Float64()
		at.BoxM = &m
	}
	return at
}

// A trial shows what a plan with the same places pinned shows, to the last
// digit; and it breaks a limit exactly where the plan says that the pins do not
// work.
func TestTrialEqualsThePinnedPlan(t *testing.T) {
	const seed, trials = 81, 24
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 6))
	works, not := 0, 0
	for _, name := range []string{"fernhollow", "eilwern"} {
		desk := deskOf(t, name)
		free := planDemo(t, name)
		for k := range trials {
			at := placesOf(&free.Layouts[k%len(free.Layouts)])
			if k >= len(free.Layouts) {
				at = dragged(r, at, float64(free.Creek.LengthM), 20)
			}
			trial, err := desk.Try(t.Context(), at)
			if err != nil {
				t.Fatal(err)
			}
			if len(trial.Broken) > 0 && trial.Broken[0].Reason == plan.OutOfOrder {
				continue
			}
			p, err := desk.Plan(t.Context(), plan.Changes{Set: pinsOf(at)})
			if err != nil {
				t.Fatal(err)
			}
			if p.PinsWork() != trial.Works {
				t.Errorf("%s, trial %d, %v: the trial breaks %+v, the plan says %+v", name, k, pinsOf(at), trial.Broken, p.Messages[0])
				continue
			}
			if !trial.Works {
				not++
				if len(trial.Broken) == 0 || slices.ContainsFunc(trial.Broken, func(b plan.Broken) bool { return b.Text == "" || !b.StationM.Known() }) {
					t.Errorf("%s, trial %d: a trial that does not work must say why: %+v", name, k, trial.Broken)
				}
				continue
			}
			works++
			if got, want := shown(trial.Layout), shown(&p.Layouts[0]); got != want {
				t.Errorf("%s, trial %d, %v:\n%s", name, k, pinsOf(at), firstDifference([]byte(got), []byte(want)))
			}
		}
	}
	t.Logf("%d trials work, %d do not", works, not)
	if works < trials/3 || not < trials/3 {
		t.Error("too few trials say something")
	}
}

// Many hands may drag at one desk; each gets what it would get alone.
func TestManyTryAtOneDesk(t *testing.T) {
	desk := deskOf(t, "eilwern")
	free := planDemo(t, "eilwern")
	alone := map[int]string{}
	at := func(k int) plan.Places {
		p := placesOf(&free.Layouts[0])
		p.PumpM -= float64(k % 12)
		return p
	}
	show := func(k int) string {
		trial, err := desk.Try(t.Context(), at(k))
		if err != nil {
			return err.Error()
		}
		text := fmt.Sprint(trial.Broken)
		if trial.Layout != nil {
			text += shown(trial.Layout)
		}
		return text
	}
	for k := range 12 {
		alone[k] = show(k)
	}
	fresh, err := desk.With(t.Context(), plan.Changes{Set: map[string]string{"seed": "1"}})
	if err != nil {
		t.Fatal(err)
	}
	desk = fresh // its bench is not yet made
	var wg sync.WaitGroup
	for range max(4, runtime.NumCPU()) {
		wg.Go(func() {
			for k := range 24 {
				if got := show(k); got != alone[k%12] {
					t.Errorf("trial %d beside others differs:\n%s", k, firstDifference([]byte(got), []byte(alone[k%12])))
					return
				}
			}
		})
	}
	wg.Wait()
}

// BenchmarkDeskTry drags the pump of the best layout up and down the creek, and
// gives the 95th percentile of what one step takes.
func BenchmarkDeskTry(b *testing.B) {
	for _, name := range []string{"fernhollow", "eilwern"} {
		b.Run(name, func(b *testing.B) {
			desk := deskOf(b, name)
			at := placesOf(&planDemo(b, name).Layouts[0])
			pump := at.PumpM
			var took []float64
			k := 0
			step := func() {
				at.PumpM = pump + 12*math.Sin(float64(k)/9)
				k++
				if _, err := desk.Try(b.Context(), at); err != nil {
					b.Fatal(err)
				}
			}
			for range 60 {
				step()
			}
			for b.Loop() {
				start := time.Now()
				step()
				took = append(took, time.Since(start).Seconds()*1e3)
			}
			slices.Sort(took)
			b.ReportMetric(took[len(took)*95/100], "ms-p95")
		})
	}
}
