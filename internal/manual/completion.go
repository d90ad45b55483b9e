package manual

import (
	"fmt"
	"io"
	"strings"

	"github.com/alecthomas/kong"
)

// BashCompletion writes a script that completes commands, flags, their listed
// values, and names of files in bash. It is written out whole, so that
// pressing Tab starts no program.
func BashCompletion(w io.Writer, app *kong.Application) error {
	var b strings.Builder
	commands := app.Leaves(true)
	var words []string
	for _, c := range commands {
		words = append(words, c.Name)
	}
	fmt.Fprintf(&b, `# Completes the commands and flags of %[1]s in bash.
_%[1]s_plan() {
	local current=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]} flags=
	COMPREPLY=()
	if [ "$COMP_CWORD" -eq 1 ]; then
		COMPREPLY=($(compgen -W %[2]q -- "$current"))
		return
	fi
	case ${COMP_WORDS[1]} in
`, app.Name, strings.Join(words, " "))
	for _, c := range commands {
		fmt.Fprintf(&b, "\t%s) flags=%q ;;\n", c.Name, strings.Join(append(flagNames(c.Flags), flagNames(app.Flags)...), " "))
	}
	b.WriteString("\tesac\n\tcase ${COMP_WORDS[1]}/$before in\n")
	for _, c := range commands {
		for _, f := range c.Flags {
			if values := listed(f); len(values) > 0 && !f.Hidden {
				fmt.Fprintf(&b, "\t%s/--%s) COMPREPLY=($(compgen -W %q -- \"$current\")); return ;;\n", c.Name, f.Name, strings.Join(values, " "))
			}
		}
	}
	fmt.Fprintf(&b, `	esac
	case $current in
	-*) COMPREPLY=($(compgen -W "$flags" -- "$current")) ;;
	*)
		local IFS=$'\n' # names of files may hold spaces
		COMPREPLY=($(compgen -f -- "$current"))
		;;
	esac
}
complete -o filenames -F _%[1]s_plan %[1]s
`, app.Name)
	_, err := io.WriteString(w, b.String())
	return err
}

func flagNames(flags []*kong.Flag) []string {
	var all []string
	for _, f := range flags {
		if !f.Hidden {
			all = append(all, names(f)...)
		}
	}
	return all
}

// listed are the values of a flag that takes one of a few words: those that it
// enumerates, or the small words of a placeholder such as us|si.
func listed(f *kong.Flag) []string {
	if values := f.EnumSlice(); len(values) > 0 && values[0] != "" {
		return values
	}
	placeholder := f.FormatPlaceHolder()
	if !strings.Contains(placeholder, "|") || strings.ToLower(placeholder) != placeholder {
		return nil
	}
	return strings.Split(placeholder, "|")
}
