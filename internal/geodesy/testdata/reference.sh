#!/bin/sh
# Writes reference.csv with the programs of PROJ (Debian package proj-bin), so
# that the expected values come from another implementation. Run it here:
#   sh reference.sh > reference.csv
set -eu

echo "# cs2cs and geod of PROJ $(cs2cs 2>&1 | sed -n '1s/Rel\. \([0-9.]*\),.*/\1/p'), written by reference.sh"
echo "# frame,latitude,longitude and height of the origin,PROJ string,latitude,longitude,easting,northing"
echo "# utm,EPSG code,latitude,longitude,easting,northing"
echo "# geodesic,latitude,longitude,latitude,longitude,azimuth,metres"

# frame LAT0 LON0 HEIGHT PROJ: places from 10 m to 40 km around the origin.
frame() {
	for offset in "0 0" "0.0001 -0.0001" "0.01 0.02" "-0.015 0.011" "-0.03 -0.025" "0.2 0.35" "-0.35 0.1"; do
		echo "$1 $2 $offset" | awk '{
			lon = $2 + $4; if (lon > 180) lon -= 360; if (lon < -180) lon += 360
			printf "%.6f %.6f\n", $1 + $3, lon }' | while read -r lat lon; do
			echo "$lon $lat" | cs2cs -f %.6f +proj=longlat +datum=WGS84 +no_defs +type=crs +to $4 |
				awk -v head="frame,$1,$2,$3,$4,$lat,$lon" '{ print head "," $1 "," $2 }'
		done
	done
}

utm() {
	echo "$2 $3" | cs2cs -f %.6f EPSG:4326 +to "$1" | awk -v head="utm,$1,$2,$3" '{ print head "," $1 "," $2 }'
}

geodesic() {
	echo "$1 $2 $3 $4" | geod +ellps=WGS84 -I -f %.9f -F %.6f |
		awk -v head="geodesic,$1,$2,$3,$4" '{ print head "," $1 "," $3 }'
}

frame 0.01 -150.25 0 "+proj=tmerc +lat_0=0.01 +lon_0=-150.25 +k_0=1 +x_0=0 +y_0=0 +datum=WGS84 +units=m +no_defs +type=crs"
frame 45 -150 1500 "+proj=tmerc +lat_0=45 +lon_0=-150 +k_0=1.00023517971774 +x_0=0 +y_0=0 +datum=WGS84 +units=m +no_defs +type=crs"
frame -40 -120 350 "+proj=tmerc +lat_0=-40 +lon_0=-120 +k_0=1.0000549072699316 +x_0=0 +y_0=0 +datum=WGS84 +units=m +no_defs +type=crs"
frame 65 -5 4000 "+proj=tmerc +lat_0=65 +lon_0=-5 +k_0=1.000625792057696 +x_0=0 +y_0=0 +datum=WGS84 +units=m +no_defs +type=crs"
frame 20 -179.995 25 "+proj=tmerc +lat_0=20 +lon_0=-179.995 +k_0=1.0000039297461065 +x_0=0 +y_0=0 +datum=WGS84 +units=m +no_defs +type=crs"
frame -62 179.98 -3 "+proj=tmerc +lat_0=-62 +lon_0=179.98 +k_0=0.9999995305239047 +x_0=0 +y_0=0 +datum=WGS84 +units=m +no_defs +type=crs"
utm EPSG:32605 45.03456 -150.2211
utm EPSG:32606 45.03456 -149.9
utm EPSG:32705 -0.5 -155.9
utm EPSG:32601 12.3 -179.99
utm EPSG:32760 -55.25 179.99
utm EPSG:32632 60.5 3.5
utm EPSG:32633 78.2 15.6
utm EPSG:32610 38.9 -126.2
# A site that crosses into the next zone stays in its own.
utm EPSG:32610 44.1 -119.95
# Far outside of the zone the highest terms of the series can be seen.
utm EPSG:32631 5 60
utm EPSG:32631 40 50
utm EPSG:32631 0.001 62
utm EPSG:32731 -55 -60
geodesic 45 -150 45.01 -149.99
geodesic 0.01 -150.25 0.0101 -150.2501
geodesic -40 -120 -39.98 -120.03
geodesic 65 -5 65.5 -4
geodesic 20 -179.995 20.01 179.99
geodesic 0 0 0.5 179.5
geodesic 51 -1 -33 151
