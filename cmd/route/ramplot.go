package main

import (
	"fmt"
	"io"
	"math"
	"strings"
)

// point is one value of a curve.
type point struct{ x, y float64 }

// figure is a sheet of panels, two columns of three, each one curve over time.
type figure struct {
	width, height float64
	body          strings.Builder
}

func newFigure(width, height float64) *figure { return &figure{width: width, height: height} }

// The room around a panel's axes, in pixels.
const (
	marginLeft, marginRight, marginTop, marginBottom = 66.0, 16.0, 34.0, 46.0
)

// panel draws one curve with its axes; labels are plain text.
func (f *figure) panel(column, row int, title, label string, curve []point) {
	if len(curve) < 2 {
		return
	}
	w, h := f.width/2, f.height/3
	left, top := float64(column)*w+marginLeft, float64(row)*h+marginTop
	right, bottom := float64(column+1)*w-marginRight, float64(row+1)*h-marginBottom
	lowX, highX := curve[0].x, curve[len(curve)-1].x
	lowY, highY := 0.0, 0.0
	for _, p := range curve {
		lowY, highY = math.Min(lowY, p.y), math.Max(highY, p.y)
	}
	if highY-lowY < 1e-9 {
		highY = lowY + 1
	}
	room := 0.06 * (highY - lowY)
	highY += room
	if lowY < 0 {
		lowY -= room
	}
	x := func(v float64) float64 { return left + (v-lowX)/(highX-lowX)*(right-left) }
	y := func(v float64) float64 { return bottom - (v-lowY)/(highY-lowY)*(bottom-top) }
	b := &f.body
	fmt.Fprintf(b, `<text x="%.1f" y="%.1f" font-size="14" font-weight="600">%s</text>`+"\n", left, top-12, escape(title))
	for _, t := range ticks(lowY, highY, 5) {
		fmt.Fprintf(b, `<path d="M%.1f %.1fH%.1f" stroke="#d7dbe0"/><text x="%.1f" y="%.1f" text-anchor="end">%s</text>`+"\n", left, y(t), right, left-6, y(t)+4, number(t))
	}
	for _, t := range ticks(lowX, highX, 6) {
		fmt.Fprintf(b, `<path d="M%.1f %.1fV%.1f" stroke="#d7dbe0"/><text x="%.1f" y="%.1f" text-anchor="middle">%s</text>`+"\n", x(t), top, bottom, x(t), bottom+16, number(t))
	}
	fmt.Fprintf(b, `<text x="%.1f" y="%.1f" text-anchor="middle">time, s</text>`+"\n", (left+right)/2, bottom+34)
	fmt.Fprintf(b, `<text transform="translate(%.1f %.1f) rotate(-90)" text-anchor="middle">%s</text>`+"\n", left-48, (top+bottom)/2, escape(label))
	fmt.Fprintf(b, `<path d="M%.1f %.1fH%.1f" stroke="#6b7280"/>`+"\n", left, y(0), right)
	fmt.Fprintf(b, `<path d="%s" fill="none" stroke="#1d4f91" stroke-width="1.3" stroke-linejoin="round"/>`+"\n", outline(curve, x, y, right-left))
}

// outline draws a curve with no more than its least and greatest value a
// pixel, so that a long trace keeps every peak and stays small.
func outline(curve []point, x, y func(float64) float64, pixels float64) string {
	var b strings.Builder
	put := func(p point) {
		word := "L"
		if b.Len() == 0 {
			word = "M"
		}
		fmt.Fprintf(&b, "%s%.1f %.1f", word, x(p.x), y(p.y))
	}
	per := int(math.Ceil(float64(len(curve)) / (2 * pixels)))
	for i := 0; i < len(curve); i += per {
		low, high := i, i
		for k := i; k < min(i+per, len(curve)); k++ {
			if curve[k].y < curve[low].y {
				low = k
			}
			if curve[k].y > curve[high].y {
				high = k
			}
		}
		put(curve[min(low, high)])
		if low != high {
			put(curve[max(low, high)])
		}
	}
	return b.String()
}

// ticks are round numbers from low to high, about n of them.
func ticks(low, high float64, n int) []float64 {
	step := math.Pow(10, math.Floor(math.Log10((high-low)/float64(n))))
	for _, m := range []float64{1, 2, 5, 10} {
		if (high-low)/(step*m) <= float64(n) {
			step *= m
			break
		}
	}
	var list []float64
	for t := math.Ceil(low/step) * step; t <= high+step*1e-9; t += step {
		list = append(list, math.Round(t/step)*step)
	}
	return list
}

func number(v float64) string {
	if v == 0 {
		return "0"
	}
	return strings.Replace(fmt.Sprintf("%.4g", v), "-", "−", 1)
}

var escape = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;").Replace

func (f *figure) writeTo(w io.Writer) {
	fmt.Fprintf(w, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" width="%.0f" height="%.0f" font-family="system-ui,sans-serif" font-size="12" fill="#1f2933">`+"\n", f.width, f.height, f.width, f.height)
	fmt.Fprintf(w, `<rect width="%.0f" height="%.0f" fill="#fff"/>`+"\n%s</svg>\n", f.width, f.height, f.body.String())
}
