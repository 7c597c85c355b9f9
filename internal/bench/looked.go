package bench

import (
	"math"
	"strconv"
	"strings"

	"finishbench/internal/part"
)

// TooLittle is a surface of which less was looked at than the limits ask for.
type TooLittle struct {
	part.Surface
	Least float64 // share, 0..1
}

// pose is how the unit stands, in words.
func (x words) pose(p part.Pose) string {
	view := x.T("view." + string(p.View))
	if p.View == part.Face || math.IsNaN(p.TurnDeg) {
		return view
	}
	return x.T("pose.turn", "view", view, "angle", part.Decimal(p.TurnDeg))
}

// passes is the sentence of a pass: it tells the shares that it rests on. That of the shell
// is over all turns where it is known.
func (x words) passes(r *part.Result) string {
	var shares []string
	add := func(share float64, of string) {
		shares = append(shares, x.T("looked.share", "share", x.percent(share), "view", of))
	}
	for _, s := range r.Surfaces {
		if !s.Unsearched() && (s.View != part.Shell || r.Shell == nil) {
			add(s.Seen(), x.pose(s.Pose()))
		}
	}
	if r.Shell != nil {
		add(r.Shell.LookedAt, x.T("view."+string(part.Shell)))
	}
	if len(shares) == 0 {
		return x.T("why.pass_seam")
	}
	return x.T("why.pass_looked", "shares", strings.Join(shares, x.T("looked.comma")))
}

// tooLittle says that too little of a surface was looked at.
func (x words) tooLittle(s TooLittle) string {
	key := "why.looked"
	if s.Unsearched() {
		key = "why.not_searched"
	}
	return x.T(key, "share", x.percent(s.Seen()), "least", x.percent(s.Least), "view", x.pose(s.Pose()))
}

// looked says how much of each surface was looked at;
// part.Result.LookedAtPhrases says the same on the unit's page.
func (x words) looked(r *part.Result) []string {
	var out []string
	for _, v := range part.Views {
		surfaces, none := r.SurfacesOf(v)
		if n := len(surfaces); none && n > 1 {
			out = append(out, x.T("looked.none", "view", "@view."+string(v), "n", strconv.Itoa(n)))
			continue
		}
		for _, s := range surfaces {
			out = append(out, x.lookedAt(s, r.Lights(s)))
		}
	}
	if r.Shell != nil {
		out = append(out, x.T("looked.map", "share", x.percent(r.Shell.LookedAt)))
	}
	return out
}

func (x words) lookedAt(s part.Surface, lights int) string {
	if s.Unsearched() {
		return x.T("looked.none", "view", x.pose(s.Pose()), "n", "1")
	}
	key := "looked.all"
	switch lights {
	case 1:
		key = "looked.one"
	case 2:
		key = "looked.both"
	}
	t := x.T(key, "view", x.pose(s.Pose()), "all", x.percent(s.LookedAt), "some", x.percent(s.OneLight), "not", x.percent(s.NotLookedAt))
	var of []string
	for _, w := range s.Causes() {
		of = append(of, x.T("looked.cause", "cause", x.T("cause."+string(w)), "share", x.percent(s.Why[w])))
	}
	if len(of) > 0 {
		t = x.T("looked.left_out", "sentence", t, "causes", strings.Join(of, x.T("looked.comma")))
	}
	return t
}

// percent is part.Percent with this language's numbers.
func (x words) percent(share float64) string {
	number, _ := strings.CutSuffix(part.Percent(share), " %")
	v, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return x.T("not_measured")
	}
	_, decimals, _ := strings.Cut(number, ".")
	return x.Number(v, len(decimals)) + " %"
}
