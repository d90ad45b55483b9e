package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// ravine is a small analytic place: a creek that flows east down an even slope
// of 3 % and swings to and fro by 5 m, in a valley whose sides rise 1 in 2.
// Its cells are a hundred-thousandth of a degree, which at the equator is
// 1.1132 m east and 1.1057 m north (radii of WGS 84: 6378137 m, and
// 6335439 m along the meridian there).
type ravine struct {
	lonW, latS   float64 // south-west corner
	cols, rows   int
	dLon, dLat   float64
	unit, crs    string                                // of the raster; empty: it says nothing
	gt           string                                // another geotransform
	z            func(x, y, creekY, z float64) float64 // changes the height at x metres east, y metres north
	cell         string                                // format of a height
	trackFromM   float64
	trackToM     float64
	name         string // of the raster
	header       string // more lines of the virtual raster's band
	southernRows bool   // the first row of the file is the southern one
	westCols     int    // cut to so many columns; 0: all
	eastCols     int
}

const (
	ravineEastM  = 1.11319491 // of 1e-5 degree
	ravineNorthM = 1.10574276
	ravineGrade  = 0.03
	ravineTopM   = 300.0
)

func newRavine() ravine {
	return ravine{lonW: -40, latS: -0.0008, cols: 400, rows: 160, dLon: 1e-5, dLat: 1e-5,
		unit: "m", crs: "EPSG:4326", cell: "%.4f", trackFromM: 30, trackToM: 410, name: "ground"}
}

// creekY is where the creek runs, in metres north of the southern edge.
func (v ravine) creekY(x float64) float64 {
	return 80*ravineNorthM + 5*math.Sin(2*math.Pi*x/120)
}

// height of the ground.
func (v ravine) height(x, y float64) float64 {
	creek := v.creekY(x)
	z := ravineTopM - ravineGrade*x + 0.5*math.Max(0, math.Abs(y-creek)-1)
	if v.z != nil {
		z = v.z(x, y, creek, z)
	}
	return z
}

// write leaves the raster in dir, as text with a virtual raster over it that
// says where it lies, and gives the virtual raster's name.
func (v ravine) write(t testing.TB, dir string) string {
	t.Helper()
	from, to := 0, v.cols
	if v.westCols > 0 {
		to = v.westCols
	}
	if v.eastCols > 0 {
		from = v.cols - v.eastCols
	}
	var b strings.Builder
	fmt.Fprintf(&b, "ncols %d\nnrows %d\nxllcorner 0\nyllcorner 0\ncellsize 1\n", to-from, v.rows)
	for r := range v.rows {
		row := v.rows - 1 - r // from the south
		if v.southernRows {
			row = r
		}
		for c := from; c < to; c++ {
			if c > from {
				b.WriteByte(' ')
			}
			fmt.Fprintf(&b, v.cell, v.height((float64(c)+0.5)*ravineEastM, (float64(row)+0.5)*ravineNorthM))
		}
		b.WriteByte('\n')
	}
	save(t, filepath.Join(dir, v.name+".asc"), b.String())
	gt := fmt.Sprintf("%.9f, %g, 0, %.9f, 0, %g", v.lonW+float64(from)*v.dLon, v.dLon, v.latS+float64(v.rows)*v.dLat, -v.dLat)
	if v.southernRows {
		gt = fmt.Sprintf("%.9f, %g, 0, %.9f, 0, %g", v.lonW, v.dLon, v.latS, v.dLat)
	}
	if v.gt != "" {
		gt = v.gt
	}
	srs, unit := "", ""
	if v.crs != "" {
		srs = "<SRS>" + v.crs + "</SRS>"
	}
	if v.unit != "" {
		unit = "<UnitType>" + v.unit + "</UnitType>"
	}
	path := filepath.Join(dir, v.name+".vrt")
	save(t, path, fmt.Sprintf(`<VRTDataset rasterXSize="%d" rasterYSize="%d">%s<GeoTransform>%s</GeoTransform>
<VRTRasterBand dataType="Float32" band="1">%s%s<SimpleSource><SourceFilename relativeToVRT="1">%s.asc</SourceFilename><SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>
`, to-from, v.rows, srs, gt, v.header, unit, v.name))
	return path
}

// fix is one point of a track.
type fix struct {
	x, lon, lat, ele float64
}

// lonLat gives the place of a point in metres from the south-western corner.
func (v ravine) lonLat(x, y float64) (lon, lat float64) {
	return v.lonW + x/ravineEastM*v.dLon, v.latS + y/ravineNorthM*v.dLat
}

// walk is a track along the creek, a fix every 4 m, downstream.
func (v ravine) walk() []fix {
	var fixes []fix
	for x := v.trackFromM; x <= v.trackToM; x += 4 {
		lon, lat := v.lonLat(x, v.creekY(x))
		fixes = append(fixes, fix{x, lon, lat, ravineTopM - ravineGrade*x})
	}
	return fixes
}

// fallM is the creek's fall over the track.
func (v ravine) fallM() float64 { return ravineGrade * (v.trackToM - v.trackFromM) }

// withoutEle and withEle write a fix.
func withoutEle(tag string, f fix) string {
	return fmt.Sprintf(`<%s lat="%.9f" lon="%.9f"/>`, tag, f.lat, f.lon)
}

func withEle(tag string, f fix, ele string) string {
	return fmt.Sprintf(`<%s lat="%.9f" lon="%.9f"><ele>%s</ele></%s>`, tag, f.lat, f.lon, ele, tag)
}

// segment writes fixes as one track segment.
func segment(fixes []fix) string {
	var b strings.Builder
	b.WriteString("<trkseg>")
	for _, f := range fixes {
		b.WriteString(withoutEle("trkpt", f))
	}
	return b.String() + "</trkseg>"
}

func gpx(body string) string {
	return `<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="receiver" xmlns="http://www.topografix.com/GPX/1/1">` + body + `</gpx>
`
}

// track writes the walk as the simplest GPX file.
func (v ravine) track(t testing.TB, dir string) string {
	return save(t, filepath.Join(dir, "creek.gpx"), gpx("<trk><name>creek</name>"+segment(v.walk())+"</trk>"))
}

func save(t testing.TB, path, text string) string {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}
