package ogr

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
)

// program finds an independent program or skips the test.
func program(t *testing.T, name, pack string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Skipf("%s is not installed (Debian package %s)", name, pack)
	}
	return path
}

func sample() []Layer {
	return []Layer{
		{
			Name: "pipes", Description: "pipes as they are laid", Kind: Line,
			Fields: []Field{{"role", Text}, {"length_m", Real}, {"number", Integer}},
			Features: []Feature{
				{Parts: [][]Position{{{-121.5, 44.6, 812.125}, {-121.501, 44.601, 811.5}, {-121.502, 44.6, 810}}}, Values: []any{"supply", 213.25, int64(7)}},
				{Parts: [][]Position{{{-121.502, 44.6, 810}, {-121.503, 44.6, math.NaN()}}}, Values: []any{`drive "2" <&>`, math.NaN(), nil}},
			},
			Style: Style{By: "role", Label: "role", Classes: []Class{{Value: "supply", Title: "Supply pipe", Colour: "#1f6fb2", WidthMM: 0.6}, {Value: `drive "2" <&>`, Title: "Drive <&>", Colour: "#b2401f", WidthMM: 0.8, Dashed: true}}},
		},
		{
			Name: "stakes", Kind: Point, Fields: []Field{{"label", Text}},
			Features: []Feature{
				{Parts: [][]Position{{{-121.5, 44.6, 812.125}}}, Values: []any{"S1"}},
				{Parts: [][]Position{{{math.NaN(), 44.6, 812.125}}}, Values: []any{"nowhere"}},
			},
			Style: Style{Classes: []Class{{Title: "Stake", Colour: "#222222", WidthMM: 2, Mark: "square"}}},
		},
		{
			Name: "land", Kind: Polygon, Flat: true,
			Features: []Feature{{Parts: [][]Position{
				{{-121.51, 44.59, 0}, {-121.49, 44.59, 0}, {-121.49, 44.61, 0}, {-121.51, 44.61, 0}, {-121.51, 44.59, 0}},
				{{-121.501, 44.599, 0}, {-121.5, 44.599, 0}, {-121.5, 44.6, 0}, {-121.501, 44.599, 0}},
			}, Values: []any{}}},
		},
	}
}

// read has GDAL's own program turn a layer of a file into GeoJSON in degrees.
func read(t *testing.T, file, layer string, more ...string) (features []struct {
	Properties map[string]any
	Geometry   *struct {
		Type        string
		Coordinates json.RawMessage
	}
}) {
	t.Helper()
	ogr2ogr := program(t, "ogr2ogr", "gdal-bin")
	args := append(append([]string{"-f", "GeoJSON", "-lco", "COORDINATE_PRECISION=12"}, more...), "/vsistdout/", file, layer)
	text, err := exec.Command(ogr2ogr, args...).Output()
	if err != nil {
		t.Fatalf("ogr2ogr %v: %v", args, err)
	}
	var document struct {
		Features json.RawMessage
	}
	if err := json.Unmarshal(text, &document); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(document.Features, &features); err != nil {
		t.Fatal(err)
	}
	return features
}

func file(t *testing.T, name string, write func(io.Writer) error) string {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, b.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	return path
}

// What goes in comes out of GDAL's own reader, through a projected system and
// back to degrees.
func TestGeoPackageHoldsWhatWentIn(t *testing.T) {
	for _, crs := range []string{"", "EPSG:32610", "EPSG:2992"} {
		path := file(t, "a.gpkg", func(w io.Writer) error { return GeoPackage(w, crs, sample()) })
		pipes := read(t, path, "pipes", "-t_srs", "EPSG:4326")
		if len(pipes) != 2 || pipes[0].Properties["role"] != "supply" || pipes[0].Properties["length_m"] != 213.25 || pipes[0].Properties["number"] != 7.0 ||
			pipes[1].Properties["role"] != `drive "2" <&>` || pipes[1].Properties["length_m"] != nil || pipes[1].Properties["number"] != nil {
			t.Fatalf("%q: pipes %+v", crs, pipes)
		}
		var line [][]float64
		if err := json.Unmarshal(pipes[0].Geometry.Coordinates, &line); err != nil {
			t.Fatal(err)
		}
		for i, p := range sample()[0].Features[0].Parts[0] {
			// There and back through the projection, to a millimetre.
			if len(line[i]) != 3 || math.Abs(line[i][0]-p.Lon) > 1e-8 || math.Abs(line[i][1]-p.Lat) > 1e-8 || line[i][2] != p.Z {
				t.Errorf("%q: vertex %d is %v, want %v", crs, i, line[i], p)
			}
		}
		if err := json.Unmarshal(pipes[1].Geometry.Coordinates, &line); err != nil || len(line) != 2 || len(line[0]) != 2 {
			t.Errorf("%q: a line with an unknown height came back as %v, %v", crs, line, err)
		}
		stakes := read(t, path, "stakes", "-t_srs", "EPSG:4326")
		if len(stakes) != 2 || stakes[0].Geometry == nil || stakes[1].Geometry != nil || stakes[1].Properties["label"] != "nowhere" {
			t.Errorf("%q: stakes %+v", crs, stakes)
		}
		land := read(t, path, "land", "-t_srs", "EPSG:4326")
		var rings [][][]float64
		if err := json.Unmarshal(land[0].Geometry.Coordinates, &rings); err != nil || len(rings) != 2 || len(rings[0]) != 5 || len(rings[1]) != 4 || len(rings[0][0]) != 2 {
			t.Errorf("%q: polygon %v, %v", crs, rings, err)
		}
	}
}

// ogrinfo names the system, the count and the dimension of each layer.
func TestGeoPackageSaysWhatItIs(t *testing.T) {
	ogrinfo := program(t, "ogrinfo", "gdal-bin")
	path := file(t, "a.gpkg", func(w io.Writer) error { return GeoPackage(w, "EPSG:32610", sample()) })
	text, err := exec.Command(ogrinfo, "-so", "-al", path).CombinedOutput()
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`ID["EPSG",32610]`, "3D Line String", "3D Point", "Geometry: Polygon", "Feature Count: 2", "pipes as they are laid"} {
		if !strings.Contains(string(text), want) {
			t.Errorf("ogrinfo does not say %q:\n%s", want, text)
		}
	}
	if strings.Contains(strings.ToLower(string(text)), "warning") {
		t.Errorf("ogrinfo warns:\n%s", text)
	}
}

// The styles stand in the table in which readers look for them, and both forms
// are well-formed XML that names every class.
func TestGeoPackageCarriesItsStyles(t *testing.T) {
	path := file(t, "a.gpkg", func(w io.Writer) error { return GeoPackage(w, "", sample()) })
	styles := read(t, path, "layer_styles")
	if len(styles) != 2 {
		t.Fatalf("%d styles for two layers that have one", len(styles))
	}
	for i, layer := range sample()[:2] {
		p := styles[i].Properties
		if p["f_table_name"] != layer.Name || p["f_geometry_column"] != "geom" || p["useAsDefault"] != 1.0 {
			t.Errorf("style %v", p)
		}
		for _, form := range []string{"styleQML", "styleSLD"} {
			text, _ := p[form].(string)
			titles, decoder := 0, xml.NewDecoder(strings.NewReader(text))
			for {
				token, err := decoder.Token()
				if err == io.EOF {
					break
				}
				if err != nil {
					t.Fatalf("%s of %s: %v\n%s", form, layer.Name, err, text)
				}
				if e, ok := token.(xml.StartElement); ok && (e.Name.Local == "symbol" || e.Name.Local == "Title") {
					titles++
				}
			}
			if titles != len(layer.Style.Classes) {
				t.Errorf("%s of %s has %d symbols for %d classes:\n%s", form, layer.Name, titles, len(layer.Style.Classes), text)
			}
		}
	}
}

// A drawing keeps places, heights, layers and texts.
func TestDXFHoldsWhatWentIn(t *testing.T) {
	path := file(t, "a.dxf", func(w io.Writer) error {
		return DXF(w, "EPSG:32610", []Entity{
			{Layer: "SUPPLY", Colour: "#1f6fb2", Line: []Position{{-121.5, 44.6, 812.125}, {-121.501, 44.601, 811.5}}},
			{Layer: "LABELS", Colour: "#222222", Line: []Position{{-121.5, 44.6, 812.125}}, Text: `S1 "2 in"`, Height: 1.5},
			{Layer: "STAKES", Colour: "#222222", Line: []Position{{-121.5, 44.6, 812.125}}},
		})
	})
	entities := read(t, path, "entities", "-a_srs", "EPSG:32610")
	if len(entities) != 3 {
		t.Fatalf("%d entities", len(entities))
	}
	for i, want := range []struct{ layer, kind, text string }{{"SUPPLY", "LineString", ""}, {"LABELS", "Point", "S1 '2 in'"}, {"STAKES", "Point", ""}} {
		text, _ := entities[i].Properties["Text"].(string)
		if e := entities[i]; e.Properties["Layer"] != want.layer || e.Geometry.Type != want.kind || text != want.text {
			t.Errorf("entity %d: %+v, want %v", i, e, want)
		}
	}
	back := read(t, path, "entities", "-s_srs", "EPSG:32610", "-t_srs", "EPSG:4326")
	var line [][]float64
	if err := json.Unmarshal(back[0].Geometry.Coordinates, &line); err != nil {
		t.Fatal(err)
	}
	if math.Abs(line[1][0]+121.501) > 1e-8 || math.Abs(line[1][1]-44.601) > 1e-8 || line[1][2] != 811.5 {
		t.Errorf("the line ends at %v", line[1])
	}
}

func TestTheSameLayersGiveTheSameBytes(t *testing.T) {
	write := map[string]func(io.Writer) error{
		"GeoPackage": func(w io.Writer) error { return GeoPackage(w, "EPSG:32610", sample()) },
		"DXF": func(w io.Writer) error {
			return DXF(w, "EPSG:32610", []Entity{{Layer: "A", Colour: "#000000", Line: []Position{{-121.5, 44.6, 1}}}})
		},
	}
	for name, write := range write {
		var texts [4]bytes.Buffer
		var wait sync.WaitGroup
		for i := range texts {
			wait.Go(func() {
				if err := write(&texts[i]); err != nil {
					t.Error(err)
				}
			})
		}
		wait.Wait()
		for i := range texts {
			if texts[i].Len() == 0 || !bytes.Equal(texts[0].Bytes(), texts[i].Bytes()) {
				t.Errorf("%s: writing %d gave %d bytes, the first %d", name, i, texts[i].Len(), texts[0].Len())
			}
		}
	}
}

func TestWhatCannotBeWrittenIsAnError(t *testing.T) {
	one := sample()[1:2]
	if err := GeoPackage(io.Discard, "EPSG:999999", one); err == nil {
		t.Error("a system that does not exist was written")
	}
	for _, name := range []string{"", "a b", "a;b"} {
		bad := sample()[1]
		bad.Name = name
		if err := GeoPackage(io.Discard, "", []Layer{bad}); err == nil {
			t.Errorf("a layer called %q was written", name)
		}
	}
	bad := sample()[0]
	bad.Features = []Feature{{Values: []any{"supply"}}}
	if err := GeoPackage(io.Discard, "", []Layer{bad}); err == nil {
		t.Error("a feature with too few values was written")
	}
	bad.Features = []Feature{{Values: []any{1, 2.0, int64(3)}}}
	if err := GeoPackage(io.Discard, "", []Layer{bad}); err == nil {
		t.Error("a value of the wrong type was written")
	}
}
