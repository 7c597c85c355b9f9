# Finishbench. `make demo`, `make test` and `make build` set the machine up first.
#
# The one place that names gocv's module tags and the linker's flags. Everything
# that builds or tests (CI too) goes through make, so that one compiled gocv in
# the build cache serves all of it. An editor needs the same flags: copy the lines.
TAGS := gocv_specific_modules,gocv_calib3d
export GOFLAGS := -tags=$(TAGS) -buildvcs=false
# Functions that nothing calls are left out, then libraries that nothing calls:
# of OpenCV's 140 that leaves some 20. GNU's linker keeps them all.
export CGO_CFLAGS := -O2 -ffunction-sections -fdata-sections
export CGO_CXXFLAGS := $(CGO_CFLAGS)
export CGO_LDFLAGS := -fuse-ld=lld -Wl,--gc-sections,--as-needed

# Packages that need no pixel library: they build without a C compiler.
PURE := ./internal/part ./internal/scan ./internal/people ./internal/scan/label ./internal/files ./internal/stripes ./internal/optics ./internal/capture/outline ./internal/body ./internal/proof ./internal/seam \
	./internal/stats/robust ./internal/defects/pattern ./internal/grade ./internal/config ./internal/synth \
	./internal/stats/assign ./internal/compare ./internal/teach ./internal/records ./internal/report/plots ./internal/report/paper ./internal/report/ticket ./internal/stats/study ./internal/stats/charts ./internal/lots/process ./internal/lots ./internal/gauge/setup \
	./internal/camera/trouble ./internal/camera/pty ./internal/camera/retry ./internal/camera/sources ./internal/camera/rig ./internal/camera/shoot \
	./internal/bench ./internal/lang ./internal/cli ./internal/truth ./internal/gauge/sensor ./internal/records/rework ./internal/records/shift ./internal/records/upkeep ./internal/lots/lotreport ./internal/learn

# Begun first, so that none of them is left over at the end with one core idle. The
# commands' tests are the longest of all, a third of it waiting for devices: two halves
# go on beside these.
LONGEST := ./internal/defects ./internal/stripes ./internal/records ./internal/bench

# What `make score` measures against, where it is present.
FINISHBENCH_SHARED ?= ../shared
# More sets of edge pictures for the table of steps, whole paths with commas between.
EDGES ?=
# The seed of the altered sets; another one is another set beside it.
ALTER ?= 1

SOURCES := $(shell find cmd internal configs -name '*.go' -o -name '*.yaml' -o -name '*.html' -o -name '*.css' 2>/dev/null) go.mod go.sum

.DEFAULT_GOAL := help
.PHONY: demo test test-long build bench soak score draw fuzz clean setup setup-test check help

help: ## what there is to make
	@grep -hE '^[a-z-]+:.*## ' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 14

demo: build ## inspect the units in testdata/images and say which page to open
	@mkdir -p out
	@bin/inspect unit testdata/images/*/ --out out/demo --mm-per-px 0.015 --stage wet || { s=$$?; [ $$s -eq 3 ] || [ $$s -eq 4 ] || exit $$s; }
	@echo
	@echo "Open in a browser:"
	@for p in out/demo/index.html out/demo/*/report.html; do [ ! -e "$$p" ] || echo "  $(CURDIR)/$$p"; done

test: setup ## every check and test, as CI runs them
	@$(MAKE) --no-print-directory -j2 setup-test check
	go test -vet=off -run '^$$' -bench . -benchtime 1x $$(grep -rlE '^func Benchmark' --include='*_test.go' cmd internal | xargs -n1 dirname | sort -u | sed 's,^,./,')
	@mkdir -p out; t="go test -v -vet=off -timeout $(if $(FINISHBENCH_LONG),60m,20m)"; \
	{ $$t -run '^TestBench' ./cmd/inspect >out/test-bench.log 2>&1 & b=$$!; \
	  $$t -skip '^TestBench' ./cmd/inspect >out/test-commands.log 2>&1 & c=$$!; \
	  $$t -p 2 $(LONGEST) $$(go list ./... | grep -v '/cmd/inspect$$') 2>&1; s=$$?; \
	  wait $$b || s=$$?; wait $$c || s=$$?; cat out/test-bench.log out/test-commands.log; echo "tests ended $$s"; } | awk -f .ci/skips

test-long: export FINISHBENCH_LONG := 1
test-long: test ## the same, with all cases of what `make test` tries a sample of

check: # format, vet, staticcheck, what is free of cgo, that all builds and nothing is left over; compiles what the tests need
	@unformatted=$$(gofmt -l cmd internal configs); [ -z "$$unformatted" ] || { echo "gofmt wants to change: $$unformatted"; exit 1; }
	@uses() { CGO_ENABLED=0 go list -deps -test -f '{{if not (or .Standard .ForTest)}}{{.ImportPath}}{{end}}' "$$@" | grep -v '\.test$$'; }; \
	  cgo=$$(go list -f '{{if .CgoFiles}}{{.ImportPath}}{{end}}' $$(uses $(PURE))) || exit 1; \
	  [ -z "$$cgo" ] || { echo "these want a C compiler, though what PURE (Makefile) names must do without:" $$cgo; exit 1; }
	CGO_ENABLED=0 go vet ./internal/report ./configs
	go mod tidy -diff
	go build -o bin/inspect ./cmd/inspect
	go vet ./...
	go run honnef.co/go/tools/cmd/staticcheck@v0.8.2 -tags=$(TAGS) ./...
	@dead=$$(go run golang.org/x/tools/cmd/deadcode@v0.52.0 -tags=$(TAGS) ./cmd/inspect | grep -v '^internal/synth/'); \
	  [ -z "$$dead" ] || { echo "nothing but tests reaches these; move them into tests, or delete them:"; echo "$$dead"; exit 1; }

build: setup bin/inspect ## bin/inspect

bin/inspect: $(SOURCES)
	go build -o bin/inspect ./cmd/inspect

bench: build ## Go's benchmarks, then speed and memory of the whole program
	go test -run '^$$' -bench . -benchmem -benchtime 3x ./internal/...
	FINISHBENCH_FIGURES=1 FINISHBENCH_PROGRAM="$(CURDIR)/bin/inspect" go test -v -count=1 -timeout 60m -run TestFigures ./cmd/inspect

# SOAK units are judged in earnest; a shift of 6000 follows with stored answers.
SOAK ?= 600
soak: build ## long runs of the bench: memory, goroutines, file handles (half an hour)
	FINISHBENCH_SOAK=$(SOAK) go test -v -count=1 -timeout 180m -run 'TestSoak$$' ./cmd/inspect

score: build ## the score against ../shared/units, the table of steps, then that of conditions (many minutes); DOCS=1: into docs/conditions.md
	@if [ -d "$(FINISHBENCH_SHARED)/units" ]; then \
	  rm -rf out/score; mkdir -p out; \
	  bin/inspect unit $(FINISHBENCH_SHARED)/units/*/ --out out/score --mm-per-px 0.015 > out/score.txt || { s=$$?; [ $$s -eq 3 ] || [ $$s -eq 4 ] || exit $$s; }; \
	  python3 $(FINISHBENCH_SHARED)/tools/score_results.py $(FINISHBENCH_SHARED)/units out/score --list; \
	  FINISHBENCH_FIGURES=1 FINISHBENCH_SHARED="$(abspath $(FINISHBENCH_SHARED))" FINISHBENCH_EDGES="$(EDGES)" go test -count=1 -v -timeout 60m -run 'TestStepTable$$' ./internal/seam; \
	  go test -count=1 -timeout 60m -run 'AlterSets$$' ./internal/synth -alter "$(abspath out/altered)" -from "$(abspath $(FINISHBENCH_SHARED))/units" -seed $(ALTER) && \
	  python3 .ci/conditions bin/inspect "$(FINISHBENCH_SHARED)" out $(if $(DOCS),--docs docs/conditions.md); \
	else echo "make score: $(FINISHBENCH_SHARED)/units is not here; set FINISHBENCH_SHARED to the folder that holds units/ and tools/"; fi

# A seed's units under DRAW are not drawn again.
DRAW ?= out/drawn
COUNT ?= 8
draw: ## ray-traced units of new seeds for `make score` (minutes a unit): SEEDS="7 8" [COUNT=8] [RIGS=ring,window] [PATTERNS=granite] [DRAW=out/drawn]
	@sh .ci/draw "$(FINISHBENCH_SHARED)/render" "$(DRAW)" "$(COUNT)" "$(PATTERNS)" "$(RIGS)" $(SEEDS)

# Each fuzz target for FUZZTIME; `make test` gives them a few seconds.
FUZZTIME ?= 60s
fuzz: ## fuzz the readers and the config, FUZZTIME each
	@for p in $$(grep -rlE '^func Fuzz' --include='*_test.go' cmd internal configs | xargs -n1 dirname | sort -u); do \
	  sh .ci/fuzz $(FUZZTIME) $$p || exit 1; \
	done

clean: ## remove what make made
	rm -rf bin out

# setup installs OpenCV's headers and a compiler where they are missing.
setup:
	@sh .ci/setup build

setup-test:
	@sh .ci/setup test
