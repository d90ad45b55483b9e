package plan

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"

	"route/internal/finding"
	"route/internal/hydraulics"
	"route/internal/quantity"
)

// DemandUse is one use of water on a site.
type DemandUse struct {
	Use    string
	Count  float64 // of Per
	Per    string  // what is counted: person, head, bird, m²
	Each   float64 // m³/s for one
	Source string  // of Each
}

// Flow is what the use takes in all, m³/s.
func (u DemandUse) Flow() float64 { return u.Count * u.Each }

// ownAmount is the source of an amount that the site file gives itself.
const ownAmount = "the site file"

// otherNames are how people call the uses of the published tables.
var otherNames = map[string]string{
	"people": "person", "persons": "person",
	"people, survival":       "person, survival",
	"dairy cows":             "dairy cow",
	"beef cows, dry or bred": "beef cow, dry or bred",
	"beef cows, nursing":     "beef cow, nursing",
	"cows and calves":        "cow and calf",
	"stockers":               "stocker",
	"horses":                 "horse",
	"sheep":                  "sheep or goat", "goat": "sheep or goat", "goats": "sheep or goat", "sheep and goats": "sheep or goat",
	"hens": "laying hens", "hen": "laying hens", "laying hen": "laying hens", "chickens": "laying hens",
	"gardens": "garden",
}

// tableUse finds a use in the published tables by any of its names.
func tableUse(name string) (hydraulics.Use, bool) {
	name = strings.ToLower(strings.Join(strings.Fields(name), " "))
	if other, ok := otherNames[name]; ok {
		name = other
	}
	use, err := hydraulics.UseByName(name)
	return use, err == nil
}

// knownUses lists the names of the tables for a message.
func knownUses() string {
	var names []string
	for _, u := range hydraulics.Uses() {
		name := u.Name
		if strings.Contains(name, ",") {
			name = strconv.Quote(name) // as it has to be written in a site file
		}
		names = append(names, name)
	}
	return strings.Join(names, "; ")
}

// demand adds up a list of uses: {use: people, count: 4}.
func (r *siteReader) demand(seq *ast.SequenceNode) error {
	total := 0.0
	var uses []DemandUse
	for _, item := range seq.Values {
		entries, ok := entriesOf(item)
		if !ok {
			return r.fault(item.GetToken(), "site_value", "", `demand must list uses, such as {use: people, count: 4} or {use: guests, count: 2, each: "100 L/day"}`)
		}
		use, err := r.use(item.GetToken(), entries)
		if err != nil {
			return err
		}
		uses = append(uses, use)
		total += use.Flow()
	}
	if k, _ := setting("demand"); total > 0 {
		if err := k.set(r.site, fmt.Sprintf("%g L/day", total*litresPerDay)); err != nil {
			return r.fault(seq.GetToken(), "site_value", "", "the uses do not add up to a possible demand: %s", err)
		}
	}
	r.site.Demand, r.site.DemandUses = total, uses
	r.site.given["demand"] = true
	return nil
}

// useEntry is a use as it is written.
type useEntry struct {
	name              string
	count, area, each float64 // 0 where it is not given
	nameAt            *token.Token
}

// use reads one use of water; what each takes comes from the file or else from
// the published tables.
func (r *siteReader) use(at *token.Token, entries []*ast.MappingValueNode) (DemandUse, error) {
	w := useEntry{nameAt: at}
	for _, e := range entries {
		if err := r.usePart(&w, e); err != nil {
			return DemandUse{}, err
		}
	}
	if w.area > 0 && w.count > 0 {
		return DemandUse{}, r.fault(at, "site_value", "leave one of them out", "a use goes by count or by area, not by both")
	}
	if w.each > 0 {
		u := DemandUse{Use: w.name, Count: w.count, Each: w.each, Source: ownAmount}
		switch {
		case w.area > 0:
			u.Count, u.Per = w.area, perArea
		case w.count == 0:
			u.Count = 1
		}
		return u, nil
	}
	return r.fromTable(w)
}

func (r *siteReader) usePart(w *useEntry, e *ast.MappingValueNode) error {
	name, value := e.Key.GetToken().Value, e.Value.GetToken().Value
	measured := func(d quantity.Dimension, field *float64) error {
		v, err := quantity.Parse(d, value)
		if err == nil && !(v > 0) {
			err = fmt.Errorf("%q is not more than nothing", value)
		}
		if err != nil {
			return r.fault(e.Value.GetToken(), "site_value", "", "%s: %s", name, err)
		}
		*field = v
		return nil
	}
	switch name {
	case "use":
		w.name, w.nameAt = value, e.Value.GetToken()
	case "count":
		n, err := strconv.Atoi(value)
		if err != nil || n < 1 {
			return r.fault(e.Value.GetToken(), "site_value", "", "count is %q; expected a whole number from 1", value)
		}
		w.count = float64(n)
	case "area":
		return measured(quantity.Area, &w.area)
	case "each":
		return measured(quantity.DailyVolume, &w.each)
	default:
		return r.fault(e.Key.GetToken(), "site_unknown_key", "", "%q is not known here; a use has use, count or area, and each", name)
	}
	return nil
}

// The tables count some uses by the area, and birds by the hundred.
const (
	perArea    = "m²"
	perHundred = "100 birds"
)

// fromTable takes the amount of a use from the published tables.
func (r *siteReader) fromTable(w useEntry) (DemandUse, error) {
	table, ok := tableUse(w.name)
	if !ok {
		return DemandUse{}, r.fault(w.nameAt, "site_value", "known uses: "+knownUses(),
			`%q is in no table of water needs; say how much each needs, such as each: "100 L/day", or take a known use`, w.name)
	}
	u := DemandUse{Use: w.name, Count: w.count, Per: table.Per, Each: table.Usual, Source: table.Source}
	switch {
	case table.Per == perArea && w.area == 0:
		return DemandUse{}, r.fault(w.nameAt, "site_value", "", `%s goes by its area, such as area: "150 m2", or give each: "300 L/day"`, w.name)
	case table.Per == perArea:
		u.Count = w.area
	case w.area > 0:
		return DemandUse{}, r.fault(w.nameAt, "site_value", "", "%s goes by count, not by area", w.name)
	}
	if u.Count == 0 {
		u.Count = 1
	}
	if table.Per == perHundred {
		u.Per, u.Each = "bird", table.Usual/100
	}
	return u, nil
}

// demandUses lists the uses for the plan.
func (s *Site) demandUses() []PlanUse {
	uses := []PlanUse{}
	for _, u := range s.DemandUses {
		uses = append(uses, PlanUse{Use: u.Use, Count: Number(u.Count), Per: u.Per, Each: Number(u.Each * litresPerDay), Source: u.Source})
	}
	return uses
}

// tellDemand says which amounts come from tables, so that a person may put his
// own in their place.
func (j *job) tellDemand() {
	var text []string
	var values []quantity.Value
	for _, u := range j.site.DemandUses {
		if u.Source == ownAmount {
			continue
		}
		per, each := u.Per, u.Each
		if per == perArea { // by the area that the reader measures in
			unit, perSI, _ := quantity.Unit(j.site.Units, quantity.Area)
			per, each = unit, u.Each/perSI
		}
		text = append(text, fmt.Sprintf("%s {%d} a %s", u.Use, len(values), per))
		values = append(values, quantity.Of(quantity.DailyVolume, each))
	}
	if len(text) == 0 {
		return
	}
	j.tell(finding.New(finding.Note, "demand_from_tables", "what is wanted comes in part from tables of usual needs: "+strings.Join(text, ", "),
		"where you know better, give each: with the use", values...))
}
