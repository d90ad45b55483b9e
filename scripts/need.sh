#!/bin/sh
# Makes sure that what a step needs is on this machine: need.sh build|web|package|test.
# As root on Debian it installs what is missing; otherwise it prints the line
# to type and fails. It touches the network only when something is missing.
set -eu

if ! command -v go >/dev/null 2>&1; then
	echo "route needs Go 1.26 or newer on the PATH: https://go.dev/doc/install" >&2
	exit 1
fi

missing=
programs=
# need PACKAGE WHAT COMMAND…: the package is wanted unless the command succeeds.
need() {
	package=$1 what=$2
	shift 2
	if ! "$@" >/dev/null 2>&1; then
		missing="$missing $package"
		programs="$programs${programs:+, }$what"
	fi
}

has_font() { fc-list :lang=en | grep -q .; }

need g++ "a C++ compiler" command -v g++
need pkg-config "pkg-config" command -v pkg-config
need libgdal-dev "GDAL's development files" pkg-config --exists gdal
need ca-certificates "certificate authorities" test -s /etc/ssl/certs/ca-certificates.crt
if [ "${1:-build}" != build ]; then
	need nodejs "Node 18 or newer" command -v node
	need npm "npm" command -v npm
fi
if [ "${1:-build}" = package ]; then
	need dpkg-dev "dpkg-shlibdeps" command -v dpkg-shlibdeps
	need debootstrap "debootstrap" command -v debootstrap
	need lintian "lintian" command -v lintian
fi
if [ "${1:-build}" = test ]; then
	need man-db "man" command -v man
	need bash "bash" command -v bash
	need gdal-bin "gdalinfo, gdallocationinfo, gdaltransform, gdal_translate, gdalwarp, ogrinfo and ogr2ogr" command -v ogrinfo
	need libxml2-utils "xmllint" command -v xmllint
	need gpsbabel "gpsbabel" command -v gpsbabel
	need chromium "Chromium" command -v chromium
	need fonts-dejavu-core "a font" has_font
	need python3-fluids "python3-fluids" /usr/bin/python3 -c "import fluids"
	need poppler-utils "pdftoppm, pdftotext, pdffonts and pdfinfo" command -v pdftoppm
	need qpdf "qpdf" command -v qpdf
	need zbar-tools "zbarimg" command -v zbarimg
fi

[ -n "$missing" ] || exit 0

if ! command -v apt-get >/dev/null 2>&1; then
	echo "Missing: $programs. Install them with this system's package manager and run the same command again." >&2
	echo "On Debian the packages are called:$missing" >&2
	exit 1
fi
if [ "$(id -u)" != 0 ]; then
	echo "Missing: $programs. Type this line, then run the same command again:" >&2
	echo "  sudo apt-get update && sudo apt-get install -y --no-install-recommends$missing" >&2
	exit 1
fi

echo "Installing$missing"
export DEBIAN_FRONTEND=noninteractive
wait_for_lock="-o DPkg::Lock::Timeout=300"
# shellcheck disable=SC2086 # both hold several words
apt-get $wait_for_lock -qq update && apt-get $wait_for_lock -qq install -y --no-install-recommends $missing >/dev/null || {
	echo "apt-get could not install:$missing" >&2
	exit 1
}
