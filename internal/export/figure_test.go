package export

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"route/internal/plan"
	"route/internal/quantity"
)

// Labels placed side by side keep their order and distance, stay inside, and
// no other placement is nearer to what they want (sum of squares): small moves
// of any run of neighbours never make it better.
func TestSideBySide(t *testing.T) {
	seed := uint64(20240611)
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	for range 3000 {
		n := 1 + r.IntN(6)
		middles, widths := make([]float64, n), make([]float64, n)
		total, at := 0.0, 0.0
		for i := range n {
			at += r.Float64() * 60
			middles[i], widths[i] = at, 10+r.Float64()*60
			total += widths[i] + 5
		}
		lo, hi := -20.0, -20+total-5+r.Float64()*300
		lefts, fits := sideBySide(middles, widths, 5, lo, hi)
		if !fits {
			t.Fatalf("%v do not fit into %v", widths, hi-lo)
		}
		allowed := func(x []float64) bool {
			for i := range x {
				if x[i] < lo-1e-6 || x[i]+widths[i] > hi+1e-6 || i > 0 && x[i] < x[i-1]+widths[i-1]+5-1e-6 {
					return false
				}
			}
			return true
		}
		cost := func(x []float64) (sum float64) {
			for i := range x {
				d := x[i] + widths[i]/2 - middles[i]
				sum += d * d
			}
			return sum
		}
		if !allowed(lefts) {
			t.Fatalf("middles %v, widths %v: placed at %v", middles, widths, lefts)
		}
		for from := range n {
			for to := from; to < n; to++ {
				for _, step := range []float64{-0.1, 0.1} {
					moved := append([]float64{}, lefts...)
					for i := from; i <= to; i++ {
						moved[i] += step
					}
					if allowed(moved) && cost(moved) < cost(lefts)-1e-6 {
						t.Fatalf("middles %v, widths %v: %v is nearer than %v", middles, widths, moved, lefts)
					}
				}
			}
		}
	}
	if _, fits := sideBySide([]float64{0, 0}, []float64{60, 60}, 5, 0, 120); fits {
		t.Error("125 fits into 120")
	}
}

// The marks of an axis are round in the reader's unit, evenly spaced and
// labelled with what they are.
func TestTicksAreRound(t *testing.T) {
	seed := uint64(7)
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	for range 3000 {
		system := quantity.System(r.IntN(2))
		from := r.Float64()*4000 - 500
		to := from + math.Pow(10, r.Float64()*5-1)
		wanted := 2 + r.IntN(9)
		ticks, unit := ticksOf(system, from, to, wanted)
		perUnit := 1.0
		if system == quantity.US {
			perUnit = foot
		}
		if (unit == "ft") != (system == quantity.US) || len(ticks) < 1 || len(ticks) > 2*wanted+2 {
			t.Fatalf("%v to %v: %d marks in %s, %d wanted", from, to, len(ticks), unit, wanted)
		}
		for i, k := range ticks {
			label, err := strconv.ParseFloat(k.label, 64)
			if err != nil || math.Abs(label*perUnit-k.m) > 1e-6*(1+math.Abs(k.m)) || k.m < from-1e-6 || k.m > to+1e-6 {
				t.Fatalf("mark %q at %v m between %v and %v", k.label, k.m, from, to)
			}
			if i == 0 {
				continue
			}
			step := (k.m - ticks[i-1].m) / perUnit
			mantissa := step / math.Pow(10, math.Floor(math.Log10(step)+1e-9))
			if d := math.Abs(mantissa-1) * math.Abs(mantissa-2) * math.Abs(mantissa-5); d > 1e-4 {
				t.Fatalf("a step of %v is not round", step)
			}
		}
	}
}

// Heights are drawn as many times larger as is stated.
func TestExaggeration(t *testing.T) {
	p := &panel{width: 800, height: 200, fromM: 100, toM: 300, lowM: 10, highM: 15}
	// 800 px for 200 m across is 4 px/m, 200 px for 5 m is 40 px/m.
	if e := p.exaggeration(); math.Abs(e-10) > 1e-12 {
		t.Errorf("exaggeration %v, 10 is expected", e)
	}
	if text := p.exaggerationText(); text != "heights drawn 10 times as large as distances" {
		t.Error(text)
	}
}

// A long creek is thinned to a few points a pixel, and its highest and lowest
// heights survive.
func TestThinningKeepsTheExtremes(t *testing.T) {
	seed := uint64(3)
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	stations := make([]plan.CreekStation, 20_000)
	high, low := math.Inf(-1), math.Inf(1)
	for i := range stations {
		z := 100 - float64(i)*0.002 + r.NormFloat64()
		high, low = max(high, z), min(low, z)
		stations[i] = plan.CreekStation{StationM: plan.Number(i), RawM: plan.Number(z)}
	}
	p := &panel{left: 50, top: 0, width: 600, height: 1000, fromM: 0, toM: 20_000, lowM: 0, highM: 200}
	points := thin(p, stations, func(s plan.CreekStation) plan.Number { return s.RawM })
	if len(points) > 4*601 {
		t.Errorf("%d points for 600 pixels", len(points))
	}
	top, bottom := math.Inf(1), math.Inf(-1)
	for _, q := range points {
		top, bottom = min(top, q.y), max(bottom, q.y)
	}
	if math.Abs(top-p.y(high)) > 1e-9 || math.Abs(bottom-p.y(low)) > 1e-9 {
		t.Errorf("drawn between %v and %v, the heights lie between %v and %v", top, bottom, p.y(high), p.y(low))
	}
}

// ruler reads metres off a drawing by the marks of its axes alone.
type ruler struct{ x0, x1, m0, m1, y0, y1, z0, z1 float64 }

func (r ruler) station(x float64) float64 { return r.m0 + (x-r.x0)/(r.x1-r.x0)*(r.m1-r.m0) }
func (r ruler) height(y float64) float64  { return r.z0 + (y-r.y0)/(r.y1-r.y0)*(r.z1-r.z0) }

var svgText = regexp.MustCompile(`<text x="([0-9.-]+)" y="([0-9.-]+)" text-anchor="(\w+)">([0-9.-]+)</text>`)

// rulerOf finds the outermost marks of both axes between two heights on the
// drawing.
func rulerOf(t *testing.T, drawing string, px, from, to float64) (r ruler) {
	t.Helper()
	r = ruler{x0: math.Inf(1), x1: math.Inf(-1), y0: math.Inf(1), y1: math.Inf(-1)}
	for _, m := range svgText.FindAllStringSubmatch(drawing, -1) {
		x, _ := strconv.ParseFloat(m[1], 64)
		y, _ := strconv.ParseFloat(m[2], 64)
		v, _ := strconv.ParseFloat(m[4], 64)
		if y < from || y > to {
			continue
		}
		if m[3] == "middle" { // below the axis, in the middle under its mark
			if x < r.x0 {
				r.x0, r.m0 = x, v*foot
			}
			if x > r.x1 {
				r.x1, r.m1 = x, v*foot
			}
		} else { // left of the axis, a third of a line below its mark
			y -= 0.35 * px
			if y < r.y0 {
				r.y0, r.z0 = y, v*foot
			}
			if y > r.y1 {
				r.y1, r.z1 = y, v*foot
			}
		}
	}
	if !(r.x1 > r.x0) || !(r.y1 > r.y0) {
		t.Fatal("the drawing has no marks to read off")
	}
	return r
}

// lineOf reads the points of the path drawn in a style.
func lineOf(t *testing.T, drawing, style string) (points []point2) {
	t.Helper()
	m := regexp.MustCompile(`<path d="([^"]*)" fill="none" ` + regexp.QuoteMeta(style)).FindStringSubmatch(drawing)
	if m == nil {
		t.Fatalf("no line is drawn as %s", style)
	}
	for _, pair := range strings.FieldsFunc(m[1], func(c rune) bool { return c == 'M' || c == 'L' }) {
		var p point2
		if _, err := fmt.Sscan(pair, &p.x, &p.y); err != nil {
			t.Fatal(err)
		}
		points = append(points, p)
	}
	return points
}

// What is drawn stands where the axes say that it stands: read back with the
// marks as a ruler, pipes, levels and places are those of the plan.
func TestProfileIsDrawnToScale(t *testing.T) {
	p := fixturePlan("us")
	l := &p.Layouts[0]
	drawing := string(written(t, ProfileSVG, p))
	second := strings.Index(drawing, "Delivery pipe to the tank")
	split, _ := strconv.ParseFloat(regexp.MustCompile(`y="([0-9.]+)"><tspan font-weight="bold">Delivery pipe to`).FindStringSubmatch(drawing)[1], 64)
	third, _ := strconv.ParseFloat(regexp.MustCompile(`y="([0-9.]+)"><tspan font-weight="bold">The whole creek`).FindStringSubmatch(drawing)[1], 64)
	creek, delivery := rulerOf(t, drawing[:second], 14, 0, split), rulerOf(t, drawing[second:], 14, split, third)
	// A tenth of a pixel of rounding at both ends of the ruler and at the point.
	near := func(what string, r ruler, got point2, m, z float64) {
		t.Helper()
		dm, dz := 0.3*(r.m1-r.m0)/(r.x1-r.x0), 0.3*math.Abs(r.z1-r.z0)/(r.y1-r.y0)
		if math.Abs(r.station(got.x)-m) > dm || math.Abs(r.height(got.y)-z) > dz {
			t.Errorf("%s is drawn at %.2f m, height %.3f m; it is at %.2f m, %.3f m", what, r.station(got.x), r.height(got.y), m, z)
		}
	}
	along := func(what string, r ruler, points []point2, path []plan.Vertex, m func(plan.Vertex) plan.Number, z func(plan.Vertex) plan.Number) {
		t.Helper()
		near(what+", upper end,", r, points[0], float64(m(path[0])), float64(z(path[0])))
		near(what+", lower end,", r, points[len(points)-1], float64(m(path[len(path)-1])), float64(z(path[len(path)-1])))
	}
	station := func(v plan.Vertex) plan.Number { return v.StationM }
	invert := func(v plan.Vertex) plan.Number { return v.InvertM }
	grade := func(v plan.Vertex) plan.Number { return v.GradeM }
	distance := func(v plan.Vertex) plan.Number { return v.AlongM }
	along("the supply pipe", creek, lineOf(t, drawing, stroke(supplyColour, 3, "")), l.Supply.Path, station, invert)
	along("the drive pipe", creek, lineOf(t, drawing, stroke(driveColour, 4.5, "")), l.Drive.Path, station, invert)
	along("the grade line", creek, lineOf(t, drawing, stroke(gradeColour, 1.8, "9 4")), l.Supply.Path, station, grade)
	along("the delivery pipe", delivery, lineOf(t, drawing[second:], stroke(deliveryColour, 3, "12 3")), l.Delivery.Path, distance, invert)
	along("the delivery's grade line", delivery, lineOf(t, drawing[second:], stroke(gradeColour, 1.8, "9 4")), l.Delivery.Path, distance, grade)

	// The water in the standpipe is a rectangle from its level to its foot.
	var x, y, w, h float64
	m := regexp.MustCompile(`<rect x="([^"]*)" y="([^"]*)" width="([^"]*)" height="([^"]*)" fill="` + waterColour + `" fill-opacity`).FindStringSubmatch(drawing)
	for i, v := range []*float64{&x, &y, &w, &h} {
		*v, _ = strconv.ParseFloat(m[i+1], 64)
	}
	near("the water in the standpipe", creek, point2{x + w/2, y}, float64(l.Standpipe.StationM), float64(l.Standpipe.RunningLevelM))
	near("the foot of the standpipe", creek, point2{x + w/2, y + h}, float64(l.Standpipe.StationM), math.Min(float64(l.Drive.Path[0].InvertM), float64(l.Supply.Path[len(l.Supply.Path)-1].InvertM)))
	// The tank's upper edge is its inlet.
	m = regexp.MustCompile(`<rect x="([^"]*)" y="([^"]*)" width="18"`).FindStringSubmatch(drawing)
	x, _ = strconv.ParseFloat(m[1], 64)
	y, _ = strconv.ParseFloat(m[2], 64)
	near("the tank", delivery, point2{x + 9, y}, float64(l.Delivery.Path[len(l.Delivery.Path)-1].AlongM), float64(l.Tank.InletM))

	// The band holds 8 of 10 cases of heights with the fixture's standard
	// deviation: 1.2816 of it to each side (Abramowitz & Stegun 1964, table 26.5).
	m = regexp.MustCompile(`<path d="([^"]*)" fill="` + bandColour).FindStringSubmatch(drawing)
	band := strings.Count(m[1], "L")
	if band < 100 {
		t.Errorf("the band has %d corners", band)
	}
	lowest, highest := math.Inf(1), math.Inf(-1)
	for _, pair := range strings.FieldsFunc(strings.TrimSuffix(m[1], "Z"), func(c rune) bool { return c == 'M' || c == 'L' }) {
		var q point2
		fmt.Sscan(pair, &q.x, &q.y)
		i := int(math.Round(creek.station(q.x)))
		if i < 0 || i >= len(p.Creek.Stations) || math.Abs(creek.station(q.x)-float64(i)) > 0.2 {
			continue
		}
		z := creek.height(q.y) - float64(p.Creek.Stations[i].ZM)
		lowest, highest = min(lowest, z), max(highest, z)
	}
	const want = 1.2816 * 0.2 // the greatest deviation of the fixture
	if math.Abs(lowest+want) > 0.01 || math.Abs(highest-want) > 0.01 {
		t.Errorf("the band reaches from %.3f to %.3f m, not %.3f to both sides", lowest, highest, want)
	}
}

// All that is drawn lies in the panel: its range holds the band, the pipes and
// the standpipe.
func TestHeightRangeHoldsEverything(t *testing.T) {
	p := fixturePlan("us")
	f := newProfileFigure(p, 1000, 14)
	from, to := f.window()
	stations := f.stationsIn(from, to)
	low, high := f.heightRange(stations)
	l := &p.Layouts[0]
	within := func(what string, v plan.Number) {
		if v.Known() && (float64(v) < low || float64(v) > high) {
			t.Errorf("%s at %v is not between %v and %v", what, v, low, high)
		}
	}
	for _, s := range stations {
		within("low", s.ZM-1.28*s.ZSigmaM)
		within("high", s.ZM+1.28*s.ZSigmaM)
		within("line", s.ZM)
	}
	within("standpipe", l.Standpipe.GroundM+l.Standpipe.HeightM)
	for _, run := range []pipeRun{supplyRun(l), driveRun(l)} {
		for _, v := range run.Path {
			within(run.name, v.InvertM)
			within(run.name, v.GradeM)
		}
	}
	// A bridge of 100 m height would flatten all else: it does not count.
	p.Creek.Stations[192].RawM += 100
	if _, again := newProfileFigure(p, 1000, 14).heightRange(stations); again != high {
		t.Errorf("one tall height raises the panel from %v to %v", high, again)
	}
	// The band counts even where nothing else reaches as high.
	p.Creek.Stations[100].ZSigmaM = 10
	if _, again := newProfileFigure(p, 1000, 14).heightRange(p.Creek.Stations[:200]); again < float64(p.Creek.Stations[100].ZM)+12.8 {
		t.Errorf("the band reaches 12.8 m above the line, the panel %v", again)
	}
}

// sizes are the font sizes that a drawing sets.
var sizes = regexp.MustCompile(`font-size="([0-9.]+)"`)

func TestProfileSVGIsADrawingOfItsOwn(t *testing.T) {
	for name, p := range fixtures() {
		text := written(t, ProfileSVG, p)
		if err := wellFormed(text, true); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		for _, m := range sizes.FindAllSubmatch(text, -1) {
			if px, _ := strconv.ParseFloat(string(m[1]), 64); px < 11 {
				t.Errorf("%s: text of %v px", name, px)
			}
		}
		checkNothingFromOutside(t, name, text)
		if name == "us" && (!bytes.Contains(text, []byte("Height (ft)")) || bytes.Contains(text, []byte("(m)"))) {
			t.Error("the axes of a US site are not in feet")
		}
		if name == "si" && (!bytes.Contains(text, []byte("Height (m)")) || bytes.Contains(text, []byte(" ft<"))) {
			t.Error("the axes of an SI site are not in metres")
		}
	}
	drawn := string(written(t, ProfileSVG, fixturePlan("us")))
	for _, want := range []string{">Intake<", "Standpipe, ", ">Ram pump<", ">Tank<", "drive head", ">lift<", "Hydraulic grade line", "Bridge or fill", "No height data", "times as large as distances"} {
		if !strings.Contains(drawn, want) {
			t.Errorf("the profile does not say %q", want)
		}
	}
}

// checkNothingFromOutside looks at every attribute and style of a file for
// something that a browser would fetch.
func checkNothingFromOutside(t *testing.T, name string, text []byte) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(text))
	d.AutoClose, d.Entity = xml.HTMLAutoClose, xml.HTMLEntity
	fetched := regexp.MustCompile(`(?i)url\(\s*['"]?[^#'")\s]|@import|https?:|//[a-z0-9]`)
	inStyle := false
	for {
		token, err := d.Token()
		if err == io.EOF {
			return
		}
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		switch token := token.(type) {
		case xml.StartElement:
			inStyle = token.Name.Local == "style"
			switch token.Name.Local {
			case "script", "link", "iframe", "base", "object", "embed", "audio", "video":
				t.Errorf("%s holds an element %s", name, token.Name.Local)
			}
			for _, a := range token.Attr {
				isData := a.Name.Local == "href" && strings.HasPrefix(a.Value, "data:image/png;base64,")
				isSpace := a.Name.Local == "xmlns" || a.Name.Space == "xmlns"
				switch a.Name.Local {
				case "src", "href", "srcset", "action", "poster", "background", "data":
					if !isData {
						t.Errorf("%s fetches %s=%.60q", name, a.Name.Local, a.Value)
					}
				}
				if !isData && !isSpace && fetched.MatchString(a.Value) {
					t.Errorf("%s: %s=%.60q", name, a.Name.Local, a.Value)
				}
			}
		case xml.CharData:
			if inStyle && fetched.Match(token) {
				t.Errorf("%s: its style fetches something", name)
			}
		case xml.EndElement:
			inStyle = false
		}
	}
}

// looker is a script for the browser: it lists texts of a drawing that lie
// over each other or outside the drawing, and how small the smallest is.
const looker = `<script>
const out = {overlaps: [], outside: [], smallest: 1e9, texts: 0, bodyWidth: document.documentElement.scrollWidth};
for (const svg of document.querySelectorAll('svg')) {
  const frame = svg.getBoundingClientRect(), all = [...svg.querySelectorAll('text')];
  const flat = e => e.getAttribute('transform') === null;
  out.texts += all.length;
  for (let i = 0; i < all.length; i++) {
    const a = all[i].getBoundingClientRect();
    out.smallest = Math.min(out.smallest, parseFloat(getComputedStyle(all[i]).fontSize) * frame.width / svg.viewBox.baseVal.width);
    if (a.left < frame.left - 1 || a.right > frame.right + 1 || a.top < frame.top - 1 || a.bottom > frame.bottom + 1) out.outside.push(all[i].textContent);
    for (let k = i + 1; k < all.length; k++) {
      const b = all[k].getBoundingClientRect();
      // Line boxes have some air above and below the letters.
      const w = Math.min(a.right, b.right) - Math.max(a.left, b.left), h = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      if (flat(all[i]) && flat(all[k]) && w > 1 && h > 0.3 * Math.min(a.height, b.height)) out.overlaps.push(all[i].textContent + ' / ' + all[k].textContent);
    }
  }
}
document.body.innerHTML = '';
const pre = document.createElement('pre'); pre.id = 'seen'; pre.textContent = JSON.stringify(out); document.body.append(pre);
</script>`

// seen is what the browser finds.
type seen struct {
	Overlaps, Outside []string
	Smallest          float64
	Texts             int
	BodyWidth         float64
}

// lookAt opens a page in Chromium and runs the looker on it.
func lookAt(t *testing.T, chromium string, page []byte, width int) seen {
	t.Helper()
	dir := t.TempDir()
	file := filepath.Join(dir, "page.html")
	if err := os.WriteFile(file, append(page, looker...), 0o666); err != nil {
		t.Fatal(err)
	}
	// The window is not narrower than 500 px: a frame of the wanted width
	// stands in for a phone.
	dom, err := exec.Command(chromium, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
		"--disable-component-update", "--disable-sync", "--user-data-dir="+filepath.Join(dir, "profile"), fmt.Sprintf("--window-size=%d,1400", width), "--dump-dom", "file://"+file).Output()
	if err != nil {
		t.Fatalf("chromium: %v", err)
	}
	m := regexp.MustCompile(`(?s)<pre id="seen">(.*?)</pre>`).FindSubmatch(dom)
	if m == nil {
		t.Fatalf("the browser found nothing in %.300s", dom)
	}
	var s seen
	text := strings.NewReplacer("&lt;", "<", "&gt;", ">", "&amp;", "&").Replace(string(m[1]))
	if err := json.Unmarshal([]byte(text), &s); err != nil {
		t.Fatal(err)
	}
	return s
}

// Chromium lays the text out with its own fonts and measures it: nothing is
// written over something else, nothing is cut off, nothing is below 11 px.
func TestFiguresInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("left out by -short: starts a browser")
	}
	chromium := program(t, "chromium", "chromium")
	for name, p := range map[string]*plan.Plan{"us": fixturePlan("us"), "si": fixturePlan("si"), "none": fixtureWithoutLayouts()} {
		page := append([]byte("<!DOCTYPE html><meta charset=utf-8><body style='margin:0'>"), written(t, ProfileSVG, p)...)
		s := lookAt(t, chromium, page, 1100)
		if len(s.Overlaps)+len(s.Outside) > 0 || s.Smallest < 11 || s.Texts < 15 {
			t.Errorf("profile of %s: %+v", name, s)
		}
		report := bytes.Replace(written(t, ReportHTML, p), []byte("Content-Security-Policy"), []byte("off"), 1) // for the looker's sake
		s = lookAt(t, chromium, report, 1100)
		if len(s.Overlaps)+len(s.Outside) > 0 || s.Smallest < 11 || s.Texts < 20 {
			t.Errorf("report of %s: %+v", name, s)
		}
	}
}
