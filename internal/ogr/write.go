package ogr

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"sync/atomic"

	"github.com/airbusgeo/godal"
)

// wgs84 is the system of the positions that come in.
const wgs84 = "EPSG:4326"

var registerOnce sync.Once

// writtenAt stands in the files that note when they were written: the same
// layers are to give the same bytes.
const writtenAt = "2000-01-01T00:00:00.000Z"

// register makes GDAL's drivers known and keeps GDAL from writing to the
// terminal on its own and from looking at the clock, which it does when a file
// is closed, where no option can be given.
func register() {
	registerOnce.Do(func() {
		if os.Getenv("CPL_LOG") == "" {
			os.Setenv("CPL_LOG", os.DevNull)
		}
		os.Setenv("OGR_CURRENT_DATE", writtenAt)
		godal.RegisterAll()
	})
}

// onlyFailures makes an error of what GDAL calls one.
func onlyFailures(level godal.ErrorCategory, code int, text string) error {
	if level > godal.CE_Warning {
		return errors.New(strings.TrimSpace(text))
	}
	return nil
}

var failures = godal.ErrLogger(onlyFailures)

// GeoPackage writes layers with their styles as an OGC GeoPackage (OGC
// 12-128r17) in a coordinate reference system given as "EPSG:32610"; "" is
// longitude and latitude of WGS 84. Heights stay metres. The styles are kept
// in the table layer_styles, as QML and as SLD. The same layers give the same
// bytes.
func GeoPackage(w io.Writer, crs string, layers []Layer) error {
	all := append([]Layer(nil), layers...)
	if styles := styleTable(layers); len(styles.Features) > 0 {
		all = append(all, styles)
	}
	return translate(w, crs, all, ".gpkg", []string{"-f", "GPKG", "-lco", "GEOMETRY_NAME=geom", "-dsco", "ADD_GPKG_OGR_CONTENTS=NO"})
}

// styleTable is the table in which GIS look for the styles of a GeoPackage.
func styleTable(layers []Layer) Layer {
	t := Layer{Name: "layer_styles", Description: "how the layers look", Kind: noGeometry, Fields: []Field{
		{"f_table_catalog", Text}, {"f_table_schema", Text}, {"f_table_name", Text}, {"f_geometry_column", Text},
		{"styleName", Text}, {"styleQML", Text}, {"styleSLD", Text}, {"useAsDefault", Integer},
		{"description", Text}, {"owner", Text}, {"ui", Text}, {"update_time", Text},
	}}
	for i := range layers {
		l := &layers[i]
		if len(l.Style.Classes) == 0 {
			continue
		}
		t.Features = append(t.Features, Feature{Values: []any{"", "", l.Name, "geom", l.Name, l.qml(), l.sld(), int64(1), l.Description, "", nil, writtenAt}})
	}
	return t
}

// noGeometry is the kind of a layer that is a table alone.
const noGeometry = Kind(-1)

// Names of the fields that DXF gives a meaning.
const (
	fieldDXFLayer = "dxf_layer"
	fieldDXFStyle = "dxf_style"
)

// Entity is one line or point of a drawing.
type Entity struct {
	Layer  string     // of the drawing: letters, digits and underscores
	Colour string     // "#1f6fb2"
	Line   []Position // one position is a point
	// Text is written at the point; "" draws its sign. Height is that of the
	// letters in units of the drawing.
	Text   string
	Height float64
}

// DXF writes a drawing as AutoCAD DXF, with heights, in a projected
// coordinate reference system given as "EPSG:32610". A drawing cannot name its
// system; say it in a text.
func DXF(w io.Writer, crs string, entities []Entity) error {
	l := Layer{Name: "entities", Kind: anyGeometry, Fields: []Field{{fieldDXFLayer, Text}, {fieldDXFStyle, Text}}}
	for _, e := range entities {
		if len(e.Line) == 0 || !located(e.Line) {
			continue // what has no place cannot be drawn
		}
		style := "PEN(c:" + e.Colour + ")"
		if e.Text != "" {
			style = fmt.Sprintf(`LABEL(f:"Arial",t:"%s",s:%gg,c:%s)`, drawnText(e.Text), e.Height, e.Colour)
		}
		l.Features = append(l.Features, Feature{Parts: [][]Position{e.Line}, Values: []any{e.Layer, style}})
	}
	return translate(w, crs, []Layer{l}, ".dxf", []string{"-f", "DXF", "-dialect", "OGRSQL",
		"-sql", "SELECT " + fieldDXFLayer + " AS Layer, " + fieldDXFStyle + " AS OGR_STYLE FROM entities"})
}

// drawnText keeps a text on one line and free of what a style or a drawing
// would read as a command.
func drawnText(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '"':
			return '\''
		case r == '\\':
			return '/'
		case r < ' ' || r == 0x7f:
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "?"))
}

func located(line []Position) bool {
	for _, p := range line {
		if !p.located() {
			return false
		}
	}
	return true
}

// anyGeometry is the kind of a layer of points and lines.
const anyGeometry = Kind(-2)

// fileCount tells the files in GDAL's memory apart.
var fileCount atomic.Uint64

// translate puts the layers into GDAL's memory, lets it write them there as a
// file of the format, and copies that file to the writer.
func translate(w io.Writer, crs string, layers []Layer, extension string, switches []string) error {
	register()
	memory, err := inMemory(layers)
	if err != nil {
		return err
	}
	defer memory.Close(failures)
	if crs != "" && crs != wgs84 {
		switches = append(switches, "-t_srs", crs)
	}
	file := fmt.Sprintf("/vsimem/route-ogr-%d%s", fileCount.Add(1), extension)
	written, err := memory.VectorTranslate(file, switches, failures)
	if err != nil {
		return fmt.Errorf("ogr: %w", err)
	}
	defer godal.VSIUnlink(file, failures)
	if err := written.Close(failures); err != nil {
		return fmt.Errorf("ogr: %w", err)
	}
	return copyFile(w, file)
}

func copyFile(w io.Writer, file string) error {
	f, err := godal.VSIOpen(file, failures)
	if err != nil {
		return fmt.Errorf("ogr: %w", err)
	}
	defer f.Close()
	var b bytes.Buffer
	if _, err := b.ReadFrom(f); err != nil {
		return fmt.Errorf("ogr: %w", err)
	}
	_, err = b.WriteTo(w)
	return err
}

// inMemory makes a dataset of the layers in degrees of WGS 84.
func inMemory(layers []Layer) (*godal.Dataset, error) {
	ds, err := godal.CreateVector("Memory", "", failures)
	if err != nil {
		return nil, fmt.Errorf("ogr: %w", err)
	}
	sr, err := godal.NewSpatialRef(wgs84, failures)
	if err != nil {
		ds.Close(failures)
		return nil, fmt.Errorf("ogr: %w", err)
	}
	defer sr.Close()
	for i := range layers {
		if err := fill(ds, sr, &layers[i]); err != nil {
			ds.Close(failures)
			return nil, err
		}
	}
	return ds, nil
}

func fill(ds *godal.Dataset, sr *godal.SpatialRef, l *Layer) error {
	if err := l.check(); err != nil {
		return err
	}
	var options []godal.CreateLayerOption
	for _, f := range l.Fields {
		options = append(options, godal.NewFieldDefinition(f.Name, map[Type]godal.FieldType{Text: godal.FTString, Real: godal.FTReal, Integer: godal.FTInt64}[f.Type]))
	}
	layer, err := ds.CreateLayer(l.Name, sr, l.geometryType(), append(options, failures)...)
	if err != nil {
		return fmt.Errorf("ogr: layer %s: %w", l.Name, err)
	}
	if l.Description != "" {
		if err := layer.SetMetadata("DESCRIPTION", l.Description, failures); err != nil {
			return fmt.Errorf("ogr: layer %s: %w", l.Name, err)
		}
	}
	for i, f := range l.Features {
		if err := l.addFeature(layer, sr, f); err != nil {
			return fmt.Errorf("ogr: feature %d of layer %s: %w", i+1, l.Name, err)
		}
	}
	return nil
}

func (l *Layer) geometryType() godal.GeometryType {
	switch {
	case l.Kind == noGeometry:
		return godal.GTNone
	case l.Kind == anyGeometry:
		return godal.GTUnknown
	case l.Flat:
		return map[Kind]godal.GeometryType{Point: godal.GTPoint, Line: godal.GTLineString, Polygon: godal.GTPolygon}[l.Kind]
	}
	return map[Kind]godal.GeometryType{Point: godal.GTPoint25D, Line: godal.GTLineString25D, Polygon: godal.GTPolygon25D}[l.Kind]
}

func (l *Layer) addFeature(layer godal.Layer, sr *godal.SpatialRef, f Feature) error {
	feature, err := layer.NewFeature(nil, failures)
	if err != nil {
		return err
	}
	defer feature.Close()
	fields := feature.Fields()
	for i, value := range f.Values {
		if number, ok := value.(float64); value == nil || ok && !finite(number) {
			continue
		}
		if text, ok := value.(string); ok {
			value = strings.ReplaceAll(strings.ToValidUTF8(text, "\uFFFD"), "\x00", "")
		}
		if err := feature.SetFieldValue(fields[l.Fields[i].Name], value, failures); err != nil {
			return fmt.Errorf("field %s: %w", l.Fields[i].Name, err)
		}
	}
	if text := l.wkt(f); text != "" {
		geometry, err := godal.NewGeometryFromWKT(text, sr, failures)
		if err != nil {
			return err
		}
		defer geometry.Close()
		if err := feature.SetGeometry(geometry, failures); err != nil {
			return err
		}
	}
	return layer.CreateFeature(feature, failures)
}
