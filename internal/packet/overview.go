package packet

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/boombuler/barcode/qr"

	"route/internal/export"
	"route/internal/plan"
	"route/internal/quantity"
)

// overview is the first page: the answer, the way to the start, map and
// profile.
func (s *sheet) overview() {
	s.page("Overview")
	l := s.l
	s.paragraph(0, 10, "B", s.answer())
	if s.p.ScreeningOnly {
		s.paragraph(0, 9, "B", "For screening only: the heights behind this plan are good for finding a place, not for building. Measure the fall before anything is bought or dug.")
	}
	s.y += 2
	top := s.y
	start := l.Stakes[0]
	side := 26.0
	s.qr(s.width-margin-side, top, side, fmt.Sprintf("geo:%.7f,%.7f", float64(start.Lat), float64(start.Lon)))
	s.font(narrow, "B", 8, ink)
	x := s.width - margin - side - 2
	s.right(x, top+3, "Start: "+start.Label)
	s.font(narrow, "", 8, ink)
	for i, line := range []string{
		fmt.Sprintf("%.6f°, %.6f°", float64(start.Lat), float64(start.Lon)),
		s.gridName(60),
		"E " + grid(start.GridE) + "  N " + grid(start.GridN),
		"ground " + s.say(start.GroundM),
	} {
		s.right(x, top+7+3.7*float64(i), s.cut(line, 60))
	}
	s.figures(top, x-62-margin)
	s.y = max(s.y, top+side) + 4

	profileHeight := 52.0
	b := box{margin, s.y, s.inner(), s.bottom() - s.y - profileHeight - 10}
	var points []point
	pipe, _ := s.chain()
	for _, v := range pipe {
		points = append(points, s.ground(v.Lon, v.Lat))
	}
	v := fit(b, points)
	s.mapOf(v)
	var list []label
	for i := range l.Stakes {
		k := &l.Stakes[i]
		at := v.at(s.ground(k.Lon, k.Lat))
		s.stakeMark(at, isKey(k))
		list = append(list, label{at, k.Label, isKey(k)})
	}
	s.heights(v, s.labels(b, 6.5, list))
	s.frame(v)
	s.y = b.y + b.h + 3
	s.legend()
	stakes := s.stakeList()
	s.profile(box{margin, s.y, s.inner(), profileHeight}, pipe, 0, pipe[len(pipe)-1].along, stakes, false)
	s.y += profileHeight
}

// answer says in a sentence what the layout does.
func (s *sheet) answer() string {
	l := s.l
	return fmt.Sprintf("%d × %s: %s of drive head lift %s of water a day %s up to the tank.", l.Pump.Count, l.Pump.Model,
		s.say(l.DriveHeadM), export.Say(s.p, quantity.Volume, l.WaterToCountOn(), 1e-3), s.say(l.Delivery.LiftM))
}

// gridName is the grid's name with its code whole, whatever room there is.
func (s *sheet) gridName(width float64) string {
	full := s.p.Frame.GridName
	k := strings.LastIndex(full, " (")
	if k < 0 || s.pdf.GetStringWidth(clean(full)) <= width {
		return full
	}
	return s.cut(full[:k], width-s.pdf.GetStringWidth(clean(full[k:]))) + full[k:]
}

// grid prints an easting or northing to a tenth of its unit.
func grid(v plan.Number) string {
	if !v.Known() {
		return "–"
	}
	return strconv.FormatFloat(float64(v), 'f', 1, 64)
}

// figures prints the key figures in two columns.
func (s *sheet) figures(top, width float64) {
	l := s.l
	pipe := func(run *plan.PipeRun) string {
		return s.say(run.LengthM) + " " + run.Material + " " + run.Size
	}
	rows := [][2]string{{"Drive pipe", pipe(&l.Drive.PipeRun)}, {"Delivery pipe", pipe(&l.Delivery.PipeRun)}}
	if l.Supply != nil {
		rows = append([][2]string{{"Supply pipe", pipe(&l.Supply.PipeRun)}}, rows...)
	}
	if st := l.Standpipe; st != nil {
		rows = append(rows, [2]string{"Standpipe", s.say(st.HeightM) + " of " + st.Size + ", runs full to " + s.say(st.RunningLevelM-st.GroundM)})
	}
	rows = append(rows,
		[2]string{"Drive flow", export.Say(s.p, quantity.Flow, l.DriveFlowLMin, 1e-3/60) + ", " + number(float64(int(float64(l.BeatsPerMin)+0.5))) + " beats a minute"},
		[2]string{"8 of 10 cases", export.Say(s.p, quantity.Volume, l.DeliveredLDayLow, 1e-3) + " to " + export.Say(s.p, quantity.Volume, l.DeliveredLDayHigh, 1e-3) + " a day"},
		[2]string{"Chance that it works", fmt.Sprintf("%.0f %%", 100*float64(l.ChanceWorks))})
	s.y = top
	for _, r := range rows {
		s.font(narrow, "", 8, soft)
		s.text(margin, s.y+3, r[0])
		s.font(narrow, "B", 8, ink)
		s.text(margin+30, s.y+3, s.cut(r[1], width-30))
		s.y += 3.9
	}
}

// legend says which line is what.
func (s *sheet) legend() {
	x := margin
	for _, k := range []struct {
		c    colour
		mm   float64
		name string
	}{{creekInk, 1.6, "creek"}, {supplyInk, 0.7, "supply pipe"}, {driveInk, 1.1, "drive pipe"}, {liftInk, 0.7, "delivery pipe"}, {earth, 0.3, "ground in the profile"}} {
		if k.c == supplyInk && s.l.Supply == nil {
			continue
		}
		s.stroke(k.c, k.mm)
		s.pdf.Line(x, s.y+1.2, x+7, s.y+1.2)
		s.font(narrow, "", 7.5, ink)
		s.text(x+8.5, s.y+2.2, k.name)
		x += 12 + s.pdf.GetStringWidth(k.name)
	}
	s.y += 4.5
}

// stakeList gives pointers to the stakes of the layout.
func (s *sheet) stakeList() []*plan.Stake {
	list := make([]*plan.Stake, len(s.l.Stakes))
	for i := range s.l.Stakes {
		list[i] = &s.l.Stakes[i]
	}
	return list
}

// qr draws a QR code (ISO/IEC 18004) with the quiet zone of four modules that
// readers need inside its square.
func (s *sheet) qr(x, y, side float64, text string) {
	code, err := qr.Encode(text, qr.M, qr.Auto)
	if err != nil {
		s.pdf.SetError(err)
		return
	}
	n := code.Bounds().Dx()
	module := side / float64(n+8)
	s.pdf.SetFillColor(255, 255, 255)
	s.pdf.Rect(x, y, side, side, "F")
	s.pdf.SetFillColor(0, 0, 0)
	for row := range n {
		for col := 0; col < n; col++ {
			// Neighbours in a row are one rectangle: no seams between them.
			end := col
			for end < n && dark(code.At(end, row).RGBA()) {
				end++
			}
			if end > col {
				s.pdf.Rect(x+module*float64(col+4), y+module*float64(row+4), module*float64(end-col), module*1.02, "F")
				col = end
			}
		}
	}
}

func dark(r, _, _, _ uint32) bool { return r < 0x8000 }
