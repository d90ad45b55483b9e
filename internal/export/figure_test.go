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
		t.Skip("starts a browser")
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
