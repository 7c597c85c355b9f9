package teach

import (
	"encoding/json"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"finishbench/internal/part"
)

func TestWho(t *testing.T) {
	known := []Person{{"1", "AB", ""}, {"2", "AB", "17"}, {"3", "CD", "23"}, {"4", "", "99"}, {"5", "EF", ""}}
	for _, c := range []struct{ initials, badge, want string }{
		{"ab", "17", "2"}, {"", "17", "2"}, {" AB ", "-", "1"}, {"CD", "", "3"}, {"", "99", "4"}, {"XY", "99", "4"}, {"EF", "", "5"},
		{"GH", "", ""}, {"AB", "31", ""}, {"EF", "44", ""}, {"", "45", ""}, {"CD", "-", ""},
	} {
		p, err := Who(c.initials, c.badge, known)
		if err != nil || p.ID != c.want {
			t.Errorf("%q %q is %+v, %v; want %q", c.initials, c.badge, p, err, c.want)
		}
	}
	// Two trainees with one name: the badge must tell which.
	var which AmbiguousError
	if _, err := Who("AB", "", known); !errors.As(err, &which) || !slices.Equal(which.Badges, []string{"", "17"}) {
		t.Error(err)
	} else if s := which.Error(); !strings.Contains(s, "2 people go by the initials AB: give the badge too, one of - (none), 17") {
		t.Error(s)
	}
	var badge BadgeError
	if _, err := Who("AB", "23", known); !errors.As(err, &badge) {
		t.Error("badge 23 goes with CD, and was given to AB")
	} else if strings.Contains(badge.Error(), "CD") {
		t.Error("it is told whose badge it is")
	}
	for _, bad := range [][2]string{{"", ""}, {" ", "-"}, {strings.Repeat("A", 21), ""}, {"A\nB", ""}} {
		if p, err := Who(bad[0], bad[1], known); err == nil {
			t.Errorf("%q is %+v", bad, p)
		}
	}
}

type journal struct {
	name   string
	at     time.Time
	events []part.Entry
}

func (j *journal) add(t *testing.T, kind string, body any) {
	t.Helper()
	data, err := json.Marshal(body)
	if err != nil {
		t.Fatal(err)
	}
	j.at = j.at.Add(time.Minute)
	j.events = append(j.events, part.Entry{Name: j.name, Kind: kind, At: j.at, Body: data})
}

// A test that was cut off half-way goes on with the unit that was open, and ends
// as the same test taken at one go.
func TestTakingResumes(t *testing.T) {
	drawn, err := NewTest(Spec{Number: 8, CleanShare: 0.25, Repeats: 2, Adapt: true, Seed: 5}, poolOf(8, part.Bubble, part.Dust))
	if err != nil {
		t.Fatal(err)
	}
	qj := journal{name: "Q1", at: time.Date(2031, 1, 2, 3, 0, 0, 0, time.UTC)}
	qj.add(t, EventDrawn, DrawnBody{drawn})
	q, err := ReadQuiz(qj.events)
	if err != nil {
		t.Fatal(err)
	}
	want := keys(drawn, run(t, drawn, rightly))
	j := journal{name: "T1", at: qj.at}
	j.add(t, EventBegun, BegunBody{"Q1", "p1"})
	for {
		// Each round starts from the journal alone, as after a cut.
		now, err := ReadAttempt(q, j.events)
		if err != nil {
			t.Fatal(err)
		}
		i, ok := q.Test.Next(now.Shown)
		if !ok {
			j.add(t, EventFinished, struct{}{})
			break
		}
		if now.Open == nil {
			j.add(t, EventShown, ShownBody{len(now.Shown), q.Test.Pool[i].Key})
			if now, err = ReadAttempt(q, j.events); err != nil {
				t.Fatal(err)
			}
		}
		if now.Open.Item != i || !now.Open.Since.Equal(j.at) {
			t.Fatalf("unit %d is open since %v, want %d since %v", now.Open.Item, now.Open.Since, i, j.at)
		}
		j.add(t, EventAnswered, AnsweredBody{len(now.Shown), q.Test.Pool[i].Key, rightly(q.Test.Pool[i])})
	}
	got, err := ReadAttempt(q, j.events)
	if err != nil || got.Finished.IsZero() || got.Person != "p1" || !slices.Equal(keys(q.Test, got.Shown), want) {
		t.Errorf("%v: %v, want %v", err, keys(q.Test, got.Shown), want)
	}
	if s := scoreOf(t, q.Test, got.Shown); len(s.Mistakes) != 0 || s.Again != 2 || s.Within.Count != 2 {
		t.Errorf("%+v", s)
	}
	for name, events := range map[string][]part.Entry{
		"nothing":        nil,
		"no beginning":   j.events[1:],
		"begun twice":    append(slices.Clone(j.events[:1]), j.events[0]),
		"not shown":      append(slices.Clone(j.events[:1]), j.events[2]),
		"shown twice":    append(slices.Clone(j.events[:2]), j.events[1]),
		"answered twice": append(slices.Clone(j.events[:3]), j.events[2]),
		"after the end":  append(slices.Clone(j.events), j.events[1]),
		"unknown":        append(slices.Clone(j.events[:1]), part.Entry{Name: "T1", Kind: "paused"}),
		"broken":         append(slices.Clone(j.events[:1]), part.Entry{Name: "T1", Kind: EventShown, Body: json.RawMessage("[]")}),
		"another unit":   append(slices.Clone(j.events[:1]), part.Entry{Name: "T1", Kind: EventShown, Body: json.RawMessage(`{"showing":0,"item":"zz"}`)}),
	} {
		if _, err := ReadAttempt(q, events); err == nil {
			t.Errorf("%s: taken for whole", name)
		}
	}
	if _, err := ReadQuiz(nil); !errors.Is(err, ErrNoQuiz) {
		t.Error(err)
	}
}

func TestCertificate(t *testing.T) {
	q, shown := fromTable([][]int{{20, 1}, {0, 29}}, []part.Verdict{part.Pass, part.Rework})
	c := DefaultCriteria()
	all, met := c.Weigh(scoreOf(t, q, shown), true)
	if !met {
		t.Errorf("49 of 50 right, no miss, one false alarm of 21 (4.8 %%): %+v", all)
	}
	if _, met := c.Weigh(scoreOf(t, q, shown), false); met {
		t.Error("a test that was not taken to its end earned a certificate")
	}
	for name, table := range map[string][][]int{
		"one miss in 30 (3.3 %)": {{20, 0}, {1, 29}}, "two false alarms in 21 (9.5 %)": {{19, 2}, {0, 29}}, "nine clean ones": {{9, 0}, {0, 29}}, "bad ones only": {{0, 0}, {0, 29}},
	} {
		q, shown := fromTable(table, []part.Verdict{part.Pass, part.Rework})
		if all, met := c.Weigh(scoreOf(t, q, shown), true); met {
			t.Errorf("%s: %+v", name, all)
		}
	}
	c.SizeMM, c.Within = 0.3, 0.9
	all, met = c.Weigh(scoreOf(t, q, shown), true)
	n := len(all)
	if met || all[n-2].Name != "within" || all[n-2].Met || !math.IsNaN(all[n-2].Got) {
		t.Errorf("nothing was shown again, so that consistency was not measured: %+v", all)
	}
	// 29 of 29 spots of 0.3 mm found: 90 % at 95 % confidence by count (1 - 0.95 < 0.9^29).
	if all[n-1].Name != "size" || !all[n-1].Met || all[n-1].Got != 0.3 {
		t.Errorf("%+v", all[n-1])
	}
	at := time.Date(2031, 1, 31, 12, 0, 0, 0, time.UTC)
	cert := DefaultCriteria().Certify(at)
	if !cert.Holds(at.AddDate(0, 11, 0)) || cert.Holds(at.AddDate(1, 0, 0)) {
		t.Errorf("%+v", cert)
	}
	for _, bad := range []Criteria{{}, {Months: 12, Effective: 1.2}, {Months: 12, Miss: math.NaN()}, {Months: 12, MinClean: -1}, {Months: 500}} {
		if bad.Check() == nil {
			t.Errorf("%+v was taken", bad)
		}
	}
	if err := DefaultCriteria().Check(); err != nil {
		t.Error(err)
	}
}
