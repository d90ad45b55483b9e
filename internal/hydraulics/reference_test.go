package hydraulics

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// referenceRows reads one of the big tables of outside numbers.
func referenceRows(t testing.TB, file string) []map[string]string {
	t.Helper()
	dir := os.Getenv("ROUTE_REFERENCE")
	if dir == "" {
		t.Skip("ROUTE_REFERENCE is unset: set it to the folder that holds " + file)
	}
	f, err := os.Open(filepath.Join(dir, file))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]string
	for _, rec := range all[1:] {
		row := map[string]string{}
		for i, v := range rec {
			row[all[0][i]] = v
		}
		rows = append(rows, row)
	}
	return rows
}

func number(t testing.TB, row map[string]string, key string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(row[key], 64)
	if err != nil {
		t.Fatalf("column %s: %v", key, err)
	}
	return v
}

func relative(got, want float64) float64 { return math.Abs(got/want - 1) }

// The closed form was worked out independently (60 random steel designs) with
// the friction factor of Swamee & Jain and the wave speed of the row, η_v 1 and
// no slip. Printed to 3–5 digits; 0.1 % or half the last digit.
func TestClosedFormAgainstReference(t *testing.T) {
	rows := referenceRows(t, "ram_model_reference.csv")
	worst := 0.0
	for i, row := range rows {
		n := func(k string) float64 { return number(t, row, k) }
		r := Ram{WasteValveK: n("Kw"), DeliveryValveK: n("Kd"), EntranceK: n("Kmin"), CloseTimeS: n("tc_s"), OpenTimeS: n("to_s"), VolumetricFactor: 1, RecoilHeadM: 8}
		bore, vc := n("D_m"), n("vc_m_s")
		f, err := SwameeJain(frictionShare*vc*bore/n("nu_m2_s"), n("eps_m")/bore)
		if err != nil {
			t.Fatal(err)
		}
		c := r.column(math.Pi/4*bore*bore, bore, n("L_m"), n("a_m_s"), f, vc)
		b := c.beat(n("H_m"), n("h_m"))
		d := c.duty(&b, n("H_m"), n("h_m"))
		for _, x := range []struct {
			col       string
			got, half float64 // half a unit of the last printed digit
		}{
			{"cf_q_Lmin", d.DeliveredFlow * 60e3, 5e-5}, {"cf_Qw_Lmin", d.WasteFlow * 60e3, 5e-4}, {"cf_bpm", d.BeatsPerMinute(), 5e-3},
			{"cf_etaRankine", d.EfficiencyRankine, 5e-5}, {"cf_etaDAub", d.EfficiencyDAubuisson, 5e-5}, {"lambda", d.Lambda, 5e-5}, {"mu", d.Mu, 5e-4},
		} {
			want := n(x.col)
			e := max(math.Abs(x.got-want)-x.half, 0) / want
			worst = max(worst, e)
			if e > 1e-3 {
				t.Errorf("row %d %s: got %.5g, want %.5g", i+2, x.col, x.got, want)
			}
		}
	}
	t.Logf("%d rows, worst relative difference beyond rounding %.2g", len(rows), worst)
}

// fluids_reference.csv was computed with python3-fluids 1.0.22 (Clamond's
// Colebrook, g = 9.80665). Rows between Re 2000 and 4000 use another formula
// there and are left out.
func TestFrictionAgainstReference(t *testing.T) {
	rows := referenceRows(t, "fluids_reference.csv")
	var worstF, worstH, worstHW float64
	n := 0
	for _, row := range rows {
		re := number(t, row, "Re")
		if re >= laminarRe && re < turbulentRe {
			continue
		}
		n++
		f, err := FrictionFactor(re, number(t, row, "eD"))
		if err != nil {
			t.Fatal(err)
		}
		// A printed value carries half a digit of its own; 7 digits or so.
		e := relative(f, number(t, row, "f_darcy_colebrook"))
		worstF = max(worstF, e)
		if e > 1e-3 {
			t.Errorf("%s: f = %v, want %s", row["case"], f, row["f_darcy_colebrook"])
		}
		if row["section"] != "pipe_headloss" {
			continue
		}
		fl := Fluid{Density: number(t, row, "rho_kg_m3"), KinematicViscosity: number(t, row, "mu_Pa_s") / number(t, row, "rho_kg_m3")}
		p := Pipe{Inside: number(t, row, "ID_m"), Roughness: number(t, row, "roughness_m")}
		h, err := HeadLoss(fl, p, 100, number(t, row, "Q_m3_s"), 0)
		if err != nil {
			t.Fatal(err)
		}
		e = relative(h, number(t, row, "hf_m_per_100m"))
		worstH = max(worstH, e)
		if e > 1e-3 {
			t.Errorf("%s: loss %v m, want %s m", row["case"], h, row["hf_m_per_100m"])
		}
		e = relative(HazenWilliamsLoss(number(t, row, "HW_C"), p.Inside, 100, number(t, row, "Q_m3_s")), number(t, row, "hf_HW_m_per_100m"))
		worstHW = max(worstHW, e)
		if e > 3e-3 { // the other program has D^4.8704, not D^4.871
			t.Errorf("%s: Hazen–Williams off by %v", row["case"], e)
		}
		w, err := Water(number(t, row, "T_C")+273.15, 0)
		if err != nil {
			t.Fatal(err)
		}
		if e := relative(w.Density, fl.Density); e > 1e-4 {
			t.Errorf("%s: density %v, want %v", row["case"], w.Density, fl.Density)
		}
		if e := relative(w.KinematicViscosity, fl.KinematicViscosity); e > 7e-3 {
			t.Errorf("%s: viscosity %v, want %v", row["case"], w.KinematicViscosity, fl.KinematicViscosity)
		}
	}
	t.Logf("%d rows, worst relative difference: f %.2g, head loss %.2g, Hazen–Williams %.2g", n, worstF, worstH, worstHW)
	if n < 1000 {
		t.Errorf("only %d rows outside the transition", n)
	}
}
