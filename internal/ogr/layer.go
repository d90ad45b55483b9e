// Package ogr writes layers of points, lines and polygons into the file
// formats that GDAL's vector half knows and that are not worth writing by
// hand. It knows nothing of pipes: who has something to hand over fills in
// Layers.
package ogr

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Kind is the shape of all features of a layer.
type Kind int

// The kinds.
const (
	Point Kind = iota
	Line
	Polygon
)

// Type is the type of an attribute.
type Type int

// The types of attributes, with the Go type of their values.
const (
	Text    Type = iota // string
	Real                // float64; NaN is null
	Integer             // int64
)

// Field is an attribute that every feature of a layer has.
type Field struct {
	Name string
	Type Type
}

// Position is a place in degrees of WGS 84 and a height in metres; a Z that is
// NaN is not known.
type Position struct{ Lon, Lat, Z float64 }

func (p Position) located() bool { return finite(p.Lon) && finite(p.Lat) }

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// Feature is one thing in a layer.
type Feature struct {
	// Parts holds one position of a point, the vertices of a line, or the
	// closed rings of a polygon with the outer one first. A feature without a
	// place (no part, a position that is NaN) is written with its attributes
	// alone.
	Parts [][]Position
	// Values stand in the order of the layer's fields; nil is null.
	Values []any
}

// Layer is a list of features of one kind.
type Layer struct {
	Name        string // letters, digits and underscores
	Description string
	Kind        Kind
	// Flat layers are written without heights.
	Flat     bool
	Fields   []Field
	Features []Feature
	Style    Style
}

// check tells what is wrong with a layer before GDAL has to.
func (l *Layer) check() error {
	if l.Name == "" || strings.Trim(l.Name, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_") != "" {
		return fmt.Errorf("ogr: %q is no name for a layer: letters, digits and underscores are expected", l.Name)
	}
	for i, f := range l.Features {
		if len(f.Values) != len(l.Fields) {
			return fmt.Errorf("ogr: feature %d of layer %s has %d values for %d fields", i+1, l.Name, len(f.Values), len(l.Fields))
		}
	}
	return nil
}

// wkt gives the geometry as well-known text (ISO/IEC 13249-3), "" when it has
// no place. A line or polygon of which one height is unknown has none known:
// readers know one dimension for a geometry.
func (l *Layer) wkt(f Feature) string {
	kind := l.Kind
	if kind == anyGeometry {
		kind = Line
		if len(f.Parts[0]) == 1 {
			kind = Point
		}
	}
	flat, least := l.Flat, map[Kind]int{Point: 1, Line: 2, Polygon: 4}[kind]
	for _, part := range f.Parts {
		if len(part) < least {
			return ""
		}
		for _, p := range part {
			if !p.located() {
				return ""
			}
			flat = flat || !finite(p.Z)
		}
	}
	if len(f.Parts) == 0 {
		return ""
	}
	var b strings.Builder
	b.WriteString(map[Kind]string{Point: "POINT", Line: "LINESTRING", Polygon: "POLYGON"}[kind])
	if !flat {
		b.WriteString(" Z")
	}
	if kind == Polygon {
		b.WriteString(" (")
	}
	for i, part := range f.Parts {
		if i > 0 && kind != Polygon {
			break
		}
		if i > 0 {
			b.WriteByte(',')
		}
		writePositions(&b, part, flat)
	}
	if kind == Polygon {
		b.WriteByte(')')
	}
	return b.String()
}

func writePositions(b *strings.Builder, part []Position, flat bool) {
	number := func(v float64) { b.WriteString(strconv.FormatFloat(v, 'f', -1, 64)) }
	b.WriteString(" (")
	for i, p := range part {
		if i > 0 {
			b.WriteByte(',')
		}
		number(p.Lon)
		b.WriteByte(' ')
		number(p.Lat)
		if !flat {
			b.WriteByte(' ')
			number(p.Z)
		}
	}
	b.WriteByte(')')
}
