#!/bin/sh
# Runs every fuzz target for a while: fuzz.sh 30s.
set -eu

time=${1:-30s}
packages=$(go list ./...)
for package in $packages; do
	tests=$(go test -list '^Fuzz' "$package")
	for target in $(echo "$tests" | grep '^Fuzz' || true); do
		echo "== $package $target"
		go test -run '^$' -fuzz "^$target\$" -fuzztime "$time" "$package"
	done
done
