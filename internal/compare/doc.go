// Package compare sets inspections beside each other. Pure Go; it reads no file,
// no clock and no database, and says nothing in a language: what it has to say is
// a key and numbers ([Line]), which the languages' files turn into sentences.
//
// In the order in which they are needed:
//
//	colour.go   linear light to CIELAB; the colour difference CIEDE2000
//	plate.go    the colour of a faceplate, from one picture of it
//	pair.go     left and right of one serial
//	register.go how a unit lies in one picture against another
//	rework.go   one unit before and after: which findings are gone
//	shift.go    what came over the bench in a shift
//	line.go     keys and numbers of what is said
package compare
