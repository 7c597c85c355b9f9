package teach

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/bench"
	"finishbench/internal/lang"
	"finishbench/internal/teach/book"
)

func newQuizTakeCommand(o *book.QuizOptions) *cobra.Command {
	var listen, passphrase, cert, key string
	cmd := &cobra.Command{
		Use:   "take",
		Short: "Start the page on which tests are taken, without a bench",
		Long: `take serves the page of blind tests where there is no bench. (A bench that keeps
records has it too: "Blind tests" in its navigation.) Only this machine can open
it, unless --listen gives an address of the network; then a passphrase is asked
for, which 'inspect bench --set-passphrase' makes.`,
		Args: flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return o.With(cmd.Context(), false, func(b *book.Book, _ *lang.Lang) error {
				return bench.Serving{Listen: listen, PassphraseFile: passphrase, Cert: cert, Key: key,
					Language: o.Language}.ServeQuizzes(cmd.Context(), b, b.Store.Where(), cmd.OutOrStdout(), cmd.ErrOrStderr(), nil)
			})
		},
	}
	f := cmd.Flags()
	f.StringVar(&listen, "listen", "127.0.0.1:8090",
		"address and port of the page; other than this machine's own, a passphrase is asked for")
	f.StringVar(&passphrase, "passphrase-file", "",
		"file with the passphrase's hash (default: finishbench-passphrase beside the station file, else here)")
	f.StringVar(&cert, "tls-cert", "", "certificate for https, PEM; with --tls-key")
	f.StringVar(&key, "tls-key", "", "its key, PEM")
	f.SortFlags = false
	return cmd
}
