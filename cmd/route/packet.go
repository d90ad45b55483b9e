package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"route/internal/export"
	"route/internal/finding"
	"route/internal/packet"
	"route/internal/plan"
)

// packetCommand is `route packet`.
type packetCommand struct {
	siteFlags
	Layout string `help:"Layout to print; the best when this is not given." placeholder:"LETTER"`
	Paper  string `help:"Paper: a4 or letter. The usual one is letter where feet are printed, else a4." placeholder:"PAPER"`
	Out    string `help:"File to write; the usual one is packet.pdf, packet-B.pdf for layout B, beside the site file." placeholder:"FILE"`
}

// Help is shown below the flags.
func (packetCommand) Help() string {
	return `Examples:
  route packet demo/fernhollow/site.yaml
  route packet site.yaml --layout B --paper a4 --out second.pdf`
}

// Run plans and prints.
func (c *packetCommand) Run(s *session) error {
	if err := checkPaper("--paper", c.Paper); err != nil {
		return err
	}
	site, err := c.load(s)
	if err != nil {
		return err
	}
	p, err := s.plan(site)
	if err != nil {
		return err
	}
	known := slices.ContainsFunc(p.Layouts, func(l plan.Layout) bool { return l.ID == c.Layout })
	if c.Layout != "" && !known {
		return &usageError{text: fmt.Sprintf("--layout %s: this plan has %s", c.Layout, layoutNames(p))}
	}
	var b bytes.Buffer
	if err := packet.Write(&b, p, packet.Options{Paper: packet.Paper(c.Paper), Layout: c.Layout}); err != nil {
		return err
	}
	out := c.file()
	if err := replaceFile(out, b.Bytes()); err != nil {
		return &finding.Fault{Code: "file_unwritable", File: out, Text: err.Error(), Hint: "choose another file: --out FILE", Err: err}
	}
	s.warned = p.Warned()
	if s.json {
		err = s.printJSON(map[string]string{"packet": out})
	} else {
		_, err = fmt.Fprintf(s.stdout, "The field packet: %s\n", out)
	}
	if err == nil && len(p.Layouts) == 0 {
		return &infeasibleError{text: "no layout is feasible"}
	}
	return err
}

func layoutNames(p *plan.Plan) string {
	if len(p.Layouts) == 0 {
		return "no layout"
	}
	return "layouts " + p.Layouts[0].ID + " to " + p.Layouts[len(p.Layouts)-1].ID
}

func (c *packetCommand) file() string {
	if c.Out != "" {
		return c.Out
	}
	name := packet.File
	if c.Layout != "" {
		name = "packet-" + c.Layout + ".pdf"
	}
	if c.Site == "" || c.Site == "-" {
		return name
	}
	return filepath.Join(filepath.Dir(c.Site), name)
}

// replaceFile writes a file beside its place and renames it, so that a failure
// leaves what was there before.
func replaceFile(path string, content []byte) error {
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		return errors.New("a folder has this name")
	} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	file, err := os.CreateTemp(filepath.Dir(path), ".unfinished-*")
	if err != nil {
		return err
	}
	_, err = file.Write(content)
	err = errors.Join(err, file.Close(), os.Chmod(file.Name(), 0o644))
	if err == nil {
		err = os.Rename(file.Name(), path)
	}
	if err != nil {
		os.Remove(file.Name())
	}
	return err
}

// checkPaper refuses a paper that nobody prints on; more are words that are
// understood besides.
func checkPaper(flag, paper string, more ...string) error {
	known := append([]string{"", string(packet.A4), string(packet.Letter)}, more...)
	if !slices.Contains(known, paper) {
		return &usageError{text: fmt.Sprintf("%s %q is not known", flag, paper), hint: "a4 or letter"}
	}
	return nil
}

// packetExtra is the packet as a file of the hand-off folder.
func packetExtra(p *plan.Plan, paper string) []export.Extra {
	if paper == "none" {
		return nil
	}
	return []export.Extra{{Name: packet.File, Write: func(w io.Writer) error {
		return packet.Write(w, p, packet.Options{Paper: packet.Paper(paper)})
	}}}
}
