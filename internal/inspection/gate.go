package inspection

import (
	"bytes"
	"io"
	"os"
	"strconv"
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
func CheckGate(path string, now time.Time) (blocked bool, reason string) {
	blocked, reason, _ = CheckGatePhrase(path, now)
	return blocked, reason
}

// CheckGatePhrase is CheckGate with the reason also as a phrase of the bench's page;
// nil where nothing is barred.
func CheckGatePhrase(path string, now time.Time) (blocked bool, reason string, said *part.Phrase) {
	if path == "" {
		return false, "", nil
	}
	if _, err := os.Stat(path); os.IsNotExist(err) {
		return true, "the check piece was not measured yet: there is no log " + path + " (inspect check makes it)", &part.Phrase{Key: "check.none"}
	}
	s, err := ReadStability(path, nil)
	if err != nil {
		return true, "the check piece's log cannot be used: " + cli.Plain(err), &part.Phrase{Key: "check.unusable", Args: map[string]string{"why": cli.Plain(err)}}
	}
	if blocked, reason = s.Blocked(now); !blocked {
		return false, "", nil
	}
	bar, c := s.Bar(now)
	said = &part.Phrase{Key: "check." + string(bar)}
	if c != nil {
		said.Args = map[string]string{"at": c.Time.Format("2006-01-02 15:04"), "line": strconv.Itoa(c.Line)}
	}
	return true, reason, said
}
