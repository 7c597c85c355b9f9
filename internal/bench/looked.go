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
