package records

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
)

// dump writes PostgreSQL's custom dump, with its own program.
func (s *Store) dump(ctx context.Context, file string) error {
	return postgresTool(ctx, "pg_dump", s.url, "--format=custom", "--no-owner", "--no-privileges", "--file="+file)
}

// restorePostgres makes the database at url anew from a dump.
func restorePostgres(ctx context.Context, file, url string, replace bool, now func() time.Time) (kept string, err error) {
	out, err := postgresOutput(ctx, "pg_restore", "", "--list", file)
	if err != nil || !strings.Contains(out, "events") || !strings.Contains(out, "inspections") {
		return "", errors.Join(fmt.Errorf("records: %s is no dump of records: give one that 'inspect records backup' made from PostgreSQL", file), err)
	}
	s, err := openPostgres(ctx, url, now)
	if err != nil {
		return "", err
	}
	defer s.Close()
	var tables int
	if err := s.r.QueryRowContext(ctx, "SELECT count(*) FROM pg_tables WHERE schemaname = current_schema()").Scan(&tables); err != nil {
		return "", s.explain(err)
	}
	args := []string{"--no-owner", "--no-privileges", "--single-transaction", "--exit-on-error"}
	if tables > 0 {
		if !replace {
			return "", fmt.Errorf("records: %s has tables already: to put the backup in their place, say so (what is there is then kept in a file)", s.where)
		}
		kept = file + ".before-" + now().UTC().Format("20060102-150405")
		if err := s.Backup(ctx, kept); err != nil {
			return "", err
		}
		args = append(args, "--clean", "--if-exists")
	}
	if err := postgresTool(ctx, "pg_restore", url, append(args, file)...); err != nil {
		return kept, fmt.Errorf("records: restore %s: %w", s.where, err)
	}
	r, err := s.Check(ctx)
	if err == nil && !r.OK() {
		err = fmt.Errorf("records: the backup is restored, but %d things are wrong with it, first: %s", len(r.Problems)+r.More, r.Problems[0])
	}
	return kept, err
}

func postgresTool(ctx context.Context, name, url string, args ...string) error {
	_, err := postgresOutput(ctx, name, url, args...)
	return err
}

// postgresOutput runs one of PostgreSQL's programs on a database, or, without a
// url, on files only. The password goes through its environment, where other
// users do not see it.
func postgresOutput(ctx context.Context, name, address string, args ...string) (string, error) {
	path, err := findTool(name)
	if err != nil {
		return "", err
	}
	env := os.Environ()
	if address != "" {
		c, err := pgx.ParseConfig(address)
		if err != nil {
			return "", err
		}
		bare, err := withoutPassword(address)
		if err != nil {
			return "", err
		}
		args = append([]string{"--dbname=" + bare, "--no-password"}, args...)
		if c.Password != "" {
			env = append(env, "PGPASSWORD="+c.Password)
		}
	}
	cmd := exec.CommandContext(ctx, path, args...)
	var out, stderr bytes.Buffer
	cmd.Env, cmd.Stdout, cmd.Stderr = env, &out, &stderr
	if err := cmd.Run(); err != nil {
		return "", fmt.Errorf("%s: %w: %s", name, err, strings.Join(strings.Fields(stderr.String()), " "))
	}
	return out.String(), nil
}

func withoutPassword(address string) (string, error) {
	u, err := url.Parse(address)
	if err != nil {
		return "", errors.New("the PostgreSQL address cannot be read")
	}
	if u.User != nil {
		u.User = url.User(u.User.Username())
	}
	q := u.Query()
	q.Del("password")
	u.RawQuery = q.Encode()
	return u.String(), nil
}

// findTool looks in the path, then where Debian keeps each version's programs.
func findTool(name string) (string, error) {
	if found, _ := filepath.Glob("/usr/lib/postgresql/*/bin/" + name); len(found) > 0 {
		return found[len(found)-1], nil // the newest reads all older servers
	}
	path, err := exec.LookPath(name)
	if err != nil {
		return "", fmt.Errorf("%s is not installed on this machine: install postgresql-client of the server's version, or make the backup on the server", name)
	}
	return path, nil
}
