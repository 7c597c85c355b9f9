package synth

import (
	"hash/fnv"
	"os"
)

// Sampled skips all but about one in n of a test's cases, by their names, so that
// `make test` keeps its time. `make test-long` sets FINISHBENCH_LONG and goes
// through all.
func Sampled(t interface {
	Name() string
	Skipf(format string, args ...any)
}, n uint32) {
	h := fnv.New32a()
	h.Write([]byte(t.Name()))
	if h.Sum32()%n != 0 && os.Getenv("FINISHBENCH_LONG") == "" {
		t.Skipf("one case in %d is tried here, all with make test-long", n)
	}
}
