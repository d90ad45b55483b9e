package dem

import (
	"math"
	"strings"
	"testing"

	"github.com/airbusgeo/godal"
)

// What the text of a CRS says, against the EPSG registry: names, codes, units.
func TestReadCRS(t *testing.T) {
	register()
	for _, c := range []struct {
		code, name, unit string
		perUnit          float64
		geographic       bool
		vertical         string
		perVertical      float64
	}{
		{"EPSG:26910", "NAD83 / UTM zone 10N", "metre", 1, false, "", 0},
		{"EPSG:4326", "WGS 84", "degree", math.Pi / 180, true, "", 0},
		{"EPSG:2228", "NAD83 / California zone 4 (ftUS)", "US survey foot", 1200.0 / 3937, false, "", 0},
		{"EPSG:2914", "NAD83(HARN) / Oregon South (ft)", "foot", 0.3048, false, "", 0},
		{"EPSG:4807", "NTF (Paris)", "grad", math.Pi / 200, true, "", 0},
		{"EPSG:26910+5703", "NAD83 / UTM zone 10N", "metre", 1, false, "NAVD88 height", 1},
		{"EPSG:2228+6360", "NAD83 / California zone 4 (ftUS)", "US survey foot", 1200.0 / 3937, false, "NAVD88 height (ftUS)", 1200.0 / 3937},
		{"EPSG:4979", "WGS 84", "degree", math.Pi / 180, true, "ellipsoidal height", 1},
	} {
		sr, err := godal.NewSpatialRef(c.code)
		must(t, err)
		wkt, err := sr.WKT()
		must(t, err)
		sr.Close()
		got, kind := readCRS(wkt)
		if kind != crsEarth || got.name != c.name || got.geographic != c.geographic || got.vertical != c.vertical || !strings.EqualFold(got.unit, c.unit) {
			t.Errorf("%s: %+v", c.code, got)
		}
		near(t, c.code+" plan unit", got.perUnit, c.perUnit, 1e-9*c.perUnit)
		near(t, c.code+" vertical unit", got.perVertical, c.perVertical, 1e-9)
		if code, _, _ := strings.Cut(c.code, "+"); got.authority != code && c.code != "EPSG:4979" {
			t.Errorf("%s: authority %q", c.code, got.authority)
		}
		again, err := userCRS(got.wkt) // the horizontal part stands on its own
		must(t, err)
		if again.name != got.name || again.vertical != "" && c.code != "EPSG:4979" {
			t.Errorf("%s again: %+v", c.code, again)
		}
	}
}

// The newer dialect, from ISO 19162:2019 and as PROJ writes it.
func TestReadCRSInNewDialect(t *testing.T) {
	text := `COMPOUNDCRS["both",PROJCRS["UTM zone 10N",BASEGEOGCRS["NAD83",DATUM["North American Datum 1983",ELLIPSOID["GRS 1980",6378137,298.257222101,LENGTHUNIT["metre",1]]]],CONVERSION["UTM",METHOD["Transverse Mercator"],PARAMETER["Scale factor",0.9996]],CS[Cartesian,2],AXIS["(E)",east],AXIS["(N)",north],LENGTHUNIT["US survey foot",0.304800609601219],ID["EPSG",99999]],VERTCRS["NAVD88 height (ft)",VDATUM["North American Vertical Datum 1988"],CS[vertical,1],AXIS["up",up,LENGTHUNIT["foot",0.3048]]]]`
	c, kind := readCRS(text)
	if kind != crsEarth || c.name != "UTM zone 10N" || c.datum != "North American Datum 1983" || c.verticalZero != "North American Vertical Datum 1988" || c.authority != "EPSG:99999" {
		t.Errorf("%+v", c)
	}
	near(t, "plan unit", c.perUnit, 1200.0/3937, 1e-12)
	near(t, "vertical unit", c.perVertical, 0.3048, 0)
	if _, kind := readCRS(`ENGCRS["site",EDATUM["x"]]`); kind != crsEngineering {
		t.Errorf("engineering CRS: %v", kind)
	}
	if _, kind := readCRS(`GEOCCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563]]]`); kind != crsOther {
		t.Errorf("geocentric CRS: %v", kind)
	}
}

func TestParseWKTRefusals(t *testing.T) {
	for _, text := range []string{"", "[", "A[", `A["x`, `A["x"`, `A["x"]]`, "A[1,]", "A", "A[B[C[D]", strings.Repeat("A[", 1000) + strings.Repeat("]", 1000)} {
		if _, ok := parseWKT(text); ok {
			t.Errorf("%.30q was accepted", text)
		}
	}
	n, ok := parseWKT(` A [ "say ""it""" , 1.5e3 , NORTH , B("x") ] `)
	if !ok || n.value(0) != `say "it"` || n.number(1) != 1500 || n.value(2) != "NORTH" || len(n.children) != 1 || n.children[0].keyword != "B" {
		t.Errorf("%+v %v", n, ok)
	}
}

func FuzzParseWKT(f *testing.F) {
	f.Add(`PROJCS["a",GEOGCS["b",DATUM["c"],UNIT["degree",0.017]],UNIT["metre",1]]`)
	f.Add(`COMPD_CS["a",VERT_CS["b",UNIT["ft",0.3048]]]`)
	f.Add(`A["""",1,(B)]`)
	f.Fuzz(func(t *testing.T, text string) {
		n, ok := parseWKT(text)
		if !ok {
			return
		}
		// A node read again from its own text is the same node.
		again, ok := parseWKT(n.text)
		if !ok || again.keyword != n.keyword || len(again.values) != len(n.values) || len(again.children) != len(n.children) {
			t.Errorf("%q reads as %+v, then as %+v", text, n, again)
		}
		readCRS(text)
	})
}

// Names of units as files spell them; lengths from their definitions.
func TestUnitNames(t *testing.T) {
	for name, want := range map[string]float64{
		"m": 1, "Meters": 1, "metre": 1, " METRES ": 1, "cm": 0.01, "dm": 0.1,
		"ft": 0.3048, "Feet": 0.3048, "international foot": 0.3048,
		"US survey foot": 1200.0 / 3937, "us-ft": 1200.0 / 3937, "Foot_US": 1200.0 / 3937, "ftUS": 1200.0 / 3937, "sft": 1200.0 / 3937,
	} {
		u, ok := unitByName(name)
		if !ok || u.metres != want {
			t.Errorf("%q: %+v %v", name, u, ok)
		}
	}
	for _, name := range []string{"", "unknown", "degree", "fathom?", "1"} {
		if u, ok := unitByName(name); ok {
			t.Errorf("%q: %+v", name, u)
		}
	}
}
