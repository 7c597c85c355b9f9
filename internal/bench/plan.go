package bench

import (
	"bytes"
	"errors"
	"html/template"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/report"
	"finishbench/internal/report/ticket"
)

// planView is the plan in words.
type planView struct {
	Steps  []planStep
	Care   string
	Sketch template.HTML
	Unseen []string // what was not looked at or not measured
}

type planStep struct {
	Do, Why string
	Mends   string // findings' numbers
}

// planned says what is to be done about a unit; nil where no plan was made.
func (x words) planned(a *Answer) *planView {
	p := a.plan()
	if p == nil {
		return nil
	}
	v := &planView{Unseen: x.SayAll(p.UnseenPhrases), Care: report.CareSentence(x.Lang, p.Care())}
	for _, s := range p.Steps {
		step := planStep{Do: x.Say(&s.DoPhrase), Why: x.Say(&s.WhyPhrase)}
		var of []string
		for _, n := range s.Findings {
			of = append(of, strconv.Itoa(n))
		}
		if len(of) > 0 {
			step.Mends = x.T("plan.mends", "numbers", strings.Join(of, x.T("join.numbers")))
		}
		v.Steps = append(v.Steps, step)
	}
	return v
}

// ticket prints the latest answer's plan.
func (s *Server) ticket(w http.ResponseWriter, r *http.Request, _ session) {
	a := s.b.Snapshot().Last
	id, err := strconv.ParseInt(r.PathValue("id"), 10, 64)
	if err != nil || a == nil || a.ID != id {
		s.wrong(w, r, http.StatusNotFound, "wrong.not_found")
		return
	}
	var b bytes.Buffer
	t := ticket.Ticket{Inspection: a.Inspection, Zone: time.Local, Program: cli.Version}
	t.Result = *a.Outcome.Result
	switch err := ticket.Write(&b, t, s.lang(r)); {
	case errors.Is(err, ticket.ErrNothing):
		s.wrong(w, r, http.StatusNotFound, "wrong.no_ticket")
		return
	case err != nil:
		s.fault(w, r, err)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "application/pdf")
	h.Set("Content-Length", strconv.Itoa(b.Len()))
	h.Set("Content-Disposition", "attachment; filename*=UTF-8''"+url.PathEscape(a.Name()+"-ticket.pdf"))
	_, _ = w.Write(b.Bytes())
}
