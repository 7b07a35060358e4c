# What can be done here; each target prints what it runs. `make help` lists them.
export GOTOOLCHAIN := go1.27.3
GO ?= go

.PHONY: help demo test check lint bench build

help: ## list the targets
	@grep -hE '^[a-z-]+:.*## ' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 12

demo: ## play the demo and serve it on http://127.0.0.1:8080
	$(GO) run ./cmd/bydark demo

build: ## build bin/bydark
	CGO_ENABLED=0 $(GO) build -trimpath -o bin/bydark ./cmd/bydark

test: ## install what the tests need, then run all of them with the race detector
	deploy/test-needs
	$(GO) vet ./...
	$(GO) test -race -shuffle=on -timeout 40m ./...

check: lint test ## what CI runs, and lint

lint: ## formatting and vet
	@test -z "$$(gofmt -l cmd events projections services)" || { gofmt -l cmd events projections services; exit 1; }
	$(GO) vet ./...

bench: ## the benchmarks, each for a second
	$(GO) test -run '^$$' -bench . -benchmem ./...
