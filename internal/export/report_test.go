package export

import (
	"bytes"
	"encoding/base64"
	"encoding/xml"
	"flag"
	"fmt"
	"image/png"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"route/internal/plan"
)

var update = flag.Bool("update", false, "write the golden files anew; look at the difference before committing it")

// element is an element of a page with what is in it.
type element struct {
	name string
	attr map[string]string
	text string // of it and all below
	kids []*element
}

func (e *element) find(name string) (all []*element) {
	for _, k := range e.kids {
		if k.name == name {
			all = append(all, k)
		}
		all = append(all, k.find(name)...)
	}
	return all
}

// tree reads a page; ours are well-formed as XML as well.
func tree(t *testing.T, page []byte) *element {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(page))
	d.Entity = xml.HTMLEntity
	root := &element{}
	stack := []*element{root}
	for {
		token, err := d.Token()
		if err == io.EOF {
			return root
		}
		if err != nil {
			t.Fatal(err)
		}
		switch token := token.(type) {
		case xml.StartElement:
			e := &element{name: token.Name.Local, attr: map[string]string{}}
			for _, a := range token.Attr {
				e.attr[a.Name.Local] = a.Value
			}
			top := stack[len(stack)-1]
			top.kids = append(top.kids, e)
			stack = append(stack, e)
		case xml.EndElement:
			stack = stack[:len(stack)-1]
		case xml.CharData:
			for _, e := range stack {
				e.text += string(token)
			}
		}
	}
}

func TestReportAsksForNothingFromOutside(t *testing.T) {
	for name, p := range fixtures() {
		checkNothingFromOutside(t, name, written(t, ReportHTML, p))
	}
}

// The basics of the Web Content Accessibility Guidelines 2.2 that a program
// can see: language (3.1.1), title (2.4.2), text for pictures (1.1.1), headings
// in order and table headers (1.3.1), unique ids.
func TestReportCanBeReadAloud(t *testing.T) {
	for name, p := range fixtures() {
		page := tree(t, written(t, ReportHTML, p))
		if html := page.find("html"); len(html) != 1 || html[0].attr["lang"] != "en" {
			t.Errorf("%s: no language", name)
		}
		if title := page.find("head")[0].find("title"); len(title) != 1 || !strings.Contains(title[0].text, "Ram pump plan") {
			t.Errorf("%s: no title", name)
		}
		ids := map[string]int{}
		walk(page, func(e *element) {
			if id := e.attr["id"]; id != "" {
				ids[id]++
			}
		})
		for id, n := range ids {
			if n > 1 {
				t.Errorf("%s: id %s occurs %d times", name, id, n)
			}
		}
		for _, svg := range page.find("svg") {
			for _, id := range strings.Fields(svg.attr["aria-labelledby"]) {
				if ids[id] != 1 {
					t.Errorf("%s: a drawing is named by %s, which is not there", name, id)
				}
			}
			if svg.attr["role"] != "img" || len(svg.find("title")) != 1 || len(svg.find("desc")) != 1 || svg.find("desc")[0].text == "" {
				t.Errorf("%s: a drawing has no text", name)
			}
		}
		level := 0
		walk(page, func(e *element) {
			if len(e.name) == 2 && e.name[0] == 'h' && e.name[1] >= '1' && e.name[1] <= '6' {
				at := int(e.name[1] - '0')
				if at > level+1 {
					t.Errorf("%s: heading %q skips a level", name, e.text)
				}
				level = at
			}
		})
		for _, table := range page.find("table") {
			headers := table.find("th")
			if len(headers) == 0 {
				t.Errorf("%s: a table has no headers", name)
			}
			for _, th := range headers {
				if th.attr["scope"] == "" {
					t.Errorf("%s: header %q has no scope", name, th.text)
				}
			}
		}
	}
}

func walk(e *element, visit func(*element)) {
	visit(e)
	for _, k := range e.kids {
		walk(k, visit)
	}
}

// wantInReport are things that the owner of the land is promised.
func TestReportSaysWhatItHasTo(t *testing.T) {
	// 161 m of water are 15.79 bar and 229.0 psi (NIST SP 811: 9806.65 Pa a
	// metre, 6894.757 Pa a psi); 2.8 L/s are 44.38 US gallons a minute.
	for units, want := range map[string][]string{
		"us": {"Fernhollow", "457 gal/day", "346 to 560 gal/day", "83 %", "USD 2500.90", "6.0 ± 0.8 ft", "229 psi", "4.23 ft/s", "44.4 gpm", "0.317 gpm", "intake to standpipe", "4 coils of 100 ft", "457 gal/day"},
		"si": {"Fernhollow", "1730 L/day", "1310 to 2120 L/day", "83 %", "USD 2500.90", "1.8 ± 0.2 m", "15.8 bar", "1.29 m/s", "168 L/min", "1.20 L/min", "4 coils of 30.5 m"},
	} {
		text := tree(t, written(t, ReportHTML, fixturePlan(units))).text
		for _, w := range append(want, "Level the fall", "water authority", "permit", "Air gap", "untreated", "Frost", "licensed", "Carry in pairs", "surge",
			"too little drive head", "water_temperature", "Colebrook", strings.Repeat("c0ffee42", 8)) {
			if !strings.Contains(strings.ReplaceAll(text, "\u202f", " "), w) {
				t.Errorf("%s: the report does not say %q", units, w)
			}
		}
	}
	pairs := map[string]string{}
	for _, row := range tree(t, written(t, ReportHTML, fixturePlan("si"))).find("tr") {
		if head, cells := row.find("th"), row.find("td"); len(head) == 1 && len(cells) == 1 {
			pairs[head[0].text] = cells[0].text
		}
	}
	for name, want := range map[string]string{"Drawn by the drive pipe": "168 L/min", "Delivered": "1.20 L/min", "Lowest flow of the creek": "480 L/min", "Wanted a day": "1500 L/day"} {
		if pairs[name] != want {
			t.Errorf("%s: %q, want %q", name, pairs[name], want)
		}
	}
	// What to buy is for the best layout alone.
	if strings.Contains(tree(t, written(t, ReportHTML, fixturePlan("us"))).text, "Settling box, 50 gal") {
		t.Error("the list of layout A holds a part of layout C")
	}
	none := tree(t, written(t, ReportHTML, fixtureWithoutLayouts())).text
	for _, w := range []string{"no layout works", "2.5 m of head within reach", "36 m more supply pipe", "Why not elsewhere", "Measure the creek"} {
		if !strings.Contains(none, w) {
			t.Errorf("without layouts the report does not say %q", w)
		}
	}
}

// The list of what to buy adds up on paper, too.
func TestListInTheReportAddsUp(t *testing.T) {
	for _, table := range tree(t, written(t, ReportHTML, fixturePlan("us"))).find("table") {
		if table.attr["class"] != "buy" {
			continue
		}
		cents := func(e *element) int64 {
			v, err := strconv.ParseFloat(strings.TrimPrefix(strings.ReplaceAll(e.text, "\u202f", ""), "USD "), 64)
			if err != nil {
				t.Fatal(err)
			}
			return int64(math.Round(100 * v))
		}
		groups, lines := int64(0), int64(0)
		for _, body := range table.find("tbody") {
			group := int64(0)
			for i, row := range body.find("tr") {
				cells := row.find("td")
				if i == 0 {
					group = cents(cells[0])
					groups += group
					continue
				}
				lines += cents(cells[len(cells)-1])
				group -= cents(cells[len(cells)-1])
			}
			if group != 0 {
				t.Errorf("a group and its lines differ by %d cents", group)
			}
		}
		if total := cents(table.find("tfoot")[0].find("td")[0]); total != groups || total != lines {
			t.Errorf("total %d, groups %d, lines %d cents", total, groups, lines)
		}
		return
	}
	t.Error("there is no list of what to buy")
}

// The map stands where it should: the pump's symbol, taken back from pixels to
// metres by the picture's own corners, is the pump's place; the picture is the
// shading, paler, and white where the height is unknown.
func TestMapIsInPlace(t *testing.T) {
	p := fixturePlan("si")
	p.Layouts = p.Layouts[:1]
	r := p.Relief
	m, err := drawMap(p, window{r.West, r.South, r.East, r.North}, false, mapSize{720, 500, 12.5})
	if err != nil {
		t.Fatal(err)
	}
	match := regexp.MustCompile(`<image x="([^"]*)" y="([^"]*)" width="([^"]*)" height="([^"]*)" [^>]*base64,([^"]*)"`).FindStringSubmatch(m.b.String())
	var v [4]float64
	for i := range v {
		v[i], _ = strconv.ParseFloat(match[i+1], 64)
	}
	pump := m.onMap(p.Layouts[0].Pump.Lon, p.Layouts[0].Pump.Lat)
	wantE, wantN := r.ToFrame(float64(p.Layouts[0].Pump.Lon), float64(p.Layouts[0].Pump.Lat))
	e := r.West + (pump.x-v[0])/v[2]*(r.East-r.West)
	n := r.North - (pump.y-v[1])/v[3]*(r.North-r.South)
	if math.Hypot(e-wantE, n-wantN) > 0.05 { // a tenth of a pixel is 4 cm here
		t.Errorf("the pump is drawn at %v, %v; it stands at %v, %v", e, n, wantE, wantN)
	}
	if !strings.Contains(m.b.String(), fmt.Sprintf(`<rect x="%s" y="%s" width="12" height="12"`, xy(pump.x-6), xy(pump.y-6))) {
		t.Error("the pump has no symbol at its place")
	}
	raw, err := base64.StdEncoding.DecodeString(match[5])
	if err != nil {
		t.Fatal(err)
	}
	picture, err := png.Decode(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	if picture.Bounds().Dx() != r.Cols || picture.Bounds().Dy() != r.Rows {
		t.Fatalf("the picture is %v", picture.Bounds())
	}
	for i, s := range r.Shade {
		grey, _, _, _ := picture.At(i%r.Cols, i/r.Cols).RGBA()
		want := 255 - (255-int(s))/2
		if r.Z[i] != r.Z[i] {
			want = 255
		}
		if got := int(grey >> 8); got < want-1 || got > want+1 {
			t.Fatalf("cell %d is %d, %d is expected", i, got, want)
		}
	}
}

// The close-up holds all of the best layout, lies within the ground, and has
// the shape of the room where the ground allows it.
func TestCloseUp(t *testing.T) {
	p := fixturePlan("si")
	r := p.Relief
	all := window{r.West, r.South, r.East, r.North}
	w := closeUpOf(p, all, 1.8)
	if w.west < all.west || w.south < all.south || w.east > all.east || w.north > all.north {
		t.Errorf("%+v leaves the ground %+v", w, all)
	}
	for _, run := range runs(&p.Layouts[0]) {
		for _, v := range run.Path {
			if e, n := r.ToFrame(float64(v.Lon), float64(v.Lat)); e < w.west || e > w.east || n < w.south || n > w.north {
				t.Fatalf("%v, %v of the %s pipe is off the map", e, n, run.role)
			}
		}
	}
	for _, c := range [][6]float64{{2, 4, 0, 10, 2, 4}, {-3, 4, 0, 10, 0, 7}, {8, 14, 0, 10, 4, 10}, {-5, 20, 0, 10, 0, 10}} {
		if a, b := within(c[0], c[1], c[2], c[3]); a != c[4] || b != c[5] {
			t.Errorf("within(%v) = %v, %v", c[:4], a, b)
		}
	}
}

// golden files: what is left out of each before comparing.
var leftOut = regexp.MustCompile(`base64,[A-Za-z0-9+/=]*`)

// Golden files show a reviewer what a change of the code does to what people
// get. They are our own output and prove nothing by themselves. Numbers may
// differ in the last printed digit: other processors round products otherwise.
func TestGoldenFiles(t *testing.T) {
	for units, formats := range map[string][]Format{
		"us": {GeoJSON, GPX, KML, StakeoutCSV, TakeoffCSV, QuoteCSV, ProfileSVG, ReportHTML},
		"si": {StakeoutCSV, TakeoffCSV},
	} {
		for _, f := range formats {
			file := filepath.Join("testdata", "golden", units+"-"+string(f))
			got := leftOut.ReplaceAll(written(t, f, fixturePlan(units)), []byte("base64,"))
			if *update {
				if err := os.WriteFile(file, got, 0o666); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(file)
			if err != nil {
				t.Fatalf("%v; run the test with -update", err)
			}
			if line := firstDifference(string(got), string(want)); line != "" {
				t.Errorf("%s differs: %s; run the test with -update and look at the difference", file, line)
			}
		}
	}
}

var digits = regexp.MustCompile(`-?[0-9]+\.?[0-9]*`)

// firstDifference compares texts, numbers to a unit in their last place.
func firstDifference(got, want string) string {
	a, b := strings.Split(got, "\n"), strings.Split(want, "\n")
	for i := range max(len(a), len(b)) {
		if i >= len(a) || i >= len(b) {
			return fmt.Sprintf("%d lines, %d are expected", len(a), len(b))
		}
		same := a[i] == b[i]
		if !same && digits.ReplaceAllString(a[i], "#") == digits.ReplaceAllString(b[i], "#") {
			x, y := digits.FindAllString(a[i], -1), digits.FindAllString(b[i], -1)
			same = true
			for k := range x {
				v, _ := strconv.ParseFloat(x[k], 64)
				w, _ := strconv.ParseFloat(y[k], 64)
				_, fraction, _ := strings.Cut(y[k], ".")
				same = same && math.Abs(v-w) <= 1.01*math.Pow(10, -float64(max(1, len(fraction))))
			}
		}
		if !same {
			return fmt.Sprintf("line %d is\n%.200s\nnot\n%.200s", i+1, a[i], b[i])
		}
	}
	return ""
}

// Chromium prints the report on both papers without leaving a page empty or
// cutting a figure: poppler counts the pages and finds text on each.
func TestReportPrints(t *testing.T) {
	if testing.Short() {
		t.Skip("left out by -short: starts a browser")
	}
	chromium, pdftotext := program(t, "chromium", "chromium"), program(t, "pdftotext", "poppler-utils")
	for _, paper := range []string{"A4", "letter"} {
		dir := t.TempDir()
		page := bytes.Replace(written(t, ReportHTML, fixturePlan("us")), []byte("@page {"), []byte("@page { size: "+paper+";"), 1)
		file, pdf := filepath.Join(dir, "report.html"), filepath.Join(dir, "report.pdf")
		if err := os.WriteFile(file, page, 0o666); err != nil {
			t.Fatal(err)
		}
		if text, err := exec.Command(chromium, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
			"--disable-component-update", "--disable-sync", "--user-data-dir="+filepath.Join(dir, "profile"), "--no-pdf-header-footer", "--print-to-pdf="+pdf, "file://"+file).CombinedOutput(); err != nil {
			t.Fatalf("chromium: %v\n%s", err, text)
		}
		text, err := exec.Command(pdftotext, "-layout", pdf, "-").Output()
		if err != nil {
			t.Fatal(err)
		}
		pages := strings.Split(strings.TrimSuffix(string(text), "\f"), "\f")
		if len(pages) < 3 || len(pages) > 12 {
			t.Errorf("%s: %d pages", paper, len(pages))
		}
		for i, p := range pages {
			if len(strings.Fields(p)) < 25 {
				t.Errorf("%s: page %d holds only %q", paper, i+1, strings.TrimSpace(p))
			}
			if !strings.Contains(strings.ReplaceAll(p, " ", ""), fmt.Sprintf("%d/%d", i+1, len(pages))) {
				t.Errorf("%s: page %d is not numbered", paper, i+1)
			}
		}
		if !strings.Contains(pages[0], "Where everything goes") || !strings.Contains(pages[0], "Contours every") {
			t.Errorf("%s: the map is not on the first page", paper)
		}
	}
}

func TestMoney(t *testing.T) {
	for _, c := range []struct {
		d    plan.Decimal
		want string
	}{
		{"2500.90", "USD 2500.90"}, {"12345.60", "USD 12\u202f345.60"}, {"1234567", "USD 1\u202f234\u202f567"}, {"-0.50", "USD -0.50"}, {"", "–"},
	} {
		if got := money("USD", c.d); got != c.want {
			t.Errorf("money(%q) = %q, want %q", c.d, got, c.want)
		}
	}
}

func TestRangesNameTheirUnitOnce(t *testing.T) {
	for _, c := range [][3]string{
		{"346 gal/day", "560 gal/day", "346 to 560 gal/day"}, {"90 L/day", "1.20 m³/day", "90 L/day to 1.20 m³/day"},
		{"–", "–", "–"}, {"–", "5.0 ft", "– to 5.0 ft"}, {"0 ft", "0 ft", "0 ft"},
	} {
		if got := span(c[0], c[1]); got != c[2] {
			t.Errorf("span(%q, %q) = %q, want %q", c[0], c[1], got, c[2])
		}
	}
}

// The report says by how much the search flatters, and does not say "0 m" where
// it does not.
func TestReportSaysWhatTheSearchClaimsTooMuch(t *testing.T) {
	p := fixturePlan("si")
	// 0.06 m and 80 L/day in the fixture.
	if page := string(written(t, ReportHTML, p)); !strings.Contains(page, "claimed 60 mm of drive head and 80.0 L/day more than it had") {
		t.Error("the report does not say what is claimed too much")
	}
	l := &p.Layouts[0]
	l.DriveHeadCorrectedM, l.DeliveredLDayCorrected = l.DriveHeadM, l.DeliveredLDay
	if page := string(written(t, ReportHTML, p)); !strings.Contains(page, "claimed no more than it had") || strings.Contains(page, "claimed 0") {
		t.Error("nothing is claimed too much, and the report does not say so")
	}
	p.Replans = plan.Unknown
	if page := string(written(t, ReportHTML, p)); strings.Contains(page, "made again") {
		t.Error("the plan was not made again, but the report says so")
	}
}
