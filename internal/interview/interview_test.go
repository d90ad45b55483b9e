package interview

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"

	"route/internal/finding"
	"route/internal/plan"
)

// Whatever is answered, the interview ends: with what reads as settings, or
// with a fault that says that it was stopped.
func FuzzAsk(f *testing.F) {
	f.Add("Mill Creek\nus\nground.tif\n")
	f.Add("\n\n\nback\nback\nname: x\n")
	f.Fuzz(func(t *testing.T, answers string) {
		got, err := Ask(context.Background(), strings.NewReader(answers), io.Discard, t.TempDir())
		if err == nil {
			if _, err := plan.ReadSettings("site.yaml", strings.NewReader(got.Text)); err != nil {
				t.Errorf("what was written is refused: %v", err)
			}
			return
		}
		var fault *finding.Fault
		if !errors.Is(err, Stopped) && !errors.As(err, &fault) {
			t.Errorf("ended with %v", err)
		}
	})
}

// Any name survives the way through the site file, but for what no line of a
// terminal holds.
func FuzzName(f *testing.F) {
	for _, name := range []string{"Mill Creek", `a "b" \c: {d} #e`, "ü – 水", "'", "yes", "0x1"} {
		f.Add(name)
	}
	f.Fuzz(func(t *testing.T, name string) {
		clean := strings.TrimSpace(strings.ToValidUTF8(name, ""))
		for _, r := range clean {
			if r < ' ' || r == 0x7f || r == 0x85 || r == '\u2028' || r == '\u2029' || r == '\ufeff' || r >= 0x80 && r < 0xa0 {
				return
			}
		}
		if clean == "" {
			return
		}
		site, err := plan.ReadSettings("site.yaml", strings.NewReader("name: "+quote(clean)+"\n"))
		if err != nil {
			t.Fatal(err)
		}
		if site.Name != clean {
			t.Errorf("%q became %q", clean, site.Name)
		}
	})
}

// The names of folders go into commands that are typed.
func TestFolderName(t *testing.T) {
	for name, want := range map[string]string{"Mill Creek": "mill-creek", "  ": "my-place", "../../etc": "etc", "Bäck & Söhne": "bäck-söhne"} {
		if got := folderName(name); got != want {
			t.Errorf("%q gives %q, want %q", name, got, want)
		}
	}
}
