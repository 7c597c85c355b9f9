// Package proof says whether the pictures of a unit show what their names say: each turn
// and each light by itself, and one unit. What the lens and the light did is package capture's question.
//
//  1. sight: a picture, thinned, to be kept while the unit is photographed.
//  2. match: two of them laid over each other: moved a little, made brighter or darker.
//  3. turns, lights: turns and lights that differ must differ by more than noise, movement
//     and coding leave; and raking light is told from diffuse.
//  4. limbs: at each turn the unit is as wide as the outline of its faceplate is in that
//     direction, and lies as far to either side: its support function, with the unit turned counter-clockwise as
//     seen onto the faceplate, and the face picture's x axis to the right at turn 0.
//
// What cannot be told is said to be not tested, and is no doubt.
//
// # How it is told
//
// Pictures are thinned to 320 samples (Sight) and laid over each other by least squares; what is
// left, as a share of the light's spread, tells a repeat (under 0.045) from another turn or light
// (from 0.16). The faceplate's support function tells turns: limbs (seam stations and steps)
// against the outline that defects.Find has, no pixel is read for it. Half a turn on, a silhouette
// is mirrored: the middles of the two sides tell left from right.
//
// 500 drawn honest units:
//
//	FINISHBENCH_FIGURES=1 go test -run TestHonestUnits -v -timeout 60m ./internal/proof
package proof
