package bench

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"sync"

	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/teach"
)

// quizRoutes adds the pages of blind tests.
func (s *Server) quizRoutes() {
	if s.b.Quizzes == nil {
		return
	}
	s.on("GET /quiz.css", s.asset("quiz.css", "text/css; charset=utf-8"))
	s.on("GET /quiz.js", s.asset("quiz.js", "text/javascript; charset=utf-8"))
	s.on("GET /quiz", s.quizHome)
	s.on("POST /quiz/begin", s.quizBegin)
	s.on("POST /quiz/progress", s.quizProgress)
	s.on("GET /quiz/take/{attempt}", s.quizTake)
	s.on("POST /quiz/take/{attempt}", s.quizAnswer)
	s.on("GET /quiz/take/{attempt}/{showing}/{picture}", s.quizPicture)
	s.on("GET /quiz/result/{attempt}", s.quizSheet(Quizzes.Result))
	s.on("GET /quiz/certificate/{attempt}", s.quizSheet(Quizzes.Certificate))
}

// quizListView is the page on which a test is chosen.
type quizListView struct {
	Viewer                                viewer
	Token, Problem, Quiz, Initials, Badge string
	Ask                                   bool // the badge is what is missing
	Tests                                 []quizTestView
	How                                   []string
}

type quizTestView struct{ Name, Text string }

func (s *Server) quizHome(w http.ResponseWriter, r *http.Request, x session) {
	s.quizList(w, r, http.StatusOK, x, nil)
}

// quizList shows the tests, with what went wrong.
func (s *Server) quizList(w http.ResponseWriter, r *http.Request, status int, x session, wrong *part.Phrase) {
	l := s.lang(r)
	tests, err := s.b.Quizzes.Tests(r.Context())
	if err != nil {
		s.fault(w, r, err)
		return
	}
	v := quizListView{Viewer: x.viewer, Token: x.csrf, Problem: l.Say(wrong), Quiz: r.PostForm.Get("quiz"),
		Initials: cleanText(r.PostForm.Get("initials"), 20), Badge: cleanText(r.PostForm.Get("badge"), 20),
		Ask: wrong != nil && r.PostForm.Get("initials") != ""}
	for _, t := range tests {
		text := l.T("quiz.test", "name", t.Name, "title", t.Title, "made", t.Made, "n", strconv.Itoa(t.Units))
		if t.LimitS > 0 {
			text += ", " + l.T("quiz.limit", "s", l.Number(t.LimitS, 0))
		}
		v.Tests = append(v.Tests, quizTestView{t.Name, text})
	}
	if v.Quiz == "" && len(tests) > 0 {
		v.Quiz = tests[0].Name
	}
	for i := 1; l.Has("quiz.how." + strconv.Itoa(i)); i++ {
		v.How = append(v.How, l.T("quiz.how."+strconv.Itoa(i)))
	}
	s.quizPage(w, r, status, x, l.T("quiz.title"), "quiz", v)
}

func (s *Server) quizPage(w http.ResponseWriter, r *http.Request, status int, x session, title, name string, v any) {
	body, err := page{Lang: s.lang(r), View: v}.render(name)
	if err != nil {
		s.fault(w, r, err)
		return
	}
	s.whole(w, r, status, x, title, body, withAll)
}

// quizWrong tells a problem as it is meant for the person; anything else is a
// fault.
func (s *Server) quizWrong(w http.ResponseWriter, r *http.Request, err error) {
	var p *part.Trouble
	if errors.As(err, &p) {
		status := http.StatusConflict
		if p.Key == "quiz.no_taking" || p.Key == "wrong.not_found" {
			status = http.StatusNotFound
		} else if p.Key == "quiz.answer_bad" {
			status = http.StatusBadRequest
		}
		s.wrongText(w, r, status, s.lang(r).Say(&p.Phrase))
		return
	}
	s.fault(w, r, err)
}

// quizWho is who takes a test: whoever is signed in, by badge, else by name. others says that a
// trainer may name somebody else.
func (s *Server) quizWho(r *http.Request, x session, others bool) (initials, badge string) {
	f := r.PostForm
	initials, badge = f.Get("initials"), f.Get("badge")
	if x.Name == "" || others && x.MayTrain() && initials+badge != "" {
		return initials, badge
	}
	list, _ := s.People.List()
	if i := list.Named(x.Name); i >= 0 && list[i].Badge != "" {
		return "", list[i].Badge
	}
	return x.Name, ""
}

// takers are who began or went on with which test since the program began. Nobody answers for another.
type takers struct {
	mu sync.Mutex
	of map[string]string
}

func (t *takers) are(attempt, name string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.of == nil {
		t.of = map[string]string{}
	}
	t.of[attempt] = name
}

// own says whether a test is taken by a person; without people it is whoever's.
func (t *takers) own(attempt, name string) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	return name == "" || t.of[attempt] == name
}

func (s *Server) quizBegin(w http.ResponseWriter, r *http.Request, x session) {
	f := r.PostForm
	initials, badge := s.quizWho(r, x, false)
	attempt, err := s.b.Quizzes.Begin(r.Context(), f.Get("quiz"), initials, badge)
	var p *part.Trouble
	switch {
	case errors.As(err, &p):
		s.quizList(w, r, http.StatusConflict, x, &p.Phrase)
	case err != nil:
		s.fault(w, r, err)
	default:
		s.takers.are(attempt, x.Name)
		http.Redirect(w, r, "/quiz/take/"+url.PathEscape(attempt), http.StatusSeeOther)
	}
}

func (s *Server) quizProgress(w http.ResponseWriter, r *http.Request, x session) {
	initials, badge := s.quizWho(r, x, true)
	data, err := s.b.Quizzes.Progress(r.Context(), s.lang(r), initials, badge)
	var p *part.Trouble
	if errors.As(err, &p) {
		s.quizList(w, r, http.StatusConflict, x, &p.Phrase)
		return
	}
	s.sheetPage(w, r, x, data, err)
}

// quizSheet serves a page that stands by itself.
func (s *Server) quizSheet(make func(Quizzes, context.Context, *lang.Lang, string) ([]byte, error)) func(http.ResponseWriter, *http.Request,
	session) {
	return func(w http.ResponseWriter, r *http.Request, x session) {
		if !s.takers.own(r.PathValue("attempt"), x.Name) && !x.MayTrain() {
			s.wrong(w, r, http.StatusForbidden, "quiz.not_yours")
			return
		}
		data, err := make(s.b.Quizzes, r.Context(), s.lang(r), r.PathValue("attempt"))
		s.sheetPage(w, r, x, data, err)
	}
}

func (s *Server) sheetPage(w http.ResponseWriter, r *http.Request, x session, data []byte, err error) {
	if err != nil {
		s.quizWrong(w, r, err)
		return
	}
	s.sheet(w, r, x, data, "")
}

// quizTakeView is a unit to be judged.
type quizTakeView struct {
	Attempt  string
	Now      teach.QuizNow
	Title    string
	MM       string
	Left     string // seconds; "": no limit
	Pictures []quizPictureView
	Kinds    []quizKindView
	Verdicts []quizVerdictView
}

type quizPictureView struct {
	Src, Alt string
	Light    part.Light
	First    bool
}

type quizKindView struct {
	Kind      part.Kind
	Name, Key string
	First     bool
}

type quizVerdictView struct {
	Verdict            part.Verdict
	Name, Key, KeyName string
}

// quizKindKeys choose kinds: figures, then letters that nothing else has.
const quizKindKeys = "123456789qwe"

// quizVerdictKeys choose verdicts, in the order of teach.Verdicts.
var quizVerdictKeys = []string{"p", "r", "j"}

func (s *Server) quizTake(w http.ResponseWriter, r *http.Request, x session) {
	l := s.lang(r)
	attempt := r.PathValue("attempt")
	if !s.takers.own(attempt, x.Name) {
		http.Redirect(w, r, "/quiz", http.StatusSeeOther)
		return
	}
	n, err := s.b.Quizzes.Now(r.Context(), attempt)
	if err != nil {
		s.quizWrong(w, r, err)
		return
	}
	if n.Done {
		s.quizPage(w, r, http.StatusOK, x, l.T("quiz.over"), "quiz-done", struct {
			Attempt, Title string
			Certified      bool
		}{attempt, n.Title, n.Certified})
		return
	}
	v := quizTakeView{Attempt: attempt, Now: n, Title: n.Title, MM: strconv.FormatFloat(n.MMPerPX, 'g', -1, 64)}
	if n.LimitS > 0 {
		v.Left = strconv.FormatFloat(n.LeftS, 'f', 2, 64)
	}
	for i, light := range n.Lights {
		alt := l.T("quiz.picture")
		if light != part.NoLight {
			alt = l.T("light." + string(light))
		}
		v.Pictures = append(v.Pictures, quizPictureView{"/quiz/take/" + url.PathEscape(attempt) + "/" + strconv.Itoa(n.Trial) + "/" +
			strconv.Itoa(i), alt, light, i == 0})
	}
	for i, k := range n.Kinds {
		if i < len(quizKindKeys) {
			v.Kinds = append(v.Kinds, quizKindView{k, l.T("kind." + string(k)), quizKindKeys[i : i+1], i == 0})
		}
	}
	for i, verdict := range teach.Verdicts {
		v.Verdicts = append(v.Verdicts, quizVerdictView{verdict, l.T("verdict_short." + string(verdict)), quizVerdictKeys[i],
			strings.ToUpper(quizVerdictKeys[i])})
	}
	s.quizPage(w, r, http.StatusOK, x, l.T("quiz.title"), "quiz-take", v)
}

func (s *Server) quizAnswer(w http.ResponseWriter, r *http.Request, x session) {
	f := r.PostForm
	if !s.takers.own(r.PathValue("attempt"), x.Name) {
		s.wrong(w, r, http.StatusForbidden, "quiz.not_yours")
		return
	}
	trial, err := strconv.Atoi(f.Get("showing"))
	took, err2 := strconv.ParseFloat(f.Get("took"), 64)
	a := teach.Answer{Verdict: part.Verdict(f.Get("verdict")), TookS: took, TimeOver: f.Get("late") != ""}
	if err != nil || err2 != nil || json.Unmarshal([]byte(f.Get("marks")), &a.Marks) != nil {
		s.wrong(w, r, http.StatusBadRequest, "wrong.form")
		return
	}
	if err := s.b.Quizzes.Answer(r.Context(), r.PathValue("attempt"), trial, a); err != nil {
		s.quizWrong(w, r, err)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

func (s *Server) quizPicture(w http.ResponseWriter, r *http.Request, _ session) {
	trial, err := strconv.Atoi(r.PathValue("showing"))
	n, err2 := strconv.Atoi(r.PathValue("picture"))
	if err != nil || err2 != nil {
		s.wrong(w, r, http.StatusNotFound, "wrong.not_found")
		return
	}
	data, mime, err := s.b.Quizzes.Picture(r.Context(), r.PathValue("attempt"), trial, n)
	if err != nil {
		s.quizWrong(w, r, err)
		return
	}
	w.Header().Set("Cache-Control", "private, max-age=3600")
	picture(w, data, mime)
}
