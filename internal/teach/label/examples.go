package label

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"

	"finishbench/internal/cli"
	"finishbench/internal/learn"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/stats/study"
	"finishbench/internal/teach"
	"finishbench/internal/teach/book"
	"finishbench/internal/truth"
)

// Set is what there is to learn from.
type Set struct {
	from     string
	Examples []learn.Example
	sources  []exampleSource // along examples; nil: a table, without pictures
	None     int             // labels that say "no defect": nothing to tell kinds by
	gone     int             // labels of inspections that no longer hold
	Blind    int             // labels of findings without features that a model weighs: from an older program, or seen in a screen's stripes
}

// exampleSource is where a labelled finding is on record.
type exampleSource struct {
	inspection int64
	finding    part.Finding
	stage      part.Stage
}

// source finds where an example is on record.
func (s *Set) source(e learn.Example) (exampleSource, bool) {
	for i := range s.sources {
		if x := s.Examples[i]; x.Unit == e.Unit && x.Place == e.Place {
			return s.sources[i], true
		}
	}
	return exampleSource{}, false
}

// RecordedExamples are the labelled findings of the records, trainers' confirmations
// among them: of each person the last word on each. Findings of later inspections of a unit that lie where an
// earlier one did, at the same stage, are the same place.
func RecordedExamples(ctx context.Context, s *records.Store) (Set, error) {
	set := Set{from: s.Where()}
	labels, err := s.Labels(ctx)
	if err != nil {
		return set, err
	}
	who, err := book.PeopleWords(ctx, s)
	if err != nil {
		return set, err
	}
	inspections := map[int64]*part.Inspection{}
	get := func(id int64) (*part.Inspection, error) {
		in, ok := inspections[id]
		if !ok {
			got, err := s.Get(ctx, id)
			if err != nil {
				return nil, err
			}
			in = &got
			inspections[id] = in
		}
		return in, nil
	}
	confirmed, err := confirmedLabels(ctx, s, get)
	if err != nil {
		return set, err
	}
	labels = append(confirmed, labels...)
	slices.SortStableFunc(labels, func(a, b records.Label) int { return a.At.Compare(b.At) })
	for _, l := range book.LastWords(labels) {
		in, err := get(l.Inspection)
		if err != nil {
			return set, err
		}
		set.add(l, in, who)
	}
	return set, nil
}

// confirmedLabels are the labels that a trainer's confirmation of a unit amounts to
// ('inspect quiz confirm'): each finding of the faceplate, or of a turn of the shell, is what was
// confirmed, or no defect.
func confirmedLabels(ctx context.Context, s *records.Store, get func(int64) (*part.Inspection, error)) ([]records.Label, error) {
	all, err := book.Confirmations(ctx, s)
	if err != nil {
		return nil, err
	}
	person, err := book.PersonByWord(ctx, s)
	if err != nil {
		return nil, err
	}
	var out []records.Label
	for _, c := range all {
		in, err := get(c.Inspection)
		if err != nil {
			return nil, err
		}
		for _, f := range in.Result.Findings {
			if !learn.Weighable(f.Features) || !slices.ContainsFunc(in.Pictures, func(p part.StoredPicture) bool {
				return p.File == f.Image && book.PoseOf(p) == c.Pose() && !p.Light.OfScreen() // as it was confirmed
			}) {
				continue
			}
			l := records.Label{Inspection: in.ID, Number: f.Number, Kind: records.NoDefect, By: person(c.By), At: c.At}
			if k := slices.IndexFunc(c.Known, func(k teach.KnownDefect) bool { return k.Box == f.Box }); k >= 0 {
				l.Kind = c.Known[k].Kind
			}
			out = append(out, l)
		}
	}
	return out, nil
}

func (s *Set) add(l records.Label, in *part.Inspection, who func(string) string) {
	i := slices.IndexFunc(in.Result.Findings, func(f part.Finding) bool { return f.Number == l.Number })
	switch {
	case !in.Holds():
		s.gone++
		return
	case l.Kind == records.NoDefect:
		s.None++
		return
	case i < 0 || !learn.Weighable(in.Result.Findings[i].Features) || !learn.Learnable(l.Kind) || !learn.Learnable(ruleOf(&in.Result.Findings[i]).Kind):
		s.Blind++
		return
	}
	f := in.Result.Findings[i]
	f.Budget = nil
	src := exampleSource{in.ID, f, in.Stage}
	rule := ruleOf(&f)
	e := learn.Example{Unit: part.UnitName(in.Serial, in.Side), Place: fmt.Sprintf("inspection %d, finding %d", in.ID, f.Number), Kind: l.Kind, By: who(l.By), Rule: rule.Kind, RuleConfidence: rule.Confidence, Features: f.Features}
	for k, other := range s.sources {
		if s.Examples[k].Unit == e.Unit && other.stage == src.stage && other.finding.Image == f.Image && samePlace(other.finding.Box, f.Box) {
			e.Place = s.Examples[k].Place
		}
	}
	s.Examples, s.sources = append(s.Examples, e), append(s.sources, src)
}

// ruleOf is what the rules call a finding, whoever called it in the end.
func ruleOf(f *part.Finding) part.RuleCall {
	if f.Rule != nil {
		return *f.Rule
	}
	return part.RuleCall{Kind: f.Kind, Confidence: f.Confidence}
}

// placeShare is how much of what two boxes cover together they must share to be
// one place (common practice, no source).
const placeShare = 0.4

func samePlace(a, b part.Box) bool {
	w := min(a[0]+a[2], b[0]+b[2]) - max(a[0], b[0])
	h := min(a[1]+a[3], b[1]+b[3]) - max(a[1], b[1])
	if w <= 0 || h <= 0 {
		return false
	}
	return w*h >= placeShare*(a[2]*a[3]+b[2]*b[3]-w*h)
}

// tableExamples reads a table of labelled findings.
func tableExamples(path string) (Set, error) {
	set := Set{from: filepath.Base(path)}
	f, err := cli.OpenTable(path)
	if err != nil {
		return set, err
	}
	defer f.Close()
	if set.Examples, err = learn.ReadExamples(f); err != nil {
		return set, cli.Usagef("%s: %w", path, err)
	}
	return set, nil
}

// knownExamples are the findings of units with known defects: those that tell of
// one that can be seen, and of no other.
func knownExamples(truthDir, resultDir string) (Set, error) {
	set := Set{from: truthDir}
	names, err := truth.FoldersWith(truthDir, truth.File)
	if err != nil {
		return set, err
	}
	results := 0
	for _, unit := range names {
		var k truth.Unit
		if err := cli.ReadJSONFile(filepath.Join(truthDir, unit, truth.File), &k); err != nil {
			return set, err
		}
		path := filepath.Join(resultDir, unit, cli.ResultFile)
		if _, err := os.Stat(path); err != nil {
			continue
		}
		var r part.Result
		if err := cli.ReadJSONFile(path, &r); err != nil {
			return set, err
		}
		results++
		surfaces, err := k.Surfaces(filepath.Join(truthDir, unit, truth.File))
		if err != nil {
			return set, err
		}
		for _, of := range surfaces {
			if err := set.addKnown(unit, of, r); err != nil {
				return set, cli.Usagef("%s: %w", filepath.Join(truthDir, unit, truth.File), err)
			}
		}
	}
	if results == 0 {
		return set, cli.Usagef("no unit of %s has a result in %s: inspect the units first", truthDir, resultDir)
	}
	return set, nil
}

func (s *Set) addKnown(unit string, of truth.Surface, r part.Result) error {
	known, defects := of.Known()
	var findings []part.Finding
	var called []study.Called
	for _, f := range r.Findings {
		if of.Holds(f.Image) && len(f.Features) > 0 { // its features are of the picture that shows it best
			findings, called = append(findings, f), append(called, study.Called{Kind: string(f.Kind), Box: study.Box(f.Box)})
		}
	}
	m := study.Match(known, called, study.DefaultMatchRule())
	for j, i := range m.Target {
		if i < 0 || slices.Contains(m.Shared, i) {
			continue
		}
		d := defects[i]
		if c, ok := d.Cnr(); ok && c < teach.VisibleCNR {
			continue
		}
		f := findings[j]
		rule := ruleOf(&f)
		if !learn.Learnable(part.Kind(d.Kind)) {
			return fmt.Errorf("%q is no kind of defect of a surface", d.Kind)
		}
		s.Examples = append(s.Examples, learn.Example{Unit: unit, Place: fmt.Sprintf("finding %d", f.Number), Kind: part.Kind(d.Kind), Rule: rule.Kind, RuleConfidence: rule.Confidence, Features: f.Features})
	}
	return nil
}

// TableOptions are where the table goes.
type TableOptions struct{ Truth, Results string }

// RunTable writes the table of labelled findings.
func RunTable(ctx context.Context, r cli.Database, o TableOptions, stdout io.Writer) error {
	if (o.Truth == "") != (o.Results == "") {
		return cli.Usagef("--truth and --results go together")
	}
	var set Set
	var err error
	if o.Truth != "" {
		set, err = knownExamples(o.Truth, o.Results)
	} else {
		s, err2 := r.Open(ctx)
		if err2 != nil {
			return err2
		}
		set, err = RecordedExamples(ctx, s)
		err = errors.Join(err, s.Close())
	}
	if err != nil {
		return err
	}
	return learn.WriteExamples(stdout, set.Examples)
}
