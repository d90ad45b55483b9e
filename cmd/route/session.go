package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"regexp"
	"slices"
	"strings"
	"syscall"

	"github.com/alecthomas/kong"

	"route/internal/finding"
)

// Exit codes, the same for every command.
const (
	exitDone        = 0
	exitFailed      = 1
	exitUsage       = 2
	exitInfeasible  = 3
	exitWarnings    = 4
	exitInterrupted = 130
)

// commandLine is everything that can be typed.
type commandLine struct {
	JSON   bool `name:"json" help:"Print exactly one JSON document on standard output, also for a failure."`
	Strict bool `help:"Exit with code 4 when the result carries warnings."`

	Plan       planCommand       `cmd:"" help:"Terrain, creek and tank in; ranked layouts and the hand-off folder out."`
	Compare    compareCommand    `cmd:"" help:"Show layouts side by side, differences first, also your own places."`
	Inspect    inspectCommand    `cmd:"" help:"Read every input, say what it is and what is wrong with it; plan nothing."`
	Profile    profileCommand    `cmd:"" help:"Work out the long profile of the creek, nothing else."`
	Packet     packetCommand     `cmd:"" help:"Plan, and print the field packet of one layout as a PDF."`
	Commission commissionCommand `cmd:"" help:"Hold what was measured on a new installation against its plan, name the likely fault, and learn from it."`
	Screen     screenCommand     `cmd:"" help:"Plan every creek of a list or layer on one terrain, and rank them."`
	Map        mapCommand        `cmd:"" help:"Open the plan in the browser: compare pump places, move things, see what each would give."`
	Pipe       pipeCommand       `cmd:"" help:"Head loss, or the flow that a fall gives, in one run of pipe."`
	Ram        ramCommand        `cmd:"" help:"What a ram delivers for a drive head, a lift and its pipes."`
	New        newCommand        `cmd:"" help:"Ask for what a first plan needs and write the site file, or write a starter to fill in."`
	Verify     verifyCommand     `cmd:"" help:"Run the published check values on this machine."`
	Version    versionCommand    `cmd:"" help:"Print the versions of route, GDAL and PROJ."`
	Manual     manualCommand     `cmd:"" hidden:"" help:"Write the manual page or the shell completion."`
}

// session is what a command runs in.
type session struct {
	ctx            context.Context
	stdin          io.Reader
	stdout, stderr io.Writer
	json, strict   bool
	warned         bool // the result carries warnings
}

// printJSON writes one indented document to standard output.
func (s *session) printJSON(v any) error {
	enc := json.NewEncoder(s.stdout)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

// usageError is a wrong command line: exit code 2.
type usageError struct{ text, hint string }

func (e *usageError) Error() string { return e.text }

// infeasibleError says that there is an answer and it is "no": exit code 3.
// The command has printed it already.
type infeasibleError struct{ text, hint string }

func (e *infeasibleError) Error() string { return e.text }

// reportedError is a failure that the command has printed already: exit code 1.
type reportedError struct{}

func (*reportedError) Error() string { return "the problems are listed above" }

// helpShown unwinds kong after it has printed help.
type helpShown struct{}

// run is the whole program; it returns the exit code.
func run(args []string, stdin io.Reader, stdout, stderr io.Writer) (code int) {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	var line commandLine
	s := &session{ctx: ctx, stdin: stdin, stdout: stdout, stderr: stderr, json: slices.Contains(args, "--json")}
	defer func() {
		if r := recover(); r != nil {
			if _, ok := r.(helpShown); !ok {
				panic(r)
			}
			code = exitDone
		}
	}()
	parser, err := kong.New(&line,
		kong.Name("route"),
		kong.Description("Plans hydraulic ram installations: where the intake, the settling box, the standpipe and the pump go, which pipe to buy, how much water reaches the tank and what it costs.\n\nExit codes: 0 done, 1 failed, 2 wrong usage, 3 no feasible layout, 4 done with warnings under --strict, 130 interrupted."),
		kong.Writers(stdout, stderr),
		kong.Exit(func(int) { panic(helpShown{}) }),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, NoExpandSubcommands: true}),
	)
	if err != nil {
		panic(err) // a mistake in our own struct tags
	}
	if len(args) == 0 {
		fmt.Fprintln(stderr, "route: say what to do, for example: route plan SITE.yaml (route --help lists the commands)")
		return exitUsage
	}
	command, err := parser.Parse(usualWords(joinNegative(args)))
	if err != nil {
		return s.fail(&usageError{text: err.Error(), hint: "route --help lists the commands, route COMMAND --help the flags of one"})
	}
	s.json, s.strict = line.JSON, line.Strict
	if err := command.Run(s); err != nil {
		return s.fail(err)
	}
	if s.strict && s.warned {
		return exitWarnings
	}
	return exitDone
}

// usualWords accepts what people try first: `route --version`, `route help`.
func usualWords(args []string) []string {
	switch args[0] {
	case "--version", "-v":
		return append([]string{"version"}, args[1:]...)
	case "help":
		return append(slices.Clone(args[1:]), "--help")
	}
	return args
}

// negative is a value such as -44.62,-24.31 or -1C.
var negative = regexp.MustCompile(`^-\.?[0-9]`)

// joinNegative ties a value that begins with a minus to the flag before it:
// half of all latitudes do, and no flag of ours begins with a digit.
func joinNegative(args []string) []string {
	var joined []string
	for i, arg := range args {
		if i > 0 && negative.MatchString(arg) && strings.HasPrefix(args[i-1], "--") && !strings.Contains(args[i-1], "=") {
			joined[len(joined)-1] += "=" + arg
			continue
		}
		joined = append(joined, arg)
	}
	return joined
}

// failure is the JSON form of an error.
type failure struct {
	Code string `json:"code"`
	Text string `json:"text"`
	Hint string `json:"hint"`
	File string `json:"file"`
	Line int    `json:"line"`
}

// fail reports an error once, in the form that was asked for, and returns the
// exit code that belongs to it.
func (s *session) fail(err error) int {
	var reported *reportedError
	if errors.As(err, &reported) {
		return exitFailed
	}
	code, f := classify(s.ctx, err)
	if code == exitInfeasible {
		return code // the plan itself was the answer
	}
	each := parts(err)
	if s.json {
		for _, e := range each[1:] {
			_, more := classify(s.ctx, e)
			f.Text += "; " + more.Text
		}
		if err := s.printJSON(map[string]failure{"error": f}); err != nil {
			fmt.Fprintln(s.stderr, "route:", err)
		}
		return code
	}
	for _, e := range each {
		_, f := classify(s.ctx, e)
		fmt.Fprintln(s.stderr, "route:", f.Text)
		if f.Hint != "" {
			fmt.Fprintln(s.stderr, "  what to do:", f.Hint)
		}
	}
	return code
}

// parts are the errors that were joined into one, such as one for each raster.
func parts(err error) []error {
	several, ok := err.(interface{ Unwrap() []error })
	if !ok {
		return []error{err}
	}
	var all []error
	for _, e := range several.Unwrap() {
		all = append(all, parts(e)...)
	}
	return all
}

// classify gives the exit code of an error and its parts.
func classify(ctx context.Context, err error) (int, failure) {
	var (
		usage      *usageError
		infeasible *infeasibleError
		fault      *finding.Fault
	)
	switch {
	case errors.As(err, &usage):
		return exitUsage, failure{Code: "usage", Text: usage.text, Hint: usage.hint}
	case errors.As(err, &infeasible):
		return exitInfeasible, failure{Code: "no_feasible_layout", Text: infeasible.text, Hint: infeasible.hint}
	case errors.Is(err, context.Canceled) || ctx.Err() != nil:
		return exitInterrupted, failure{Code: "interrupted", Text: "interrupted; earlier results are untouched"}
	case errors.As(err, &fault):
		return exitFailed, failure{Code: fault.Code, Text: fault.Error(), Hint: fault.Hint, File: fault.File, Line: fault.Line}
	default:
		return exitFailed, failure{Code: "failed", Text: err.Error()}
	}
}
