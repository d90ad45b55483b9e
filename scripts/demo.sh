#!/bin/sh
# Generates the invented sites into a folder and plans each of them.
set -eu

folder=${1:-demo}
sites=$(go run ./sample-data/generate -out "$folder") || {
	echo "The demo sites could not be generated." >&2
	exit 1
}
for site in $sites; do
	echo
	echo "== $site"
	code=0
	bin/route plan "$site" || code=$?
	case $code in
	0) ;;
	3)
		echo "No layout was found for $site, although the demo has some." >&2
		exit 1
		;;
	*)
		echo "Planning $site failed with exit code $code; the lines above say why." >&2
		exit 1
		;;
	esac
done
echo
echo "Done. Open these in a browser:"
for site in $sites; do
	echo "  $(dirname "$site")/plan/report.html"
done
echo
echo "Or see a site on the map, and move its pump:"
for site in $sites; do
	echo "  bin/route map $site"
	break
done
