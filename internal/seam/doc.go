// Package seam finds the seam between faceplate and shell in an edge picture
// and measures the step at both limbs. It is pure Go.
//
// The way of a picture, in order:
//
//  1. silhouette: the panel's brightness is taken from the picture's border;
//     what differs from it and hangs together is the unit and its holder. The
//     straight end of the silhouette is the faceplate's.
//  2. follow: the seam is followed from column to column as the place where
//     the colour changes for good. A thin line with the same colour on both
//     sides (a witness mark) is no such place.
//  3. closed, pose: between two limbs the seam is followed once more and fitted
//     as the flat ring that it is, seen by a camera: where it meets the limbs, and
//     how the unit stands. Steps are measured along its chord.
//  4. limb: each row's edge is fitted with a blurred edge of common shape (an
//     error function, in linear light), faceplate and shell apart.
//     What the luma does to an edge between two colours is taken off (mixture).
//  5. profile: the two sides are carried to the seam's height and their
//     distance along the outline's normal is the step, with its uncertainty.
//  5. shape: over all pictures of a unit, the curve of steps round it.
//
// Lengths of the unit (blend, groove, rim) are in mm; lengths of the camera
// (blur) are in pixels. In a limb's own frame u grows from the panel into the
// unit, so that both limbs are handled alike; "outwards" is towards smaller u.
package seam
