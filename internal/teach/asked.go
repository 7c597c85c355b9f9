package teach

import (
	"finishbench/internal/part"
)

// QuizTest is a test that can be taken.
type QuizTest struct {
	Name, Title string // Title: the trainer's word for it; may be empty
	Made        string // day
	Units       int    // shown
	LimitS      float64
}

// QuizNow is where a trainee stands in a test.
type QuizNow struct {
	Title             string
	Trial, Of         int  // from 0
	Done              bool // all were answered
	Stage             part.Stage
	Lights            []part.Light // of its pictures
	WidthPX, HeightPX int
	MMPerPX           float64
	Kinds             []part.Kind // to choose from
	LimitS, LeftS     float64     // 0: no limit
	Certified         bool        // a certificate was earned
}
