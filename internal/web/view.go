package web

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"route/internal/export"
	"route/internal/packet"
	"route/internal/plan"
	"route/internal/quantity"
)

// view is a plan as the page shows it: all words and figures are made here.
type view struct {
	Units  string `json:"units"`
	Answer string `json:"answer"`
	// Screening says that the heights are good for finding a place only.
	Screening bool      `json:"screening"`
	Tank      place     `json:"tank"`
	Misses    []miss    `json:"misses"` // where no layout works: why, and where it failed by least
	Cards     []card    `json:"cards"`
	Front     *front    `json:"front"`
	Reaches   reaches   `json:"reaches"`
	Visits    []visit   `json:"visits"`
	Readings  []string  `json:"readings"`
	Steps     []step    `json:"steps"`
	Stages    []step    `json:"stages"`
	Words     []word    `json:"words"`
	Files     []file    `json:"files"`
	Profile   profileOf `json:"profile"`
	// Creek is there when the line of the creek is not that of the scene.
	Creek *creekLine `json:"creek"`
}

// miss is a limit that rules places out, and where it does so by least.
type miss struct {
	Text     string      `json:"text"`
	Where    string      `json:"where"`
	StationM plan.Number `json:"station_m"` // null where there is nothing to measure
}

type creekLine struct {
	StationM []plan.Number `json:"station_m"`
	At       []point       `json:"at"`
}

// tenthSigma is how many standard deviations a tenth of the normal distribution
// lies beyond.
const tenthSigma = 1.2816

// profileOf is the long profile; low and high bound the water line's height in
// 8 of 10 cases.
type profileOf struct {
	ZM    []plan.Number `json:"z_m"`
	LowM  []plan.Number `json:"low_m"`
	HighM []plan.Number `json:"high_m"`
	RawM  []plan.Number `json:"raw_m"`
}

type reaches struct {
	Label   string      `json:"label"`
	Top     plan.Number `json:"top"`
	TopText string      `json:"top_text"`
	List    []reach     `json:"list"`
}

type reach struct {
	FromM plan.Number `json:"from_m"`
	ToM   plan.Number `json:"to_m"`
	Water plan.Number `json:"water"`
	Text  string      `json:"text"`
}

type visit struct {
	Rank  int    `json:"rank"`
	Name  string `json:"name"`
	Text  string `json:"text"`
	How   string `json:"how"`
	Worth string `json:"worth"`
	From  place  `json:"from"`
	To    place  `json:"to"`
	Entry entry  `json:"entry"`
}

// entry is what the page needs to send a reading.
type entry struct {
	From  string `json:"from"`
	To    string `json:"to"`
	Unit  string `json:"unit"`
	Sigma string `json:"sigma"`
	By    string `json:"by"`
}

type file struct {
	Name string `json:"name"`
	What string `json:"what"`
}

// newView words a plan. base is the desk whose creek the scene shows.
func newView(p *plan.Plan, a *asked, base *plan.Desk) *view {
	t := teller{system: p.System(), toFrame: p.Relief.ToFrame, site: base.Site()}
	v := &view{Units: p.Units, Answer: p.Headline(), Cards: []card{}, Screening: p.ScreeningOnly, Tank: tankAt(base, a), Misses: []miss{}, Visits: []visit{}, Readings: []string{}, Words: words(p.System(), p.Messages)}
	v.Front = t.frontOf(p)
	v.Steps, v.Stages = t.stepsOf(p)
	for i := range p.Layouts {
		v.Cards = append(v.Cards, t.card(&p.Layouts[i]))
	}
	if len(p.Layouts) == 0 {
		v.Misses = t.misses(p)
	}
	v.Reaches = t.reaches(p)
	for i := range p.Visits {
		v.Visits = append(v.Visits, t.visit(&p.Visits[i]))
	}
	for _, r := range a.Wish.Readings {
		v.Readings = append(v.Readings, fmt.Sprintf("%s from %s to %s", r.Drop, t.stationWords(r.From), t.stationWords(r.To)))
	}
	for _, f := range export.Formats {
		v.Files = append(v.Files, file{string(f), f.What()})
	}
	if len(p.Layouts) > 0 {
		v.Files = append(v.Files, file{packet.File, "the field packet, to print for the crew"})
	}
	for _, s := range p.Creek.Stations {
		v.Profile.ZM = append(v.Profile.ZM, s.ZM)
		v.Profile.LowM = append(v.Profile.LowM, s.ZM-tenthSigma*s.ZSigmaM)
		v.Profile.HighM = append(v.Profile.HighM, s.ZM+tenthSigma*s.ZSigmaM)
		v.Profile.RawM = append(v.Profile.RawM, s.RawM)
	}
	v.Creek = t.otherCreek(p, base)
	return v
}

// otherCreek is the creek of a plan where it is not the one of the scene: with
// another tank, other parts of a long track may be within reach.
func (t teller) otherCreek(p *plan.Plan, base *plan.Desk) *creekLine {
	if base.SameCreek(p) {
		return nil
	}
	c := &creekLine{}
	for _, s := range p.Creek.Stations {
		c.StationM = append(c.StationM, s.StationM)
		c.At = append(c.At, t.at(s.Lon, s.Lat))
	}
	return c
}

func (t teller) reaches(p *plan.Plan) reaches {
	r := reaches{Label: "Most water a day with the pump here", Top: 0, List: []reach{}}
	for _, x := range p.Reaches {
		text := x.Text
		if x.DeliveredLDay.Known() {
			r.Top = max(r.Top, x.DeliveredLDay)
			text = t.day(x.DeliveredLDay) + " at most"
			if x.Text != "" {
				text += "; " + x.Text
			}
		}
		r.List = append(r.List, reach{x.FromM, x.ToM, x.DeliveredLDay, plan.Sentence(text)})
	}
	r.TopText = t.day(r.Top)
	if r.Top == 0 {
		r.Label = "No pump works anywhere along the creek within the limits; a click on it says why"
	}
	return r
}

// misses lists what rules places out, that which ruled out most of them first.
func (t teller) misses(p *plan.Plan) []miss {
	list := []miss{}
	rejected := slices.Clone(p.Rejected)
	slices.SortStableFunc(rejected, func(a, b plan.Rejected) int { return cmp.Compare(b.Count, a.Count) })
	for _, r := range rejected {
		m := miss{Text: plan.Sentence(r.Text), Where: counted(r.Count, "place"), StationM: plan.Unknown}
		if r.Nearest.Value.Known() {
			m.StationM = r.Nearest.StationM
			m.Where += ", by least at " + t.length(m.StationM) + " along the creek"
		}
		list = append(list, m)
	}
	return list
}

// tankAt is where the tank stands, also when there is no layout.
func tankAt(base *plan.Desk, a *asked) place {
	at := point(base.Tank())
	if a.Wish.Tank != nil {
		at = *a.Wish.Tank
	}
	return place{"tank", "Tank", point{cm(at[0]), cm(at[1])}, plan.Unknown, plan.Unknown, "Tank"}
}

// instruments by the words of the site file.
var instruments = map[string]string{"hose": "clear hose or water level", "hand_level": "hand level and staff", "level": "builder’s level and staff"}

func (t teller) visit(v *plan.Visit) visit {
	at := func(p plan.VisitPlace) place {
		return place{Role: "visit", Name: p.Name, At: t.at(p.Lon, p.Lat), StationM: p.StationM, ZM: p.GroundM, Text: p.Name}
	}
	unit, _, _ := quantity.Unit(t.system, quantity.Length)
	return visit{
		Rank: v.Rank, Text: plan.Sentence(v.Text), From: at(v.From), To: at(v.To),
		Name:  fmt.Sprintf("From %s to %s", v.From.Name, v.To.Name),
		How:   fmt.Sprintf("%s, %s, about %.1f h. Expected %s ± %s.", sentenceCase(instruments[v.Instrument]), counted(v.SetUps, "set-up"), float64(v.Hours), t.length(v.DropM), t.length(v.DropSigmaM)),
		Worth: fmt.Sprintf("Worth %s; it changes the choice in %s of cases.", v.Worth(t.system), percent(v.ChanceChanges)),
		Entry: entry{From: stationText(v.From.StationM), To: stationText(v.To.StationM), Unit: unit, Sigma: fmt.Sprintf("%.3f m", float64(v.SigmaM)), By: v.Instrument},
	}
}

// stationText is a station as the site file takes it.
func stationText(m plan.Number) string { return strconv.FormatFloat(float64(m), 'f', 1, 64) + " m" }

// stationWords shows a station of the site file in the page's units.
func (t teller) stationWords(text string) string {
	m, err := quantity.Parse(quantity.Length, text)
	if err != nil {
		return text
	}
	return quantity.Format(t.system, quantity.Length, m)
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func sentenceCase(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

// spotView is what a click on the ground tells.
type spotView struct {
	Text     []string    `json:"text"`
	Copy     string      `json:"copy"`
	StationM plan.Number `json:"station_m"`
	Why      string      `json:"why"`
}

// nearCreekM is how near to the creek a click means a place along it.
const nearCreekM = 15

func newSpotView(s plan.Spot, p *plan.Plan) spotView {
	t := teller{system: p.System()}
	v := spotView{Copy: s.LatLon(), StationM: plan.Unknown}
	v.Text = append(v.Text, "At "+s.LatLon()+" degrees. Ground at "+t.length(s.GroundM)+".")
	if !s.Allowed {
		v.Text = append(v.Text, "This is land to keep out of.")
	}
	if s.OffM > nearCreekM {
		v.Text = append(v.Text, fmt.Sprintf("The creek is %s away, nearest at %s along it.", t.length(s.OffM), t.length(s.StationM)))
		return v
	}
	v.StationM = s.StationM
	v.Text = append(v.Text, t.length(s.StationM)+" along the creek.")
	for _, r := range t.reaches(p).List {
		if s.StationM >= r.FromM && s.StationM <= r.ToM {
			v.Why = "A pump here: " + r.Text
			break
		}
	}
	return v
}

// limitNames say at which place a limit is broken.
var placeNames = map[string]string{"intake": "Intake", "settling_box": "Settling box", "standpipe": "Standpipe", "pump": "Pump", "supply": "Supply pipe"}

// tryCard works out the user's own layout.
func tryCard(ctx context.Context, d *plan.Desk, a *asked) (*card, error) {
	at := plan.Places{IntakeM: a.Places["intake"].StationM, PumpM: a.Places["pump"].StationM}
	if p, ok := a.Places["settling_box"]; ok && !p.None {
		at.BoxM = &p.StationM
	}
	if p, ok := a.Places["standpipe"]; ok && !p.None {
		at.StandpipeM = &p.StationM
	}
	if p, ok := a.Places["intake"]; !ok || p.None {
		at = beginning(d, at.PumpM)
	}
	trial, err := d.Try(ctx, at)
	if err != nil {
		return nil, err
	}
	t := teller{system: d.Site().Units, toFrame: d.ToFrame, site: d.Site()}
	c := t.ownPlaces(d, &at)
	if trial.Layout != nil {
		c = t.card(trial.Layout)
	}
	c.ID, c.Title, c.Mine, c.Works = "mine", "Your own", true, trial.Works
	c.Why = "These places, with the flow, pipes and pump that suit them best."
	if trial.Layout == nil {
		c.Why = "No pump would run with these places."
	}
	broken := []word{}
	for _, b := range trial.Broken {
		broken = append(broken, word{Level: "error", Text: plan.Sentence(b.Text), Place: placeNames[b.Place], StationM: b.StationM, At: t.at(b.Lon, b.Lat)})
	}
	c.Words = append(broken, c.Words...)
	return &c, nil
}

// beginning puts the other places above a pump, for a layout that starts with
// nothing else: where there is no layout to move, this is one. The standpipe
// stands as far up as three quarters of the longest drive pipe, the intake as
// far above it as half of the longest supply pipe reaches.
func beginning(d *plan.Desk, pumpM float64) plan.Places {
	limits, stations := &d.Site().Limits, d.Creek().Stations
	first := float64(stations[0])
	pump := min(max(pumpM, first), float64(stations[len(stations)-1]))
	foot := max(first+(pump-first)/2, pump-0.75*limits.DriveLengthMaxM)
	return plan.Places{IntakeM: max(first, foot-0.5*limits.SupplyLengthMaxM), StandpipeM: &foot, PumpM: pump}
}

// ownPlaces shows where places stand with which no pump runs.
func (t teller) ownPlaces(d *plan.Desk, at *plan.Places) card {
	c := card{Figures: []figure{{"water", "Water a day", "none", ""}}, Places: []place{}, Pipes: []pipe{}, Chances: []figure{}, Limits: t.limitsOf(plan.Unknown), Words: []word{}}
	creek := d.Creek()
	add := func(role, name string, m *float64) {
		if m == nil {
			return
		}
		k := 0
		for i, s := range creek.Stations {
			if math.Abs(float64(s)-*m) < math.Abs(float64(creek.Stations[k])-*m) {
				k = i
			}
		}
		p := creek.Points[k]
		station := plan.Number(creek.Stations[k])
		c.Places = append(c.Places, place{role, name, point{cm(p[0]), cm(p[1])}, station, plan.Number(creek.ZM[k]), fmt.Sprintf("%s, %s along the creek", name, t.length(station))})
	}
	add("intake", "Intake", &at.IntakeM)
	add("settling_box", "Settling box", at.BoxM)
	add("standpipe", "Standpipe", at.StandpipeM)
	add("pump", "Pump", &at.PumpM)
	tank := d.Tank()
	c.Places = append(c.Places, place{"tank", "Tank", point{cm(tank[0]), cm(tank[1])}, plan.Unknown, plan.Unknown, "Tank"})
	return c
}
