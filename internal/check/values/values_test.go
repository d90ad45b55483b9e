package values

import (
	"math"
	"testing"
)

// Every check value holds, and every op is used by one.
func TestValues(t *testing.T) {
	cases, err := All()
	if err != nil {
		t.Fatal(err)
	}
	ops := Ops()
	used := map[string]bool{}
	n := 0
	for _, c := range cases {
		used[c.Op] = true
		for _, o := range c.Run(ops) {
			n++
			if !o.Pass {
				t.Errorf("%s:%d %s: %s: expected %s, got %s (source: %s)", c.File, c.Line, c.Op, o.Name, o.Expected, o.Got, c.Source)
			} else if !math.IsNaN(o.Off) && testing.Verbose() {
				t.Logf("%s:%d %s: %s: expected %s, got %s", c.File, c.Line, c.Op, o.Name, o.Expected, o.Got)
			}
		}
	}
	for name := range ops {
		if !used[name] {
			t.Errorf("no check value uses %q", name)
		}
	}
	t.Logf("%d cases, %d values", len(cases), n)
}
