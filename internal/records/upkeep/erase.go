package upkeep

import (
	"context"
	"fmt"
	"io"

	"finishbench/internal/cli"
)

// RunErase erases a person's name.
func RunErase(ctx context.Context, o cli.Database, name string, stdout io.Writer) error {
	s, err := o.Open(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	people, kept, err := s.EraseName(ctx, name)
	switch {
	case err != nil:
		return err
	case kept > 0:
		return fmt.Errorf("records: %s was erased where it can be, but %s of an earlier version of this program hold the name itself, "+
			"and what is chained cannot be changed; export what you need, and begin a new database",
			name, cli.Counted(kept, "inspection", "inspections"))
	case people == 0:
		return fmt.Errorf("records: nobody is called %q here; capital letters count", name)
	}
	_, err = fmt.Fprintf(stdout, "%s is erased; what was recorded stays, nameless. Backups made before still have the name.\n", name)
	return err
}
