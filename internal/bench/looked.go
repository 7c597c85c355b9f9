package bench

import (
	"strconv"
	"strings"

	"finishbench/internal/part"
)

// TooLittle is a surface of which less was looked at than the limits ask for.
type TooLittle struct {
	part.Surface
	Least float64 // share, 0..1
}

// passes is the sentence of a pass: it tells the share that it rests on.
func (x *Lang) passes(r *part.Result) string {
	for _, s := range r.Surfaces {
		if !s.Unsearched() {
			return x.T("why.pass_looked", "share", x.percent(s.Seen()), "view", "@view."+string(s.View))
		}
	}
	return x.T("why.pass_seam")
}

// tooLittle says that too little of a surface was looked at.
func (x *Lang) tooLittle(s TooLittle) string {
	key := "why.looked"
	if s.Unsearched() {
		key = "why.not_searched"
	}
	return x.T(key, "share", x.percent(s.Seen()), "least", x.percent(s.Least), "view", "@view."+string(s.View))
}

// looked says how much of each surface was looked at;
// part.Result.LookedAtSentences says the same in English.
func (x *Lang) looked(r *part.Result) []string {
	var out []string
	turns := map[part.View]int{}
	for _, s := range r.Surfaces {
		if s.Unsearched() {
			turns[s.View]++
			continue
		}
		key := "looked.all"
		switch r.Lights(s) {
		case 1:
			key = "looked.one"
		case 2:
			key = "looked.both"
		}
		t := x.T(key, "view", "@view."+string(s.View), "all", x.percent(s.LookedAt), "some", x.percent(s.OneLight), "not", x.percent(s.NotLookedAt))
		var of []string
		for _, w := range s.Causes() {
			of = append(of, x.T("looked.cause", "cause", x.T("cause."+string(w)), "share", x.percent(s.Why[w])))
		}
		if len(of) > 0 {
			t = x.T("looked.left_out", "sentence", t, "causes", strings.Join(of, x.T("looked.comma")))
		}
		out = append(out, t)
	}
	for _, v := range part.Views {
		if n := turns[v]; n > 0 {
			out = append(out, x.T("looked.none", "view", "@view."+string(v), "n", strconv.Itoa(n)))
		}
	}
	return out
}

// percent is part.Percent with this language's numbers.
func (x *Lang) percent(share float64) string {
	number, _ := strings.CutSuffix(part.Percent(share), " %")
	v, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return x.T("not_measured")
	}
	_, decimals, _ := strings.Cut(number, ".")
	return x.Number(v, len(decimals)) + " %"
}
