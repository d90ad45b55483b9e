package packet

import (
	"fmt"
	"strings"

	"route/internal/export"
	"route/internal/plan"
)

// visits prints what to measure before anything is bought.
func (s *sheet) visits() {
	s.page("Visit first")
	s.paragraph(0, 9, "", "What to measure or look at before anything is bought, the most telling first. Measured drops go into the site file under “field”; the next plan is then that much surer.")
	s.y += 1
	for _, c := range export.Checks(s.p) {
		s.room(14)
		s.y += 2
		s.tick(margin, s.y+3)
		s.font(sans, "B", 9.5, ink)
		s.text(margin+5, s.y+3, c.Head)
		s.y += 4.6
		s.paragraph(5, 8.5, "", c.Text)
	}
	if len(s.p.Visits) == 0 {
		return
	}
	s.heading("Readings")
	t := s.table(8.5, column{title: "visit", width: 10, right: true}, column{title: "by", width: 22}, column{title: "from", width: 36}, column{title: "down to", width: 36},
		column{title: "expected", width: s.inner() - 160, right: true}, column{title: "read there", width: 28, right: true}, column{title: "and back", width: 28, right: true})
	for i := range s.p.Visits {
		v := &s.p.Visits[i]
		t.row("", fmt.Sprint(v.Rank), instrument(v), v.From.Name, v.To.Name, s.measure(v.DropM, v.DropSigmaM), "____________", "____________")
	}
}

func instrument(v *plan.Visit) string {
	switch v.Instrument {
	case "hose":
		return "Water hose"
	case "hand_level":
		return "Hand level"
	}
	return "Level"
}

// cautions prints what everybody should mind, the warnings of this plan first.
func (s *sheet) cautions() {
	s.page("Mind")
	var warnings []plan.Message
	for _, m := range append(append([]plan.Message{}, s.p.Messages...), s.l.Messages...) {
		if m.Level != "note" {
			warnings = append(warnings, m)
		}
	}
	if len(warnings) > 0 {
		s.heading("On this site")
		for _, m := range warnings {
			text := export.Sentence(m.Text)
			if m.StationM.Known() {
				text = strings.TrimSuffix(text, ".") + " (at " + s.say(m.StationM) + " along the creek)."
			}
			if m.Hint != "" {
				text += " " + export.Sentence(m.Hint)
			}
			s.step("!", text)
		}
	}
	s.heading("Everywhere")
	for _, c := range export.Cautions() {
		s.room(12)
		s.y += 1.2
		s.paragraph(0, 9, "B", c.Head)
		s.paragraph(0, 8.5, "", c.Text)
	}
}
