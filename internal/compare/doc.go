// Package compare sets inspections beside each other. Pure Go; it reads no file,
// no clock and no database, and says nothing in a language.
//
// In the order in which they are needed:
//
//	colour.go   linear light to CIELAB; the colour difference CIEDE2000
//	difference.go a number on two sides
//	plate.go    the colour of a faceplate, from one picture of it
//	pair.go     left and right of one serial
//	register.go how a unit lies in one picture against another
//	rework.go   one unit before and after: which findings are gone
//	shift.go    what came over the bench in a shift
package compare
