package export

import "slices"

// mark is a place on the profile with its label.
type mark struct {
	at    point2
	lines []string // name, then particulars
}

// arrow draws the head of a dimension line; way is -1 for up, 1 for down.
func (c *canvas) arrow(x, y, way float64) {
	if unknown(x, y) {
		return
	}
	c.addf(`<path d="M%s %sL%s %sL%s %sZ" fill="%s"/>`, xy(x), xy(y), xy(x-3), xy(y-7*way), xy(x+3), xy(y-7*way), inkColour)
}

// labels writes the labels of places side by side at the top, each joined to
// its place by a thin line. Where they do not fit, particulars go.
func (c *canvas) labels(marks []mark, y float64, lo, hi float64) {
	marks = slices.DeleteFunc(marks, func(m mark) bool { return unknown(m.at.x, m.at.y) })
	slices.SortStableFunc(marks, func(a, b mark) int { return compare(a.at.x, b.at.x) })
	var lefts, widths []float64
	for lines := 2; lines > 0; lines-- {
		var middles []float64
		widths = widths[:0]
		for i := range marks {
			marks[i].lines = marks[i].lines[:min(lines, len(marks[i].lines))]
			w := 0.0
			for k, text := range marks[i].lines {
				size := c.px
				if k == 0 {
					size *= 1.08 // bold
				}
				w = max(w, textWidth(text, size))
			}
			widths, middles = append(widths, w), append(middles, marks[i].at.x)
		}
		var fits bool
		if lefts, fits = sideBySide(middles, widths, c.px, lo, hi); fits {
			break
		}
	}
	for i := range lefts {
		middle := lefts[i] + widths[i]/2
		end := point2{min(max(marks[i].at.x, lefts[i]+4), lefts[i]+widths[i]-4), y + 3.3*c.px}
		c.segment(end.x, end.y, marks[i].at.x, marks[i].at.y-7, stroke(softColour, 0.9, ""))
		for k, text := range marks[i].lines {
			style := `fill="` + softColour + `"`
			if k == 0 {
				style = `font-weight="bold"`
			}
			c.write(middle, y+(1.1+1.3*float64(k))*c.px, "middle", style, text)
		}
	}
}

// key is an entry of a legend: a sample, drawn with its left end and middle
// at a point, 26 px wide, and what it means.
type key struct {
	sample func(x, y float64)
	label  string
}

func (c *canvas) lineKey(style, label string) key {
	return key{func(x, y float64) { c.segment(x, y, x+26, y, style) }, label}
}

func (c *canvas) fillKey(fill, label string) key {
	return key{func(x, y float64) {
		c.rect(x, y-5, 26, 10, `fill="`+fill+`" stroke="`+gridColour+`"`)
	}, label}
}

// legend writes keys in rows between two sides, from a height on, and returns
// the height at which it ends.
func (c *canvas) legend(left, right, y float64, keys []key) float64 {
	x := left
	for _, k := range keys {
		w := 33 + textWidth(k.label, c.px)
		if x > left && x+w > right {
			x, y = left, y+1.6*c.px
		}
		k.sample(x, y-0.35*c.px)
		c.write(x+33, y, "start", "", k.label)
		x += w + 1.4*c.px
	}
	return y + c.px
}
