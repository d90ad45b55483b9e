package hydraulics

import (
	"context"
	"math"
	"slices"
	"testing"
)

func simulate(t testing.TB, s Simulation) Simulated {
	t.Helper()
	r, err := s.Run(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// gridCase is the reference's own grid test: H 2 m, h 20 m, 10 m of 2 in steel,
// v_c 1.2 m/s, K_w 4, K_d 3.
func gridCase(t testing.TB) Simulation {
	r := DefaultRam(0.05248)
	r.SlipM3, r.VolumetricFactor = 0, 1
	return Simulation{
		Installation: Installation{
			Fluid: cold(t), SourceM: 2, Ram: r, LiftM: 20,
			Drive: Run{Pipe: product(t, "steel Sch 40 2 in").Pipe, LengthM: 10},
		},
		ClosingVelocity: 1.2,
	}
}

func TestSimulationGrid(t *testing.T) {
	// The other program: 5.56, 5.39, 5.36, 5.43 L/min for 5, 10, 20, 40
	// reaches, 71 to 72.5 L/min wasted, 75 beats.
	want := map[int]float64{5: 5.56, 10: 5.39, 20: 5.36, 40: 5.43}
	for _, n := range []int{5, 10, 20, 40, 80} {
		s := gridCase(t)
		s.Reaches = n
		r := simulate(t, s)
		t.Logf("%2d reaches: delivered %.3f, wasted %.2f L/min, %.1f beats/min, head %.2f to %.2f m, books off by %.1e and %.1e", n, r.DeliveredFlow*60e3, r.WasteFlow*60e3, r.BeatsPerMinute, r.LowestHeadM, r.HighestHeadM, r.VolumeError, r.EnergyError)
		if w, ok := want[n]; ok && relative(r.DeliveredFlow*60e3, w) > 0.1 {
			t.Errorf("%d reaches: delivered %.3f L/min, want %.2f L/min", n, r.DeliveredFlow*60e3, w)
		}
	}
}

func TestSimulationAgainstReference(t *testing.T) {
	rows := referenceRows(t, "ram_model_reference.csv")
	var offQ, offW, closed []float64
	for i, row := range rows {
		n := func(k string) float64 { return number(t, row, k) }
		f := cold(t)
		f.KinematicViscosity = n("nu_m2_s")
		s := Simulation{
			Installation: Installation{
				Fluid: f, SourceM: n("H_m"), LiftM: n("h_m"),
				Drive: Run{Pipe: Pipe{Inside: n("D_m"), Wall: n("wall_m"), Roughness: n("eps_m"), YoungModulus: steelModulus}, LengthM: n("L_m")},
				Ram:   Ram{WasteValveK: n("Kw"), DeliveryValveK: n("Kd"), EntranceK: n("Kmin"), CloseTimeS: n("tc_s"), OpenTimeS: n("to_s"), VolumetricFactor: 1, RecoilHeadM: 8},
			},
			ClosingVelocity: n("vc_m_s"),
		}
		r := simulate(t, s)
		q, w := r.DeliveredFlow*60e3/n("moc_q_Lmin")-1, r.WasteFlow*60e3/n("moc_Qw_Lmin")-1
		offQ, offW = append(offQ, math.Abs(q)), append(offW, math.Abs(w))
		d, err := s.Ram.Cycle(f, s.Drive.Pipe, s.Drive.LengthM, s.SourceM, s.LiftM, s.ClosingVelocity)
		if err != nil {
			t.Fatal(err)
		}
		closed = append(closed, math.Abs(d.DeliveredFlow/r.DeliveredFlow-1))
		t.Logf("row %d: delivered %+.1f %%, wasted %+.1f %%, beats %.1f (%s), head %.2f to %.2f m (%s, %s); closed form %+.1f %%", i+2, 100*q, 100*w, r.BeatsPerMinute, row["moc_bpm"], r.LowestHeadM, r.HighestHeadM, row["moc_Hmin_m"], row["moc_Hmax_m"], 100*(d.DeliveredFlow/r.DeliveredFlow-1))
	}
	for name, list := range map[string][]float64{"delivered against the other simulation": offQ, "wasted against the other simulation": offW, "closed form against ours, delivered": closed} {
		slices.Sort(list)
		t.Logf("%s: median %.1f %%, 90 %% within %.1f %%, worst %.1f %%", name, 100*list[len(list)/2], 100*list[len(list)*9/10-1], 100*list[len(list)-1])
	}
}

func BenchmarkSimulatedMinute(b *testing.B) {
	s := gridCase(b)
	s.MeasureS = 50
	b.ReportAllocs()
	for b.Loop() {
		simulate(b, s)
	}
}
