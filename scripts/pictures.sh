#!/bin/sh
# Makes the pictures of the README anew from the demo: pictures.sh after make
# demo. The map page's own are made by its tests.
set -eu
cd "$(dirname "$0")/.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
chromium --headless --no-sandbox --disable-gpu --no-pdf-header-footer --print-to-pdf="$work/report.pdf" "file://$PWD/demo/fernhollow/plan/report.html" >/dev/null 2>&1
pdftoppm -r 60 -f 1 -l 1 -singlefile -png "$work/report.pdf" docs/report
pdftoppm -r 60 -f 1 -l 1 -singlefile -png demo/eilwern/plan/packet.pdf docs/packet
