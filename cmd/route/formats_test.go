package main

import (
	"bytes"
	"fmt"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// GDAL's own program finds in each file of the folder as many pipes, places and
// stakes as the plan has, in the plan's system and with heights.
func TestHandOffGISFilesByOGR(t *testing.T) {
	ogrinfo, ogr2ogr := tool(t, "ogrinfo", "gdal-bin"), tool(t, "ogr2ogr", "gdal-bin")
	onDemos(t, func(t *testing.T, h *handedOver) {
		pipes, places, stakes := 0, 0, 0
		for i := range h.plan.Layouts {
			for _, role := range rolesOf(&h.plan.Layouts[i]) {
				switch role {
				case "supply", "drive", "delivery":
					pipes++
				default:
					places++
				}
			}
			stakes += len(h.plan.Layouts[i].Stakes)
		}
		// read gives the features of a layer as a table.
		read := func(file, layer string) []map[string]string {
			args := []string{"-f", "CSV", "-lco", "GEOMETRY=AS_WKT", "/vsistdout/", filepath.Join(h.dir, file)}
			if layer != "" {
				args = append(args, layer)
			}
			out, err := exec.Command(ogr2ogr, args...).Output()
			if err != nil {
				t.Fatalf("%s %s: %v", file, layer, err)
			}
			return namedRows(t, out)
		}
		for layer, want := range map[string]int{"creek": 1, "pipes": pipes, "places": places, "stakes": stakes} {
			rows := read("route.gpkg", layer)
			if len(rows) != want {
				t.Errorf("route.gpkg, %s: %d features, want %d", layer, len(rows), want)
			}
			for _, row := range rows {
				if kind, _, _ := strings.Cut(row["WKT"], " ("); !strings.HasSuffix(kind, " Z") {
					t.Errorf("route.gpkg, %s: no heights in %.60s", layer, row["WKT"])
				}
			}
		}
		said, err := exec.Command(ogrinfo, "-ro", "-so", "-al", filepath.Join(h.dir, "route.gpkg")).CombinedOutput()
		code := strings.TrimPrefix(h.plan.Frame.UTM, "EPSG:")
		if err != nil || bytes.Count(said, fmt.Appendf(nil, `ID["EPSG",%s]]`, code)) < 4 {
			t.Errorf("%v: not in %s:\n%s", err, h.plan.Frame.UTM, said)
		}
		drawn := map[string]int{}
		for _, row := range read("route.dxf", "entities") {
			what, _, _ := strings.Cut(row["Layer"], "_")
			if strings.Contains(row["Layer"], "_TEXT_") {
				what += " text"
			}
			drawn[what]++
		}
		for what, want := range map[string]int{"CREEK": 1, "PLACES": places, "PLACES text": places, "STAKES": stakes, "STAKES text": stakes} {
			if drawn[what] != want {
				t.Errorf("route.dxf: %d entities of %s, want %d", drawn[what], what, want)
			}
		}
		if n := drawn["SUPPLY"] + drawn["DRIVE"] + drawn["DELIVERY"]; n != pipes {
			t.Errorf("route.dxf: %d pipes, want %d", n, pipes)
		}
		marks := 0
		for i := range h.plan.Layouts {
			marks += len(read("route.kml", "Layout "+h.plan.Layouts[i].ID))
		}
		if marks != pipes+places+stakes {
			t.Errorf("route.kml: %d placemarks, want %d", marks, pipes+places+stakes)
		}
	})
}
