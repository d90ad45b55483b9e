#!/bin/sh
# Builds bin/route_VERSION_ARCH.deb from this tree. The same commit gives the
# same bytes: times are those of SOURCE_DATE_EPOCH, by default of the commit.
set -eu
cd "$(dirname "$0")/.."
export LC_ALL=C TZ=UTC
umask 022

commit=$(git describe --tags --always --dirty 2>/dev/null || echo unknown)
SOURCE_DATE_EPOCH=${SOURCE_DATE_EPOCH:-$(git log -1 --format=%ct 2>/dev/null || date +%s)}
export SOURCE_DATE_EPOCH
case $commit in
v[0-9]*) version=$(echo "${commit#v}" | tr - +) ;;
*) version=0.1+git$(date -d "@$SOURCE_DATE_EPOCH" +%Y%m%d).$(echo "$commit" | tr - .) ;;
esac
architecture=$(dpkg --print-architecture)
if [ ! -s internal/web/dist/page.js ]; then
	echo "The map page has not been built: make web" >&2
	exit 1
fi

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
root=$work/root
doc=$root/usr/share/doc/route
mkdir -p "$root/DEBIAN" "$root/usr/bin" "$root/usr/lib/route" "$doc/examples" "$work/debian" \
	"$root/usr/share/man/man1" "$root/usr/share/applications" "$root/usr/share/icons/hicolor/scalable/apps" "$root/etc/bash_completion.d"

go build -trimpath -buildmode=pie -buildvcs=false -ldflags "-s -w -X route/internal/plan.Version=$version" -o "$root/usr/bin/route" ./cmd/route
"$root/usr/bin/route" manual page | gzip -9n >"$root/usr/share/man/man1/route.1.gz"
"$root/usr/bin/route" manual bash >"$root/etc/bash_completion.d/route-plan"
install -m 755 packaging/map-page "$root/usr/lib/route/map-page"
install -m 644 packaging/route-map.desktop "$root/usr/share/applications/"
install -m 644 packaging/route-map.svg "$root/usr/share/icons/hicolor/scalable/apps/"
go run ./sample-data/generate -out "$doc/examples" >/dev/null
cp README.md "$doc/README.md"
sh scripts/third-party.sh >"$doc/THIRD-PARTY.txt"
{
	echo "route, planner of hydraulic ram installations."
	echo
	echo "Copyright (C) $(date -d "@$SOURCE_DATE_EPOCH" +%Y) The authors of route. They have granted no licence"
	echo "yet: all rights are theirs."
	echo
	echo "The program links and holds the work of others, under their licences:"
	echo
	sed 's/^=== /  * /;t;d' "$doc/THIRD-PARTY.txt"
	echo
	echo "The texts of those licences are in /usr/share/doc/route/THIRD-PARTY.txt."
	echo "On Debian systems, the text of the Apache License 2.0 is in"
	echo "/usr/share/common-licenses/Apache-2.0."
} >"$doc/copyright"
{
	echo "route ($version) unstable; urgency=medium"
	echo
	cat packaging/changes
	echo
	echo " -- The authors of route <route@localhost.localdomain>  $(date -R -d "@$SOURCE_DATE_EPOCH")"
} | gzip -9n >"$doc/changelog.gz"

# The libraries that the program is linked with say what it depends on.
printf 'Source: route\n\nPackage: route\nArchitecture: any\n' >"$work/debian/control"
depends=$(cd "$work" && dpkg-shlibdeps -O root/usr/bin/route 2>/dev/null | sed -n 's/^shlibs:Depends=//p')
case $depends in
*libgdal*) ;;
*)
	echo "dpkg-shlibdeps does not name GDAL: $depends" >&2
	exit 1
	;;
esac
{
	echo "Package: route"
	echo "Version: $version"
	echo "Architecture: $architecture"
	echo "Maintainer: The authors of route <route@localhost.localdomain>"
	echo "Installed-Size: $(du -sk --apparent-size "$root" | cut -f1)"
	echo "Depends: $depends"
	echo "Recommends: xdg-utils"
	echo "Suggests: bash-completion, gpsbabel, qgis"
	echo "Section: science"
	echo "Priority: optional"
	printf 'Description: '
	cat packaging/description
} >"$root/DEBIAN/control"
echo /etc/bash_completion.d/route-plan >"$root/DEBIAN/conffiles"
install -m 755 packaging/postinst "$root/DEBIAN/postinst"
(cd "$root" && find usr -type f | sort | xargs -d '\n' md5sum) >"$root/DEBIAN/md5sums"
find "$root" -exec touch -h -d "@$SOURCE_DATE_EPOCH" {} +

mkdir -p bin
rm -f bin/route_*.deb
dpkg-deb --root-owner-group -Zxz --build "$root" "bin/route_${version}_$architecture.deb" >/dev/null
echo "bin/route_${version}_$architecture.deb"
