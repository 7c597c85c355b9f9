package teach

import (
	"fmt"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/lang"
	"finishbench/internal/teach/book"
)

func newQuizResultCommand(o *book.QuizOptions) *cobra.Command {
	var sheet cli.SheetOptions
	cmd := &cobra.Command{
		Use:   "result ATTEMPT",
		Short: "Score a test that was taken, each mistake beside the right answer",
		Long: `result scores the attempt whose name begins with ATTEMPT ('inspect quiz list' names
them), also one that was broken off. With --out it writes the page, with pictures.`,
		Args: flags.OneArg("name the attempt"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.With(cmd.Context(), false, func(b *book.Book, l *lang.Lang) error {
				t, err := b.Find(cmd.Context(), args[0])
				if err != nil {
					return err
				}
				s, err := b.ResultSheet(cmd.Context(), l, t.Of, t.Attempt)
				if err != nil {
					return book.Unanswered(t, err)
				}
				return sheet.Write("quiz-"+t.Name, s.Sheet(), s.Numbers(), cmd.OutOrStdout())
			})
		},
	}
	flags.SheetOut(&sheet, cmd)
	return cmd
}

func newQuizProgressCommand(o *book.QuizOptions) *cobra.Command {
	var sheet cli.SheetOptions
	var initials, badge string
	cmd := &cobra.Command{
		Use:   "progress",
		Short: "One person's tests over time",
		Args:  flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return o.With(cmd.Context(), false, func(b *book.Book, l *lang.Lang) error {
				s, err := b.ProgressSheet(cmd.Context(), l, initials, badge)
				if err != nil {
					return err
				}
				var numbers []book.QuizNumbers
				for _, t := range s.All {
					if t.Err == nil {
						numbers = append(numbers, book.QuizSheet{L: l, Who: s.Who, Quiz: t.Of, Attempt: t.Attempt, Score: t.Score}.Numbers())
					}
				}
				return sheet.Write("quiz-progress", s.Sheet(), numbers, cmd.OutOrStdout())
			})
		},
	}
	whoFlags(cmd, &initials, &badge)
	flags.SheetOut(&sheet, cmd)
	return cmd
}

func whoFlags(cmd *cobra.Command, initials, badge *string) {
	cmd.Flags().StringVar(initials, "initials", "", "whose")
	cmd.Flags().StringVar(badge, "badge", "", "badge, where several people have the same initials; - for the one without")
}

func newQuizCertificateCommand(o *book.QuizOptions) *cobra.Command {
	var sheet cli.SheetOptions
	cmd := &cobra.Command{
		Use:   "certificate ATTEMPT",
		Short: "Write the certificate that a taken test earned",
		Args:  flags.OneArg("name the attempt"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.With(cmd.Context(), false, func(b *book.Book, l *lang.Lang) error {
				t, err := b.Find(cmd.Context(), args[0])
				if err != nil {
					return err
				}
				if t.Certificate == nil {
					return b.WhyNot(t, l)
				}
				s, err := b.CertificateSheet(cmd.Context(), l, t.Of, t.Attempt)
				if err != nil {
					return err
				}
				return sheet.Write("certificate-"+t.Name, s, t.Certificate, cmd.OutOrStdout())
			})
		},
	}
	flags.SheetOut(&sheet, cmd)
	return cmd
}

func newQuizExportCommand(o *book.QuizOptions) *cobra.Command {
	var initials, badge string
	cmd := &cobra.Command{
		Use:   "export",
		Short: "Write all that is kept of one person's tests, as JSON",
		Args:  flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return o.With(cmd.Context(), false, func(b *book.Book, l *lang.Lang) error {
				return b.Export(cmd.Context(), l, initials, badge, cmd.OutOrStdout())
			})
		},
	}
	whoFlags(cmd, &initials, &badge)
	return cmd
}

func newQuizEraseCommand(o *book.QuizOptions) *cobra.Command {
	var initials, badge string
	cmd := &cobra.Command{
		Use:   "erase",
		Short: "Take one person's initials and badge off the tests",
		Long: `erase takes the initials and the badge of one person off the database. The
answers stay, under a random number that tells nothing of anyone. It cannot be
undone. Backups that were made before, and pages and certificates that were
written, still hold them.`,
		Args: flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return o.With(cmd.Context(), false, func(b *book.Book, _ *lang.Lang) error {
				p, err := b.Known(cmd.Context(), initials, badge)
				if err != nil {
					return err
				}
				if err := b.Store.ErasePerson(cmd.Context(), p.ID); err != nil {
					return err
				}
				_, err = fmt.Fprintf(cmd.OutOrStdout(), "%s is erased; the answers stay, nameless\n", p.Word())
				return err
			})
		},
	}
	whoFlags(cmd, &initials, &badge)
	return cmd
}
