// Package export writes a finished Plan in each form that leaves the program:
// for other programs, for the crew with the pegs, for the shop and for the
// owner of the land. It draws and writes; it computes nothing about the design.
package export

import (
	"fmt"
	"io"

	"route/internal/plan"
)

// Format is one file of the hand-off folder, called by its name.
type Format string

// The files.
const (
	PlanJSON    Format = "plan.json"
	GeoJSON     Format = "route.geojson"
	GPX         Format = "route.gpx"
	KML         Format = "route.kml"
	GeoPackage  Format = "route.gpkg"
	DXF         Format = "route.dxf"
	StakeoutCSV Format = "stakeout.csv"
	TakeoffCSV  Format = "takeoff.csv"
	QuoteCSV    Format = "quote.csv"
	ProfileCSV  Format = "profile.csv"
	ProfileSVG  Format = "profile.svg"
	ReportHTML  Format = "report.html"
)

// Formats lists the files of the hand-off folder.
var Formats = []Format{PlanJSON, GeoJSON, GPX, KML, GeoPackage, DXF, StakeoutCSV, TakeoffCSV, QuoteCSV, ProfileCSV, ProfileSVG, ReportHTML}

// what says in a few words what each file is for.
var what = map[Format]string{
	PlanJSON:    "everything, for other programs",
	GeoJSON:     "pipes and places, for a GIS",
	GPX:         "places, stakes and pipes, for a receiver",
	KML:         "places, stakes and pipes, for globe viewers",
	GeoPackage:  "all layers with their styles, for a GIS",
	DXF:         "pipes and stakes, for drawing programs",
	StakeoutCSV: "a row a stake, for the crew",
	TakeoffCSV:  "what to buy, with prices",
	ProfileCSV:  "the long profile as numbers",
	ProfileSVG:  "the long profile as a drawing",
	ReportHTML:  "the report for the owner, to read and print",
}

// What says in a few words what the file is for.
func (f Format) What() string { return what[f] }

// writers has the function that writes each format.
var writers = map[Format]func(io.Writer, *plan.Plan) error{
	PlanJSON:    writePlanJSON,
	GeoJSON:     writeGeoJSON,
	GPX:         writeGPX,
	KML:         writeKML,
	GeoPackage:  writeGeoPackage,
	DXF:         writeDXF,
	StakeoutCSV: writeStakeoutCSV,
	TakeoffCSV:  writeTakeoffCSV,
	QuoteCSV:    writeQuoteCSV,
	ProfileCSV:  writeProfileCSV,
	ProfileSVG:  writeProfileSVG,
	ReportHTML:  writeReportHTML,
}

// Write writes one file of the hand-off folder. The same plan gives the same
// bytes. A plan without layouts is written too: its creek, and why there is
// none. The error is the writer's, or names a format that does not exist.
func Write(w io.Writer, f Format, p *plan.Plan) error {
	write, ok := writers[f]
	if !ok {
		return fmt.Errorf("export: there is no format %q", f)
	}
	return write(w, p)
}
