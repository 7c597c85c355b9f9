// Package walk walks a person through putting camera and light in order, by the steps of
// package setup: look.go measures a picture for them, watch.go does so for each picture
// that arrives in a folder, screen.go shows that on a terminal, sheet.go as a page.
package walk
