package screen

import (
	"errors"
	"fmt"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"route/internal/finding"
	"route/internal/geodesy"
)

func TestReadList(t *testing.T) {
	dir := t.TempDir()
	entries, err := ReadList(filepath.Join(dir, "creeks.csv"), strings.NewReader("\ufeff# creeks of the parish\n"+
		`ID,creek,wkt,tank,demand_l_day,limits.drive_head.min
Mill Creek,mill.gpx,,"44.1,-121.5",1500,6 ft
Dry Run,,"LINESTRING (-121.5 44.1, -121.49 44.11)","44°06'00""N, 121°30'00""W",,
"Dry Run",,"MULTILINESTRING ((-121.5 44.1, -121.49 44.11),(-121.48 44.12,-121.47 44.13))",,,
,,,,,
Short,x.gpx
Word,,POINT (1 2),,,
`))
	if err != nil {
		t.Fatal(err)
	}
	mill := entries[0]
	if mill.ID != "Mill Creek" || mill.Line != 3 || mill.Creek != filepath.Join(dir, "mill.gpx") || mill.Tank != "44.1,-121.5" ||
		!reflect.DeepEqual(mill.Settings, []Setting{{"demand", "1500 L/day"}, {"limits.drive_head.min", "6 ft"}}) || mill.Fault != nil {
		t.Errorf("%+v", mill)
	}
	if dry := entries[1]; !reflect.DeepEqual(dry.Legs, [][]geodesy.LonLat{{{Lon: -121.5, Lat: 44.1}, {Lon: -121.49, Lat: 44.11}}}) || dry.Tank == "" || dry.Fault != nil {
		t.Errorf("%+v", dry)
	}
	if two := entries[2]; two.ID != "Dry Run (2)" || len(two.Legs) != 2 {
		t.Errorf("%+v", two)
	}
	for i, says := range map[int]string{3: "no creek is named", 4: "2 values, the header 6", 5: "a point, not a line"} {
		e := entries[i]
		if e.Fault == nil || !strings.Contains(e.Fault.Text, says) || e.Fault.Line != e.Line || e.Fault.Hint == "" {
			t.Errorf("line %d: %v does not say %q", e.Line, e.Fault, says)
		}
	}
	if entries[3].ID != "creek 4" {
		t.Errorf("a creek without a name is called %q", entries[3].ID)
	}

	semicolons, err := ReadList("creeks.csv", strings.NewReader("id;creek;tank\nA;a.gpx;44.1,-121.5\n"))
	if err != nil || semicolons[0].Tank != "44.1,-121.5" {
		t.Errorf("%+v %v", semicolons, err)
	}
}

// A list that is no list of creeks is refused as a whole, with its place.
func TestReadListRefusals(t *testing.T) {
	for _, c := range []struct {
		text, code, says string
		line             int
	}{
		{"", "list_empty", "empty", 0},
		{"id,creek\n", "list_empty", "no creek", 0},
		{"# note\nid,creek,tonk\n", "list_columns", "tonk", 2},
		{"id,creek,creek\n", "list_columns", "twice", 1},
		{"id,tank\n", "list_columns", "creek", 1},
		{"creek,tank\n", "list_columns", "id", 1},
		{"id,creek,terrain\n", "list_columns", "terrain", 1},
		{"id,creek\nA,a.gpx\nB,\"b.gpx\nC,c.gpx\n", "list_syntax", "quote", 3},
		{"id,creek\nA,\xff\n", "list_not_utf8", "UTF-8", 0},
	} {
		_, err := ReadList("creeks.csv", strings.NewReader(c.text))
		var fault *finding.Fault
		if !errors.As(err, &fault) || fault.Code != c.code || !strings.Contains(fault.Text, c.says) || fault.Line != c.line || fault.Hint == "" {
			t.Errorf("%q: have %+v, want %s in line %d", c.text, fault, c.code, c.line)
		}
	}
}

// Whatever a list holds, reading it neither panics nor gives two creeks one
// name, nor a creek that has neither a line nor a fault.
func FuzzReadList(f *testing.F) {
	for _, text := range []string{
		"id,creek,tank\nA,a.gpx,\"44.1,-121.5\"\n",
		"id,wkt,tank_lat,tank_lon,demand\nA,\"LINESTRING (-121.5 44.1, -121.49 44.11)\",44.1,-121.5,1500 L/day\n",
		"id;wkt\n;MULTILINESTRING ((1 2,3 4),(5 6))\nA;LINESTRING EMPTY\nA;GEOMETRYCOLLECTION (POINT (1 2))\n",
		"# x\n\nid,creek,creek_flow_l_s\n\"a\"\"b\",c,8\nx\n",
	} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		entries, err := ReadList("creeks.csv", strings.NewReader(text))
		if err != nil {
			var fault *finding.Fault
			if !errors.As(err, &fault) || fault.Text == "" {
				t.Fatalf("%v is no fault with a text", err)
			}
			return
		}
		seen := map[string]bool{}
		for _, e := range entries {
			if seen[e.ID] || e.ID == "" {
				t.Errorf("the name %q comes twice, or is none", e.ID)
			}
			seen[e.ID] = true
			if e.Fault == nil && e.Creek == "" && len(e.Legs) == 0 {
				t.Errorf("line %d has no creek and no fault", e.Line)
			}
			for _, leg := range e.Legs {
				for _, p := range leg {
					if !(p.Lat >= -90 && p.Lat <= 90 && p.Lon >= -360 && p.Lon <= 360) {
						t.Errorf("line %d: %v is no place", e.Line, p)
					}
				}
			}
			fileWord(e.ID)
		}
	})
}

func TestFileWord(t *testing.T) {
	for id, want := range map[string]string{"Mill Creek": "mill-creek", "../../etc": "etc", "Ülfs Bäck": "-lfs-b-ck", "": "creek", "日本": "creek", strings.Repeat("a", 90): strings.Repeat("a", 40)} {
		if got := fileWord(id); got != strings.Trim(want, "-") {
			t.Errorf("%q becomes %q", id, got)
		}
	}
	r := &runner{}
	if r.path(&Entry{ID: "A b"}) == r.path(&Entry{ID: "a-b"}) {
		t.Error("two names share a file")
	}
	if fmt.Sprint(filepath.Dir(r.path(&Entry{ID: "x/../../y"}))) != creeksFolder {
		t.Error("a name leaves the folder")
	}
}
