package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"route/internal/plan"
	"route/internal/quantity"
	"route/internal/web"
)

// TestPageUnderTheHand goes through what a hand does with one page, one thing
// after the other: parts taken away and added, an own layout kept and compared,
// a point of the front, a click on the creek, another place for the tank.
func TestPageUnderTheHand(t *testing.T) {
	if !web.Built() || testing.Short() {
		t.Skip("left out: -short, or internal/web/dist has no map page, which make web builds")
	}
	file := copySite(t, "fernhollow")
	content, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	// The luck of the search takes most of a plan's time and shows elsewhere.
	if err := os.WriteFile(file, append(content, "\nreplans: 0\n"...), 0o644); err != nil {
		t.Fatal(err)
	}
	planned := func(flags ...string) *plan.Plan {
		code, out, errs := route(append([]string{"plan", file, "--json", "--out", t.TempDir()}, flags...)...)
		var made plan.Plan
		if err := json.Unmarshal([]byte(out), &made); err != nil || code != exitDone {
			t.Fatalf("exit code %d (%v): %s", code, err, errs)
		}
		return &made
	}
	p, made := openPageWith(t, file, "", 1280, 800, ""), planned()
	own := `document.querySelector("#shown h2").textContent === "Your own" && !document.body.hasAttribute("data-busy")`
	hash := func() string { return eval[string](p, `location.hash`) }

	t.Run("parts", func(t *testing.T) {
		had := made.Layouts[0].SettlingBox != nil
		p.do(chromedp.Click(chromedp.CSS("[data-part=settling_box]")))
		p.until(own)
		p.until(fmt.Sprintf(`document.querySelector("[data-part=settling_box]").checked === %v`, !had))
		if strings.Contains(hash(), "own.settling_box=none") != had {
			t.Errorf("the box is not in the address as it is on the page: %s", hash())
		}
		p.do(chromedp.Click(chromedp.CSS("[data-part=standpipe]")))
		p.until(`!document.querySelector("[data-part=standpipe]").checked && document.querySelector("#map .marker.standpipe").getBoundingClientRect().width === 0`)
		if !strings.Contains(hash(), "own.standpipe=none") {
			t.Errorf("the standpipe is still in the address: %s", hash())
		}
		p.do(chromedp.Click(chromedp.CSS("[data-part=standpipe]")))
		p.until(`document.querySelector("[data-part=standpipe]").checked && !!document.querySelector("#shown [data-key=standpipe]")`)
	})
	t.Run("keep and compare", func(t *testing.T) {
		water := p.figure("water")
		p.do(chromedp.Click(chromedp.CSS("[data-keep=mine]")), chromedp.Click(chromedp.CSS("#tab-compare")))
		p.until(`[...document.querySelectorAll("#panel thead th")].some((h) => h.textContent === "Own 1")`)
		row := eval[[]string](p, `[...[...document.querySelectorAll("#panel tbody tr")].find((r) => r.querySelector("th").textContent === "Water a day").querySelectorAll("td")].map((c) => c.textContent)`)
		if len(row) != len(made.Layouts)+1 || row[len(row)-1] != water {
			t.Errorf("the comparison has %q, the own layout gives %q", row, water)
		}
		for k := range made.Layouts {
			if want := quantity.Format(quantity.US, quantity.DailyVolume, float64(made.Layouts[k].DeliveredLDay)/1000/86400); row[k] != want {
				t.Errorf("layout %s: the comparison says %q, the plan %q", made.Layouts[k].ID, row[k], want)
			}
		}
		if !strings.Contains(hash(), "keep=") {
			t.Errorf("the layout that was kept is not in the address: %s", hash())
		}
	})
	t.Run("front", func(t *testing.T) {
		last := len(made.Front) - 1
		if last < 1 {
			t.Fatal("the demo has no front to click on")
		}
		x, y := p.centre(".front .point:last-of-type .reach")
		p.do(chromedp.MouseClickXY(x, y))
		p.until(`document.querySelector(".front .chosen-point") !== null && document.querySelector("#shown h2").textContent !== "Own 1"`)
		p.ready()
		want := quantity.Format(quantity.US, quantity.DailyVolume, float64(made.Front[last].DeliveredLDay)/1000/86400)
		if got := p.figure("water"); got != want {
			t.Errorf("the last point of the front shows %q, the plan has %q", got, want)
		}
	})
	t.Run("why not here", func(t *testing.T) {
		var barred *plan.Reach
		for k := range made.Reaches {
			if r := &made.Reaches[k]; !r.DeliveredLDay.Known() && r.ToM-r.FromM > 20 {
				barred = r
			}
		}
		if barred == nil {
			t.Fatal("a pump works everywhere in the demo: there is nothing to ask")
		}
		p.do(chromedp.Click(chromedp.CSS("#fit-all")))
		time.Sleep(400 * time.Millisecond) // the map moves there
		// Pointing at the profile shows the place on the map; there the click goes.
		plot := eval[[]float64](p, `(() => { const r = document.querySelector("#profile svg").getBoundingClientRect(), g = document.querySelector("#plot rect").getBBox(); return [r.x + g.x, g.width, r.y + g.y + g.height / 2]; })()`)
		share := float64(barred.FromM+barred.ToM) / 2 / float64(made.Creek.LengthM)
		p.do(chromedp.MouseEvent(chromedp.MouseMoved, plot[0]+share*plot[1], plot[2]))
		p.until(`document.querySelector("#map .dot").getBoundingClientRect().width > 0`)
		x, y := p.centre("#map .dot")
		p.do(chromedp.MouseClickXY(x, y))
		p.until(`!document.getElementById("say").hidden`)
		said := eval[string](p, `document.getElementById("say-text").textContent`)
		if want := strings.TrimSuffix(plan.Sentence(barred.Text), "."); !strings.Contains(said, want) || !strings.Contains(said, "degrees") {
			t.Errorf("the click says %q, the plan %q", said, want)
		}
		eval[chromedp.Void](p, `[...document.querySelectorAll("#say button")].find((b) => b.textContent === "Put the pump here").click()`)
		p.until(own)
		if station := p.stationOf("pump"); math.Abs(station-share*float64(made.Creek.LengthM)) > 10 {
			t.Errorf("the pump was put at %.1f m, %.1f m was clicked", station, share*float64(made.Creek.LengthM))
		}
	})
	t.Run("tank", func(t *testing.T) {
		p.do(chromedp.Click(chromedp.CSS("[data-tab=layouts]")), chromedp.Click(chromedp.CSS(`[data-card=A]`)))
		p.until(`document.querySelector("#shown h2").textContent === "Layout A"`)
		time.Sleep(400 * time.Millisecond) // the map moves there
		p.drag("#map .marker.tank", 14, 9)
		p.until(`location.hash.includes("tank=")`)
		p.ready()
		at := eval[string](p, `new URLSearchParams(location.hash.slice(1)).get("tank")`)
		eval[chromedp.Void](p, fmt.Sprintf(`fetch("api/spot", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ units: "us", wish: { pins: {}, tank: [%s], readings: [] }, at: [%s] }) }).then((r) => r.json()).then((s) => { window.spot = s.copy; }), undefined`, at, at))
		p.until(`window.spot !== undefined`)
		p.do(chromedp.Click(chromedp.CSS(`[data-card=A]`)))
		p.until(`document.querySelector("#shown h2").textContent === "Layout A"`)
		there := planned("--tank", strings.ReplaceAll(eval[string](p, `window.spot`), " ", ""))
		p.wantFigures(&there.Layouts[0], quantity.US)
		if there.Layouts[0].Delivery.LengthM == made.Layouts[0].Delivery.LengthM {
			t.Error("the tank is where it was")
		}
	})
}
