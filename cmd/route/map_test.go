package main

import (
	"strings"
	"testing"
)

// TestPageNotBuiltSaysHow holds that a program without the page tells on one
// line how to build it.
func TestPageNotBuiltSaysHow(t *testing.T) {
	said := pageNotBuilt().Error()
	if strings.Contains(said, "\n") || !strings.Contains(said, "make web build") {
		t.Errorf("says %q", said)
	}
}
