package main

import (
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"route/internal/plan"
)

// progress shows the step at work on a terminal and nothing anywhere else. It
// is safe for concurrent use.
type progress struct {
	mu     sync.Mutex
	out    io.Writer // nil when nothing is to be shown
	last   time.Time
	length int // of what stands on the line
}

// newProgress shows progress on w when w is a terminal.
func newProgress(w io.Writer) *progress {
	file, ok := w.(*os.File)
	if !ok {
		return &progress{}
	}
	info, err := file.Stat()
	if err != nil || info.Mode()&os.ModeCharDevice == 0 || os.Getenv("TERM") == "dumb" {
		return &progress{}
	}
	return &progress{out: w}
}

// show replaces the line; done of total is left out when total is 0.
func (p *progress) show(step string, done, total int) {
	if p.out == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if time.Since(p.last) < 80*time.Millisecond && done != 0 {
		return
	}
	p.last = time.Now()
	line := step + " …"
	if total > 0 {
		line = fmt.Sprintf("%s … %d %%", step, 100*done/total)
	}
	fmt.Fprintf(p.out, "\r%-*s", p.length, line)
	p.length = len(line)
}

// clear takes the line away.
func (p *progress) clear() {
	if p.out == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	fmt.Fprintf(p.out, "\r%*s\r", p.length, "")
	p.length = 0
}

// plan plans a site and shows how far it is.
func (s *session) plan(site *plan.Site) (*plan.Plan, error) {
	bar := newProgress(s.stderr)
	defer bar.clear()
	return plan.Run(s.ctx, site, func(at plan.Progress) { bar.show(at.Step, at.Done, at.Total) })
}
