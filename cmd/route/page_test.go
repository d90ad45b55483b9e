package main

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"route/internal/packet"
	"route/internal/plan"
	"route/internal/quantity"
	"route/internal/web"
)

// page is the map page of a demo site in a browser without a window.
type page struct {
	t       testing.TB
	ctx     context.Context
	address string
	file    string // the site file, a copy of its own

	mu      sync.Mutex
	asked   []string // addresses
	stumble []string // what the page's console complains of
}

// openPage serves a copy of a demo site and opens it, w pixels wide.
func openPage(t testing.TB, name, hash string, w, h int64) *page {
	t.Helper()
	if testing.Short() {
		t.Skip("left out by -short: starts a browser")
	}
	if !web.Built() {
		t.Skip("left out: internal/web/dist has no map page; make web builds it, with Node 18 or newer and npm")
	}
	return openPageWith(t, copySite(t, name), hash, w, h, "")
}

// openPageWith opens the page of a site file; script runs in the page before
// its own does.
func openPageWith(t testing.TB, file, hash string, w, h int64, script string) *page {
	t.Helper()
	chromium := tool(t, "chromium", "chromium")
	p := &page{t: t, file: file}
	site, err := plan.OpenSite(p.file)
	if err != nil {
		t.Fatal(err)
	}
	server, err := web.New(t.Context(), site, nil)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(server.Close)
	over := httptest.NewServer(server.Handler())
	t.Cleanup(over.Close)
	p.address = over.URL

	ctx, cancel := chromedp.NewContext(context.Background(), chromedp.WithAllocatorOptions(
		chromedp.ExecPath(chromium), chromedp.Flag("no-sandbox", true), chromedp.Flag("disable-gpu", true), chromedp.UserDataDir(filepath.Join(t.TempDir(), "browser"))))
	t.Cleanup(cancel)
	ctx, cancel = context.WithTimeout(ctx, 3*time.Minute)
	t.Cleanup(cancel)
	p.ctx = ctx
	p.do(chromedp.EmulateViewport(w, h))
	if err := chromedp.Listen(ctx, p.hear); err != nil {
		t.Fatal(err)
	}
	if script != "" {
		if _, err := chromedp.Call(ctx, cdppage.AddScriptToEvaluateOnNewDocument, cdppage.AddScriptToEvaluateOnNewDocumentParams{Source: script}); err != nil {
			t.Fatal(err)
		}
	}
	p.do(chromedp.Navigate(over.URL + "/" + hash))
	p.ready()
	t.Cleanup(p.quiet)
	return p
}

// copySite copies a demo site, so that it can be saved to.
func copySite(t testing.TB, name string) string {
	t.Helper()
	from := demo(t, name)
	to := t.TempDir()
	entries, err := os.ReadDir(filepath.Dir(from))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if e.IsDir() {
			continue
		}
		content, err := os.ReadFile(filepath.Join(filepath.Dir(from), e.Name()))
		if err == nil {
			err = os.WriteFile(filepath.Join(to, e.Name()), content, 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	return filepath.Join(to, filepath.Base(from))
}

func (p *page) hear(event any) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch e := event.(type) {
	case *network.EventRequestWillBeSent:
		p.asked = append(p.asked, e.Request.URL)
	case *runtime.EventExceptionThrown:
		p.stumble = append(p.stumble, e.ExceptionDetails.Text)
	case *log.EventEntryAdded:
		if e.Entry.Level == log.EntryLevelError {
			p.stumble = append(p.stumble, e.Entry.Text+" "+e.Entry.URL)
		}
	}
}

// quiet holds at the end that nothing was asked of any other machine, and that
// the page did not stumble.
func (p *page) quiet() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.asked) < 4 {
		p.t.Errorf("only %d requests were seen: the log does not work", len(p.asked))
	}
	for _, address := range p.asked {
		u, err := url.Parse(address)
		if err != nil || (u.Scheme != "data" && u.Scheme != "blob" && u.Hostname() != "127.0.0.1") {
			p.t.Errorf("the page asks for %s", address)
		}
	}
	for _, text := range p.stumble {
		p.t.Errorf("the page stumbles: %s", text)
	}
}

func (p *page) do(steps ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	if err := chromedp.Do(p.ctx, steps...); err != nil {
		p.t.Fatal(err)
	}
}

func eval[T any](p *page, expression string) T {
	p.t.Helper()
	v, err := chromedp.Run(p.ctx, chromedp.Evaluate[T](expression))
	if err != nil {
		p.t.Fatalf("%s: %v", expression, err)
	}
	return v
}

// until waits for something to be true in the page.
func (p *page) until(what string) {
	p.t.Helper()
	if _, err := chromedp.Run(p.ctx, chromedp.Poll[bool](what, chromedp.WithPollingTimeout(40*time.Second))); err != nil {
		said, _ := chromedp.Run(p.ctx, chromedp.Evaluate[string](`document.body.innerText.slice(0, 1500)`))
		p.t.Fatalf("waiting for %s: %v\n%s", what, err, said)
	}
}

// ready waits for a plan to be shown.
func (p *page) ready() {
	p.t.Helper()
	p.until(`document.body.hasAttribute("data-ready") && !document.body.hasAttribute("data-busy")`)
}

// figure is a number of the shown layout as the page prints it.
func (p *page) figure(key string) string {
	p.t.Helper()
	return eval[string](p, fmt.Sprintf(`document.querySelector('#shown [data-key=%q] dd')?.firstChild.textContent ?? ""`, key))
}

func (p *page) title() string {
	return eval[string](p, `document.querySelector("#shown h2").textContent`)
}

// centre is where an element is on the screen.
func (p *page) centre(selector string) (x, y float64) {
	p.t.Helper()
	at := eval[[]float64](p, fmt.Sprintf(`(() => { const r = document.querySelector(%q).getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]; })()`, selector))
	return at[0], at[1]
}

// drag moves an element with the mouse and lets go of it there.
func (p *page) drag(selector string, dx, dy float64) {
	p.t.Helper()
	x, y := p.centre(selector)
	p.do(chromedp.MouseEvent(chromedp.MousePressed, x, y, chromedp.ButtonLeft))
	for k := 1; k <= 12; k++ {
		f := float64(k) / 12
		p.do(chromedp.MouseEvent(chromedp.MouseMoved, x+f*dx, y+f*dy, chromedp.ButtonLeft))
	}
	p.do(chromedp.MouseEvent(chromedp.MouseReleased, x+dx, y+dy, chromedp.ButtonLeft))
}

// stationOf is where the shown layout has a place, in metres.
func (p *page) stationOf(role string) float64 {
	p.t.Helper()
	q, err := url.ParseQuery(strings.TrimPrefix(eval[string](p, `location.hash`), "#"))
	if err != nil {
		p.t.Fatal(err)
	}
	var m float64
	if _, err := fmt.Sscan(q.Get("own."+role), &m); err != nil {
		p.t.Fatalf("the address %v has no place for the %s", q, role)
	}
	return m
}

// wantFigures holds the page's figures against a layout of the command line.
func (p *page) wantFigures(l *plan.Layout, system quantity.System) {
	p.t.Helper()
	length := func(v plan.Number) string { return quantity.Format(system, quantity.Length, float64(v)) }
	for key, want := range map[string]string{
		"water":    quantity.Format(system, quantity.DailyVolume, float64(l.DeliveredLDay)/1000/86400),
		"head":     length(l.DriveHeadM),
		"cost":     l.Cost.Text(),
		"chance":   l.Chance(),
		"lift":     length(l.Delivery.LiftM),
		"drive":    length(l.Drive.LengthM),
		"delivery": length(l.Delivery.LengthM),
		"pump_at":  length(l.Pump.StationM),
	} {
		if got := p.figure(key); got != want {
			p.t.Errorf("%s: the page says %q, the command line %q", key, got, want)
		}
	}
}

// TestPageShowsThePlan opens the page of both sites and finds the figures of
// the command line on it, and in the other units.
func TestPageShowsThePlan(t *testing.T) {
	for _, name := range demoNames {
		t.Run(name, func(t *testing.T) {
			p := openPage(t, name, "", 1280, 800)
			made := planDemo(t, name)
			p.wantFigures(&made.Layouts[0], made.System())
			if got := eval[int](p, `document.querySelectorAll("#panel .card").length`); got != len(made.Layouts) {
				t.Errorf("%d layouts are shown, %d were found", got, len(made.Layouts))
			}
			other, system := "us", quantity.US
			if made.System() == quantity.US {
				other, system = "si", quantity.SI
			}
			p.do(chromedp.Click(chromedp.CSS(fmt.Sprintf(`[data-units=%s]`, other))))
			p.until(fmt.Sprintf(`document.querySelector("[data-units=%s]").ariaPressed === "true" && !document.body.hasAttribute("data-busy")`, other))
			p.wantFigures(&made.Layouts[0], system)
			if !strings.Contains(eval[string](p, `location.hash`), "units="+other) {
				t.Error("the address does not hold the units")
			}
		})
	}
}

// TestPageMovesThePump drags the pump on the map and in the profile: the
// figures follow and are those of the command line with the same places.
func TestPageMovesThePump(t *testing.T) {
	for _, view := range []struct {
		name, handle string
		dx, dy       float64
	}{{"map", "#map .marker.pump", 10, 60}, {"profile", "#profile .handle.pump .pin", 90, 0}} {
		t.Run(view.name, func(t *testing.T) {
			p := openPage(t, "fernhollow", "", 1280, 800)
			before := p.figure("water")
			p.drag(view.handle, view.dx, view.dy)
			p.until(`document.querySelector("#shown h2").textContent === "Your own"`)
			p.until(`document.querySelector("#shown [data-key=water] dd").firstChild.textContent !== ` + fmt.Sprintf("%q", before))
			time.Sleep(300 * time.Millisecond) // for the last answer
			p.ready()
			pump := p.stationOf("pump")
			flags := []string{"--set", fmt.Sprintf("pins.pump=%.2fm", pump)}
			for _, role := range []string{"intake", "standpipe"} {
				flags = append(flags, "--set", fmt.Sprintf("pins.%s=%.2fm", role, p.stationOf(role)))
			}
			made := planDemo(t, "fernhollow", append(flags, "--set", "pins.settling_box=none")...)
			if eval[bool](p, `document.querySelector("#shown .state").classList.contains("off")`) {
				if len(made.Layouts) > 0 && made.PinsWork() {
					t.Fatal("the page says that a limit is broken, the command line does not")
				}
				if eval[string](p, `document.getElementById("broken").textContent`) == "" {
					t.Error("the broken limit is not said in words")
				}
			} else {
				p.wantFigures(&made.Layouts[0], quantity.US)
			}

			// Held there, the rest is found anew: as route plan --pump-at finds it.
			p.do(chromedp.Click(chromedp.CSS(`[data-pin=pump]`)), chromedp.Click(chromedp.CSS(`#replan`)))
			p.until(`document.querySelector("#shown h2").textContent !== "Your own"`)
			p.ready()
			made = planDemo(t, "fernhollow", "--pump-at", fmt.Sprintf("%.2f m", pump))
			if len(made.Layouts) == 0 {
				t.Fatalf("nothing works with the pump at %.1f m; the drag went too far for this test", pump)
			}
			p.wantFigures(&made.Layouts[0], quantity.US)
		})
	}
}

// TestPageByKeyboard goes to the pump without a mouse, moves it, and finds the
// rest.
func TestPageByKeyboard(t *testing.T) {
	p := openPage(t, "eilwern", "", 1280, 800)
	walk := func(to string) {
		t.Helper()
		for range 80 {
			if eval[bool](p, `document.activeElement?.matches(`+fmt.Sprintf("%q", to)+`) ?? false`) {
				return
			}
			p.do(chromedp.KeyEvent(kb.Tab))
		}
		t.Fatalf("no way to %s by the tab key", to)
	}
	walk("#map .marker.pump")
	p.do(chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(kb.ArrowRight))
	p.until(`document.querySelector("#shown h2").textContent === "Your own"`)
	p.ready()
	moved := p.stationOf("pump")
	if was := float64(planDemo(t, "eilwern").Layouts[0].Pump.StationM); !(moved > was+2) {
		t.Errorf("two keys moved the pump from %.1f to %.1f m", was, moved)
	}
	walk("[data-pin=pump]")
	p.do(chromedp.KeyEvent(" "))
	walk("#replan")
	p.do(chromedp.KeyEvent(kb.Enter))
	p.until(`document.querySelector("#shown h2").textContent !== "Your own"`)
	p.ready()
	if !eval[bool](p, `document.querySelector("[data-pin=pump]").checked`) {
		t.Error("the pump is not held any more")
	}
	walk("[role=tab]")
	p.do(chromedp.KeyEvent(kb.ArrowRight))
	if got := eval[string](p, `document.activeElement.dataset.tab`); got != "compare" {
		t.Errorf("the arrow leads to %q", got)
	}
}

// TestPageTakesAReading enters a measured drop and holds the plan against that
// of the command line with the same reading.
func TestPageTakesAReading(t *testing.T) {
	p := openPage(t, "fernhollow", "#show=visit", 1280, 800)
	visits := planDemo(t, "fernhollow").Visits
	if len(visits) == 0 {
		t.Fatal("the plan of the demo names nothing to measure: there is nothing to enter on the page")
	}
	v := visits[0]
	unit, perSI, _ := quantity.Unit(quantity.US, quantity.Length)
	drop := fmt.Sprintf("%.2f", (float64(v.DropM)-0.5*float64(v.DropSigmaM))*perSI)
	p.do(chromedp.SendKeys(chromedp.CSS("#drop-1"), drop), chromedp.Click(chromedp.CSS(".entry button")))
	p.until(`document.querySelectorAll(".entered li").length === 1`)
	p.ready()

	site, err := plan.OpenSite(demo(t, "fernhollow"))
	if err != nil {
		t.Fatal(err)
	}
	reading, err := plan.ParseFieldReading(fmt.Sprintf(`{drop: "%s %s", from: "%.1f m", to: "%.1f m", by: %s, sigma: "%.3f m"}`, drop, unit, float64(v.From.StationM), float64(v.To.StationM), v.Instrument, float64(v.SigmaM)))
	if err != nil {
		t.Fatal(err)
	}
	site.Field = append(site.Field, reading)
	made, err := plan.Run(t.Context(), site, nil)
	if err != nil {
		t.Fatal(err)
	}
	p.wantFigures(&made.Layouts[0], quantity.US)
	p.do(chromedp.Click(chromedp.CSS(".entered button")))
	p.until(`document.querySelectorAll(".entered li").length === 0`)
	p.ready()
	p.wantFigures(&planDemo(t, "fernhollow").Layouts[0], quantity.US)
}

// TestPageAddressHoldsTheState opens the address of one page in another.
func TestPageAddressHoldsTheState(t *testing.T) {
	pump := float64(planDemo(t, "fernhollow").Layouts[0].Pump.StationM)
	hash := fmt.Sprintf("#units=si&show=compare&pin.pump=%.2f", pump+4)
	p := openPage(t, "fernhollow", hash, 1280, 800)
	made := planDemo(t, "fernhollow", "--pump-at", fmt.Sprintf("%.2f m", pump+4))
	p.wantFigures(&made.Layouts[0], quantity.SI)
	if !eval[bool](p, `document.querySelector("[data-pin=pump]").checked && document.getElementById("tab-compare").ariaSelected === "true"`) {
		t.Error("the pin or the tab got lost")
	}
}

// TestPageSaves writes the pins into the site file, and the page starts again
// from it.
func TestPageSaves(t *testing.T) {
	p := openPage(t, "fernhollow", "#show=take", 1280, 800)
	before, err := os.ReadFile(p.file)
	if err != nil {
		t.Fatal(err)
	}
	p.do(chromedp.Click(chromedp.CSS("[data-pin=pump]")), chromedp.Click(chromedp.CSS("#save")))
	for range 200 { // until the page has begun again, which no poll outlives
		if _, err := chromedp.Run(p.ctx, chromedp.Poll[bool](`!document.getElementById("say").hidden`, chromedp.WithPollingTimeout(time.Second))); err == nil {
			break
		}
	}
	p.until(`document.getElementById("say-text").textContent.startsWith("Saved")`)
	after, err := os.ReadFile(p.file)
	if err != nil {
		t.Fatal(err)
	}
	made := planDemo(t, "fernhollow")
	want := fmt.Sprintf("%spins:\n  pump: \"%.2f ft\"\n", before, float64(made.Layouts[0].Pump.StationM)/0.3048)
	if string(after) != want {
		t.Errorf("the site file is now\n%s", after)
	}
	p.ready()
	if !eval[bool](p, `document.querySelector("[data-pin=pump]").checked`) {
		t.Error("the pin of the file is not shown")
	}
}

// TestPageFitsANarrowScreen holds that nothing sticks out on a telephone, and
// that a finger moves the pump.
func TestPageFitsANarrowScreen(t *testing.T) {
	p := openPage(t, "fernhollow", "", 360, 740)
	for _, tab := range []string{"layouts", "compare", "visit", "take"} {
		eval[chromedp.Void](p, fmt.Sprintf(`document.getElementById("tab-%s").click()`, tab))
		if got := eval[float64](p, `document.documentElement.scrollWidth`); got > 360 {
			t.Errorf("%s: the page is %v pixels wide", tab, got)
		}
	}
	eval[chromedp.Void](p, `scrollTo(0, 0)`)
	x, y := p.centre("#map .marker.pump")
	touch := func(kind input.DispatchTouchEventType, points ...*input.TouchPoint) {
		t.Helper()
		if _, err := chromedp.Call(p.ctx, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: kind, TouchPoints: points}); err != nil {
			t.Fatal(err)
		}
	}
	touch(input.DispatchTouchEventTypeTouchStart, &input.TouchPoint{X: x, Y: y})
	for k := 1; k <= 6; k++ {
		touch(input.DispatchTouchEventTypeTouchMove, &input.TouchPoint{X: x, Y: y + float64(5*k)})
	}
	touch(input.DispatchTouchEventTypeTouchEnd)
	p.until(`document.querySelector("#shown h2").textContent === "Your own"`)
	p.ready()
}

// TestPageIsAccessible runs axe-core, an independent reader of the WCAG rules,
// over every panel, light and dark.
func TestPageIsAccessible(t *testing.T) {
	axe, err := os.ReadFile("../../web/node_modules/axe-core/axe.min.js")
	if err != nil {
		t.Skipf("left out: axe-core, which make web takes from npm, is not in web/node_modules: %v", err)
	}
	p := openPage(t, "fernhollow", "", 1280, 800)
	eval[chromedp.Void](p, string(axe)+";undefined")
	for _, theme := range []string{"light", "dark"} {
		eval[chromedp.Void](p, fmt.Sprintf(`document.documentElement.dataset.theme = %q; undefined`, theme))
		for _, tab := range []string{"layouts", "compare", "visit", "take"} {
			eval[chromedp.Void](p, fmt.Sprintf(`document.getElementById("tab-%s").click()`, tab))
			eval[chromedp.Void](p, `window.axed = null; axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}).then(r => { window.axed = JSON.stringify(r.violations.map(v => ({id: v.id, impact: v.impact, nodes: v.nodes.map(n => n.html.slice(0, 160) + " " + n.failureSummary)}))); }); undefined`)
			p.until(`window.axed !== null`)
			var found []struct {
				ID, Impact string
				Nodes      []string
			}
			if err := json.Unmarshal([]byte(eval[string](p, `window.axed`)), &found); err != nil {
				t.Fatal(err)
			}
			for _, f := range found {
				t.Errorf("%s, %s: %s (%s)\n%s", theme, tab, f.ID, f.Impact, strings.Join(f.Nodes, "\n"))
			}
		}
	}
}

// TestPageHandsOutFiles takes every hand-off file by its button; the bytes are
// those that route plan writes.
func TestPageHandsOutFiles(t *testing.T) {
	p := openPage(t, "fernhollow", "#show=take", 1280, 800)
	names := eval[[]string](p, `[...document.querySelectorAll("[data-file]")].map(b => b.dataset.file)`)
	written := handOver(t, "fernhollow")
	entries, err := os.ReadDir(written.dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if !e.IsDir() && !slices.Contains(names, e.Name()) {
			t.Errorf("there is no button for %s", e.Name())
		}
	}
	eval[chromedp.Void](p, `window.taken = {}; URL.createObjectURL = (b) => { b.bytes().then(v => { window.taken[window.asked] = btoa(Array.from(v, c => String.fromCharCode(c)).join("")); }); return "#"; }; HTMLAnchorElement.prototype.click = function () {}; undefined`)
	for _, name := range names {
		eval[chromedp.Void](p, fmt.Sprintf(`window.asked = %q; document.querySelector('[data-file=%q]').click()`, name, name))
		p.until(fmt.Sprintf(`window.taken[%q] !== undefined`, name))
		got, err := base64.StdEncoding.DecodeString(eval[string](p, fmt.Sprintf(`window.taken[%q]`, name)))
		if err != nil {
			t.Fatal(err)
		}
		want, err := os.ReadFile(filepath.Join(written.dir, name))
		if err != nil {
			t.Errorf("route plan does not write %s", name)
			continue
		}
		if name == packet.File { // its pages, which are compressed, name the folder of the site
			if !bytes.HasPrefix(got, []byte("%PDF-")) || len(got) < len(want)*9/10 {
				t.Errorf("%s is not what route plan prints", name)
			}
			continue
		}
		if here := bytes.ReplaceAll(got, []byte(filepath.Dir(p.file)), []byte(filepath.Dir(written.dir))); !bytes.Equal(here, want) {
			t.Errorf("%s differs from what route plan writes: %s", name, firstDifference(here, want))
		}
	}
}
