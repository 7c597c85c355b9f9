package inspection

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"finishbench/internal/cli"
	"finishbench/internal/part"
)

// teller says what happens during a run. Results go to stdout, errors and the
// bar to stderr. It is used by one goroutine.
type teller struct {
	out      string
	withJSON bool
	stdout   io.Writer
	stderr   io.Writer
	progress *progress
	written  int // JSON results so far
	order    *inOrder
}

func newTeller(o Options, jobs []Job, stdout, stderr io.Writer) *teller {
	lines := stdout
	if o.JSON {
		lines = stderr
	}
	return &teller{out: o.Out, withJSON: o.JSON, stdout: stdout, stderr: stderr,
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
		t.progress.unitDone(d.result.Unit, unitLine(d)+d.budgetLines())
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
				fmt.Fprintln(t.stdout, unitLine(d)+d.budgetLines())
			}
		}
	}
	done := countDone(all)
	switch {
	case done == 1 && len(all) == 1:
		fmt.Fprintf(t.stdout, "page: %s\n", filepath.Join(t.out, all[0].job.name, cli.ReportFile))
	case done > 0:
		fmt.Fprintf(t.stdout, "%s\npages: %s\n", tally(all), filepath.Join(t.out, indexFile))
	}
}

// tally is "4 units: 1 pass, 3 rework".
func tally(all []outcome) string {
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
			parts = append(parts, fmt.Sprintf("%d %s", count[v], cli.VerdictWord(v)))
		}
	}
	return fmt.Sprintf("%d units: %s", n, strings.Join(parts, ", "))
}

// unitLine is a unit's line: name, verdict, score and the first reason.
func unitLine(d outcome) string {
	r := d.result
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s", r.Unit, cli.VerdictWord(r.Verdict))
	if r.Score != nil {
		fmt.Fprintf(&b, ", score %.4g", *r.Score)
	}
	if len(r.Reasons) > 0 {
		fmt.Fprintf(&b, ": %s", r.Reasons[0])
	}
	if n := len(r.Reasons) - 1; n > 0 {
		fmt.Fprintf(&b, " (and %d more)", n)
	}
	return b.String()
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
