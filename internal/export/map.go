package export

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"strings"

	"github.com/paulmach/orb"

	"route/internal/plan"
	"route/internal/quantity"
)

// mapFigure is the map: shaded ground and contours with the creek, the pipes
// and the places over them. North is up: the site's frame is a transverse
// Mercator through the site, whose grid north departs from true north by less
// than a degree over any site of some kilometres.
type mapFigure struct {
	canvas
	plan          *plan.Plan
	relief        *plan.Relief
	system        quantity.System
	scale         float64 // pixels a metre
	mapH          float64 // height of the ground itself
	width, height float64
	taken         []box    // by labels
	busy          []point2 // points of lines that labels had better not cover
}

// drawMap draws the map at most so wide and so high, in pixels, with a size
// of text. It returns nil when the plan has no ground to draw.
func drawMap(p *plan.Plan, maxWidth, maxHeight, px float64) (*mapFigure, error) {
	r := p.Relief
	if r == nil || r.Cols < 2 || r.Rows < 2 || len(r.Shade) != r.Cols*r.Rows || r.ToFrame == nil || !(r.East > r.West) || !(r.North > r.South) {
		return nil, nil
	}
	m := &mapFigure{plan: p, relief: r, system: p.System()}
	m.px = px
	m.scale = min(maxWidth/(r.East-r.West), maxHeight/(r.North-r.South))
	m.width, m.mapH = m.scale*(r.East-r.West), m.scale*(r.North-r.South)
	m.addf(`<g font-family="%s" font-size="%s" fill="%s">`, fontFamily, xy(px), inkColour)
	m.addf(`<clipPath id="clip-map"><rect width="%s" height="%s"/></clipPath>`, xy(m.width), xy(m.mapH))
	m.addf(`<g clip-path="url(#clip-map)">`)
	if err := m.shade(); err != nil {
		return nil, err
	}
	m.contours()
	m.pipesAndCreek()
	m.places()
	m.stationMarks()
	m.contourLabels()
	m.addf(`</g>`)
	m.rect(0, 0, m.width, m.mapH, `fill="none" stroke="`+softColour+`" stroke-width="1"`)
	m.height = m.foot(m.mapH + 0.9*px)
	m.addf(`</g>`)
	return m, nil
}

// onMap turns degrees into a place on the drawing.
func (m *mapFigure) onMap(lon, lat plan.Degrees) point2 {
	if !(position{lon: lon, lat: lat}).located() {
		return point2{math.NaN(), math.NaN()}
	}
	e, n := m.relief.ToFrame(float64(lon), float64(lat))
	return m.ofFrame(e, n)
}

func (m *mapFigure) ofFrame(e, n float64) point2 {
	return point2{(e - m.relief.West) * m.scale, (m.relief.North - n) * m.scale}
}

// shade embeds the shaded ground as a picture, pale enough to draw on; where
// the height is unknown it stays white.
func (m *mapFigure) shade() error {
	r := m.relief
	picture := image.NewGray(image.Rect(0, 0, r.Cols, r.Rows))
	for i, s := range r.Shade {
		grey := uint8(255)
		if i >= len(r.Z) || r.Z[i] == r.Z[i] {
			grey = 255 - uint8(0.55*float64(255-s))
		}
		picture.SetGray(i%r.Cols, i/r.Cols, color.Gray{Y: grey})
	}
	var b bytes.Buffer
	encoder := png.Encoder{CompressionLevel: png.BestSpeed} // a tenth of the time for a quarter more bytes
	if err := encoder.Encode(&b, picture); err != nil {
		return err
	}
	m.addf(`<image x="0" y="0" width="%s" height="%s" preserveAspectRatio="none" href="data:image/png;base64,%s"/>`,
		xy(m.width), xy(m.mapH), base64.StdEncoding.EncodeToString(b.Bytes()))
	return nil
}

// contourStep is the distance between the levels of the contours, 0 when
// there are fewer than two.
func (m *mapFigure) contourStep() float64 {
	step := 0.0
	for i := 1; i < len(m.relief.Contours); i++ {
		d := math.Abs(m.relief.Contours[i].LevelM - m.relief.Contours[i-1].LevelM)
		if d > 1e-6 && (step == 0 || d < step) {
			step = d
		}
	}
	return step
}

// isIndex says whether a contour is one of every five that are drawn bolder.
func isIndex(levelM, step float64) bool {
	return step > 0 && int64(math.Round(levelM/step))%5 == 0
}

// contours draws the lines of equal height, without the crumbs that noise in
// the heights leaves.
func (m *mapFigure) contours() {
	step := m.contourStep()
	for _, bold := range []bool{false, true} {
		var d strings.Builder
		for _, c := range m.relief.Contours {
			if isIndex(c.LevelM, step) != bold {
				continue
			}
			line := m.contourLine(c.Line)
			if extent(line) >= 8 {
				d.WriteString(pathData(line))
			}
		}
		width := 0.6
		if bold {
			width = 1.1
		}
		if d.Len() > 0 {
			m.addf(`<path d="%s" fill="none" stroke="%s" stroke-opacity="0.7" stroke-width="%s"/>`, d.String(), groundColour, xy(width))
		}
	}
}

// contourLine puts a contour on the drawing, with points at least a pixel and
// a half apart.
func (m *mapFigure) contourLine(line orb.LineString) []point2 {
	var points []point2
	for i, v := range line {
		p := m.ofFrame(v[0], v[1])
		if n := len(points); n > 0 && i < len(line)-1 && math.Hypot(p.x-points[n-1].x, p.y-points[n-1].y) < 1.5 {
			continue
		}
		points = append(points, p)
	}
	return points
}

// extent is the longer side of the box round a line.
func extent(line []point2) float64 {
	if len(line) == 0 {
		return 0
	}
	lo, hi := line[0], line[0]
	for _, p := range line {
		lo, hi = point2{min(lo.x, p.x), min(lo.y, p.y)}, point2{max(hi.x, p.x), max(hi.y, p.y)}
	}
	return max(hi.x-lo.x, hi.y-lo.y)
}

// pipesAndCreek draws the lines, each on a white edge, and notes where they
// run so that labels keep clear.
func (m *mapFigure) pipesAndCreek() {
	creek := make([]point2, 0, len(m.plan.Creek.Stations))
	for _, s := range m.plan.Creek.Stations {
		creek = append(creek, m.onMap(s.Lon, s.Lat))
	}
	m.cased(creek, waterColour, 2.2, "")
	if len(m.plan.Layouts) == 0 {
		return
	}
	for _, run := range runs(&m.plan.Layouts[0]) {
		line := make([]point2, 0, len(run.Path))
		for _, v := range run.Path {
			line = append(line, m.onMap(v.Lon, v.Lat))
		}
		colour, width, dashes := pipeStyle(run.role)
		m.cased(line, colour, width, dashes)
	}
}

// pipeStyle is how a pipe is drawn on the map.
func pipeStyle(role string) (colour string, width float64, dashes string) {
	switch role {
	case "supply":
		return supplyColour, 3, ""
	case "drive":
		return driveColour, 4.5, ""
	}
	return deliveryColour, 3, "12 3"
}

func (m *mapFigure) cased(line []point2, colour string, width float64, dashes string) {
	m.polyline(line, stroke("#fff", width+2.4, "")+` stroke-opacity="0.8"`)
	m.polyline(line, stroke(colour, width, dashes)+` stroke-linecap="butt"`)
	for i, p := range line {
		m.busy = append(m.busy, p)
		if i == 0 {
			continue
		}
		q := line[i-1]
		for k := 1.0; k*6 < math.Hypot(p.x-q.x, p.y-q.y); k++ {
			t := k * 6 / math.Hypot(p.x-q.x, p.y-q.y)
			m.busy = append(m.busy, point2{q.x + t*(p.x-q.x), q.y + t*(p.y-q.y)})
		}
	}
}

// places draws the places of the best layout and the pumps of the others.
func (m *mapFigure) places() {
	if len(m.plan.Layouts) == 0 {
		return
	}
	type spot struct {
		at   point2
		name string
		bold bool
	}
	var spots []spot
	for _, at := range places(&m.plan.Layouts[0]) {
		spots = append(spots, spot{m.onMap(at.at.Lon, at.at.Lat), at.name, true})
		m.symbol(at.role, spots[len(spots)-1].at)
	}
	best := spots[len(spots)-2].at // the pump
	others := map[point2]int{}
	for _, l := range m.plan.Layouts[1:] {
		at := m.onMap(l.Pump.Lon, l.Pump.Lat)
		if math.IsNaN(at.x) || math.Hypot(at.x-best.x, at.y-best.y) < 8 {
			continue
		}
		near := -1
		for p, i := range others {
			if math.Hypot(at.x-p.x, at.y-p.y) < 8 {
				near = i
			}
		}
		if near >= 0 {
			spots[near].name += " " + l.ID
			continue
		}
		others[at] = len(spots)
		spots = append(spots, spot{at, l.ID, false})
		m.disc(at.x, at.y, 4, `fill="#fff" `+stroke(driveColour, 1.8, ""))
	}
	for _, s := range spots { // no label may cover a symbol
		m.taken = append(m.taken, box{s.at.x - 8, s.at.y - 8, 16, 16})
	}
	for _, s := range spots {
		m.label(s.at, s.name, s.bold)
	}
}

func (m *mapFigure) symbol(role string, at point2) {
	switch role {
	case "intake":
		m.disc(at.x, at.y, 5.5, `fill="#fff" `+stroke(waterColour, 2.5, ""))
	case "settling_box":
		m.rect(at.x-5, at.y-5, 10, 10, `fill="#fff" `+stroke(inkColour, 1.8, ""))
	case "standpipe":
		m.disc(at.x, at.y, 4.5, `fill="`+waterColour+`" `+stroke(inkColour, 1.8, ""))
	case "pump":
		m.rect(at.x-6, at.y-6, 12, 12, `fill="`+driveColour+`" stroke="#fff" stroke-width="1.5"`)
	case "tank":
		m.rect(at.x-7, at.y-7, 14, 14, `fill="`+waterColour+`" `+stroke(inkColour, 1.8, ""))
	}
}

// label writes the name of a place where it covers least: beside it, or
// further off with a thin line to it.
func (m *mapFigure) label(at point2, text string, bold bool) {
	if math.IsNaN(at.x) {
		return
	}
	weight := ""
	w, h := textWidth(text, m.px), 1.25*m.px
	if bold {
		weight, w = `font-weight="bold"`, 1.08*w
	}
	best, least, bestAway := box{}, math.Inf(1), 0.0
	for ring, away := range []float64{10, 26, 46, 70} {
		for k := range 8 {
			sin, cos := math.Sincos(float64(k) * math.Pi / 4)
			// The side of the box that faces the place lies at the distance.
			b := box{at.x + away*cos + w*(cos-1)/2, at.y - away*sin - h*(sin+1)/2, w, h}
			cost := m.coverCost(b) + 12*float64(ring) + float64(k)*0.1
			if cost < least {
				best, least, bestAway = b, cost, away
			}
		}
	}
	if bestAway > 12 {
		end := point2{min(max(at.x, best.x), best.x+best.w), min(max(at.y, best.y), best.y+best.h)}
		m.segment(at.x, at.y, end.x, end.y, stroke(inkColour, 0.8, ""))
	}
	m.over(best.x, best.y+0.95*m.px, "start", weight, text)
	m.taken = append(m.taken, best)
}

// coverCost says how bad it is to write over a box.
func (m *mapFigure) coverCost(b box) float64 {
	cost := 0.0
	if b.x < 2 || b.y < 2 || b.x+b.w > m.width-2 || b.y+b.h > m.mapH-2 {
		cost += 1e6
	}
	for _, t := range m.taken {
		if b.overlap(t) > 0 {
			cost += 500
		}
	}
	for _, p := range m.busy {
		if b.holds(p) {
			cost += 3
		}
	}
	return cost
}

// stationMarks writes round distances along the creek where there is room.
func (m *mapFigure) stationMarks() {
	all := m.plan.Creek.Stations
	if len(all) < 2 {
		return
	}
	// The number of marks follows the length of creek on the map.
	shown := 0.0
	for i := 1; i < len(all); i++ {
		if p := m.onMap(all[i].Lon, all[i].Lat); p.x >= 0 && p.y >= 0 && p.x <= m.width && p.y <= m.mapH {
			shown += float64(all[i].StationM - all[i-1].StationM)
		}
	}
	length := float64(all[len(all)-1].StationM - all[0].StationM)
	if !(shown > 0) {
		return
	}
	wanted := max(1, int(length/shown*6))
	marks, unit := ticksOf(m.system, float64(all[0].StationM), float64(all[len(all)-1].StationM), wanted)
	i := 0
	for _, t := range marks {
		for i < len(all)-2 && float64(all[i+1].StationM) < t.m {
			i++
		}
		at := m.onMap(all[i].Lon, all[i].Lat)
		if math.IsNaN(at.x) {
			continue
		}
		m.disc(at.x, at.y, 2.2, `fill="#fff" `+stroke(waterColour, 1.2, ""))
		m.small(at, t.label+" "+unit, waterColour)
	}
}

// small writes a minor label beside a point if nothing is in the way.
func (m *mapFigure) small(at point2, text, colour string) {
	w, h := textWidth(text, m.px), 1.2*m.px
	for _, b := range []box{{at.x + 6, at.y - h/2, w, h}, {at.x - 6 - w, at.y - h/2, w, h}, {at.x - w/2, at.y - 6 - h, w, h}, {at.x - w/2, at.y + 6, w, h}} {
		if m.coverCost(b) < 12 {
			m.over(b.x, b.y+0.95*m.px, "start", `fill="`+colour+`"`, text)
			m.taken = append(m.taken, b)
			return
		}
	}
}

// contourLabels writes the level on the bolder contours where there is room.
func (m *mapFigure) contourLabels() {
	step := m.contourStep()
	_, perSI, _ := quantity.Unit(m.system, quantity.Length)
	for _, c := range m.relief.Contours {
		line := m.contourLine(c.Line)
		if !isIndex(c.LevelM, step) || extent(line) < 90 {
			continue
		}
		text := decimal(c.LevelM*perSI, decimalsOf(step*perSI))
		w, h := textWidth(text, m.px), 1.2*m.px
		for _, share := range []float64{0.5, 0.3, 0.7, 0.15, 0.85} {
			at := line[int(share*float64(len(line)-1))]
			b := box{at.x - w/2, at.y - h/2, w, h}
			if m.coverCost(b) < 3 {
				m.over(at.x, at.y+0.35*m.px, "middle", `fill="#5f4d33"`, text)
				m.taken = append(m.taken, box{b.x - 40, b.y - 40, b.w + 80, b.h + 80})
				break
			}
		}
	}
}

// decimalsOf is how many decimals multiples of a round step need.
func decimalsOf(step float64) int {
	for d := 0; d < 4; d++ {
		if v := step * math.Pow(10, float64(d)); math.Abs(v-math.Round(v)) < 1e-6 {
			return d
		}
	}
	return 4
}

// foot draws scale bar, north arrow and legend under the map.
func (m *mapFigure) foot(y float64) float64 {
	_, perSI, _ := quantity.Unit(m.system, quantity.Length)
	step, decimals := roundStep(m.width / m.scale * perSI / 5)
	unit, _, _ := quantity.Unit(m.system, quantity.Length)
	half := step / perSI * m.scale
	for i, fill := range []string{inkColour, "#fff"} {
		m.rect(1+float64(i)*half, y+1.3*m.px, half, 6, `fill="`+fill+`" stroke="`+inkColour+`" stroke-width="1"`)
	}
	m.write(1, y+m.px, "start", "", "0")
	m.write(1+half, y+m.px, "middle", "", decimal(step, decimals))
	m.write(1+2*half, y+m.px, "middle", "", decimal(2*step, decimals)+" "+unit)
	if c := m.contourStep(); c > 0 {
		m.write(1+2*half+3.5*m.px, y+1.7*m.px, "start", `fill="`+softColour+`"`,
			fmt.Sprintf("Contours every %s %s", decimal(c*perSI, decimalsOf(c*perSI)), unit))
	}
	x := m.width - m.px
	m.addf(`<path d="M%s %sl6 20l-6 -5l-6 5Z" fill="%s"/>`, xy(x), xy(y), inkColour)
	m.write(x-0.8*m.px, y+1.2*m.px, "end", `font-weight="bold"`, "N")
	keys := []key{m.lineKey(stroke(waterColour, 2.2, ""), "Creek, with distance along it")}
	if len(m.plan.Layouts) > 0 {
		for _, run := range runs(&m.plan.Layouts[0]) {
			colour, width, dashes := pipeStyle(run.role)
			keys = append(keys, m.lineKey(stroke(colour, width, dashes), run.name))
		}
		if len(m.plan.Layouts) > 1 {
			keys = append(keys, key{func(x, y float64) { m.disc(x+13, y, 4, `fill="#fff" `+stroke(driveColour, 1.8, "")) }, "Pumps of other layouts"})
		}
	}
	return m.legend(1, m.width, y+4.4*m.px, keys) + 0.3*m.px
}
