package bench

import (
	"time"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/bench/station"
)

const peopleHelp = `people says who works at a station. They are kept beside the station file, in
finishbench-people.json, which only its owner may read: names, badges, roles, and
hashes of PINs. A bench that is open knows of changes at once. As long as the file is
not there nobody signs in, and whoever is at the bench may do all.

Roles: operator, inspector, trainer, administrator. An operator's badge signs in alone;
the others give a PIN as well, or their name and the PIN.`

// newPeopleCommand is 'inspect bench people'.
func newPeopleCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "people",
		Short: "Say who works at a station: names, badges, PINs, roles",
		Long:  peopleHelp,
		Example: `  inspect bench people add "A. Berg" --badge B17 --station station.yaml
  inspect bench people add "C. Lind" --badge B18 --role inspector --station station.yaml
  inspect bench people list --station station.yaml`,
		Args: flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	for do, use := range map[string][2]string{
		"add":    {"add NAME", "Add a person, or take one back who was removed"},
		"list":   {"list", "List them"},
		"role":   {"role NAME ROLE", "Give a person another role"},
		"badge":  {"badge NAME [BADGE]", "Give a person another badge, or none"},
		"pin":    {"pin NAME", "Give a person a new PIN, asked for here or read from standard input"},
		"remove": {"remove NAME", "Take a person's sign-in away; the records keep the name"},
	} {
		cmd.AddCommand(peopleDo(do, use[0], use[1]))
	}
	return cmd
}

func peopleDo(do, use, short string) *cobra.Command {
	o := station.PeopleOptions{Do: do}
	args := map[string]cobra.PositionalArgs{"list": cobra.NoArgs, "role": cobra.ExactArgs(2), "badge": cobra.RangeArgs(1, 2)}[do]
	if args == nil {
		args = cobra.ExactArgs(1)
	}
	cmd := &cobra.Command{
		Use: use, Short: short, Args: flags.WrongUsage(args), DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				o.Name = args[0]
			}
			if len(args) == 2 && do == "role" {
				o.Role = args[1]
			} else if len(args) == 2 {
				o.Badge = args[1]
			}
			return station.RunPeople(o, cmd.InOrStdin(), cmd.OutOrStdout(), time.Now())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Station, "station", "", "station file, with the people's file beside it; it tells what badges are (default: here)")
	if do == "add" {
		f.StringVar(&o.Badge, "badge", "", "badge, as the reader reads it or as 'inspect bench label' prints it")
		f.StringVar(&o.Role, "role", "operator", "operator, inspector, trainer or administrator")
	}
	f.SortFlags = false
	return cmd
}
