package plan

import (
	"fmt"
	"strings"
)

// StarterSite is the text of a commented site file: the few lines that must
// be filled in, then every other setting with its usual value, commented out.
func StarterSite() string {
	return starterHead + UsualSettings()
}

// UsualSettings lists every setting that has a usual value as it stands in a
// site file, commented out, with where the value comes from.
func UsualSettings() string {
	var b strings.Builder
	b.WriteString("# The usual values. Take away the # to change one.\n")
	section := ""
	for _, k := range settings {
		if k.fallback == "" || inStarterHead(k.path) {
			continue
		}
		parent, leaf, nested := cutLast(k.path)
		indent := ""
		if nested {
			indent = strings.Repeat("  ", strings.Count(parent, ".")+1)
		}
		if parent != section {
			b.WriteString(openSections(section, parent))
			section = parent
		}
		fmt.Fprintf(&b, "# %s%s: %q   # %s\n", indent, leaf, k.fallback, k.why)
	}
	return b.String()
}

// inStarterHead says whether the lines to fill in hold a key already.
func inStarterHead(path string) bool {
	top, _, _ := strings.Cut(path, ".")
	return top == "units" || top == "tank" || top == "creek_flow"
}

// openSections writes the headings between one section and the next.
func openSections(from, to string) string {
	if to == "" {
		return ""
	}
	var b strings.Builder
	parts := strings.Split(to, ".")
	old := strings.Split(from, ".")
	same := 0
	for same < len(parts) && same < len(old) && parts[same] == old[same] {
		same++
	}
	for i := same; i < len(parts); i++ {
		fmt.Fprintf(&b, "# %s%s:\n", strings.Repeat("  ", i), parts[i])
	}
	return b.String()
}

const starterHead = `# A site for route. Quantities carry their units: "90 ft", "3 L/s", "12 gpm".
# Names of files are relative to this one.
name: My place
units: us                  # us or si: what is printed
terrain: [ground.tif]      # elevation raster; several tiles count as one surface
# z_unit: m                # m, ft or us-ft, when the raster does not say what its heights are in
# accuracy: lidar_forest   # lidar_open, lidar_forest, mixed_10m or global_30m, when you know better than the program
# crs: EPSG:26910          # when the raster does not say where it lies
creek: creek.gpx           # a track walked along the creek, a line drawn (GeoJSON, GeoPackage, Shapefile, KML), or its levels (levels.csv)
# creek_line: creek.gpx    # where a table of levels has no lat and lon
tank: {lat: 0.0, lon: 0.0, inlet_above_ground: "6 ft", reserve: "2 day"}
# tank: {waypoint: tank, inlet_above_ground: "6 ft"}    # or a waypoint of the track's file
creek_flow: {low: "8 L/s", take_at_most: "40 %"}        # the driest month, measured with a bucket
# or in place of low: the readings themselves, such as bucket: {volume: "20 L", seconds: ["11 s", "12 s", "10.5 s"]}
demand: "1500 L/day"       # or a list: [{use: people, count: 4}, {use: sheep, count: 20, each: "8 L/day"}, {use: garden, area: "150 m2"}]
# objective: least_cost    # least_cost, most_water, most_sure_water or most_head
# certainty: "90 %"        # how sure the water wanted, or the most sure water, has to be as far as the terrain's heights go
# pins: {pump: "394 ft"}   # places that you have chosen: intake, settling_box, standpipe, pump; the rest is looked for
# land: land.geojson       # features with role: stay_inside, keep_out, crossing (class road, creek,
#                          # fence, rock; or fee), ground (class rock, woods, wet; or factor)
# catalog: prices.csv      # your own prices
# field: []                # what was measured on site: [{drop: "12.1 ft", from: "400 ft", to: "620 ft", by: hose, legs: 4}, {lift: "88 ft", from: "620 ft", by: hose}]

`
