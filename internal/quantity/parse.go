package quantity

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// The codes of ParseError.
const (
	CodeEmpty        = "empty_quantity"
	CodeBadNumber    = "bad_number"
	CodeDecimalComma = "decimal_comma"
	CodeMissingUnit  = "missing_unit"
	CodeUnknownUnit  = "unknown_unit"
	CodeImpossible   = "impossible_value"
)

// ParseError says why a quantity could not be read and what would be right.
type ParseError struct {
	Dim        Dimension
	Input      string
	Code       string // stable, one of the Code constants
	Text, Hint string
}

// Error gives text and hint in one line.
func (e *ParseError) Error() string { return e.Text + "; " + e.Hint }

// longestInput bounds what is worth reading as one quantity.
const longestInput = 100

// Parse reads a quantity with its unit as people write it and gives it in the
// dimension's SI unit: "90 ft", "8 ft 6 in", "1-1/4 in", `1 ¼"`, "12 gpm",
// "10C". Gallons are US gallons and feet are international feet unless the
// unit says otherwise ("imp gal", "us-ft"). A bare number, a decimal comma and
// a value that cannot be meant are errors, always a *ParseError.
func Parse(d Dimension, s string) (si float64, err error) {
	fail := func(code, hint, format string, args ...any) (float64, error) {
		return math.NaN(), &ParseError{Dim: d, Input: s, Code: code, Text: fmt.Sprintf(format, args...), Hint: hint}
	}
	k := &kinds[d]
	expected := "write " + k.a() + " with its unit, such as " + k.example
	shown := s
	if len(shown) > longestInput {
		shown = strings.ToValidUTF8(shown[:longestInput], "") + "…"
		return fail(CodeBadNumber, expected, "%q is too long for %s", shown, k.a())
	}
	text := normalise(s)
	if text == "" {
		return fail(CodeEmpty, expected, "%s is missing", k.a())
	}
	if hasCommaInNumber(text) {
		return fail(CodeDecimalComma, "write the decimals after a point and thousands without a mark, as in 1.5 or 1500",
			"%q has a comma in the number", shown)
	}

	negative := false
	switch text[0] {
	case '-':
		negative, text = true, strings.TrimSpace(text[1:])
	case '+':
		text = strings.TrimSpace(text[1:])
	}
	number, rest, ok := scanNumber(text)
	if !ok {
		return fail(CodeBadNumber, expected, "%q does not start with a number", shown)
	}
	if rest == "" {
		return fail(CodeMissingUnit, expected, "%q has no unit", shown)
	}
	if d == Slope {
		if run, after, ok := scanRatio(rest); ok && after == "" && run != 0 {
			number, rest = number/run, "m/m"
		}
	}
	if negative {
		number = -number
	}
	si, problem := k.sum(number, negative, rest)
	if problem != "" {
		return fail(CodeUnknownUnit, "units of "+k.a()+" are "+k.list()+"; "+expected, "%q: %s", shown, problem)
	}
	if math.IsNaN(si) || si < k.min || si > k.max {
		return fail(CodeImpossible, expected, "%q cannot be %s: %s", shown, k.a(), k.outside(si))
	}
	return si, nil
}

// sum reads "unit" or "unit number smallerUnit …" after a first number.
func (k *kind) sum(number float64, negative bool, rest string) (si float64, problem string) {
	if u, ok := k.lookup(rest); ok {
		return number*u.si + u.zero, ""
	}
	total := 0.0
	var last *unit
	for {
		word, tail := rest, ""
		if i := nextNumber(rest); i > 0 {
			word, tail = strings.TrimSpace(rest[:i]), rest[i:]
			word = strings.TrimSpace(strings.TrimSuffix(word, "-")) // 8'-6"
		}
		u, ok := k.lookup(word)
		if !ok {
			return 0, fmt.Sprintf("%q is not a unit of %s that is known here", word, k.a())
		}
		if last != nil {
			if !u.chain || u.si >= last.si {
				return 0, fmt.Sprintf("%q cannot follow %q", u.name, last.name)
			}
			if math.Abs(number)*u.si >= last.si*(1-1e-12) {
				return 0, fmt.Sprintf("%g %s is a whole %s or more", math.Abs(number), u.name, last.name)
			}
		}
		total += number * u.si
		if tail == "" {
			return total, ""
		}
		if !u.chain {
			return 0, fmt.Sprintf("nothing can follow %q", u.name)
		}
		last = &u
		if number != math.Trunc(number) {
			return 0, fmt.Sprintf("only the last number can have a fraction, and %g %s is not the last", math.Abs(number), u.name)
		}
		var okNumber bool
		number, rest, okNumber = scanNumber(tail)
		if !okNumber || rest == "" {
			return 0, fmt.Sprintf("%q is not a number with its unit", tail)
		}
		if negative {
			number = -number
		}
	}
}

// nextNumber is where the first number in s starts, or -1.
func nextNumber(s string) int {
	for i := range len(s) {
		if isDigit(s[i]) || s[i] == '.' && i+1 < len(s) && isDigit(s[i+1]) {
			return i
		}
	}
	return -1
}

// lookup finds a unit by any of its names.
func (k *kind) lookup(word string) (unit, bool) {
	for _, u := range k.units {
		for _, name := range u.names {
			if name == word {
				return u, true
			}
		}
	}
	lower := strings.ToLower(word)
	for _, u := range k.units {
		if u.exactCase {
			continue
		}
		for _, name := range u.names {
			if name == lower {
				return u, true
			}
		}
	}
	return unit{}, false
}

// a gives the name with its article.
func (k *kind) a() string {
	if strings.ContainsRune("aeiou", rune(k.name[0])) {
		return "an " + k.name
	}
	return "a " + k.name
}

// list names the units that are understood, as printed.
func (k *kind) list() string {
	names := make([]string, len(k.units))
	for i, u := range k.units {
		names[i] = u.name
	}
	return strings.Join(names, ", ")
}

// outside says on which side of the dimension's bounds a value lies.
func (k *kind) outside(si float64) string {
	u := k.column[SI]
	switch {
	case math.IsNaN(si) || math.IsInf(si, 0):
		return "it is not a finite number"
	case si < k.min && k.min == 0 && u.zero != 0:
		return "it is below absolute zero"
	case si < k.min && k.min == 0:
		return "it is negative"
	case si < k.min:
		return fmt.Sprintf("it is below %g %s", (k.min-u.zero)/u.si, u.name)
	}
	return fmt.Sprintf("it is above %g %s", (k.max-u.zero)/u.si, u.name)
}

// fractions are the vulgar fractions of Unicode that rulers and pipe sizes use.
var fractions = map[rune]string{
	'½': "1/2", '¼': "1/4", '¾': "3/4", '⅓': "1/3", '⅔': "2/3",
	'⅛': "1/8", '⅜': "3/8", '⅝': "5/8", '⅞': "7/8",
}

// normalise maps the typographic variants of one sign to one spelling: blanks,
// primes, minus signs, fractions, superscripts, the degree and micro signs.
func normalise(s string) string {
	var b strings.Builder
	blank := false
	put := func(text string) {
		if blank && b.Len() > 0 {
			b.WriteByte(' ')
		}
		blank = false
		b.WriteString(text)
	}
	for _, r := range s {
		if f, ok := fractions[r]; ok {
			// 1¼ and 1 ¼ are both one and a quarter.
			if text := b.String(); text != "" && isDigit(text[len(text)-1]) {
				blank = true
			}
			put(f)
			continue
		}
		switch r {
		case '′', '’', '‘', 'ʹ', '´', '`':
			put("'")
		case '″', '”', '“', '„', 'ʺ':
			put(`"`)
		case '−', '–', '—', '‐', '‑', '‒', '﹣', '-':
			put("-")
		case '⁄', '∕':
			put("/")
		case '²':
			put("2")
		case '³':
			put("3")
		case '₂':
			put("2")
		case 'º', '˚':
			put("°")
		case '℃':
			put("°C")
		case '℉':
			put("°F")
		case 'μ': // Greek mu for the micro sign
			put("µ")
		case '\u200b', '\ufeff', '\u2060': // no width, no meaning
		default:
			if unicode.IsSpace(r) {
				blank = true
				continue
			}
			put(string(r))
		}
	}
	return strings.NewReplacer(" /", "/", "/ ", "/", " / ", "/").Replace(b.String())
}

func isDigit(c byte) bool { return '0' <= c && c <= '9' }

// hasCommaInNumber tells a comma that touches a digit.
func hasCommaInNumber(s string) bool {
	for i := 1; i < len(s); i++ {
		if s[i] == ',' && isDigit(s[i-1]) {
			return true
		}
	}
	return strings.HasPrefix(s, ",")
}

// scanNumber reads "12", "12.5", "1e3", "12 500", "3/4", "1-1/4" or "1 1/4"
// from the start of s.
func scanNumber(s string) (value float64, rest string, ok bool) {
	i := 0
	for i < len(s) && isDigit(s[i]) {
		i++
	}
	whole := i
	// Thousands may be set apart by blanks: exactly three digits each, and no
	// digit or slash after them.
	for whole > 0 && whole <= 3 && i+4 <= len(s) && s[i] == ' ' && isDigit(s[i+1]) && isDigit(s[i+2]) && isDigit(s[i+3]) &&
		(i+4 == len(s) || !isDigit(s[i+4]) && s[i+4] != '/') {
		i += 4
	}
	if i < len(s) && s[i] == '/' && i > 0 { // 3/4
		return scanFraction(s)
	}
	if i > 0 && i < len(s) && (s[i] == '-' || s[i] == ' ') { // 1-1/4, 1 1/4
		if f, after, found := scanFraction(s[i+1:]); found && f < 1 {
			n, err := strconv.ParseFloat(strings.ReplaceAll(s[:i], " ", ""), 64)
			return n + f, after, err == nil
		}
	}
	digits := i
	if i < len(s) && s[i] == '.' {
		i++
		for i < len(s) && isDigit(s[i]) {
			i, digits = i+1, digits+1
		}
	}
	if digits == 0 {
		return 0, s, false
	}
	if i+1 < len(s) && (s[i] == 'e' || s[i] == 'E') {
		j := i + 1
		if s[j] == '+' || s[j] == '-' {
			j++
		}
		if j < len(s) && isDigit(s[j]) {
			for j < len(s) && isDigit(s[j]) {
				j++
			}
			i = j
		}
	}
	n, err := strconv.ParseFloat(strings.ReplaceAll(s[:i], " ", ""), 64)
	return n, strings.TrimSpace(s[i:]), err == nil
}

// scanFraction reads "3/4" at the start of s. The slash of a unit such as
// "1/s" is none: a digit must follow it.
func scanFraction(s string) (value float64, rest string, ok bool) {
	i := 0
	for i < len(s) && isDigit(s[i]) {
		i++
	}
	if i == 0 || i >= len(s) || s[i] != '/' {
		return 0, s, false
	}
	j := i + 1
	for j < len(s) && isDigit(s[j]) {
		j++
	}
	if j == i+1 || j < len(s) && s[j] == '.' {
		return 0, s, false
	}
	n, err1 := strconv.ParseFloat(s[:i], 64)
	m, err2 := strconv.ParseFloat(s[i+1:j], 64)
	if err1 != nil || err2 != nil || m == 0 {
		return 0, s, false
	}
	return n / m, strings.TrimSpace(s[j:]), true
}

// scanRatio reads ":50" or "in 50", the run of a slope.
func scanRatio(s string) (run float64, rest string, ok bool) {
	for _, mark := range []string{":", "in ", "to "} {
		if after, found := strings.CutPrefix(s, mark); found {
			if r, _ := utf8.DecodeRuneInString(strings.TrimSpace(after)); r >= '0' && r <= '9' {
				return scanNumber(strings.TrimSpace(after))
			}
		}
	}
	return 0, s, false
}
