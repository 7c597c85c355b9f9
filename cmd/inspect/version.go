package main

import (
	"fmt"
	"path"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
	"gocv.io/x/gocv"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
)

func newVersionCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Say which versions of Finishbench and its libraries these are",
		Args:  flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			out := cmd.OutOrStdout()
			fmt.Fprintf(out, "finishbench %s\n", cli.Version)
			fmt.Fprintf(out, "go          %s %s/%s\n", runtime.Version(), runtime.GOOS, runtime.GOARCH)
			fmt.Fprintf(out, "gocv        %s\n", gocv.Version())
			_, err := fmt.Fprintf(out, "opencv      %s\n", gocv.OpenCVVersion())
			if info, ok := debug.ReadBuildInfo(); ok {
				for _, d := range info.Deps {
					switch d.Path {
					case "github.com/spf13/cobra", "github.com/spf13/viper", "github.com/disintegration/imaging", "gonum.org/v1/gonum":
						_, err = fmt.Fprintf(out, "%-11s %s\n", path.Base(d.Path), d.Version)
					}
				}
			}
			return err
		},
	}
}
