package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// The exit codes and the form of errors are part of the outside contract.
func TestExitCodesAndErrors(t *testing.T) {
	dir := t.TempDir()
	bad := filepath.Join(dir, "bad.yaml")
	if err := os.WriteFile(bad, []byte("terrain: [a.tif]\ncreek: b.gpx\nlimits:\n  drive_head: {min: 6}\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		args []string
		code int
		says []string // in the error's text or hint
		line int
	}{
		{"nothing to do", nil, exitUsage, []string{"route plan"}, 0},
		{"unknown command", []string{"plann"}, exitUsage, []string{"plann"}, 0},
		{"unknown flag", []string{"plan", "--terain", "x"}, exitUsage, []string{"terain"}, 0},
		{"no site", []string{"plan"}, exitUsage, []string{"--terrain"}, 0},
		{"flag without a unit", []string{"plan", "--terrain", "a.tif", "--creek", "b.gpx", "--tank", "1,2", "--demand", "1500"}, exitUsage, []string{"--demand", "1500"}, 0},
		{"unknown setting", []string{"plan", bad, "--set", "limits.drive_hed.min=6 ft"}, exitFailed, []string{"unit"}, 4},
		{"site file missing", []string{"plan", filepath.Join(dir, "none.yaml")}, exitFailed, []string{"none.yaml", "route new"}, 0},
		{"bad value", []string{"plan", bad}, exitFailed, []string{"bad.yaml:4:21", "drive_head.min"}, 4},
		{"creek missing", []string{"plan", "--terrain", "a.tif", "--creek", filepath.Join(dir, "b.gpx"), "--tank", "1,2"}, exitFailed, []string{"b.gpx", "no such file"}, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			code, _, stderr := route(c.args...)
			if code != c.code {
				t.Errorf("exit code %d, want %d: %s", code, c.code, stderr)
			}
			for _, word := range c.says {
				if !strings.Contains(stderr, word) {
					t.Errorf("%q does not say %q", stderr, word)
				}
			}
			if c.args == nil {
				return
			}
			code, stdout, stderr := route(append(c.args, "--json")...)
			if code != c.code || stderr != "" {
				t.Errorf("with --json: exit code %d, stderr %q", code, stderr)
			}
			var doc struct{ Error *failure }
			if err := json.Unmarshal([]byte(stdout), &doc); err != nil || doc.Error == nil {
				t.Fatalf("with --json: %v in %q", err, stdout)
			}
			if doc.Error.Code == "" || doc.Error.Text == "" || doc.Error.Line != c.line {
				t.Errorf("with --json: %+v, want line %d", *doc.Error, c.line)
			}
		})
	}
}

func TestHelpIsShownForEveryCommand(t *testing.T) {
	code, out, _ := route("--help")
	if code != exitDone {
		t.Errorf("exit code %d", code)
	}
	for _, command := range []string{"plan", "inspect", "profile", "screen", "pipe", "ram", "new", "verify", "version"} {
		if !strings.Contains(out, command) {
			t.Errorf("the help does not list %s", command)
		}
		code, help, _ := route(command, "--help")
		if code != exitDone || !strings.Contains(help, "Usage: route "+command) || !strings.Contains(help, "\n    route "+command) {
			t.Errorf("%s --help: exit code %d\n%s", command, code, help)
		}
	}
}

func TestNewWritesOnceAndNeverReplaces(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "place")
	if code, _, stderr := route("new", dir); code != exitDone {
		t.Fatalf("exit code %d: %s", code, stderr)
	}
	name := filepath.Join(dir, "site.yaml")
	if err := os.WriteFile(name, []byte("mine"), 0o644); err != nil {
		t.Fatal(err)
	}
	if code, _, stderr := route("new", dir); code != exitFailed || !strings.Contains(stderr, "left as it is") {
		t.Errorf("exit code %d: %s", code, stderr)
	}
	if content, _ := os.ReadFile(name); string(content) != "mine" {
		t.Errorf("the file was replaced by %q", content)
	}
}

// An interrupt stops the program soon, with its own exit code, and leaves an
// earlier folder as it was. The time is not what is tested: the deadline only
// keeps a hanging program from hanging the test.
func TestInterruptLeavesEarlierResults(t *testing.T) {
	binary := buildBinary(t)
	out := filepath.Join(t.TempDir(), "plan")
	if err := os.MkdirAll(out, 0o755); err != nil {
		t.Fatal(err)
	}
	earlier := filepath.Join(out, "plan.json")
	if err := os.WriteFile(earlier, []byte("earlier"), 0o644); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, binary, "plan", demo(t, "fernhollow"), "--out", out)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	time.Sleep(60 * time.Millisecond)
	if err := cmd.Process.Signal(syscall.SIGINT); err != nil {
		t.Fatal(err)
	}
	start := time.Now()
	err := cmd.Wait()
	t.Logf("stopped %v after the interrupt: %v", time.Since(start).Round(time.Millisecond), err)
	content, readErr := os.ReadFile(earlier)
	if readErr != nil {
		t.Fatal(readErr)
	}
	switch cmd.ProcessState.ExitCode() {
	case exitInterrupted, -1: // -1: it came before the program had begun; a shell reports 130 for both
		if string(content) != "earlier" {
			t.Error("an interrupted run changed the earlier plan")
		}
		if cmd.ProcessState.ExitCode() == exitInterrupted && !strings.Contains(stderr.String(), "interrupted") {
			t.Errorf("stderr says %q", stderr.String())
		}
	case exitDone: // it was faster than the signal
		if string(content) == "earlier" {
			t.Error("a finished run wrote nothing")
		}
	default:
		t.Errorf("exit code %d: %s", cmd.ProcessState.ExitCode(), stderr.String())
	}
	if left, _ := filepath.Glob(filepath.Join(filepath.Dir(out), "*")); len(left) != 1 {
		t.Errorf("left behind: %v", left)
	}
}
