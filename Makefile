# Finishbench. `make demo`, `make test`, `make build` set the machine up first.
# The one place that names gocv's module tags and Go's flags:
export GOFLAGS := -tags=gocv_specific_modules -buildvcs=false
