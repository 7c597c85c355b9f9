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
package stripes
