package main

import (
	"errors"
	"fmt"
	"io"
)

// The exit codes. They are an interface to other programs: see docs/commands.md.
const (
	exitPass        = 0   // all units pass
	exitOther       = 1   // anything else went wrong, or some unit was not looked at
	exitUsage       = 2   // wrong usage
	exitFails       = 3   // some unit wants rework or is rejected
	exitUnmeasured  = 4   // some picture or unit could not be measured
	exitInterrupted = 130 // stopped by ctrl-C or SIGTERM
)

const exitHelp = `EXIT STATUS
  0    all units pass
  1    anything else: a folder is missing, OUT cannot be written, the disk is full
  2    wrong usage; nothing was inspected
  3    some unit wants rework or is rejected
  4    some picture or unit could not be measured (4 wins over 3, 1 over both)
  130  stopped by ctrl-C; units already done are whole`

// usageError is a mistake in the command line or in a file named there.
type usageError struct{ err error }

func (e usageError) Error() string { return e.err.Error() }
func (e usageError) Unwrap() error { return e.err }

func usagef(format string, a ...any) error { return usageError{fmt.Errorf(format, a...)} }

// codeError is an exit code for which all has been said already.
type codeError int

func (e codeError) Error() string { return fmt.Sprintf("exit code %d", int(e)) }

// interruptedError is a run that was stopped by ctrl-C or SIGTERM.
type interruptedError struct{ done, total int }

func (e interruptedError) Error() string {
	return fmt.Sprintf("stopped: %d of %d units done, their results are whole", e.done, e.total)
}

// tell says what went wrong, in one line, and returns the exit code. It is the
// only place that knows which error is which code.
func tell(stderr io.Writer, err error) int {
	var code codeError
	var usage usageError
	var interrupted interruptedError
	switch {
	case err == nil:
		return exitPass
	case errors.As(err, &code):
		return int(code)
	case errors.As(err, &usage):
		fmt.Fprintf(stderr, "inspect: %v\n", err)
		return exitUsage
	case errors.As(err, &interrupted):
		fmt.Fprintf(stderr, "inspect: %v\n", err)
		return exitInterrupted
	}
	fmt.Fprintf(stderr, "inspect: %v\n", err)
	return exitOther
}
