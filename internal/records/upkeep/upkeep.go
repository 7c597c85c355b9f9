package upkeep

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/files"
	"finishbench/internal/records"
)

// RunBackup copies the database to a file.
func RunBackup(ctx context.Context, o cli.Database, file string, stdout io.Writer) error {
	s, err := o.Open(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	if err := s.Backup(ctx, file); err != nil {
		return err
	}
	st, err := os.Stat(file)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(stdout, "%s is backed up to %s (%s)\n", s.Where(), file, megabytes(st.Size()))
	return err
}

func megabytes(n int64) string { return fmt.Sprintf("%.1f MB", float64(n)/1e6) }

// RunRestore makes the database anew from a backup.
func RunRestore(ctx context.Context, o cli.Database, file string, replace bool, stdout io.Writer) error {
	url, err := o.Where()
	if err != nil {
		return err
	}
	kept, err := records.Restore(ctx, file, url, replace, time.Now)
	if kept != "" {
		fmt.Fprintf(stdout, "what was there is kept as %s\n", kept)
	}
	if err != nil {
		return err
	}
	s, err := records.OpenExisting(ctx, url, time.Now)
	if err != nil {
		return err
	}
	defer s.Close()
	_, err = fmt.Fprintf(stdout, "%s is restored from %s\n", s.Where(), file)
	return err
}

// RunCheck checks the database, a backup or a trail.
func RunCheck(ctx context.Context, o cli.Database, trail string, args []string, stdout io.Writer) error {
	if len(args) == 1 {
		if trail != "" || o.URL != "" {
			return cli.Usagef("check either a backup, or a database and its trail")
		}
		r, err := records.CheckFile(ctx, args[0], time.Now)
		if err != nil {
			return err
		}
		return tellCheck(stdout, r)
	}
	if trail != "" && o.URL == "" && o.Station == "" {
		return checkTrail(ctx, nil, trail, stdout)
	}
	s, err := o.Open(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	if trail != "" {
		if err := checkTrail(ctx, s, trail, stdout); err != nil {
			return err
		}
	}
	r, err := s.Check(ctx)
	if err != nil {
		return err
	}
	return tellCheck(stdout, r)
}

// checkTrail checks a trail, against a database where there is one.
func checkTrail(ctx context.Context, s *records.Store, file string, stdout io.Writer) error {
	f, err := files.Open(file)
	if err != nil {
		return cli.UsageError{Err: err}
	}
	defer f.Close()
	var r records.TrailReport
	if s == nil {
		r, err = records.CheckTrail(f)
	} else {
		r, err = s.Compare(ctx, f)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	fmt.Fprintf(stdout, "%s: %d events of %d inspections, nothing is wrong\n%s", file, r.Events, r.Inspections, headLines(r.Head))
	if s != nil {
		fmt.Fprintf(stdout, "it is the beginning of the chain of %s\n", s.Where())
	}
	return nil
}

func headLines(h records.Head) string {
	if h.Seq == 0 {
		return "chain: empty\n"
	}
	return fmt.Sprintf("chain: ends with event %d of %s\n       %s\n", h.Seq, h.At.Format(time.RFC3339), h.Hash)
}

// tellCheck tells what a check found; the error only carries the exit code.
func tellCheck(stdout io.Writer, r records.CheckReport) error {
	w := bufio.NewWriter(stdout)
	fmt.Fprintf(w, "%s: %d inspections, %d events, ", r.Where, r.Inspections, r.Events)
	if r.Entries > 0 {
		fmt.Fprintf(w, "%d of them of lots and the like, ", r.Entries)
	}
	fmt.Fprintf(w, "%d settings files, %d pictures (%s", r.Texts, r.Pictures, megabytes(r.PictureBytes))
	if n := r.Forgotten + r.Numbers; n > 0 {
		fmt.Fprintf(w, "; of %d only the numbers are kept", n)
	}
	fmt.Fprint(w, ")\n", headLines(r.Head))
	if r.OK() {
		fmt.Fprintln(w, "nothing is wrong")
		return w.Flush()
	}
	for _, p := range r.Problems {
		fmt.Fprintf(w, "WRONG: %s\n", p)
	}
	if r.More > 0 {
		fmt.Fprintf(w, "WRONG: and %d more\n", r.More)
	}
	fmt.Fprintln(w, "Keep this file as it is for whoever looks into it, and restore a backup.")
	return errors.Join(cli.ExitCode(cli.ExitOther), w.Flush())
}

// RunExport writes all inspections in a format.
func RunExport(ctx context.Context, o cli.Database, format, out string, stdout io.Writer) (err error) {
	if !records.KnownFormat(format) {
		return cli.Usagef("--format %q: use %s", format, strings.Join(records.Formats(), ", "))
	}
	s, err := o.Open(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	if out == "" {
		return s.Export(ctx, stdout, format)
	}
	f, err := os.OpenFile(out, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if errors.Is(err, fs.ErrExist) {
		return cli.Usagef("--out %s is there already: choose another name", out)
	}
	if err != nil {
		return err
	}
	if err := errors.Join(s.Export(ctx, f, format), f.Sync(), f.Close()); err != nil {
		_ = os.Remove(out) // half an export looks like a whole one
		return err
	}
	return nil
}

// maxForgetDays is a century: beyond it is a slip.
const maxForgetDays = 36500

// RunForget lets go of old pictures.
func RunForget(ctx context.Context, o cli.Database, days int, now time.Time, stdout io.Writer) error {
	if days < 1 || days > maxForgetDays {
		return cli.Usagef("--older-than: give the number of days that pictures are kept, 1 to %d", maxForgetDays)
	}
	s, err := o.Open(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	before := now.AddDate(0, 0, -days)
	n, err := s.Forget(ctx, before)
	if n > 0 || err == nil {
		fmt.Fprintf(stdout, "%s: %d pictures of before %s are forgotten, their numbers stay\n", s.Where(), n, before.Format(time.DateOnly))
	}
	return err
}
