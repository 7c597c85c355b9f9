package lot

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/lots/book"
)

const lotPlanHelp = `plan tells how many units of a lot are looked at, from how many bad ones on it is
refused, and what that lets through. With the name of a LOT it opens the lot with
that plan. Which mode is due (normal, tightened, reduced) follows from the decided
lots of the same product; a person who sets another one signs for it.

A plan of a lot that is not decided yet starts anew with --anew: for other limits,
another level. What was seen so far then no longer counts. A refused lot that was
screened is presented again with --again.`

const lotPlanExamples = `  inspect lot plan --size 500
  inspect lot plan --size 500 --level S-4 --aql major=0.65 --out plan
  inspect lot plan 31 --size 500 --record bench.db --by 'inspector 2'
  inspect lot plan 31 --anew --limits limits.yaml --why 'dust from 0.2 mm' --by 'inspector 2' --record bench.db`

func newLotPlanCommand(r *cli.Database) *cobra.Command {
	o := book.PlanOptions{Database: r}
	cmd := &cobra.Command{
		Use:                   "plan [LOT] --size N",
		Short:                 "What is looked at, what is accepted, what that lets through; opens a lot",
		Long:                  lotPlanHelp,
		Example:               lotPlanExamples,
		DisableFlagsInUseLine: true,
		Args:                  flags.WrongUsage(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return book.RunPlan(cmd.Context(), o, args, cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.IntVar(&o.Size, "size", 0, "units in the lot, 2 or more")
	f.StringVar(&o.Level, "level", "", "inspection level: S-1 to S-4, I, II, III (default: the station file's)")
	f.StringArrayVar(&o.AQLs, "aql", nil, "another AQL for a class: CLASS=AQL, as in major=0.65")
	f.StringArrayVar(&o.Modes, "mode", nil, "normal, tightened or reduced in place of what is due; CLASS=MODE for one class")
	f.StringVar(&o.Product, "product", "", "product that the lot is of (default: the station file's)")
	f.StringVar(&o.Stage, "stage", "", "trim, wet or cured (default: the station file's)")
	f.StringVar(&o.Limits, "limits", "", "file with the limits that units are judged by (default: the built-in ones)")
	f.StringVar(&o.By, "by", "", "who opens the lot")
	f.StringVar(&o.Why, "why", "", "why another mode is set, or why the plan starts anew")
	f.StringVar(&o.Resume, "resume", "", "what was put right, where inspection was discontinued")
	f.StringVar(&o.Irregular, "irregular", "", "why production is not steady: ends reduced inspection")
	f.BoolVar(&o.Anew, "anew", false, "start the plan of LOT anew")
	f.BoolVar(&o.Again, "again", false, "present the refused and screened LOT again")
	flags.Sheet(&o.SheetOptions, cmd)
	return cmd
}
