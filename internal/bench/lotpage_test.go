package bench

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"finishbench/internal/lang"
	"finishbench/internal/lots"
	"finishbench/internal/part"
)

// fakeLots are invented lots, for as long as a test runs.
type fakeLots struct {
	mu    sync.Mutex
	all   map[string]*LotState
	steps []LotStep
	svg   []byte // a plot; nil: a small one
	asked int
}

func newFakeLots() *fakeLots {
	at := time.Date(2026, 3, 2, 7, 30, 0, 0, time.UTC)
	f := &fakeLots{all: map[string]*LotState{}}
	add := func(name string, state lots.State, taken int, counts [3]int, steps ...string) {
		st := &LotState{LotLine: LotLine{Name: name, Product: "invented shell", Size: 500, State: state,
			Opened: at.Add(time.Duration(len(f.all)) * time.Hour), Taken: taken, N: 50}, Seq: int64(taken + 2), OpenedBy: "inspector 2",
			Stage: part.Cured, Steps: steps}
		for i, sev := range []part.Severity{part.Critical, part.Major, part.Minor} {
			p := lots.Standing{Severity: sev, Looked: taken, Count: counts[i], Call: lots.Waits, Plan: lots.Single{N: 50,
				Ac: []int{0, 1, 3}[i], Re: []int{1, 2, 4}[i], AQL: []float64{0, 1, 2.5}[i], Mode: lots.Normal}}
			if p.Count >= p.Plan.Re {
				p.Call = lots.Refuses
			} else if taken == 50 {
				p.Call = lots.Accepts
			}
			st.Plans = append(st.Plans, p)
		}
		for i := taken; i < min(taken+8, 50); i++ {
			st.Next = append(st.Next, fmt.Sprintf("k%03d", 7*i+1))
		}
		st.Left = 50 - taken
		if counts[2] > 0 {
			st.Counting = []string{"k008", "k036"}
		}
		f.all[name] = st
	}
	add("L-4711", lots.StateToDecide, 50, [3]int{0, 1, 2}, "accept", "refuse")
	add("L-4712", lots.StateWaiting, 20, [3]int{0, 0, 1})
	add("L-4713", lots.StateToDecide, 31, [3]int{0, 2, 1}, "refuse")
	add("批次 7/3", lots.StateWaiting, 0, [3]int{})
	d := f.all["L-4713"]
	add("L-4710", lots.StateRefused, 50, [3]int{0, 3, 1}, "screen", "return")
	f.all["L-4710"].Decided = &lots.Signed{By: "inspector 2", At: at.Add(8 * time.Hour)}
	f.all["L-4710"].Note = "nozzle cleaned"
	d.Next = nil
	d.Failing, d.Disposes = []lots.Unit{{Name: "k008", Verdict: part.Reject}, {Name: "k036", Verdict: part.Rework}}, true
	d.Settled = map[string]lots.Settled{"k036": {Disposition: lots.Disposition{Unit: "k036", Route: lots.Scrapped},
		Signed: lots.Signed{By: "inspector 1"}}}
	return f
}

func (f *fakeLots) set(change func()) { f.mu.Lock(); defer f.mu.Unlock(); change() }

func (f *fakeLots) List(context.Context) ([]LotLine, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	var out []LotLine
	for _, s := range f.all {
		out = append(out, s.LotLine)
	}
	slices.SortFunc(out, func(a, b LotLine) int { return strings.Compare(a.Name, b.Name) })
	return out, nil
}

func (f *fakeLots) Lot(_ context.Context, name string) (LotState, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.asked++
	s := f.all[name]
	if s == nil {
		return LotState{}, ErrNoLot
	}
	out := *s
	out.Plans = slices.Clone(s.Plans)
	return out, nil
}

func (f *fakeLots) More(_ context.Context, l *lang.Lang, name string) (LotMore, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.all[name] == nil {
		return LotMore{}, ErrNoLot
	}
	svg := `<svg class="plot" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 680 100" style="min-width:36rem" font-family="x"><path d="M10,10L600,80" style="fill:none;stroke:#0072B2;stroke-width:2" /><text x="20" y="40" style="font-size:15px;fill:#1D1B18">` + fmt.Sprint(f.all[name].Taken) + `</text></svg>`
	if f.svg != nil {
		svg = string(f.svg)
	}
	return LotMore{Lets: []string{l.T("lot.lets.zero", "severity", "@severity.critical")}, Notes: []string{l.T("lot.gauge.no_study")},
		Figures: []LotFigure{{l.T("lot.chart.kind.p"), l.T("lot.chart.quiet"), []byte(svg)}}}, nil
}

func (f *fakeLots) Decide(_ context.Context, name string, d LotStep) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	s := f.all[name]
	switch {
	case s == nil:
		return ErrNoLot
	case s.Seq != d.Seq:
		return ErrLotMoved
	case d.What == "dispose":
		s.Settled = maps.Clone(s.Settled)
		s.Settled[d.Unit] = lots.Settled{Disposition: lots.Disposition{Unit: d.Unit, Route: d.Route}, Signed: lots.Signed{By: d.By}}
		s.Seq++
		f.steps = append(f.steps, d)
		return nil
	case !slices.Contains(s.Steps, d.What):
		return &part.Trouble{Phrase: part.Text("the counts refuse it")}
	case d.Note == "break":
		return errors.New("the disk is full")
	}
	f.steps = append(f.steps, d)
	s.Seq++
	s.State = map[string]lots.State{"accept": lots.StateAccepted, "refuse": lots.StateRefused,
		"screen": lots.StateScreened, "return": lots.StateReturned}[d.What]
	s.Decided, s.Note, s.Steps = &lots.Signed{By: d.By, At: time.Now()}, d.Note, nil
	if s.State == lots.StateRefused {
		s.Steps = []string{"screen", "return"}
	}
	return nil
}

func (f *fakeLots) Report(_ context.Context, _ *lang.Lang, name, format string) ([]byte, string, error) {
	if f.all[name] == nil {
		return nil, "", ErrNoLot
	}
	return []byte("report of " + name), map[string]string{"pdf": "application/pdf",
		"xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", "json": "application/json"}[format], nil
}

// lotRig is a bench with lots.
func lotRig(t testing.TB, o Options) (*rigged, *fakeLots) {
	r := rig(t, o)
	f := newFakeLots()
	r.Station.Lots = f
	return r, f
}

func TestLotPages(t *testing.T) {
	r, _ := lotRig(t, Options{})
	p := r.person(t)
	code, body, h := p.get("/lot")
	if code != 200 || !strings.Contains(body, `href="/lot/L-4711"`) || !strings.Contains(body, "/lot/%E6%89%B9%E6%AC%A1%207%2F3") {
		t.Fatalf("%d %s", code, body)
	}
	if strings.Contains(h.Get("Content-Security-Policy"), "unsafe") {
		t.Error("the policy allows more than it did")
	}
	for path, want := range map[string]int{"/lot/L-4711": 200, "/lot/%E6%89%B9%E6%AC%A1%207%2F3": 200, "/lot/none": 404,
		"/lot/L-4711/more": 200, "/lot/none/more": 404, "/lot/none/events": 404,
		"/lot/L-4711/report.pdf": 200, "/lot/none/report.pdf": 404, "/lot/L-4711/report.exe": 404, "/lot/L-4711/decide": 405,
		"/lot.js": 200, "/lot.css": 200} {
		if code, _, _ := p.get(path); code != want && !(want == 405 && code == 404) {
			t.Errorf("GET %s: %d, %d wanted", path, code, want)
		}
	}
	if _, body, _ = p.get("/lot/L-4713"); !strings.Contains(body, "Class major: 2 counted, and 2 refuse the lot") {
		t.Errorf("the sentence is missing: %s", body)
	}
	_, body, _ = p.get("/lot/L-4711/more")
	if strings.Contains(body, "style=") || !strings.Contains(body, `class="s3"`) || !strings.Contains(body, `class="f0"`) {
		t.Errorf("the plot's styles: %s", body)
	}
	_, _, h = p.get("/lot/L-4711/report.pdf")
	if h.Get("Content-Type") != "application/pdf" || !strings.Contains(h.Get("Content-Disposition"), "L-4711.pdf") {
		t.Errorf("%v", h)
	}
}

func TestLotsWithoutRecords(t *testing.T) {
	r := rig(t, Options{})
	p := r.person(t)
	if code, body, _ := p.get("/lot"); code != 200 || !strings.Contains(body, "keeps no records") {
		t.Errorf("%d %s", code, body)
	}
	if code, _, _ := p.get("/lot/x"); code != 404 {
		t.Errorf("%d", code)
	}
}

// A decision needs the session's token, a choice, a signature, and the state that
// was seen.
func TestLotDecision(t *testing.T) {
	r, f := lotRig(t, Options{})
	p := r.person(t)
	p.get("/lot/L-4711")
	good := func() url.Values {
		return url.Values{"what": {"accept"}, "by": {" inspector  2 "}, "note": {"fine"}, "sure": {"1"}, "seq": {"52"}}
	}
	for name, c := range map[string]struct {
		path   string
		change func(url.Values)
		code   int
		words  string
	}{
		"no choice":     {"L-4711", func(v url.Values) { v.Del("what") }, 400, "Choose"},
		"odd choice":    {"L-4711", func(v url.Values) { v.Set("what", "forget") }, 400, "Choose"},
		"unsigned":      {"L-4711", func(v url.Values) { v.Set("by", " \n") }, 400, "signed"},
		"not sure":      {"L-4711", func(v url.Values) { v.Del("sure") }, 400, "counts"},
		"no state":      {"L-4711", func(v url.Values) { v.Del("seq") }, 400, ""},
		"moved on":      {"L-4711", func(v url.Values) { v.Set("seq", "51") }, 409, "moved on"},
		"against count": {"L-4713", func(v url.Values) { v.Set("seq", "33") }, 409, "the counts refuse it"},
		"no lot":        {"none", func(url.Values) {}, 404, "no lot"},
		"fault":         {"L-4711", func(v url.Values) { v.Set("note", "break") }, 500, ""},
	} {
		v := good()
		c.change(v)
		if code, body := p.post("/lot/"+c.path+"/decide", v); code != c.code || !strings.Contains(body, c.words) {
			t.Errorf("%s: %d %q", name, code, body)
		}
	}
	token := p.token
	p.token = "guessed"
	if code, _ := p.post("/lot/L-4711/decide", good()); code != 403 {
		t.Errorf("without the token: %d", code)
	}
	p.token = token
	if len(f.steps) != 0 {
		t.Fatalf("%+v was taken", f.steps)
	}
	if code, body := p.post("/lot/L-4711/decide", good()); code != 204 {
		t.Fatalf("%d %s", code, body)
	}
	if s := f.steps[0]; s.What != "accept" || s.By != "inspector 2" || s.Note != "fine" || s.Seq != 52 {
		t.Errorf("%+v", s)
	}
	if _, body, _ := p.get("/lot/L-4711"); !strings.Contains(body, "Accepted by inspector 2") || strings.Contains(body, "decide-form") {
		t.Error("the page of a decided lot")
	}
}

// Each change of a lot is sent to who watches it, once.
func TestLotEvents(t *testing.T) {
	r, f := lotRig(t, Options{})
	p := r.person(t)
	p.get("/lot/L-4712")
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	q, _ := http.NewRequestWithContext(ctx, http.MethodGet, p.base+"/lot/L-4712/events", nil)
	w, err := p.Do(q)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Body.Close()
	got := make(chan string, 100)
	go func() {
		buf := make([]byte, 64<<10)
		for {
			n, err := w.Body.Read(buf)
			if n > 0 {
				got <- string(buf[:n])
			}
			if err != nil {
				close(got)
				return
			}
		}
	}()
	wait := func(words string) {
		t.Helper()
		for {
			select {
			case s, ok := <-got:
				if !ok {
					t.Fatalf("the stream ended before %q", words)
				}
				if strings.Contains(s, words) {
					return
				}
			case <-ctx.Done():
				t.Fatalf("%q did not come", words)
			}
		}
	}
	wait("20 of 50")
	f.set(func() { s := f.all["L-4712"]; s.Taken, s.Seq = 21, 23; s.Plans[1].Looked, s.Plans[1].Count = 21, 1 })
	wait("21 of 50")
}

func TestPlotPart(t *testing.T) {
	got := string(plotPart([]byte(`<svg class="plot" xmlns="x" viewBox="0 0 10 20" style="min-width:1rem"><rect style="fill:#FFFDF8;stroke:#123456;opacity:0.5" /><g style=""></g></svg>`)))
	want := `<svg class="plot" viewBox="0 0 10 20" aria-hidden="true" focusable="false"><rect stroke="#123456" opacity="0.5" class="f1" /><g></g></svg>`
	if got != want {
		t.Errorf("%s\n%s", got, want)
	}
	if plotPart([]byte("<script>")) != "" {
		t.Error("what is no plot")
	}
}

func TestUnitHref(t *testing.T) {
	for name, want := range map[string]string{"k7-L": "/look?serial=k7", "k7-R": "/look?serial=k7", "k 7": "/look?serial=k+7",
		"RL-7": "/look?serial=RL-7"} {
		if got := unitHref(name); got != want {
			t.Errorf("%s: %s", name, got)
		}
	}
}

func TestLotAddress(t *testing.T) {
	for path, want := range map[string]bool{"/lot": true, "/lot/L-1": true, "/lot/": false, "/lot/a/b": false, "/lot//evil": false,
		`/lot/\evil`: false, "//evil": false, "/login": false} {
		if lotAddress(path) != want {
			t.Errorf("%s: %v", path, !want)
		}
	}
}
