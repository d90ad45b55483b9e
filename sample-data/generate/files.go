package main

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"route/internal/geodesy"
	"route/sample-data/valley"
)

// escape makes text safe inside XML.
func escape(text string) string {
	var b bytes.Buffer
	_ = xml.EscapeText(&b, []byte(text)) // a bytes.Buffer takes everything
	return b.String()
}

// trackFile is the walked creek and the tank's waypoint as GPX 1.1.
func trackFile(place *valley.Place) ([]byte, error) {
	var b bytes.Buffer
	b.WriteString(`<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="sample site generator" xmlns="http://www.topografix.com/GPX/1/1">
`)
	fmt.Fprintf(&b, "  <metadata><name>%s</name><desc>An invented place in open ocean</desc></metadata>\n", escape(place.Name))
	if off := place.Tank.WaypointOff; off != (orb.Point{}) {
		at := place.LonLat(orb.Point{place.Tank.At[0] + off[0], place.Tank.At[1] + off[1]})
		fmt.Fprintf(&b, "  <wpt lat=%q lon=%q><name>tank</name></wpt>\n", degrees(at.Lat), degrees(at.Lon))
	}
	b.WriteString("  <trk><name>creek</name>\n")
	for _, leg := range place.Walk() {
		b.WriteString("    <trkseg>\n")
		for _, fix := range leg {
			at := place.LonLat(fix.Recorded)
			fmt.Fprintf(&b, "      <trkpt lat=%q lon=%q>", degrees(at.Lat), degrees(at.Lon))
			if !math.IsNaN(fix.EleM) {
				fmt.Fprintf(&b, "<ele>%.1f</ele>", fix.EleM)
			}
			fmt.Fprintf(&b, "<time>%s</time></trkpt>\n", fix.Time.Format("2006-01-02T15:04:05Z"))
		}
		b.WriteString("    </trkseg>\n")
	}
	b.WriteString("  </trk>\n</gpx>\n")
	return b.Bytes(), nil
}

// degrees writes an angle with seven decimals.
func degrees(v float64) string { return fmt.Sprintf("%.7f", v) }

// feature and collection are what the land file needs of RFC 7946.
type feature struct {
	Type       string            `json:"type"`
	Properties map[string]string `json:"properties"`
	Geometry   geometry          `json:"geometry"`
}

type geometry struct {
	Type        string `json:"type"`
	Coordinates any    `json:"coordinates"`
}

// landFile is the borders as GeoJSON.
func landFile(place *valley.Place) ([]byte, error) {
	features := []feature{}
	for _, border := range place.Land {
		f := feature{Type: "Feature", Properties: map[string]string{"role": border.Role, "name": border.Name}}
		points := slices.Clone(border.Points)
		if border.Role == "crossing" {
			f.Geometry = geometry{"LineString", positions(place, points)}
		} else {
			ring := orb.Ring(append(points, points[0]))
			if ring.Orientation() == orb.CW { // RFC 7946 section 3.1.6: anticlockwise
				ring.Reverse()
			}
			f.Geometry = geometry{"Polygon", [][][2]json.Number{positions(place, ring)}}
		}
		features = append(features, f)
	}
	content, err := json.MarshalIndent(struct {
		Type     string    `json:"type"`
		Features []feature `json:"features"`
	}{"FeatureCollection", features}, "", " ")
	return append(content, '\n'), err
}

// positions are points in degrees.
func positions(place *valley.Place, points []orb.Point) [][2]json.Number {
	var out [][2]json.Number
	for _, p := range points {
		var at geodesy.LonLat = place.LonLat(p)
		out = append(out, [2]json.Number{json.Number(degrees(at.Lon)), json.Number(degrees(at.Lat))})
	}
	return out
}

// truthFile is the truth, one point of the thalweg a line.
func truthFile(place *valley.Place) ([]byte, error) {
	truth := place.Truth()
	points := truth.Thalweg
	truth.Thalweg = []valley.TrueBottom{}
	head, err := json.MarshalIndent(truth, "", " ")
	if err != nil {
		return nil, err
	}
	var rows bytes.Buffer
	rows.WriteString(`"thalweg": [`)
	for i, p := range points {
		if i > 0 {
			rows.WriteByte(',')
		}
		row, err := json.Marshal(p)
		if err != nil {
			return nil, err
		}
		rows.WriteString("\n  ")
		rows.Write(row)
	}
	rows.WriteString("\n ]")
	head = bytes.Replace(head, []byte(`"thalweg": []`), rows.Bytes(), 1)
	return append(head, '\n'), nil
}
