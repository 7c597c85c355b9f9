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
//  6. shape: over all pictures of a unit, the curve of steps round it.
//
// Lengths of the unit (blend, groove, rim) are in mm; lengths of the camera
// (blur) are in pixels. In a limb's own frame u grows from the panel into the
// unit, so that both limbs are handled alike; "outwards" is towards smaller u.
//
// # The fit of the seam
//
// The seam (closed.go) is a nearly plane ring; the half that faces the camera is fitted against
// the chord between both limbs, as sqrt(1 - p²) times a cubic: an ellipse needs its first term
// alone, ovals and perspective the others, held near 0 by what is usual. At the limbs the root is
// 0, so the rows there rest on the chord and hardly on the shape; what shape and distance may add
// is in uRow. seam.Camera (from the scale file's lens or the station) gives the limb's own scale
// and splits the slant into height and pitch (pose.go); without it any lens from 120 mm to
// infinity is reckoned with. Its sag alone tells height over distance against pitch, never each. A
// ray tracer's truth is that of the axis plane: its limb is seen some degrees before it, so that
// an off-centre faceplate's step differs by up to its derivative times half width over distance (5
// um at 140 mm), and an oval's rows by some px. Hold errors against what is seen before you chase
// them.
//
// # The curve of steps
//
// What follows is shape.go. A station compares two support functions, so that an offset is exactly
// a first harmonic of the turn, whatever the outline (Station.AroundDeg: the right limb at a, the
// left at a + 180). What the curve does not hold has two sizes that are not known: single
// stations' errors, and waves of third and higher order, which an oval outline makes of an offset
// that is no pure shift; both are averaged over (a grid of 12 by 12, each node a least-squares
// fit), so that u grows where stations are few, uneven or scattered, and 2 u holds 19 times in 20.
// A term whose u is beyond maxUM is untold. A local place is a term of its own. Each fit takes 3
// ms, 50 where something stands out. grade.seamCause names the largest term where it makes half of
// what is over the limits (part.SeamCause), and bench, page and lot report tell it in their own
// words.
package seam
