package cli

import (
	"context"
	"time"

	"finishbench/internal/config"
	"finishbench/internal/records"
)

// Database are what all of the commands share.
type Database struct {
	URL     string
	Station string
}

// Where is the database's address.
func (o *Database) Where() (string, error) {
	if o.URL != "" {
		return o.URL, nil
	}
	if o.Station != "" {
		st, err := config.LoadStation(o.Station)
		if err != nil {
			return "", UsageError{err}
		}
		if st.Records != "" {
			return st.Records, nil
		}
	}
	return "", Usagef("say which database: --record, or a --station file whose key records names it")
}

// Open opens the database, which must be there.
func (o *Database) Open(ctx context.Context) (*records.Store, error) {
	url, err := o.Where()
	if err != nil {
		return nil, err
	}
	return records.OpenExisting(ctx, url, time.Now)
}
