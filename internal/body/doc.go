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
package body
