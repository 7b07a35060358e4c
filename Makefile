# What can be done here; each target prints what it runs. `make help` lists them.
export GOTOOLCHAIN := go1.27.3
GO ?= go

.PHONY: help demo build test check lint vuln reproduce faults bench bench-cut

help: ## list the targets
	@grep -hE '^[a-z-]+:.*## ' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 12

# The first build from an empty cache is what a newcomer waits for: without inlining, without debugging tables and with a lazy
# collector the compiler takes some 50 s on two cores instead of 74, and the demo's three roofs are ready in two seconds either way.
demo: ## play the demo and serve it on http://127.0.0.1:8080
	GOGC=400 CGO_ENABLED=0 $(GO) build -gcflags='all=-l -dwarf=false' -o bin/bydark-demo ./cmd/bydark
	bin/bydark-demo demo

build: ## build bin/bydark
	CGO_ENABLED=0 $(GO) build -trimpath -buildvcs=false -o bin/bydark ./cmd/bydark

test: ## install what the tests need, then run all of them with the race detector
	deploy/test-needs
	$(GO) vet ./...
	$(GO) test -race -shuffle=on -timeout 40m ./...

check: lint vuln test reproduce ## everything that can be checked

lint: ## formatting, vet and every linter of .golangci.yml (built from its module)
	@test -z "$$(gofmt -l cmd deploy events projections services)" || { gofmt -l cmd deploy events projections services; exit 1; }
	$(GO) vet ./...
	$(GO) run github.com/golangci/golangci-lint/v2/cmd/golangci-lint@v2.15.0 run

vuln: ## known vulnerabilities that the program reaches, by a database that is a Go module
	deploy/vulnerabilities

reproduce: ## build the release twice from nothing and compare
	deploy/reproduce

faults: ## every test of a fault or an attack with its full rounds; a line each
	$(GO) run ./deploy/faults

bench: ## the benchmarks, each for a second
	$(GO) test -run '^$$' -bench . -benchmem ./...
	cd deploy/library && $(GO) test -mod=mod -run '^$$' -bench . ./...

bench-cut: ## the cut planner beside an open solver from Debian: SAMPLE instances a class, LIMIT each, in core time
	deploy/bench-cut-needs
	$(GO) vet -tags beside ./services/cutplan
	GOMAXPROCS=1 $(GO) test -tags beside ./services/cutplan -run '^$$' -bench BesideSolver -benchtime 1x -timeout 0 -sample $(or $(SAMPLE),6) -limit $(or $(LIMIT),20s)
