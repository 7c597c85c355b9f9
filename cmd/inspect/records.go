package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/files"
	"finishbench/internal/records"
)

const recordsHelp = `records looks after the database in which inspections are kept: a SQLite file or
a PostgreSQL database, named by --record or by the station file's key records.
Nothing in it is ever overwritten; every event carries the hash of the one before.`

const recordsExit = `EXIT STATUS
  0    done; with check: nothing is wrong
  1    it could not be done; with check: something is wrong
  2    wrong usage; nothing was done`

// newRecordsCommand is 'inspect records'.
func newRecordsCommand() *cobra.Command {
	var o cli.Database
	cmd := &cobra.Command{
		Use:   "records",
		Short: "Back up, check, export, sum up the database of inspections",
		Long:  recordsHelp + "\n\n" + recordsExit,
		Args:  flags.WrongUsage(cobra.NoArgs),
		RunE: func(*cobra.Command, []string) error {
			return cli.Usagef("say what to do: records backup, restore, check, export, forget, erase or shift (see 'inspect records --help')")
		},
	}
	f := cmd.PersistentFlags()
	f.StringVar(&o.URL, "record", "", "the database: a SQLite file, or postgres://USER@HOST/DATABASE")
	f.StringVar(&o.Station, "station", "", "station file that names the database")
	cmd.AddCommand(newBackupCommand(&o), newRestoreCommand(&o), newRecordsCheckCommand(&o), newExportCommand(&o), newForgetCommand(&o), newEraseCommand(&o), newRecordsShiftCommand(&o))
	return cmd
}

func newBackupCommand(o *cli.Database) *cobra.Command {
	return &cobra.Command{
		Use:   "backup FILE",
		Short: "Copy the database to a file, while benches go on working",
		Long: `backup copies the database, as of one moment, to FILE, which must not be there
yet. Of a SQLite database it is a database that can be used as it is, and is
checked before it gets its name; of PostgreSQL it is a custom dump, made with
pg_dump. Keep it on another disk.`,
		Example: "  inspect records backup /mnt/backup/bench-monday.db --station station.yaml",
		Args:    flags.OneArg("name the file to write the backup to"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runBackup(cmd.Context(), *o, args[0], cmd.OutOrStdout())
		},
	}
}

func runBackup(ctx context.Context, o cli.Database, file string, stdout io.Writer) error {
	s, err := o.Open(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	if err := s.Backup(ctx, file); err != nil {
		return err
	}
	st, err := os.Stat(file)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(stdout, "%s is backed up to %s (%s)\n", s.Where(), file, megabytes(st.Size()))
	return err
}

func megabytes(n int64) string { return fmt.Sprintf("%.1f MB", float64(n)/1e6) }

func newRestoreCommand(o *cli.Database) *cobra.Command {
	var replace bool
	cmd := &cobra.Command{
		Use:   "restore FILE",
		Short: "Make the database anew from a backup",
		Long: `restore checks the backup FILE and makes the database anew from it. A database
that is there is left alone, unless --replace is given: then it is kept under
another name, which is told. Stop the bench first.`,
		Example: "  inspect records restore /mnt/backup/bench-monday.db --record bench.db --replace",
		Args:    flags.OneArg("name the backup"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runRestore(cmd.Context(), *o, args[0], replace, cmd.OutOrStdout())
		},
	}
	cmd.Flags().BoolVar(&replace, "replace", false, "put the backup in the place of a database that is there")
	return cmd
}

func runRestore(ctx context.Context, o cli.Database, file string, replace bool, stdout io.Writer) error {
	url, err := o.Where()
	if err != nil {
		return err
	}
	kept, err := records.Restore(ctx, file, url, replace, time.Now)
	if kept != "" {
		fmt.Fprintf(stdout, "what was there is kept as %s\n", kept)
	}
	if err != nil {
		return err
	}
	s, err := records.OpenExisting(ctx, url, time.Now)
	if err != nil {
		return err
	}
	defer s.Close()
	_, err = fmt.Fprintf(stdout, "%s is restored from %s\n", s.Where(), file)
	return err
}

func newRecordsCheckCommand(o *cli.Database) *cobra.Command {
	var trail string
	cmd := &cobra.Command{
		Use:   "check [BACKUP]",
		Short: "Check that nothing in the database was lost or changed",
		Long: `check looks at the whole database: its own integrity, the chain of events, each
inspection against what was recorded of it, each picture against its hash. With
BACKUP it checks a SQLite backup instead.

With --trail it checks a trail that was exported earlier ('inspect records export
--format trail'), which needs no database; where one is named too, it also checks
that the trail is the beginning of that database's chain. A trail that is kept
where the bench cannot write shows even a chain that was made anew.`,
		Example: `  inspect records check --record bench.db
  inspect records check /mnt/backup/bench-monday.db
  inspect records check --trail trail.jsonl --record bench.db`,
		Args: flags.WrongUsage(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runRecordsCheck(cmd.Context(), *o, trail, args, cmd.OutOrStdout())
		},
	}
	cmd.Flags().StringVar(&trail, "trail", "", "exported trail to check")
	return cmd
}

func runRecordsCheck(ctx context.Context, o cli.Database, trail string, args []string, stdout io.Writer) error {
	if len(args) == 1 {
		if trail != "" || o.URL != "" {
			return cli.Usagef("check either a backup, or a database and its trail")
		}
		r, err := records.CheckFile(ctx, args[0], time.Now)
		if err != nil {
			return err
		}
		return tellCheck(stdout, r)
	}
	if trail != "" && o.URL == "" && o.Station == "" {
		return checkTrail(ctx, nil, trail, stdout)
	}
	s, err := o.Open(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	if trail != "" {
		if err := checkTrail(ctx, s, trail, stdout); err != nil {
			return err
		}
	}
	r, err := s.Check(ctx)
	if err != nil {
		return err
	}
	return tellCheck(stdout, r)
}

// checkTrail checks a trail, against a database where there is one.
func checkTrail(ctx context.Context, s *records.Store, file string, stdout io.Writer) error {
	f, err := files.Open(file)
	if err != nil {
		return cli.UsageError{Err: err}
	}
	defer f.Close()
	var r records.TrailReport
	if s == nil {
		r, err = records.CheckTrail(f)
	} else {
		r, err = s.Compare(ctx, f)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	fmt.Fprintf(stdout, "%s: %d events of %d inspections, nothing is wrong\n%s", file, r.Events, r.Inspections, headLines(r.Head))
	if s != nil {
		fmt.Fprintf(stdout, "it is the beginning of the chain of %s\n", s.Where())
	}
	return nil
}

func headLines(h records.Head) string {
	if h.Seq == 0 {
		return "chain: empty\n"
	}
	return fmt.Sprintf("chain: ends with event %d of %s\n       %s\n", h.Seq, h.At.Format(time.RFC3339), h.Hash)
}

// tellCheck tells what a check found; the error only carries the exit code.
func tellCheck(stdout io.Writer, r records.CheckReport) error {
	w := bufio.NewWriter(stdout)
	fmt.Fprintf(w, "%s: %d inspections, %d events, ", r.Where, r.Inspections, r.Events)
	if r.Entries > 0 {
		fmt.Fprintf(w, "%d of them of lots and the like, ", r.Entries)
	}
	fmt.Fprintf(w, "%d settings files, %d pictures (%s", r.Texts, r.Pictures, megabytes(r.PictureBytes))
	if n := r.Forgotten + r.Numbers; n > 0 {
		fmt.Fprintf(w, "; of %d only the numbers are kept", n)
	}
	fmt.Fprint(w, ")\n", headLines(r.Head))
	if r.OK() {
		fmt.Fprintln(w, "nothing is wrong")
		return w.Flush()
	}
	for _, p := range r.Problems {
		fmt.Fprintf(w, "WRONG: %s\n", p)
	}
	if r.More > 0 {
		fmt.Fprintf(w, "WRONG: and %d more\n", r.More)
	}
	fmt.Fprintln(w, "Keep this file as it is for whoever looks into it, and restore a backup.")
	return errors.Join(cli.ExitCode(cli.ExitOther), w.Flush())
}

func newExportCommand(o *cli.Database) *cobra.Command {
	var format, out string
	cmd := &cobra.Command{
		Use:   "export",
		Short: "Write all inspections as CSV or JSON lines",
		Long: `export writes all inspections to standard output, or to a file that is not there
yet. Those that were withdrawn or corrected are written too, and marked. Times are
RFC 3339, UTC; what was not measured is empty. The formats:

  csv            a line an inspection
  findings.csv   a line a finding
  stations.csv   a line a step at the seam
  jsonl          a line of JSON an inspection, with the whole result
  journal        lots: a line of JSON an event
  trail          the chain of events, for 'inspect records check --trail'`,
		Example: `  inspect records export --record bench.db > inspections.csv
  inspect records export --record bench.db --format trail --out trail.jsonl`,
		Args: flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runExport(cmd.Context(), *o, format, out, cmd.OutOrStdout())
		},
	}
	cmd.Flags().StringVar(&format, "format", records.FormatCSV, strings.Join(records.Formats(), ", "))
	cmd.Flags().StringVar(&out, "out", "", "file to write (default: standard output)")
	return cmd
}

func runExport(ctx context.Context, o cli.Database, format, out string, stdout io.Writer) (err error) {
	if !records.KnownFormat(format) {
		return cli.Usagef("--format %q: use %s", format, strings.Join(records.Formats(), ", "))
	}
	s, err := o.Open(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	if out == "" {
		return s.Export(ctx, stdout, format)
	}
	f, err := os.OpenFile(out, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if errors.Is(err, fs.ErrExist) {
		return cli.Usagef("--out %s is there already: choose another name", out)
	}
	if err != nil {
		return err
	}
	if err := errors.Join(s.Export(ctx, f, format), f.Sync(), f.Close()); err != nil {
		_ = os.Remove(out) // half an export looks like a whole one
		return err
	}
	return nil
}

// maxForgetDays is a century: beyond it is a slip.
const maxForgetDays = 36500

func newForgetCommand(o *cli.Database) *cobra.Command {
	var days int
	cmd := &cobra.Command{
		Use:   "forget --older-than DAYS",
		Short: "Let go of old pictures, never of numbers",
		Long: `forget lets go of the bytes of pictures that only inspections older than so many
days use. Numbers, findings, file names and hashes stay, and what was forgotten
is itself an event of the chain. A SQLite file does not shrink: the room is used
again.`,
		Example: "  inspect records forget --older-than 365 --station station.yaml",
		Args:    flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runForget(cmd.Context(), *o, days, time.Now(), cmd.OutOrStdout())
		},
	}
	cmd.Flags().IntVar(&days, "older-than", 0, "days, 1 or more")
	return cmd
}

func runForget(ctx context.Context, o cli.Database, days int, now time.Time, stdout io.Writer) error {
	if days < 1 || days > maxForgetDays {
		return cli.Usagef("--older-than: give the number of days that pictures are kept, 1 to %d", maxForgetDays)
	}
	s, err := o.Open(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	before := now.AddDate(0, 0, -days)
	n, err := s.Forget(ctx, before)
	if n > 0 || err == nil {
		fmt.Fprintf(stdout, "%s: %d pictures of before %s are forgotten, their numbers stay\n", s.Where(), n, before.Format(time.DateOnly))
	}
	return err
}
