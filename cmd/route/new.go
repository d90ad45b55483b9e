package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"route/internal/finding"
	"route/internal/interview"
	"route/internal/plan"
)

// newCommand is `route new`.
type newCommand struct {
	Dir string `arg:"" optional:"" help:"The folder to write into; it is made when it does not exist. Left out, the name of the place gives it." placeholder:"DIR"`
	Ask *bool  `help:"Ask for what a first plan needs. On a terminal this is so anyway; --no-ask writes a starter to fill in." negatable:""`
}

// Help is shown below the flags.
func (newCommand) Help() string {
	return `Asks for terrain, creek, tank, flow and demand, checks every answer, and writes
the site file. Without a terminal it writes a starter with every setting.

Examples:
  route new
  route new my-place --no-ask`
}

// Run writes a site file; it never replaces one.
func (c *newCommand) Run(s *session) error {
	ask := !s.json && isTerminal(s.stdin)
	if c.Ask != nil {
		ask = *c.Ask
	}
	if !ask && c.Dir == "" {
		return &usageError{text: "say which folder to write into", hint: "route new my-place; or route new --ask to be asked for everything"}
	}
	if c.Dir != "" {
		name := filepath.Join(c.Dir, "site.yaml")
		if _, err := os.Lstat(name); err == nil {
			return siteExists(name, fs.ErrExist)
		}
	}
	if !ask {
		name, err := writeNew(c.Dir, plan.StarterSite())
		return c.written(s, name, err, "Fill in terrain, creek and tank, then: route inspect %s\n")
	}
	site, err := interview.Ask(s.ctx, s.stdin, s.stderr, c.Dir)
	if err != nil {
		return err
	}
	name, err := writeNew(site.Folder, site.Text)
	return c.written(s, name, err, "\nThe site file is written. What to type next:\n  route plan %s\n")
}

// written says what was written and what to do next.
func (c *newCommand) written(s *session, name string, err error, next string) error {
	if err != nil {
		return err
	}
	if s.json {
		return s.printJSON(map[string]string{"site": name})
	}
	fmt.Fprintf(s.stderr, next, name)
	_, err = fmt.Fprintln(s.stdout, name)
	return err
}

// writeNew writes a site file into a folder that has none and gives its name.
func writeNew(dir, text string) (string, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", &finding.Fault{Code: "folder_unwritable", File: dir, Text: err.Error(), Err: err}
	}
	name := filepath.Join(dir, "site.yaml")
	file, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return "", siteExists(name, err)
	}
	if err != nil {
		return "", &finding.Fault{Code: "folder_unwritable", File: name, Text: err.Error(), Err: err}
	}
	if _, err := file.WriteString(text); err != nil {
		return "", errors.Join(err, file.Close())
	}
	return name, file.Close()
}

func siteExists(name string, err error) error {
	return &finding.Fault{Code: "site_exists", File: name, Text: "is there already and is left as it is", Hint: "give another folder", Err: err}
}

// isTerminal says whether somebody can answer there; the null device is a
// character device, too, and answers nothing.
func isTerminal(r io.Reader) bool {
	file, ok := r.(*os.File)
	if !ok {
		return false
	}
	info, err := file.Stat()
	if err != nil || info.Mode()&os.ModeCharDevice == 0 {
		return false
	}
	null, err := os.Stat(os.DevNull)
	return err != nil || !os.SameFile(info, null)
}
