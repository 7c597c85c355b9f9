package setup

// Worst joins one step as several pictures show it: each measure as in the
// picture that shows it worst. Pictures that do not tell of the step are left
// out; where none does, the step was not measured.
func (l Limits) Worst(n Name, readings []Reading) Step {
	out := Step{Name: n}
	at := map[string]int{}
	for _, r := range readings {
		s := l.Judge(n, r)
		if !s.Applies {
			continue
		}
		out.Applies = true
		if out.Fact.Key == "" {
			out.Fact = s.Fact
		}
		for _, m := range s.Measures {
			i, ok := at[m.Key]
			switch {
			case !ok:
				at[m.Key] = len(out.Measures)
				out.Measures = append(out.Measures, m)
			case m.worse(out.Measures[i]):
				out.Measures[i] = m
			}
		}
	}
	if !out.Applies {
		return l.Judge(n, NewReading(""))
	}
	if m, ok := out.First(); ok {
		out.File = m.File
	}
	return out
}
