package records

import (
	"strings"
	"time"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/records"
	"finishbench/internal/records/upkeep"
)

const recordsHelp = `records looks after the database in which inspections are kept: a SQLite file or
a PostgreSQL database, named by --record or by the station file's key records.
Nothing in it is ever overwritten; every event carries the hash of the one before.`

const recordsExit = `EXIT STATUS
  0    done; with check: nothing is wrong
  1    it could not be done; with check: something is wrong
  2    wrong usage; nothing was done`

// Command is 'inspect records'.
func Command() *cobra.Command {
	var o cli.Database
	cmd := &cobra.Command{
		Use:   "records",
		Short: "Back up, check, export, sum up the database of inspections",
		Long:  recordsHelp + "\n\n" + recordsExit,
		Args:  flags.WrongUsage(cobra.NoArgs),
		RunE: func(*cobra.Command, []string) error {
			return cli.Usagef("say what to do: records backup, restore, check, export, forget, erase, shift or ticket (see 'inspect " +
				"records --help')")
		},
	}
	f := cmd.PersistentFlags()
	flags.Database(&o, f)
	cmd.AddCommand(newBackupCommand(&o), newRestoreCommand(&o), newRecordsCheckCommand(&o), newExportCommand(&o), newForgetCommand(&o),
		newEraseCommand(&o), newRecordsShiftCommand(&o), newTicketCommand(&o))
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
			return upkeep.RunBackup(cmd.Context(), *o, args[0], cmd.OutOrStdout())
		},
	}
}

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
			return upkeep.RunRestore(cmd.Context(), *o, args[0], replace, cmd.OutOrStdout())
		},
	}
	cmd.Flags().BoolVar(&replace, "replace", false, "put the backup in the place of a database that is there")
	return cmd
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
			return upkeep.RunCheck(cmd.Context(), *o, trail, args, cmd.OutOrStdout())
		},
	}
	cmd.Flags().StringVar(&trail, "trail", "", "exported trail to check")
	return cmd
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
			return upkeep.RunExport(cmd.Context(), *o, format, out, cmd.OutOrStdout())
		},
	}
	cmd.Flags().StringVar(&format, "format", records.FormatCSV, strings.Join(records.Formats(), ", "))
	cmd.Flags().StringVar(&out, "out", "", "file to write (default: standard output)")
	return cmd
}

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
			return upkeep.RunForget(cmd.Context(), *o, days, time.Now(), cmd.OutOrStdout())
		},
	}
	cmd.Flags().IntVar(&days, "older-than", 0, "days, 1 or more")
	return cmd
}
