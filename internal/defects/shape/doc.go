// Package shape measures sets of pixels: length, width, axis, bend, outline (shape.go), the direction of lines and how many there are
// (lines.go), and how far off their course ends and sides are (course.go, for budgets). Lengths are in pixels of the plane that the sets
// lie in.
package shape
