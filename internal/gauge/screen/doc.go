// Package screen makes the two files of the screen that shows stripes: its light curve from
// a wedge of greys, and from pictures of a mirror how many radians the stripes move for a
// slope. sheet.go builds their pages.
package screen
