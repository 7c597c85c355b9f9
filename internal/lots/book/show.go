package book

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/lang"
	"finishbench/internal/lots"
	"finishbench/internal/part"
)

// Answer is how a command tells where a lot stands.
type Answer struct {
	JSON     bool
	Language string // of the text; see [cli.Language]
}

// words are those of the answer's language.
func (a Answer) words() (sheetWords, error) {
	l, err := cli.Language(a.Language)
	return sheetWords{l}, err
}

// tell tells where a lot stands.
func (a Answer) tell(x sheetWords, l *lots.Lot, stdout io.Writer) error {
	if a.JSON {
		return cli.WriteJSON(stdout, viewJSON(l))
	}
	lotView{x, stdout, l}.text()
	return nil
}

// RunShow tells where a lot stands.
func RunShow(ctx context.Context, o *cli.Database, a Answer, name string, stdout io.Writer) error {
	x, err := a.words()
	if err != nil {
		return err
	}
	book, err := openFrom(ctx, o, name)
	if err != nil {
		return err
	}
	defer book.store.Close()
	return a.tell(x, &book.Lot, stdout)
}

// show is a text of these pages of a terminal.
func (x sheetWords) show(key string, args ...string) string { return x.T("lot.show."+key, args...) }

// lotView tells where a lot stands.
type lotView struct {
	sheetWords
	w   io.Writer
	lot *lots.Lot
}

// line writes the parts of a line, indented.
func (v lotView) line(parts ...string) { fmt.Fprintf(v.w, "  %s\n", strings.Join(parts, "")) }

func (v lotView) text() {
	fmt.Fprintln(v.w, v.show("state", "lot", v.lot.Name, "state", v.show("state."+string(v.lot.State()))))
	for i := range v.lot.Rounds {
		if i > 0 {
			fmt.Fprintln(v.w)
		}
		v.round(&v.lot.Rounds[i], i == len(v.lot.Rounds)-1)
	}
}

// round tells of one presentation of the lot: earlier ones stay as they were.
func (v lotView) round(r *lots.Round, current bool) {
	o := &r.Opening
	v.line(v.show("round."+r.Kind), " ", cli.ShownTime(r.Opened.At), v.by(r.Opened.By), v.why(o.Why))
	v.line(v.show("of", "n", strconv.Itoa(o.Size), "product", o.Product, "stage", v.stage(o.Stage), "limits", ofLimits(o)))
	v.line(v.show("rules", "level", string(o.Level), "tables", o.Edition, "standard", string(o.Standard), "severity",
		v.severity(o.NotPassing)))
	rows := [][]string{{v.t("class"), v.t("mode"), v.show("looked"), v.show("count"), v.t("accepted_to"), v.t("refused_from"),
		v.show("says")}}
	for _, s := range r.Standings() {
		rows = append(rows, []string{v.severity(s.Severity), v.mode(s.Plan.Mode),
			v.T("lot.page.of", "taken", strconv.Itoa(s.Looked), "n", strconv.Itoa(s.Plan.N)), strconv.Itoa(s.Count),
			strconv.Itoa(s.Plan.Ac),
			strconv.Itoa(s.Plan.Re), v.call(s)})
	}
	cli.Columns(v.w, "  ", rows)
	if r.Drawing != nil {
		key := "drawn"
		if r.Drawing.Given {
			key = "drawn_given"
		}
		v.line(v.show(key, "time", cli.ShownTime(r.Drawn.At), "seed", strconv.FormatUint(r.Drawing.Seed, 10)), v.by(r.Drawn.By))
		if err := r.Drawing.Verify(); err != nil {
			v.line(v.show("wrong", "why", v.reason(err)))
		}
	}
	for _, s := range r.Swaps {
		v.line(v.show("swap", "with", s.With, "unit", s.Unit, "why", s.Why), v.by(s.By))
	}
	for _, s := range r.Dispositions {
		v.line(s.Unit, " ", v.show("route."+string(s.Route), "inspection", strconv.FormatInt(s.Inspection, 10), "reference", s.Reference),
			" ",
			cli.ShownTime(s.At), v.by(s.By), v.why(s.Why))
	}
	if d := r.Decision; d != nil {
		key := "accepted"
		switch {
		case d.Against:
			key = "refused_against"
		case d.Early:
			key = "refused_early"
		case !d.Accepted:
			key = "refused"
		}
		v.line(v.show(key), " ", cli.ShownTime(r.Decided.At), v.by(r.Decided.By), v.why(d.Why))
	} else if r.Drawing != nil && current {
		v.list(v.w, "  ", v.show("to_look_at"), r.Pending())
	}
	if current && r.Disposal == nil {
		v.list(v.w, "  ", v.show("undisposed"), namesOf(r.Undisposed()))
	}
	if d := r.Disposal; d != nil {
		v.line(v.show(string(d.How), "time", cli.ShownTime(r.Done.At), "taken", v.units(d.Removed)), v.by(r.Done.By), v.why(d.Why))
	}
	v.list(v.w, "  ", v.show("left"), r.Out())
}

func namesOf(units []lots.Unit) []string {
	var out []string
	for _, u := range units {
		out = append(out, u.Name)
	}
	return out
}

// call is what a class' counts say.
func (x sheetWords) call(s lots.Standing) string {
	switch {
	case s.Call == lots.Waits && s.Unmeasured > 0:
		return x.show("waits_unmeasured", "left", strconv.Itoa(s.Left), "unmeasured", strconv.Itoa(s.Unmeasured))
	case s.Call == lots.Waits:
		return x.show("waits", "left", strconv.Itoa(s.Left))
	case s.InGap:
		return x.show("gap")
	}
	return x.show("call." + string(s.Call))
}

// ViewJSON is where a lot stands, as JSON: its current presentation, and those before.
type ViewJSON struct {
	Lot   string     `json:"lot"`
	State lots.State `json:"state"`
	RoundJSON
	Earlier []RoundJSON `json:"earlier"` // oldest first
}

// RoundJSON is one presentation of a lot, as JSON.
type RoundJSON struct {
	Round        string            `json:"round"`
	Opened       lots.Signed       `json:"opened"`
	Plan         lots.Opening      `json:"plan"`
	Classes      []lotStandingJSON `json:"classes"`
	Drawn        *lots.Signed      `json:"drawn,omitempty"`
	Seed         *uint64           `json:"seed,omitempty"`
	Verified     bool              `json:"draw_verified"`
	Sample       []lotPlaceJSON    `json:"sample"`
	Swaps        []lots.Swap       `json:"replaced"`
	Dispositions []lots.Settled    `json:"dispositions"`
	Undisposed   []string          `json:"undisposed"` // serials that do not pass, and of which nothing was said
	Out          []string          `json:"left_the_lot"`
	Decided      *lots.Signed      `json:"decided,omitempty"`
	Decision     *lots.Decision    `json:"decision,omitempty"`
	Done         *lots.Signed      `json:"done,omitempty"`
	Disposal     *lots.Disposal    `json:"disposal,omitempty"`
}

type lotStandingJSON struct {
	Severity   part.Severity `json:"severity"`
	N          int           `json:"n"`
	Ac         int           `json:"ac"`
	Re         int           `json:"re"`
	Looked     int           `json:"looked_at"`
	Unmeasured int           `json:"not_measured"`
	Left       int           `json:"left"`
	Count      int           `json:"count"`
	Call       lots.Call     `json:"call"`
	InGap      bool          `json:"in_gap,omitempty"`
}

type lotPlaceJSON struct {
	Unit string     `json:"unit"`
	Seen *lots.Unit `json:"seen,omitempty"` // absent: not looked at yet
	Was  int        `json:"taken_before,omitempty"`
}

func viewJSON(l *lots.Lot) ViewJSON {
	j := ViewJSON{Lot: l.Name, State: l.State(), RoundJSON: roundJSON(l.Current()), Earlier: []RoundJSON{}}
	for i := range l.Rounds[:len(l.Rounds)-1] {
		j.Earlier = append(j.Earlier, roundJSON(&l.Rounds[i]))
	}
	return j
}

func roundJSON(r *lots.Round) RoundJSON {
	j := RoundJSON{Round: r.Kind, Opened: r.Opened, Plan: r.Opening, Sample: []lotPlaceJSON{}, Decision: r.Decision, Disposal: r.Disposal,
		Swaps: orEmpty(r.Swaps), Dispositions: orEmpty(r.Dispositions), Undisposed: orEmpty(namesOf(r.Undisposed())), Out: orEmpty(r.Out())}
	for _, s := range r.Standings() {
		j.Classes = append(j.Classes, lotStandingJSON{s.Severity, s.Plan.N, s.Plan.Ac, s.Plan.Re, s.Looked, s.Unmeasured, s.Left, s.Count,
			s.Call, s.InGap})
	}
	if r.Drawing != nil {
		j.Drawn, j.Seed, j.Verified = &r.Drawn, &r.Drawing.Seed, r.Drawing.Verify() == nil
	}
	for _, p := range r.Sample {
		j.Sample = append(j.Sample, lotPlaceJSON{p.Name, p.Unit, len(p.Was)})
	}
	if r.Decision != nil {
		j.Decided = &r.Decided
	}
	if r.Disposal != nil {
		j.Done = &r.Done
	}
	return j
}

// lotLine is a lot in the list.
type lotLine struct {
	Lot     string        `json:"lot"`
	Product string        `json:"product"`
	Size    int           `json:"size"`
	Sample  int           `json:"sample"`
	State   lots.State    `json:"state"`
	Opened  time.Time     `json:"opened"`
	Decided *lots.Signed  `json:"decided,omitempty"`
	Results []lots.Result `json:"results,omitempty"`
}

// lotDue is the state of switching of a product's class.
type lotDue struct {
	Product  string         `json:"product"`
	Severity part.Severity  `json:"severity"`
	State    lots.Switching `json:"switching"`
	Last     string         `json:"last,omitempty"`        // what switching did last
	Phrase   *part.Phrase   `json:"last_phrase,omitempty"` // the same, to be told in any language
}

// ListJSON is the list of lots, as JSON.
type ListJSON struct {
	Lots []lotLine `json:"lots"`
	Due  []lotDue  `json:"due"`
}

// RunList lists the lots, the latest first.
func RunList(ctx context.Context, o *cli.Database, a Answer, product string, stdout io.Writer) error {
	x, err := a.words()
	if err != nil {
		return err
	}
	store, err := o.Open(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	events, err := store.Journals(ctx, lots.Topic, append(lots.HistoryKinds(), lots.Drawn, lots.Disposed)...)
	if err != nil {
		return err
	}
	list := ListJSON{Lots: []lotLine{}, Due: []lotDue{}}
	if list.Lots, err = lotLines(events, product); err != nil {
		return err
	}
	for i := range list.Lots {
		if l := &list.Lots[i]; l.State == lots.StateWaiting { // the units that were taken are not among these events
			whole, err := Fold(ctx, store, l.Lot)
			if err != nil {
				return err
			}
			l.State = whole.State()
		}
	}
	if list.Due, err = lotsDue(events, product); err != nil {
		return err
	}
	if a.JSON {
		return cli.WriteJSON(stdout, list)
	}
	x.listed(list, store.Where(), stdout)
	return nil
}

// listed writes the list of lots, and the mode that is due.
func (x sheetWords) listed(list ListJSON, where string, stdout io.Writer) {
	if len(list.Lots) == 0 {
		fmt.Fprintln(stdout, x.show("no_lots", "where", where))
		return
	}
	rows := [][]string{nil}
	for _, key := range []string{"lot", "product", "units", "sample", "opened", "state"} {
		rows[0] = append(rows[0], x.show("list."+key))
	}
	for _, l := range list.Lots {
		by := ""
		if l.Decided != nil {
			by = cli.ShownTime(l.Decided.At) + x.by(l.Decided.By)
		}
		rows = append(rows, []string{l.Lot, l.Product, strconv.Itoa(l.Size), strconv.Itoa(l.Sample), l.Opened.Format(time.DateOnly),
			x.show("state." + string(l.State)), by})
	}
	cli.Columns(stdout, "", rows)
	fmt.Fprintln(stdout)
	for _, d := range list.Due {
		key := "due"
		if d.State.Discontinued {
			key = "due_stopped"
		}
		fmt.Fprintln(stdout, x.show(key, "product", d.Product, "severity", x.severity(d.Severity), "mode", x.mode(d.State.Mode))+
			x.why(x.Say(d.Phrase)))
	}
}

// lotLines makes the list of lots of their events without the units that were taken:
// an undecided lot that was drawn shows as waiting.
func lotLines(events []part.Entry, product string) ([]lotLine, error) {
	var order []string
	by := map[string][]part.Entry{}
	for _, e := range events {
		if by[e.Name] == nil {
			order = append(order, e.Name)
		}
		e.Seq = int64(len(by[e.Name]) + 1) // the events in between were left out
		by[e.Name] = append(by[e.Name], e)
	}
	out := []lotLine{}
	for _, name := range slices.Backward(order) {
		l, err := lots.Fold(by[name])
		if err != nil {
			return nil, err
		}
		r := l.Current()
		if product != "" && r.Opening.Product != product {
			continue
		}
		line := lotLine{Lot: name, Product: r.Opening.Product, Size: r.Opening.Size, Sample: r.Opening.DrawSize(), State: l.State(),
			Opened: l.Rounds[0].Opened.At}
		if r.Decision != nil {
			line.Decided, line.Results = &r.Decided, r.Decision.Results
		}
		out = append(out, line)
	}
	return out, nil
}

// lotsDue is the state of switching of each product and class, under the rules of
// its latest lot.
func lotsDue(events []part.Entry, product string) ([]lotDue, error) {
	latest, order, err := latestOpenings(events)
	if err != nil {
		return nil, err
	}
	out := []lotDue{}
	for _, p := range order {
		if product != "" && p != product {
			continue
		}
		o := latest[p]
		for _, c := range o.Classes {
			if c.Zero {
				continue // never switched
			}
			s, said, err := lots.History(events, p, c.Severity, o.Rules)
			if err != nil {
				return nil, err
			}
			d := lotDue{Product: p, Severity: c.Severity, State: s}
			if n := len(said); n > 0 {
				p := ofLot(said[n-1])
				d.Last, d.Phrase = lang.English().Say(&p), &p
			}
			out = append(out, d)
		}
	}
	return out, nil
}
