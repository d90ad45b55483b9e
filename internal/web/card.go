package web

import (
	"fmt"

	"route/internal/plan"
	"route/internal/quantity"
)

// point is easting and northing in frame metres, to the centimetre.
type point [2]float64

// card is one layout as the page shows it.
type card struct {
	ID        string     `json:"id"`
	Title     string     `json:"title"`
	Why       string     `json:"why"`
	Mine      bool       `json:"mine"`
	Works     bool       `json:"works"`
	Figures   []figure   `json:"figures"`
	Places    []place    `json:"places"`
	Pipes     []pipe     `json:"pipes"`
	Standpipe *standpipe `json:"standpipe"`
	Limits    *limits    `json:"limits"`
	Chances   []figure   `json:"chances"` // of each test by itself
	Words     []word     `json:"words"`
}

// limits are drawn where a layout would meet them.
type limits struct {
	DriveM        plan.Number `json:"drive_m"` // greatest length of the drive pipe
	DriveText     string      `json:"drive_text"`
	StandpipeTopM plan.Number `json:"standpipe_top_m"` // greatest height of the running water; null without a standpipe
	StandpipeText string      `json:"standpipe_text"`
}

// figure is a number in words.
type figure struct {
	Key   string `json:"key"`
	Label string `json:"label"`
	Value string `json:"value"`
	Note  string `json:"note"`
}

type place struct {
	Role     string      `json:"role"`
	Name     string      `json:"name"`
	At       point       `json:"at"`
	StationM plan.Number `json:"station_m"`
	ZM       plan.Number `json:"z_m"`
	Text     string      `json:"text"`
}

type vertex struct {
	At       point       `json:"at"`
	AlongM   plan.Number `json:"along_m"`
	StationM plan.Number `json:"station_m"`
	GroundM  plan.Number `json:"ground_m"`
	InvertM  plan.Number `json:"invert_m"`
	GradeM   plan.Number `json:"grade_m"`
}

type pipe struct {
	Role string   `json:"role"`
	Name string   `json:"name"`
	Text string   `json:"text"`
	Path []vertex `json:"path"`
}

type standpipe struct {
	StationM plan.Number `json:"station_m"`
	FootM    plan.Number `json:"foot_m"`
	TopM     plan.Number `json:"top_m"`
	RunningM plan.Number `json:"running_m"`
}

type word struct {
	Level string `json:"level"`
	Text  string `json:"text"`
	Hint  string `json:"hint"`
	Place string `json:"place"`
	// StationM and At are where it is to be looked at; null where nowhere.
	StationM plan.Number `json:"station_m"`
	At       point       `json:"at"`
}

// teller words the parts of a plan.
type teller struct {
	system  quantity.System
	toFrame func(lon, lat float64) (e, n float64)
	site    *plan.Site // whose limits are drawn
}

func (t teller) at(lon, lat plan.Degrees) point {
	e, n := t.toFrame(float64(lon), float64(lat))
	return point{cm(e), cm(n)}
}

func (t teller) show(d quantity.Dimension, v plan.Number) string {
	if !v.Known() {
		return "not known"
	}
	return quantity.Format(t.system, d, float64(v))
}

func (t teller) length(v plan.Number) string { return t.show(quantity.Length, v) }

func (t teller) day(v plan.Number) string {
	return t.show(quantity.DailyVolume, v/(1000*86400))
}

func (t teller) perMin(v plan.Number) string { return t.show(quantity.Flow, v/60000) }

func percent(v plan.Number) string {
	if !v.Known() {
		return "not known"
	}
	return fmt.Sprintf("%.0f %%", 100*float64(v))
}

// card words a layout.
func (t teller) card(l *plan.Layout) card {
	c := card{ID: l.ID, Title: "Layout " + l.ID, Why: l.Why, Works: true, Figures: t.figures(l), Places: t.places(l), Pipes: t.pipes(l), Limits: t.limitsOf(plan.Unknown), Chances: []figure{}, Words: words(t.system, l.Messages)}
	for _, x := range l.Sureties() {
		if x.Chance.Known() {
			c.Chances = append(c.Chances, figure{Label: sentenceCase(x.What), Value: x.Text()})
		}
	}
	if l.Standpipe != nil {
		s := l.Standpipe
		c.Limits = t.limitsOf(s.GroundM)
		c.Standpipe = &standpipe{s.StationM, s.GroundM, s.GroundM + s.HeightM, s.RunningLevelM}
	}
	return c
}

// figures lists what decides first.
func (t teller) figures(l *plan.Layout) []figure {
	water := fmt.Sprintf("%s to %s in 8 of 10 cases", t.day(l.DeliveredLDayLow), t.day(l.DeliveredLDayHigh))
	if t.day(l.WaterToCountOn()) != t.day(l.DeliveredLDay) {
		water = "count on " + t.day(l.WaterToCountOn()) + "; " + water
	}
	head := "± " + t.length(l.DriveHeadSigmaM)
	if t.length(l.HeadToCountOn()) != t.length(l.DriveHeadM) {
		head += "; count on " + t.length(l.HeadToCountOn())
	}
	cost := ""
	switch {
	case l.Cost.Range != nil:
		cost = "a range: the heights are good for screening only"
	case l.Cost.Low.Known() && l.Cost.High.Known():
		cost = fmt.Sprintf("%.0f to %.0f in 8 of 10 cases", float64(l.Cost.Low), float64(l.Cost.High))
	}
	list := []figure{
		{"water", "Water a day", t.day(l.DeliveredLDay), water},
		{"head", "Drive head", t.length(l.DriveHeadM), head},
		{"cost", "Materials", l.Cost.Text(), cost},
		{"chance", "Works as asked", l.Chance(), "chance, from the terrain, the creek and the pump"},
		{"lift", "Lift", t.length(l.Delivery.LiftM), ""},
		{"drive_flow", "Water drawn", t.perMin(l.DriveFlowLMin), percent(l.CreekLeftShare) + " of the low flow stays in the creek"},
		{"beats", "Beats a minute", fmt.Sprintf("%.0f", float64(l.BeatsPerMin)), ""},
		{"efficiency", "Efficiency", percent(l.Efficiency), "D’Aubuisson"},
		{"pumps", "Pumps", fmt.Sprintf("%d × %s", l.Pump.Count, l.Pump.Model), ""},
	}
	if l.Supply != nil {
		list = append(list, figure{"supply", "Supply pipe", t.length(l.Supply.LengthM), l.Supply.Material + " " + l.Supply.Size})
	}
	list = append(list, figure{"drive", "Drive pipe", t.length(l.Drive.LengthM), l.Drive.Material + " " + l.Drive.Size},
		figure{"delivery", "Delivery pipe", t.length(l.Delivery.LengthM), l.Delivery.Material + " " + l.Delivery.Size})
	if l.Standpipe != nil {
		list = append(list, figure{"standpipe", "Standpipe", t.length(l.Standpipe.HeightM), "water runs at " + t.length(l.Standpipe.RunningLevelM-l.Standpipe.GroundM)})
	}
	for _, s := range []struct {
		key, label string
		at         plan.Number
	}{{"intake_at", "Intake at", l.Intake.StationM}, {"pump_at", "Pump at", l.Pump.StationM}} {
		list = append(list, figure{s.key, s.label, t.length(s.at), "along the creek"})
	}
	return list
}

func (t teller) places(l *plan.Layout) []place {
	var list []place
	add := func(role, name string, p plan.Place, z plan.Number) {
		text := fmt.Sprintf("%s, height %s", name, t.length(z))
		if p.StationM.Known() {
			text = fmt.Sprintf("%s, %s along the creek, height %s", name, t.length(p.StationM), t.length(z))
		}
		list = append(list, place{role, name, t.at(p.Lon, p.Lat), p.StationM, z, text})
	}
	add("intake", "Intake", l.Intake.Place, l.Intake.WaterM)
	if l.SettlingBox != nil {
		add("settling_box", "Settling box", l.SettlingBox.Place, l.SettlingBox.WaterM)
	}
	if l.Standpipe != nil {
		add("standpipe", "Standpipe", l.Standpipe.Place, l.Standpipe.RunningLevelM)
	}
	add("pump", "Pump", l.Pump.Place, l.Pump.OutletM)
	add("tank", "Tank", l.Tank.Place, l.Tank.InletM)
	return list
}

func (t teller) pipes(l *plan.Layout) []pipe {
	var list []pipe
	add := func(role, name string, r *plan.PipeRun, from, to plan.Number) {
		p := pipe{Role: role, Name: name, Text: fmt.Sprintf("%s of %s %s; %s of %s at most", t.length(r.LengthM), r.Material, r.Size, t.show(quantity.Head, r.PressureM), t.show(quantity.Head, r.RatingM))}
		if !r.RatingM.Known() {
			p.Text = fmt.Sprintf("%s of %s %s", t.length(r.LengthM), r.Material, r.Size)
		}
		for _, v := range r.Path {
			station := v.StationM
			if !station.Known() && from.Known() && to.Known() && r.LengthM > 0 {
				// Away from the creek a vertex is drawn in the profile where its
				// share of the pipe's length puts it.
				station = from + (to-from)*v.AlongM/r.LengthM
			}
			p.Path = append(p.Path, vertex{t.at(v.Lon, v.Lat), v.AlongM, station, v.GroundM, v.InvertM, v.GradeM})
		}
		list = append(list, p)
	}
	head := l.Intake.StationM
	switch {
	case l.Standpipe != nil:
		head = l.Standpipe.StationM
	case l.SettlingBox != nil:
		head = l.SettlingBox.StationM
	}
	if l.Supply != nil {
		add("supply", "Supply pipe", &l.Supply.PipeRun, l.Intake.StationM, head)
	}
	add("drive", "Drive pipe", &l.Drive.PipeRun, head, l.Pump.StationM)
	add("delivery", "Delivery pipe", &l.Delivery.PipeRun, plan.Unknown, plan.Unknown)
	return list
}

func words(system quantity.System, messages []plan.Message) []word {
	list := []word{}
	for _, m := range messages {
		w := word{Level: m.Level, Text: plan.Sentence(m.Text), Hint: plan.Sentence(m.Hint), StationM: m.StationM}
		if m.StationM.Known() {
			w.Place = "at " + quantity.Format(system, quantity.Length, float64(m.StationM))
		}
		list = append(list, w)
	}
	return list
}

// limitsOf says where the limits lie that a hand meets first when it moves
// places; foot is the ground under the standpipe, unknown without one.
func (t teller) limitsOf(foot plan.Number) *limits {
	at := &t.site.Limits
	out := &limits{DriveM: plan.Number(at.DriveLengthMaxM), DriveText: "drive pipe at most " + quantity.Format(t.system, quantity.Length, at.DriveLengthMaxM), StandpipeTopM: plan.Unknown}
	if foot.Known() {
		out.StandpipeTopM = foot + plan.Number(at.StandpipeMaxM)
		out.StandpipeText = "water at most " + quantity.Format(t.system, quantity.Length, at.StandpipeMaxM) + " up"
	}
	return out
}
