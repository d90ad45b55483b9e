package geodesy

import (
	"bufio"
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/paulmach/orb"
)

// readReference gives the rows of one kind in testdata/reference.csv, written
// by cs2cs and geod of PROJ (see testdata/reference.sh).
func readReference(t *testing.T, kind string) (rows [][]string) {
	t.Helper()
	file, err := os.Open("testdata/reference.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	lines := bufio.NewScanner(file)
	for lines.Scan() {
		if row := strings.Split(lines.Text(), ","); row[0] == kind {
			rows = append(rows, row[1:])
		}
	}
	if err := lines.Err(); err != nil {
		t.Fatal(err)
	}
	if len(rows) == 0 {
		t.Fatalf("no rows of kind %q", kind)
	}
	return rows
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// reading is half of the last printed digit of the reference, plus rounding.
const reading = 0.6e-6

// The frame is what PROJ makes of its PROJ string, to a micrometre.
func TestFrameAgainstPROJ(t *testing.T) {
	scale := regexp.MustCompile(`\+k_0=([0-9.]+)`)
	for _, row := range readReference(t, "frame") {
		f, err := NewFrame(LonLat{Lat: number(t, row[0]), Lon: number(t, row[1])}, number(t, row[2]))
		if err != nil {
			t.Fatal(err)
		}
		// The last bit of k_0 may differ between processors.
		got, want := f.PROJ(), row[3]
		k, kWant := number(t, scale.FindStringSubmatch(got)[1]), number(t, scale.FindStringSubmatch(want)[1])
		if math.Abs(k-kWant) > 1e-15 || scale.ReplaceAllString(got, "") != scale.ReplaceAllString(want, "") {
			t.Errorf("PROJ() = %q, the reference was made with %q", got, want)
		}
		p := LonLat{Lat: number(t, row[4]), Lon: number(t, row[5])}
		east, north := number(t, row[6]), number(t, row[7])
		q := f.ToFrame(p)
		if math.Abs(q[0]-east) > reading || math.Abs(q[1]-north) > reading {
			t.Errorf("%s %v: ToFrame = %.7f, %.7f, PROJ has %.6f, %.6f", want, p, q[0], q[1], east, north)
		}
		back := f.ToLonLat(orb.Point{east, north})
		if math.Abs(back.Lat-p.Lat) > 1e-10 || math.Abs(math.Remainder(back.Lon-p.Lon, 360)) > 1e-10 {
			t.Errorf("%s: ToLonLat(%.6f, %.6f) = %v, PROJ has %v", want, east, north, back, p)
		}
	}
}

func TestUTMAgainstPROJ(t *testing.T) {
	for _, row := range readReference(t, "utm") {
		p := LonLat{Lat: number(t, row[1]), Lon: number(t, row[2])}
		code := int(number(t, strings.TrimPrefix(row[0], "EPSG:")))
		zone, isNorth := code%100, code/100 == 326
		if got := UTMEPSG(zone, isNorth); got != row[0] {
			t.Errorf("UTMEPSG(%d, %v) = %s, want %s", zone, isNorth, got, row[0])
		}
		east, north := ToUTM(p, zone, isNorth)
		if math.Abs(east-number(t, row[3])) > reading || math.Abs(north-number(t, row[4])) > reading {
			t.Errorf("ToUTM(%v) in %s = %.7f, %.7f, PROJ has %s, %s", p, row[0], east, north, row[3], row[4])
		}
	}
}

// The row from 0, 0 to 0.5, 179.5, nearly antipodal, is also the worked
// example of C. F. F. Karney, Algorithms for geodesics (2013), for nearly
// antipodal points.
func TestDistanceAgainstPROJ(t *testing.T) {
	for _, row := range readReference(t, "geodesic") {
		a := LonLat{Lat: number(t, row[0]), Lon: number(t, row[1])}
		b := LonLat{Lat: number(t, row[2]), Lon: number(t, row[3])}
		m, az := Distance(a, b)
		if math.Abs(m-number(t, row[5])) > reading {
			t.Errorf("Distance(%v, %v) = %.7f m, geod has %s", a, b, m, row[5])
		}
		if math.Abs(math.Remainder(az-number(t, row[4]), 360)) > 1e-9 || az < 0 || az >= 360 {
			t.Errorf("azimuth from %v to %v = %.10f, geod has %s", a, b, az, row[4])
		}
	}
}

// A point far from the central meridian from the test set TMcoords.dat that
// goes with C. F. F. Karney, Transverse Mercator with an accuracy of a few
// nanometers (2011), computed there in extended precision; row from memory,
// its degrees rounded to 12 places, which is 0.11 µm.
func TestTransverseMercatorFarOut(t *testing.T) {
	x, y, scale := project(70.579277094557, 45.599419731762)
	if math.Abs(0.9996*x-1548706.7916191794) > 1.2e-7 || math.Abs(0.9996*y-8451449.1987722993) > 1.2e-7 {
		t.Errorf("easting, northing = %.10f, %.10f, want 1548706.7916191794, 8451449.1987722993", 0.9996*x, 0.9996*y)
	}
	if math.Abs(0.9996*scale-1.029060228378072) > 1e-12 {
		t.Errorf("scale = %.15f, want 1.029060228378072", 0.9996*scale)
	}
}
