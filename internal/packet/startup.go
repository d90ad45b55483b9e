package packet

import (
	"fmt"
	"math"
	"strings"

	"route/internal/export"
	"route/internal/plan"
	"route/internal/quantity"
)

// startUp prints how the pump is set going, and what to read and compare.
func (s *sheet) startUp() {
	s.page("Starting and checking")
	s.heading("Before water is let in")
	for _, text := range s.before() {
		s.step("", text)
	}
	s.heading("Starting")
	for i, text := range s.starting() {
		s.step(fmt.Sprintf("%d", i+1), text)
	}
	s.heading("Read and compare")
	t := s.table(8, column{title: "what", width: s.inner() - 140}, column{title: "expected", width: 44}, column{title: "read", width: 21}, column{title: "how", width: 45}, column{title: "in readings.csv", width: 30})
	for _, r := range s.readings() {
		t.row("", r[0], r[1], "__________", r[2], r[3])
	}
	s.y += 2
	s.paragraph(0, 8.5, "", "Water outside its band: look first for air in the supply pipe (its high stakes), a clogged screen, a delivery valve that leaks back, and an air vessel full of water. “route commission” takes these readings from a file, readings.csv, under the names in the last column, and says which fault makes them likeliest.")
	s.sizes()
}

// sizes lists in two columns to which size things are built.
func (s *sheet) sizes() {
	var rows [][2]string // a heading has no value
	for _, g := range export.Sizes(s.p, s.l) {
		if g.Name == "Starting" {
			continue // said above
		}
		rows = append(rows, [2]string{g.Name, ""})
		if g.Name == "Pump" {
			rows = append(rows, [2]string{"Surge that the drive pipe must stand", export.Say(s.p, quantity.Pressure, s.l.ShutoffHeadM, 9806.65)})
		}
		rows = append(rows, g.Rows...)
	}
	const step = 4.0
	half := (len(rows) + 1) / 2
	if half < len(rows) && rows[half-1][1] == "" {
		half-- // a heading stands over its rows
	}
	s.room(step*float64(max(half, len(rows)-half)) + 4)
	s.y += 3
	top, width := s.y, s.inner()/2-3
	for i, r := range rows {
		x, y := margin, top+step*float64(i)
		if i >= half {
			x, y = margin+s.inner()/2+3, top+step*float64(i-half)
		}
		if r[1] == "" {
			s.font(narrow, "B", 8.5, ink)
			s.text(x, y+3, r[0])
			continue
		}
		s.font(narrow, "B", 8, ink)
		value := s.cut(r[1], width/2)
		s.right(x+width, y+3, value)
		s.font(narrow, "", 8, soft)
		s.text(x, y+3, s.cut(r[0], width-2-s.pdf.GetStringWidth(value)*1.1))
	}
	s.y = top + step*float64(max(half, len(rows)-half))
}

// step is a thing to do, with a box to tick.
func (s *sheet) step(mark, text string) {
	s.font(sans, "", 9, ink)
	lines := s.lines(text, s.inner()-11)
	s.room(9*lineOf*float64(len(lines)) + 1)
	y := s.y + 9*lineOf*0.75
	s.tick(margin, y)
	s.font(sans, "B", 9, ink)
	s.text(margin+5, y, mark)
	s.font(sans, "", 9, ink)
	for k, line := range lines {
		s.text(margin+10, y+9*lineOf*float64(k), line)
	}
	s.y += 9*lineOf*float64(len(lines)) + 1
}

// before lists the checks of the key stakes, and what has to be tight.
func (s *sheet) before() []string {
	var list []string
	for i := range s.l.Stakes {
		if k := &s.l.Stakes[i]; k.Check != nil {
			list = append(list, k.Label+": "+k.Check.Text+". Read: __________")
		}
	}
	return append(list,
		"Joints tight, clamps double where the pipe is pushed over a barb, drive pipe held at every support, pump bolted down.",
		"Screen clean, way of the waste water free, overflow of the tank open, nobody working downstream.")
}

func (s *sheet) starting() []string {
	l := s.l
	var list []string
	if l.Supply != nil {
		text := "Open the intake with the valve above the pump shut. Let the supply pipe fill and run until no more air comes"
		if l.Starting.FillS.Known() {
			text += fmt.Sprintf(": about %s", minutes(l.Starting.FillS))
		}
		list = append(list, text+". Rap the pipe at its high places.")
	}
	if st := l.Standpipe; st != nil {
		list = append(list, fmt.Sprintf("The standpipe fills to %s above its foot. Mark that level, and the running level %s above the foot.",
			s.say(min(st.StaticLevelM-st.GroundM, st.HeightM)), s.say(st.RunningLevelM-st.GroundM)))
	}
	list = append(list, "Shut the delivery valve but for a crack, and open the drive valve slowly.")
	strokes := "Push the waste valve down by hand and let it snap shut until it goes on by itself"
	if l.Starting.StrokesLow.Known() {
		strokes += ": at least once"
		if n := math.Ceil(float64(l.Starting.StrokesLow)); n > 1 {
			strokes = strings.Replace(strokes, "once", fmt.Sprintf("%.0f times", n), 1)
		}
		if l.Starting.StrokesHigh.Known() {
			strokes += fmt.Sprintf(", up to %d with the delivery pipe open and empty", int(math.Ceil(float64(l.Starting.StrokesHigh))))
		}
	}
	list = append(list, strokes+". Keep fingers and face away from it.",
		"Open the delivery valve little by little while the pump beats.",
		fmt.Sprintf("Set the waste valve (weight or stroke) to %.0f beats a minute, until the standpipe holds its running level.", float64(l.BeatsPerMin)))
	if l.Standpipe == nil {
		list[len(list)-1] = fmt.Sprintf("Set the waste valve (weight or stroke) to %.0f beats a minute.", float64(l.BeatsPerMin))
	}
	if l.Starting.FirstWaterS.Known() {
		list = append(list, fmt.Sprintf("Water should reach the tank after about %s.", minutes(l.Starting.FirstWaterS)))
	}
	return append(list, "After a day and after a week: bolts, anchors, leaks, screen, beat. Then as often as leaves and floods ask for.")
}

func minutes(seconds plan.Number) string {
	switch v := float64(seconds); {
	case v < 90:
		return fmt.Sprintf("%.0f s", v)
	case v < 90*60:
		return fmt.Sprintf("%.0f min", v/60)
	default:
		return fmt.Sprintf("%.1f h", v/3600)
	}
}

// readings are what to measure once it runs: what, how much, how, and the name
// of the reading for internal/commission.
func (s *sheet) readings() [][4]string {
	l := s.l
	flow := func(litresPerMin plan.Number) string { return export.Say(s.p, quantity.Flow, litresPerMin, 1e-3/60) }
	pressure := func(head plan.Number) string { return export.Say(s.p, quantity.Pressure, head, 9806.65) }
	list := [][4]string{{"Pool above the valve outlet", s.say(l.Intake.WaterM - l.Pump.OutletM), "level or water hose, running", "pool level"}}
	if st := l.Standpipe; st != nil {
		list = append(list,
			[4]string{"Standpipe above its foot", s.measure(st.RunningLevelM-st.GroundM, st.RippleM), "tape from the top", "–"},
			[4]string{"Standpipe above the outlet", s.say(l.DriveHeadM), "and its foot above the outlet", "standpipe running"})
	}
	return append(list,
		[4]string{"Beats a minute", fmt.Sprintf("%.0f", float64(l.BeatsPerMin)), "count for two minutes", "beats"},
		[4]string{"Gauge, running", pressure(l.Delivery.Path[0].GradeM - l.Pump.OutletM), "middle of swing, cock nearly shut", "gauge running"},
		[4]string{"Gauge, just stopped", pressure(l.Delivery.LiftM), "delivery pipe full", "gauge at rest"},
		[4]string{"Water at the tank", flow(l.DeliveredLMin) + " (" + export.Span(flow(l.DeliveredLDayLow/1440), flow(l.DeliveredLDayHigh/1440)) + ")", "bucket and watch", "delivered"},
		[4]string{"Waste water", flow(l.DriveFlowLMin - l.DeliveredLMin), "bucket and watch", "waste flow"})
}
