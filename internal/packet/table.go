package packet

// column is a column of a table.
type column struct {
	title string
	width float64 // mm
	right bool    // numbers stand to the right
}

// table is a list that goes on over pages, its head repeated on each.
type table struct {
	s       *sheet
	columns []column
	points  float64
	shaded  bool // the next row
}

func (s *sheet) table(points float64, columns ...column) *table {
	t := &table{s: s, columns: columns, points: points}
	t.head()
	return t
}

func (t *table) head() {
	s := t.s
	s.font(narrow, "B", t.points, ink)
	step, most := t.points*lineOf, 1
	var cells [][]string
	for _, c := range t.columns {
		lines := s.lines(c.title, c.width-1.5)
		cells, most = append(cells, lines), max(most, len(lines))
	}
	s.fill(faint)
	s.pdf.Rect(margin, s.y, s.inner(), step*float64(most)+1.2, "F")
	t.cells(cells, "B")
	s.y += step*float64(most) + 1.2
}

func (t *table) cells(cells [][]string, style string) {
	s, x, step := t.s, margin, t.points*lineOf
	s.font(narrow, style, t.points, ink)
	for i, c := range t.columns {
		for k, line := range cells[i] {
			y := s.y + 0.6 + step*(float64(k)+0.75)
			if line == tickMark {
				s.tick(x+0.8, y)
				s.font(narrow, style, t.points, ink)
			} else if c.right {
				s.right(x+c.width-1.5, y, line)
			} else {
				s.text(x+0.7, y, line)
			}
		}
		x += c.width
	}
}

// tickMark in a cell is a box to tick.
const tickMark = "\x00tick"

// row writes a row, and below it, over all but the first columns, a line of
// its own where there is one to say.
func (t *table) row(below string, cells ...string) {
	s, step, most := t.s, t.points*lineOf, 1
	s.font(narrow, "", t.points, ink)
	var broken [][]string
	for i, c := range t.columns {
		lines := []string{cells[i]}
		if cells[i] != tickMark {
			lines = s.lines(cells[i], c.width-1.7)
		}
		broken, most = append(broken, lines), max(most, len(lines))
	}
	indent := t.columns[0].width
	var more []string
	if below != "" {
		s.font(narrow, "B", t.points, ink)
		more = s.lines(below, s.inner()-indent-2)
	}
	height := step*float64(most+len(more)) + 1.2
	if s.y+height > s.bottom() {
		s.page(s.title)
		t.head()
		t.shaded = false
	}
	if t.shaded {
		s.fill(pale)
		s.pdf.Rect(margin, s.y, s.inner(), height, "F")
	}
	t.shaded = !t.shaded
	t.cells(broken, "")
	s.font(narrow, "B", t.points, ink)
	for k, line := range more {
		s.text(margin+indent+0.7, s.y+0.6+step*(float64(most+k)+0.75), line)
	}
	s.y += height
	s.stroke(faint, 0.15)
	s.pdf.Line(margin, s.y, s.width-margin, s.y)
}

// sum writes a row in bold.
func (t *table) sum(cells ...string) {
	s, step := t.s, t.points*lineOf
	s.room(step + 2)
	var broken [][]string
	for _, c := range cells {
		broken = append(broken, []string{c})
	}
	t.cells(broken, "B")
	s.y += step + 1.6
	t.shaded = false
}
