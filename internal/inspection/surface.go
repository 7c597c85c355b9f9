package inspection

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"

	"finishbench/internal/cli"
	"finishbench/internal/part"
)

// RunSurface inspects pictures of flat lacquered panels, those of one panel together.
func RunSurface(ctx context.Context, o Options, pictures []string, stdout, stderr io.Writer) error {
	set, err := o.Settings()
	if err != nil {
		return err
	}
	if set.Kinds, err = ChooseKindModel(ctx, o.KindModel, nil); err != nil {
		return err
	}
	set.panel = true
	set.Limits = set.Limits.ForPanel()
	jobs, err := panels(pictures)
	if err != nil {
		return err
	}
	return RunJobs(ctx, o, set, jobs, nil, stdout, stderr)
}

// panels makes one job of all pictures that show one panel, in the order in
// which the panels are named first.
func panels(pictures []string) ([]Job, error) {
	var jobs []Job
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
				return nil, cli.Usagef("two panels are called %s: in %s and in %s; their results would overwrite each other, so inspect "+
					"them with two --out folders", name, filepath.Clean(other), filepath.Clean(dir))
			}
			i = len(jobs)
			place[key], dirOf[name] = i, dir
			jobs = append(jobs, Job{unitRef: unitRef{Dir: filepath.Clean(path), name: name}, Folder: part.Folder{Name: name}})
		}
		f := &jobs[i].Folder
		for _, s := range f.Shots {
			if s.Light == light {
				return nil, cli.Usagef("%s and %s are of one panel and one light: keep one of them", s.Path, path)
			}
		}
		if _, err := os.Stat(path); err != nil {
			jobs[i].Dir, jobs[i].Err, jobs[i].Absent = path, errors.New("there is no such picture"), true
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
