package dem

import (
	"fmt"
	"math"
	"strings"

	"route/internal/finding"
	"route/internal/geodesy"
)

// place finds where the raster lies on the Earth, how large its cells are
// there, and how far its datum stands from WGS 84.
func (f *file) place(ways projectors) []finding.Finding {
	if fault := f.plausiblePlan(); fault != nil {
		f.problems = append(f.problems, fault)
		return nil
	}
	var err error
	if f.fromWGS, err = ways.get(wgs84, f.crs.wkt); err != nil {
		f.problem("crs_unsupported", "no way is known from longitude and latitude to "+f.crs.String()+": "+firstLine(err.Error()),
			"say another CRS with --crs EPSG:n, or reproject the raster (gdalwarp -t_srs)", err)
		return nil
	}
	back, err := ways.get(f.crs.wkt, wgs84)
	if err != nil {
		f.problem("crs_unsupported", "no way is known from "+f.crs.String()+" to longitude and latitude: "+firstLine(err.Error()),
			"say another CRS with --crs EPSG:n, or reproject the raster (gdalwarp -t_srs)", err)
		return nil
	}
	f.toWGS = back
	f.measureCell(back, float64(f.cols)/2, float64(f.rows)/2)
	if math.IsNaN(f.info.CellM) {
		f.problem("crs_mismatch", fmt.Sprintf("the raster's coordinates (%.6g, %.6g at its middle) have no place in %s",
			f.affine.x0+f.affine.dx*float64(f.cols)/2, f.affine.y0+f.affine.dy*float64(f.rows)/2, f.crs),
			"its CRS label is wrong: say the true one with --crs EPSG:n, or crs: in the site file", nil)
		return nil
	}
	f.measureExtent(back)
	return f.datumShift(ways, back)
}

// plausiblePlan refuses degrees that cannot be degrees.
func (f *file) plausiblePlan() *finding.Fault {
	if !f.crs.geographic {
		return nil
	}
	degree := 180 / math.Pi * f.crs.perUnit
	_, y0 := f.affine.plan(0, 0)
	_, y1 := f.affine.plan(float64(f.cols), float64(f.rows))
	x := (f.affine.x0 + f.affine.dx*float64(f.cols)/2) * degree
	// Half a cell beyond the pole is how world rasters on grid points look.
	slack := math.Abs(f.affine.dy) * degree
	if math.Max(math.Abs(y0), math.Abs(y1))*degree <= 90+slack && math.Abs(x) <= 540 {
		return nil
	}
	return &finding.Fault{Code: "crs_mismatch", File: f.path,
		Text: fmt.Sprintf("the raster says that it is in degrees (%s), but its coordinates (%.6g, %.6g at a corner) are none", f.crs, f.affine.x0, f.affine.y0),
		Hint: "its CRS label is wrong: say the true one with --crs EPSG:n, or crs: in the site file"}
}

// measureCell gives the length of one cell along rows and columns around a
// cell position, in metres on the ground.
func (f *file) measureCell(back *projector, col, row float64) {
	// Half a cell to either side; a whole one could leave a world raster.
	cols := []float64{col - 0.5, col + 0.5, col, col}
	rows := []float64{row, row, row - 0.5, row + 0.5}
	x, y := make([]float64, 4), make([]float64, 4)
	for i := range cols {
		x[i], y[i] = f.affine.plan(cols[i], rows[i])
	}
	back.convert(x, y)
	if !finite(x...) || !finite(y...) {
		return
	}
	at := func(i int) geodesy.LonLat { return geodesy.LonLat{Lon: turnTo(x[i], 0, 360), Lat: y[i]} }
	east, _ := geodesy.Distance(at(0), at(1))
	north, _ := geodesy.Distance(at(2), at(3))
	if !finite(east, north) || east <= 0 || north <= 0 {
		return
	}
	f.info.CellEastM, f.info.CellNorthM, f.info.CellM = east, north, math.Sqrt(east*north)
	f.info.Cell = f.cellWords()
}

// cellWords describes the cell in its own unit and on the ground.
func (f *file) cellWords() string {
	ground := fmt.Sprintf("%s x %s m here", threeDigits(f.info.CellEastM), threeDigits(f.info.CellNorthM))
	dx, dy := math.Abs(f.affine.dx), math.Abs(f.affine.dy)
	if f.crs.geographic {
		seconds := 180 / math.Pi * f.crs.perUnit * 3600
		own := threeDigits(dx * seconds)
		if other := threeDigits(dy * seconds); other != own {
			own += " x " + other
		}
		return counted(own, "arc-second") + " = " + ground
	}
	own := threeDigits(dx)
	if other := threeDigits(dy); other != own {
		own += " x " + other
	}
	return counted(own, f.crs.unit) + " of the map = " + ground
}

// counted puts a unit behind a number.
func counted(number, unit string) string {
	if number == "1" {
		return "1 " + strings.TrimSuffix(unit, "s")
	}
	return number + " " + plural(unit)
}

// threeDigits prints three significant digits without an exponent.
func threeDigits(v float64) string {
	if v >= 100 {
		return fmt.Sprintf("%.0f", v)
	}
	return fmt.Sprintf("%.3g", v)
}

// measureExtent walks along the raster's edge: corners alone miss the bulge of
// a projected edge.
func (f *file) measureExtent(back *projector) {
	const steps = 16
	var x, y []float64
	for i := 0; i <= steps; i++ {
		t := float64(i) / steps
		for _, at := range [][2]float64{{t, 0}, {t, 1}, {0, t}, {1, t}} {
			px, py := f.affine.plan(at[0]*float64(f.cols), at[1]*float64(f.rows))
			x, y = append(x, px), append(y, py)
		}
	}
	back.convert(x, y)
	reference := math.NaN()
	west, east := math.Inf(1), math.Inf(-1)
	south, north := math.Inf(1), math.Inf(-1)
	for i := range x {
		if !finite(x[i], y[i]) {
			continue
		}
		if math.IsNaN(reference) {
			reference = x[i]
		}
		lon := x[i]
		if !f.crs.geographic {
			lon = turnTo(lon, reference, 360)
		}
		west, east = math.Min(west, lon), math.Max(east, lon)
		south, north = math.Min(south, y[i]), math.Max(north, y[i])
	}
	f.info.West, f.info.East, f.info.South, f.info.North = west, east, south, north
}

// turnTo adds whole turns to v until it is within half a turn of near.
func turnTo(v, near, period float64) float64 {
	if period == 0 {
		return v
	}
	return v + period*math.Round((near-v)/period)
}

// Datums that agree with WGS 84 to about a metre by definition, so that no
// shift is the right shift.
var likeWGS84 = map[string]bool{
	"WGS 1984": true, "World Geodetic System 1984": true, "World Geodetic System 1984 ensemble": true,
	"North American Datum 1983": true, "European Terrestrial Reference System 1989": true, "European Terrestrial Reference System 1989 ensemble": true,
	"New Zealand Geodetic Datum 2000": true, "Geocentric Datum of Australia 1994": true, "Geocentric Datum of Australia 2020": true,
	"Slovenia Geodetic Datum 1996": true, "NAD83 National Spatial Reference System 2011": true, "NAD83 (National Spatial Reference System 2011)": true,
	"Japanese Geodetic Datum 2000": true, "Japanese Geodetic Datum 2011": true, "SIRGAS 2000": true, "Sistema de Referencia Geocentrico para las AmericaS 2000": true,
}

// datumShift tells how far the raster's datum stands from WGS 84 here, and
// warns when the installed PROJ knows no shift for a datum that needs one.
func (f *file) datumShift(ways projectors, back *projector) []finding.Finding {
	own, err := ways.get(f.crs.wkt, f.crs.geogWKT)
	if err != nil {
		return nil // the CRS names no degrees of its own
	}
	px, py := f.affine.plan(float64(f.cols)/2, float64(f.rows)/2)
	x, y := []float64{px, px}, []float64{py, py}
	own.convert(x[:1], y[:1])
	back.convert(x[1:], y[1:])
	if !finite(x...) || !finite(y...) || math.Abs(y[0]) > 90 {
		return nil
	}
	shift, _ := geodesy.Distance(geodesy.LonLat{Lon: turnTo(x[0], 0, 360), Lat: y[0]}, geodesy.LonLat{Lon: turnTo(x[1], 0, 360), Lat: y[1]})
	switch {
	case shift > 3:
		return []finding.Finding{finding.New(finding.Note, "datum_shift",
			fmt.Sprintf("the raster's datum, %s, stands %.0f m away from that of GPS here; the difference is taken out", f.crs.datum, shift), "")}
	case shift < 0.001 && f.crs.datum != "" && !likeWGS84[f.crs.datum]:
		return []finding.Finding{finding.New(finding.Warning, "datum_shift_unknown",
			fmt.Sprintf("no shift is known here between the raster's datum, %s, and that of GPS; places may be off by many metres", f.crs.datum),
			"check a point that you know on the raster, or reproject it with a program that has the shift grids")}
	}
	return nil
}
