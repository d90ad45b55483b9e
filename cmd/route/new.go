package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"route/internal/finding"
	"route/internal/plan"
)

// newCommand is `route new`.
type newCommand struct {
	Dir string `arg:"" help:"The folder to write into; it is made when it does not exist." placeholder:"DIR"`
}

// Help is shown below the flags.
func (newCommand) Help() string {
	return `Example:
  route new my-place`
}

// Run writes the starter site file; it never replaces one.
func (c *newCommand) Run(s *session) error {
	if err := os.MkdirAll(c.Dir, 0o755); err != nil {
		return &finding.Fault{Code: "folder_unwritable", File: c.Dir, Text: err.Error(), Err: err}
	}
	name := filepath.Join(c.Dir, "site.yaml")
	file, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return &finding.Fault{Code: "site_exists", File: name, Text: "is there already and is left as it is", Hint: "give another folder", Err: err}
	}
	if err != nil {
		return &finding.Fault{Code: "folder_unwritable", File: name, Text: err.Error(), Err: err}
	}
	if _, err := file.WriteString(plan.StarterSite()); err != nil {
		file.Close()
		return err
	}
	if err := file.Close(); err != nil {
		return err
	}
	if s.json {
		return s.printJSON(map[string]string{"site": name})
	}
	fmt.Fprintf(s.stdout, "%s\n", name)
	fmt.Fprintf(s.stderr, "Fill in terrain, creek and tank, then: route inspect %s\n", name)
	return nil
}
