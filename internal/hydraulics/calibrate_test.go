package hydraulics

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// pumpReadings are the five readings of a full calibration, worked out from a
// pump with the beat formula.
func pumpReadings(t testing.TB, f Fluid, drive Pipe, length float64, r Ram, v float64) []Reading {
	t.Helper()
	fit := fitting{f: f, drive: drive, length: length, usual: r}
	theta := [4]float64{math.Log(r.WasteValveK), math.Log(v), math.Log(r.VolumetricFactor), math.Log(r.SlipM3)}
	readings := []Reading{
		{Kind: ReadOpenFlow, DriveHeadM: 2.5},
		{Kind: ReadBeats, DriveHeadM: 2.5, DeliveryHeadM: 10},
		{Kind: ReadDriveFlow, DriveHeadM: 2.5, DeliveryHeadM: 10},
		{Kind: ReadShutoff, DriveHeadM: 2.5},
		{Kind: ReadDelivered, DriveHeadM: 2.5, DeliveryHeadM: 10},
		{Kind: ReadDelivered, DriveHeadM: 2.5, DeliveryHeadM: 25},
	}
	for i := range readings {
		readings[i].Value = fit.predict(theta, readings[i])
	}
	return readings
}

// Readings of a known pump with bucket-and-watch errors: the fit comes back to
// the pump within its own error bars as often as such bars promise, and the
// band of a prediction at heads that were not measured holds the truth.
func TestCalibrationRecoversThePump(t *testing.T) {
	const seed, pumps = 31, 300
	rng := rand.New(rand.NewPCG(seed, 0))
	f, drive := cold(t), product(t, "steel Sch 40 2 in").Pipe
	const length = 12.0
	usual := DefaultRam(drive.Inside)
	inside, within, all := 0, 0, 0
	var worst float64
	for i := range pumps {
		r := usual
		r.WasteValveK *= math.Exp(0.3 * rng.NormFloat64())
		r.VolumetricFactor = min(0.99, r.VolumetricFactor*math.Exp(0.15*rng.NormFloat64()))
		r.SlipM3 *= math.Exp(0.5 * rng.NormFloat64())
		v := r.velocityAt(f, drive, length, 2.5, 0.4+0.35*rng.Float64())
		readings := pumpReadings(t, f, drive, length, r, v)
		for k := range readings {
			readings[k].Sigma = usualError[readings[k].Kind] * readings[k].Value
			readings[k].Value += readings[k].Sigma * rng.NormFloat64()
		}
		c, err := Calibrate(f, drive, length, usual, readings)
		if err != nil {
			t.Fatalf("seed %d pump %d: %v", seed, i, err)
		}
		for _, e := range []struct {
			got  Estimate
			true float64
		}{{c.WasteValveK, r.WasteValveK}, {c.ClosingVelocity, v}} {
			off := math.Abs(e.got.Value-e.true) / e.got.Sigma
			worst = max(worst, off)
			all++
			if off <= 2 {
				inside++
			}
		}
		truth, err := r.Cycle(f, drive, length, 3.2, 18, v)
		if err != nil {
			t.Fatal(err)
		}
		got, err := c.Ram.Cycle(f, drive, length, 3.2, 18, c.ClosingVelocityMS)
		if err != nil {
			t.Fatal(err)
		}
		if relative(got.DeliveredFlow, truth.DeliveredFlow) <= c.Band(f, drive, length, 3.2, 18) {
			within++
		}
	}
	t.Logf("seed %d: %.1f %% of parameters within two sigma (95 %% promised), worst %.1f sigma; %.1f %% of predictions within their band", seed, 100*float64(inside)/float64(all), worst, 100*float64(within)/pumps)
	if float64(inside) < 0.90*float64(all) || float64(within) < 0.95*pumps {
		t.Error("the error bars are too short")
	}
}

// The simulation plays the real pump: calibrated on its readings at one pair of
// heads, the closed form predicts its delivery at another within the band.
func TestCalibrationAgainstSimulation(t *testing.T) {
	s := gridCase(t)
	run := func(driveHead, lift float64) Simulated {
		s.SourceM, s.LiftM = driveHead, lift
		return simulate(t, s)
	}
	a, b := run(2, 12), run(2, 25)
	c, err := Calibrate(s.Fluid, s.Drive.Pipe, s.Drive.LengthM, DefaultRam(s.Drive.Pipe.Inside), []Reading{
		{Kind: ReadWasteFlow, DriveHeadM: 2, DeliveryHeadM: 12, Value: a.WasteFlow},
		{Kind: ReadBeats, DriveHeadM: 2, DeliveryHeadM: 12, Value: a.BeatsPerMinute},
		{Kind: ReadDelivered, DriveHeadM: 2, DeliveryHeadM: 12, Value: a.DeliveredFlow},
		{Kind: ReadDelivered, DriveHeadM: 2, DeliveryHeadM: 25, Value: b.DeliveredFlow},
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range [][2]float64{{2, 18}, {2.5, 20}, {1.6, 15}} {
		truth := run(at[0], at[1])
		d, err := c.Ram.Cycle(s.Fluid, s.Drive.Pipe, s.Drive.LengthM, at[0], at[1], c.ClosingVelocityMS)
		if err != nil {
			t.Fatal(err)
		}
		band := c.Band(s.Fluid, s.Drive.Pipe, s.Drive.LengthM, at[0], at[1])
		t.Logf("%v m: %.2f L/min predicted ± %.0f %%, %.2f L/min simulated", at, d.DeliveredFlow*60e3, 100*band, truth.DeliveredFlow*60e3)
		if relative(d.DeliveredFlow, truth.DeliveredFlow) > band {
			t.Errorf("%v m: outside the band", at)
		}
	}
}

// One reading says something about one parameter and little of the others.
func TestCalibrationKnowsWhatItDoesNotKnow(t *testing.T) {
	f, drive := cold(t), product(t, "steel Sch 40 2 in").Pipe
	r := DefaultRam(drive.Inside)
	r.WasteValveK = 2.5
	readings := pumpReadings(t, f, drive, 12, r, 1.1)
	c, err := Calibrate(f, drive, 12, DefaultRam(drive.Inside), readings[:1])
	if err != nil {
		t.Fatal(err)
	}
	if relative(c.WasteValveK.Value, 2.5) > 0.1 || c.WasteValveK.Narrowed < 0.5 {
		t.Errorf("K_w %+v, want about 2.5", c.WasteValveK)
	}
	if c.SlipM3.Narrowed > 0.01 || c.VolumetricFactor.Narrowed > 0.01 {
		t.Errorf("an open-flow reading narrows slip by %v, the factor by %v", c.SlipM3.Narrowed, c.VolumetricFactor.Narrowed)
	}
	// The band narrows with readings.
	full, err := Calibrate(f, drive, 12, DefaultRam(drive.Inside), readings)
	if err != nil {
		t.Fatal(err)
	}
	if a, b := c.Band(f, drive, 12, 2.5, 20), full.Band(f, drive, 12, 2.5, 20); b >= a || b < modelError {
		t.Errorf("band %v with one reading, %v with all", a, b)
	}
	if !full.Fits() {
		t.Errorf("readings of the model itself do not fit it: χ² %v", full.ChiSquare)
	}
	readings[4].Value *= 3
	if wrong, err := Calibrate(f, drive, 12, DefaultRam(drive.Inside), readings); err != nil || wrong.Fits() {
		t.Errorf("a delivered flow three times too large fits: χ² %v, %v", wrong.ChiSquare, err)
	}
}

func TestCalibrationRefuses(t *testing.T) {
	f, drive := cold(t), product(t, "steel Sch 40 2 in").Pipe
	usual := DefaultRam(drive.Inside)
	if _, err := Calibrate(f, drive, 12, usual, nil); !errors.Is(err, ErrNoReadings) {
		t.Errorf("no readings: %v", err)
	}
	var bad *RangeError
	if _, err := Calibrate(f, drive, 12, usual, []Reading{{Kind: ReadBeats, DriveHeadM: 2, DeliveryHeadM: 1, Value: 60}}); !errors.As(err, &bad) {
		t.Errorf("a lift below the source: %v", err)
	}
	if _, err := Calibrate(f, drive, 12, usual, []Reading{{Kind: "colour", DriveHeadM: 2, DeliveryHeadM: 10, Value: 60}}); err == nil {
		t.Error("a reading of no kind was accepted")
	}
}
