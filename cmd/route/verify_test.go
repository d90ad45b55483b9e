package main

import (
	"strings"
	"testing"
)

// Every check value holds on this machine, and the table names the sources.
func TestVerifyCommand(t *testing.T) {
	out, errs, code := calculate(t, "verify")
	if code != exitDone || strings.Contains(out, "FAILS") {
		t.Errorf("exit %d: %s%s", code, out, errs)
	}
	for _, source := range []string{"Crane TP 410 problem 7.19", "ASTM D1785", "International Critical Tables", "common practice, no source"} {
		if !strings.Contains(out, source) {
			t.Errorf("the table does not name %q", source)
		}
	}
	doc := calculateJSON(t, "verify", "--only", "crane tp")
	if doc["run"].(float64) < 15 || doc["failed"].(float64) != 0 {
		t.Errorf("%v run, %v failed", doc["run"], doc["failed"])
	}
	if _, _, code := calculate(t, "verify", "--only", "perpetual motion"); code != exitUsage {
		t.Errorf("nothing to verify: exit %d", code)
	}
}
