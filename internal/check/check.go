// Package check reads and runs published check values: small files in plain
// words that an engineer can read and doubt without reading our code.
//
// A file is prose in which some lines begin with one of five words:
//
//	source  Crane TP 410, problem 7.1
//	op      pipe run
//	give    flow = 200 L/min
//	want    friction factor = 0.0179 within 1.5 %
//	fails   with these words in the reason
//
// An op line begins a case; its give and want lines follow, and a line that is
// empty ends it. A source holds until the next one. Any other line that starts
// with # or is indented is prose. What an op means, and which units it reads,
// is up to the caller.
package check

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Case is one check value.
type Case struct {
	Op     string
	Source string
	Give   map[string]string
	Want   []Want
	Fails  string // words that the reason of a failure must hold; empty when the op must succeed
	File   string
	Line   int // of the op
}

// Want is one expected answer.
type Want struct {
	Name string
	// Value and Tolerance hold for Kind Near; Low and High for the others.
	Kind      Kind
	Value     string
	Tolerance string // "1.5 %", "0.1 m", "last digit"
	Low, High string
	Line      int
}

// Kind is how an answer is compared.
type Kind int

// The kinds of comparison.
const (
	Near Kind = iota
	Between
	AtMost
	AtLeast
	Is // the same words
)

// String says what is expected, as in the file.
func (w Want) String() string {
	switch w.Kind {
	case Between:
		return w.Low + " to " + w.High
	case AtMost:
		return "at most " + w.High
	case AtLeast:
		return "at least " + w.Low
	case Is:
		return w.Value
	}
	if w.Tolerance == lastDigit {
		return w.Value + " to the last digit"
	}
	return w.Value + " ± " + w.Tolerance
}

const lastDigit = "last digit"

// SyntaxError is a line that cannot be understood.
type SyntaxError struct {
	File string
	Line int
	Text string
}

func (e *SyntaxError) Error() string { return fmt.Sprintf("%s:%d: %s", e.File, e.Line, e.Text) }

// Read reads a file of cases; name is for messages.
func Read(r io.Reader, name string) ([]Case, error) {
	p := parser{file: name}
	scan := bufio.NewScanner(r)
	for scan.Scan() {
		p.line++
		if err := p.read(scan.Text()); err != nil {
			return nil, err
		}
	}
	if err := scan.Err(); err != nil {
		return nil, &SyntaxError{name, p.line + 1, err.Error()}
	}
	return p.cases, p.end()
}

type parser struct {
	file   string
	line   int
	source string
	cases  []Case
	open   *Case
}

func (p *parser) fail(format string, args ...any) error {
	return &SyntaxError{p.file, p.line, fmt.Sprintf(format, args...)}
}

func (p *parser) read(line string) error {
	word, rest, _ := strings.Cut(strings.TrimSpace(line), " ")
	rest = strings.TrimSpace(rest)
	switch {
	case word == "":
		return p.end()
	case line[0] == '#' || line[0] == ' ' || line[0] == '\t':
		return nil
	case word == "source":
		p.source = rest
		if p.open != nil {
			p.open.Source = rest
		}
		return nil
	case word == "op":
		if err := p.end(); err != nil {
			return err
		}
		p.open = &Case{Op: rest, Source: p.source, Give: map[string]string{}, File: p.file, Line: p.line}
		return nil
	case p.open == nil:
		return p.fail("%q stands outside a case: begin one with op", word)
	case word == "give":
		name, value, ok := strings.Cut(rest, "=")
		name = strings.TrimSpace(name)
		if !ok || name == "" {
			return p.fail("write give NAME = VALUE")
		}
		if _, twice := p.open.Give[name]; twice {
			return p.fail("%q is given twice", name)
		}
		p.open.Give[name] = strings.TrimSpace(value)
		return nil
	case word == "want":
		w, err := p.want(rest)
		p.open.Want = append(p.open.Want, w)
		return err
	case word == "fails":
		p.open.Fails = rest
		return nil
	}
	return p.fail("%q is none of source, op, give, want, fails; prose starts with # or a blank", word)
}

func (p *parser) want(text string) (Want, error) {
	w := Want{Line: p.line}
	if name, bounds, ok := strings.Cut(text, " between "); ok {
		low, high, both := strings.Cut(bounds, " and ")
		w.Name, w.Kind, w.Low, w.High = strings.TrimSpace(name), Between, strings.TrimSpace(low), strings.TrimSpace(high)
		if !both {
			return w, p.fail("write want NAME between LOW and HIGH")
		}
		return w, nil
	}
	if name, bound, ok := strings.Cut(text, " at most "); ok {
		w.Name, w.Kind, w.High = strings.TrimSpace(name), AtMost, strings.TrimSpace(bound)
		return w, nil
	}
	if name, bound, ok := strings.Cut(text, " at least "); ok {
		w.Name, w.Kind, w.Low = strings.TrimSpace(name), AtLeast, strings.TrimSpace(bound)
		return w, nil
	}
	if name, words, ok := strings.Cut(text, " is "); ok {
		w.Name, w.Kind, w.Value = strings.TrimSpace(name), Is, strings.TrimSpace(words)
		return w, nil
	}
	name, value, ok := strings.Cut(text, "=")
	w.Name = strings.TrimSpace(name)
	if !ok || w.Name == "" {
		return w, p.fail("write want NAME = VALUE within TOLERANCE, or between, at most, at least, is")
	}
	value, tolerance, ok := strings.Cut(value, " within ")
	if !ok {
		return w, p.fail("%s has no tolerance: write within 1.5 %%, within 0.1 m, or within last digit", w.Name)
	}
	w.Value, w.Tolerance = strings.TrimSpace(value), strings.TrimSpace(tolerance)
	return w, nil
}

// end closes the open case.
func (p *parser) end() error {
	c := p.open
	p.open = nil
	switch {
	case c == nil:
		return nil
	case c.Source == "":
		return &SyntaxError{c.File, c.Line, "the case has no source; write one, or source common practice, no source"}
	case len(c.Want) == 0 && c.Fails == "":
		return &SyntaxError{c.File, c.Line, "the case wants nothing"}
	}
	p.cases = append(p.cases, *c)
	return nil
}

// Answer is one answer of an op.
type Answer struct {
	Value float64                       // in the op's own unit
	Text  string                        // for answers in words
	Read  func(string) (float64, error) // from the file's words to the op's unit
	Show  func(float64) string          // the other way, where the unit expected cannot be used
}

// Func works out the answers of one op.
type Func func(give map[string]string) (map[string]Answer, error)

// Outcome is what came of one want.
type Outcome struct {
	Case     Case
	Name     string
	Expected string
	Got      string
	Pass     bool
	Off      float64 // relative to the expected value, for Near; NaN otherwise
}

// Run works out a case. A case that cannot be run gives one failed outcome that
// says why.
func (c Case) Run(ops map[string]Func) []Outcome {
	op, ok := ops[c.Op]
	if !ok {
		return []Outcome{c.failed("no op is called " + strconv.Quote(c.Op))}
	}
	answers, err := op(c.Give)
	if c.Fails != "" {
		o := Outcome{Case: c, Name: "fails", Expected: c.Fails, Got: "it succeeds", Off: math.NaN()}
		if err != nil {
			o.Got, o.Pass = err.Error(), strings.Contains(err.Error(), c.Fails)
		}
		return []Outcome{o}
	}
	if err != nil {
		return []Outcome{c.failed(err.Error())}
	}
	var list []Outcome
	for _, w := range c.Want {
		list = append(list, c.compare(w, answers))
	}
	return list
}

func (c Case) failed(why string) Outcome {
	return Outcome{Case: c, Name: c.Op, Expected: "an answer", Got: why, Off: math.NaN()}
}

func (c Case) compare(w Want, answers map[string]Answer) Outcome {
	o := Outcome{Case: c, Name: w.Name, Expected: w.String(), Off: math.NaN()}
	a, ok := answers[w.Name]
	if !ok {
		o.Got = "the op does not answer that"
		return o
	}
	if w.Kind == Is {
		o.Got, o.Pass = a.Text, a.Text == w.Value
		return o
	}
	if a.Read == nil {
		o.Got = "the op answers that in words"
		return o
	}
	o.Got = a.inUnitOf(w)
	var err error
	if o.Pass, o.Off, err = within(w, a); err != nil {
		o.Got = err.Error()
	}
	return o
}

// inUnitOf shows an answer in the unit in which it is expected, so that the two
// can be held against each other. Text that is not one plain number and a unit
// without a zero of its own leaves the op's way of showing.
func (a Answer) inUnitOf(w Want) string {
	text := w.Value
	if text == "" {
		text = w.High
	}
	if text == "" {
		text = w.Low
	}
	first, unit, _ := strings.Cut(text, " ")
	one, errOne := a.Read(strings.TrimSpace("1 " + unit))
	two, errTwo := a.Read(strings.TrimSpace("2 " + unit))
	if _, err := strconv.ParseFloat(first, 64); err != nil || errOne != nil || errTwo != nil || !(one > 0) || math.Abs(two-2*one) > 1e-9*one {
		return a.Show(a.Value)
	}
	return strings.TrimSpace(strconv.FormatFloat(a.Value/one, 'g', 6, 64) + " " + unit)
}

// within compares an answer with what is wanted.
func within(w Want, a Answer) (pass bool, off float64, err error) {
	off = math.NaN()
	low, high := math.Inf(-1), math.Inf(1)
	if w.Low != "" {
		if low, err = a.Read(w.Low); err != nil {
			return false, off, err
		}
	}
	if w.High != "" {
		if high, err = a.Read(w.High); err != nil {
			return false, off, err
		}
	}
	if w.Kind == Near {
		value, err := a.Read(w.Value)
		if err != nil {
			return false, off, err
		}
		t, err := tolerance(w, value, a)
		if err != nil {
			return false, off, err
		}
		low, high = value-t, value+t
		off = a.Value/value - 1
	}
	return a.Value >= low && a.Value <= high, off, nil
}

// tolerance is the allowed difference in the op's unit. A temperature's is
// read as a difference, like any other.
func tolerance(w Want, value float64, a Answer) (float64, error) {
	if share, ok := strings.CutSuffix(w.Tolerance, "%"); ok {
		p, err := strconv.ParseFloat(strings.TrimSpace(share), 64)
		return math.Abs(value) * p / 100, err
	}
	if w.Tolerance == lastDigit {
		next, err := a.Read(bumpLastDigit(w.Value))
		// Half a unit is what rounding leaves; the sliver is for binary.
		return math.Abs(next-value) * 0.5 * (1 + 1e-9), err
	}
	t, err := a.Read(w.Tolerance)
	return math.Abs(t), err
}

// firstNumber finds the digits whose last one tells the precision of a printed
// value; an exponent or a unit may follow.
var firstNumber = regexp.MustCompile(`[0-9]+(\.[0-9]+)?`)

// bumpLastDigit moves the last digit of the first number in a text by one:
// "0.0179" becomes "0.0178", "30" becomes "31".
func bumpLastDigit(text string) string {
	at := firstNumber.FindStringIndex(text)
	if at == nil {
		return text
	}
	b := []byte(text)
	if b[at[1]-1] == '0' {
		b[at[1]-1]++
	} else {
		b[at[1]-1]--
	}
	return string(b)
}
