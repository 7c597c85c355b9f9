package records

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/stdlib"
)

func isPostgres(url string) bool {
	return strings.HasPrefix(url, "postgres://") || strings.HasPrefix(url, "postgresql://")
}

func openPostgres(ctx context.Context, url string, now func() time.Time) (*Store, error) {
	c, err := pgx.ParseConfig(url)
	if err != nil { // its text hides the password
		return nil, fmt.Errorf("records: the PostgreSQL address cannot be read: write postgres://USER@HOST/DATABASE (%w)", err)
	}
	if c.ConnectTimeout == 0 {
		c.ConnectTimeout = 5 * time.Second
	}
	s := &Store{where: postgresName(c), kind: postgresDB, url: url, now: now}
	s.w = openPool(c, 2)
	s.r = openPool(c, 4)
	if err := s.w.PingContext(ctx); err != nil {
		return nil, errors.Join(s.explain(err), s.Close())
	}
	return s, nil
}

func openPool(c *pgx.ConnConfig, most int) *sql.DB {
	db := stdlib.OpenDB(*c)
	db.SetMaxOpenConns(most)
	db.SetMaxIdleConns(most)
	db.SetConnMaxIdleTime(10 * time.Minute)
	return db
}

// postgresName is the address without a password.
func postgresName(c *pgx.ConnConfig) string {
	host := c.Host
	if !strings.HasPrefix(host, "/") {
		host = net.JoinHostPort(c.Host, fmt.Sprint(c.Port))
	}
	return fmt.Sprintf("postgres://%s@%s/%s", c.User, host, c.Database)
}

// unanswered says whether an error leaves open what became of a write: the
// connection broke while it was under way. What the server itself refused, and
// what never reached it, was not written.
func (s *Store) unanswered(err error) bool {
	var pgErr *pgconn.PgError
	switch {
	case err == nil || s.kind != postgresDB || isConnecting(err) || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded):
		return false
	case errors.As(err, &pgErr): // 57P01..57P03: the server stops or starts anew
		return strings.HasPrefix(pgErr.Code, "57P0")
	}
	return isBroken(err)
}

// mayAnswer says whether asking again may help: a server that starts anew takes
// no connection for a moment.
func (s *Store) mayAnswer(err error) bool { return s.unanswered(err) || isConnecting(err) }

// isConnecting says that the server was not reached at all.
func isConnecting(err error) bool {
	var c *pgconn.ConnectError
	return errors.As(err, &c)
}

// isBroken says that a connection ended in the middle of something.
func isBroken(err error) bool {
	var n net.Error
	return errors.As(err, &n) || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, driver.ErrBadConn) || pgconn.SafeToRetry(err)
}

// explainPostgres says what an error means to the person; "" for those that
// should not happen. Codes: PostgreSQL's documentation, appendix A.
func explainPostgres(err error) string {
	var e *pgconn.PgError
	if errors.As(err, &e) {
		switch {
		case e.Code == "53100":
			return "the database's disk is full, nothing of this was recorded: free some space and try again"
		case e.Code == "53300":
			return "the database has too many connections: close other programs, or raise max_connections"
		case strings.HasPrefix(e.Code, "28"):
			return "the database refuses this user or password"
		case e.Code == "3D000":
			return "there is no database of this name: make it with createdb"
		case e.Code == "42501":
			return "this user may not do that: give it the right to create tables in the database"
		case strings.HasPrefix(e.Code, "57P0"):
			return "the database is stopping or starting: try again in a minute"
		case e.Code == "25006":
			return "the database may only be read: use the main server's address"
		}
		return ""
	}
	if isConnecting(err) || isBroken(err) {
		return "the database does not answer: look at the address, the network and whether it runs"
	}
	return ""
}
