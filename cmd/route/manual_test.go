package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// helpFlags are the flags that the help of a command lists; the library of the
// command line prints it, and knows nothing of the manual.
func helpFlags(t *testing.T, command string) []string {
	t.Helper()
	code, help, _ := route(command, "--help")
	if code != exitDone {
		t.Fatalf("route %s --help gives exit code %d", command, code)
	}
	flags := regexp.MustCompile(`(?m)^ +(?:-[a-z], |    )?(--[a-z-]+|--\[no-\][a-z-]+)`).FindAllStringSubmatch(help, -1)
	var all []string
	for _, f := range flags {
		all = append(all, strings.Replace(f[1], "[no-]", "", 1))
	}
	return all
}

// listedCommands are those that route --help lists.
func listedCommands(t *testing.T) []string {
	t.Helper()
	_, help, _ := route("--help")
	_, list, ok := strings.Cut(help, "Commands:\n")
	if !ok {
		t.Fatalf("the help lists no commands:\n%s", help)
	}
	var all []string
	for _, m := range regexp.MustCompile(`(?m)^  ([a-z]+)`).FindAllStringSubmatch(list, -1) {
		all = append(all, m[1])
	}
	if len(all) < 10 {
		t.Fatalf("the help lists %v only", all)
	}
	return all
}

// The manual page as man prints it tells of every command and flag of the
// help, and man has nothing to say against it.
func TestManualPageTellsOfEveryFlag(t *testing.T) {
	man, err := exec.LookPath("man")
	if err != nil {
		t.Skip("man is not installed")
	}
	t.Setenv("SOURCE_DATE_EPOCH", "86400")
	code, page, stderr := route("manual", "page")
	if code != exitDone {
		t.Fatal(stderr)
	}
	name := filepath.Join(t.TempDir(), "route.1")
	if err := os.WriteFile(name, []byte(page), 0o644); err != nil {
		t.Fatal(err)
	}
	print := exec.Command(man, "--warnings", "-P", "cat", "-l", name)
	print.Env = append(os.Environ(), "MANWIDTH=300", "LC_ALL=C.UTF-8", "MAN_KEEP_FORMATTING=")
	var complaints strings.Builder
	print.Stderr = &complaints
	out, err := print.Output()
	if err != nil || complaints.Len() > 0 {
		t.Fatalf("man: %v %s", err, complaints.String())
	}
	text := regexp.MustCompile(`.\x08`).ReplaceAllString(string(out), "")
	if !strings.Contains(text, "1970-01-02") {
		t.Error("the foot does not carry the day of SOURCE_DATE_EPOCH")
	}
	for _, command := range listedCommands(t) {
		_, section, ok := strings.Cut(text, "\n   route "+command)
		if !ok {
			t.Errorf("the page does not tell of route %s", command)
			continue
		}
		section, _, _ = strings.Cut(section, "\n   route ")
		for _, flag := range helpFlags(t, command) {
			if common := flag == "--help" || flag == "--json" || flag == "--strict"; !common && !regexp.MustCompile(`(?m)^ +`+flag+`\b`).MatchString(section) {
				t.Errorf("the page does not tell of route %s %s", command, flag)
			}
		}
	}
}

// Bash itself is asked what it would complete.
func TestBashCompletes(t *testing.T) {
	bash, err := exec.LookPath("bash")
	if err != nil {
		t.Skip("bash is not installed")
	}
	_, script, _ := route("manual", "bash")
	name := filepath.Join(t.TempDir(), "route.bash")
	if err := os.WriteFile(name, []byte(script), 0o644); err != nil {
		t.Fatal(err)
	}
	complete := func(words ...string) []string {
		t.Helper()
		c := exec.Command(bash, append([]string{"-c", `. "$1"; shift; COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); _route_plan; printf '%s\n' "${COMPREPLY[@]}"`, "bash", name}, words...)...)
		out, err := c.CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		return strings.Fields(string(out))
	}
	if got, want := strings.Join(complete("route", ""), " "), strings.Join(listedCommands(t), " "); got != want {
		t.Errorf("commands: %s, want %s", got, want)
	}
	for _, command := range listedCommands(t) {
		offered := " " + strings.Join(complete("route", command, "--"), " ") + " "
		for _, flag := range helpFlags(t, command) {
			if !strings.Contains(offered, " "+flag+" ") {
				t.Errorf("route %s: %s is not offered", command, flag)
			}
		}
	}
	if got := complete("route", "plan", "--units", ""); strings.Join(got, " ") != "us si" {
		t.Errorf("--units offers %v", got)
	}
	spaced := filepath.Join(t.TempDir(), "my place.yaml")
	if err := os.WriteFile(spaced, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if got := complete("route", "plan", strings.TrimSuffix(spaced, " place.yaml")); strings.Join(got, " ") != spaced {
		t.Errorf("the name of a file with a space becomes %q", got)
	}
	for _, word := range complete("route", "") {
		if word == "manual" {
			t.Error("the command for packaging is offered")
		}
	}
}
