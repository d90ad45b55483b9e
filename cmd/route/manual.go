package main

import (
	"os"
	"strconv"
	"time"

	"github.com/alecthomas/kong"

	"route/internal/manual"
	"route/internal/plan"
)

// manualCommand is `route manual`, which packaging uses; it is not listed.
type manualCommand struct {
	What string `arg:"" enum:"page,bash" help:"page for the manual page, bash for the completion of commands in bash."`
}

// Help is shown below the flags.
func (manualCommand) Help() string {
	return `Example:
  route manual page > route.1`
}

// Run writes the manual page or the completion. The page carries the day of
// SOURCE_DATE_EPOCH where that is set, so that a build can be repeated.
func (c *manualCommand) Run(s *session, k *kong.Context) error {
	if c.What == "bash" {
		return manual.BashCompletion(s.stdout, k.Model)
	}
	day := time.Now()
	if text := os.Getenv("SOURCE_DATE_EPOCH"); text != "" {
		seconds, err := strconv.ParseInt(text, 10, 64)
		if err != nil {
			return &usageError{text: "SOURCE_DATE_EPOCH is not a number of seconds: " + text}
		}
		day = time.Unix(seconds, 0)
	}
	return manual.Page(s.stdout, k.Model, plan.Version, day)
}
