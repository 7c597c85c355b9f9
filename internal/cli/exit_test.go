package cli

import (
	"bytes"
	"errors"
	"os"
	"strings"
	"testing"
)

// TestCodes holds what each kind of end is called.
func TestCodes(t *testing.T) {
	for _, c := range []struct {
		err  error
		want int
	}{
		{nil, 0},
		{errors.New("x"), 1},
		{OutError("out", os.ErrPermission), 1},
		{Usagef("x"), 2},
		{ExitCode(3), 3},
		{ExitCode(4), 4},
		{Interrupted{Done: 1, Total: 2}, 130},
	} {
		var b bytes.Buffer
		if got := Tell(&b, c.err); got != c.want {
			t.Errorf("%v: exit code %d, want %d", c.err, got, c.want)
		}
		if n := strings.Count(b.String(), "\n"); n > 1 {
			t.Errorf("%v: %d lines", c.err, n)
		}
	}
}
