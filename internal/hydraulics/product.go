package hydraulics

import (
	"math"
	"regexp"
	"slices"
	"strings"
	"sync"
)

var products = sync.OnceValue(func() []Product {
	var list []Product
	for _, f := range families {
		for _, s := range f.sizes {
			list = append(list, Product{
				Name: f.name + " " + s.name, Family: f.name, Size: s.name,
				Standard: f.standard, Source: f.source,
				OutsideM: roundTo(s.outside*f.unit, 9),
				Pipe: Pipe{
					Inside: roundTo(s.inside*f.unit, 9), Wall: roundTo(s.wall*f.unit, 9),
					Roughness: f.roughness, YoungModulus: f.modulus,
					Rating: f.ratingM(s), Rigid: f.rigid, HazenWilliams: f.c,
				},
				derating: f.derating,
			})
		}
	}
	return list
})

// roundTo takes away the dust of unit conversion.
func roundTo(v float64, digits int) float64 {
	p := math.Pow10(digits)
	return math.Round(v*p) / p
}

// Products lists every pipe that the program knows, family by family, small
// sizes first.
func Products() []Product { return slices.Clone(products()) }

// RatingAt is the allowed head in metres at a water temperature. Beyond the
// last temperature of the material's table it is 0: do not use the pipe.
func (p Product) RatingAt(temperatureK float64) float64 {
	return p.Pipe.Rating * p.derating.at(temperatureK-273.15)
}

func (d derating) at(celsius float64) float64 {
	const slack = 1e-9 // so that a table's own last temperature is allowed
	if len(d) == 0 || celsius <= d[0].celsius+slack {
		return 1
	}
	for i, b := range d[1:] {
		if celsius <= b.celsius+slack {
			a := d[i]
			return a.factor + (b.factor-a.factor)*(celsius-a.celsius)/(b.celsius-a.celsius)
		}
	}
	return 0
}

// UnknownPipeError says that no pipe goes by a name, and which come close.
type UnknownPipeError struct {
	Name   string
	Nearby []string // up to four names
}

func (e *UnknownPipeError) Error() string {
	return "hydraulics: no pipe is called " + `"` + e.Name + `"; near it are ` + strings.Join(e.Nearby, ", ")
}

// ProductByName finds a pipe by its name. Case, spaces, hyphens and the usual
// other spellings do not matter: "pvc sch40 2\"", "galvanized steel 2 in",
// "HDPE SDR11 32mm". The error is *UnknownPipeError.
func ProductByName(name string) (Product, error) {
	key := nameKey(name)
	for _, p := range products() {
		if nameKey(p.Name) == key {
			return p, nil
		}
	}
	return Product{}, &UnknownPipeError{name, nearby(key)}
}

// spellings turns what people write into the words of the table, in order.
var spellings = strings.NewReplacer(
	"schedule", "sch", "inches", "in", "inch", "in", "\"", "in", "″", "in", "”", "in",
	"galvanised", "", "galvanized", "", "galv.", "", "galv", "",
	"hdpe", "pe", "polyethylene", "pe", "poly ", "pe ", "pe-100", "pe100", "pe4710", "pe", "pe3608", "pe", "pe3408", "pe", "pe 100", "pe100",
	"pex-a", "pex", "pex-b", "pex", "pexa", "pex", "pexb", "pex", "type", "", "pipe", "", "tube", "",
	"½", "1/2", "¾", "3/4", "¼", "1/4", "⅜", "3/8", "⅝", "5/8", "×", "x",
)

// decimals are sizes that some write with a point; longest first.
var decimals = strings.NewReplacer("1.25in", "11/4in", "1.5in", "11/2in", "2.5in", "21/2in", "0.75in", "3/4in", "0.5in", "1/2in", ".75in", "3/4in", ".5in", "1/2in")

// metric is a size in millimetres: "32 mm" is DN32.
var metric = regexp.MustCompile(`(?:dn\s*)?\b(\d+)\s*mm\b`)

// nameKey reduces a name to what tells pipes apart.
func nameKey(name string) string {
	s := spellings.Replace(strings.ToLower(strings.TrimSpace(name)))
	s = metric.ReplaceAllString(s, "dn$1")
	s = strings.Map(func(r rune) rune {
		switch r {
		case ' ', '\t', '-', '_', ',', '\u00a0':
			return -1
		}
		return r
	}, s)
	s = decimals.Replace(s)
	if strings.HasPrefix(s, "pesdr") && strings.Contains(s, "dn") { // metric polyethylene is PE100 here
		s = "pe100" + s[2:]
	}
	if strings.HasPrefix(s, "pex") && !strings.Contains(s, "cts") {
		s = "pexcts" + strings.TrimPrefix(strings.TrimPrefix(s, "pex"), "sdr9")
	}
	return s
}

// nearby lists the names that need the fewest changes.
func nearby(key string) []string {
	type scored struct {
		name     string
		distance int
	}
	var all []scored
	for _, p := range products() {
		all = append(all, scored{p.Name, editDistance(key, nameKey(p.Name))})
	}
	slices.SortStableFunc(all, func(a, b scored) int { return a.distance - b.distance })
	var names []string
	for _, s := range all[:4] {
		names = append(names, s.name)
	}
	return names
}

// editDistance is Levenshtein's, with a change of letter or digit inside equal
// length counted as one.
func editDistance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			change := diagonal
			if a[i] != b[j] {
				change++
			}
			diagonal = row[j+1]
			row[j+1] = min(change, row[j]+1, diagonal+1)
		}
	}
	return row[len(b)]
}

// SmallestProduct is the product of a family with the smallest bore that loses
// no more than head metres at a flow; ok is false where none is wide enough.
func SmallestProduct(family string, f Fluid, length, flow, head, minorK float64) (best Product, ok bool) {
	for _, p := range products() {
		if p.Family != family || ok && p.Pipe.Inside >= best.Pipe.Inside {
			continue
		}
		if loss, err := HeadLoss(f, p.Pipe, length, flow, minorK); err == nil && loss <= head {
			best, ok = p, true
		}
	}
	return best, ok
}
