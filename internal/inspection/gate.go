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

// Bar is why the gauge may pass no unit: in English, and to be told in any language.
type Bar struct {
	Why  string
	Said part.Phrase
}

// CheckGate is what the check piece's log says against passing units at a time; nil: nothing. No
// log (path "") bars nothing; one that cannot be read does.
func CheckGate(path string, now time.Time) *Bar {
	if path == "" {
		return nil
	}
	if _, err := os.Stat(path); os.IsNotExist(err) {
		return &Bar{"the check piece was not measured yet: there is no log " + path + " (inspect check makes it)", part.Say("check.none")}
	}
	s, err := ReadStability(path, nil)
	if err != nil {
		return &Bar{"the check piece's log cannot be used: " + cli.Plain(err), part.Say("check.unusable", "why", cli.Plain(err))}
	}
	blocked, why := s.Blocked(now)
	if !blocked {
		return nil
	}
	bar, c := s.Bar(now)
	said := part.Say("check." + string(bar))
	if c != nil {
		said = part.Say(said.Key, "at", c.Time.Format("2006-01-02 15:04"), "line", strconv.Itoa(c.Line))
	}
	return &Bar{why, said}
}
