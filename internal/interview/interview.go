// Package interview leads a beginner to a site file by questions. Every answer
// is read at once by what reads the site file later, so that a mistake is met
// where it is made.
package interview

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"

	"route/internal/finding"
	"route/internal/plan"
	"route/internal/quantity"
)

// Stopped is returned when the answers end before the questions do.
var Stopped error = &finding.Fault{Code: "interview_stopped", Text: "the questions were not answered to the end, and nothing was written", Hint: "start again with: route new"}

// errBack asks for the question before.
var errBack = errors.New("back")

// Result is the site file that the answers make.
type Result struct {
	Folder string // that it belongs into
	Text   string // of the site file
}

// Ask puts the questions to out and reads the answers, a line each, from in.
// folder is where the site file will lie; when it is empty the name of the
// site gives it. Names of files are understood as seen from the working
// folder. Ask writes no file. It fails with Stopped when the answers end, and
// with the context's error when that does.
func Ask(ctx context.Context, in io.Reader, out io.Writer, folder string) (Result, error) {
	t := &talk{ctx: ctx, in: bufio.NewScanner(in), out: out, folder: folder, keepFolder: folder != "", parts: map[string]string{}}
	t.say("These questions lead to a first plan. Press Enter to take what stands in [brackets];\ntype back to go to the question before, Ctrl-C to stop. Nothing is written until the end.\n")
	steps := []func() error{t.askName, t.askUnits, t.askTerrain, t.askCreek, t.askTank, t.askInlet, t.askFlow, t.askShare, t.askDemand}
	for i := 0; i < len(steps); {
		t.number = fmt.Sprintf("%d of %d. ", i+1, len(steps))
		switch err := steps[i](); {
		case errors.Is(err, errBack):
			i = max(0, i-1)
		case err != nil:
			return Result{}, err
		default:
			i++
		}
	}
	return Result{Folder: t.folder, Text: t.text()}, nil
}

// order is that of the parts of the site file.
var order = []string{"name", "units", "terrain", "creek", "tank", "creek_flow", "demand"}

// talk is an interview under way.
type talk struct {
	ctx        context.Context
	in         *bufio.Scanner
	out        io.Writer
	number     string // of the question
	folder     string
	keepFolder bool
	waypoints  []string
	place      string            // of the tank, as it stands in the site file
	flow       string            // the creek's lowest flow, likewise
	parts      map[string]string // YAML of the answers by their key, with comments
}

func (t *talk) say(format string, args ...any) { fmt.Fprintf(t.out, format+"\n", args...) }

// ask puts one question and reads one answer; fallback stands for an empty one.
func (t *talk) ask(question, fallback string) (string, error) {
	if err := t.ctx.Err(); err != nil {
		return "", err
	}
	fmt.Fprintf(t.out, "\n%s%s", t.number, question)
	t.number = "" // what follows belongs to the same question
	if fallback != "" {
		fmt.Fprintf(t.out, " [%s]", fallback)
	}
	fmt.Fprint(t.out, "\n> ")
	if !t.in.Scan() {
		t.say("")
		return "", Stopped
	}
	answer := strings.TrimSpace(strings.ToValidUTF8(t.in.Text(), ""))
	switch {
	case strings.EqualFold(answer, "back"):
		return "", errBack
	case answer == "":
		return fallback, nil
	}
	return answer, nil
}

// until asks again until an answer is taken. An answer of back to a question
// within the question comes back to it.
func (t *talk) until(question, fallback string, take func(answer string) error) error {
	for {
		answer, err := t.ask(question, fallback)
		if err != nil {
			return err
		}
		err = take(answer)
		switch {
		case errors.Is(err, errBack):
		case err == nil || errors.Is(err, Stopped) || t.ctx.Err() != nil:
			return err
		default:
			t.complain(err)
		}
	}
}

// settingName is the name of the site file's setting in front of a text; who
// answers questions has not met it.
var settingName = regexp.MustCompile(`^[a-z_]+(\.[a-z_]+)*: `)

// complain says what is wrong with an answer, and what to do.
func (t *talk) complain(err error) {
	text, hint := err.Error(), ""
	var fault *finding.Fault
	if errors.As(err, &fault) {
		text, hint = fault.Text, fault.Hint
		if fault.File != "" && filepath.Base(fault.File) != "site.yaml" {
			text = fault.File + ": " + text
		}
	}
	t.say("  That does not work: %s", settingName.ReplaceAllString(text, ""))
	if hint != "" {
		t.say("  What to do: %s", hint)
	}
}

// refuse makes the error of an answer that was not understood.
func refuse(text, hint string) error {
	return &finding.Fault{Code: "answer_refused", Text: text, Hint: hint}
}

// site reads the answers so far with one part replaced, as the site file will
// be read.
func (t *talk) site(key, part string) (*plan.Site, error) {
	old, had := t.parts[key]
	t.parts[key] = part
	site, err := plan.ReadSettings(filepath.Join(t.folder, "site.yaml"), strings.NewReader(t.answers()))
	if had {
		t.parts[key] = old
	} else {
		delete(t.parts, key)
	}
	return site, err
}

// keep reads a part as site does and keeps it when it is right.
func (t *talk) keep(key, part string) (*plan.Site, error) {
	site, err := t.site(key, part)
	if err == nil {
		t.parts[key] = part
	}
	return site, err
}

// answers is the part of the site file that was asked for.
func (t *talk) answers() string {
	var b strings.Builder
	for _, key := range order {
		b.WriteString(t.parts[key])
	}
	return b.String()
}

// text is the whole site file.
func (t *talk) text() string {
	return "# A site for route, made by the questions of route new. Change what you like.\n" +
		"# Quantities carry their units: \"90 ft\", \"3 L/s\", \"12 gpm\".\n" +
		"# Names of files are relative to this one.\n" + t.answers() + "\n" + plan.UsualSettings()
}

// fault is the first message that keeps a plan from being made, as an error.
func fault(found *plan.Inspection) error {
	for _, m := range found.Messages {
		if m.Level == string(finding.Error) {
			return &finding.Fault{Code: m.Code, Text: m.Text, Hint: m.Hint}
		}
	}
	return nil
}

// warn passes warnings on.
func (t *talk) warn(found *plan.Inspection) {
	for _, m := range found.Messages {
		if m.Level == string(finding.Warning) {
			t.say("  Mind: %s", m.Text)
			if m.Hint != "" {
				t.say("    %s", m.Hint)
			}
		}
	}
}

// us says whether feet are printed.
func (t *talk) us() bool { return strings.Contains(t.parts["units"], "units: us") }

// withUnit takes a bare number in the unit of the example beside the question,
// and says so.
func (t *talk) withUnit(answer, unit string) string {
	if _, err := strconv.ParseFloat(answer, 64); err != nil {
		return answer
	}
	t.say("  Taken as %s %s.", answer, unit)
	return answer + " " + unit
}

// length prints metres in the units that were chosen.
func (t *talk) length(m float64) string {
	return quantity.Format(t.system(), quantity.Length, m)
}

func (t *talk) system() quantity.System {
	if t.us() {
		return quantity.US
	}
	return quantity.SI
}

// quote writes text as a YAML string.
func quote(s string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\t", " ").Replace(s) + `"`
}
