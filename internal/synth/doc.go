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
package synth
