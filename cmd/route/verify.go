package main

import (
	"fmt"
	"math"
	"strings"
	"text/tabwriter"

	"route/internal/check"
	"route/internal/check/values"
)

// verifyCommand is `route verify`.
type verifyCommand struct {
	Only   string `help:"Run only the cases whose op, source or file holds these words." placeholder:"WORDS"`
	Failed bool   `help:"Print only what fails."`
}

// Help is shown below the flags.
func (verifyCommand) Help() string {
	return `Every check value has a source outside this program: a standard, a handbook, another program, a closed form, or, where that is the truth, common practice.

Examples:
  route verify
  route verify --only Crane
  route verify --json`
}

// verdictJSON is one value of the JSON answer.
type verdictJSON struct {
	Op       string   `json:"op"`
	Name     string   `json:"name"`
	Source   string   `json:"source"`
	Expected string   `json:"expected"`
	Got      string   `json:"got"`
	Off      *float64 `json:"off"` // relative; null where that means nothing
	Pass     bool     `json:"pass"`
	File     string   `json:"file"`
	Line     int      `json:"line"`
}

// Run works out every check value and says which hold.
func (c *verifyCommand) Run(s *session) error {
	cases, err := values.All()
	if err != nil {
		return err
	}
	ops := values.Ops()
	list := []verdictJSON{}
	passed, run := 0, 0
	for _, k := range cases {
		if s.ctx.Err() != nil {
			return s.ctx.Err()
		}
		if !c.wants(k) {
			continue
		}
		for _, o := range k.Run(ops) {
			run++
			if o.Pass {
				passed++
			}
			if !c.Failed || !o.Pass {
				list = append(list, verdict(o))
			}
		}
	}
	if s.json {
		err = s.printJSON(map[string]any{"run": run, "passed": passed, "failed": run - passed, "values": list})
	} else {
		err = printVerdicts(s, list, run, passed)
	}
	switch {
	case err != nil:
		return err
	case run == 0:
		return &usageError{text: fmt.Sprintf("no check value holds the words %q", c.Only)}
	case passed < run && s.json:
		return &reportedError{}
	case passed < run:
		return fmt.Errorf("%d of %d check values fail on this machine", run-passed, run)
	}
	return nil
}

func (c *verifyCommand) wants(k check.Case) bool {
	words := strings.ToLower(c.Only)
	return strings.Contains(strings.ToLower(k.Op+"\n"+k.Source+"\n"+k.File), words)
}

func verdict(o check.Outcome) verdictJSON {
	v := verdictJSON{Op: o.Case.Op, Name: o.Name, Source: o.Case.Source, Expected: o.Expected, Got: o.Got, Pass: o.Pass, File: o.Case.File, Line: o.Case.Line}
	if !math.IsNaN(o.Off) {
		v.Off = &o.Off
	}
	return v
}

func printVerdicts(s *session, list []verdictJSON, run, passed int) error {
	t := tabwriter.NewWriter(s.stdout, 0, 0, 2, ' ', 0)
	last := ""
	for _, v := range list {
		if v.Source != last {
			t.Flush()
			fmt.Fprintf(s.stdout, "\n%s\n", v.Source)
			last = v.Source
		}
		word, off := "holds", ""
		if !v.Pass {
			word = "FAILS"
		}
		if v.Off != nil {
			off = fmt.Sprintf("%+.2f %%", 100**v.Off)
		}
		fmt.Fprintf(t, "  %s\t%s: %s\texpected %s\tgot %s\t%s\t%s:%d\n", word, v.Op, v.Name, v.Expected, v.Got, off, v.File, v.Line)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintf(s.stdout, "\n%d check values, %d hold.\n", run, passed)
	return err
}
