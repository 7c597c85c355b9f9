package report

// This file holds what is said in English only: words of pictures, of pages about the gauge, and of
// tables in a terminal. A unit's page has its words from the language files, by words.go.

// Words drawn into pictures.
const textStationUnmeasured = "not measured"

// Words of the pages about the gauge.
const (
	textSheetSkip    = "Skip to the reasons and figures"
	textSheetCaution = "Good, fair and poor are said of the gauge, not of a unit. They hold for the camera, lens, light, pieces and people they were found with."
	textUnrated      = "not rated"
	textUnnamedTable = "Table"
	textMarkedRow    = "▸ stands out"
	textMarkedText   = "* stands out"
)

// The words for where a value lies beside its zone.
const (
	textBarIn     = "in the zone"
	textBarBelow  = "too low"
	textBarAbove  = "too high"
	textBarNone   = "not measured"
	textBarNoZone = "no zone given"
)
