package check

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
)

// plain reads a bare number.
func plain(s string) (float64, error) { return strconv.ParseFloat(strings.TrimSpace(s), 64) }

func show(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// double is an op whose answer anyone can work out.
func double(give map[string]string) (map[string]Answer, error) {
	x, err := plain(give["x"])
	if err != nil {
		return nil, fmt.Errorf("x is not a number")
	}
	return map[string]Answer{"twice": {Value: 2 * x, Read: plain, Show: show}, "parity": {Text: "even"}}, nil
}

func TestReadAndRun(t *testing.T) {
	text := `# Prose may stand anywhere.
  and be indented.

source  arithmetic
op      double
give    x = 1.25
want    twice = 2.5 within last digit
want    twice = 2.6 within 5 %
want    twice = 2.4 within 0.2
want    twice between 2 and 3
want    twice at least 2.5
want    twice at most 2.5
want    parity is even

op      double
give    x = 4
want    twice = 9 within last digit
want    twice = 8.2 within 1 %
want    twice at most 7
want    thrice = 12 within 1 %
want    parity is odd

op      double
give    x = many
fails   not a number

op      halve
want    half = 1 within 1 %
`
	cases, err := Read(strings.NewReader(text), "a.check")
	if err != nil {
		t.Fatal(err)
	}
	if len(cases) != 4 {
		t.Fatalf("%d cases, want 4", len(cases))
	}
	ops := map[string]Func{"double": double}
	want := [][]bool{{true, true, true, true, true, true, true}, {false, false, false, false, false}, {true}, {false}}
	for i, c := range cases {
		got := c.Run(ops)
		if len(got) != len(want[i]) {
			t.Fatalf("case %d: %d outcomes, want %d", i, len(got), len(want[i]))
		}
		for j, o := range got {
			if o.Pass != want[i][j] {
				t.Errorf("case %d %s: expected %s, got %s: pass %v", i, o.Name, o.Expected, o.Got, o.Pass)
			}
		}
	}
	if off := cases[0].Run(ops)[1].Off; math.Abs(off-(2.5/2.6-1)) > 1e-15 {
		t.Errorf("off by %v", off)
	}
	if cases[1].Line != 15 || cases[1].Source != "arithmetic" {
		t.Errorf("the second case begins at line %d, source %q", cases[1].Line, cases[1].Source)
	}
}

// An answer is shown in the unit of what is expected, where the two differ by
// a factor alone.
func TestShowsTheUnitExpected(t *testing.T) {
	metres := func(s string) (float64, error) {
		for unit, m := range map[string]float64{" ft": 0.3048, " m": 1} {
			if head, ok := strings.CutSuffix(s, unit); ok {
				v, err := plain(head)
				return v * m, err
			}
		}
		if head, ok := strings.CutSuffix(s, " °F"); ok { // has a zero of its own
			v, err := plain(head)
			return (v + 459.67) * 5 / 9, err
		}
		return plain(s)
	}
	a := Answer{Value: 3.048, Read: metres, Show: func(v float64) string { return show(v) + " m" }}
	for expected, want := range map[string]string{"9.9 ft": "10 ft", "3 m": "3.048 m", "3": "3.048", "50 °F": "3.048 m", "1-1/4 in": "3.048 m"} {
		if got := a.inUnitOf(Want{Value: expected}); got != want {
			t.Errorf("expected %s: shown as %s, want %s", expected, got, want)
		}
	}
	if got := a.inUnitOf(Want{Kind: AtLeast, Low: "9 ft"}); got != "10 ft" {
		t.Errorf("at least 9 ft: shown as %s", got)
	}
}

func TestReadRefuses(t *testing.T) {
	for text, line := range map[string]int{
		"source x\nop a\nwant b = 1":                               3, // no tolerance
		"source x\nop a\ngive b\nwant c = 1 within 1 %":            3,
		"source x\nop a\ngive b = 1\ngive b = 2\nwant c at most 1": 4,
		"op a\nwant b at most 1":                                   1, // no source
		"source x\nop a\n\n":                                       2, // wants nothing
		"want b at most 1":                                         1,
		"source x\nop a\nperhaps b":                                3,
		"source x\nop a\nwant b between 1":                         3,
	} {
		_, err := Read(strings.NewReader(text), "a.check")
		var bad *SyntaxError
		if !errors.As(err, &bad) || bad.Line != line {
			t.Errorf("%q: %v, want a complaint about line %d", text, err, line)
		}
	}
}

func TestLastDigit(t *testing.T) {
	for text, want := range map[string]string{"0.0179": "0.0178", "30": "31", "2.6 bar": "2.5 bar", "1.30e-6": "1.31e-6", "none": "none"} {
		if got := bumpLastDigit(text); got != want {
			t.Errorf("%q became %q, want %q", text, got, want)
		}
	}
}

// Whatever the bytes, Read returns; what it returns can be run.
func FuzzRead(f *testing.F) {
	f.Add("source x\nop double\ngive x = 1\nwant twice = 2 within last digit\n")
	f.Add("source x\nop double\ngive x = 1\nwant twice between 1 and 3\nfails so\n")
	f.Add("#\n\n \nop")
	f.Fuzz(func(t *testing.T, text string) {
		cases, err := Read(strings.NewReader(text), "f")
		if err != nil {
			var bad *SyntaxError
			if !errors.As(err, &bad) || bad.Line < 1 {
				t.Fatalf("%v has no place", err)
			}
			return
		}
		for _, c := range cases {
			if c.Source == "" || len(c.Run(map[string]Func{"double": double})) == 0 {
				t.Fatalf("%+v", c)
			}
		}
	})
}
