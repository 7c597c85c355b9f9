package inspection

import (
	"bytes"
	"io"
	"os"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/part"
	"finishbench/internal/stats/study"
)

// ReadStability reads a log with its settings and judges it. change may be nil.
func ReadStability(path string, change func(*study.StabilityOptions) error) (*study.Stability, error) {
	f, err := cli.OpenTable(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(f)
	if err != nil {
		return nil, cli.Usagef("%s cannot be read: %w", path, cli.PlainPath(err))
	}
	return ParseStability(path, data, change)
}

// ParseStability is ReadStability for a log that was read already; path is for errors.
func ParseStability(path string, data []byte, change func(*study.StabilityOptions) error) (*study.Stability, error) {
	opt, err := study.ReadCheckSettings(string(data), study.DefaultStabilityOptions())
	if err != nil {
		return nil, cli.Usagef("%s: %w", path, err)
	}
	if change != nil {
		if err := change(&opt); err != nil {
			return nil, cli.UsageError{Err: err}
		}
	}
	log, err := study.ReadCheckLog(bytes.NewReader(data), time.Local)
	if err != nil {
		return nil, cli.Usagef("%s: %w", path, err)
	}
	s, err := study.NewStability(log, opt)
	if err != nil {
		return nil, cli.Usagef("%s: %w", path, err)
	}
	return &s, nil
}

// CheckGate says whether the check piece's log bars the gauge from passing units
// at a time, and why in one sentence. No log (path "") bars nothing; one that
// cannot be read does.
func CheckGate(path string, now time.Time) (why part.Phrase, barred bool) {
	if path == "" {
		return part.Phrase{}, false
	}
	if _, err := os.Stat(path); os.IsNotExist(err) {
		return part.Say("check.no_log", "file", path), true
	}
	s, err := ReadStability(path, nil)
	if err != nil {
		return part.Say("check.unusable").With("why", cli.Why(err)), true
	}
	return s.Blocked(now)
}
