package dem

import (
	"fmt"
	"math"
	"strings"

	"github.com/airbusgeo/godal"
)

// crs is what a coordinate reference system says about itself.
type crs struct {
	wkt        string  // of the horizontal part alone
	geogWKT    string  // of the degrees below the projection
	name       string  // "NAD83 / UTM zone 10N"
	authority  string  // "EPSG:26910", "" when it names none
	geographic bool    // coordinates are angles
	unit       string  // of the plan coordinates: "metre", "US survey foot", "degree"
	perUnit    float64 // metres or radians in one plan unit
	datum      string  // horizontal
	period     float64 // plan units once round the Earth, 0 when it never closes

	vertical     string  // name of the vertical part, "" when there is none
	verticalZero string  // its datum
	verticalUnit string  // its unit
	perVertical  float64 // metres in one unit of height
}

// kind of coordinate system that the raster cannot be placed with.
type crsKind int

const (
	crsEarth       crsKind = iota // on the Earth: geographic or projected
	crsEngineering                // local, with no place on the Earth
	crsOther                      // geocentric, or not understood
)

// readCRS understands well-known text of a raster's or layer's CRS.
func readCRS(wkt string) (crs, crsKind) {
	root, ok := parseWKT(wkt)
	if !ok {
		return crs{}, crsOther
	}
	if bound, found := root.child("SOURCECRS"); found && root.keyword == "BOUNDCRS" && len(bound.children) > 0 {
		root = bound.children[0]
	}
	if _, local := root.find("LOCAL_CS", "ENGCRS", "ENGINEERINGCRS"); local {
		return crs{name: root.value(0)}, crsEngineering
	}
	plan, projected := root.find("PROJCS", "PROJCRS", "PROJECTEDCRS")
	geog, hasGeog := root.find("GEOGCS", "GEOGCRS", "BASEGEOGCRS", "GEODCRS", "BASEGEODCRS")
	if !projected {
		plan = geog
	}
	if !projected && (!hasGeog || root.keyword == "GEOCCS") {
		return crs{name: root.value(0)}, crsOther
	}
	c := crs{wkt: plan.text, geogWKT: geog.text, name: plan.value(0), geographic: !projected}
	c.authority = authority(plan)
	if datum, found := geog.find("DATUM", "ENSEMBLE", "GEODETICDATUM", "TRF"); found {
		c.datum = strings.ReplaceAll(datum.value(0), "_", " ")
	}
	c.unit, c.perUnit = planUnit(plan, projected)
	c.readVertical(root)
	c.period = c.circle(plan, geog)
	return c, crsEarth
}

// planUnit is the unit of the plan coordinates.
func planUnit(plan wktNode, projected bool) (string, float64) {
	if u, found := plan.child("UNIT", "LENGTHUNIT", "ANGLEUNIT"); found {
		return u.value(0), u.number(1)
	}
	for _, axis := range plan.children {
		if u, found := axis.child("LENGTHUNIT", "ANGLEUNIT"); found && axis.keyword == "AXIS" {
			return u.value(0), u.number(1)
		}
	}
	if projected {
		return "metre", 1
	}
	return "degree", math.Pi / 180
}

// readVertical notes the vertical part of a compound CRS. Heights of a
// three-dimensional geographic CRS count from the ellipsoid, in metres.
func (c *crs) readVertical(root wktNode) {
	if v, found := root.find("VERT_CS", "VERTCRS", "VERTICALCRS"); found {
		c.vertical = v.value(0)
		if d, found := v.child("VERT_DATUM", "VDATUM", "VERTICALDATUM"); found {
			c.verticalZero = d.value(0)
		}
		u, found := v.child("UNIT", "LENGTHUNIT")
		if axis, ok := v.child("AXIS"); !found && ok {
			u, found = axis.child("LENGTHUNIT")
		}
		if found {
			c.verticalUnit, c.perVertical = u.value(0), u.number(1)
		}
		return
	}
	for _, axis := range root.children {
		if axis.keyword == "AXIS" && strings.Contains(strings.ToLower(axis.value(0)), "ellipsoidal height") {
			c.vertical, c.verticalZero = "ellipsoidal height", "the ellipsoid"
			c.verticalUnit, c.perVertical = "metre", 1
		}
	}
}

// circle is how many plan units lead once round the Earth along a parallel.
func (c *crs) circle(plan, geog wktNode) float64 {
	if c.geographic && c.perUnit > 0 {
		return 2 * math.Pi / c.perUnit
	}
	projection, found := plan.child("PROJECTION")
	if !found || !strings.HasPrefix(strings.ToUpper(projection.value(0)), "MERCATOR") || c.perUnit <= 0 {
		return 0
	}
	ellipsoid, found := geog.find("SPHEROID", "ELLIPSOID")
	if !found {
		return 0
	}
	scale := 1.0
	for _, p := range plan.children {
		if p.keyword == "PARAMETER" && strings.EqualFold(p.value(0), "scale_factor") {
			scale = p.number(1)
		}
	}
	return 2 * math.Pi * ellipsoid.number(1) * scale / c.perUnit
}

// authority is "EPSG:26910" of a node that carries its code.
func authority(n wktNode) string {
	a, found := n.child("AUTHORITY", "ID")
	if !found || a.value(0) == "" || a.value(1) == "" {
		return ""
	}
	return a.value(0) + ":" + a.value(1)
}

// String names the CRS for people.
func (c crs) String() string {
	switch {
	case c.authority == "":
		return c.name
	case c.name == "" || strings.EqualFold(c.name, "unknown") || strings.EqualFold(c.name, "unnamed"):
		return c.authority
	}
	return fmt.Sprintf("%s (%s)", c.name, c.authority)
}

// userCRS reads what a person gives as --crs: a bare number is an EPSG code.
func userCRS(text string) (crs, error) {
	trimmed := strings.TrimSpace(text)
	if trimmed != "" && strings.Trim(trimmed, "0123456789") == "" {
		trimmed = "EPSG:" + trimmed
	}
	var log gdalLog
	sr, err := godal.NewSpatialRef(trimmed, godal.ErrLogger(log.handle))
	if err != nil {
		return crs{}, err
	}
	defer sr.Close()
	wkt, err := sr.WKT(godal.ErrLogger(log.handle))
	if err != nil {
		return crs{}, err
	}
	c, kind := readCRS(wkt)
	if kind != crsEarth {
		return crs{}, fmt.Errorf("%s has no place on the Earth", trimmed)
	}
	return c, nil
}

// wgs84 is the CRS of longitudes and latitudes in this program.
const wgs84 = "EPSG:4326"

// projector converts points between two coordinate systems. It belongs to one
// goroutine at a time.
type projector struct{ t *godal.Transform }

// newProjector makes a conversion between two CRS given as well-known text,
// authority code or PROJ string. Eastings and longitudes come first in both.
func newProjector(from, to string) (*projector, error) {
	var log gdalLog
	src, err := godal.NewSpatialRef(from, godal.ErrLogger(log.handle))
	if err != nil {
		return nil, err
	}
	defer src.Close()
	dst, err := godal.NewSpatialRef(to, godal.ErrLogger(log.handle))
	if err != nil {
		return nil, err
	}
	defer dst.Close()
	t, err := godal.NewTransform(src, dst, godal.ErrLogger(log.handle))
	if err != nil {
		return nil, err
	}
	return &projector{t}, nil
}

func (p *projector) close() {
	if p != nil && p.t != nil {
		p.t.Close()
		p.t = nil
	}
}

// projectors keeps the conversions between systems that were asked for: making
// one takes milliseconds, and tiles of one survey share theirs.
type projectors map[[2]string]*projector

func (m projectors) get(from, to string) (*projector, error) {
	key := [2]string{from, to}
	if p := m[key]; p != nil {
		return p, nil
	}
	p, err := newProjector(from, to)
	if err == nil {
		m[key] = p
	}
	return p, err
}

func (m projectors) close() {
	for key, p := range m {
		p.close()
		delete(m, key)
	}
}

// convert changes the points in place; points that have no image become NaN.
func (p *projector) convert(x, y []float64) {
	if len(x) == 0 {
		return
	}
	good := make([]bool, len(x))
	// The error only repeats that some point failed; good says which.
	_ = p.t.TransformEx(x, y, nil, good)
	for i := range x {
		if !good[i] || !finite(x[i], y[i]) {
			x[i], y[i] = math.NaN(), math.NaN()
		}
	}
}
