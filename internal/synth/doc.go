// Package synth draws pictures with known truth, by formula: edge pictures of
// a unit on a lit or dark panel ([Edge]), face pictures of one pose under two
// lights ([Face]), turns of a shell from the side ([Shell]), flat lacquered panels ([Panel]), and flat targets for the
// scale in any pose ([Chessboard], [Dots], [Ruler], [Disc], [Bar]). Tests, examples and
// demonstrations use them where a number must be known in advance. [Alter] changes
// pictures of a pose as another workshop would, and [Unfit] draws what cannot be judged.
//
// A picture is made in this order:
//
//  1. background: panel or black, with vignette, gradient and dirt;
//  2. the unit: its outline by exact partial area, its colours by simple rules
//     of shading (no light is traced);
//  3. marks on it: highlights, witness marks, pattern, defects;
//  4. lens blur (Gaussian) and, where asked for, movement;
//  5. exposure, shot and read noise, all in linear light;
//  6. sRGB encoding and quantising, and for face pictures JPEG if asked for.
//
// Everything follows from the parameters and the seed: the same ones give the
// same bytes on every machine of one architecture.
//
// What it is not: a ray tracer. Shading is a rule of thumb, so a method that
// works here is not yet shown to work on photographs; one that fails here is
// shown to fail.
//
// # Adding a condition
//
// A word in [Conditions] and its case in [Alter], painted in linear light by paint, which adds the
// noise; a test by what the condition is; look at the pictures. What cannot be judged at all goes
// into [UnfitSets]. This writes both to look at (folders in full):
//
//	go test ./internal/synth -run 'AlterSets|Unfit' -alter DIR -from UNITS -seed 1
//
// # Shells
//
// [Shell] draws one turn under two lights from a body with known normals: what lamps mirror there,
// marks that move with the surface ([RandomMarks]), orange peel, and in see-through resin parts
// that do not move with it. ShellTruth.Place tells where a place of the shell lies and how steep
// it is. To look at all rigs and kinds:
//
//	FINISHBENCH_STORIES=dir go test -run ShellStories -v ./internal/synth
package synth
