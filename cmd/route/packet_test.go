package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"route/internal/commission"
)

// pdfText is what pdftotext reads on the pages of a file.
func pdfText(t testing.TB, file string) string {
	t.Helper()
	text, err := exec.Command(tool(t, "pdftotext", "poppler-utils"), "-layout", file, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	return strings.Join(strings.Fields(string(text)), " ")
}

// The folder's packet is sound, on the readers' paper, and shows every stake
// with its check, and every line to buy.
func TestHandOffPacket(t *testing.T) {
	qpdf, pdfinfo := tool(t, "qpdf", "qpdf"), tool(t, "pdfinfo", "poppler-utils")
	onDemos(t, func(t *testing.T, h *handedOver) {
		file := filepath.Join(h.dir, "packet.pdf")
		if text, err := exec.Command(qpdf, "--check", file).CombinedOutput(); err != nil {
			t.Errorf("%v\n%s", err, text)
		}
		size := map[string]string{"us": "(letter)", "si": "(A4)"}[h.plan.Units]
		if text, err := exec.Command(pdfinfo, file).Output(); err != nil || !strings.Contains(string(text), size) {
			t.Errorf("%v: not on %s:\n%s", err, size, text)
		}
		text := pdfText(t, file)
		l := &h.plan.Layouts[0]
		for _, s := range l.Stakes {
			words := []string{s.Label}
			if s.Check != nil {
				words = append(words, s.Check.Text[:40])
			}
			for _, w := range words {
				if !strings.Contains(text, w) {
					t.Errorf("no page says %q", w)
				}
			}
		}
		// What the crew reads has the names that route commission takes.
		_, rows, _ := strings.Cut(text, "in readings.csv ")
		rows, _, _ = strings.Cut(rows, "Water outside its band")
		for _, kind := range []commission.Kind{commission.PoolLevel, commission.StandpipeRuns, commission.Beats, commission.GaugeRuns, commission.GaugeRest, commission.Delivered, commission.WasteFlow} {
			if !strings.Contains(rows, " "+string(kind)+" ") {
				t.Errorf("no row of the readings is called %q", kind)
			}
		}
		for _, line := range l.Takeoff {
			if !strings.Contains(text, line.Name) {
				t.Errorf("no page lists %q", line.Name)
			}
		}
	})
}

// A packet of another layout, on other paper; none; and papers that nobody has.
func TestPacketCommand(t *testing.T) {
	site := demo(t, "fernhollow")
	out := filepath.Join(t.TempDir(), "second.pdf")
	if code, stdout, stderr := route("packet", site, "--layout", "B", "--paper", "a4", "--out", out, "--set", "replans=0"); code != exitDone || !strings.Contains(stdout, out) {
		t.Fatalf("%d: %s%s", code, stdout, stderr)
	}
	if text := pdfText(t, out); !strings.Contains(text, "Fernhollow, layout B") {
		t.Error("the packet is not that of layout B")
	}
	dir := t.TempDir()
	if code, stdout, stderr := route("plan", site, "--packet", "none", "--out", dir, "--set", "replans=0"); code != exitDone {
		t.Fatalf("%d: %s%s", code, stdout, stderr)
	}
	if _, err := os.Stat(filepath.Join(dir, "packet.pdf")); err == nil {
		t.Error("a packet was printed although none was asked for")
	}
	if err := os.WriteFile(filepath.Join(dir, "packet.pdf"), []byte("earlier"), 0o666); err != nil {
		t.Fatal(err)
	}
	if code, _, stderr := route("plan", site, "--packet", "none", "--out", dir, "--set", "replans=0"); code != exitDone || !strings.Contains(stderr, "packet.pdf is of an earlier plan") {
		t.Errorf("%d: an earlier packet is left without a word: %s", code, stderr)
	}
	for _, args := range [][]string{{"plan", site, "--packet", "a5"}, {"packet", site, "--paper", "none"}, {"packet", site, "--layout", "Z", "--out", out}} {
		if code, _, stderr := route(args...); code != exitUsage || stderr == "" {
			t.Errorf("%v: exit code %d, %s", args, code, stderr)
		}
	}
	if info, err := os.Stat(out); err != nil || info.Size() < 10000 {
		t.Errorf("the earlier packet was damaged: %v", err)
	}
}
