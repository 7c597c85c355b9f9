// Package atlas makes the pages of the kinds of defects: samples.go chooses real ones from
// records and known units and draws the others, mirror.go those that a mirror shows best,
// sheet.go builds the pages, wall.go the sheets for the wall.
package atlas
