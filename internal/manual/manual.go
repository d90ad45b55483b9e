// Package manual writes the manual page and the shell completion of the
// program from the same description of its commands that the command line is
// parsed with, so that neither can fall behind.
package manual

import (
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/alecthomas/kong"
)

// Page writes the manual page of the program, section 1, in the man macros
// that man-db and mandoc read. date is the day that stands in its foot.
func Page(w io.Writer, app *kong.Application, version string, date time.Time) error {
	p := page{}
	p.line(".TH %s 1 %q %q %q", strings.ToUpper(app.Name), date.UTC().Format("2006-01-02"), app.Name+" "+version, "User Commands")
	p.line(".SH NAME")
	p.line("%s \\- plan hydraulic ram installations", escape(app.Name))
	p.line(".SH SYNOPSIS")
	p.line(".B %s", escape(app.Name))
	p.line(".I COMMAND")
	p.line("[\\fIARGUMENT\\fR...] [\\fB\\-\\-FLAG\\fR...]")
	p.line(".SH DESCRIPTION")
	p.text(app.Help)
	p.line(".SH FLAGS OF EVERY COMMAND")
	p.flags(app.Flags)
	p.line(".SH COMMANDS")
	for _, c := range app.Leaves(true) {
		p.command(c)
	}
	p.line(".SH FILES")
	p.line(".TP")
	p.line(".I /usr/share/doc/route/examples/")
	p.text("The invented demo sites. Copy one into a folder of your own to try it.")
	p.line(".SH NOTES")
	p.text("The system's program for the routing table of the network is called route as well. Where it comes first on the path, type /usr/bin/route.")
	p.line(".SH SEE ALSO")
	p.line(".BR gdalinfo (1)")
	_, err := io.WriteString(w, p.String())
	return err
}

// page is a manual page being written.
type page struct{ strings.Builder }

func (p *page) line(format string, args ...any) { fmt.Fprintf(p, format+"\n", args...) }

// text writes paragraphs; lines that are indented stay as they are.
func (p *page) text(s string) {
	asIs, blank := false, false
	for i, line := range strings.Split(strings.TrimSpace(s), "\n") {
		indented := strings.HasPrefix(line, "  ")
		if strings.TrimSpace(line) == "" {
			blank = true
			continue
		}
		switch {
		case indented && !asIs:
			p.line(".PP\n.RS 4\n.nf")
		case !indented && asIs:
			p.line(".fi\n.RE\n.PP")
		case blank && !asIs && i > 0:
			p.line(".PP")
		case blank:
			p.line("")
		}
		asIs, blank = indented, false
		p.line("%s", start(escape(strings.TrimSpace(line))))
	}
	if asIs {
		p.line(".fi\n.RE")
	}
}

func (p *page) command(c *kong.Node) {
	usage := "\\fB" + escape(c.FullPath()) + "\\fR"
	for _, a := range c.Positional {
		usage += " \\fI" + escape(argumentName(a)) + "\\fR"
	}
	p.line(".SS %s", usage)
	p.text(c.Help)
	for _, a := range c.Positional {
		p.line(".TP\n\\fI%s\\fR", escape(argumentName(a)))
		p.text(a.Help)
	}
	p.flags(c.Flags)
	if c.Detail != "" {
		p.line(".PP")
		p.text(c.Detail)
	}
}

func (p *page) flags(flags []*kong.Flag) {
	for _, f := range flags {
		if f.Hidden {
			continue
		}
		name := "\\fB" + escape(strings.Join(names(f), ", ")) + "\\fR"
		if !f.IsBool() {
			name += "=\\fI" + escape(f.FormatPlaceHolder()) + "\\fR"
		}
		p.line(".TP\n%s", name)
		help := f.Help
		if f.HasDefault && f.Default != "" && !f.IsBool() && !strings.Contains(f.FormatPlaceHolder(), f.Default) {
			help += " Usual: " + f.Default + "."
		}
		p.text(help)
	}
}

// names are the ways to write a flag.
func names(f *kong.Flag) []string {
	var all []string
	if f.Short != 0 {
		all = append(all, "-"+string(f.Short))
	}
	all = append(all, "--"+f.Name)
	if f.Tag.Negatable != "" {
		all = append(all, "--no-"+f.Name)
	}
	return all
}

// argumentName is a positional argument in capitals, in brackets when it may
// be left out.
func argumentName(a *kong.Positional) string {
	name := a.Tag.PlaceHolder
	if name == "" {
		name = strings.ToUpper(a.Name)
	}
	if !a.Required {
		name = "[" + name + "]"
	}
	return name
}

// escape keeps roff from reading text as its own: a backslash begins an
// escape, a hyphen may become a dash that cannot be pasted into a shell.
func escape(s string) string {
	return strings.NewReplacer(`\`, `\e`, "-", `\-`, "…", `\&...`).Replace(s)
}

// start keeps a line of text from being read as a request.
func start(s string) string {
	if strings.HasPrefix(s, ".") || strings.HasPrefix(s, "'") {
		return `\&` + s
	}
	return s
}
