package main

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"finishbench/internal/cli"
	"finishbench/internal/part"
)

const surfaceHelp = `surface looks at pictures of flat lacquered test panels: the whole picture is
surface, and there is no seam. Results go to OUT/<panel's name>/, as with unit.

Pictures of one pose under two lights are one panel: name them
<panel>_diffuse.jpg and <panel>_raking.jpg. Two lights tell more than one: what
looks the same in both is the panel's own pattern. A picture of another name is
a panel by itself, under one light.`

const surfaceExamples = `  inspect surface p1_diffuse.jpg p1_raking.jpg --out results --mm-per-px 0.015
  inspect surface panels/*.png --out results --station station.yaml`

func newSurfaceCommand() *cobra.Command {
	var o runOptions
	cmd := &cobra.Command{
		Use:                   "surface PICTURE... --out OUT",
		Short:                 "Inspect flat lacquered test panels",
		Long:                  surfaceHelp + "\n\n" + cli.ExitHelp,
		Example:               surfaceExamples,
		DisableFlagsInUseLine: true,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return cli.Usagef("name at least one picture (see 'inspect surface --help')")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return runSurface(cmd.Context(), o, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	runFlags(&o, cmd)
	return cmd
}

func runSurface(ctx context.Context, o runOptions, pictures []string, stdout, stderr io.Writer) error {
	set, err := o.settings()
	if err != nil {
		return err
	}
	if set.kinds, err = chooseKindModel(ctx, o.kinds, nil); err != nil {
		return err
	}
	set.panel = true
	set.limits = set.limits.ForPanel()
	jobs, err := panels(pictures)
	if err != nil {
		return err
	}
	return runJobs(ctx, o, set, jobs, nil, stdout, stderr)
}

// panels makes one job of all pictures that show one panel, in the order in
// which the panels are named first.
func panels(pictures []string) ([]job, error) {
	var jobs []job
	place := map[string]int{} // by folder and panel
	dirOf := map[string]string{}
	seen := map[string]bool{}
	for _, path := range pictures {
		if clean := filepath.Clean(path); seen[clean] {
			return nil, cli.Usagef("%s is named twice", path)
		} else {
			seen[clean] = true
		}
		dir, file := filepath.Split(path)
		name, light := panelName(file)
		if name == "" {
			return nil, cli.Usagef("%q is not a picture's name", path)
		}
		key := filepath.Join(dir, name)
		i, ok := place[key]
		if !ok {
			if other, ok := dirOf[name]; ok {
				return nil, cli.Usagef("two panels are called %s: in %s and in %s; their results would overwrite each other, so inspect them with two --out folders", name, filepath.Clean(other), filepath.Clean(dir))
			}
			i = len(jobs)
			place[key], dirOf[name] = i, dir
			jobs = append(jobs, job{unitRef: unitRef{dir: filepath.Clean(path), name: name}, folder: part.Folder{Name: name}})
		}
		f := &jobs[i].folder
		for _, s := range f.Shots {
			if s.Light == light {
				return nil, cli.Usagef("%s and %s are of one panel and one light: keep one of them", s.Path, path)
			}
		}
		if _, err := os.Stat(path); err != nil {
			jobs[i].dir, jobs[i].err, jobs[i].absent = path, errors.New("there is no such picture"), true
		}
		f.Shots = append(f.Shots, part.Shot{File: file, Path: path, View: part.Face, Light: light})
	}
	return jobs, nil
}

// panelName takes the light off a picture's name.
func panelName(file string) (panel string, light part.Light) {
	stem := strings.TrimSuffix(file, filepath.Ext(file))
	for _, l := range []part.Light{part.Diffuse, part.Raking} {
		if panel, ok := strings.CutSuffix(stem, "_"+string(l)); ok && panel != "" {
			return panel, l
		}
	}
	return stem, part.NoLight
}
