package main

import (
	"bytes"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// mostShotBytes is what a picture of the page may take.
const mostShotBytes = 300_000

// TestShots takes the pictures of docs/ from the demo: make shots.
func TestShots(t *testing.T) {
	folder := os.Getenv("ROUTE_SHOTS")
	if folder == "" {
		t.Skip("left out: ROUTE_SHOTS is not set; make shots sets it to the folder for the pictures")
	}
	for _, shot := range []struct {
		name, site, hash string
		w, h             int64
		then             string
	}{
		{"page-desktop", "fernhollow", "", 1280, 800, ""},
		{"page-moved", "fernhollow", "#units=us&own.intake=612.05&own.settling_box=none&own.standpipe=660&own.pump=706&layout=mine", 1280, 800, ""},
		{"page-compare", "eilwern", "#units=si&show=compare", 1280, 1000, `document.getElementById("panel").scrollIntoView(); undefined`},
		{"page-dark", "eilwern", "", 1280, 800, `document.documentElement.dataset.theme = "dark"; undefined`},
		{"page-tablet", "fernhollow", "", 820, 1180, ""},
		{"page-phone", "fernhollow", "", 390, 844, ""},
	} {
		t.Run(shot.name, func(t *testing.T) {
			p := openPage(t, shot.site, shot.hash, shot.w, shot.h)
			if shot.then != "" {
				eval[chromedp.Void](p, shot.then)
			}
			time.Sleep(time.Second) // the map's pictures fade in
			content, err := chromedp.Run(p.ctx, chromedp.CaptureScreenshot())
			if err != nil {
				t.Fatal(err)
			}
			keepShot(t, filepath.Join(folder, shot.name+".png"), content)
		})
	}
	t.Run("page-print", func(t *testing.T) {
		p := openPage(t, "fernhollow", "", 1280, 800)
		content, err := chromedp.Run(p.ctx, chromedp.PrintToPDF(preferPageSize))
		if err != nil {
			t.Fatal(err)
		}
		sheet := filepath.Join(t.TempDir(), "print")
		pdf := exec.Command(tool(t, "pdftoppm", "poppler-utils"), "-png", "-r", "75", "-f", "1", "-l", "1", "-singlefile", "-", sheet)
		pdf.Stdin = bytes.NewReader(content)
		if out, err := pdf.CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		picture, err := os.ReadFile(sheet + ".png")
		if err != nil {
			t.Fatal(err)
		}
		keepShot(t, filepath.Join(folder, "page-print.png"), picture)
	})
}

// keepShot writes a picture with as few colours as the page has, which keeps it
// small.
func keepShot(t *testing.T, name string, content []byte) {
	t.Helper()
	picture, err := png.Decode(bytes.NewReader(content))
	if err != nil {
		t.Fatal(err)
	}
	small, err := fewColours(picture)
	if err != nil {
		t.Fatal(err)
	}
	if len(small) > mostShotBytes {
		t.Errorf("%s takes %d bytes, more than %d", name, len(small), mostShotBytes)
	}
	if err := os.WriteFile(name, small, 0o644); err != nil {
		t.Fatal(err)
	}
}
