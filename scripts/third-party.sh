#!/bin/sh
# Prints the licences of everything that goes into the program: the Go modules
# that it links, Go itself, and the npm packages in the bundle of the page.
set -eu
cd "$(dirname "$0")/.."
export LC_ALL=C

# licence NAME FOLDER [LICENCE]: the heading and the texts that lie in the
# folder; where there are none, the common text of the licence that is declared.
licence() {
	found=
	echo "=== $1"
	echo
	for file in "$2"/LICEN[CS]E* "$2"/COPYING* "$2"/NOTICE* "$2"/license*; do
		[ -f "$file" ] || continue
		found=yes
		cat "$file"
		echo
	done
	if [ -z "$found" ] && [ -n "${3:-}" ] && [ -f "/usr/share/common-licenses/$3" ]; then
		cat "/usr/share/common-licenses/$3"
		echo
	elif [ -z "$found" ]; then
		echo "No licence was found for $1 in $2." >&2
		exit 1
	fi
}

echo "route holds the work of others. What they ask to be told stands below."
echo
licence "The Go programming language, $(go env GOVERSION)" "$(go env GOROOT)"
go list -deps -f '{{with .Module}}{{if not .Main}}{{.Path}} {{.Version}} {{.Dir}}{{end}}{{end}}' ./cmd/route | sort -u | while read -r path version dir; do
	licence "$path $version" "$dir"
done
(cd web && npm ls --omit=dev --all --parseable --offline) | tail -n +2 | sort -u | while read -r dir; do
	licence "npm $(node -p "const p = require('$dir/package.json'); p.name + ' ' + p.version + ' (' + p.license + ')'")" "$dir" "$(node -p "require('$dir/package.json').license")"
done
