package studies

import (
	"finishbench/internal/cli"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/stats/study"
)

// GaugeJSON are the numbers of a gauge study. Shares are 0..1.
type GaugeJSON struct {
	Study        string          `json:"study"`
	Unit         string          `json:"unit,omitempty"`
	Grade        study.Grade     `json:"grade"`
	Parts        int             `json:"parts"`
	Appraisers   int             `json:"appraisers"`
	Trials       int             `json:"trials"`
	Confidence   float64         `json:"confidence"`
	SDs          float64         `json:"sds"`
	Tolerance    *float64        `json:"tolerance,omitempty"`
	Pooled       bool            `json:"interaction_pooled"`
	PInteraction *float64        `json:"p_interaction,omitempty"`
	Categories   *int            `json:"categories,omitempty"`
	Components   []componentJSON `json:"components"`
	Anova        []anovaJSON     `json:"anova"`
	Ranges       rangesJSON      `json:"by_ranges"`
	Reasons      []string        `json:"reasons"`
	Warnings     []string        `json:"warnings"`

	ReasonPhrases  []part.Phrase `json:"reason_phrases,omitempty"` // to be told in any language
	WarningPhrases []part.Phrase `json:"warning_phrases,omitempty"`
}

type componentJSON struct {
	Name         study.ComponentName `json:"name"`
	Variance     intervalJSON        `json:"variance"`
	SD           *float64            `json:"sd,omitempty"`
	Contribution *float64            `json:"contribution,omitempty"`
	Study        intervalJSON        `json:"study_variation"`
	Tolerance    intervalJSON        `json:"tolerance"`
}

type anovaJSON struct {
	Source  study.Source `json:"source"`
	DF      float64      `json:"df"`
	SS      *float64     `json:"ss,omitempty"`
	MS      *float64     `json:"ms,omitempty"`
	F       *float64     `json:"f,omitempty"`
	P       *float64     `json:"p,omitempty"`
	Against study.Source `json:"against,omitempty"`
}

type rangesJSON struct {
	Equipment  *float64 `json:"equipment,omitempty"`
	Appraiser  *float64 `json:"appraiser,omitempty"`
	Gauge      *float64 `json:"gauge,omitempty"`
	Part       *float64 `json:"part,omitempty"`
	Total      *float64 `json:"total,omitempty"`
	Categories *int     `json:"categories,omitempty"`
	MeanRange  *float64 `json:"mean_range,omitempty"`
	UpperRange *float64 `json:"upper_range,omitempty"`
}

func (s gaugeSheet) numbers() GaugeJSON {
	j := GaugeJSON{
		Study: s.in.name, Unit: s.in.unit, Grade: s.v.Grade, Parts: s.g.Parts, Appraisers: s.g.Appraisers, Trials: s.g.Trials,
		Confidence: s.g.Options.Level, SDs: s.g.Options.SDs, Tolerance: part.Num(s.g.Options.Tolerance),
		Pooled: s.g.Pooled != nil, PInteraction: part.Num(s.g.PInteraction), Categories: categoriesOrNone(s.g.NDC),
		Reasons: lang.English().SayAll(s.v.Reasons), Warnings: lang.English().SayAll(s.v.Warnings), ReasonPhrases: s.v.Reasons,
		WarningPhrases: s.v.Warnings,
	}
	cli.NotNil(&j.Reasons)
	cli.NotNil(&j.Warnings)
	for _, c := range s.g.Components {
		j.Components = append(j.Components, componentJSON{c.Name, jsonInterval(c.Variance), part.Num(c.SD), part.Num(c.Contribution),
			jsonInterval(c.Study), jsonInterval(c.Tolerance)})
	}
	for _, r := range s.g.Table() {
		j.Anova = append(j.Anova, anovaJSON{r.Source, r.DF, part.Num(r.SS), part.Num(r.MS), part.Num(r.F), part.Num(r.P), r.Against})
	}
	r := s.ranges
	j.Ranges = rangesJSON{part.Num(r.EV), part.Num(r.AV), part.Num(r.RR), part.Num(r.PV), part.Num(r.TV), categoriesOrNone(r.NDC),
		part.Num(r.RBar), part.Num(r.UpperRange)}
	return j
}

func categoriesOrNone(n int) *int {
	if n < 0 {
		return nil
	}
	return &n
}
