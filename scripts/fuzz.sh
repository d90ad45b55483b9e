#!/bin/sh
# Runs every fuzz target for a while: fuzz.sh 30s.
set -eu

time=${1:-30s}
for package in $(go list ./...); do
	for target in $(go test -list '^Fuzz' "$package" | grep '^Fuzz' || true); do
		echo "== $package $target"
		go test -run '^$' -fuzz "^$target\$" -fuzztime "$time" "$package"
	done
done
