package bench

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/bench/station"
)

const benchHelp = `bench starts the page at the bench: a browser on this machine shows the live
pictures, takes the unit's serial, and on the space bar (or a pedal) has it
photographed, measured and judged. Each answer is recorded before it is shown.

With --replay the units of a folder are played in place of a camera. Only this
machine can open the page, unless --listen gives an address of the network; then
a passphrase is asked for, which --set-passphrase makes. 'inspect bench people' says who
may sign in, and in which role.`

const benchExamples = `  inspect bench --station station.yaml
  inspect bench --replay testdata/images --mm-per-px 0.015 --record none
  inspect bench --station station.yaml --set-passphrase
  inspect bench --station station.yaml --listen 192.168.1.20:8080`

// Command is 'inspect bench'.
func Command() *cobra.Command {
	var o station.Options
	cmd := &cobra.Command{
		Use:                   "bench",
		Short:                 "Start the operator's page at the bench",
		Long:                  benchHelp,
		Example:               benchExamples,
		DisableFlagsInUseLine: true,
		Args:                  flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return station.Run(cmd.Context(), o, cmd.InOrStdin(), cmd.OutOrStdout(), cmd.ErrOrStderr(), nil)
		},
	}
	cmd.AddCommand(newLabelCommand(), newPeopleCommand())
	f := cmd.Flags()
	f.StringVar(&o.Station, "station", "", "file that describes the station: scale, cameras, thresholds (see configs/station.yaml)")
	f.StringVar(&o.Replay, "replay", "", "folder of units, played in place of a camera")
	f.StringVar(&o.Record.URL, "record", "",
		"database of the inspections: a SQLite file, or postgres://USER@HOST/DATABASE; none: keep nothing (default: the station file's, "+
			"else bench.db)")
	flags.BuiltIn(&o.Record, cmd)
	pageFlags(&o, cmd)
	f.BoolVar(&o.SetPassphrase, "set-passphrase", false, "ask for a new passphrase, write its hash to the passphrase file, and end")
	f.StringVar(&o.Name, "name", "", "name of this bench in the records (default: this machine's)")
	f.StringVar(&o.Page.LanguagesFolder, "lang", "", "folder with further languages, <tag>.json each")
	f.StringVar(&o.Page.Language, "language", "",
		"language of browsers that ask for none (default: that of LC_ALL, LC_MESSAGES or LANG; else en)")
	f.StringArrayVar(&o.Page.PedalKeys, "pedal-key", nil,
		"name of the key that a pedal sends, beside the space bar (KeyboardEvent.key of the browser; default: the station file's, else "+
			"PageDown)")
	f.Float64Var(&o.MMPerPX, "mm-per-px", 0, "scale of the pictures, millimetres per pixel")
	f.StringArrayVar(&o.Scales, "scale", nil,
		"scale file of the pictures, made by 'inspect scale'; VIEW=FILE for the edge, face or shell pictures only")
	f.StringVar(&o.Stage, "stage", "", "stage to begin with: trim, wet or cured (default wet)")
	f.StringVar(&o.Limits, "limits", "", "file with the limits (default: the built-in ones)")
	f.IntVar(&o.Jobs, "jobs", 0, "pictures at a time (default: one for each processor)")
	f.SortFlags = false
	return cmd
}

// pageFlags are how the page is reached.
func pageFlags(o *station.Options, cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&o.Page.Listen, "listen", "",
		"address and port of the page (default: the station file's, else 127.0.0.1:8080); other than this machine's own, a passphrase is "+
			"asked for")
	f.StringArrayVar(&o.Page.Hosts, "host", nil, "further name by which browsers call this machine")
	f.StringVar(&o.Page.PassphraseFile, "passphrase-file", "",
		"file with the passphrase's hash (default: finishbench-passphrase beside the station file, else here)")
	f.StringVar(&o.Page.Cert, "tls-cert", "", "certificate for https, PEM; with --tls-key")
	f.StringVar(&o.Page.Key, "tls-key", "", "its key, PEM")
}
