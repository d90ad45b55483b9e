package architecture

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// unwanted lists what no file of the repository may hold. The patterns are
// written so that they do not match themselves.
var unwanted = []struct {
	pattern *regexp.Regexp
	reason  string
}{
	{regexp.MustCompile(`\b(TO[D]O|FIX[M]E|XX[X]|HA[C]K)\b`), "a note to finish later belongs to an issue"},
	{regexp.MustCompile(`(?i)not (yet )?imple[m]ented`), "there are no stubs"},
	{regexp.MustCompile(`(^|[\s"'=(:])/(wor[k]|roo[t]|hom[e]|User[s])/`), "a path of one machine means nothing on another"},
	{regexp.MustCompile(`registry\.npm[j]s\.org|proxy\.golan[g]\.org|deb\.debia[n]\.org|pyp[i]\.org`), "which registry serves a package is the machine's own business"},
}

func TestWording(t *testing.T) {
	read := 0
	walk(t, func(name string) {
		if slices.Contains([]string{"go.sum"}, name) {
			return
		}
		text, err := os.ReadFile(filepath.Join(root, name))
		if err != nil {
			t.Fatal(err)
		}
		if len(text) > 4<<20 || bytes.IndexByte(text[:min(len(text), 8000)], 0) >= 0 {
			return // data
		}
		read++
		line := 0
		for text := range strings.Lines(string(text)) {
			line++
			for _, u := range unwanted {
				if found := u.pattern.FindString(text); found != "" {
					t.Errorf("%s:%d: %q: %s", name, line, strings.TrimSpace(found), u.reason)
				}
			}
		}
	})
	if read < 10 {
		t.Fatalf("only %d files were read", read)
	}
}
