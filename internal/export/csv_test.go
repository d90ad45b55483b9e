package export

import (
	"bytes"
	"encoding/csv"
	"math"
	"math/big"
	"strconv"
	"strings"
	"testing"

	"route/internal/plan"
)

// sheet is a CSV file read back.
type sheet struct {
	t      *testing.T
	column map[string]int
	rows   [][]string
}

func readSheet(t *testing.T, f Format, p *plan.Plan) sheet {
	t.Helper()
	text := written(t, f, p)
	// RFC 4180: every line ends in CRLF, and there is no bare LF.
	if !bytes.HasSuffix(text, []byte("\r\n")) || bytes.Count(text, []byte("\n")) != bytes.Count(text, []byte("\r\n")) {
		t.Errorf("%s: lines do not all end in CRLF", f)
	}
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	s := sheet{t, map[string]int{}, rows[1:]}
	for i, name := range rows[0] {
		s.column[name] = i
	}
	return s
}

func (s sheet) text(row int, name string) string {
	s.t.Helper()
	i, ok := s.column[name]
	if !ok {
		s.t.Fatalf("there is no column %s", name)
	}
	return s.rows[row][i]
}

// number reads a cell; an empty one is not a number.
func (s sheet) number(row int, name string) float64 {
	s.t.Helper()
	text := s.text(row, name)
	if text == "" {
		return math.NaN()
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		s.t.Fatal(err)
	}
	return v
}

// near compares to a printed digit; two unknowns are the same.
func near(a, b, tolerance float64) bool {
	return math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) <= tolerance
}

const foot = 0.3048 // m, exact: NIST Special Publication 811, appendix B.8

// The falls of the stakes follow from the lines alone: the invert is read off
// the laid line at the stake's distance, and the fall is counted from the
// water at the intake and from the peg before.
func TestStakeFallsFollowFromTheLines(t *testing.T) {
	p := fixturePlan("us")
	s := readSheet(t, StakeoutCSV, p)
	row := 0
	for i := range p.Layouts {
		l := &p.Layouts[i]
		before := float64(l.Intake.WaterM)
		for range l.Stakes {
			role, along := s.text(row, "role"), s.number(row, "along_pipe_m")
			invert := invertAt(l, role, along)
			want := map[string]float64{
				"pipe_invert_m": invert, "fall_since_intake_m": float64(l.Intake.WaterM) - invert, "fall_since_last_m": before - invert,
				"pipe_invert_ft": invert / foot, "fall_since_intake_ft": (float64(l.Intake.WaterM) - invert) / foot, "fall_since_last_ft": (before - invert) / foot,
			}
			for name, v := range want {
				// A centimetre of rounding, and that of the distance on a steep line.
				if got := s.number(row, name); !near(got, v, 0.0151) {
					t.Errorf("layout %s, stake %s, %s: %v, the line says %.4f", s.text(row, "layout"), s.text(row, "label"), name, got, v)
				}
			}
			if s.text(row, "layout") != l.ID {
				t.Errorf("row %d belongs to layout %s", row, s.text(row, "layout"))
			}
			before = invert
			row++
		}
	}
	if row != len(s.rows) {
		t.Errorf("%d rows for %d stakes", len(s.rows), row)
	}
}

// invertAt reads the invert off a layout's lines by a plain scan.
func invertAt(l *plan.Layout, role string, along float64) float64 {
	switch role {
	case "settling_box":
		return float64(l.SettlingBox.WaterM)
	case "pump":
		return float64(l.Pump.OutletM)
	case "tank":
		return float64(l.Tank.InletM)
	case "standpipe":
		return float64(l.Drive.Path[0].InvertM)
	}
	for _, run := range runs(l) {
		if role != "intake" && run.role != role {
			along -= float64(run.LengthM)
			continue
		}
		for i := 1; i < len(run.Path); i++ {
			a, b := run.Path[i-1], run.Path[i]
			if along <= float64(b.AlongM)+0.006 {
				return float64(a.InvertM) + (along-float64(a.AlongM))/float64(b.AlongM-a.AlongM)*float64(b.InvertM-a.InvertM)
			}
		}
	}
	return math.NaN()
}

func TestStakeoutSaysWhereThePegsStand(t *testing.T) {
	for _, units := range []string{"us", "si"} {
		p := fixturePlan(units)
		s := readSheet(t, StakeoutCSV, p)
		if _, feet := s.column["ground_ft"]; feet != (units == "us") {
			t.Errorf("%s: columns in feet: %v", units, feet)
		}
		for i, stake := range p.Layouts[0].Stakes {
			if s.text(i, "label") != stake.Label || s.text(i, "what_to_do") != stake.Do || s.text(i, "grid") != "EPSG:32606" {
				t.Errorf("row %d is %v", i, s.rows[i])
			}
			for name, want := range map[string]float64{
				"station_m": float64(stake.StationM), "lon": float64(stake.Lon), "lat": float64(stake.Lat),
				"easting_m": float64(stake.EastingM), "northing_m": float64(stake.NorthM), "ground_m": float64(stake.GroundM),
			} {
				tolerance := 0.0051
				if name == "lon" || name == "lat" {
					tolerance = 0.51e-7
				}
				if got := s.number(i, name); !near(got, want, tolerance) {
					t.Errorf("%s of %s: %v, want %v", name, stake.Label, got, want)
				}
			}
		}
	}
}

// Subtotals are pieces times price, exactly, and add up to the layout's cost
// and to its groups.
func TestTakeoffAddsUp(t *testing.T) {
	for _, units := range []string{"us", "si"} {
		p := fixturePlan(units)
		s := readSheet(t, TakeoffCSV, p)
		sums := map[string]*big.Rat{}
		for i := range s.rows {
			price, ok1 := new(big.Rat).SetString(s.text(i, "price"))
			subtotal, ok2 := new(big.Rat).SetString(s.text(i, "subtotal"))
			packs, ok3 := new(big.Rat).SetString(s.text(i, "packs"))
			if !ok1 || !ok2 || !ok3 || new(big.Rat).Mul(price, packs).Cmp(subtotal) != 0 {
				t.Errorf("row %v: %v times %v is not %v", s.rows[i], packs, price, subtotal)
			}
			for _, key := range []string{s.text(i, "layout") + " total", s.text(i, "layout") + " " + s.text(i, "group")} {
				if sums[key] == nil {
					sums[key] = new(big.Rat)
				}
				sums[key].Add(sums[key], subtotal)
			}
			if s.text(i, "need_unit") == "m" && s.number(i, "need") > s.number(i, "packs")*s.number(i, "pack_m") {
				t.Errorf("row %v buys less than is needed", s.rows[i])
			}
			if units == "us" && !near(s.number(i, "pack_ft"), s.number(i, "pack_m")/foot, 0.07) {
				t.Errorf("row %v: feet and metres differ", s.rows[i])
			}
		}
		for _, l := range p.Layouts {
			for name, amount := range map[string]plan.Decimal{"total": l.Cost.Total, "supply": l.Cost.Supply, "drive": l.Cost.Drive, "delivery": l.Cost.Delivery, "other": l.Cost.Other} {
				want, _ := new(big.Rat).SetString(string(amount))
				got := sums[l.ID+" "+name]
				if got == nil {
					got = new(big.Rat)
				}
				if got.Cmp(want) != 0 {
					t.Errorf("layout %s: %s adds up to %v, the cost is %v", l.ID, name, got.FloatString(2), want.FloatString(2))
				}
			}
		}
	}
}

// The long profile has a row for every station; pipes and grade line are those
// of the best layout, read off by a plain scan here.
func TestProfileCSVFollowsTheCreekAndThePipes(t *testing.T) {
	p := fixturePlan("us")
	s := readSheet(t, ProfileCSV, p)
	if len(s.rows) != len(p.Creek.Stations) {
		t.Fatalf("%d rows for %d stations", len(s.rows), len(p.Creek.Stations))
	}
	l := &p.Layouts[0]
	for i, station := range p.Creek.Stations {
		for name, want := range map[string]plan.Number{"station_m": station.StationM, "raw_m": station.RawM, "fitted_m": station.ZM, "sd_m": station.ZSigmaM, "low_m": station.LowM, "high_m": station.HighM} {
			if got := s.number(i, name); !near(got, float64(want), 0.0051) {
				t.Errorf("%s at %v: %v, want %v", name, station.StationM, got, want)
			}
		}
		if got := s.number(i, "raw_ft"); !near(got, float64(station.RawM)/foot, 0.0051) {
			t.Errorf("raw height at %v is %v ft", station.StationM, got)
		}
		if got := s.text(i, "flags"); got != strings.Join(station.Flags, " ") {
			t.Errorf("flags at %v: %q", station.StationM, got)
		}
		role, invert := "", math.NaN()
		switch m := float64(station.StationM); {
		case m >= 20 && m <= 100: // the supply pipe keeps to the creek this far
			role, invert = "supply", scan(l.Supply.Path, m)
		case m > 140 && m <= 168:
			role, invert = "drive", scan(l.Drive.Path, m)
		case m > 100 && m <= 140: // and then cuts across a bend
			// in a straight line, so that its ends give what is between
			role, invert = "supply", scan([]plan.Vertex{at(l.Supply.Path, 100), l.Supply.Path[len(l.Supply.Path)-1]}, m)
		}
		if got := s.text(i, "pipe"); got != role {
			t.Errorf("pipe at %v: %q, want %q", station.StationM, got, role)
		}
		if got := s.number(i, "pipe_invert_m"); !near(got, invert, 0.00051) {
			t.Errorf("invert at %v: %v, the line says %v", station.StationM, got, invert)
		}
		if (s.text(i, "grade_line_m") != "") != (role != "") || (s.text(i, "layout") == "A") != (role != "") {
			t.Errorf("row %v", s.rows[i])
		}
	}
}

func at(path []plan.Vertex, station float64) plan.Vertex {
	for _, v := range path {
		if float64(v.StationM) == station {
			return v
		}
	}
	return plan.Vertex{}
}

func scan(path []plan.Vertex, station float64) float64 {
	for i := 1; i < len(path); i++ {
		a, b := path[i-1], path[i]
		if float64(a.StationM) <= station && station <= float64(b.StationM) {
			return float64(a.InvertM) + (station-float64(a.StationM))/float64(b.StationM-a.StationM)*float64(b.InvertM-a.InvertM)
		}
	}
	return math.NaN()
}

func TestDecimal(t *testing.T) {
	for _, c := range []struct {
		v        float64
		decimals int
		want     string
	}{
		{1.005, 1, "1.0"}, {-0.001, 2, "0.00"}, {-0.006, 2, "-0.01"}, {math.NaN(), 2, ""}, {math.Inf(1), 2, ""}, {1234567.891, 0, "1234568"},
	} {
		if got := decimal(c.v, c.decimals); got != c.want {
			t.Errorf("decimal(%v, %d) = %q, want %q", c.v, c.decimals, got, c.want)
		}
	}
	for in, want := range map[string]string{"300.0": "300", "20.5": "20.5", "100": "100"} {
		if got := trimZeros(in); got != want {
			t.Errorf("trimZeros(%q) = %q, want %q", in, got, want)
		}
	}
}
