package dem

import (
	"fmt"
	"strings"

	"route/internal/finding"
	"route/internal/geodesy"
)

// Grid is a projected coordinate reference system of the user's own choice: a
// national grid, a state plane. It holds a conversion of PROJ, belongs to one
// goroutine at a time and is to be closed.
type Grid struct {
	Name  string  // for people: "NZGD2000 / New Zealand Transverse Mercator 2000 (EPSG:2193)"
	Code  string  // as it was asked for, "EPSG:2193"
	Unit  string  // "metre", "US survey foot"
	UnitM float64 // metres in one unit
	Datum string  // horizontal

	p *projector
}

// NewGrid opens a grid by its EPSG code, with or without "EPSG:" before it, or
// by a name that PROJ knows. What cannot be used comes back as a
// *finding.Fault.
func NewGrid(code string) (*Grid, error) {
	register()
	c, err := userCRS(code)
	if err != nil {
		return nil, &finding.Fault{Code: "grid_unknown", Text: fmt.Sprintf("%q is not a coordinate reference system that is known here", code), Hint: "give its EPSG code, such as EPSG:27700", Err: err}
	}
	if c.geographic {
		return nil, &finding.Fault{Code: "grid_not_projected", Text: fmt.Sprintf("%s has degrees, not eastings and northings", c), Hint: "degrees of WGS 84 are given in any case; name a projected system"}
	}
	p, err := newProjector(wgs84, c.wkt)
	if err != nil {
		return nil, &finding.Fault{Code: "grid_unknown", Text: "no way is known from longitude and latitude to " + c.String() + ": " + firstLine(err.Error()), Hint: "give the EPSG code of another system", Err: err}
	}
	g := &Grid{Name: c.String(), Code: strings.ToUpper(strings.TrimSpace(code)), Unit: c.unit, UnitM: c.perUnit, Datum: c.datum, p: p}
	if strings.Trim(g.Code, "0123456789") == "" {
		g.Code = "EPSG:" + g.Code
	}
	return g, nil
}

// At gives eastings and northings in the grid's unit; a place that the grid
// does not reach is NaN.
func (g *Grid) At(places []geodesy.LonLat) (east, north []float64) {
	east, north = make([]float64, len(places)), make([]float64, len(places))
	for i, p := range places {
		east[i], north[i] = p.Lon, p.Lat
	}
	g.p.convert(east, north)
	return east, north
}

// NearWGS84 says whether the grid's datum lies within a metre or two of WGS 84
// everywhere. On others the conversion may need a file of shifts that is not
// on every machine; without it PROJ falls back on one that is off by metres.
func (g *Grid) NearWGS84() bool {
	datum := strings.ToLower(strings.NewReplacer("_", " ").Replace(g.Datum))
	for _, near := range []string{"world geodetic system 1984", "wgs 1984", "wgs84", "wgs 84", "european terrestrial reference system 1989", "north american datum 1983", "nad83", "geocentric datum of australia", "new zealand geodetic datum 2000", "sistema de referencia geocentrico para"} {
		if strings.Contains(datum, near) {
			return true
		}
	}
	return false
}

// Close frees what PROJ holds.
func (g *Grid) Close() { g.p.close() }
