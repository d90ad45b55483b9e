package hydraulics

import (
	"math"
	"testing"
)

// Borda–Carnot and Crane's formula 1 by hand, and formula 7 against
// python3-fluids 1.0.22 (K_lift_check_valve_Crane with 62.7 mm in 77.9 mm and
// f 0.017 gives 24.87967662305315).
func TestChangesOfBore(t *testing.T) {
	if k := SuddenEnlargement(0.5); math.Abs(k-0.5625) > 1e-15 {
		t.Errorf("enlargement %v, want 0.5625", k)
	}
	if k := SuddenContraction(0.5); math.Abs(k-0.375) > 1e-15 {
		t.Errorf("contraction %v, want 0.375", k)
	}
	if k := ReducedSeat(600*0.017, 62.7/77.9); math.Abs(k-24.87967662305315) > 1e-9 {
		t.Errorf("reduced seat %v, want 24.8797", k)
	}
}

// K is a whole number of times f_T, or does not depend on the bore.
func TestFittingsByName(t *testing.T) {
	elbow, err := FittingByName("standard 90° elbow")
	if err != nil || relative(elbow.LossK(0.05248), 30*CraneTurbulentFactor(0.05248)) > 1e-15 {
		t.Errorf("%+v, %v", elbow, err)
	}
	exit, err := FittingByName("exit")
	if err != nil || exit.LossK(0.02) != 1 || exit.LossK(0.2) != 1 {
		t.Errorf("%+v, %v", exit, err)
	}
	if _, err := FittingByName("flux capacitor"); err == nil {
		t.Error("a fitting that nobody makes was found")
	}
	for _, f := range Fittings() {
		if f.Source == "" || !(f.LossK(0.05) > 0) {
			t.Errorf("%+v", f)
		}
	}
}
