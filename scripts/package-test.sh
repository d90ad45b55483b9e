#!/bin/sh
# Installs the package into a clean Debian and uses it there as a beginner
# would: version, published check values, a new site by questions, a plan and
# its printed packet. Skips, with a line that says so, where a clean root
# cannot be made.
set -eu
cd "$(dirname "$0")/.."

skip() {
	echo "skipped: $1"
	exit 0
}
fail() {
	echo "package-test: $1" >&2
	exit 1
}

[ "$(id -u)" = 0 ] || skip "a clean root is made by root only; run this as root"
command -v debootstrap >/dev/null 2>&1 || skip "debootstrap is not installed"
package=$(ls bin/route_*.deb 2>/dev/null) || fail "there is no package; make package builds it"

echo "== the same bytes again"
sum=$(sha256sum "$package")
sh scripts/package.sh >/dev/null
echo "$sum" | sha256sum -c --quiet - || fail "a second build gives other bytes"

if command -v lintian >/dev/null 2>&1; then
	echo "== lintian"
	lintian --allow-root --fail-on error,warning --tag-display-limit 0 --suppress-tags-from-file packaging/lintian-accepted "$package" || fail "lintian is not content"
fi

echo "== a clean root"
release=$(. /etc/os-release && echo "$VERSION_CODENAME")
clean=bin/clean-root-$release.tar
clean_root=$(mktemp -d)
trap 'rm -rf "$clean_root"' EXIT
if [ ! -s "$clean" ]; then
	log=$clean_root.log
	if ! debootstrap --variant=minbase "$release" "$clean_root" >"$log" 2>&1; then
		tail -3 "$log" >&2
		rm -f "$log"
		skip "debootstrap could not make a clean root; without the network it cannot"
	fi
	rm -f "$log"
	tar -C "$clean_root" -cf "$clean.part" .
	mv "$clean.part" "$clean"
else
	tar -C "$clean_root" -xf "$clean"
fi
inside() { chroot "$clean_root" "$@"; }
person() { inside su - owner -c "$1"; }
cp "$package" "$clean_root/tmp/"
cp /etc/resolv.conf "$clean_root/etc/resolv.conf" 2>/dev/null || true

echo "== apt install"
export DEBIAN_FRONTEND=noninteractive LC_ALL=C.UTF-8
start=$(date +%s)
inside apt-get -qq update || skip "the clean root reaches no package archive"
inside sh -c "apt-get -qq install -y --no-install-recommends /tmp/$(basename "$package") >/tmp/install.log 2>&1" || {
	tail -20 "$clean_root/tmp/install.log" >&2
	fail "apt could not install the package"
}
inside useradd -m -s /bin/bash owner
installed=$(date +%s)

echo "== use"
person "route version" || fail "route version"
person "route verify >verify.txt" || fail "route verify: $(tail -5 "$clean_root/home/owner/verify.txt")"
tail -1 "$clean_root/home/owner/verify.txt"
person "cp -r /usr/share/doc/route/examples . && route plan examples/fernhollow/site.yaml --out plan-of-the-demo >plan.txt" || fail "the plan of the demo"
sh packaging/first-run-answers >"$clean_root/home/owner/answers"
person "route new --ask <answers" || fail "route new"
person "route plan mill-creek/site.yaml >first.txt" || fail "the first plan"
planned=$(date +%s)
for file in plan.json report.html packet.pdf route.gpx stakeout.csv takeoff.csv profile.svg; do
	[ -s "$clean_root/home/owner/mill-creek/plan/$file" ] || fail "the hand-off folder has no $file"
done
head -c 5 "$clean_root/home/owner/mill-creek/plan/packet.pdf" | grep -q '%PDF-' || fail "packet.pdf is no PDF"

echo "== manual page, completion, desktop entry, licences"
man_page=$clean_root/usr/share/man/man1/route.1.gz
if [ -f "$man_page" ]; then
	zcat "$man_page" | grep -q '^.SS \\fBroute plan' || fail "the manual page does not tell of route plan"
fi # a minimal root may be set to leave manual pages out
completed=$(person ". /etc/bash_completion.d/route-plan; COMP_WORDS=(route pla); COMP_CWORD=1; _route_plan; echo \"\${COMPREPLY[*]}\"")
[ "$completed" = plan ] || fail "bash completes \"pla\" to \"$completed\""
[ -x "$clean_root/usr/lib/route/map-page" ] || fail "the desktop entry starts nothing"
go version -m "$clean_root/usr/bin/route" | awk '$1 == "dep" {print $2 " " $3}' | while read -r module; do
	grep -qF "=== $module" "$clean_root/usr/share/doc/route/THIRD-PARTY.txt" || fail "no licence of $module"
done

echo "== removed again"
inside apt-get -qq purge -y route >/dev/null 2>&1 || fail "apt could not remove the package"
[ ! -e "$clean_root/usr/bin/route" ] && [ ! -e "$clean_root/etc/bash_completion.d/route-plan" ] || fail "something of the package stays behind"
echo "ok: installed in $((installed - start)) s, two plans and a packet in $((planned - installed)) s more"
