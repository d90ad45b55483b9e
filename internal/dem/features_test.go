package dem

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"route/internal/finding"
)

// Bad features are named, each with what is wrong, and the good ones read.
func TestReadFeaturesSparesTheGood(t *testing.T) {
	path := writeText(t, "creeks.geojson", `{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{"name":"good"},"geometry":{"type":"LineString","coordinates":[[-123.0,36.1],[-122.999,36.101]]}},
{"type":"Feature","properties":{"name":"none"},"geometry":null},
{"type":"Feature","properties":{"name":"point"},"geometry":{"type":"LineString","coordinates":[[-123.0,36.1]]}},
{"type":"Feature","properties":{"name":"metres"},"geometry":{"type":"LineString","coordinates":[[500000,4000000],[500100,4000100]]}},
{"type":"Feature","properties":{"name":"two"},"geometry":{"type":"MultiLineString","coordinates":[[[-123,36],[-122.9,36]],[[-123,36.2],[-122.9,36.2]]]}}
]}`)
	v, bad, err := ReadFeatures(path)
	must(t, err)
	var good []string
	for _, l := range v.Lines {
		good = append(good, l.Attributes["name"])
	}
	if !slices.Equal(good, []string{"good", "two", "two"}) {
		t.Errorf("lines of %v", good)
	}
	near(t, "longitude", v.Lines[0].Points[1].Lon, -122.999, 1e-12)
	says := map[string]string{"none": "no geometry", "point": "single point", "metres": "500000"}
	for _, b := range bad {
		name := b.Attributes["name"]
		if says[name] == "" || !strings.Contains(b.Fault.Text, says[name]) || b.Fault.Hint == "" {
			t.Errorf("feature %d, %q: %s", b.Number, name, b.Fault.Text)
		}
		delete(says, name)
	}
	if len(says) != 0 {
		t.Errorf("not named: %v", says)
	}
	// Who wants all of the file still gets all or nothing.
	_, err = ReadVector(path)
	fault(t, err, "crs_mismatch")
}

// A number that is null is no 0.
func TestReadFeaturesTellsNullFromZero(t *testing.T) {
	v, _, err := ReadFeatures(writeText(t, "creeks.geojson", `{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{"lat":0,"n":7,"share":0.25},"geometry":{"type":"LineString","coordinates":[[1,2],[3,4]]}},
{"type":"Feature","properties":{"lat":null,"n":null,"share":null},"geometry":{"type":"LineString","coordinates":[[1,2],[3,4]]}}]}`))
	must(t, err)
	for i, want := range []map[string]string{{"lat": "0", "n": "7", "share": "0.25"}, {"lat": "", "n": "", "share": ""}} {
		for key, text := range want {
			if got := v.Lines[i].Attributes[key]; got != text {
				t.Errorf("feature %d: %s is %q, want %q", i+1, key, got, text)
			}
		}
	}
}

// A layer of which nothing can be used is refused with the layer's fault.
func TestReadFeaturesOfNothing(t *testing.T) {
	_, _, err := ReadFeatures(writeText(t, "creeks.geojson", `{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{},"geometry":{"type":"LineString","coordinates":[[500000,4000000],[500100,4000100]]}},
{"type":"Feature","properties":{},"geometry":{"type":"LineString","coordinates":[[500000,4000000],[500100,4000200]]}}]}`))
	var bad *finding.Fault
	if !errors.As(err, &bad) || bad.Code != "crs_mismatch" {
		t.Errorf("have %v", err)
	}
}
