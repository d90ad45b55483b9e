package export

import (
	"fmt"
	"math"
	"strconv"

	"route/internal/quantity"
)

// panel is a plot: a box on the drawing, in pixels, and the ranges of distance
// and height, in metres, that it shows.
type panel struct {
	left, top, width, height float64
	fromM, toM               float64 // across
	lowM, highM              float64 // up
	system                   quantity.System
}

func (p *panel) x(m float64) float64 {
	return p.left + (m-p.fromM)/(p.toM-p.fromM)*p.width
}

func (p *panel) y(m float64) float64 {
	return p.top + (p.highM-m)/(p.highM-p.lowM)*p.height
}

func (p *panel) bottom() float64 { return p.top + p.height }
func (p *panel) right() float64  { return p.left + p.width }

// exaggeration is how many times larger heights are drawn than distances.
func (p *panel) exaggeration() float64 {
	return (p.height / (p.highM - p.lowM)) / (p.width / (p.toM - p.fromM))
}

// exaggerationText says it in words, to two digits.
func (p *panel) exaggerationText() string {
	e := p.exaggeration()
	if e > 0.95 && e < 1.05 {
		return "heights and distances drawn to the same scale"
	}
	decimals := 1
	if e >= 9.95 {
		decimals = 0
	}
	return fmt.Sprintf("heights drawn %s times as large as distances", strconv.FormatFloat(e, 'f', decimals, 64))
}

// tick is a mark on an axis.
type tick struct {
	m     float64
	label string
}

// ticksOf gives round marks in the reader's unit between two values in metres,
// about as many as wanted: steps of 1, 2 or 5 times a power of ten.
func ticksOf(system quantity.System, fromM, toM float64, wanted int) (ticks []tick, unit string) {
	unit, perSI, _ := quantity.Unit(system, quantity.Length)
	lo, hi := fromM*perSI, toM*perSI
	if !(hi > lo) || wanted < 1 {
		return nil, unit
	}
	step, decimals := roundStep((hi - lo) / float64(wanted))
	if (hi-lo)/step < 2 { // there may be a single mark, which gives no scale
		step, decimals = roundStep((hi - lo) / float64(wanted) / 2)
	}
	for k := math.Ceil(lo/step - 1e-9); k*step <= hi+step*1e-9; k++ {
		ticks = append(ticks, tick{k * step / perSI, decimal(k*step, decimals)})
	}
	return ticks, unit
}

// roundStep is the round number nearest above a step, and the decimals that
// its multiples need.
func roundStep(rough float64) (step float64, decimals int) {
	power := math.Pow(10, math.Floor(math.Log10(rough)))
	for _, m := range []float64{1, 2, 5, 10} {
		if m*power >= rough*(1-1e-9) {
			step = m * power
			break
		}
	}
	return step, max(0, -int(math.Floor(math.Log10(step)+1e-9)))
}

// axes draws the frame, the grid and the marks of a panel with their units.
func (c *canvas) axes(p *panel, acrossTitle, upTitle string) {
	across, unit := ticksOf(p.system, p.fromM, p.toM, max(2, int(p.width/(7*c.px))))
	up, _ := ticksOf(p.system, p.lowM, p.highM, max(3, int(p.height/(2.4*c.px))))
	grid := `stroke="` + gridColour + `" stroke-width="1"`
	for _, t := range across {
		c.segment(p.x(t.m), p.top, p.x(t.m), p.bottom(), grid)
		c.write(p.x(t.m), p.bottom()+1.35*c.px, "middle", "", t.label)
	}
	for _, t := range up {
		c.segment(p.left, p.y(t.m), p.right(), p.y(t.m), grid)
		c.write(p.left-0.5*c.px, p.y(t.m)+0.35*c.px, "end", "", t.label)
	}
	c.rect(p.left, p.top, p.width, p.height, `fill="none" stroke="`+softColour+`" stroke-width="1"`)
	c.write(p.left+p.width/2, p.bottom()+2.8*c.px, "middle", `fill="`+softColour+`"`, acrossTitle+" ("+unit+")")
	x, y := 1.1*c.px, p.top+p.height/2
	c.addf(`<text x="%s" y="%s" text-anchor="middle" fill="%s" transform="rotate(-90 %s %s)">%s</text>`,
		xy(x), xy(y), softColour, xy(x), xy(y), escape(upTitle+" ("+unit+")"))
}
