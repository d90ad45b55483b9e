package export

import (
	"fmt"
	"slices"
	"strings"

	"route/internal/plan"
)

// caution is a paragraph of what to mind.
type caution struct{ Head, Text string }

// cautions are common practice put into our own words. They name no statute:
// those differ from place to place, and the reader is sent to who knows them.
var cautions = []caution{
	{"This is creek water", "A ram lifts water as it finds it. Have it tested, treat it before anyone drinks it, and mark the taps that carry it untreated."},
	{"Pressure beats", "With every stroke the drive pipe, the pump and its air vessel see a pressure far above what a gauge shows, and more still when the delivery pipe is shut. Use parts rated for the surge given above. Let the pressure off before opening anything, and stand clear while the pump is started. Plain PVC pipe is not fit for an air vessel: it breaks into splinters."},
	{"Right to the water", "Taking water may need a right, a licence or a registration even when most of it runs back. Ask the water authority before buying."},
	{"Work in the creek", "Digging in bed or banks, and any weir, usually needs a permit, and may be allowed only in some months for the sake of fish. Screen the intake, and leave enough flow in the stretch that the pipes bypass, in the driest month too."},
	{"Air gap at the tank", "Let the water fall freely into the tank, well above its overflow. Never join these pipes to a public supply or to a house supply that is."},
	{"Frost, flood and falling rock", "Bury or drain what can freeze; every low point needs a drain. Set pump and standpipe above ordinary high water, anchor pipes, and expect to check them after every flood."},
	{"Hands and backs", "Steel pipe, wet concrete and a cast pump are heavy, banks are slippery and the water is cold. Carry in pairs; nobody works alone in a pit."},
	{"Before digging", "Have buried cables and pipes marked. Slopes that have slid before will do so again: keep trenches off them."},
	{"Who has the last word", "This report is an estimate made from terrain data and handbook formulas. Local codes, the pump maker’s instructions and the judgement of a licensed engineer, plumber or surveyor on the spot go before it."},
}

// checks lists what to measure before money is spent, the most telling first.
func checks(p *plan.Plan, w words) []check {
	var list []check
	for i := range p.Visits {
		v := &p.Visits[i]
		list = append(list, check{fmt.Sprintf("Visit %d", v.Rank), fmt.Sprintf("%s From %s to %s. Expected: %s. Work: %s; it changes the choice in %s of cases. In the site file, under “field”: %s",
			sentence(v.Text), v.From.LatLon(), v.To.LatLon(), w.measure(v.DropM, v.DropSigmaM), v.Pays(p.System(), p.Currency()), percent(v.ChanceChanges), v.Entry(p.System()))})
	}
	if len(p.Layouts) > 0 {
		l := &p.Layouts[0]
		source := "the water in the intake pool"
		if l.Standpipe != nil {
			source = "the water in the intake pool and the foot of the standpipe"
		}
		list = append(list, check{
			"Level the fall",
			fmt.Sprintf("Everything hangs on the drive head, and terrain data give it only as %s. With a level, or a clear hose filled with water, measure from %s down to where the waste valve will be (%s) before buying pipe. Measured drops go into the site file under “field”; the next run is then that much surer.",
				w.measure(l.DriveHeadM, l.DriveHeadSigmaM), source, w.length(l.Pump.StationM)+" along the creek"),
		})
	}
	if p.LowFlow.Known() {
		take := ""
		if p.Take.Known() {
			take = fmt.Sprintf(", of which it takes %s at most", w.perSec(p.Take))
		}
		list = append(list, check{"Measure the creek in the driest month", fmt.Sprintf("The plan counts on %s at the intake%s. A bucket and a watch, or a small notched board, are enough.", w.perSec(p.LowFlow), take)})
	}
	if len(p.Layouts) > 0 {
		if text := doubtfulStretches(p, w); text != "" {
			list = append(list, check{"Look at the doubtful stretches", text})
		}
		if p.Layouts[0].Supply != nil {
			list = append(list, check{"Walk the supply pipe", "It must fall all the way and must nowhere rise above the grade line of the drawing: air gathers at a hump and stops the flow."})
		}
		list = append(list, check{"Try the straight line of the drive pipe", "Stretch a string from its upper end to the pump. The pipe must lie straight and firmly held, and the pump must sit on something that does not move, above ordinary high water, with a free way for its waste water."})
		if !p.LiftMeasured() {
			list = append(list, check{"Measure the lift", fmt.Sprintf("Level, or at least read with a good altimeter there and back, from the pump to the tank inlet: %s in this plan.", w.length(p.Layouts[0].Delivery.LiftM))})
		}
	}
	return append(list, check{"Ask for leave", "Water right, work in the creek, and the neighbours whose land or water is touched."})
}

// percent prints a chance that may be small.
func percent(v plan.Number) string {
	if v < 0.01 {
		return "below 1 %"
	}
	return plain(100*v, 0) + " %"
}

// doubtfulStretches names the stations within the layout whose heights the
// terrain does not show.
func doubtfulStretches(p *plan.Plan, w words) string {
	lines := alongCreek(&p.Layouts[0])
	if len(lines[0].stationM) == 0 || len(lines[len(lines)-1].stationM) == 0 {
		return ""
	}
	last := lines[len(lines)-1].stationM
	from, to := lines[0].stationM[0], last[len(last)-1]
	words := map[string]string{"bridge": "a bridge or fill hides the creek", "void": "the terrain has no heights", "gap": "the walked track has a gap", "junction": "two channels lie close together"}
	var found []string
	stations := p.Creek.Stations
	for _, flag := range []string{"bridge", "void", "gap", "junction"} {
		for i := 0; i < len(stations); i++ {
			if s := float64(stations[i].StationM); s < from || s > to || !slices.Contains(stations[i].Flags, flag) {
				continue
			}
			j := i
			for j+1 < len(stations) && slices.Contains(stations[j+1].Flags, flag) {
				j++
			}
			found = append(found, fmt.Sprintf("%s to %s: %s", w.length(stations[i].StationM), w.length(stations[j].StationM), words[flag]))
			i = j
		}
	}
	const most = 6
	if len(found) > most {
		found = append(found[:most], fmt.Sprintf("and %d more in profile.csv", len(found)-most))
	}
	if len(found) == 0 {
		return ""
	}
	return "Along the creek, " + strings.Join(found, "; ") + ". Heights there are drawn across, not measured."
}
