package export

import (
	"encoding/csv"
	"io"
	"math"
	"strconv"
	"strings"

	"route/internal/plan"
	"route/internal/quantity"
)

// table is a CSV file as RFC 4180 has it (commas, CRLF, quotes where needed),
// in UTF-8 without a mark at its start. Numbers have a point and no thousands
// marks; an unknown value is an empty cell.
type table struct {
	w   *csv.Writer
	us  bool
	row []string
	err error
}

func newTable(w io.Writer, p *plan.Plan) *table {
	t := &table{w: csv.NewWriter(w), us: p.System() == quantity.US}
	t.w.UseCRLF = true
	return t
}

// header writes the column names. Columns whose name ends in _ft are written
// only for readers of feet.
func (t *table) header(names ...string) {
	for _, n := range names {
		if t.us || !strings.HasSuffix(n, "_ft") {
			t.row = append(t.row, n)
		}
	}
	t.end()
}

// text adds a cell of text that came from outside.
func (t *table) text(s string) { t.row = append(t.row, CellText(s)) }

// CellText makes text that came from outside fit for a cell of a CSV file. A
// spreadsheet would run a cell that starts like a formula; an apostrophe keeps
// it text (OWASP, "CSV Injection").
func CellText(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\r' || r == '\t':
			return ' '
		case r < ' ' || r == 0x7f:
			return -1
		}
		return r
	}, s)
	s = strings.TrimSpace(strings.ToValidUTF8(s, "\uFFFD"))
	if s != "" && strings.ContainsRune("=+-@", rune(s[0])) {
		s = "'" + s
	}
	// Full-width forms of the same signs are taken for them by some programs.
	for _, wide := range []string{"＝", "＋", "－", "＠"} {
		if strings.HasPrefix(s, wide) {
			s = "'" + s
		}
	}
	return s
}

// number adds a cell with a fixed number of decimals.
func (t *table) number(v plan.Number, decimals int) {
	t.row = append(t.row, decimal(float64(v), decimals))
}

// degrees adds a cell of longitude or latitude; seven decimals are about a
// centimetre.
func (t *table) degrees(v plan.Degrees) { t.row = append(t.row, decimal(float64(v), 7)) }

// feet adds a cell with a length in feet, for readers of feet.
func (t *table) feet(v plan.Number, decimals int) {
	if t.us {
		_, perSI, _ := quantity.Unit(quantity.US, quantity.Length)
		t.number(v*plan.Number(perSI), decimals)
	}
}

func (t *table) whole(v int64) { t.row = append(t.row, strconv.FormatInt(v, 10)) }

// exact adds an amount of money as it is.
func (t *table) exact(d plan.Decimal) { t.row = append(t.row, string(d)) }

func (t *table) end() {
	if t.err == nil {
		t.err = t.w.Write(t.row)
	}
	t.row = t.row[:0]
}

func (t *table) close() error {
	t.w.Flush()
	if t.err != nil {
		return t.err
	}
	return t.w.Error()
}

// decimal prints a number with fixed decimals, and nothing for an unknown one.
func decimal(v float64, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return ""
	}
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(text, "-0.") == "" {
		text = strings.TrimPrefix(text, "-")
	}
	return text
}
