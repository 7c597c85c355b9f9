package cli

import "time"

// TimeSpan reads --from and --to: to is now where it is missing, from so much before
// it.
func TimeSpan(from, to string, now time.Time, span time.Duration) (a, b time.Time, err error) {
	b = now
	if to != "" {
		if b, err = ClockTime("--to", to); err != nil {
			return a, b, err
		}
	}
	if a = b.Add(-span); from != "" {
		if a, err = ClockTime("--from", from); err != nil {
			return a, b, err
		}
	}
	if !a.Before(b) {
		return a, b, Usagef("--from %s is not before --to %s", a.Format("2006-01-02 15:04"), b.Format("2006-01-02 15:04"))
	}
	return a, b, nil
}

// ClockTime reads a time of a flag, in this machine's zone.
func ClockTime(flag, s string) (time.Time, error) {
	for _, form := range []string{"2006-01-02 15:04", "2006-01-02T15:04", "2006-01-02"} {
		if t, err := time.ParseInLocation(form, s, time.Local); err == nil {
			return t, nil
		}
	}
	return time.Time{}, Usagef(`%s %q is no time: write it as "2026-03-02 06:00"`, flag, s)
}
