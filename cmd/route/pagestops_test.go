package main

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"route/internal/web"
)

// TestMapWithoutATank says how the page can begin when the site file has no
// tank yet.
func TestMapWithoutATank(t *testing.T) {
	if !web.Built() {
		t.Skip("left out: internal/web/dist has no map page; make web builds it, with Node 18 or newer and npm")
	}
	file := copySite(t, "fernhollow")
	content, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, regexp.MustCompile(`(?m)^tank:.*$`).ReplaceAll(content, nil), 0o644); err != nil {
		t.Fatal(err)
	}
	code, _, errs := route("map", file, "--no-open")
	if code != exitFailed || !strings.Contains(errs, "the tank has no place") || !strings.Contains(errs, "the page can move it") {
		t.Errorf("exit code %d: %s", code, errs)
	}
}

// TestPageStops presses Stop while the luck of the search is being worked out:
// what was shown stays, the page says so, and the server goes on.
func TestPageStops(t *testing.T) {
	p := openPage(t, "fernhollow", "", 1280, 800)
	eval[chromedp.Void](p, `document.querySelector("[data-units=si]").click(); undefined`)
	p.until(`document.getElementById("busy-step").textContent.includes("%")`)
	eval[chromedp.Void](p, `document.getElementById("stop").click(); undefined`)
	p.until(`document.getElementById("say-text").textContent.startsWith("Stopped")`)
	eval[chromedp.Void](p, `document.querySelector("[data-units=si]").click(); undefined`)
	p.until(`document.querySelector("[data-units=si]").ariaPressed === "true" && !document.body.hasAttribute("data-busy")`)
}
