package inspection

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"finishbench/internal/cli"
	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// teller says what happens during a run. Results go to stdout, errors and the
// bar to stderr. It is used by one goroutine.
type teller struct {
	x        *lang.Lang
	out      string
	withJSON bool
	stdout   io.Writer
	stderr   io.Writer
	progress *progress
	written  int // JSON results so far
	order    *inOrder
}

func newTeller(o Options, x *lang.Lang, jobs []Job, stdout, stderr io.Writer) *teller {
	if x.Tag == lang.English().Tag {
		x = lang.English() // with units in ASCII, as other programs may read them
	}
	lines := stdout
	if o.JSON {
		lines = stderr
	}
	return &teller{x: x, out: o.Out, withJSON: o.JSON, stdout: stdout, stderr: stderr,
		progress: NewProgress(len(jobs), lines, stderr), order: newInOrder(jobs)}
}

// unit tells of one unit that is through.
func (t *teller) unit(d outcome) {
	if d.err != nil {
		t.progress.Clear()
		fmt.Fprintf(t.stderr, "inspect: %s: %s\n", d.job.Dir, cli.Plain(d.err))
		var p panicError
		if errors.As(d.err, &p) {
			fmt.Fprintf(t.stderr, "%s", p.stack)
		}
		t.progress.Skip()
	} else {
		if d.job.Err != nil {
			t.progress.Clear()
			fmt.Fprintf(t.stderr, "inspect: %s: %s\n", d.job.Dir, cli.Plain(d.job.Err))
		}
		if d.lost != nil {
			t.progress.Clear()
			fmt.Fprintf(t.stderr, "inspect: %s: its results are in %s, but it was not recorded: %s\n", d.job.Dir, t.out, cli.Plain(d.lost))
		}
		t.progress.unitDone(d.result.Unit, t.unitLine(d)+d.budgetLines())
	}
	if t.withJSON {
		for _, next := range t.order.add(d) {
			t.json(next)
		}
	}
}

// json writes one result as an element of the array.
func (t *teller) json(d outcome) {
	if d.json == nil {
		return
	}
	sep := ",\n"
	if t.written == 0 {
		sep = "[\n"
	}
	t.written++
	fmt.Fprint(t.stdout, sep, strings.TrimRight(string(d.json), "\n"))
}

// end closes the JSON array, or sums up and says which page to open.
func (t *teller) end(all []outcome) {
	t.progress.Clear()
	if t.withJSON {
		for _, d := range t.order.rest() {
			t.json(d)
		}
		if t.written == 0 {
			fmt.Fprint(t.stdout, "[")
		}
		fmt.Fprint(t.stdout, "\n]\n")
		return
	}
	if t.progress.bar != nil {
		for _, d := range all { // the bar did not say them
			if d.err == nil && (d.code() != cli.ExitPass || d.budget != "") {
				fmt.Fprintln(t.stdout, t.unitLine(d)+d.budgetLines())
			}
		}
	}
	done := countDone(all)
	switch {
	case done == 1 && len(all) == 1:
		fmt.Fprintln(t.stdout, t.x.T("tell.page", "page", filepath.Join(t.out, all[0].job.name, cli.ReportFile)))
	case done > 0:
		fmt.Fprintln(t.stdout, t.tally(all)+"\n"+t.x.T("tell.pages", "page", filepath.Join(t.out, indexFile)))
	}
}

// tally is "4 units: 1 pass, 3 rework".
func (t *teller) tally(all []outcome) string {
	count := map[part.Verdict]int{}
	n := 0
	for _, d := range all {
		if d.err == nil {
			count[d.result.Verdict]++
			n++
		}
	}
	var parts []string
	for _, v := range []part.Verdict{part.Pass, part.Rework, part.Reject, part.NotMeasured} {
		if count[v] > 0 {
			parts = append(parts, t.x.T("tell.count", "n", strconv.Itoa(count[v]), "verdict", t.x.T("verdict_word."+string(v))))
		}
	}
	return t.x.T("tell.tally", "n", strconv.Itoa(n), "counts", strings.Join(parts, t.x.T("join.names")))
}

// unitLine is a unit's line: name, verdict, score and the first reason.
func (t *teller) unitLine(d outcome) string {
	r, x := d.result, t.x
	score, reason, more := "", "", ""
	if r.Score != nil {
		score = x.T("tell.score", "score", fmt.Sprintf("%.4g", *r.Score))
	}
	if len(r.Reasons) > 0 {
		first := r.Reasons[0]
		if len(r.ReasonPhrases) == len(r.Reasons) {
			first = x.Say(&r.ReasonPhrases[0])
		}
		reason = x.T("tell.reason", "reason", first)
	}
	if n := len(r.Reasons) - 1; n > 0 {
		more = x.T("tell.more", "n", strconv.Itoa(n))
	}
	return x.T("tell.unit", "unit", r.Unit, "verdict", x.T("verdict_word."+string(r.Verdict)), "score", score, "reason", reason, "more",
		more)
}

// inOrder gives outcomes back in the order of the command line, each as soon as
// all before it are there.
type inOrder struct {
	place   map[*Job]int
	waiting map[int]outcome
	next    int
}

func newInOrder(jobs []Job) *inOrder {
	o := &inOrder{place: map[*Job]int{}, waiting: map[int]outcome{}}
	for i := range jobs {
		o.place[&jobs[i]] = i
	}
	return o
}

func (o *inOrder) add(d outcome) []outcome {
	o.waiting[o.place[d.job]] = d
	var ready []outcome
	for {
		d, ok := o.waiting[o.next]
		if !ok {
			return ready
		}
		delete(o.waiting, o.next)
		ready = append(ready, d)
		o.next++
	}
}

// rest is what is left after a run was stopped.
func (o *inOrder) rest() []outcome {
	var left []int
	for i := range o.waiting {
		left = append(left, i)
	}
	slices.Sort(left)
	var out []outcome
	for _, i := range left {
		out = append(out, o.waiting[i])
	}
	return out
}
