package dem

import (
	"errors"
	"math"
	"testing"

	"route/internal/finding"
	"route/internal/geodesy"
)

var gridPlaces = []geodesy.LonLat{{Lon: -121.5, Lat: 44.6}, {Lon: -122.25, Lat: 44.61}, {Lon: -120.9, Lat: 45}}

// Against the Krüger series of the geodesy package (UTM) and the closed form
// of the spherical Mercator (EPSG Guidance Note 7-2, method 1024).
func TestGridAgainstFormulas(t *testing.T) {
	utm, err := NewGrid("EPSG:32610")
	if err != nil {
		t.Fatal(err)
	}
	defer utm.Close()
	mercator, err := NewGrid(" 3857 ")
	if err != nil {
		t.Fatal(err)
	}
	defer mercator.Close()
	e, n := utm.At(gridPlaces)
	x, y := mercator.At(gridPlaces)
	for i, p := range gridPlaces {
		east, north := geodesy.ToUTM(p, 10, true)
		if math.Abs(e[i]-east) > 1e-4 || math.Abs(n[i]-north) > 1e-4 {
			t.Errorf("%v: UTM %.4f %.4f, by the series %.4f %.4f", p, e[i], n[i], east, north)
		}
		const radius = 6378137
		east, north = radius*p.Lon*math.Pi/180, radius*math.Log(math.Tan(math.Pi/4+p.Lat*math.Pi/360))
		if math.Abs(x[i]-east) > 1e-3 || math.Abs(y[i]-north) > 1e-3 {
			t.Errorf("%v: Mercator %.4f %.4f, by the formula %.4f %.4f", p, x[i], y[i], east, north)
		}
	}
	if utm.Unit != "metre" || utm.UnitM != 1 || mercator.Code != "EPSG:3857" {
		t.Errorf("%+v, %+v", utm, mercator)
	}
}

// A state plane in feet is the same one in metres, by the US survey foot of
// 1200/3937 m (NIST SP 811, appendix B.6).
func TestGridInFeet(t *testing.T) {
	feet, err := NewGrid("EPSG:2225")
	if err != nil {
		t.Fatal(err)
	}
	defer feet.Close()
	metres, err := NewGrid("EPSG:26941")
	if err != nil {
		t.Fatal(err)
	}
	defer metres.Close()
	places := []geodesy.LonLat{{Lon: -122, Lat: 40.5}, {Lon: -123.5, Lat: 41}}
	ef, nf := feet.At(places)
	em, nm := metres.At(places)
	for i := range places {
		if math.Abs(ef[i]*1200/3937-em[i]) > 1e-3 || math.Abs(nf[i]*1200/3937-nm[i]) > 1e-3 {
			t.Errorf("%v: %.3f %.3f ft, %.3f %.3f m", places[i], ef[i], nf[i], em[i], nm[i])
		}
	}
	if math.Abs(feet.UnitM-1200.0/3937) > 1e-12 {
		t.Errorf("a unit of %q is %v m", feet.Unit, feet.UnitM)
	}
}

func TestGridsThatCannotBeUsed(t *testing.T) {
	for code, want := range map[string]string{"EPSG:4326": "grid_not_projected", "EPSG:999999": "grid_unknown", "the village grid": "grid_unknown", "": "grid_unknown"} {
		g, err := NewGrid(code)
		var fault *finding.Fault
		if !errors.As(err, &fault) || fault.Code != want {
			t.Errorf("%q: %v and %v, want the fault %s", code, g, err, want)
		}
	}
}

func TestGridsNearWGS84(t *testing.T) {
	for code, near := range map[string]bool{"EPSG:32610": true, "EPSG:2225": true, "EPSG:25832": true, "EPSG:2193": true, "EPSG:27700": false, "EPSG:31467": false, "EPSG:26710": false} {
		g, err := NewGrid(code)
		if err != nil {
			t.Fatal(err)
		}
		if g.NearWGS84() != near {
			t.Errorf("%s on %q: near WGS 84 is %v", code, g.Datum, !near)
		}
		g.Close()
	}
}
