package survey

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"

	"route/internal/finding"
	"route/internal/geodesy"
	"route/internal/quantity"
)

// DropList is a list of drops from place to place along a creek, as taken
// with a hand level or a water hose.
type DropList struct {
	File string
	Rows []DropRow
}

// DropRow is one drop: To lies DropM below From, DistanceM further along the
// creek.
type DropRow struct {
	Line             int // in the file
	From, To         string
	DistanceM, DropM float64
	By               string // hand_level, hose or level
	Legs             int    // set-ups; 0 works them out from the distance
	FromAt, ToAt     geodesy.LonLat
	HasFromAt        bool
	HasToAt          bool
}

var dropColumns = map[string][]string{
	"from":     {"from", "upper", "start"},
	"to":       {"to", "lower", "end"},
	"distance": {"distance", "length", "dist"},
	"drop":     {"drop", "fall"},
	"by":       {"by", "instrument"},
	"legs":     {"legs", "setups", "sights"},
	"lat":      {"lat", "latitude", "fromlat"},
	"lon":      {"lon", "lng", "longitude", "fromlon"},
	"tolat":    {"tolat"},
	"tolon":    {"tolon"},
	"remarks":  {"remarks", "remark", "notes", "note"},
}

const dropHint = "the first line names the columns: from, to, distance, drop (and lat, lon of from, to_lat, to_lon of to); a unit stands in brackets, as in drop (ft), or behind each value"

// dropInstruments may be named in the column by, the usual one first.
var dropInstruments = []string{"hand_level", "hose", "level"}

// mostDrops bounds a list: the adjustment takes the third power of it.
const mostDrops = 1000

// ReadDrops reads a list of drops in CSV. The first line that is not a comment
// ("#") names the columns, capitals and blanks do not matter:
//
//	from, to        names of the two places
//	distance        between them along the creek
//	drop            how far the second lies below the first
//	by              hand_level (which is taken when nothing is said), hose or level
//	legs            how often the instrument was set up
//	lat, lon        place of from, in degrees
//	to_lat, to_lon  place of to
//	remarks         not read
//
// Lengths carry a unit, in the header ("drop (ft)") or behind each value.
// Whatever is wrong comes back as a *finding.Fault with its line and column.
func ReadDrops(name string, r io.Reader) (*DropList, error) {
	l, err := newLevelReader(name, r, levelReader{what: "a list of drops", titles: dropColumns, needs: []string{"from", "to", "distance", "drop"}, hint: dropHint})
	if err != nil {
		return nil, err
	}
	list := &DropList{File: name}
	err = l.each(func() error {
		row, err := l.dropRow()
		list.Rows = append(list.Rows, row)
		if err == nil && len(list.Rows) > mostDrops {
			return &finding.Fault{Code: "drops_too_many", File: name, Line: row.Line, Text: fmt.Sprintf("the list has more than %d drops", mostDrops), Hint: "split the creek"}
		}
		return err
	})
	if err == nil && len(list.Rows) == 0 {
		err = &finding.Fault{Code: "levels_empty", File: name, Text: "the list of drops has no line below the header", Hint: dropHint}
	}
	if err != nil {
		return nil, err
	}
	return list, nil
}

func (l *levelReader) dropRow() (DropRow, error) {
	line, _ := l.csv.FieldPos(0)
	row := DropRow{Line: line, By: dropInstruments[0]}
	for _, end := range []struct {
		key string
		to  *string
	}{{"from", &row.From}, {"to", &row.To}} {
		text, i := l.text(end.key)
		if text == "" {
			return row, l.fault(i, "levels_value", "the drop does not say "+end.key+" where it was measured", "name both places, such as A and B")
		}
		*end.to = text
	}
	if row.From == row.To {
		return row, l.fault(0, "levels_value", fmt.Sprintf("the drop is from %q to itself", row.From), "name two places")
	}
	var err error
	if row.DropM, err = l.bounded("drop", -100, 100); err != nil {
		return row, err
	}
	if row.DistanceM, err = l.bounded("distance", 0, 5000); err != nil {
		return row, err
	}
	if text, i := l.text("by"); text != "" {
		row.By = strings.ReplaceAll(strings.ToLower(text), " ", "_")
		if !slices.Contains(dropInstruments, row.By) {
			return row, l.fault(i, "levels_value", fmt.Sprintf("by is %q", text), "a drop of this list is measured by one of "+strings.Join(dropInstruments, ", "))
		}
	}
	if text, i := l.text("legs"); text != "" {
		if _, err := fmt.Sscanf(text, "%d", &row.Legs); err != nil || row.Legs < 1 || row.Legs > 1000 {
			return row, l.fault(i, "levels_value", fmt.Sprintf("legs is %q", text), "give a whole number from 1: how often the instrument was set up")
		}
	}
	if row.FromAt, row.HasFromAt, err = l.place("lat", "lon"); err != nil {
		return row, err
	}
	row.ToAt, row.HasToAt, err = l.place("tolat", "tolon")
	return row, err
}

// bounded reads a length that must be there and within bounds, in metres.
func (l *levelReader) bounded(key string, least, most float64) (float64, error) {
	v, err := l.length(key)
	if err != nil {
		return 0, err
	}
	_, i := l.text(key)
	if math.IsNaN(v) {
		return 0, l.fault(i, "levels_value", "there is no "+key, "write it, or take the line out")
	}
	if !(v >= least && v <= most) {
		return 0, l.fault(i, "levels_value", fmt.Sprintf("a %s of %.4g m is not possible here; expected %g m to %g m", key, v, least, most), "check the unit in the title of the column")
	}
	return v, nil
}

// chain is the order of the places along the creek. A drop that joins two
// places that are in it already is a check.
type chain struct {
	list  *DropList
	names []string       // along the creek
	at    map[string]int // place in names, worked out at the end
	steps map[[2]string][]float64
}

// chained puts the places in order. Each new drop must go on from one of the
// ends.
func (d *DropList) chained() (*chain, error) {
	c := &chain{list: d, steps: map[[2]string][]float64{}}
	for i, row := range d.Rows {
		has := func(name string) bool { return slices.Contains(c.names, name) }
		first, last := "", ""
		if len(c.names) > 0 {
			first, last = c.names[0], c.names[len(c.names)-1]
		}
		switch {
		case i == 0:
			c.names = []string{row.From, row.To}
		case has(row.From) && has(row.To):
		case row.From == last:
			c.names = append(c.names, row.To)
		case row.To == last:
			c.names = append(c.names, row.From)
		case row.To == first:
			c.names = slices.Insert(c.names, 0, row.From)
		case row.From == first:
			c.names = slices.Insert(c.names, 0, row.To)
		default:
			return nil, &finding.Fault{Code: "drops_order", File: d.File, Line: row.Line,
				Text: fmt.Sprintf("the drop from %q to %q does not go on from %q or %q, the ends of the line so far", row.From, row.To, first, last),
				Hint: "write the drops one after the other along the creek, each from where the last one ended; a drop over several of them as a check comes after those"}
		}
		key := [2]string{min(row.From, row.To), max(row.From, row.To)}
		c.steps[key] = append(c.steps[key], row.DistanceM)
	}
	c.at = map[string]int{}
	for i, name := range c.names {
		c.at[name] = i
	}
	return c, nil
}

// distance between a place of the chain and the one before: the mean of what
// was measured.
func (c *chain) distance(i int) float64 {
	a, b := c.names[i-1], c.names[i]
	sum, all := 0.0, c.steps[[2]string{min(a, b), max(a, b)}]
	for _, m := range all {
		sum += m
	}
	return sum / float64(len(all))
}

// Sigma is the standard deviation in metres of a drop by an instrument over a
// distance in so many set-ups (0: not counted).
type Sigma func(by string, setUps int, distanceM float64) float64

// adjusted levels of a chain above its first place, by least squares with the
// weights 1/σ² of the drops (Wolf & Ghilani, Adjustment Computations, chapter
// on levelling networks; from memory): the normal equations of all drops with
// the first level held at zero. cov is the covariance of the other levels.
func (c *chain) adjusted(sigma Sigma) (levelM []float64, cov *mat.SymDense, err error) {
	n := len(c.names)
	normal, right := mat.NewSymDense(n-1, nil), mat.NewVecDense(n-1, nil)
	add := func(i, k int, v float64) {
		if i > 0 && k > 0 && i <= k {
			normal.SetSym(i-1, k-1, normal.At(i-1, k-1)+v)
		}
	}
	for _, row := range c.list.Rows {
		s := sigma(row.By, row.Legs, row.DistanceM)
		w := 1 / (s * s)
		i, k := c.at[row.From], c.at[row.To]
		add(i, i, w)
		add(k, k, w)
		add(min(i, k), max(i, k), -w)
		if i > 0 {
			right.SetVec(i-1, right.AtVec(i-1)+w*row.DropM)
		}
		if k > 0 {
			right.SetVec(k-1, right.AtVec(k-1)-w*row.DropM)
		}
	}
	var factor mat.Cholesky
	cov = mat.NewSymDense(n-1, nil)
	var level mat.VecDense
	if !factor.Factorize(normal) || factor.SolveVecTo(&level, right) != nil || factor.InverseTo(cov) != nil {
		return nil, nil, &finding.Fault{Code: "drops_order", File: c.list.File, Text: "the drops do not tie all places together", Hint: dropHint}
	}
	levelM = make([]float64, n)
	for i := 1; i < n; i++ {
		levelM[i] = level.AtVec(i - 1)
	}
	return levelM, cov, nil
}

// beyondChance is from how many standard deviations on a drop is doubted: an
// honest one gets there once in 370 times.
const beyondChance = 3

// doubts names the drops that the others contradict.
func (c *chain) doubts(levelM []float64, cov *mat.SymDense, sigma Sigma) []finding.Finding {
	at := func(i, k int) float64 {
		if i == 0 || k == 0 {
			return 0
		}
		return cov.At(i-1, k-1)
	}
	var out []finding.Finding
	for _, row := range c.list.Rows {
		i, k := c.at[row.From], c.at[row.To]
		s := sigma(row.By, row.Legs, row.DistanceM)
		miss := row.DropM - (levelM[i] - levelM[k])
		// The residual's variance is the reading's less the adjusted drop's.
		spread := s*s - (at(i, i) + at(k, k) - 2*at(i, k))
		if spread < 1e-9*s*s || miss*miss <= beyondChance*beyondChance*spread {
			continue
		}
		f := finding.New(finding.Warning, "levels_misclosure", fmt.Sprintf("the drop from %s to %s misses what the other drops give by {0}", row.From, row.To),
			"look for a misread staff among the drops between them, or measure again", quantity.Metres(math.Abs(miss))).In(c.list.File)
		f.Line = row.Line
		out = append(out, f)
	}
	return out
}
