package target

import (
	"fmt"
	"strconv"
	"strings"

	"finishbench/internal/lang"
	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// Found is a target as a picture shows it.
type Found struct {
	View     optics.View
	Ellipses []Ellipse     // of a dot grid, in the order of the view's marks; of a disc
	Expected int           // marks that the target has; 0: not said
	Partial  bool          // not all of the target was found
	Notes    []part.Phrase // a sentence each: what was left out, what may be wrong
	BlurPX   float64       // standard deviation of the edges' blur, median; NaN: not measured

	DiameterPX  float64 // of a disc, or a pin's width; NaN: another kind
	UDiameterPX float64 // its standard uncertainty from the fit's scatter
	Pin         bool    // the disc's kind was found as a pin seen from the side
}

// Problem tells why a picture's target is of no use.
type Problem struct {
	Picture string
	Target  part.Phrase // what was looked for
	Seen    part.Phrase // what was seen
	Do      part.Phrase // what the person can do; may have no key
	Part    bool        // a part of the target was found
}

func (p *Problem) Error() string {
	said := p.Phrase()
	return fmt.Sprintf("target: find %s in %s: %s", lang.English().Say(&p.Target), p.Picture, lang.English().Say(&said))
}

// Phrase is what was seen, and what to do.
func (p *Problem) Phrase() part.Phrase {
	if p.Do.Key == "" {
		return p.Seen
	}
	return part.Say("target.problem").With("seen", p.Seen).With("do", p.Do)
}

// Find finds a target in a picture. Marks are in full-resolution pixels, with
// integers at pixel centres; columns run to the right and rows downwards as far
// as the target's shape leaves a choice. Where the target is found in part, or
// not, or not as spec says, the error is a [*Problem]; Found then holds what was
// seen, with Partial set, as far as it has a place on the target.
func Find(im *part.Image, spec optics.Target, name string) (Found, error) {
	if err := Check(spec); err != nil {
		return Found{}, err
	}
	p, err := grey(im)
	if err != nil {
		return Found{}, fmt.Errorf("target: %s: %w", name, err)
	}
	what := Words(spec)
	if im.W < leastSide || im.H < leastSide {
		return Found{}, &Problem{Picture: name, Target: what, Seen: part.Say("target.small", "width_px", strconv.Itoa(im.W), "height_px",
			strconv.Itoa(im.H))}
	}
	if fault := exposureFault(p); fault.Key != "" {
		return Found{}, &Problem{Picture: name, Target: what, Seen: part.Say("target.not_found"), Do: fault}
	}
	s := scene{p: p, spec: spec, name: name, what: what}
	switch spec.Kind {
	case optics.Chessboard:
		return s.chessboard()
	case optics.Dots, optics.AsymmetricDots:
		return s.dots()
	case optics.Ruler:
		return s.ruler()
	default:
		return s.disc()
	}
}

// leastSide is the least width and height of a picture, px.
const leastSide = 16

// scene is one search.
type scene struct {
	p    *part.Plane // brightness, linear light
	spec optics.Target
	name string
	what part.Phrase
}

func (s *scene) problem(seen, do part.Phrase) *Problem {
	return &Problem{Picture: s.name, Target: s.what, Seen: seen, Do: do}
}

// Limits of targets.
const (
	mostMarks  = 200 // columns or rows
	leastPitch = 6.0 // px between marks; common practice, no source
)

// Check tells what is wrong with a target's description, if anything is.
func Check(spec optics.Target) error {
	bad := func(format string, a ...any) error {
		return fmt.Errorf("target: %s: "+format, append([]any{spec.Kind}, a...)...)
	}
	grid := func(least int, what string) error {
		if spec.Cols < least || spec.Rows < least {
			return bad("%d x %d %s; both numbers must be %d or more", spec.Cols, spec.Rows, what, least)
		}
		if spec.Cols > mostMarks || spec.Rows > mostMarks {
			return bad("%d x %d %s; at most %d x %d can be found", spec.Cols, spec.Rows, what, mostMarks, mostMarks)
		}
		return nil
	}
	pitch := func() error {
		if !(spec.PitchMM > 0) || spec.PitchMM > 1e4 {
			return bad("the pitch is %g mm; it must be above 0", spec.PitchMM)
		}
		return nil
	}
	var err error
	switch spec.Kind {
	case optics.Chessboard:
		if err = grid(3, "inner corners"); err == nil {
			err = pitch()
		}
	case optics.Dots, optics.AsymmetricDots:
		if err = grid(3, "dots"); err == nil {
			err = pitch()
		}
		least := spec.PitchMM // between two dots' middles
		if spec.Kind == optics.AsymmetricDots {
			least *= 0.7071
		}
		if err == nil && (!(spec.DiameterMM >= 0) || spec.DiameterMM >= least) {
			err = bad("dots of %g mm in diameter and a pitch of %g mm touch each other", spec.DiameterMM, spec.PitchMM)
		}
	case optics.Ruler:
		if err = pitch(); err == nil && (spec.Cols != 0 && spec.Cols < rulerTicks || spec.Cols > 10000) {
			err = bad("%d ticks; give the number that the picture shows, %d or more, or 0 for any", spec.Cols, rulerTicks)
		}
	case optics.Disc:
		if !(spec.DiameterMM > 0) || spec.DiameterMM > 1e4 {
			err = bad("the diameter is %g mm; it must be above 0", spec.DiameterMM)
		}
	default:
		if strings.Contains(strings.ToLower(spec.Kind), "charuco") {
			return fmt.Errorf("target: this build cannot read ChArUco boards: use a chessboard or a dot grid")
		}
		return fmt.Errorf("target: there is no kind of target named %q; the kinds are %s, %s, %s, %s and %s", spec.Kind,
			optics.Chessboard, optics.Dots, optics.AsymmetricDots, optics.Ruler, optics.Disc)
	}
	return err
}

// Words names a target in messages.
func Words(spec optics.Target) part.Phrase {
	size := []string{"cols", strconv.Itoa(spec.Cols), "rows", strconv.Itoa(spec.Rows)}
	switch spec.Kind {
	case optics.Chessboard:
		return part.Say("target.words.chessboard", size...)
	case optics.Ruler:
		if spec.Cols > 0 {
			return part.Say("target.words.ticks", size[:2]...)
		}
		return part.Say("target.words.ruler")
	case optics.Disc:
		return part.Say("target.words.disc")
	case optics.AsymmetricDots:
		return part.Say("target.words.asymmetric", size...)
	}
	return part.Say("target.words.dots", size...)
}
