package export

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"io"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"route/internal/plan"
)

// Go's own words for what is not a number or not there never reach a reader.
func TestNoFileShowsWhatIsNotANumber(t *testing.T) {
	odd := regexp.MustCompile(`(?i)(^|[^a-z])(nan|[+-]?inf)([^a-z]|$)|<nil>|%!|0x[0-9a-f]{6}|ZgotmplZ`)
	picture := regexp.MustCompile(`base64,[A-Za-z0-9+/=]*`)
	for name, p := range fixtures() {
		for _, f := range Formats {
			if f == GeoPackage {
				continue // bytes of a database; its numbers are read back elsewhere
			}
			text := picture.ReplaceAll(written(t, f, p), nil)
			if at := odd.FindIndex(text); at != nil {
				t.Errorf("%s of %s holds %q", f, name, text[max(0, at[0]-60):min(len(text), at[1]+20)])
			}
		}
	}
}

// hostile are texts that have broken into pages, tables and files elsewhere.
var hostile = []string{
	`</script><script>alert(1)</script>`,
	`"><img src=x onerror=alert(1)>`,
	`'); background: url(http://example.com/x.png)`,
	`=HYPERLINK("http://example.com";"x")`,
	"@SUM(1+1)", "+1+1", "-2+3", "\t=1+1", "\r\n=1+1", " =1+1", "＝1+1",
	`{{.Site}}`, `]]>`, `<!-- -->`, "&lt;b&gt;", "a\x00b\x01c", "\xff\xfe", "naïve 河 🌊", `a,b;"c"` + "\n" + `d`,
	"\u202eevil", strings.Repeat("long ", 80),
}

// withText puts a text everywhere that a person's files may put one.
func withText(text string) *plan.Plan {
	p := fixturePlan("us")
	p.Site, p.Catalog, p.ToolVersion, p.Frame.UTM = text, text, text, text
	p.WorksCited = append(p.WorksCited, text)
	p.Defaults = append(p.Defaults, plan.Default{Key: text, Value: text, Why: text})
	p.Messages = append(p.Messages, plan.Message{Level: "warning", Code: "x", Text: text, Hint: text, File: text, StationM: plan.Unknown})
	p.Reaches = append(p.Reaches, plan.Reach{Reason: text, Text: text, DriveHeadM: plan.Unknown, DeliveredLDay: plan.Unknown})
	p.Rejected = append(p.Rejected, plan.Rejected{Reason: text, Text: text, Nearest: plan.Nearest{Value: 1, Limit: 2, Unit: text}})
	for i := range p.Inputs {
		p.Inputs[i].Path, p.Inputs[i].CRS, p.Inputs[i].AccuracyWhy = text, text, text
	}
	for i := range p.Layouts {
		l := &p.Layouts[i]
		l.ID, l.Why, l.Objective, l.Pump.Model, l.Cost.Currency = text, text, text, text, text
		l.Drive.Material, l.Drive.Size, l.Delivery.Size, l.Delivery.Standard = text, text, text, text
		l.Messages = append(l.Messages, plan.Message{Level: "note", Code: "x", Text: text, Hint: text, StationM: plan.Unknown})
		for k := range l.Takeoff {
			l.Takeoff[k].Name, l.Takeoff[k].Where, l.Takeoff[k].Item, l.Takeoff[k].Unit = text, text, text, text
		}
		for k := range l.Stakes {
			l.Stakes[k].Label, l.Stakes[k].Do = text, text
		}
	}
	return p
}

// checkSafe checks that every file made of a text is still what it should be.
func checkSafe(t *testing.T, text string) {
	p := withText(text)
	for _, f := range Formats {
		out := written(t, f, p)
		if f == GeoPackage {
			if !bytes.HasPrefix(out, []byte("SQLite format 3\x00")) {
				t.Errorf("%q: %s is no database", text, f)
			}
			continue
		}
		if !utf8.Valid(out) {
			t.Errorf("%q: %s is not UTF-8", text, f)
		}
		switch f {
		case PlanJSON, GeoJSON:
			if !json.Valid(out) {
				t.Errorf("%q: %s is not JSON", text, f)
			}
		case GPX, KML, ProfileSVG:
			if err := wellFormed(out, true); err != nil {
				t.Errorf("%q: %s is not XML: %v", text, f, err)
			}
			checkElements(t, text, f, out)
		case ReportHTML:
			checkElements(t, text, f, out)
		case DXF:
			checkGroups(t, text, out)
		default:
			checkCells(t, text, f, out)
		}
	}
}

// checkGroups looks whether a drawing is still pairs of a code and a value, in
// plain characters.
func checkGroups(t *testing.T, text string, b []byte) {
	lines := strings.Split(strings.TrimSuffix(string(b), "\n"), "\n")
	if len(lines)%2 != 0 {
		t.Errorf("%q: %s has %d lines, not pairs of them", text, DXF, len(lines))
	}
	for i, line := range lines {
		if _, err := strconv.Atoi(strings.TrimSpace(line)); i%2 == 0 && err != nil {
			t.Errorf("%q: line %d of %s is %q, not the code of a group", text, i+1, DXF, line)
			return
		}
		if strings.ContainsFunc(line, func(r rune) bool { return r < ' ' || r > '~' }) {
			t.Errorf("%q: line %d of %s is %q", text, i+1, DXF, line)
			return
		}
	}
}

func wellFormed(b []byte, strict bool) error {
	d := xml.NewDecoder(bytes.NewReader(b))
	d.Strict = strict
	d.Entity = xml.HTMLEntity
	for {
		if _, err := d.Token(); err == io.EOF {
			return nil
		} else if err != nil {
			return err
		}
	}
}

// checkElements looks for elements and attributes that no file of ours has.
func checkElements(t *testing.T, text string, f Format, b []byte) {
	d := xml.NewDecoder(bytes.NewReader(b))
	d.Strict = f != ReportHTML
	d.AutoClose = xml.HTMLAutoClose
	d.Entity = xml.HTMLEntity
	for {
		token, err := d.Token()
		if err == io.EOF {
			return
		}
		if err != nil {
			t.Errorf("%q: %s: %v", text, f, err)
			return
		}
		start, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		switch strings.ToLower(start.Name.Local) {
		case "script", "img", "b0", "iframe", "object", "link", "a", "foreignobject", "animate", "use":
			t.Errorf("%q: %s has an element %s", text, f, start.Name.Local)
		}
		for _, a := range start.Attr {
			if strings.HasPrefix(strings.ToLower(a.Name.Local), "on") {
				t.Errorf("%q: %s has an attribute %s", text, f, a.Name.Local)
			}
		}
	}
}

// numeric is a cell that a spreadsheet may take for a number, signs included.
var numeric = regexp.MustCompile(`^-?[0-9]+(\.[0-9]+)?$`)

func checkCells(t *testing.T, text string, f Format, b []byte) {
	rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll() // checks that all rows are as long
	if err != nil {
		t.Errorf("%q: %s: %v", text, f, err)
	}
	for _, row := range rows {
		for _, cell := range row {
			if cell == "" || numeric.MatchString(cell) {
				continue
			}
			if strings.ContainsAny(cell[:1], "=+-@\t\r\n ") || strings.ContainsAny(cell, "\r\n\x00") {
				t.Errorf("%q: %s has a cell %q", text, f, cell)
			}
		}
	}
}

func TestHostileTextStaysText(t *testing.T) {
	for _, text := range hostile {
		checkSafe(t, text)
	}
}

func FuzzAnyTextStaysText(f *testing.F) {
	for _, text := range hostile {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if len(text) < 2000 {
			checkSafe(t, text)
		}
	})
}

func TestNamesForReceivers(t *testing.T) {
	for in, want := range map[string]string{
		"STANDPIPE": "STANDPIPE", "Überlauf Süd": "Ueberlauf", "  a \n b ": "a b", "½ in × 3": "1/2 in x 3", "河": "?", "SETTLING BOX": "SETTLING",
	} {
		if got := ascii(in, gpxNameLen); got != want {
			t.Errorf("ascii(%q) = %q, want %q", in, got, want)
		}
	}
}
