package main

import (
	"bytes"
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"inspect": main})
}

// runCode runs the program inside the test and returns its exit code.
func runCode(t testing.TB, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	return runCodeIn(context.Background(), args...)
}

func runCodeIn(ctx context.Context, args ...string) (code int, stdout, stderr string) {
	var out, errs bytes.Buffer
	err := run(ctx, args, strings.NewReader(""), &out, &errs)
	code = tell(&errs, err)
	return code, out.String(), errs.String()
}

// TestScripts runs the command as a person would, from testdata/*.txtar. The
// scripts have three commands of their own:
//
//	exits CODE PROGRAM ARG...   runs it and wants that exit code
//	cut FILE SIZE               cuts a file off
//	lines stdout|stderr N       wants so many lines
//
// $IMAGES is testdata/images.
func TestScripts(t *testing.T) {
	images, err := filepath.Abs("../../testdata/images")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata",
		RequireExplicitExec: true,
		Setup: func(e *testscript.Env) error {
			e.Setenv("IMAGES", images)
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"exits": exits, "cut": cut, "lines": lines,
		},
	})
}

func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE PROGRAM ARG...")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		var exit *exec.ExitError
		if !errors.As(err, &exit) {
			ts.Fatalf("%v", err)
		}
		got = exit.ExitCode()
	}
	if got != want {
		ts.Fatalf("exit code %d, want %d", got, want)
	}
}

func cut(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: cut FILE SIZE")
	}
	n, err := strconv.ParseInt(args[1], 10, 64)
	ts.Check(err)
	ts.Check(os.Truncate(ts.MkAbs(args[0]), n))
}

func lines(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: lines stdout|stderr N")
	}
	want, err := strconv.Atoi(args[1])
	ts.Check(err)
	text := strings.TrimSuffix(ts.ReadFile(args[0]), "\n")
	got := 0
	if text != "" {
		got = len(strings.Split(text, "\n"))
	}
	if got != want {
		ts.Fatalf("%s has %d lines, want %d:\n%s", args[0], got, want, text)
	}
}

// TestCodes holds what each kind of end is called.
func TestCodes(t *testing.T) {
	for _, c := range []struct {
		err  error
		want int
	}{
		{nil, 0},
		{errors.New("x"), 1},
		{outError("out", os.ErrPermission), 1},
		{usagef("x"), 2},
		{codeError(3), 3},
		{codeError(4), 4},
		{interruptedError{1, 2}, 130},
	} {
		var b bytes.Buffer
		if got := tell(&b, c.err); got != c.want {
			t.Errorf("%v: exit code %d, want %d", c.err, got, c.want)
		}
		if n := strings.Count(b.String(), "\n"); n > 1 {
			t.Errorf("%v: %d lines", c.err, n)
		}
	}
}

func TestNameUnits(t *testing.T) {
	units, err := nameUnits([]string{"a/u1", "./b/u2/", "."})
	if err != nil {
		t.Fatal(err)
	}
	wd, _ := os.Getwd()
	var names []string
	for _, u := range units {
		names = append(names, u.name)
	}
	if want := []string{"u1", "u2", filepath.Base(wd)}; !slices.Equal(names, want) {
		t.Errorf("names %q, want %q", names, want)
	}
	for _, bad := range [][]string{{"a/u1", "b/u1"}, {"a", "a/"}, {"a", "a"}, {"/"}} {
		var usage usageError
		if _, err := nameUnits(bad); !errors.As(err, &usage) {
			t.Errorf("%q: %v, want a usage error", bad, err)
		}
	}
}
