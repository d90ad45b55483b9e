#!/bin/sh
# Builds the map page into internal/web/dist, from where the program takes it.
# web.sh quiet does nothing, and says so, where Node or npm is missing.
set -eu
cd "$(dirname "$0")/.."

if ! command -v node >/dev/null 2>&1 || ! command -v npm >/dev/null 2>&1; then
	if [ "${1:-}" = quiet ]; then
		echo "Without Node and npm the map page is left out; make web builds it later."
		exit 0
	fi
	echo "The map page needs Node 18 or newer and npm: https://nodejs.org" >&2
	exit 1
fi
if grep -q '"resolved"' web/package-lock.json; then
	echo "web/package-lock.json names a registry host; run npm install in web/ with its .npmrc in place." >&2
	exit 1
fi
cd web
if [ ! -f node_modules/.package-lock.json ] || [ package-lock.json -nt node_modules/.package-lock.json ]; then
	npm ci --ignore-scripts --no-fund --no-audit --loglevel=error
fi
npm run --silent check
npm run --silent build
