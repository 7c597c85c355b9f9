package main

import (
	"bytes"
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"finishbench/internal/cli"
)

func TestMain(m *testing.M) {
	if filepath.Base(os.Args[0]) != "inspect" { // the tests, not the program that they start
		os.Setenv("LC_ALL", "C") // pages are looked at in English, whoever runs the tests
	}
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
	code = cli.Tell(&errs, err)
	return code, out.String(), errs.String()
}

// TestScripts runs the command as a person would, from testdata/*.txtar. The
// scripts have four commands of their own:
//
//	exits CODE inspect ARG...   runs it in this process, without standard input, and wants that exit code
//	starts CODE inspect ARG...  starts it as a program of its own, which takes 0.2 s more: OpenCV's libraries
//	cut FILE SIZE               cuts a file off
//	lines stdout|stderr N       wants so many lines
//
// $IMAGES is testdata/images.
func TestScripts(t *testing.T) {
	images, err := filepath.Abs("../../testdata/images")
	if err != nil {
		t.Fatal(err)
	}
	p := testscript.Params{
		Dir:                 "testdata",
		RequireExplicitExec: true,
		Setup: func(e *testscript.Env) error {
			e.Setenv("IMAGES", images)
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"exits": exits, "starts": starts, "cut": cut, "lines": lines,
		},
	}
	p.Deadline, _ = t.Deadline()
	testscript.RunT(inTurn{t}, p)
}

// inTurn runs scripts one after another, since exits changes the process's folder.
type inTurn struct{ *testing.T }

func (inTurn) Parallel()     {}
func (inTurn) Verbose() bool { return testing.Verbose() }
func (t inTurn) Run(name string, f func(testscript.T)) {
	t.T.Run(name, func(t *testing.T) { f(inTurn{t}) })
}

func exits(ts *testscript.TestScript, neg bool, args []string) {
	wantCode(ts, "exits", neg, args, func(args []string) int {
		was, err := os.Getwd()
		ts.Check(err)
		ts.Check(os.Chdir(ts.MkAbs(".")))
		defer func() { ts.Check(os.Chdir(was)) }()
		return cli.Tell(ts.Stderr(), run(context.Background(), args, strings.NewReader(""), ts.Stdout(), ts.Stderr()))
	})
}

func starts(ts *testscript.TestScript, neg bool, args []string) {
	wantCode(ts, "starts", neg, args, func(args []string) int {
		var exit *exec.ExitError
		err := ts.Exec("inspect", args...)
		if errors.As(err, &exit) {
			return exit.ExitCode()
		}
		ts.Check(err)
		return 0
	})
}

// wantCode runs inspect and wants the exit code that args begin with.
func wantCode(ts *testscript.TestScript, name string, neg bool, args []string, inspect func(args []string) int) {
	if neg || len(args) < 2 || args[1] != "inspect" {
		ts.Fatalf("usage: %s CODE inspect ARG...", name)
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	if got := inspect(args[2:]); got != want {
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
