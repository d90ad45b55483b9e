package export

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// The colours of the figures. Lines also differ in width and dashes, so that
// the figures can be read in grey; blue, vermilion, green and purple are from
// the set of Okabe and Ito, which the colour-blind can tell apart.
const (
	inkColour      = "#1d2327"
	softColour     = "#5b656c"
	gridColour     = "#dfe3e5"
	waterColour    = "#0072b2"
	bandColour     = "#bcd9ea"
	supplyColour   = "#c2500a"
	driveColour    = "#111111"
	deliveryColour = "#94407a"
	gradeColour    = "#00795a"
	groundColour   = "#8a7355"
	earthColour    = "#f3eee4"
	rawColour      = "#77828a"
)

// fontFamily names faces that are wide-spread; none is fetched.
const fontFamily = "Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif"

// canvas collects the elements of an SVG drawing. Coordinates are in pixels
// and are written to a tenth of one.
type canvas struct {
	b  bytes.Buffer
	px float64 // size of ordinary text
}

func (c *canvas) addf(format string, args ...any) { fmt.Fprintf(&c.b, format+"\n", args...) }

// xy prints a coordinate.
func xy(v float64) string {
	v = math.Round(v*10) / 10
	if v == 0 {
		return "0"
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// unknown says whether a coordinate is not a number: what stands at an unknown
// place is not drawn.
func unknown(coordinates ...float64) bool {
	return slices.ContainsFunc(coordinates, math.IsNaN)
}

func (c *canvas) rect(x, y, w, h float64, style string) {
	if unknown(x, y, w, h) {
		return
	}
	c.addf(`<rect x="%s" y="%s" width="%s" height="%s" %s/>`, xy(x), xy(y), xy(w), xy(h), style)
}

func (c *canvas) segment(x1, y1, x2, y2 float64, style string) {
	if unknown(x1, y1, x2, y2) {
		return
	}
	c.addf(`<line x1="%s" y1="%s" x2="%s" y2="%s" %s/>`, xy(x1), xy(y1), xy(x2), xy(y2), style)
}

func (c *canvas) disc(x, y, r float64, style string) {
	if unknown(x, y, r) {
		return
	}
	c.addf(`<circle cx="%s" cy="%s" r="%s" %s/>`, xy(x), xy(y), xy(r), style)
}

// write puts text on the drawing; anchor is start, middle or end.
func (c *canvas) write(x, y float64, anchor, style, text string) {
	if unknown(x, y) {
		return
	}
	if style != "" {
		style = " " + style
	}
	c.addf(`<text x="%s" y="%s" text-anchor="%s"%s>%s</text>`, xy(x), xy(y), anchor, style, escape(text))
}

// over is write with a light edge round the letters, for text over lines.
func (c *canvas) over(x, y float64, anchor, style, text string) {
	c.write(x, y, anchor, `stroke="#fff" stroke-width="3.5" stroke-linejoin="round" paint-order="stroke" `+style, text)
}

// point2 is a place on the drawing.
type point2 struct{ x, y float64 }

// polyline draws a line through points; points that are not numbers break it.
func (c *canvas) polyline(points []point2, style string) {
	if d := pathData(points); d != "" {
		c.addf(`<path d="%s" fill="none" %s/>`, d, style)
	}
}

// pathData writes the points as a path, leaving out those that would not move
// the pen by a tenth of a pixel.
func pathData(points []point2) string {
	var b strings.Builder
	pen, lastX, lastY := false, "", ""
	for i, p := range points {
		if math.IsNaN(p.x) || math.IsNaN(p.y) {
			pen = false
			continue
		}
		x, y := xy(p.x), xy(p.y)
		switch {
		case !pen:
			if i+1 >= len(points) || math.IsNaN(points[i+1].x) || math.IsNaN(points[i+1].y) {
				continue // alone
			}
			b.WriteString("M" + x + " " + y)
		case x == lastX && y == lastY:
			continue
		default:
			b.WriteString("L" + x + " " + y)
		}
		pen, lastX, lastY = true, x, y
	}
	return b.String()
}

// textWidth estimates how wide a text is at a size in pixels. The estimate is
// for the widest of the faces in fontFamily, so that what fits here fits.
func textWidth(text string, px float64) float64 {
	w := 0.0
	for _, r := range text {
		switch {
		case strings.ContainsRune("il.,:;'|!jI", r):
			w += 0.34
		case strings.ContainsRune("frt()[]/- ", r):
			w += 0.41
		case strings.ContainsRune("mwMW%@", r):
			w += 0.95
		case r >= 'A' && r <= 'Z':
			w += 0.72
		case r == '\u202f':
			w += 0.2
		default:
			w += 0.63
		}
	}
	return w * px
}
