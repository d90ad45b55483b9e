package dem

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/airbusgeo/godal"

	"route/internal/finding"
	"route/internal/geodesy"
)

// Vector holds the lines, polygons and points of a file, in degrees of
// WGS 84. Multis and collections are taken apart; each part carries the
// attributes of its feature.
type Vector struct {
	Path     string
	Driver   string
	CRS      string // of the first layer, for people
	Lines    []VectorLine
	Polygons []VectorPolygon
	Points   []VectorPoint
	Findings []finding.Finding

	// In a reading that spares the good features, the bad ones.
	sparing bool
	bad     []BadFeature
}

// BadFeature is a feature that cannot be used, and why.
type BadFeature struct {
	Feature
	Fault *finding.Fault
}

// Feature is what a geometry says about itself.
type Feature struct {
	Layer      string
	Number     int // of the feature in its layer, from 1
	Attributes map[string]string
}

// VectorLine is one line. Z are the heights that the file gives its vertices,
// in the file's own unit and datum; nil when it gives none. They are kept
// apart because they are no measure of the ground.
type VectorLine struct {
	Feature
	Points []geodesy.LonLat
	Z      []float64
}

// VectorPolygon is one polygon: the outer ring first, then its holes. Rings
// are closed: the first point stands again at the end.
type VectorPolygon struct {
	Feature
	Rings [][]geodesy.LonLat
}

// VectorPoint is one point; Z is NaN when the file gives no height.
type VectorPoint struct {
	Feature
	At geodesy.LonLat
	Z  float64
}

// ReadVector reads every layer of a file that OGR knows: GeoJSON, GeoPackage,
// Shapefile, KML and others.
//
// A layer without a CRS is taken as degrees of WGS 84 when its coordinates
// can be that, which a finding says; otherwise it is the fault no_crs. A file
// without any geometry is the fault no_geometry.
func ReadVector(path string) (*Vector, error) {
	return readVector(path, false)
}

// ReadFeatures is ReadVector for a file of many things, of which a bad one must
// not keep the others: features that cannot be read, have no place on the Earth
// or hold no geometry are listed with their faults instead. An attribute that
// is null is empty.
func ReadFeatures(path string) (*Vector, []BadFeature, error) {
	v, err := readVector(path, true)
	if err != nil {
		return nil, nil, err
	}
	return v, v.bad, nil
}

func readVector(path string, sparing bool) (*Vector, error) {
	register()
	name, remote, fault := gdalName(path)
	if fault != nil {
		return nil, fault
	}
	var log gdalLog
	options := []godal.OpenOption{godal.VectorOnly(), godal.SiblingFiles(), godal.ErrLogger(log.handle)}
	if remote {
		options = append(options, godal.ConfigOption(networkConfig...))
	}
	ds, err := godal.Open(name, options...)
	if err != nil {
		return nil, &finding.Fault{Code: "not_a_vector", File: path, Err: err,
			Text: "no format reads this as lines, polygons or points" + gdalReason(err),
			Hint: "give GeoJSON, GeoPackage, Shapefile, KML or another file that OGR reads"}
	}
	defer ds.Close(godal.ErrLogger(log.handle))
	if sparing {
		texts, err := numbersAsText(path, ds)
		if err != nil {
			return nil, err
		}
		defer texts.Close(godal.ErrLogger(log.handle))
		ds = texts
	}
	v, err := readLayers(path, ds, sparing)
	if errors.Is(err, errCurve) {
		v, err = straightened(path, ds, sparing)
	}
	if err != nil {
		return nil, err
	}
	if len(v.Lines)+len(v.Polygons)+len(v.Points)+len(v.bad) == 0 {
		return nil, &finding.Fault{Code: "no_geometry", File: path, Text: "the file holds no line, polygon or point",
			Hint: "check that it is the right file, and that its layer is not empty"}
	}
	return v, nil
}

// gdalReason is GDAL's reason where it says more than that it cannot.
func gdalReason(err error) string {
	text := firstLine(err.Error())
	if strings.Contains(text, "not recognized") || strings.Contains(text, "unknown") || text == "" {
		return ""
	}
	return ": " + text
}

// numbersAsText is the file with its numbers as text, in memory: godal gives a
// number that is null as 0, a text that is null as an empty one.
func numbersAsText(path string, ds *godal.Dataset) (*godal.Dataset, error) {
	var log gdalLog
	texts, err := ds.VectorTranslate("", []string{"-f", "Memory", "-mapFieldType", "Integer=String,Integer64=String,Real=String"}, godal.ErrLogger(log.handle))
	if err != nil {
		return nil, &finding.Fault{Code: "not_a_vector", File: path, Text: "the features cannot be read: " + firstLine(err.Error()),
			Hint: "repair the file first (ogr2ogr writes a new one)", Err: err}
	}
	return texts, nil
}

// straightened reads the file again with its arcs made into short chords.
func straightened(path string, ds *godal.Dataset, sparing bool) (*Vector, error) {
	var log gdalLog
	flat, err := ds.VectorTranslate("", []string{"-f", "Memory", "-nlt", "CONVERT_TO_LINEAR"}, godal.ErrLogger(log.handle))
	if err != nil {
		return nil, &finding.Fault{Code: "bad_geometry", File: path, Text: "its arcs cannot be made straight: " + firstLine(err.Error()),
			Hint: "convert the file to plain lines and polygons first (ogr2ogr -nlt CONVERT_TO_LINEAR)", Err: err}
	}
	defer flat.Close(godal.ErrLogger(log.handle))
	return readLayers(path, flat, sparing)
}

func readLayers(path string, ds *godal.Dataset, sparing bool) (*Vector, error) {
	driver := ds.Driver()
	v := &Vector{Path: path, Driver: driver.ShortName(), sparing: sparing}
	for _, layer := range ds.Layers() {
		if err := v.readLayer(layer); err != nil {
			return nil, err
		}
	}
	return v, nil
}

// located is a shape with its feature, still in the layer's coordinates.
type located struct {
	feature Feature
	shape   shape
}

func (v *Vector) readLayer(layer godal.Layer) error {
	name := layer.Name()
	var list []located
	layer.ResetReading()
	for number := 1; ; number++ {
		feature := layer.NextFeature()
		if feature == nil {
			break
		}
		shapes, attributes, err := readFeature(feature)
		feature.Close()
		if errors.Is(err, errCurve) {
			return err
		}
		of := Feature{Layer: name, Number: number, Attributes: attributes}
		if err != nil {
			fault := &finding.Fault{Code: "bad_geometry", File: v.Path, Text: fmt.Sprintf("feature %d of layer %q cannot be read: %s", number, name, err),
				Hint: "repair or leave out the feature", Err: err}
			if !v.sparing {
				return fault
			}
			v.spare(of, fault)
			continue
		}
		for _, s := range shapes {
			list = append(list, located{of, s})
		}
		if len(shapes) == 0 {
			v.spare(of, v.empty(of))
		}
	}
	if len(list) == 0 {
		return nil
	}
	if err := v.toDegrees(layer, name, list); err != nil {
		if list = v.eachToDegrees(layer, name, list); len(list) == 0 {
			return err
		}
	}
	for _, l := range list {
		v.keep(l)
	}
	return nil
}

// spare notes a feature that is left out, where that is wanted.
func (v *Vector) spare(of Feature, fault *finding.Fault) {
	if v.sparing {
		v.bad = append(v.bad, BadFeature{of, fault})
	}
}

func (v *Vector) empty(of Feature) *finding.Fault {
	return &finding.Fault{Code: "bad_geometry", File: v.Path, Text: fmt.Sprintf("feature %d of layer %q has no geometry, or a line of a single point", of.Number, of.Layer),
		Hint: "draw it again, or leave out the feature"}
}

// eachToDegrees is toDegrees for each feature on its own: it gives those that
// can be used, none where nothing is to be spared.
func (v *Vector) eachToDegrees(layer godal.Layer, name string, list []located) (good []located) {
	for from, to := 0, 0; v.sparing && from < len(list); from = to {
		for to = from; to < len(list) && list[to].feature.Number == list[from].feature.Number; to++ {
		}
		err := v.toDegrees(layer, name, list[from:to])
		var fault *finding.Fault
		switch {
		case err == nil:
			good = append(good, list[from:to]...)
		case errors.As(err, &fault):
			v.spare(list[from].feature, fault)
		}
	}
	if len(good) == 0 {
		v.bad = v.bad[:0] // one fault of the layer says it all
	}
	return good
}

// readFeature gives the shapes and the attributes of a feature.
func readFeature(f *godal.Feature) ([]shape, map[string]string, error) {
	attributes := map[string]string{}
	for key, field := range f.Fields() {
		if text, ok := fieldText(field); ok {
			attributes[key] = text
		}
	}
	geometry := f.Geometry()
	var log gdalLog
	if geometry == nil || geometry.Empty() {
		return nil, attributes, nil
	}
	data, err := geometry.WKB(godal.ErrLogger(log.handle))
	if err != nil {
		return nil, nil, err
	}
	shapes, err := decodeWKB(data)
	return shapes, attributes, err
}

// fieldText is an attribute as text; ok is false when it is not set.
func fieldText(f godal.Field) (string, bool) {
	if !f.IsSet() {
		return "", false
	}
	switch f.Type() {
	case godal.FTInt, godal.FTInt64:
		return strconv.FormatInt(f.Int(), 10), true
	case godal.FTReal:
		return strconv.FormatFloat(f.Float(), 'g', -1, 64), true
	case godal.FTDate, godal.FTTime, godal.FTDateTime:
		at := f.DateTime()
		if at == nil {
			return "", false
		}
		layouts := map[godal.FieldType]string{godal.FTDate: "2006-01-02", godal.FTTime: "15:04:05"}
		if layout, ok := layouts[f.Type()]; ok {
			return at.Format(layout), true
		}
		return at.Format("2006-01-02T15:04:05Z07:00"), true
	case godal.FTString:
		return f.String(), true
	case godal.FTStringList:
		return strings.Join(f.StringList(), ", "), true
	}
	return "", false
}

// toDegrees converts the shapes to degrees of WGS 84, in place.
func (v *Vector) toDegrees(layer godal.Layer, name string, list []located) error {
	var x, y []float64
	for _, l := range list {
		for _, part := range l.shape.parts {
			for _, p := range part {
				x, y = append(x, p.x), append(y, p.y)
			}
		}
	}
	c, known, err := v.layerCRS(layer, name)
	if err != nil {
		return err
	}
	if !known {
		if err := v.assumeDegrees(name, x, y); err != nil {
			return err
		}
	} else {
		if err := v.plausibleDegrees(c, name, x, y); err != nil {
			return err
		}
		p, err := newProjector(c.wkt, wgs84)
		if err != nil {
			return &finding.Fault{Code: "crs_unsupported", File: v.Path, Text: "no way is known from " + c.String() + " to longitude and latitude: " + firstLine(err.Error()),
				Hint: "reproject the layer first (ogr2ogr -t_srs EPSG:4326)", Err: err}
		}
		p.convert(x, y)
		p.close()
	}
	at := 0
	for _, l := range list {
		for _, part := range l.shape.parts {
			for i := range part {
				if !finite(x[at], y[at]) || math.Abs(y[at]) > 90 {
					return &finding.Fault{Code: "bad_geometry", File: v.Path,
						Text: fmt.Sprintf("feature %d of layer %q has a vertex (%.6g, %.6g) with no place on the Earth", l.feature.Number, name, part[i].x, part[i].y),
						Hint: "check the layer's CRS"}
				}
				at++
			}
		}
	}
	at = 0
	for _, l := range list {
		for _, part := range l.shape.parts {
			for i := range part {
				part[i].x, part[i].y = turnTo(x[at], 0, 360), y[at]
				at++
			}
		}
	}
	return nil
}

// layerCRS is the CRS of a layer; known is false when it states none.
func (v *Vector) layerCRS(layer godal.Layer, name string) (c crs, known bool, err error) {
	var log gdalLog
	wkt, wktErr := layer.SpatialRef().WKT(godal.ErrLogger(log.handle))
	if wktErr != nil && !strings.Contains(wktErr.Error(), "NULL") {
		return crs{}, false, &finding.Fault{Code: "crs_unsupported", File: v.Path, Text: fmt.Sprintf("the coordinate reference system of layer %q is not understood: %s", name, firstLine(wktErr.Error())),
			Hint: "reproject the layer first (ogr2ogr -t_srs EPSG:4326)", Err: wktErr}
	}
	if wkt == "" { // a layer without one hands out a null pointer
		return crs{}, false, nil
	}
	c, kind := readCRS(wkt)
	switch kind {
	case crsEngineering:
		return crs{}, false, &finding.Fault{Code: "engineering_crs", File: v.Path, Text: fmt.Sprintf("the coordinate reference system of layer %q, %q, is a local one with no place on the Earth", name, c.name),
			Hint: "give the layer its true CRS first (ogr2ogr -a_srs EPSG:n)"}
	case crsOther:
		return crs{}, false, &finding.Fault{Code: "crs_unsupported", File: v.Path, Text: fmt.Sprintf("the coordinate reference system of layer %q is neither geographic nor projected", name),
			Hint: "reproject the layer first (ogr2ogr -t_srs EPSG:4326)"}
	}
	if v.CRS == "" {
		v.CRS = c.String()
	}
	return c, true, nil
}

// plausibleDegrees refuses coordinates that cannot be the degrees that their
// layer says they are: GeoJSON in metres or feet without its "crs" member.
func (v *Vector) plausibleDegrees(c crs, name string, x, y []float64) error {
	if !c.geographic {
		return nil
	}
	degree := 180 / math.Pi * c.perUnit
	for i := range x {
		if math.Abs(x[i])*degree > 540 || math.Abs(y[i])*degree > 90.000001 {
			return &finding.Fault{Code: "crs_mismatch", File: v.Path,
				Text: fmt.Sprintf("layer %q counts as degrees (%s), but its coordinates (%.7g, %.7g) are none", name, c, x[i], y[i]),
				Hint: "give it its true CRS first (ogr2ogr -a_srs EPSG:n)"}
		}
	}
	return nil
}

// assumeDegrees accepts coordinates without a CRS when they can be degrees.
func (v *Vector) assumeDegrees(name string, x, y []float64) error {
	for i := range x {
		if !(math.Abs(x[i]) <= 180 && math.Abs(y[i]) <= 90) {
			return &finding.Fault{Code: "no_crs", File: v.Path,
				Text: fmt.Sprintf("layer %q does not say which coordinate reference system it is in, and its coordinates (%.6g, %.6g) are no degrees", name, x[i], y[i]),
				Hint: "give it its CRS first (ogr2ogr -a_srs EPSG:n), or bring its .prj file along"}
		}
	}
	if v.CRS == "" {
		v.CRS = "none; taken as WGS 84"
	}
	if slices.ContainsFunc(v.Findings, func(f finding.Finding) bool {
		return f.Code == "crs_assumed" && strings.Contains(f.Text, strconv.Quote(name))
	}) {
		return nil
	}
	v.Findings = append(v.Findings, finding.New(finding.Warning, "crs_assumed",
		fmt.Sprintf("layer %q does not say which coordinate reference system it is in; its coordinates are taken as longitude and latitude of WGS 84", name),
		"check on the map that it lies where it should").In(v.Path))
	return nil
}

// keep sorts a shape in degrees into the lists.
func (v *Vector) keep(l located) {
	points := func(part []vertex) []geodesy.LonLat {
		out := make([]geodesy.LonLat, len(part))
		for i, p := range part {
			out[i] = geodesy.LonLat{Lon: p.x, Lat: p.y}
		}
		return out
	}
	first := l.shape.parts[0]
	switch l.shape.kind {
	case wkbPoint:
		v.Points = append(v.Points, VectorPoint{l.feature, geodesy.LonLat{Lon: first[0].x, Lat: first[0].y}, first[0].z})
	case wkbLine:
		if len(first) < 2 { // a line needs two ends
			v.spare(l.feature, v.empty(l.feature))
			return
		}
		line := VectorLine{Feature: l.feature, Points: points(first)}
		if !math.IsNaN(first[0].z) {
			for _, p := range first {
				line.Z = append(line.Z, p.z)
			}
		}
		v.Lines = append(v.Lines, line)
	case wkbPolygon:
		polygon := VectorPolygon{Feature: l.feature}
		for _, ring := range l.shape.parts {
			if len(ring) >= 4 {
				polygon.Rings = append(polygon.Rings, points(ring))
			}
		}
		if len(polygon.Rings) > 0 {
			v.Polygons = append(v.Polygons, polygon)
		}
	}
}
