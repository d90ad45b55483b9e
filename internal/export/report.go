package export

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"path/filepath"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"route/internal/catalog"
	"route/internal/plan"
	"route/internal/quantity"
)

//go:embed report.html.tmpl
var reportText string

//go:embed report.css
var reportStyle string

var reportTemplate = template.Must(template.New("report").Parse(reportText))

// Sizes of the figures of the report in CSS pixels: the width is that of the
// text on A4 with its margins; the map leaves room on the first page, A4 or
// Letter, for the answer above it.
const (
	reportWidth = 720
	reportPx    = 12.5
)

// writeReportHTML writes one page for the owner of the land. It holds its own
// style and pictures, asks for nothing from outside and runs no script.
func writeReportHTML(w io.Writer, p *plan.Plan) error {
	view, err := reportOf(p)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := reportTemplate.Execute(&b, view); err != nil {
		return err
	}
	_, err = w.Write(printable(b.Bytes()))
	return err
}

// printable drops what no page may hold: control characters other than line
// ends, and bytes that are not UTF-8.
func printable(b []byte) []byte {
	return bytes.Map(func(r rune) rune {
		if r < ' ' && r != '\n' || r == 0x7f || r == 0xfffe || r == 0xffff {
			return -1
		}
		return r
	}, bytes.ToValidUTF8(b, []byte("\uFFFD")))
}

// report is what the template prints: text in the reader's units.
type report struct {
	Style      template.CSS
	Site       string
	Headline   string
	Facts      []fact
	Warnings   []plan.Message // errors and warnings of plan and best layout
	Notes      []plan.Message
	Maps       []figure
	Profile    []figure
	Owner      owner
	Checks     []check
	Parts      []group
	Sure       sureness
	Crew       []group
	Uses       [][]string
	Pipes      [][]string
	Places     [][]string
	Compare    []comparison
	Ahead      ahead
	Best       string
	Takeoff    []takeoffGroup
	Total      string
	PriceNote  string
	Cautions   []caution
	Reaches    [][]string
	Rejected   [][]string
	Defaults   []plan.Default
	Works      []string
	Inputs     []input
	Version    string
	Seed       uint64
	HeightUnit string
}

type fact struct{ Label, Value, Note string }

// figure is a drawing that goes into the page as it is; it comes from canvas,
// which escapes every text.
type figure struct {
	Width, Height string
	Title, Text   string
	Drawing       template.HTML
}

type check struct{ What, Why string }

type group struct {
	Name string
	Rows [][2]string
}

type comparison struct {
	ID, Goal, Why, Water, Range, Chance, Head, Lift, Supply, Drive, Delivery, Pump, Cost string
	Best                                                                                 bool
}

type takeoffGroup struct {
	Name, Subtotal string
	Lines          []takeoffLine
}

type takeoffLine struct{ Name, Where, Need, Packs, Price, Amount string }

type input struct{ Path, Role, SHA256, About string }

// words prints the values of a plan for people.
type words struct{ system quantity.System }

func (w words) of(d quantity.Dimension, v plan.Number, si float64) string {
	if !v.Known() {
		return "–"
	}
	return quantity.Format(w.system, d, float64(v)*si)
}

func (w words) length(v plan.Number) string { return w.of(quantity.Length, v, 1) }
func (w words) bore(v plan.Number) string   { return w.of(quantity.Diameter, v, 1) }
func (w words) perMin(v plan.Number) string { return w.of(quantity.Flow, v, 1e-3/60) } // from L/min
func (w words) perSec(v plan.Number) string { return w.of(quantity.Flow, v, 1e-3) }    // from L/s
func (w words) perDay(v plan.Number) string { return w.of(quantity.DailyVolume, v, 1e-3/86400) }
func (w words) share(v plan.Number) string {
	return w.of(quantity.Ratio, plan.Number(math.RoundToEven(float64(v)*100)/100), 1) // as fmt rounds, so that all faces say the same
}
func (w words) velocity(v plan.Number) string { return w.of(quantity.Velocity, v, 1) }

// pressure prints a head of water as the pressure that a gauge shows; the
// metre of water is the conventional one, 9806.65 Pa.
func (w words) pressure(v plan.Number) string { return w.of(quantity.Pressure, v, 9806.65) }

func (w words) measure(v, sigma plan.Number) string {
	if !v.Known() {
		return "–"
	}
	if !sigma.Known() {
		return w.length(v)
	}
	return quantity.FormatMeasure(w.system, quantity.Length, quantity.Measure{Value: float64(v), Sigma: float64(sigma)})
}

// dayRange prints two volumes a day, with one unit where both have the same.
func (w words) dayRange(low, high plan.Number) string { return span(w.perDay(low), w.perDay(high)) }

// span joins two quantities, and names their unit once when it is the same.
func span(low, high string) string {
	if low == high {
		return low
	}
	number, unit, ok := strings.Cut(low, " ")
	if ok && strings.HasSuffix(high, " "+unit) {
		return number + " to " + high
	}
	return low + " to " + high
}

// numberOnly cuts the unit off, where the same stands right above.
func numberOnly(text string) string {
	if i := strings.LastIndexByte(text, ' '); i >= 0 {
		return text[:i]
	}
	return text
}

func plain(v plan.Number, decimals int) string {
	if !v.Known() {
		return "–"
	}
	return decimal(float64(v), decimals)
}

// money prints an exact amount with its currency, thousands set apart.
func money(currency string, d plan.Decimal) string {
	if d == "" {
		return "–"
	}
	whole, cents, _ := strings.Cut(string(d), ".")
	sign := ""
	if strings.HasPrefix(whole, "-") {
		sign, whole = "-", whole[1:]
	}
	for i := len(whole) - 3; i > 0 && len(whole) > 4; i -= 3 {
		whole = whole[:i] + "\u202f" + whole[i:]
	}
	if cents != "" {
		whole += "." + cents
	}
	return strings.TrimSpace(currency + " " + sign + whole)
}

// costRange prints between what the cost lies in 8 of 10 cases, for the start
// of a sentence.
func costRange(c plan.Cost) string {
	if !c.Low.Known() {
		return ""
	}
	return "8 of 10 cases: " + plain(c.Low, 0) + " to " + plain(c.High, 0) + "; "
}

// total prints the whole cost, or its range where no more is known.
func total(c plan.Cost) string {
	if c.Range != nil {
		return c.Text()
	}
	return money(c.Currency, c.Total)
}

func reportOf(p *plan.Plan) (*report, error) {
	w := words{p.System()}
	r := &report{
		Style: template.CSS(reportStyle), Site: p.Site, Headline: p.Headline(), Version: p.ToolVersion, Seed: p.Seed,
		Defaults: p.Defaults, Works: p.WorksCited, PriceNote: filepath.Base(p.Catalog), Cautions: cautions,
	}
	if r.Site == "" {
		r.Site = "unnamed site"
	}
	for _, f := range drawPanels(p, reportWidth, reportPx) {
		r.Profile = append(r.Profile, figure{xy(f.width), xy(f.height), f.name, f.text, template.HTML(f.b.String())})
	}
	maps, err := drawMaps(p, mapSize{reportWidth, 400, reportPx}, mapSize{reportWidth, 430, reportPx})
	if err != nil {
		return nil, err
	}
	for _, m := range maps {
		r.Maps = append(r.Maps, figure{xy(m.width), xy(m.height), m.name, m.text, template.HTML(m.b.String())})
	}
	r.messages(p)
	if len(p.Layouts) > 0 {
		r.bestLayout(p, w)
		r.compare(p, w)
		r.Ahead = aheadOf(p, w)
		r.Owner = ownerOf(p, w)
	}
	r.elsewhere(p, w)
	r.inputs(p)
	r.uses(p, w)
	r.Checks = checks(p, w)
	return r, nil
}

// messages sorts the findings of the plan and of its best layout.
func (r *report) messages(p *plan.Plan) {
	all := append([]plan.Message{}, p.Messages...)
	if len(p.Layouts) > 0 {
		all = append(all, p.Layouts[0].Messages...)
	}
	for _, m := range all {
		m.Text, m.Hint = sentence(m.Text), sentence(m.Hint)
		if m.Level == "note" {
			r.Notes = append(r.Notes, m)
		} else {
			r.Warnings = append(r.Warnings, m)
		}
	}
}

// sentence gives a text a capital and a full stop.
func sentence(s string) string {
	s = strings.TrimSpace(s)
	if s == "" {
		return ""
	}
	first, size := utf8.DecodeRuneInString(s)
	if !strings.ContainsAny(strings.SplitN(s, " ", 2)[0], "._:/=") { // a key or a path keeps its first letter
		s = string(unicode.ToUpper(first)) + s[size:]
	}
	if !strings.ContainsRune(".!?:…", rune(s[len(s)-1])) {
		s += "."
	}
	return s
}

func (r *report) bestLayout(p *plan.Plan, w words) {
	l := &p.Layouts[0]
	r.Best = l.ID
	r.Facts = []fact{
		{"Water a day to count on", w.perDay(l.WaterToCountOn()), "8 of 10 cases: " + w.dayRange(l.DeliveredLDayLow, l.DeliveredLDayHigh)},
		{"Materials", total(l.Cost), costRange(l.Cost) + "pipes, pump and fittings as listed; no labour unless listed"},
		{"Chance that it works as asked", w.share(l.ChanceWorks), "given what is known today of heights and losses"},
		{"Drive head to count on", w.measure(l.HeadToCountOn(), l.DriveHeadSigmaM), "lifts " + w.length(l.Delivery.LiftM) + " to the tank"},
	}
	r.Parts = parts(p, l, w)
	r.Sure = sure(p, l, w)
	r.Crew = crew(l, w)
	r.Pipes = pipeRows(l, w)
	r.Places = placeRows(l, w)
	r.takeoff(l, w)
}

func parts(p *plan.Plan, l *plan.Layout, w words) []group {
	pump := fmt.Sprintf("%d × %s", l.Pump.Count, l.Pump.Model)
	groups := []group{
		{"Pump", [][2]string{
			{"Pump", pump},
			{"Drive head, running", w.length(l.DriveHeadM)},
			{"Lift to the tank inlet", w.length(l.Delivery.LiftM)},
			{"Lift over drive head", plain(l.LiftRatio, 1)},
			{"Beats of the waste valve", plain(l.BeatsPerMin, 0) + " a minute"},
			{"Efficiency (D’Aubuisson)", w.share(l.Efficiency)},
			{"Surge that the drive pipe must stand", w.pressure(l.ShutoffHeadM)},
		}},
		{"Water", [][2]string{
			{"Drawn by the drive pipe", w.perMin(l.DriveFlowLMin)},
			{"Delivered", w.perMin(l.DeliveredLMin)},
			{"Delivered a day", w.perDay(l.DeliveredLDay)},
			{"8 of 10 cases", w.dayRange(l.DeliveredLDayLow, l.DeliveredLDayHigh)},
			{"Wanted a day", w.perDay(p.Demand)},
			{"Tank for the days of reserve", w.of(quantity.Volume, p.TankVolume, 1e-3)},
			{"Lowest flow of the creek", w.perSec(p.LowFlow)},
			{"Left in the creek beside the pipes at low flow", w.share(l.CreekLeftShare)},
		}},
	}
	if s := l.Standpipe; s != nil {
		groups = append(groups, group{"Standpipe", [][2]string{
			{"Height above the ground", w.length(s.HeightM)},
			{"Inside diameter", w.bore(s.InsideM)},
			{"Water above the ground, running", w.length(s.RunningLevelM - s.GroundM)},
			{"Water above the ground, at rest", w.length(s.StaticLevelM - s.GroundM)},
		}})
	}
	drive := [][2]string{
		{"Fall", w.length(l.Drive.FallM)},
		{"Length over inside diameter", plain(l.Drive.LengthToDiameter, 0)},
		{"Length over drive head", plain(l.Drive.LengthToHead, 1)},
	}
	return append(groups, group{"Drive pipe", drive})
}

// pipeRows are name, material and size, length, inside, flow, velocity,
// friction loss, greatest pressure and rating.
func pipeRows(l *plan.Layout, w words) [][]string {
	var rows [][]string
	for _, run := range runs(l) {
		what := strings.TrimSpace(run.Material + " " + run.Size)
		if run.Standard != "" {
			what += ", " + run.Standard
		}
		rows = append(rows, []string{run.name, what, w.length(run.LengthM), w.bore(run.InsideM), w.perSec(run.FlowLS),
			w.velocity(run.VelocityMS), w.length(run.LossM), w.pressure(run.PressureM), w.pressure(run.RatingM)})
	}
	return rows
}

// placeRows are name, distance along the creek, latitude and longitude,
// ground, and the level that counts there.
func placeRows(l *plan.Layout, w words) [][]string {
	level := map[string]string{
		"intake": "water " + w.length(l.Intake.WaterM),
		"pump":   "waste valve outlet " + w.length(l.Pump.OutletM),
		"tank":   "inlet " + w.length(l.Tank.InletM),
	}
	if l.SettlingBox != nil {
		level["settling_box"] = "water " + w.length(l.SettlingBox.WaterM)
	}
	if l.Standpipe != nil {
		level["standpipe"] = "water, running " + w.length(l.Standpipe.RunningLevelM)
	}
	var rows [][]string
	for _, at := range places(l) {
		where := "–"
		if (position{lon: at.at.Lon, lat: at.at.Lat}).located() {
			where = fmt.Sprintf("%.6f, %.6f", float64(at.at.Lat), float64(at.at.Lon))
		}
		rows = append(rows, []string{at.name, w.length(at.at.StationM), where, w.length(at.at.GroundM), level[at.role]})
	}
	return rows
}

func (r *report) takeoff(l *plan.Layout, w words) {
	for _, g := range []struct {
		id, name string
		subtotal plan.Decimal
	}{
		{"supply", "Supply", l.Cost.Supply}, {"drive", "Drive", l.Cost.Drive},
		{"delivery", "Delivery", l.Cost.Delivery}, {"other", "Other", l.Cost.Other},
	} {
		out := takeoffGroup{Name: g.name, Subtotal: money(l.Cost.Currency, g.subtotal)}
		for _, line := range l.Takeoff {
			if line.Group != g.id {
				continue
			}
			need := plain(line.Need, needDecimals(line))
			if line.NeedUnit == "m" {
				need = w.length(line.Need)
			}
			packs := packsText(line, w)
			out.Lines = append(out.Lines, takeoffLine{line.Name, line.Where, need, packs, money("", line.Price), money("", line.Amount)})
		}
		if len(out.Lines) > 0 {
			r.Takeoff = append(r.Takeoff, out)
		}
	}
	r.Total = money(l.Cost.Currency, l.Cost.Total)
}

// Count says how many of a unit there are: "3 coils", "16 × 10 ft", "184 m".
func Count(n int64, unit string) string {
	text := strconv.FormatInt(n, 10)
	switch {
	case unit == "each" || unit == "":
		return text
	case strings.ContainsAny(unit, "0123456789"): // a unit with a figure of its own: 10 ft, m3
		return text + " × " + unit
	case n != 1 && len(unit) > 2:
		return text + " " + unit + "s"
	}
	return text + " " + unit
}

// packsText says what to take off the shelf: "3 coils of 100 ft".
func packsText(line plan.TakeoffLine, w words) string {
	text := Count(line.Packs, line.Unit)
	if !(line.PackM > 0) || line.Kind == string(catalog.KindLabour) { // work is counted in lengths, not in packs
		return text
	}
	unit, perSI, _ := quantity.Unit(w.system, quantity.Length)
	return text + " of " + trimZeros(decimal(float64(line.PackM)*perSI, 1)) + " " + unit
}

func trimZeros(s string) string {
	if strings.Contains(s, ".") {
		return strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// goals are the words for what a layout was chosen for.
var goals = map[string]string{"most_head": "most drive head", "most_water": "most water", "most_sure_water": "most sure water", "least_cost": "least cost"}

func goal(code string) string {
	if text, ok := goals[code]; ok {
		return text
	}
	return strings.ReplaceAll(code, "_", " ")
}

// bestAt says at what a layout beats the others.
func bestAt(l *plan.Layout) string {
	if len(l.BestAt) == 0 {
		return "alternative"
	}
	var all []string
	for _, code := range l.BestAt {
		all = append(all, goal(code))
	}
	return strings.Join(all, ", ")
}

func (r *report) compare(p *plan.Plan, w words) {
	for i := range p.Layouts {
		l := &p.Layouts[i]
		c := comparison{
			ID: l.ID, Goal: bestAt(l), Why: l.Why, Best: i == 0, Supply: "none",
			Water: w.perDay(l.WaterToCountOn()), Range: numberOnly(w.dayRange(l.DeliveredLDayLow, l.DeliveredLDayHigh)),
			Chance: w.share(l.ChanceWorks), Head: w.measure(l.HeadToCountOn(), l.DriveHeadSigmaM), Lift: w.length(l.Delivery.LiftM),
			Drive: sizeAndLength(driveRun(l), w), Delivery: sizeAndLength(deliveryRun(l), w),
			Pump: fmt.Sprintf("%d × %s", l.Pump.Count, l.Pump.Model), Cost: total(l.Cost),
		}
		if l.Supply != nil {
			c.Supply = sizeAndLength(supplyRun(l), w)
		}
		r.Compare = append(r.Compare, c)
	}
}

func sizeAndLength(run pipeRun, w words) string { return run.Size + ", " + w.length(run.LengthM) }

// elsewhere lists what the rest of the creek could do.
func (r *report) elsewhere(p *plan.Plan, w words) {
	for _, same := range likeReaches(p.Reaches) {
		first, last := same[0], same[len(same)-1]
		verdict := first.Text
		if verdict == "" && first.Layout != "" {
			verdict = "pump of layout " + first.Layout
		}
		r.Reaches = append(r.Reaches, []string{
			span(w.length(first.FromM), w.length(last.ToM)),
			bounds(same, func(x plan.Reach) plan.Number { return x.DriveHeadM }, w.length),
			bounds(same, func(x plan.Reach) plan.Number { return x.DeliveredLDay }, w.perDay),
			verdict,
		})
	}
	for _, x := range p.Rejected {
		nearest := "–"
		if x.Nearest.StationM.Known() {
			nearest = w.length(x.Nearest.StationM) + " along the creek"
		}
		r.Rejected = append(r.Rejected, []string{x.Text, fmt.Sprint(x.Count), nearest})
	}
}

// likeReaches groups neighbours that have the same verdict.
func likeReaches(reaches []plan.Reach) [][]plan.Reach {
	var groups [][]plan.Reach
	for i, reach := range reaches {
		if i > 0 && reach.Layout == "" && reaches[i-1].Layout == "" && reach.Reason == reaches[i-1].Reason && reach.Text == reaches[i-1].Text {
			groups[len(groups)-1] = append(groups[len(groups)-1], reach)
			continue
		}
		groups = append(groups, []plan.Reach{reach})
	}
	return groups
}

// bounds prints the least and the greatest known value of a group.
func bounds(group []plan.Reach, value func(plan.Reach) plan.Number, format func(plan.Number) string) string {
	low, high := plan.Unknown, plan.Unknown
	for _, reach := range group {
		v := value(reach)
		if v.Known() && !(v >= low) {
			low = v
		}
		if v.Known() && !(v <= high) {
			high = v
		}
	}
	return span(format(low), format(high))
}

func (r *report) inputs(p *plan.Plan) {
	for _, in := range p.Inputs {
		var about []string
		for _, text := range []string{in.CRS, in.CellText, prefixed("heights in ", in.HeightUnits()), in.VerticalDatum, in.AccuracyClass, in.AccuracyWhy} {
			if text != "" {
				about = append(about, text)
			}
		}
		if in.Points != nil {
			about = append(about, fmt.Sprintf("%d points", *in.Points))
		}
		r.Inputs = append(r.Inputs, input{in.Path, in.Role, in.SHA256, strings.Join(about, "; ")})
	}
}

// uses lists what adds up to the water wanted.
func (r *report) uses(p *plan.Plan, w words) {
	for _, u := range p.DemandUses {
		count, each := plain(u.Count, 0), w.perDay(u.Each)
		if u.Per == "m²" {
			unit, perSI, _ := quantity.Unit(w.system, quantity.Area)
			count, each = w.of(quantity.Area, u.Count, 1), w.perDay(u.Each/plan.Number(perSI))+" a "+unit
		}
		r.Uses = append(r.Uses, []string{u.Use, count, each, w.perDay(u.Each * u.Count), u.Source})
	}
}

func prefixed(prefix, text string) string {
	if text == "" {
		return ""
	}
	return prefix + text
}
