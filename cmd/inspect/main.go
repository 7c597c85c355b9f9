// Inspect measures photographs of finished units: step heights at the seam,
// findings in the lacquer, a verdict with its reasons, and pages to look at.
//
// Here are wiring, flags and help alone: a folder or a file a command, root.go wires
// them. What commands do is in internal: internal/cli alone turns errors into exit
// codes, internal/inspection carries one unit from its folder to its report.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	"finishbench/internal/cli"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second ctrl-C ends the program at once
	err := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	os.Exit(cli.Tell(os.Stderr, err))
}
