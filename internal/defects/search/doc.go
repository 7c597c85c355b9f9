// Package search looks for what stands out of a surface's own light: a map (Response) that is 1 at the threshold, and windows on it in
// finer pixels in which one place is measured.
//
// The steps, each in the file of its name:
//
//  1. view: where a lamp's edge, glare in the rim or clipping closes a picture, the rest is searched in the pictures that are open
//     there. Each set of them is a View, searched by itself: learned from all that it shows (learn, flakes) and counted where just
//     these are open. In slivers (sliverMM2) nothing large is sought.
//  2. looks: what to look for. All directions that the pattern leaves at once; the lacquer's own faults, which dim or brighten one
//     light; and the ground between a pattern's figures, which is as plain as a plain faceplate. both: what changes the light alike in
//     two pictures, where the plate sparkles.
//  3. response: each look at several sizes, in units of the noise of this very surface, over the height that noise alone reaches on
//     few faces (threshold); range: the pattern's own range. Where the rim (tame), what lies beside lamps' edges (beside) or a wide
//     part of the face (calm: a fingerprint) is more uneven than the rest, what is there has to stand out as many times more (ease).
//  4. window: one place in pixels finer than those of the search.
//
// To find something new in lacquer, add a look: rows from the channels' deviations to values whose length is the response. Thresholds
// come from the face itself, so a look needs no number of its own. Then what tells its kind, in defects/kinds.go.
//
// # One light, textured surface
//
// This is Face.Lone: a panel in one picture. No second light tells what is the surface's own, and brushed or ground metal is strong
// along its grain, more so here than there. So averages over spots of several sizes and over lines in twelve directions are held
// against their own spread around them (texture.go), on top of all other looks, and these see a texture damped where it is stronger
// than elsewhere. What the texture hides is said as a warning. Scenes of two lights never come here.
//
// A flake mirrors one lamp, so on a plate that sparkles (flakes.go) each light has pattern directions of its own.
package search
