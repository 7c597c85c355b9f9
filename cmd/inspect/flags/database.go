package flags

import (
	"github.com/spf13/pflag"

	"finishbench/internal/cli"
)

// Database says which records a command works on.
func Database(o *cli.Database, f *pflag.FlagSet) {
	f.StringVar(&o.URL, "record", "", "the database: a SQLite file, or postgres://USER@HOST/DATABASE")
	f.StringVar(&o.Station, "station", "", "station file that names the database")
}
