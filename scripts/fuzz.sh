#!/bin/sh
# Runs every fuzz target for a while, one at a time, and keeps what it learned:
# fuzz.sh 30s. A target's small inputs that reach new code go into its package's
# testdata/fuzz, from where plain `go test` runs them again.
set -eu

time=${1:-30s}
kept=60    # inputs for each target
bytes=4096 # of the largest that is kept

# keep FOLDER TARGET PACKAGE: fills the target's corpus up with inputs of all
# sizes.
keep() {
	found=$(go env GOCACHE)/fuzz/$3/$2
	corpus=$1/testdata/fuzz/$2
	[ -d "$found" ] || return 0
	mkdir -p "$corpus"
	room=$((kept - $(ls "$corpus" | wc -l)))
	[ "$room" -gt 0 ] || return 0
	find "$found" -type f -size -"$bytes"c -printf '%s %f\n' | sort -k1,1n -k2,2 |
		awk -v room="$room" '{ name[NR] = $2 } END { for (i = 1; i <= NR; i++) if (NR <= room || int(i*room/NR) > int((i-1)*room/NR)) print name[i] }' |
		while read -r name; do cp -n "$found/$name" "$corpus/$name"; done
	rmdir "$corpus" 2>/dev/null || true
}

status=0
for package in $(go list ./...); do
	tests=$(go test -list '^Fuzz' "$package")
	for target in $(echo "$tests" | grep '^Fuzz' || true); do
		echo "== $package $target"
		go test -run '^$' -fuzz "^$target\$" -fuzztime "$time" -fuzzminimizetime 5s "$package" || status=1
		keep "$(go list -f '{{.Dir}}' "$package")" "$target" "$package"
	done
done
exit $status
