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

// mapFigure is a map: shaded ground and contours with the creek, the pipes and
// the places over them. North is up: the site's frame is a transverse Mercator
// through the site, whose grid north departs from true north by less than a
// degree over any site of some kilometres.
type mapFigure struct {
	canvas
	plan          *plan.Plan
	relief        *plan.Relief
	window        window
	system        quantity.System
	scale         float64 // pixels a metre
	mapW, mapH    float64 // of the ground itself
	whole         bool    // the whole ground with all layouts, not the best one close up
	width, height float64
	name, text    string
	taken         []box    // by labels
	busy          []point2 // points of lines that labels had better not cover
}

// window is a part of the ground in frame metres.
type window struct{ west, south, east, north float64 }

func (w window) width() float64  { return w.east - w.west }
func (w window) height() float64 { return w.north - w.south }

// mapSize is the room for a map in pixels.
type mapSize struct{ width, height, px float64 }

// drawMaps draws the best layout close up and, when that shows little of the
// ground, the whole ground with the pumps of all layouts. Without layouts
// there is only the whole ground; without ground there is no map.
func drawMaps(p *plan.Plan, closeUp, whole mapSize) ([]*mapFigure, error) {
	r := p.Relief
	if r == nil || r.Cols < 2 || r.Rows < 2 || len(r.Shade) != r.Cols*r.Rows || r.ToFrame == nil || !(r.East > r.West) || !(r.North > r.South) {
		return nil, nil
	}
	all := window{r.West, r.South, r.East, r.North}
	if len(p.Layouts) == 0 {
		m, err := drawMap(p, all, true, whole)
		return []*mapFigure{m}, err
	}
	best := closeUpOf(p, all, closeUp.width/closeUp.height)
	first, err := drawMap(p, best, false, closeUp)
	if err != nil || best.width()*best.height() > 0.6*all.width()*all.height() {
		return []*mapFigure{first}, err
	}
	second, err := drawMap(p, all, true, whole)
	return []*mapFigure{first, second}, err
}

// closeUpOf is the part of the ground round the best layout, widened towards
// the shape of the room as far as there is ground.
func closeUpOf(p *plan.Plan, all window, shape float64) window {
	w := window{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	take := func(lon, lat plan.Degrees) {
		if (position{lon: lon, lat: lat}).located() {
			e, n := p.Relief.ToFrame(float64(lon), float64(lat))
			w = window{min(w.west, e), min(w.south, n), max(w.east, e), max(w.north, n)}
		}
	}
	for _, run := range runs(&p.Layouts[0]) {
		for _, v := range run.Path {
			take(v.Lon, v.Lat)
		}
	}
	for _, at := range places(&p.Layouts[0]) {
		take(at.at.Lon, at.at.Lat)
	}
	if !(w.east >= w.west) {
		return all
	}
	pad := max(10, 0.14*max(w.width(), w.height()))
	w = window{w.west - pad, w.south - pad, w.east + pad, w.north + pad}
	if spare := shape*w.height() - w.width(); spare > 0 {
		w.west, w.east = w.west-spare/2, w.east+spare/2
	} else {
		w.south, w.north = w.south+spare/shape/2, w.north-spare/shape/2
	}
	w.west, w.east = within(w.west, w.east, all.west, all.east)
	w.south, w.north = within(w.south, w.north, all.south, all.north)
	return w
}

// within shifts an interval into another, and cuts it when it is longer.
func within(from, to, lo, hi float64) (float64, float64) {
	if to-from >= hi-lo {
		return lo, hi
	}
	shift := max(0, lo-from) - max(0, to-hi)
	return from + shift, to + shift
}

// drawMap draws one map into the room for it.
func drawMap(p *plan.Plan, w window, whole bool, room mapSize) (*mapFigure, error) {
	m := &mapFigure{plan: p, relief: p.Relief, window: w, system: p.System(), whole: whole}
	m.px = room.px
	m.scale = min(room.width/w.width(), room.height/w.height())
	m.mapW, m.mapH = m.scale*w.width(), m.scale*w.height()
	m.width = max(m.mapW, min(room.width, 34*m.px)) // the foot wants some room
	m.name, m.text = "Map", "Map of the creek over the shaded ground; north is up."
	if len(p.Layouts) > 0 {
		m.text = "Map of the creek, the pipes of layout " + p.Layouts[0].ID + " and its places over the shaded ground with contours; north is up."
		if whole {
			m.name, m.text = "Map of all layouts", "Map of the whole ground with the pumps of all layouts; north is up."
		}
	}
	clip := "clip-map"
	if whole {
		clip = "clip-map-all"
	}
	m.addf(`<g font-family="%s" font-size="%s" fill="%s">`, fontFamily, xy(m.px), inkColour)
	m.addf(`<clipPath id="%s"><rect width="%s" height="%s"/></clipPath>`, clip, xy(m.mapW), xy(m.mapH))
	m.addf(`<g transform="translate(%s 0)">`, xy((m.width-m.mapW)/2))
	m.addf(`<g clip-path="url(#%s)">`, clip)
	if err := m.shade(); err != nil {
		return nil, err
	}
	m.contours()
	m.pipesAndCreek()
	m.places()
	m.stationMarks()
	m.contourLabels()
	m.addf(`</g>`)
	m.rect(0, 0, m.mapW, m.mapH, `fill="none" stroke="`+softColour+`" stroke-width="1"`)
	m.addf(`</g>`)
	m.height = m.foot(m.mapH + 0.9*m.px)
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
	return point2{(e - m.window.west) * m.scale, (m.window.north - n) * m.scale}
}

func (m *mapFigure) shows(p point2) bool {
	return p.x >= 0 && p.y >= 0 && p.x <= m.mapW && p.y <= m.mapH
}

// shade embeds the shaded ground as a picture, pale enough to draw on; where
// the height is unknown it stays white. Only the cells of the window go in.
func (m *mapFigure) shade() error {
	r := m.relief
	cellW, cellH := (r.East-r.West)/float64(r.Cols), (r.North-r.South)/float64(r.Rows)
	col0 := max(0, int(math.Floor((m.window.west-r.West)/cellW)))
	col1 := min(r.Cols, int(math.Ceil((m.window.east-r.West)/cellW)))
	row0 := max(0, int(math.Floor((r.North-m.window.north)/cellH)))
	row1 := min(r.Rows, int(math.Ceil((r.North-m.window.south)/cellH)))
	if col1 <= col0 || row1 <= row0 {
		return nil
	}
	picture := image.NewGray(image.Rect(0, 0, col1-col0, row1-row0))
	for row := row0; row < row1; row++ {
		for col := col0; col < col1; col++ {
			i := row*r.Cols + col
			grey := uint8(255)
			if i >= len(r.Z) || r.Z[i] == r.Z[i] {
				grey = 255 - uint8(0.5*float64(255-r.Shade[i]))
			}
			picture.SetGray(col-col0, row-row0, color.Gray{Y: grey})
		}
	}
	var b bytes.Buffer
	encoder := png.Encoder{CompressionLevel: png.BestSpeed} // a tenth of the time for a quarter more bytes
	if err := encoder.Encode(&b, picture); err != nil {
		return err
	}
	corner := m.ofFrame(r.West+float64(col0)*cellW, r.North-float64(row0)*cellH)
	m.addf(`<image x="%s" y="%s" width="%s" height="%s" preserveAspectRatio="none" href="data:image/png;base64,%s"/>`,
		xy(corner.x), xy(corner.y), xy(float64(col1-col0)*cellW*m.scale), xy(float64(row1-row0)*cellH*m.scale), base64.StdEncoding.EncodeToString(b.Bytes()))
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
			for _, part := range m.seen(line) {
				if extent(part) >= 8 {
					d.WriteString(pathData(part))
				}
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

// seen cuts a line down to what lies on the map or within a margin of it.
func (m *mapFigure) seen(line []point2) [][]point2 {
	const margin = 20
	var parts [][]point2
	var part []point2
	for _, p := range line {
		if p.x > -margin && p.y > -margin && p.x < m.mapW+margin && p.y < m.mapH+margin {
			part = append(part, p)
			continue
		}
		if len(part) > 0 {
			parts, part = append(parts, append(part, p)), nil
		}
	}
	if len(part) > 0 {
		parts = append(parts, part)
	}
	return parts
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

// spot is a place with its label.
type spot struct {
	at   point2
	name string
	bold bool
}

// places draws the places of the best layout and the pumps of the others. On
// the map of the whole ground, the best layout is a letter like the others.
func (m *mapFigure) places() {
	if len(m.plan.Layouts) == 0 {
		return
	}
	var spots []spot
	best := &m.plan.Layouts[0]
	for _, at := range places(best) {
		s := spot{m.onMap(at.at.Lon, at.at.Lat), at.name, true}
		switch {
		case m.whole && at.role == "pump":
			s.name = best.ID
		case m.whole && at.role != "tank":
			continue
		}
		m.symbol(at.role, s.at)
		spots = append(spots, s)
	}
	for i := range m.plan.Layouts[1:] {
		l := &m.plan.Layouts[i+1]
		spots = m.otherPump(spots, m.onMap(l.Pump.Lon, l.Pump.Lat), l.ID)
	}
	for _, s := range spots { // no label may cover a symbol
		m.taken = append(m.taken, box{s.at.x - 8, s.at.y - 8, 16, 16})
	}
	for _, s := range spots {
		m.label(s.at, s.name, s.bold)
	}
}

// otherPump draws the pump of another layout, or adds its letter to one that
// stands at the same place on the map.
func (m *mapFigure) otherPump(spots []spot, at point2, id string) []spot {
	if !m.shows(at) {
		return spots
	}
	for i := range spots {
		if math.Hypot(at.x-spots[i].at.x, at.y-spots[i].at.y) < 8 {
			if m.whole && spots[i].name != "Tank" || !spots[i].bold {
				spots[i].name += " " + id
			}
			return spots
		}
	}
	m.disc(at.x, at.y, 4, `fill="#fff" `+stroke(driveColour, 1.8, ""))
	return append(spots, spot{at, id, false})
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
	if b.x < 2 || b.y < 2 || b.x+b.w > m.mapW-2 || b.y+b.h > m.mapH-2 {
		cost += 1e6
	}
	for _, t := range m.taken {
		if b.overlap(t) > 0 {
			cost += 500
		}
	}
	for _, p := range m.busy {
		if b.holds(p) {
			cost += 6
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
		if m.shows(m.onMap(all[i].Lon, all[i].Lat)) {
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
		if !m.shows(at) {
			continue
		}
		m.disc(at.x, at.y, 2.2, `fill="#fff" `+stroke(waterColour, 1.2, ""))
		m.small(at, t.label+" "+unit, waterColour)
	}
}

// small writes a minor label beside a point if nothing is in the way.
func (m *mapFigure) small(at point2, text, colour string) {
	w, h := textWidth(text, m.px), 1.2*m.px
	for _, b := range []box{
		{at.x + 6, at.y - h/2, w, h}, {at.x - 6 - w, at.y - h/2, w, h}, {at.x - w/2, at.y - 6 - h, w, h}, {at.x - w/2, at.y + 6, w, h},
		{at.x + 5, at.y - 4 - h, w, h}, {at.x + 5, at.y + 4, w, h}, {at.x - 5 - w, at.y - 4 - h, w, h}, {at.x - 5 - w, at.y + 4, w, h},
	} {
		if m.coverCost(b) < 6 {
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
			if m.coverCost(b) < 6 {
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
	unit, perSI, _ := quantity.Unit(m.system, quantity.Length)
	x := m.width - m.px
	m.addf(`<path d="M%s %sl6 20l-6 -5l-6 5Z" fill="%s"/>`, xy(x), xy(y), inkColour)
	m.write(x-0.8*m.px, y+1.2*m.px, "end", `font-weight="bold"`, "N")
	step, decimals := roundStep(m.width / m.scale * perSI / 10)
	half := step / perSI * m.scale
	for i, fill := range []string{inkColour, "#fff"} {
		m.rect(1+float64(i)*half, y+1.3*m.px, half, 6, `fill="`+fill+`" stroke="`+inkColour+`" stroke-width="1"`)
	}
	end := decimal(2*step, decimals) + " " + unit
	m.write(1, y+m.px, "start", "", "0")
	m.write(1+half, y+m.px, "middle", "", decimal(step, decimals))
	m.write(1+2*half, y+m.px, "middle", "", end)
	if c := m.contourStep(); c > 0 {
		text := fmt.Sprintf("Contours every %s %s", decimal(c*perSI, decimalsOf(c*perSI)), unit)
		right := m.width - 3.5*m.px
		if right-textWidth(text, m.px) < 1+2*half+textWidth(end, m.px) { // no room beside the scale
			right, y = m.width, y+2.2*m.px
			m.write(right, y+1.5*m.px, "end", `fill="`+softColour+`"`, text)
			y -= 0.8 * m.px
		} else {
			m.write(right, y+1.5*m.px, "end", `fill="`+softColour+`"`, text)
		}
	}
	if m.whole && len(m.plan.Layouts) > 0 {
		return y + 2.6*m.px
	}
	keys := []key{m.lineKey(stroke(waterColour, 2.2, ""), "Creek, with distance along it")}
	if len(m.plan.Layouts) > 0 {
		for _, run := range runs(&m.plan.Layouts[0]) {
			colour, width, dashes := pipeStyle(run.role)
			keys = append(keys, m.lineKey(stroke(colour, width, dashes), run.name))
		}
	}
	return m.legend(1, m.width, y+4.2*m.px, keys) + 0.3*m.px
}
