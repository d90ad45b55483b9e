# Packages that start goroutines; the architecture test keeps the list whole.
RACE = ./internal/dem ./internal/optimize ./internal/plan ./internal/screen ./internal/terrain ./sample-data/generate ./internal/web

FUZZTIME  = 30s
BENCH     = .
BENCHTIME = 1s

VERSION := $(shell git describe --tags --always --dirty 2>/dev/null || echo unknown)

.DEFAULT_GOAL := help
.DELETE_ON_ERROR:
.PHONY: help demo build web test check race bench fuzz shots clean need-build need-test need-package page package package-test

help: ## list the targets
	@awk -F ':.*## ' '/^[a-z-]+:.*## / { printf "make %-7s %s\n", $$1, $$2 }' $(MAKEFILE_LIST)

demo: build ## install what is missing, build, plan the invented sites in demo/
	@sh scripts/demo.sh demo

build: need-build page ## leave the program at bin/route
	@mkdir -p bin
	go build -buildvcs=false -ldflags '-X route/internal/plan.Version=$(VERSION)' -o bin/route ./cmd/route

# The page is built anew when something of it is newer than the bundle.
PAGE = internal/web/dist/page.js
page:
	@if [ ! -f $(PAGE) ] || [ -n "$$(find web -path web/node_modules -prune -o -type f -newer $(PAGE) -print)" ]; then sh scripts/web.sh quiet; fi

web: ## build the map page with Node and npm, to be embedded by the next build
	@sh scripts/need.sh web
	@sh scripts/web.sh

test: need-test web check ## install what the tests need and run all of them
	go test -timeout 30m ./...
	@$(MAKE) --no-print-directory race

check: need-build ## formatting, vet and architecture only
	@unformatted=$$(gofmt -l cmd internal sample-data); \
	if [ -n "$$unformatted" ]; then echo "gofmt would change:"; echo "$$unformatted"; exit 1; fi
	go vet ./...
	go test ./internal/architecture

race: need-build ## the race detector over the packages with goroutines
	go test -timeout 30m -race -short $(RACE)

bench: need-build ## benchmarks; BENCH=regexp and BENCHTIME=1s narrow them
	go test -run '^$$' -bench '$(BENCH)' -benchtime $(BENCHTIME) -benchmem ./...

fuzz: need-build ## every fuzz target for FUZZTIME=30s; keeps what it finds in testdata/fuzz
	@sh scripts/fuzz.sh $(FUZZTIME)

package: need-package web ## build the Debian package bin/route_*.deb
	@sh scripts/package.sh

package-test: package ## install and use the package in a clean Debian (root, network)
	@sh scripts/package-test.sh

shots: need-test web ## take the pictures of the map page in docs/ from the demo
	ROUTE_SHOTS=$(CURDIR)/docs go test -count 1 -run '^TestShots$$' ./cmd/route

clean: ## remove bin/ and demo/
	rm -rf bin demo

need-build:
	@sh scripts/need.sh build

need-package:
	@sh scripts/need.sh package

need-test:
	@sh scripts/need.sh test
