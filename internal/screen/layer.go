package screen

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"route/internal/dem"
	"route/internal/finding"
	"route/internal/geodesy"
)

// ReadLayer reads a list of creeks from any file of lines that OGR knows: each
// line feature is a creek. Its attributes id or name say what it is called;
// tank_lat and tank_lon, or tank ("LAT,LON"), where its tank stands; creek_flow,
// creek_flow_l_s, demand, demand_l_day and any other setting with a point in
// its name, such as tank.inlet_above_ground, set it apart.
//
// A creek without a tank of its own takes, of the points of the same file and
// of those in tanks (another file, or ""), the one whose attribute creek names
// it, else the nearest. layer limits the creeks to one layer of the file; "" is
// all.
func ReadLayer(path, layer, tanks string) ([]Entry, []finding.Finding, error) {
	v, bad, err := dem.ReadFeatures(path)
	if err != nil {
		return nil, nil, err
	}
	points, findings := v.Points, v.Findings
	if tanks != "" {
		t, _, err := dem.ReadFeatures(tanks)
		if err != nil {
			return nil, nil, err
		}
		if len(t.Points) == 0 {
			return nil, nil, &finding.Fault{Code: "layer_no_tanks", File: tanks, Text: "holds no points", Hint: "give a layer of points, one for each tank"}
		}
		points, findings = append(slices.Clone(points), t.Points...), append(findings, t.Findings...)
	}
	l := layerReader{path: path, index: map[featureKey]int{}}
	for _, line := range v.Lines {
		e := l.entryOf(line.Feature)
		e.Legs = append(e.Legs, line.Points)
	}
	for _, b := range bad {
		if e := l.entryOf(b.Feature); len(e.Legs) == 0 {
			e.Fault = b.Fault
		}
	}
	entries := l.inLayer(layer)
	if len(entries) == 0 {
		text := "holds no line"
		if layer != "" {
			text = fmt.Sprintf("has no layer of lines named %q", layer)
		}
		return nil, nil, &finding.Fault{Code: "layer_no_creeks", File: path, Text: text, Hint: "give a layer with a line for each creek"}
	}
	distinct(entries)
	giveTanks(entries, points)
	return entries, findings, nil
}

// featureKey is one feature of a file.
type featureKey struct {
	layer  string
	number int
}

type layerReader struct {
	path    string
	index   map[featureKey]int
	layers  []string // in the order of the file
	keys    []featureKey
	entries []Entry
}

// entryOf is the entry of a feature; the parts of a feature share one.
func (l *layerReader) entryOf(f dem.Feature) *Entry {
	key := featureKey{f.Layer, f.Number}
	if i, ok := l.index[key]; ok {
		return &l.entries[i]
	}
	if !slices.Contains(l.layers, f.Layer) {
		l.layers = append(l.layers, f.Layer)
	}
	e := Entry{File: l.path}
	name := ""
	for _, attribute := range sortedKeys(f.Attributes) {
		value := strings.TrimSpace(f.Attributes[attribute])
		if value == "" {
			continue
		}
		a := strings.ToLower(attribute)
		s, isSetting := settingOf(a, value)
		_, isAlias := aliases[a]
		switch {
		case a == "id":
			e.ID = value
		case a == "name":
			name = value
		case a == "tank":
			e.Tank = value
		case isSetting && (isAlias || a == "demand" || strings.Contains(a, ".")):
			e.Settings = append(e.Settings, s)
		}
	}
	if e.ID == "" {
		e.ID = name
	}
	l.index[key] = len(l.entries)
	l.keys, l.entries = append(l.keys, key), append(l.entries, e)
	return &l.entries[len(l.entries)-1]
}

// inLayer gives the entries in the order of the file, of one layer or of all.
func (l *layerReader) inLayer(layer string) []Entry {
	order := make([]int, 0, len(l.entries))
	for i, key := range l.keys {
		if layer == "" || key.layer == layer {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int {
		x, y := l.keys[a], l.keys[b]
		return cmp.Or(cmp.Compare(slices.Index(l.layers, x.layer), slices.Index(l.layers, y.layer)), cmp.Compare(x.number, y.number))
	})
	entries := make([]Entry, len(order))
	for i, k := range order {
		entries[i] = l.entries[k]
	}
	return entries
}

// giveTanks gives each creek without a tank of its own one of the points.
func giveTanks(entries []Entry, points []dem.VectorPoint) {
	at := make([]geodesy.LonLat, len(points))
	named := map[string]int{}
	for k, p := range points {
		at[k] = p.At
		for attribute, value := range p.Attributes {
			if strings.EqualFold(attribute, "creek") && value != "" {
				named[value] = k
			}
		}
	}
	for i := range entries {
		e := &entries[i]
		if e.Tank != "" || slices.ContainsFunc(e.Settings, func(s Setting) bool { return strings.HasPrefix(s.Key, "tank.l") }) {
			continue
		}
		k, ok := named[e.ID]
		if !ok {
			k = nearestTank(e.Legs, at)
		}
		if k >= 0 {
			e.Tank = fmt.Sprintf("%.9f,%.9f", at[k].Lat, at[k].Lon)
		}
	}
}

func sortedKeys(m map[string]string) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
