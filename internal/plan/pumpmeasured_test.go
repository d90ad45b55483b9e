package plan

import (
	"errors"
	"math"
	"strings"
	"testing"

	"route/internal/finding"
)

const measuredSite = `terrain: [a.tif]
creek: a.gpx
tank: {lat: 1, lon: 1}
creek_flow: {low: "8 L/s"}
units: si
pump_measured: {model: MODEL, waste_valve_k: 6.5, volumetric_factor: "70 %", slip: "12 mL"}
`

// pricedWith reads the price list of a site with a measured pump.
func pricedWith(t *testing.T, model string) (*job, error) {
	t.Helper()
	site, err := ReadSite("site.yaml", strings.NewReader(strings.Replace(measuredSite, "MODEL", model, 1)))
	if err != nil {
		t.Fatal(err)
	}
	j := &job{site: site, plan: &Plan{}}
	return j, j.readCatalog()
}

// A measured pump has the parameters of the site file, and no other pump has.
func TestMeasuredPump(t *testing.T) {
	usual, err := pricedWith(t, "ram-2in")
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, it := range usual.plan.Prices.All() {
		if it.Ram == nil {
			continue
		}
		seen++
		is := it.Ram.WasteValveK == 6.5 && math.Abs(it.Ram.VolumetricFactor-0.7) < 1e-12 && math.Abs(it.Ram.SlipM3-12e-6) < 1e-15
		if is != (it.ID == "ram-2in") {
			t.Errorf("%s has %+v", it.ID, *it.Ram)
		}
	}
	if seen < 2 {
		t.Fatalf("%d pumps", seen)
	}
	_, err = pricedWith(t, "ram-9in")
	var fault *finding.Fault
	if !errors.As(err, &fault) || !strings.Contains(fault.Hint, "ram-2in") {
		t.Errorf("an unknown pump: %v", err)
	}
}

// A measurement leaves half of the spread of what it measures, as a logarithm.
func TestMeasuredPumpScattersLess(t *testing.T) {
	by := [len(pumpSpreads)]float64{4, 4, 4, 4, 4, 4, 4}
	if got := (&grader{}).narrowed(by); got != by {
		t.Errorf("nobody measured it, and it scatters %v", got)
	}
	if got, want := (&grader{measured: true}).narrowed(by), [len(pumpSpreads)]float64{2, 4, 4, 2, 2, 4, 4}; got != want {
		t.Errorf("%v, want %v", got, want)
	}
}
