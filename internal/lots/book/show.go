package book

import (
	"context"
	"fmt"
	"io"
	"slices"
	"text/tabwriter"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/lots"
	"finishbench/internal/part"
)

// RunShow tells where a lot stands.
func RunShow(ctx context.Context, o *cli.Database, name string, asJSON bool, stdout io.Writer) error {
	book, err := openFrom(ctx, o, name)
	if err != nil {
		return err
	}
	defer book.store.Close()
	v := newLotView(&book.Lot)
	if asJSON {
		return cli.WriteJSON(stdout, v.json())
	}
	v.text(stdout)
	return nil
}

// lotView tells where a lot stands.
type lotView struct{ lot *lots.Lot }

func newLotView(l *lots.Lot) lotView { return lotView{l} }

func (v lotView) text(w io.Writer) {
	fmt.Fprintf(w, "lot %s: %s\n", v.lot.Name, stateWord(v.lot.State()))
	for i := range v.lot.Rounds {
		if i > 0 {
			fmt.Fprintln(w)
		}
		v.round(w, &v.lot.Rounds[i], i == len(v.lot.Rounds)-1)
	}
}

// round tells of one presentation of the lot: earlier ones stay as they were.
func (v lotView) round(w io.Writer, r *lots.Round, current bool) {
	o := &r.Opening
	fmt.Fprintf(w, "  %s %s%s%s\n", roundWord(r.Kind), cli.ShownTime(r.Opened.At), byWords(r.Opened.By), whyWords(o.Why))
	fmt.Fprintf(w, "  %d units of %s, judged %s by %s (%.12s)\n", o.Size, o.Product, o.Stage, o.LimitsName, o.Limits)
	fmt.Fprintf(w, "  level %s, %s; switching: %s; a unit that does not pass counts as %s\n", o.Level, o.Edition, o.Standard, o.NotPassing)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "  class\tmode\tlooked at\tcount\taccepted up to\trefused from\tsays")
	for _, s := range r.Standings() {
		fmt.Fprintf(t, "  %s\t%s\t%d of %d\t%d\t%d\t%d\t%s\n", s.Severity, s.Plan.Mode, s.Looked, s.Plan.N, s.Count, s.Plan.Ac, s.Plan.Re,
			callWord(s))
	}
	t.Flush()
	if r.Drawing != nil {
		line := fmt.Sprintf("  drawn %s with the seed %d", cli.ShownTime(r.Drawn.At), r.Drawing.Seed)
		if r.Drawing.Given {
			line += " (given)"
		}
		fmt.Fprintf(w, "%s%s\n", line, byWords(r.Drawn.By))
		if err := r.Drawing.Verify(); err != nil {
			fmt.Fprintf(w, "  WRONG: %s\n", lotError(err))
		}
	}
	for _, s := range r.Swaps {
		fmt.Fprintf(w, "  %s in the place of %s: %s%s\n", s.With, s.Unit, s.Why, byWords(s.By))
	}
	for _, s := range r.Dispositions {
		fmt.Fprintf(w, "  %s %s%s%s%s\n", s.Unit, routeWords(&s.Disposition), atWords(s.At), byWords(s.By), whyWords(s.Why))
	}
	if d := r.Decision; d != nil {
		word := "refused"
		if d.Accepted {
			word = "accepted"
		}
		switch {
		case d.Against:
			word += " against the counts"
		case d.Early:
			word += " by count, before the sample was finished"
		}
		fmt.Fprintf(w, "  %s %s%s%s\n", word, cli.ShownTime(r.Decided.At), byWords(r.Decided.By), whyWords(d.Why))
	} else if r.Drawing != nil && current {
		tellList(w, "  to look at", r.Pending())
	}
	if current && r.Disposal == nil {
		tellList(w, "  does not pass, and nobody has said what becomes of it", namesOf(r.Undisposed()))
	}
	if d := r.Disposal; d != nil {
		taken := ""
		if d.How == lots.Screen {
			taken = fmt.Sprintf(", %s taken out", cli.Counted(d.Removed, "unit", "units"))
		}
		fmt.Fprintf(w, "  %s %s%s%s%s\n", d.How, cli.ShownTime(r.Done.At), taken, byWords(r.Done.By), whyWords(d.Why))
	}
	tellList(w, "  left the lot", r.Out())
}

// routeWords is "scrapped", "reworked, passed in inspection 12" or "concession C-118".
func routeWords(d *lots.Disposition) string {
	switch d.Route {
	case lots.Reworked:
		return fmt.Sprintf("reworked, passed in inspection %d", d.Inspection)
	case lots.Concession:
		return "concession " + d.Reference
	}
	return string(d.Route)
}

func atWords(at time.Time) string { return " " + cli.ShownTime(at) }

func namesOf(units []lots.Unit) []string {
	var out []string
	for _, u := range units {
		out = append(out, u.Name)
	}
	return out
}

func roundWord(kind string) string {
	switch kind {
	case lots.Replanned:
		return "plan started anew"
	case lots.Resubmitted:
		return "presented again"
	}
	return "opened"
}

func whyWords(why string) string {
	if why == "" {
		return ""
	}
	return ": " + why
}

func callWord(s lots.Standing) string {
	switch {
	case s.Call == lots.Waits && s.Unmeasured > 0:
		return fmt.Sprintf("waits for %d, %d not measured", s.Left, s.Unmeasured)
	case s.Call == lots.Waits:
		return fmt.Sprintf("waits for %d", s.Left)
	case s.InGap:
		return "accepts; normal inspection comes back"
	}
	return string(s.Call)
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

func (v lotView) json() ViewJSON {
	j := ViewJSON{Lot: v.lot.Name, State: v.lot.State(), RoundJSON: roundJSON(v.lot.Current()), Earlier: []RoundJSON{}}
	for i := range v.lot.Rounds[:len(v.lot.Rounds)-1] {
		j.Earlier = append(j.Earlier, roundJSON(&v.lot.Rounds[i]))
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
	Last     string         `json:"last,omitempty"` // what switching did last
}

// ListJSON is the list of lots, as JSON.
type ListJSON struct {
	Lots []lotLine `json:"lots"`
	Due  []lotDue  `json:"due"`
}

// RunList lists the lots, the latest first.
func RunList(ctx context.Context, o *cli.Database, product string, asJSON bool, stdout io.Writer) error {
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
	if asJSON {
		return cli.WriteJSON(stdout, list)
	}
	if len(list.Lots) == 0 {
		_, err := fmt.Fprintf(stdout, "%s: no lots\n", store.Where())
		return err
	}
	t := tabwriter.NewWriter(stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "lot\tproduct\tunits\tsample\topened\tstate\t")
	for _, l := range list.Lots {
		by := ""
		if l.Decided != nil {
			by = cli.ShownTime(l.Decided.At) + byWords(l.Decided.By)
		}
		fmt.Fprintf(t, "%s\t%s\t%d\t%d\t%s\t%s\t%s\n", l.Lot, l.Product, l.Size, l.Sample, l.Opened.Format(time.DateOnly),
			stateWord(l.State), by)
	}
	t.Flush()
	fmt.Fprintln(stdout)
	for _, d := range list.Due {
		word := string(d.State.Mode)
		if d.State.Discontinued {
			word = "discontinued"
		}
		fmt.Fprintf(stdout, "next lot of %s, %s: %s inspection%s\n", d.Product, d.Severity, word, whyWords(d.Last))
	}
	return nil
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
				d.Last = fmt.Sprintf("%s (lot %s)", said[n-1].Text, said[n-1].Lot)
			}
			out = append(out, d)
		}
	}
	return out, nil
}
