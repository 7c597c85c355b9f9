package bench

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"finishbench/internal/grade"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// What the page shows of a verdict, the tool's or a person's, never contradicts it. Package grade's
// test of the same name holds the plan itself. With FINISHBENCH_LONG 5000 results.
func TestPlansNeverContradict(t *testing.T) {
	l := languages(t)
	still, limits := newStill(t), grade.DefaultLimits()
	n := 1000
	if os.Getenv("FINISHBENCH_LONG") != "" {
		n = 5000
	}
	for seed := range n {
		r := synth.Result(uint64(seed))
		grade.Judge(r, limits)
		calls := []*part.Overrule{nil}
		for _, v := range []part.Verdict{part.Pass, part.Rework, part.Reject} {
			if v != r.Verdict {
				calls = append(calls, &part.Overrule{By: "finisher 3", Verdict: v, Reason: "overlooked"})
			}
		}
		for _, call := range calls {
			a := &Answer{Inspection: part.Inspection{ID: 1, UnitInfo: part.UnitInfo{Serial: "k1", Stage: r.Stage}, Result: *r,
				Overruled: call}, Outcome: Outcome{Result: r}}
			for i, x := range l.All() {
				x := words{x}
				v := &answerView{Why: x.why(a), Todo: first(x.todo(a)), Plan: x.planned(a), Verdict: a.Verdict()}
				if seed%40 == 0 { // as drawn, too; it takes long
					var err error
					if v, err = still.answerView(x, a); err != nil {
						t.Fatal(err)
					}
					if (v.Plan.Sketch == "") != (len(v.Plan.Steps) == 0 || r.Verdict == part.NotMeasured) ||
						v.Ticket != (v.Verdict == part.Rework || v.Verdict == part.Reject) {
						t.Errorf("result %d, %s: a sketch of %d bytes, ticket %v", seed, v.Verdict, len(v.Plan.Sketch), v.Ticket)
					}
					measured := slices.ContainsFunc(r.Seam.Stations, func(s part.StepStation) bool { return s.State == part.Measured })
					if (v.WorstStep == x.T("answer.step_none")) == measured {
						t.Errorf("result %d: stations measured: %v, and the page says %q", seed, measured, v.WorstStep)
					}
					for _, f := range v.Findings {
						if call != nil && f.Advice != "" {
							t.Errorf("result %d: overruled, and finding %d has the tool's remedy %q", seed, f.Number, f.Advice)
						}
					}
				}
				for _, wrong := range shownWrong(x, a, v, i == 0) {
					t.Errorf("result %d, %s, %s, call %+v: %s", seed, x.Tag, r.Verdict, call, wrong)
				}
			}
		}
		if t.Failed() && seed > 200 {
			t.Fatal("and maybe more")
		}
	}
}

// shownWrong tells what contradicts in an answer as shown.
func shownWrong(x words, a *Answer, v *answerView, english bool) (wrong []string) {
	say := func(format string, args ...any) { wrong = append(wrong, fmt.Sprintf(format, args...)) }
	p, goOn := a.Outcome.Result.Plan, x.T("remedy.pass."+string(a.Outcome.Result.Stage))
	if (v.Verdict == part.Pass) != (v.Todo == goOn) {
		say("to be done is %q", v.Todo)
	}
	steps := p.Steps
	if a.Overruled != nil {
		steps = nil
		if !strings.Contains(v.Why, a.Overruled.By) {
			say("the sentence does not name who called: %q", v.Why)
		}
	}
	if len(v.Plan.Steps) != len(steps) {
		say("%d steps are shown of %d", len(v.Plan.Steps), len(steps))
	}
	for i, s := range v.Plan.Steps {
		if s.Do != x.Say(&p.Steps[i].DoPhrase) || s.Why != x.Say(&p.Steps[i].WhyPhrase) {
			say("step %d is not the plan's: %+v", i+1, s)
		}
		if i == 0 && (v.Why != s.Why || !strings.HasPrefix(v.Todo, s.Do)) {
			say("the sentence %q, %q is not the first step's: %+v", v.Why, v.Todo, s)
		}
		if strings.Contains(s.Do, goOn) {
			say("a step goes on: %q", s.Do)
		}
	}
	if !slices.Equal(v.Plan.Unseen, x.SayAll(p.UnseenPhrases)) || english && len(v.Plan.Unseen) != len(p.Unseen) {
		say("not looked at is %q, told is %q", p.Unseen, v.Plan.Unseen)
	}
	for _, s := range append([]string{v.Why, v.Todo}, v.Plan.Unseen...) {
		if s == "" || strings.ContainsAny(s, "{}@") || strings.Contains(s, "plan.") || strings.Contains(s, "why.") {
			say("%q", s)
		}
	}
	return wrong
}

// The ticket is printed of what is shown, and of nothing else; a unit that passes has none.
func TestTicket(t *testing.T) {
	_, r := answered(t, reworking())
	get := func(path string) *httptest.ResponseRecorder {
		t.Helper()
		id := r.server.sessions.begin("", time.Now())
		q := httptest.NewRequest(http.MethodGet, path, nil)
		q.Host = "localhost"
		q.AddCookie(&http.Cookie{Name: cookieSession, Value: id})
		w := httptest.NewRecorder()
		r.server.ServeHTTP(w, q)
		return w
	}
	if w := get("/answer/1/ticket.pdf"); w.Code != http.StatusOK || w.Header().Get("Content-Type") != "application/pdf" ||
		!strings.HasPrefix(w.Body.String(), "%PDF-") ||
		!strings.Contains(w.Header().Get("Content-Disposition"), "k041-R-ticket.pdf") {
		t.Errorf("%d %v", w.Code, w.Header())
	}
	if !strings.Contains(r.get(t, "/", "en"), `href="/answer/1/ticket.pdf"`) {
		t.Error("the page does not lead to the ticket")
	}
	for _, path := range []string{"/answer/2/ticket.pdf", "/answer/x/ticket.pdf"} {
		if w := get(path); w.Code != http.StatusNotFound {
			t.Errorf("%s: %d", path, w.Code)
		}
	}
	r.send(t, Overruling{part.Overrule{By: "finisher 3", Verdict: part.Pass, Reason: "wiped_off"}})
	r.until(t, "overrule", func(s *Snapshot) bool { return s.Answer != nil && s.Answer.Overruled != nil })
	if w := get("/answer/1/ticket.pdf"); w.Code != http.StatusNotFound {
		t.Errorf("a ticket of what passes: %d", w.Code)
	}
}
