// Package finding holds what the program has to say to a person about the
// data: findings that go along with a result, and faults that stop it.
package finding

import (
	"fmt"
	"math"
	"strings"

	"route/internal/quantity"
)

// Level is how serious a finding is.
type Level string

// The levels.
const (
	Note    Level = "note"
	Warning Level = "warning"
	Error   Level = "error"
)

// Finding is something that a person should know about a result. Text and
// Hint may hold {0}, {1}, … which stand for Values in the reader's units.
type Finding struct {
	Level    Level
	Code     string // stable, snake_case
	Text     string // what was found
	Hint     string // what to do about it
	Values   []quantity.Value
	File     string
	Line     int
	StationM float64 // NaN when the finding has no station
}

// New makes a finding without a station.
func New(level Level, code, text, hint string, values ...quantity.Value) Finding {
	return Finding{Level: level, Code: code, Text: text, Hint: hint, Values: values, StationM: math.NaN()}
}

// At returns a copy of the finding that points at a station in metres.
func (f Finding) At(stationM float64) Finding {
	f.StationM = stationM
	return f
}

// In returns a copy of the finding that names a file.
func (f Finding) In(file string) Finding {
	f.File = file
	return f
}

// Fault is an error in what the user gave: the file, the place in it, what is
// wrong and what to do. Text and Hint are plain text.
type Fault struct {
	Code       string // stable, snake_case
	Text, Hint string
	File       string
	Line       int // from 1; 0 when there is no line
	Column     int // from 1; 0 when there is no column
	Err        error
}

// Error gives "file:line:column: text".
func (f *Fault) Error() string {
	var b strings.Builder
	if f.File != "" {
		b.WriteString(f.File)
		if f.Line > 0 {
			fmt.Fprintf(&b, ":%d", f.Line)
			if f.Column > 0 {
				fmt.Fprintf(&b, ":%d", f.Column)
			}
		}
		b.WriteString(": ")
	}
	b.WriteString(f.Text)
	return b.String()
}

// Unwrap gives the cause.
func (f *Fault) Unwrap() error { return f.Err }
