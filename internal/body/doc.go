// Package body tells the shape of a unit from the outlines that its shell pictures
// show, so that a place in a picture becomes a place on the shell: the turn at which
// it would lie in the picture's middle, and how far below the seam it lies.
//
// The steps, each in its file:
//
//  1. look: a turn's outline (package outline), then the seam across it: the line
//     under the faceplate at which colours change, or the glue line shows.
//  2. shape: at each height the outline of a turn touches the shell's cross-section
//     on two sides. The distances of these two lines from the axis are the
//     cross-section's support function in two directions; a Fourier series of low
//     order is fitted to those of all turns, held by how far shells are from
//     round. With one turn the body is one of revolution.
//  3. place: from a pixel to the place on the shell that it shows, to the slope of
//     the surface there, and back.
//  4. region: where in a turn's picture the shell is looked at.
//
// Angles: a unit turned by more moves what lies in front of it to the right in the
// picture. Heights go down from the seam, along the axis out of the faceplate.
//
// # What a turn tells
//
// What a turn tells for sure is how wide the shell is at each height: two values of its
// cross-section's support function, added. Where the axis lies between the two sides is taken to
// be the seam's middle; terms of odd order move that, so USlope counts them as not measured, and
// moves the section in each picture so that its sides stay. Turns 90 degrees apart tell one of the
// two terms of second order, three turns 120 degrees apart both: they make u smaller than four do.
// Priors are for round to oval ears' shells (shape.go). Seen.Place and Pixel go both ways, Region
// ends at 60 degrees and where the surface mirrors the holder. Its tests draw support functions,
// without pixels; pictures are in look_test.go. Where the sides hold no seam or dent inwards,
// lamps and parts were taken for them: outline.FindBulging then seeks the path that bulges all the
// way down and along which most rows show an edge, however faint. A limb that is not seen at all
// stays Straight.
package body
