package dem

import (
	"encoding/binary"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/airbusgeo/godal"
)

const landGeoJSON = `{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{"name":"creek","width":2.5,"reach":3,"when":"2024-05-06"},"geometry":{"type":"LineString","coordinates":[[-123.0,36.1,210.5],[-122.999,36.101,212]]}},
{"type":"Feature","properties":{"name":"two"},"geometry":{"type":"MultiLineString","coordinates":[[[-123,36],[-122.9,36]],[[-123,36.2],[-122.9,36.2],[-122.8,36.3]]]}},
{"type":"Feature","properties":{"name":"keep out"},"geometry":{"type":"Polygon","coordinates":[[[-123,36],[-122,36],[-122,37],[-123,37],[-123,36]],[[-122.6,36.4],[-122.6,36.6],[-122.4,36.6],[-122.6,36.4]]]}},
{"type":"Feature","properties":{"name":"tank"},"geometry":{"type":"Point","coordinates":[-122.5,36.5]}},
{"type":"Feature","properties":{"name":"none"},"geometry":null},
{"type":"Feature","properties":{"name":"mixed"},"geometry":{"type":"GeometryCollection","geometries":[{"type":"Point","coordinates":[1,2]},{"type":"LineString","coordinates":[[1,2],[3,4]]}]}}
]}`

func writeText(t testing.TB, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	must(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

func checkLand(t *testing.T, v *Vector, tolerance float64) {
	t.Helper()
	if len(v.Lines) != 4 || len(v.Polygons) != 1 || len(v.Points) != 2 {
		t.Fatalf("%d lines, %d polygons, %d points", len(v.Lines), len(v.Polygons), len(v.Points))
	}
	creek := v.Lines[0]
	if creek.Attributes["name"] != "creek" || len(creek.Points) != 2 {
		t.Errorf("creek %+v", creek)
	}
	near(t, "longitude", creek.Points[1].Lon, -122.999, tolerance)
	near(t, "latitude", creek.Points[1].Lat, 36.101, tolerance)
	rings := v.Polygons[0].Rings
	if len(rings) != 2 || len(rings[0]) != 5 || len(rings[1]) != 4 || rings[0][0] != rings[0][4] {
		t.Errorf("rings %v", rings)
	}
	near(t, "point", v.Points[0].At.Lat, 36.5, tolerance)
}

func TestReadVectorGeoJSON(t *testing.T) {
	v, err := ReadVector(writeText(t, "land.geojson", landGeoJSON))
	must(t, err)
	checkLand(t, v, 1e-12)
	creek := v.Lines[0]
	if len(creek.Z) != 2 || creek.Z[0] != 210.5 || creek.Attributes["width"] != "2.5" || creek.Attributes["reach"] != "3" || creek.Number != 1 {
		t.Errorf("creek %+v", creek)
	}
	if !strings.HasPrefix(creek.Attributes["when"], "2024-05-06") {
		t.Errorf("date %q", creek.Attributes["when"])
	}
	if v.Lines[1].Z != nil || !math.IsNaN(v.Points[0].Z) {
		t.Error("a height where there is none")
	}
	if _, set := v.Lines[1].Attributes["width"]; set {
		t.Error("an attribute that is not set is there")
	}
	if len(v.Findings) != 0 {
		t.Errorf("findings %v", v.Findings)
	}
}

// The same features through the other formats, written by GDAL itself and in
// other coordinate systems.
func TestReadVectorFormats(t *testing.T) {
	register()
	src := writeText(t, "land.geojson", landGeoJSON)
	in, err := godal.Open(src, godal.VectorOnly())
	must(t, err)
	defer in.Close()
	for _, c := range []struct {
		name, format, srs string
		more              []string
		tolerance         float64
	}{
		{"land.gpkg", "GPKG", "EPSG:26910", nil, 1e-8},
		{"ft.gpkg", "GPKG", "EPSG:2227", nil, 1e-8}, // California zone 3, US survey feet
		{"land.kml", "KML", "EPSG:4326", nil, 1e-12},
		{"land.gml", "GML", "EPSG:3857", nil, 1e-8},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), c.name)
			out, err := in.VectorTranslate(path, append([]string{"-f", c.format, "-t_srs", c.srs, "-where", "name <> 'mixed' AND name <> 'none'"}, c.more...),
				godal.ErrLogger((&gdalLog{}).handle))
			must(t, err)
			must(t, out.Close(godal.ErrLogger((&gdalLog{}).handle)))
			v, err := ReadVector(path)
			must(t, err)
			if len(v.Lines) != 3 || len(v.Polygons) != 1 || len(v.Points) != 1 {
				t.Fatalf("%d lines, %d polygons, %d points", len(v.Lines), len(v.Polygons), len(v.Points))
			}
			near(t, "longitude", v.Lines[0].Points[1].Lon, -122.999, c.tolerance)
			near(t, "latitude", v.Lines[0].Points[1].Lat, 36.101, c.tolerance)
			near(t, "point", v.Points[0].At.Lon, -122.5, c.tolerance)
		})
	}
}

func TestReadVectorShapefile(t *testing.T) {
	register()
	in, err := godal.Open(writeText(t, "land.geojson", landGeoJSON), godal.VectorOnly())
	must(t, err)
	defer in.Close()
	make := func(name, srs string) string {
		path := filepath.Join(t.TempDir(), name)
		out, err := in.VectorTranslate(path, []string{"-f", "ESRI Shapefile", "-t_srs", srs, "-where", "name IN ('creek','two')", "-nlt", "MULTILINESTRING", "-dim", "XY"},
			godal.ErrLogger((&gdalLog{}).handle))
		must(t, err)
		must(t, out.Close())
		return path
	}
	path := make("utm.shp", "EPSG:26910")
	v, err := ReadVector(path)
	must(t, err)
	if len(v.Lines) != 3 || v.Lines[0].Attributes["name"] != "creek" {
		t.Fatalf("%+v", v.Lines)
	}
	near(t, "longitude", v.Lines[0].Points[1].Lon, -122.999, 1e-8)

	// Without its .prj: metres cannot be degrees, degrees can.
	must(t, os.Remove(strings.TrimSuffix(path, "shp")+"prj"))
	_, err = ReadVector(path)
	says(t, fault(t, err, "no_crs").Text, "are no degrees")
	plain := make("deg.shp", "EPSG:4326")
	must(t, os.Remove(strings.TrimSuffix(plain, "shp")+"prj"))
	v, err = ReadVector(plain)
	must(t, err)
	says(t, has(t, v.Findings, "crs_assumed").Text, "taken as longitude and latitude")
	near(t, "longitude", v.Lines[0].Points[1].Lon, -122.999, 1e-12)
}

func TestReadVectorRefusals(t *testing.T) {
	for _, c := range []struct{ name, text, code string }{
		{"words.geojson", "not json at all", "not_a_vector"},
		{"empty.geojson", `{"type":"FeatureCollection","features":[]}`, "no_geometry"},
		{"null.geojson", `{"type":"FeatureCollection","features":[{"type":"Feature","properties":{},"geometry":null}]}`, "no_geometry"},
		{"pole.geojson", `{"type":"Point","coordinates":[10,95]}`, "crs_mismatch"},
	} {
		_, err := ReadVector(writeText(t, c.name, c.text))
		f := fault(t, err, c.code)
		if f.Hint == "" || f.File == "" {
			t.Errorf("%s: %+v", c.name, f)
		}
	}
	_, err := ReadVector(filepath.Join(t.TempDir(), "gone.shp"))
	fault(t, err, "file_not_found")
}

// An arc is followed by chords: the quarter circle of radius 1 around the
// origin keeps its length within the chord error of OGR's default 4 degrees.
func TestReadVectorArcs(t *testing.T) {
	text := "wkt,name\n\"CIRCULARSTRING(1 0,0.70710678118 0.70710678118,0 1)\",bend\n"
	v, err := ReadVector(writeText(t, "arc.csv", text))
	if err != nil { // CSV needs its column named WKT for geometry
		t.Fatal(err)
	}
	if len(v.Lines) != 1 || len(v.Lines[0].Points) < 10 {
		t.Fatalf("%+v", v.Lines)
	}
	length := 0.0
	p := v.Lines[0].Points
	for i := 1; i < len(p); i++ {
		length += math.Hypot(p[i].Lon-p[i-1].Lon, p[i].Lat-p[i-1].Lat)
		near(t, "radius", math.Hypot(p[i].Lon, p[i].Lat), 1, 1e-9)
	}
	near(t, "length", length, math.Pi/2, 1e-3)
}

// South Papillion Creek in US survey feet of the Nebraska State Plane: the
// vertices lie where the table of the same points says, brought to degrees by
// PROJ; and every vector of the collection is read.
func TestVectorsOfTheCollection(t *testing.T) {
	dir := terrainDir(t)
	v, err := ReadVector(filepath.Join(dir, "south_papillion_ne_stateplane_ft", "flowline_ftUS.gpkg"))
	must(t, err)
	if len(v.Lines) == 0 || !strings.Contains(v.CRS, "ft") {
		t.Fatalf("%d lines in %q", len(v.Lines), v.CRS)
	}
	for _, p := range v.Lines[0].Points { // near Omaha, Nebraska, as its description says
		if math.Abs(p.Lat-41.2) > 0.2 || math.Abs(p.Lon+96.1) > 0.3 {
			t.Fatalf("a vertex at %v", p)
		}
	}
	n := 0
	must(t, filepath.WalkDir(dir, func(path string, entry os.DirEntry, err error) error {
		must(t, err)
		ext := filepath.Ext(path)
		if entry.IsDir() || ext != ".geojson" && ext != ".gpkg" || strings.HasSuffix(path, "raster.gpkg") {
			return nil
		}
		n++
		v, err := ReadVector(path)
		if filepath.Base(path) == "cross_sections_ftUS.geojson" { // feet, with a CRS that says degrees
			says(t, fault(t, err, "crs_mismatch").Text, "degrees")
			return nil
		}
		must(t, err)
		t.Logf("%s: %s, %d lines, %d polygons, %d points", filepath.Base(path), v.CRS, len(v.Lines), len(v.Polygons), len(v.Points))
		return nil
	}))
	if n < 15 {
		t.Errorf("only %d vectors found", n)
	}
	streams, err := ReadVector(filepath.Join(dir, "mcgregor_bc", "fwa_streams.gpkg"))
	must(t, err)
	withZ := 0
	for _, l := range streams.Lines {
		if l.Z != nil {
			withZ++
		}
	}
	if len(streams.Lines) != 1223 || withZ != 1223 { // the count of its description
		t.Errorf("%d lines, %d with heights", len(streams.Lines), withZ)
	}
}

func FuzzDecodeWKB(f *testing.F) {
	point := []byte{1, 1, 0, 0, 0}
	point = binary.LittleEndian.AppendUint64(point, math.Float64bits(1.5))
	point = binary.LittleEndian.AppendUint64(point, math.Float64bits(-2))
	f.Add(point)
	f.Add([]byte{0, 0, 0, 0, 7, 0, 0, 0, 1, 1, 1, 0, 0, 0})
	f.Add([]byte{1, 0xeb, 3, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0})
	f.Fuzz(func(t *testing.T, data []byte) {
		shapes, err := decodeWKB(data)
		if err != nil {
			if !errors.Is(err, errWKB) && !errors.Is(err, errCurve) {
				t.Errorf("error %v", err)
			}
			return
		}
		vertices := 0
		for _, s := range shapes {
			for _, part := range s.parts {
				vertices += len(part)
			}
		}
		if 16*vertices > len(data) {
			t.Errorf("%d vertices out of %d bytes", vertices, len(data))
		}
	})
}

// Reference encodings from OGC 06-103r4 (8.2.8) by construction: the codes of
// table 7, both byte orders, Z by 1000 and by the high bit.
func TestDecodeWKB(t *testing.T) {
	encode := func(order binary.AppendByteOrder, code uint32, xyz ...float64) []byte {
		flag := byte(1)
		if order == binary.AppendByteOrder(binary.BigEndian) {
			flag = 0
		}
		out := order.AppendUint32([]byte{flag}, code)
		for _, v := range xyz {
			out = order.AppendUint64(out, math.Float64bits(v))
		}
		return out
	}
	for _, c := range []struct {
		data []byte
		z    float64
	}{
		{encode(binary.LittleEndian, 1, 3, 4), math.NaN()},
		{encode(binary.BigEndian, 1, 3, 4), math.NaN()},
		{encode(binary.LittleEndian, 1001, 3, 4, 5), 5},
		{encode(binary.LittleEndian, 0x80000001, 3, 4, 5), 5},
		{encode(binary.BigEndian, 2001, 3, 4, 9), math.NaN()},
		{encode(binary.BigEndian, 3001, 3, 4, 5, 9), 5},
	} {
		shapes, err := decodeWKB(c.data)
		must(t, err)
		p := shapes[0].parts[0][0]
		if len(shapes) != 1 || p.x != 3 || p.y != 4 || !(p.z == c.z || p.z != p.z && c.z != c.z) {
			t.Errorf("%v: %v", c.data, p)
		}
	}
	if _, err := decodeWKB(encode(binary.LittleEndian, 8, 1, 2)); !errors.Is(err, errCurve) {
		t.Errorf("a circular string: %v", err)
	}
	empty, err := decodeWKB(encode(binary.LittleEndian, 1, math.NaN(), math.NaN()))
	if err != nil || len(empty) != 0 {
		t.Errorf("an empty point: %v, %v", empty, err)
	}
}
