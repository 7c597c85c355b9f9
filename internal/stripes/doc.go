// Package stripes tells how a lacquered faceplate mirrors a screen that shows
// stripes: phase-measuring deflectometry (Knauer, Kaminski & Haeusler 2004, Proc. SPIE
// 5457, 366; Burke et al. 2023, review). In order:
//
//  1. frames.go: eight pictures, four phases in two directions, or a short set's six, as linear light, with
//     their noise; check.go, moved.go: whether they belong together; paint.go: the paint under it all;
//  2. phasor.go: what is mirrored, as amplitude and phase; the faceplate's own smooth
//     shape taken off the phase, its smooth gloss off the amplitude;
//  3. stripes.go: gloss, slope, what was mirrored at all; plate.go, rim.go: where the faceplate and its flat part end;
//  4. find.go, kinds.go: places where the gloss is lost or the slope is not the
//     faceplate's: craters, runs, missed places, haze, bulges;
//  5. waves.go: orange peel as slope over wavelength;
//  6. oriented.go: sanding marks that telegraph, fine waves that all run one way.
//
// Before all that the screen itself is measured: wedge.go, its light curve; mirror.go, how many
// radians of phase a slope makes; screenfile.go, the files of both.
//
// Paint does not mirror: what is printed, dust and fibres in the lacquer are none of
// its matter. They are sought in the picture under the white screen, by package defects.
//
// # How a face is read
//
// Four phases give a phasor for each direction; the face's own shape is a polynomial fitted to its
// phase's slopes, so that nothing is unwrapped. Gloss is the phasor averaged over a blur, which
// slopes wipe out; light is that of single pixels, which only haze and very steep slopes take.
// Where a whole face waves (Maps.Waving) phases mean nothing, and only the light is searched, at
// larger sizes. Noise is measured by the odd light I0 - I1 + I2 - I3, which holds no signal; a
// short set has none, and what its directions' means differ by stands in. Open reads a set and
// tells the faceplate, so that the paint is searched while Set.Measure looks at the mirror;
// Set.Lit tells that search (scene.Params.Lit) where the screen's image lies, which it would
// seek as a lamp's. Over flakes (Maps.sparkles) amplitudes are added up as phasors, which waves do
// not survive and flakes do. Drawn faces with known slopes: synth.Stripes; faults of known shape
// (synth.Flaw) drawn into pictures of any face, by what its own phase and amplitude become:
// Maps.WithFlaws.
//
// # Waves and grooves
//
// Waves (waves.go, grade/waves.go) are judged from Result.Screen, not from the finding: its slope
// between two wavelengths against limits.waviness, the verdict's rule with u as for steps; what
// was compared stands in Screen.Bands, which the page draws. Phase beyond half a period comes back
// from the other side: each pixel's is then too small, so that the whole is a lower bound
// (AtLeast), but its octaves mean nothing. A lower bound that decides nothing makes the unit not
// measured.
//
// Grooves (oriented.go): the slopes' squares as complex numbers, (sx + i sy)², average to nothing
// where a surface waves every way and add up where it waves one way; noise's is taken off by the
// odd light, and chance is reckoned by how many waves a window holds. Drawn grooves:
// synth.Grooves.
package stripes
