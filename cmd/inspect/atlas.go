package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/report"
	"finishbench/internal/teach"
)

const atlasHelp = `atlas makes a page for each kind of defect: what it is, what causes it, how to
see it, how to put it right at each stage, and pictures from just visible to
severe, all at one scale, with a clean place beside.

The pictures are from the records: spread over size, confirmed ones and sure ones
first. Where the records have none of a kind, those of units with known defects
(--units) are taken, else drawn ones, and the page says so.

pin, hide, caption and free change what is shown. A finding is named by its
inspection's number and its own: 1204/3.`

const atlasExamples = `  inspect atlas --record bench.db --out atlas
  inspect atlas --units testdata/images --out atlas --language zh-Hans
  inspect atlas hide 1204/3 --record bench.db --by B17
  inspect atlas caption 1204/3 "the brush was new" --record bench.db --by B17
  inspect atlas wall --stage wet --out atlas`

// atlasOptions are what the atlas is made of, and where.
type atlasOptions struct {
	records              cli.Database
	out, units, language string
	limits, stage        string
	n                    int
	by                   string
}

// newAtlasCommand is 'inspect atlas'.
func newAtlasCommand() *cobra.Command {
	var o atlasOptions
	cmd := &cobra.Command{
		Use:                   "atlas --out DIR",
		Short:                 "What each kind of defect looks like, to teach and to print",
		Long:                  atlasHelp,
		Example:               atlasExamples,
		Args:                  flags.WrongUsage(cobra.NoArgs),
		DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runAtlas(cmd.Context(), o, cmd.OutOrStdout())
		},
	}
	p := cmd.PersistentFlags()
	p.StringVar(&o.records.URL, "record", "", "the database: a SQLite file, or postgres://USER@HOST/DATABASE")
	p.StringVar(&o.records.Station, "station", "", "station file that names the database")
	f := cmd.Flags()
	f.StringVar(&o.out, "out", "", "folder for the pages; made where it is missing")
	f.StringVar(&o.units, "units", "", "folder of units with known defects (truth.json), for kinds that the records lack")
	f.StringVar(&o.language, "language", "en", "of the pages: en, zh-Hans")
	f.IntVar(&o.n, "pictures", 6, "pictures of each kind, 2 to 20")
	cmd.AddCommand(newAtlasMarkCommand(&o, teach.Pin, "pin I/N", "Always show a finding"), newAtlasMarkCommand(&o, teach.Hide, "hide I/N", "Never show a finding"),
		newAtlasMarkCommand(&o, teach.Free, "free I/N", "Let the program choose again"), newAtlasMarkCommand(&o, teach.Caption, "caption I/N TEXT", "Put words under a finding"), newAtlasWallCommand(&o))
	return cmd
}

// newAtlasMarkCommand is one of pin, hide, free and caption.
func newAtlasMarkCommand(o *atlasOptions, kind, use, short string) *cobra.Command {
	args := 1
	if kind == teach.Caption {
		args = 2
	}
	cmd := &cobra.Command{Use: use, Short: short, Args: flags.WrongUsage(cobra.ExactArgs(args)), DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, args []string) error {
			return runAtlasMark(cmd.Context(), *o, kind, args, cmd.OutOrStdout())
		}}
	cmd.Flags().StringVar(&o.by, "by", "", "initials or badge of the trainer")
	return cmd
}

// atlasTopic is the journal of the trainer's choices.
const atlasTopic = "atlas"

// runAtlasMark marks a finding as an example of its kind, or takes the mark away.
func runAtlasMark(ctx context.Context, o atlasOptions, kind string, args []string, stdout io.Writer) error {
	if o.by == "" {
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
	store, err := o.records.Open(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	in, err := store.Get(ctx, id)
	if err != nil {
		return fmt.Errorf("atlas: inspection %d: %w", id, err)
	}
	if _, ok := findingNumber(&in.Result, n); !ok {
		return fmt.Errorf("atlas: inspection %d (unit %s) has no finding %d; it has %d", id, in.Serial, n, len(in.Result.Findings))
	}
	if err := store.NoteNext(ctx, records.Entry{Topic: atlasTopic, Name: atlasTopic, Kind: kind, By: o.by}, m); err != nil {
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

func findingNumber(r *part.Result, n int) (part.Finding, bool) {
	for _, f := range r.Findings {
		if f.Number == n {
			return f, true
		}
	}
	return part.Finding{}, false
}

// runAtlas writes the pages of the atlas.
func runAtlas(ctx context.Context, o atlasOptions, stdout io.Writer) error {
	if o.out == "" {
		return cli.Usagef("say where the pages go: --out DIR")
	}
	if o.n < 2 || o.n > 20 {
		return cli.Usagef("--pictures %d: 2 to 20", o.n)
	}
	l, err := cli.Language(o.language)
	if err != nil {
		return err
	}
	a := newAtlas(l, o.n)
	if o.records.URL != "" || o.records.Station != "" {
		store, err := o.records.Open(ctx)
		if err != nil {
			return err
		}
		defer store.Close()
		if err := a.addRecords(ctx, store, records.Filter{}); err != nil {
			return err
		}
	}
	if o.units != "" {
		if err := a.addUnits(o.units); err != nil {
			return err
		}
	}
	dir, err := cli.OpenOut(o.out)
	if err != nil {
		return err
	}
	for _, k := range part.Kinds {
		if err := ctx.Err(); err != nil {
			return err
		}
		sheet, err := a.page(ctx, k)
		if err != nil {
			return err
		}
		if err := cli.WriteSheetPage(dir, string(k)+".html", sheet); err != nil {
			return err
		}
	}
	if err := cli.WriteSheetPage(dir, "atlas.html", a.index()); err != nil {
		return err
	}
	fmt.Fprintf(stdout, "Open %s\n", filepath.Join(o.out, "atlas.html"))
	return nil
}

func newAtlasWallCommand(o *atlasOptions) *cobra.Command {
	cmd := &cobra.Command{Use: "wall --out DIR", Short: "Boundary samples at true size, to print on A4", Args: flags.WrongUsage(cobra.NoArgs), DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, _ []string) error { return runAtlasWall(*o, cmd.OutOrStdout()) }}
	f := cmd.Flags()
	f.StringVar(&o.out, "out", "", "folder for the page; made where it is missing")
	f.StringVar(&o.stage, "stage", "wet", "trim, wet or cured: whose limits")
	f.StringVar(&o.limits, "limits", "", "file with the limits (default: the built-in ones)")
	f.StringVar(&o.language, "language", "en", "of the page: en, zh-Hans")
	return cmd
}

// runAtlasWall writes the sheets for the wall.
func runAtlasWall(o atlasOptions, stdout io.Writer) error {
	if o.out == "" {
		return cli.Usagef("say where the page goes: --out DIR")
	}
	stage, err := part.ParseStage(o.stage)
	if err != nil {
		return cli.UsageError{Err: err}
	}
	limits, err := config.LoadLimits(o.limits)
	if err != nil {
		return cli.UsageError{Err: err}
	}
	l, err := cli.Language(o.language)
	if err != nil {
		return err
	}
	dir, err := cli.OpenOut(o.out)
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
	fmt.Fprintf(stdout, "Open and print %s\n", filepath.Join(o.out, name))
	return nil
}
