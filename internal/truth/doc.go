// Package truth reads what is known of a unit before it is inspected: truth.json, the
// defects of its faceplate and of its shell in some turns, with their kinds, places and
// sizes.
package truth
