package book

import (
	"bufio"
	"context"
	"crypto/rand"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"finishbench/internal/cli"
	"finishbench/internal/lang"
	"finishbench/internal/lots"
	"finishbench/internal/part"
	"finishbench/internal/report"
)

// DrawOptions are the flags of lot draw.
type DrawOptions struct {
	*cli.Database
	cli.SheetOptions
	Serials  string
	Count    bool
	Seed     string
	By       string
	Replace  string
	Why      string
	Stdin    io.Reader
	SeedFrom func() (uint64, error)
}

// RunDraw draws the units that are looked at.
func RunDraw(ctx context.Context, o DrawOptions, name string, stdout io.Writer) error {
	l, err := cli.Language(o.Language)
	if err != nil {
		return err
	}
	book, err := openFrom(ctx, o.Database, name)
	if err != nil {
		return err
	}
	defer book.store.Close()
	asked := o.Serials != "" || o.Count || o.Seed != ""
	switch {
	case o.Replace != "" && asked:
		return cli.Usagef("--replace goes on with the draw that was made: leave out --serials, --count and --seed")
	case o.Replace != "":
		err = book.Step(ctx, func(l *lots.Lot, now time.Time) (part.Entry, error) { return l.Replace(o.Replace, o.Why, now, o.By) })
	case o.Why != "":
		return cli.Usagef("--why is for --replace")
	case book.Lot.Current().Drawing == nil || asked:
		err = o.draw(ctx, book)
	}
	if err != nil {
		return err
	}
	d := lotDraw{name, book.Lot.Current()}
	return o.SheetOptions.Write("lot-draw", d.sheet(sheetWords{l}), d.numbers(), stdout)
}

func (o *DrawOptions) draw(ctx context.Context, book *Book) error {
	size := book.Lot.Current().Opening.Size
	var serials []string
	var err error
	switch {
	case o.Count && o.Serials != "":
		return cli.Usagef("--count is for units without serials: leave out --serials")
	case o.Count:
		serials = Numbered(size)
	case o.Serials == "":
		return cli.Usagef("give all serials of the lot: --serials FILE, or --count where the units have none")
	default:
		if serials, err = o.readSerials(); err != nil {
			return err
		}
	}
	seed, given := uint64(0), o.Seed != ""
	if given {
		if seed, err = strconv.ParseUint(o.Seed, 10, 64); err != nil || seed > maxSeed {
			return cli.Usagef("--seed %s: give a whole number, 0 to %d", o.Seed, uint64(maxSeed))
		}
	} else if seed, err = o.SeedFrom(); err != nil {
		return err
	}
	return book.Step(ctx, func(l *lots.Lot, now time.Time) (part.Entry, error) { return l.Draw(serials, seed, given, now, o.By) })
}

// maxSeed is what every reader of JSON keeps to the last digit.
const maxSeed = 1<<53 - 1

// ChanceSeed is a seed by chance.
func ChanceSeed() (uint64, error) {
	var b [8]byte
	if _, err := rand.Read(b[:]); err != nil {
		return 0, err
	}
	return binary.LittleEndian.Uint64(b[:]) & maxSeed, nil
}

// Numbered are the names of units without serials, of one width: 001, 002 ...
func Numbered(n int) []string {
	width := len(strconv.Itoa(n))
	out := make([]string, n)
	for i := range out {
		out[i] = fmt.Sprintf("%0*d", width, i+1)
	}
	return out
}

// maxSerials is far above any lot.
const maxSerials = 1_000_000

// openLines opens a list with an entry a line, "-" for standard input, and says what
// to call it.
func openLines(path string, stdin io.Reader) (in io.ReadCloser, name string, err error) {
	if path == "-" {
		return io.NopCloser(stdin), "standard input", nil
	}
	f, err := cli.OpenTable(path)
	return f, path, err
}

// linesError is an error of a list with an entry a line.
func linesError(name string, err error) error {
	if errors.Is(err, bufio.ErrTooLong) {
		return cli.Usagef("%s has a line of more than %d bytes: is it the right file? Write one entry a line", name, bufio.MaxScanTokenSize)
	}
	return cli.Usagef("%s cannot be read: %w", name, cli.PlainPath(err))
}

// shortText is the beginning of a text that a message quotes.
func shortText(s string) string {
	const most = 60
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "..."
	}
	return s
}

// readSerials reads a serial a line; empty lines are skipped.
func (o *DrawOptions) readSerials() ([]string, error) {
	in, name, err := openLines(o.Serials, o.Stdin)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	lines := bufio.NewScanner(in)
	var out []string
	for n := 1; lines.Scan(); n++ {
		s := strings.TrimSpace(strings.TrimPrefix(lines.Text(), "\ufeff"))
		switch {
		case s == "":
			continue
		case !utf8.ValidString(s):
			return nil, cli.Usagef("%s, line %d: is not UTF-8 text", name, n)
		case strings.ContainsAny(s, ",;\t"):
			return nil, cli.Usagef("%s, line %d: %q holds a separator: write one serial a line, nothing else", name, n, shortText(s))
		case len(out) == maxSerials:
			return nil, cli.Usagef("%s has more than %d serials: is it the right file?", name, maxSerials)
		}
		out = append(out, part.CleanName(strings.TrimSuffix(s, "/")))
	}
	if err := lines.Err(); err != nil {
		return nil, linesError(name, err)
	}
	if len(out) == 0 {
		return nil, cli.Usagef("%s has no serials", name)
	}
	return out, nil
}

// lotDraw makes the list of the units drawn.
type lotDraw struct {
	name  string
	round *lots.Round
}

// drawnLine is a line of the list.
type drawnLine struct {
	Place   int             `json:"place"`  // in the draw, from 1
	Number  int             `json:"number"` // in the lot's list, from 1
	Unit    string          `json:"unit"`
	Classes []part.Severity `json:"classes"` // whose samples it belongs to
	State   string          `json:"state"`
	Phrase  part.Phrase     `json:"state_phrase"` // the same, to be told in any language
}

// units are the units drawn, in the order of the lot's list, so that they are found
// quickly.
func (d lotDraw) units() []drawnLine {
	number := map[string]int{}
	for i, s := range d.round.Drawing.Serials {
		number[s] = i + 1
	}
	var out []drawnLine
	for i, p := range d.round.Sample {
		u := drawnLine{Place: i + 1, Number: number[p.Name], Unit: p.Name, Classes: d.round.Needs(i),
			Phrase: part.Say("lot.sheet.draw.to_look_at")}
		switch {
		case p.Unit == nil:
		case !p.Unit.Measured():
			u.Phrase = part.Say("not_measured")
		default:
			u.Phrase = part.Say("verdict_word." + string(p.Unit.Verdict))
		}
		u.State = lang.English().Say(&u.Phrase)
		out = append(out, u)
	}
	slices.SortFunc(out, func(a, b drawnLine) int { return a.Number - b.Number })
	return out
}

func (d lotDraw) sheet(x sheetWords) report.Sheet {
	r := d.round
	n, size := strconv.Itoa(len(r.Sample)), strconv.Itoa(r.Opening.Size)
	seed := fmt.Sprint(r.Drawing.Seed)
	if r.Drawing.Given {
		seed = x.t("draw.given", "seed", seed, "by", cli.First(r.Drawn.By, x.t("draw.person")))
	}
	s := report.Sheet{Title: x.t("draw.title"), Subject: x.t("draw.subject", "lot", d.name, "n", size, "product", r.Opening.Product),
		Rating: report.Plain, Word: x.units(len(r.Sample)), Line: x.t("draw.line", "n", n, "size", size), Lang: x.Lang,
		Facts: []report.Fact{{Name: x.t("draw.seed"), Value: seed}, {Name: x.t("draw.method"), Value: r.Drawing.Method},
			{Name: x.t("draw.drawn"), Value: cli.ShownTime(r.Drawn.At) + " UTC" + x.by(r.Drawn.By)}},
	}
	if err := r.Drawing.Verify(); err != nil {
		s.Warnings = append(s.Warnings, x.reason(err))
	}
	for _, w := range r.Swaps {
		s.Reasons = append(s.Reasons, x.t("draw.replaced", "unit", w.Unit, "with", w.With, "why", w.Why)+x.by(w.By))
	}
	t := report.SheetTable{Head: []string{x.t("draw.number"), x.t("draw.unit"), x.t("draw.drawn_as"), x.t("draw.classes"),
		x.t("draw.state")},
		Numeric: []bool{true, false, true, false, false}}
	for _, u := range d.units() {
		t.Rows = append(t.Rows, []string{strconv.Itoa(u.Number), u.Unit, strconv.Itoa(u.Place), x.severities(u.Classes), x.Say(&u.Phrase)})
	}
	s.Sections = []report.SheetSection{{Heading: x.t("draw.list"), Text: []string{x.t("draw.order")}, Tables: []report.SheetTable{t}}}
	return s
}

// reason is an error of package lots in this language.
func (x sheetWords) reason(err error) string {
	why := lang.Why(lotError(err))
	return x.Say(&why)
}

// by is ", by NAME"; "" where nobody signed.
func (x sheetWords) by(name string) string {
	if name == "" {
		return ""
	}
	return x.t("by", "by", name)
}

// why is ": REASON"; "" where there is none.
func (x sheetWords) why(reason string) string {
	if reason == "" {
		return ""
	}
	return x.t("why", "why", reason)
}

type lotDrawJSON struct {
	Lot    string      `json:"lot"`
	Size   int         `json:"size"`
	Seed   uint64      `json:"seed"`
	Given  bool        `json:"seed_given"`
	Method string      `json:"method"`
	Swaps  []lots.Swap `json:"replaced,omitempty"`
	Units  []drawnLine `json:"units"`
}

func (d lotDraw) numbers() lotDrawJSON {
	r := d.round
	return lotDrawJSON{d.name, r.Opening.Size, r.Drawing.Seed, r.Drawing.Given, r.Drawing.Method, r.Swaps, d.units()}
}
