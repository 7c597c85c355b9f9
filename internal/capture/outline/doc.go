// Package outline finds a unit's rough silhouette in a picture: where it is,
// how large, what of it is the holder, whether it runs out of the frame, and
// whether there is more than one. It is made for looking before measuring, on a
// picture thinned to some 400 samples a side: a few milliseconds, places to
// about half a sample. What must be known to a fraction of a pixel is for
// package seam.
//
// The steps, each in its file:
//
//  1. thin: average a few pixels of each block into one sample.
//  2. background: fit a smooth surface (second degree) to the frame's edge,
//     leave out what is not background, fit again.
//  3. objects: what differs from the background and is not reached by it from
//     the frame's edge; holes are filled.
//  4. holder: a stem of even width from the frame's edge to the unit, or a table
//     across the frame, is taken off.
//  5. boundary: the objects' outlines, at half the change across them.
//
// face and curve find a faceplate's outline to about a pixel, in all pictures of a
// pose together and on any ground: a closed path across which ground and unit
// differ, then a smooth curve through the edge along it. flanks finds a unit's two sides from the side, convex those of
// a see-through shell whose inside is clearer than they are.
package outline
