// Package packet prints the field packet of a layout: the pages that a crew
// takes along, as one PDF with its fonts in it. It computes nothing about the
// design; it draws and writes what the Plan says.
package packet

import (
	"bytes"
	"fmt"
	"io"

	"route/internal/plan"
	"route/internal/quantity"
)

// Paper is the size of the pages.
type Paper string

// The papers.
const (
	A4     Paper = "a4"
	Letter Paper = "letter"
)

// File is the packet's name in the hand-off folder.
const File = "packet.pdf"

// Usual is the paper of a plan's readers: Letter where feet are read.
func Usual(p *plan.Plan) Paper {
	if p.System() == quantity.US {
		return Letter
	}
	return A4
}

// Options say how a packet is printed. The zero value prints the best layout on
// the readers' usual paper.
type Options struct {
	Paper  Paper
	Layout string // ID; "" for the best
}

// Write prints the packet of one layout. The same plan gives the same bytes. A
// plan without layouts becomes a page that says why there is none. The error
// names a paper or layout that does not exist, or is the writer's.
func Write(w io.Writer, p *plan.Plan, o Options) error {
	if o.Paper == "" {
		o.Paper = Usual(p)
	}
	if o.Paper != A4 && o.Paper != Letter {
		return fmt.Errorf("packet: there is no paper %q: a4 or letter", o.Paper)
	}
	var l *plan.Layout
	for i := range p.Layouts {
		if o.Layout == "" || p.Layouts[i].ID == o.Layout {
			l = &p.Layouts[i]
			break
		}
	}
	if l == nil && o.Layout != "" {
		return fmt.Errorf("packet: there is no layout %q", o.Layout)
	}
	s := newSheet(p, l, o.Paper)
	if l == nil {
		s.nothing()
	} else {
		s.overview()
		s.strips()
		s.stakes()
		s.materials()
		s.quote()
		s.choices()
		s.labour()
		s.startUp()
		s.visits()
		s.cautions()
	}
	var b bytes.Buffer
	if err := s.pdf.Output(&b); err != nil {
		return fmt.Errorf("packet: %w", err)
	}
	out := b.Bytes()
	// The library names the oldest version of PDF that holds what it wrote;
	// every later one holds it too (ISO 32000-1, annex I).
	if i := bytes.IndexByte(out, '\n'); i > 0 && bytes.HasPrefix(out, []byte("%PDF-1.")) {
		copy(out, "%PDF-1.7")
	}
	_, err := w.Write(out)
	return err
}
