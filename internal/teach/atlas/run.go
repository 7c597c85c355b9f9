package atlas

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"

	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/report"
	"finishbench/internal/teach"
)

// Options are what the atlas is made of, and where.
type Options struct {
	Records              cli.Database
	Out, Units, Language string
	Limits, Stage        string
	N                    int
	By                   string
}

// atlasTopic is the journal of the trainer's choices.
const atlasTopic = "atlas"

// RunMark marks a finding as an example of its kind, or takes the mark away.
func RunMark(ctx context.Context, o Options, kind string, args []string, stdout io.Writer) error {
	if o.By == "" {
		return cli.Usagef("say who chooses: --by with initials or a badge")
	}
	m := teach.Mark{Kind: kind}
	a, b, ok := strings.Cut(args[0], "/")
	id, err1 := strconv.ParseInt(a, 10, 64)
	n, err2 := strconv.Atoi(b)
	if !ok || err1 != nil || err2 != nil {
		return cli.Usagef("%q names no finding: write the inspection's number and the finding's, as in 1204/3", args[0])
	}
	m.Inspection, m.Number = id, n
	if kind == teach.Caption {
		m.Text = strings.TrimSpace(args[1])
	}
	store, err := o.Records.Open(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	in, err := store.Get(ctx, id)
	if err != nil {
		return fmt.Errorf("atlas: inspection %d: %w", id, err)
	}
	if _, ok := FindingNumber(&in.Result, n); !ok {
		return fmt.Errorf("atlas: inspection %d (unit %s) has no finding %d; it has %d", id, in.Serial, n, len(in.Result.Findings))
	}
	if err := store.NoteNext(ctx, part.Entry{Topic: atlasTopic, Name: atlasTopic, Kind: kind, By: o.By}, m); err != nil {
		return err
	}
	fmt.Fprintf(stdout, "%s: %s\n", args[0], kind)
	return nil
}

func marksOf(ctx context.Context, store *records.Store) (teach.Marks, error) {
	entries, err := store.Journal(ctx, atlasTopic, atlasTopic)
	if err != nil {
		return nil, err
	}
	all := teach.Marks{}
	for _, e := range entries {
		var m teach.Mark
		if err := json.Unmarshal(e.Body, &m); err != nil {
			return nil, fmt.Errorf("atlas: entry %d of the trainer's choices: %w", e.Seq, err)
		}
		m.Kind = e.Kind
		all.Take(m)
	}
	return all, nil
}

// FindingNumber is the finding of a result that has this number.
func FindingNumber(r *part.Result, n int) (part.Finding, bool) {
	for _, f := range r.Findings {
		if f.Number == n {
			return f, true
		}
	}
	return part.Finding{}, false
}

// Run writes the pages of the atlas.
func Run(ctx context.Context, o Options, stdout io.Writer) error {
	if o.Out == "" {
		return cli.Usagef("say where the pages go: --out DIR")
	}
	if o.N < 2 || o.N > 20 {
		return cli.Usagef("--pictures %d: 2 to 20", o.N)
	}
	l, err := cli.Language(o.Language)
	if err != nil {
		return err
	}
	a := New(l, o.N)
	if o.Records.URL != "" || o.Records.Station != "" {
		store, err := o.Records.Open(ctx)
		if err != nil {
			return err
		}
		defer store.Close()
		if err := a.AddRecords(ctx, store, records.Filter{}); err != nil {
			return err
		}
	}
	if o.Units != "" {
		if err := a.addUnits(o.Units); err != nil {
			return err
		}
	}
	dir, err := cli.OpenOut(o.Out)
	if err != nil {
		return err
	}
	for _, k := range part.Kinds {
		if err := ctx.Err(); err != nil {
			return err
		}
		sheet, err := a.Page(ctx, k)
		if err != nil {
			return err
		}
		if err := cli.WriteSheetPage(dir, string(k)+".html", sheet); err != nil {
			return err
		}
	}
	if err := cli.WriteSheetPage(dir, "atlas.html", a.Index()); err != nil {
		return err
	}
	fmt.Fprintf(stdout, "Open %s\n", filepath.Join(o.Out, "atlas.html"))
	return nil
}

// RunWall writes the sheets for the wall.
func RunWall(o Options, stdout io.Writer) error {
	if o.Out == "" {
		return cli.Usagef("say where the page goes: --out DIR")
	}
	stage, err := part.ParseStage(o.Stage)
	if err != nil {
		return cli.UsageError{Err: err}
	}
	limits, err := config.LoadLimits(o.Limits)
	if err != nil {
		return cli.UsageError{Err: err}
	}
	l, err := cli.Language(o.Language)
	if err != nil {
		return err
	}
	dir, err := cli.OpenOut(o.Out)
	if err != nil {
		return err
	}
	wall, err := wallOf(l, limits, stage)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := report.WallPage(&b, wall); err != nil {
		return err
	}
	name := "wall-" + string(stage) + ".html"
	if err := dir.ReplaceFile(name, b.Bytes()); err != nil {
		return err
	}
	fmt.Fprintf(stdout, "Open and print %s\n", filepath.Join(o.Out, name))
	return nil
}
