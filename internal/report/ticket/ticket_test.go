package ticket

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"finishbench/internal/grade"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

func judged(seed int) Ticket {
	r := synth.Result(uint64(seed))
	grade.Judge(r, grade.DefaultLimits())
	serial, side := part.SerialAndSide(r.Unit, "")
	return Ticket{Program: "finishbench 0.0 (test)", Inspection: part.Inspection{ID: int64(seed + 1),
		Ended: time.Date(2031, 2, 3, 4, 5, 0, 0, time.UTC), Result: *r,
		UnitInfo: part.UnitInfo{Serial: serial, Side: side, Stage: r.Stage, Lot: "L-4711"}}}
}

// Each ticket is one page of A4 with all steps on it, in every language, and the same bytes each
// time; a unit that passes has none. FINISHBENCH_TICKETS names a folder to look at some in.
func TestTickets(t *testing.T) {
	all, _, err := lang.Load("")
	if err != nil {
		t.Fatal(err)
	}
	dir, some := os.Getenv("FINISHBENCH_TICKETS"), 0
	for seed := range 30 {
		x := judged(seed)
		for _, l := range all.All() {
			var b bytes.Buffer
			err := Write(&b, x, l)
			if x.Verdict() == part.Pass {
				if !errors.Is(err, ErrNothing) || b.Len() > 0 {
					t.Errorf("result %d passes: %v, %d bytes", seed, err, b.Len())
				}
				continue
			}
			if err != nil {
				t.Fatalf("result %d: %v", seed, err)
			}
			if n := len(regexp.MustCompile(`/Type /Page\b[^s]`).FindAll(b.Bytes(), -1)); n != 1 {
				t.Errorf("result %d, %s: %d pages", seed, l.Tag, n)
			}
			if seed < 5 {
				var again bytes.Buffer
				if err := Write(&again, x, l); err != nil || !bytes.Equal(again.Bytes(), b.Bytes()) {
					t.Errorf("result %d, %s: another file of the same ticket, %v", seed, l.Tag, err)
				}
			}
			if dir != "" && some < 24 {
				some++
				if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("ticket-%03d-%s.pdf", seed, l.Tag)), b.Bytes(), 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
}

// What is on the page: the serial, each step's words, what was not looked at, and nothing cut off below. Of
// a call that a person made otherwise, the call, and none of the tool's steps.
func TestTicketSays(t *testing.T) {
	if _, err := exec.LookPath("pdftotext"); err != nil {
		t.Skip("no poppler here: tickets were not read")
	}
	read := func(x Ticket) string {
		t.Helper()
		file := filepath.Join(t.TempDir(), "t.pdf")
		var b bytes.Buffer
		if err := Write(&b, x, lang.English()); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command("pdftotext", "-raw", file, "-").Output()
		if err != nil {
			t.Fatal(err)
		}
		return strings.Join(strings.Fields(string(out)), " ")
	}
	for seed := range 10 {
		x := judged(seed)
		if x.Verdict() == part.Pass {
			continue
		}
		text := read(x)
		want := []string{x.Name(), "L-4711", "finishbench 0.0 (test)", "2031-02-03 04:05"}
		for _, s := range x.Result.Plan.Steps {
			want = append(want, s.Do, s.Why)
		}
		for _, w := range append(want, x.Result.Plan.Unseen...) {
			if !strings.Contains(strings.ReplaceAll(text, " ", ""), strings.ReplaceAll(w, " ", "")) {
				t.Errorf("result %d, %s: the ticket lacks %q:\n%s", seed, x.Verdict(), w, text)
			}
		}
		x.Overruled = &part.Overrule{By: "finisher 3", Verdict: part.Reject, Reason: "overlooked", Note: "a hair under the coat"}
		if x.Result.Verdict == part.Reject {
			x.Overruled.Verdict = part.Rework
		}
		text = read(x)
		if !strings.Contains(text, "Overruled by finisher 3") || !strings.Contains(text, "a hair under the coat") {
			t.Errorf("result %d: the person's call is not there: %s", seed, text)
		}
		for _, s := range x.Result.Plan.Steps {
			if strings.Contains(text, s.Do) {
				t.Errorf("result %d: overruled, and the tool's step stays: %s", seed, text)
			}
		}
		for _, u := range x.Result.Plan.Unseen {
			if !strings.Contains(strings.ReplaceAll(text, " ", ""), strings.ReplaceAll(u, " ", "")) {
				t.Errorf("result %d: overruled, and what was not looked at is not told: %s", seed, text)
			}
		}
	}
}

// A serial as long as may be, and one that no reader takes, make a page all the same.
func TestOddSerials(t *testing.T) {
	for _, serial := range []string{strings.Repeat("X", 40), "龘 / 7", strings.Repeat("long words ", 20), ""} {
		x := judged(0)
		x.Serial = serial
		var b bytes.Buffer
		if err := Write(&b, x, lang.English()); err != nil || b.Len() < 1000 {
			t.Errorf("%q: %v, %d bytes", serial, err, b.Len())
		}
	}
}
